"""Who put each line of a case file on record, and when, as the journal beside it tells."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

from diagnose.casefile.journal import Line, parse_journal
from diagnose.casefile.recorder import view_of
from diagnose.casefile.replay import PLACES, State, apply, replay
from diagnose.reading.located import Node, read_text
from diagnose.reading.problems import Problems

Place = tuple[int, int]
"""Line and column of a record, or of a term or figure, in a case file."""
_HEADING = re.compile(rb"# Written from the journal beside it, line (\d{1,9}) \([0-9a-f]{16}\)\.")
NO_JOURNAL = "This case has no journal: who recorded what, and when, is not on record."
HEAD_DIGITS = 20


@dataclass(frozen=True)
class Kept:
    """The journal of a case, and how the case file stands to it: `view` is none (no journal), same, behind (later lines
    are not in the file), edited (the file says what no line says) or broken (the chain is). `authors`: the line that put
    each record, term and figure there; empty where the file is not the journal's."""

    lines: tuple[Line, ...] = ()
    view: str = "none"
    broken: str = ""
    authors: Mapping[Place, Line] = field(default_factory=dict)

    @property
    def digest(self) -> str:
        return self.lines[-1].digest if self.lines else ""

    @property
    def says(self) -> str:
        """How far the journal vouches for the case file, in one sentence."""
        if self.view == "none":
            return NO_JOURNAL
        head = f"Journal of {len(self.lines)} lines, head {short(self.digest)}"
        return {
            "same": f"{head}; the case file is what it records.",
            "behind": f"{head}; the case file is of an earlier line of it.",
            "edited": f"{head}; the case file was edited by hand and is not what it records.",
            "broken": f"The journal is broken: {self.broken}",
        }[self.view]


def short(digest: str) -> str:
    """The first digits of a digest in groups, to be written by hand into a bound book: 9af9-904d-5847-9232-77ab.

    Eighty bits: whoever wants another record with the same digits has to try 2^80.
    """
    return "-".join(re.findall("....", digest[:HEAD_DIGITS]))


def line_of(written: str, lines: Iterable[Line]) -> Line | None:
    """The line whose digest was written down so, with at least twelve digits."""
    digits = "".join(c for c in written.lower() if c.isalnum())
    return next((x for x in lines if len(digits) >= 12 and x.digest.startswith(digits)), None)


def kept(text: bytes, journal: bytes | None) -> Kept:
    """The journal of the case file with these bytes."""
    if journal is None:
        return Kept()
    found = parse_journal(journal, "the journal")
    if found.broken:
        return Kept(found.lines, "broken", found.broken.says)
    match = _HEADING.match(text)
    number = min(int(match.group(1)), len(found.lines)) if match else len(found.lines)
    lines = found.lines[:number]
    try:
        state = replay(lines)
        replay(found.lines)
    except ValueError as error:
        return Kept(found.lines, "broken", str(error))
    if not lines or text != view_of(state, lines):
        return Kept(found.lines, "edited")
    view = "same" if number == len(found.lines) else "behind"
    return Kept(found.lines, view, "", _authors(text, state, lines))


def _authors(text: bytes, state: State, lines: tuple[Line, ...]) -> dict[Place, Line]:
    node = read_text(text, "the case", Problems())
    if node is None:
        return {}
    by_number = {line.number: line for line in lines}
    result: dict[Place, Line] = {}
    history = node.get("history")
    for place in PLACES:
        table = (history.get("events") if history else None) if place == "events" else node.get(place)
        entries = table.each() if table else []
        records = [r for r in state.records if r.place == place]
        for entry, record in zip(entries, records, strict=True):
            result[entry.where.line, entry.where.column] = by_number[int(record.id.partition(".")[0])]
    first = _first_said(lines)
    for path, term, where in _terms(node, ()):
        if number := first.get((path, term)):
            result[where] = by_number[number]
    return result


def _first_said(lines: tuple[Line, ...]) -> dict[tuple[tuple[str, ...], str], int]:
    """For each term and figure that stands in the head of a case: the number of the line since which it stands there."""
    said: dict[tuple[tuple[str, ...], str], int] = {}
    state = State({})
    for line in lines:
        state = apply(state, line.number, line.what)
        if "start" in line.what or "set" in line.what:
            now = set(_leaves(state.head, ()))
            said = {key: said.get(key, line.number) for key in now}
    return said


def _leaves(value: Any, path: tuple[str, ...]) -> Iterator[tuple[tuple[str, ...], str]]:
    if isinstance(value, Mapping):
        for key, inner in value.items():
            yield from _leaves(inner, (*path, key))
    elif isinstance(value, list):
        for inner in value:
            yield from _leaves(inner, path)
    else:
        yield path, str(value)


def _terms(node: Node, path: tuple[str, ...]) -> Iterator[tuple[tuple[str, ...], str, Place]]:
    for key, value in node.items() if node.is_map else ():
        if value.is_map:
            yield from _terms(value, (*path, key))
        elif (*path, key)[-1] not in PLACES:
            for item in value.each():
                yield (*path, key), str(item.value), (item.where.line, item.where.column)
