"""Two trails entry by entry: what one says otherwise than the other, in words."""

from __future__ import annotations

import json
from collections.abc import Iterable
from typing import Any

from diagnose.trail.document import OF_ONE_LEVEL, SECTIONS

Doc = dict[str, Any]


def first_line(old: bytes, new: bytes) -> str:
    a, b = old.split(b"\n"), new.split(b"\n")
    for number, (x, y) in enumerate(zip(a, b, strict=False), 1):
        if x != y:
            return f"line {number} reads {y.decode(errors='replace')[:80]!r}, was {x.decode(errors='replace')[:80]!r}"
    return f"it has {len(b)} lines, had {len(a)}"


def since_one_level(old: Doc, new: Doc) -> list[Doc]:
    """What can be said of a trail written before mechanisms were told apart from root causes: what was recorded and
    found compares entry by entry, of what was judged only what led."""
    says = (
        f"written in format {OF_ONE_LEVEL}, when mechanisms stood among the causes; it cannot reproduce to the byte. "
        "Records, rules and findings are compared; ledgers, explanations and standings by what led"
    )
    rows = [{"what": "trail", "says": says}]
    for section in ("recorded", "settings", "findings"):
        was, now = ({key: e.get("state") or e.get("text") for key, e in _keyed(d[section]).items() if isinstance(e, dict)}
                    for d in (old, new))  # fmt: skip
        for key in sorted({*was, *now}):
            if was.get(key) != now.get(key):
                says = f"{key.partition(':')[2] or key}: was {was.get(key) or 'not there'}, is {now.get(key) or 'not there'}"
                rows.append({"what": section, "says": says})
    told = [_led(d["standing"]) for d in (old, new)]
    if told[0] != told[1]:
        rows.append({"what": "standing", "says": f"led then: {told[0]}; now: {told[1]}"})
    return rows


def _led(standing: Iterable[Any]) -> str:
    """The first cause and the first mechanism of a list of standings, each with its standing."""
    first: dict[str, str] = {}
    for entry in standing:
        if isinstance(entry, dict) and {"text", "standing", "probability"} <= {*entry}:
            first.setdefault(entry.get("type", "cause"), f"{entry['text']} ({entry['standing']})")
    return "; what happened: ".join(first.values()) or "nothing"


def conclusion_changes(old: Doc, new: Doc) -> list[Doc]:
    """Entry by entry, what the replay says otherwise; what was recorded first, conclusions last."""
    rows = []
    for section in SECTIONS:
        was, now = _keyed(old[section]), _keyed(new[section])
        for key in sorted({*was, *now}):
            if was.get(key) != now.get(key):
                rows.append({"what": section, "says": _entry_change(section, was.get(key), now.get(key), key)})
    return rows


def _keyed(entries: Iterable[Any]) -> dict[str, Any]:
    """Entries by what they are about; entries that are no objects by their text."""
    result = {}
    for e in entries:
        key = (
            e.get("id") or e.get("cause") or f"{e.get('type', '')}:{e.get('text', '')}@{e.get('position', '')}"
            if isinstance(e, dict)
            else ""
        )
        result[str(key) or json.dumps(e, sort_keys=True)] = e
    return result


def _entry_change(section: str, was: Any, now: Any, key: str) -> str:
    entry = was if now is None else now
    if not isinstance(entry, dict) or not isinstance(was or entry, dict):
        return f"{key} reads otherwise"
    name = _entry_name(section, entry, key)
    if was is None or now is None:
        return f"{name} {'appears' if was is None else 'is gone'}"
    told = _changes(was, now)
    return f"{name}: {'; '.join(told[:3])}" + (f"; and {len(told) - 3} more" if len(told) > 3 else "")


def _entry_name(section: str, entry: Doc, key: str) -> str:
    """What a reader calls an entry: a record or finding by its text, a firing by its rule, a ledger by its cause."""
    name = str(entry.get("text") or key.partition(":")[2].partition("@")[0] or key)
    if section == "firings":
        name = f"rule {name} ({entry.get('rule', '')}: {entry.get('state', '')})"
    elif section == "sets":
        name = "explanations"
    elif section in ("marks", "links"):
        name = " > ".join(end.partition(":")[2].rpartition("@")[0] for end in key.split(" > "))
    elif section == "standing":
        name = f"{name} ({entry.get('type', 'cause')})"
    position = entry.get("position") or key.rpartition("@")[2]
    return f"{name} [{position}]" if position in ("inboard", "outboard") else name


def _changes(was: Doc, now: Doc) -> list[str]:
    return [
        told for k in sorted({*was, *now}) if was.get(k) != now.get(k) for told in _change(k, was.get(k), now.get(k))
    ]


def _change(field: str, was: Any, now: Any) -> list[str]:
    """What changed in one field, in words; inside lists by the entries that came, went or changed."""
    name = field.replace("_", " ")
    if field == "supports":
        return ["rests on other records"]
    if isinstance(was, list) and isinstance(now, list):
        before, after = ({_called(x): x for x in entries} for entries in (was, now))
        told = [f"{name} without {k}" for k in before if k not in after]
        told += [f"{name} with {k}" for k in after if k not in before]
        both = [(k, before[k], after[k]) for k in before if k in after and before[k] != after[k]]
        told += [f"{k}: {t}" for k, a, b in both if isinstance(a, dict) and isinstance(b, dict) for t in _changes(a, b)]
        return told or [f"{name} in another order"]
    return [f"{name} was {_short(was)}, is {_short(now)}"]


def _called(entry: Any) -> str:
    if not isinstance(entry, dict):
        return _short(entry)
    causes = entry.get("causes")
    return str(
        entry.get("says")
        or entry.get("finding")
        or entry.get("name")
        or entry.get("start")
        or (" and ".join(map(str, causes)) if causes and isinstance(causes, list) else _short(entry))
    )


def _short(value: Any) -> str:
    text = f"{value:g}" if isinstance(value, float) else json.dumps(value, ensure_ascii=False, sort_keys=True)
    return text if len(text) <= 60 else text[:57] + "..."
