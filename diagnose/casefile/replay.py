"""From journal lines to the case they record, and from an edited case back to journal lines.

What a line says (`what`) is one of

    {start: DOCUMENT, text: FILE}        the case as it was begun; `text` where it came from an existing file
    {set: [SECTION, KEY], to: VALUE}     a figure, setting or text; VALUE null takes it away
    {add: PLACE, entry: RECORD}          a part, observation, state, act, measurement, remark, act of custody, outcome or event
    {withdraw: ID}                       a record no longer holds
    {reached: TOPIC}                     a topic of the guided session is done
    {edited: FILE}                       the case file as somebody edited it by hand; the lines after it adopt the edits
    {cut off: TEXT}                      what a crash left of an answer that was never acknowledged

with `instead of: ID` where an `add` corrects a record, `why`, and `said` where another spelling was used; from a page
`answer: ID N`, the tablet's own id of the answer and the place of the line in it, and `answered: TIME` where it waited. A record's ID
is the number of the line that added it, or NUMBER.PLACE for the records a case was begun with.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

from diagnose.casefile.format import STATES, TOP
from diagnose.casefile.journal import Line
from diagnose.casefile.writer import Written, flow, render
from diagnose.reading.located import Node, node_of

PLACES = ("parts", "observations", "states", "acts", "measurements", "remarks", "custody", "outcomes", "events")
FORMS = ("start", "set", "add", "withdraw", "reached", "edited", "cut off")
What = dict[str, Any]


@dataclass(frozen=True)
class Record:
    id: str
    place: str
    entry: Mapping[str, Any]

    @cached_property
    def written(self) -> Written:
        """The entry as one line of a case file."""
        return Written(flow(dict(self.entry)))

    @cached_property
    def node(self) -> Node:
        """The entry as the reader of case files takes it."""
        return node_of(self.entry)


@dataclass(frozen=True)
class State:
    """A case in the middle of being recorded. `head` is the document without its records."""

    head: Mapping[str, Any]
    records: tuple[Record, ...] = ()
    reached: frozenset[str] = frozenset()

    def document(self) -> dict[str, Any]:
        """The case file as plain values, its keys in the usual order."""
        return self._document(lambda r: dict(r.entry))

    @cached_property
    def text(self) -> bytes:
        """The case file, without a heading."""
        return render(self._document(lambda r: r.written))

    @cached_property
    def node(self) -> Node:
        """The case file as its reader takes it, without places; a record that stays keeps its node."""
        return node_of(self._document(lambda r: r.node))

    def _document(self, entry: Callable[[Record], Any]) -> dict[str, Any]:
        full, history = dict(self.head), self.head.get("history")
        entries: dict[str, list[Any]] = {}
        for record in self.records:
            entries.setdefault(record.place, []).append(entry(record))
        if events := entries.pop("events", None):
            full["history"] = {**(history if isinstance(history, Mapping) else {}), "events": events}
        full |= entries
        return {key: full[key] for key in sorted(full, key=lambda k: TOP.index(k) if k in TOP else len(TOP))}

    def record(self, id: str) -> Record | None:
        return next((r for r in self.records if r.id == id), None)

    def part_record(self, item: str) -> Record | None:
        return next((r for r in self.records if r.place == "parts" and r.entry.get("item") == item), None)

    def value(self, path: Iterable[str]) -> Any:
        found: Any = self.head
        for key in path:
            found = found.get(key) if isinstance(found, Mapping) else None
        return found


def begun(document: Mapping[str, Any], number: int = 1) -> State:
    """The state that a whole document amounts to. Raises ValueError where it has another shape than a case file."""
    head = {k: v for k, v in document.items() if k not in PLACES}
    found: list[tuple[str, Any]] = [(p, e) for p in PLACES[:-1] for e in _list(document.get(p))]
    history = document.get("history")
    if isinstance(history, Mapping) and "events" in history:
        found += [("events", e) for e in _list(history["events"])]
        head["history"] = {k: v for k, v in history.items() if k != "events"}
        if not head["history"]:
            del head["history"]
    if not all(isinstance(e, Mapping) for _, e in found):
        raise ValueError("a record is no mapping")
    return State(head, tuple(Record(f"{number}.{i}", p, e) for i, (p, e) in enumerate(found, 1)))


def _list(value: Any) -> list[Any]:
    if value is None:
        return []
    if not isinstance(value, list):
        raise ValueError("records stand in a list")
    return value


def replay(lines: Iterable[Line]) -> State:
    """The case after the last line. Raises ValueError, naming the line, where one cannot be replayed."""
    state = State({})
    for line in lines:
        state = apply(state, line.number, line.what)
    return state


def apply(state: State, number: int, what: Mapping[str, Any]) -> State:
    """The case after one more line. Raises ValueError."""
    try:
        _refuse_other_than_text(what)
        form = next(f for f in FORMS if f in what)
        value = what[form]
        if form == "start":
            if number != 1:
                raise ValueError("a case is started once")
            return begun(value, number)
        if form == "set":
            return replace(state, head=_set(state.head, [_text(key) for key in value], what["to"]))
        if form == "add":
            if not isinstance(what["entry"], dict):
                raise TypeError("an entry is keys with values")
            return _add(state, Record(str(number), _text(value), dict(what["entry"])), what.get("instead of", ""))
        if form == "withdraw":
            return replace(state, records=tuple(r for r in state.records if r is not _known(state, value)))
        if form == "reached":
            return replace(state, reached=state.reached | {_text(value)})
        return state
    except (AttributeError, KeyError, RecursionError, StopIteration, TypeError, ValueError) as error:
        raise ValueError(f"line {number} cannot be replayed") from error


def _refuse_other_than_text(value: Any) -> None:
    """A case file holds texts, lists and mappings, never numbers."""
    if any(leaf is not None and not isinstance(leaf, str) for leaf in leaves(value)):
        raise ValueError("only text is recorded")


def leaves(value: Any) -> Iterator[Any]:
    """Everything in lists and mappings that is neither, keys too, in order."""
    if isinstance(value, Mapping):
        for key, inner in value.items():
            yield key
            yield from leaves(inner)
    elif isinstance(value, list):
        for inner in value:
            yield from leaves(inner)
    else:
        yield value


def _text(value: Any) -> str:
    if not isinstance(value, str):
        raise ValueError("a name is text")
    return value


def _known(state: State, id: str) -> Record:
    record = state.record(id)
    if record is None:
        raise ValueError(f"there is no record {id}")
    return record


def _set(head: Mapping[str, Any], path: list[str], to: Any) -> dict[str, Any]:
    key, *rest = path
    if key in PLACES:
        raise ValueError("records are added, not set")
    inner = head.get(key)
    value = _set(inner if isinstance(inner, Mapping) else {}, rest, to) if rest else to
    kept = {k: v for k, v in head.items() if k != key} if value in (None, {}) else {**head, key: value}
    return kept


def _add(state: State, record: Record, instead_of: str) -> State:
    if record.place not in PLACES:
        raise ValueError("no such place")
    if not instead_of:
        return replace(state, records=(*state.records, record))
    old = _known(state, instead_of)
    if old.place != record.place:
        raise ValueError("a record is corrected by one of its own kind")
    renamed = (old.entry.get("item"), record.entry.get("item"))
    records = tuple(record if r is old else r for r in state.records)
    if record.place == "parts" and renamed[0] != renamed[1]:
        records = tuple(_renumbered(r, *renamed) for r in records)
    return replace(state, records=records)


def _renumbered(record: Record, old: Any, new: Any) -> Record:
    """A record that names a part by its old item number, with the new one."""
    entry = dict(record.entry)
    if isinstance(entry.get("part"), list):
        entry["part"] = [new if item == old else item for item in entry["part"]]
    elif entry.get("part") == old:
        entry["part"] = new
    if "touches" in entry:
        touches = entry["touches"] if isinstance(entry["touches"], list) else [entry["touches"]]
        entry["touches"] = [new if t == old else t for t in touches]
    return replace(record, entry=entry)


def differences(base: State, edited: State) -> list[What]:
    """The lines that turn one case into the other: changed keys, then records corrected, withdrawn and added."""
    changes: list[What] = _head_differences(base.head, edited.head, [])
    for place in PLACES:
        old = {_same(r.entry): r for r in base.records if r.place == place}
        new = {_same(r.entry): r for r in edited.records if r.place == place}
        gone = [r for key, r in old.items() if key not in new]
        for key, record in new.items():
            if key in old:
                continue
            change: What = {"add": place, "entry": dict(record.entry)}
            before = next((r for r in gone if _about(r) == _about(record)), None)
            if before:
                gone.remove(before)
                change["instead of"] = before.id
            changes.append(change)
        changes += [{"withdraw": r.id} for r in gone]
    return sorted(changes, key=lambda c: (c.get("add") != "parts", "withdraw" in c))


def _head_differences(base: Mapping[str, Any], edited: Mapping[str, Any], path: list[str]) -> list[What]:
    changes: list[What] = []
    for key in sorted({*base, *edited}):
        old, new = base.get(key), edited.get(key)
        if isinstance(old, Mapping) and isinstance(new, Mapping):
            changes += _head_differences(old, new, [*path, key])
        elif old != new:
            changes.append({"set": [*path, key], "to": new})
    return changes


def _same(entry: Mapping[str, Any]) -> str:
    return json.dumps(entry, sort_keys=True, ensure_ascii=True)


def _about(record: Record) -> tuple[Any, ...]:
    """What a record is about, whatever it says of it."""
    e = record.entry
    if record.place == "parts":
        return (e.get("item"),)
    said = next((str(e[s]) for s in STATES if s in e), "") or str(e.get("measured", e.get("what", "")))
    about = e.get("at"), e.get("did"), e.get("to"), e.get("when")
    return said, e.get("part"), e.get("on"), e.get("position"), *about
