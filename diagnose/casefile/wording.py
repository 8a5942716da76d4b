"""Records in words, as the views show them."""

from __future__ import annotations

from collections.abc import Container

from diagnose.casefile import model as m
from diagnose.casefile.format import HOW_KNOWN
from diagnose.reading.figures import listed
from diagnose.reading.units import show


def describe(o: m.Observation, case: m.Case) -> str:
    """An observation in one line, as the views show it."""
    part = case.part(o.part)
    on = f"{part.name} ({o.part})" if part else o.kind
    bits = [o.feature, "on " + on if on not in ("leak", "sound", "history") else ""]
    bits += [f"({o.degree})" if o.degree else "", o.side, extent_text(o.extent)]
    bits += [f"({view})" if o.extent.arcs and (view := view_text(part)) else ""]
    bits += [f"({name} {value})" for name, value in o.such]
    bits += [f"({', '.join(o.which)}{f' of {o.of}' if o.of else ''})" if o.which else f"(of {o.of})" if o.of else ""]
    bits += [f"({o.when})" if o.when else ""]
    state = {"present": "", "absent": "looked for, not there: ", "lost": "lost: ", "not looked at": "not looked at: "}[
        o.state
    ]
    return state + " ".join(b for b in bits if b) + _known(o.note)


def _known(note: str) -> str:
    """How what is not known at first hand is known."""
    return f" ({note})" if set(note.split("; ")) <= {*HOW_KNOWN} else ""


def describe_state(s: m.State) -> str:
    """A state in one line: flush line: temperature high (before the leak)."""
    readings = ", ".join(r.written for r in s.readings)
    values = " and ".join(s.values)
    said = f"{readings} ({values})" if readings and values else readings or values
    return (
        f"{s.point}: {s.variable} {'' if s.holds else 'not '}{said}"
        + (f" ({', '.join(s.when)})" if s.when else "")
        + _known(s.note)
    )


def describe_act(a: m.Act) -> str:
    """What was done in one line: not done: vent chamber (before the start)."""
    did = " ".join(b for b in (a.did, a.to, f"with {a.using}" if a.using else "") if b)
    return ("" if a.holds else "not done: ") + did + (f" ({a.when})" if a.when else "") + _known(a.note)


def describe_statements(case: m.Case, ids: Container[str]) -> list[str]:
    """The states and acts behind ids, a line each."""
    return [describe_state(s) for s in case.states if s.id in ids] + [describe_act(a) for a in case.acts if a.id in ids]


def extent_text(extent: m.Extent) -> str:
    """Where on the clock, in hours: all round, at 3, from 10 to 2."""
    if not extent.arcs:
        return extent.word
    return ", ".join(f"at {hours(a)}" if a == b else f"from {hours(a)} to {hours(b)}" for a, b in extent.arcs)


def view_text(part: m.Part | None) -> str:
    """How a part's clock differs from the machine's, which runs clockwise from the index seen from the driver end; "" if it does not."""
    seen = "seen from the impeller end" if part and part.seen_from == "impeller end" else ""
    at = f"index at {hours(part.index_offset)}" if part and part.index_offset else ""
    return ", ".join(t for t in (seen, at) if t)


def hours(angle: float) -> str:
    hour, minute = divmod(round(angle * 2), 60)
    return f"{hour % 12 or 12}" + (f":{minute:02d}" if minute else "")


def describe_reading(x: m.Measured, unit_name: str) -> str:
    """A measurement in one line; a pressure as it was written, as its number alone does not say whether it is gauge or absolute."""
    shown = [r.written if r.is_pressure else show(r.value, unit_name) for r in x.readings[:12]]
    more = f" and {len(x.readings) - 12} more" if len(x.readings) > 12 else ""
    on = f" on {x.kind} {x.part}".rstrip() if x.kind else ""
    return f"{x.what}{on}: {', '.join(shown)}{more}"


def describe_custody(c: m.Custody) -> str:
    """An act of custody in one line: 2026-03-12 receive by Anna from the stores, workshop bench 2, bag B-1147 (note)."""
    hands = "".join(f" {word} {who}" for word, who in (("by", c.by), ("from", c.given_by), ("to", c.to)) if who)
    beside = "".join(f", {what}" for what in (c.at, f"bag {c.bag}" if c.bag else "") if what)
    return f"{c.when} {c.did}{hands}{beside}{f' ({c.note})' if c.note else ''}"


def confirmed(o: m.Outcome) -> str:
    """What an outcome confirms, in a few words."""
    named = listed([*o.roots, *(f"{x} (mechanism)" for x in o.mechanisms)])
    none = "none of the causes that the rule base knows" if o.none_of_these else ""
    return ": ".join(x for x in (named or none, o.said) if x) if not (named and none) else f"{named}; {none}"


def index_mark(part: m.Part) -> str:
    """The index mark of a part, where it sits and the end its clock is seen from, as tags, parts view and report tell it; "" where it
    has none."""
    if not part.index:
        return ""
    at = f", at {hours(part.index_offset)} of the datum" if part.index_offset is not None else ""
    return f"{part.index}{at}" + (f", seen from the {part.seen_from}" if part.seen_from else "")
