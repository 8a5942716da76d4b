"""A case's journal as people read it: who said what and when, and what was corrected later."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from diagnose.casefile.format import NOT_UNDERSTOOD, STATE, STATES
from diagnose.casefile.journal import Line
from diagnose.views.page import Page


def page(lines: tuple[Line, ...], out: Page) -> Page:
    """One entry a line, oldest first; a corrected answer stays and says by which line."""
    later = {}
    for line in lines:
        for key, says in (("instead of", "corrected by"), ("withdraw", "withdrawn by")):
            if key in line.what:
                later[str(line.what[key])] = f"{says} {line.number}"
    for line in lines:
        if "reached" in line.what:
            continue
        after = f" [{later[str(line.number)]}]" if str(line.number) in later else ""
        why = f" Why: {line.what['why']}." if line.what.get("why") else ""
        said = f" (said: {line.what['said']})" if line.what.get("said") else ""
        text = f"{sentence(line.what)}{said}{after}.{why}"
        out.say(clean(f"{line.time[:16].replace('T', ' ')} {line.who}: {text}"), hang=6, lead=f"{line.number:>4}  ")
    return out


def sentence(what: Mapping[str, Any]) -> str:
    """What a journal line says."""
    if "start" in what:
        return "case begun" + (" from an existing file" if "text" in what else "")
    if "set" in what:
        name, to = ": ".join(map(str, what["set"])), what["to"]
        if name == NOT_UNDERSTOOD and to and isinstance(to, list) and not what.get("why"):
            to = to[-1:]  # the list is set anew with what was added at its end
        return f"{name} = {shown(to)}" if to is not None else f"{name} taken away"
    if "add" in what:
        correction = f", in place of {what['instead of']}" if what.get("instead of") else ""
        return record(what["add"], what["entry"]) + correction
    if "withdraw" in what:
        return f"{what['withdraw']} withdrawn"
    if "edited" in what:
        return "hand edits of the case file taken over"
    if "cut off" in what:
        return f"an unfinished answer was cut off: {shown(what['cut off'])[:60]}"
    return f"reached: {shown(what.get('reached', ''))}"


def record(place: str, entry: Mapping[str, Any]) -> str:
    """A record in one line."""
    on = f"part {entry['part']}" if "part" in entry else shown(entry.get("on", ""))
    state = "" if place == "parts" else next((s for s in STATES if s in entry), "")
    if state:
        head = f"{on + ': ' if on else ''}{state} {shown(entry[state])}"
    elif "measured" in entry:
        values = shown(entry.get("readings", entry.get("reading", "")))
        head = f"{on + ': ' if on else ''}{entry['measured']} {values}"
    elif place == "parts":
        head = f"part {shown(entry.get('item'))}: {shown(entry.get('name', ''))} ({shown(entry.get('kind', ''))})"
    elif place == "remarks":
        head = f"remark{f' on {on}' if on else ''}: {shown(entry.get('note', ''))}".rstrip(": ")
        entry = {k: v for k, v in entry.items() if k != "note"}
    elif place == "states":
        head = f"{shown(entry.get('at'))}: " + ", ".join(f"{k} {shown(v)}" for k, v in entry.items() if k not in STATE)
        entry = {k: v for k, v in entry.items() if k in STATE and k != "at"}
    elif place == "acts":
        undone = "not done: " if entry.get("not") == "true" else ""
        head = f"{undone}{shown(entry.get('did'))}" + (f" {shown(entry['to'])}" if entry.get("to") else "")
        entry = {k: v for k, v in entry.items() if k not in ("did", "to", "not")}
    elif place == "custody":
        of = f"part {shown(entry['part'])}" if "part" in entry else "the whole seal"
        head = f"{of}: {shown(entry.get('did'))}"
        entry = {k: v for k, v in entry.items() if k not in ("did", "part")}
    elif place == "outcomes":
        found = [shown(entry[k]) for k in ("root", "mechanism", "said") if k in entry]
        head = "outcome: " + ": ".join(["none of these"] * ("none of these" in entry) + found)
        entry = {k: v for k, v in entry.items() if k not in ("root", "mechanism", "said", "none of these")}
    else:
        head = f"event {shown(entry.get('date', ''))} {shown(entry.get('what', ''))}".replace("  ", " ")
    spoken = (
        *(STATES if state else ()),
        "measured",
        "readings",
        "reading",
        "part",
        "on",
        "photo digest",
        "item",
        "name",
        "kind",
        "date",
        "what",
    )
    rest = [f"{k} {shown(v)}" for k, v in entry.items() if k not in spoken]
    return ", ".join([head, *rest])


def shown(value: Any) -> str:
    if isinstance(value, list):
        return ", ".join(map(shown, value))
    if isinstance(value, Mapping):
        return ", ".join(f"{k}: {shown(v)}" for k, v in value.items())
    return "" if value is None else str(value)


def clean(text: str) -> str:
    """Text that may go to a terminal: nothing in it can steer the screen."""
    return "".join(c if c.isprintable() else " " for c in text)
