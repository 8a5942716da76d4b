"""What is on record now, in words."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from diagnose.casefile.format import NOT_UNDERSTOOD, STATES
from diagnose.casefile.journal import Line
from diagnose.casefile.model import Case
from diagnose.knowledge.model import Vocabulary
from diagnose.reading.problems import Does
from diagnose.reading.terms import did_you_mean
from diagnose.views.journal import sentence

TYPED: Mapping[Does, str] = {
    "correct": "/fix r{}",
    "set": "/fix {}",
    "change part": "/fix part {}",
    "keep one": ": /log shows their numbers, /fix r12 corrects r12",
    "mend one": ": /fix and its name, as /fix shaft diameter{}",
    "look words up": "? WORD says what a word means",
    "look records up": "/log shows them",
    "keep location": "quit, and diagnose record FILE --keep-location",
}
"""What there is to do, as it is typed in a session."""


def means_of(word: str, words: Vocabulary) -> list[str]:
    """What a word of the vocabulary means, in each of its senses; what is none is told with what may be meant."""
    tables: dict[str, Mapping[str, Any]] = {
        "feature": words.features,
        "kind": words.kinds,
        "reading": words.readings,
        "setting": words.settings,
    }
    found = [(name, table[name]) for what, table in tables.items() if (name := words.find(what, word) or "") in table]
    told = [f"{name}: {x.means} {getattr(x, 'how', '')}".rstrip(": ") for name, x in found]
    if told:
        return list(dict.fromkeys(told))
    near = did_you_mean(word, [name for table in tables.values() for name in table])
    return [f"nothing is known here of {word!r}" + (f"; {near}" if near else "")]


def acknowledged(lines: Iterable[Line], case: Case) -> list[str]:
    """One text a line; several marks of one part that say the same state stand together: "recorded r88-r99: part 3 ..."."""
    groups: list[tuple[object, list[Line]]] = []
    for line in (x for x in lines if "reached" not in x.what):
        key = _alike(line)
        if groups and key is not None and groups[-1][0] == key:
            groups[-1][1].append(line)
        else:
            groups.append((key, [line]))
    return [f"recorded {_numbers(g)}: {_named(_together(g), g[0], case)}" for _, g in groups]


def _alike(line: Line) -> object:
    """What marks have in common that are told together; None where a line stands alone."""
    entry, state = line.what.get("entry", {}), _state(line)
    if not state or "instead of" in line.what:
        return None
    return state, tuple(sorted((k, str(v)) for k, v in entry.items() if k != state))


def _state(line: Line) -> str:
    entry = {} if line.what.get("add") == "parts" else line.what.get("entry", {})
    return next((s for s in STATES if s in entry), "")


def number_of(line: Line) -> str:
    """The number of a record, which no part and no choice can be taken for: r12."""
    return f"r{line.number}"


def _numbers(group: list[Line]) -> str:
    return number_of(group[0]) + (f"-{number_of(group[-1])}" if len(group) > 1 else "")


def _together(group: list[Line]) -> str:
    state = _state(group[0])
    if len(group) == 1:
        return in_words(group[0].what)
    first = group[0].what
    features = ", ".join(str(x.what["entry"][state]) for x in group)
    return sentence({**first, "entry": {**first["entry"], state: features}})


def in_words(what: Mapping[str, Any]) -> str:
    """A record on its own: words as they were just said, and other records by the numbers they were acknowledged with."""
    if what.get("set") == [NOT_UNDERSTOOD] and what["to"]:
        return f"kept as said, not understood: {what['to'][-1]}"
    if "withdraw" in what:
        return sentence({**what, "withdraw": f"r{what['withdraw']}"})
    if str(old := what.get("instead of", "")).isdecimal():
        return sentence({**what, "instead of": f"r{old}"})
    return sentence({k: v for k, v in what.items() if k != "instead of"})


def _named(text: str, line: Line, case: Case) -> str:
    """The part with its name beside its item number."""
    item = str(line.what.get("entry", {}).get("part", ""))
    part = case.part(item) if item else None
    return text.replace(f"part {item}:", f"part {item} {part.name}:", 1) if part else text
