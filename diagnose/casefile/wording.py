"""Records in words, as the views show them."""

from __future__ import annotations

from diagnose.casefile import model as m
from diagnose.reading.units import show


def describe(o: m.Observation, case: m.Case) -> str:
    """An observation in one line, as the views show it."""
    part = case.part(o.part)
    on = f"{part.name} ({o.part})" if part else o.kind
    bits = [o.feature, "on " + on if on not in ("leak", "sound", "history") else ""]
    bits += [f"({o.degree})" if o.degree else "", o.side, extent_text(o.extent)]
    bits += [f"({view})" if o.extent.arcs and (view := view_text(part)) else ""]
    state = {"present": "", "absent": "looked for, not there: ", "lost": "lost: ", "not looked at": "not looked at: "}[
        o.state
    ]
    return state + " ".join(b for b in bits if b)


def extent_text(extent: m.Extent) -> str:
    """Where on the clock, in hours: all round, at 3, from 10 to 2."""
    if not extent.arcs:
        return extent.word
    return ", ".join(f"at {_hours(a)}" if a == b else f"from {_hours(a)} to {_hours(b)}" for a, b in extent.arcs)


def view_text(part: m.Part | None) -> str:
    """How a part's clock differs from the machine's, which runs clockwise from the index seen from the driver end; "" if it does not."""
    seen = "seen from the impeller end" if part and part.seen_from == "impeller end" else ""
    at = f"index at {_hours(part.index_offset)}" if part and part.index_offset else ""
    return ", ".join(t for t in (seen, at) if t)


def _hours(angle: float) -> str:
    hour, minute = divmod(round(angle * 2), 60)
    return f"{hour % 12 or 12}" + (f":{minute:02d}" if minute else "")


def describe_reading(x: m.Measured, unit_name: str) -> str:
    """A measurement in one line."""
    shown = [show(r.value, unit_name) for r in x.readings[:12]]
    more = f" and {len(x.readings) - 12} more" if len(x.readings) > 12 else ""
    on = f" on {x.kind} {x.part}".rstrip() if x.kind else ""
    return f"{x.what}{on}: {', '.join(shown)}{more}"
