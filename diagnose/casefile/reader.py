"""Reads a case file into an immutable Case, or raises BadInput with every mistake in it."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Callable, Iterable, Mapping
from itertools import chain
from pathlib import Path
from typing import Any

from diagnose.casefile import model as m
from diagnose.casefile.closing import read_custody, read_outcome
from diagnose.casefile.format import (
    ALONE,
    AT_HAND,
    DATES,
    ENDS,
    EXPECTED,
    REMOVALS,
    ROTATIONS,
    SECTIONS,
    TEXTS,
    TOP,
    TRAITS,
    dates_in,
    is_date,
    positions_of,
    record_id,
)
from diagnose.casefile.records import RecordReader
from diagnose.knowledge.model import Knowledge
from diagnose.reading.entry import replace
from diagnose.reading.files import shown_name
from diagnose.reading.located import Node, only_keys, read_bytes, read_text
from diagnose.reading.problems import Problems, WayOut


def read_case(path: Path, knowledge: Knowledge) -> m.Case:
    """Reads and checks one case file against the vocabulary. Raises BadInput."""
    problems = Problems()
    case = None
    name = shown_name(path)
    data = read_bytes(path, name, problems)
    if data is not None:
        case = parse_case(data, name, knowledge, problems)
    problems.raise_errors()
    assert case is not None
    return case


def read_document(path: Path, knowledge: Knowledge) -> tuple[bytes, Node]:
    """A case file written by hand, its bytes and what stands in it. Raises BadInput with everything that is wrong."""
    problems = Problems()
    name = str(path)
    data = read_bytes(path, name, problems)
    node = read_text(data, name, problems) if data is not None else None
    if data is not None:
        parse_case(data, name, knowledge, problems)
    problems.raise_errors()
    assert data is not None and node is not None
    return data, node


def parse_case(data: bytes, name: str, knowledge: Knowledge, problems: Problems) -> m.Case | None:
    """A case from the bytes of its file; problems are added, None where nothing can be read."""
    node = read_text(data, name, problems)
    if node is None:
        return None
    if not node.is_map:
        problems.add(node.where, "mapping", "a case file is a mapping of keys", f"keys: {', '.join(TOP)}")
        return None
    return case_of(node, name, hashlib.sha256(data).hexdigest(), knowledge, problems)


def case_of(
    node: Node, name: str, digest: str, knowledge: Knowledge, problems: Problems, before: ReadBefore | None = None
) -> m.Case:
    """A case from the mapping of its file; problems are added. `before` is what the readings of a case that grows share."""
    reader = _Reader(knowledge, problems)
    reader.before = before or ReadBefore()
    return reader.read(node, name, digest)


def amend(case: m.Case, more: Node, knowledge: Knowledge, problems: Problems) -> m.Case:
    """The case with further records, read as if they stood in its file; problems are added.

    `more` is a mapping of observations, measurements and sections; parts and positions are those of the case.
    """
    reader = _Reader(knowledge, problems)
    reader.positions, reader.parts = case.positions, {p.item: p for p in case.parts}
    settings: list[m.SettingFact] = []
    figures: list[m.Measured] = []
    for name in SECTIONS:
        reader.read_section(name, more.get(name) or Node({}, more.where), "", {}, settings, figures)
    observations = [
        *reader.moved,
        *(o for item in reader.maps(more, "observations") for o in reader.read_observation(item)),
    ]
    measured = [x for x in map(reader.read_measurement, reader.maps(more, "measurements")) if x]
    states = [x for x in map(reader.read_state, reader.maps(more, "states")) if x]
    acts = [x for x in map(reader.read_act, reader.maps(more, "acts")) if x]
    return replace(
        case, settings=_by_id([*case.settings, *settings]), observations=_by_id([*case.observations, *observations]),
        measured=_by_id([*case.measured, *figures, *measured]), states=_by_id([*case.states, *states]),
        acts=_by_id([*case.acts, *acts]),
    )  # fmt: skip


def _by_id(records: Iterable[Any]) -> tuple[Any, ...]:
    return tuple(sorted({r.id: r for r in records}.values(), key=lambda r: r.id))


def observe(node: Node, knowledge: Knowledge, problems: Problems) -> list[m.Observation]:
    """Observations from one entry as a case file writes it, for a single seal without parts."""
    return _Reader(knowledge, problems).read_observation(node)


class ReadBefore:
    """Records in which an earlier reading found nothing wrong, by their nodes: they are not read again while the positions
    and parts that they may refer to stay the same."""

    def __init__(self) -> None:
        self.found: dict[int, tuple[Node, Any]] = {}
        self.kept: dict[int, tuple[Node, Any]] = {}
        self._among: object = None

    def start(self, among: object) -> None:
        """A reading begins among these positions and parts; what the one before did not meet is let go."""
        self.found = self.kept if among == self._among else {}
        self.kept, self._among = {}, among


class _Reader(RecordReader):
    before: ReadBefore

    def read(self, node: Node, path: str, digest: str) -> m.Case:
        only_keys(node, TOP, "a case file", self.problems)
        self.refuse_empty_lists(node)
        sections = {name: node.get(name) or Node({}, node.where) for name in SECTIONS}
        for name, section in sections.items():
            if not section.is_map:
                self.say(section.where, "mapping", f"{name!r} is a mapping of keys")
                sections[name] = Node({}, section.where)
        self.positions = self.read_positions(sections["seal"])
        texts: dict[str, str] = {}
        settings: list[m.SettingFact] = []
        figures: list[m.Measured] = []
        for name, section in sections.items():
            self.read_section(name, section, "", texts, settings, figures)
        self.refuse_odd_figures(figures, settings)
        for part in self.maps(node, "parts"):
            self.read_part(part)
        self.refuse_strange_touches(node)
        self.before.start((self.positions, self.parts))
        observations = [*self.moved, *chain(*self.records(node, "observations", self.read_observation))]
        self.refuse_contradictions(observations)
        measured = self.records(node, "measurements", self.read_measurement)
        self.refuse_impossible(observations, measured)
        states = self.records(node, "states", self.read_state)
        acts = self.records(node, "acts", self.read_act)
        stage = self.choice(node, "stage", self.words.stages, "stage of the teardown")
        return m.Case(
            name=self.text(node, "case", needed=True), path=path, digest=digest,
            invented=self.choice(node, "invented", ("true", "false"), "answer") == "true",
            about=self.text(node, "about"), positions=self.positions, texts=texts,
            settings=_by_id(settings),
            parts=tuple(sorted(self.parts.values(), key=lambda p: _natural(p.item))),
            observations=_by_id(observations),
            measured=_by_id([*figures, *measured]),
            events=self.read_events(sections["history"]), remarks=tuple(self.records(node, "remarks", self.read_remark)),
            index=self.read_index(node), stage=stage, lost=self.lost,
            expected=self.read_expected(node),
            states=_by_id(states), acts=_by_id(acts),
            custody=tuple(x for x in (read_custody(self, n) for n in self.maps(node, "custody")) if x),
            outcomes=tuple(read_outcome(self, n) for n in self.maps(node, "outcomes")),
            alone=self.choice(node, "at hand", AT_HAND, "thing at hand") == ALONE,
            not_understood=tuple(x.text() for x in node.members("said, not understood") if x.text()),
        )  # fmt: skip

    def records(self, node: Node, key: str, read: Callable[[Node], Any]) -> list[Any]:
        """What each record under a key is read as, without those that cannot be read."""
        found = []
        for item in self.maps(node, key):
            known, wrong = self.before.found.get(id(item)), len(self.problems.found)
            known = known or (item, read(item))
            if len(self.problems.found) == wrong:
                self.before.kept[id(item)] = known
            found.append(known[1])
        return [x for x in found if x is not None]

    def read_positions(self, seal: Node) -> tuple[str, ...]:
        found = (
            self.words.find("setting:arrangement", self.text(seal, "arrangement")) if seal.get("arrangement") else None
        )
        return positions_of(found or "")

    def read_index(self, node: Node) -> dict[str, str]:
        index = node.get("index")
        if index is None or not index.is_map:
            if index is not None:
                self.say(index.where, "mapping", "index is a mapping {rotating: …, stationary: …}")
            return {}
        only_keys(index, ["rotating", "stationary"], "index", self.problems)
        return {key: value.text() for key, value in sorted(index.items()) if value.text()}

    def read_events(self, history: Node) -> tuple[m.Event, ...]:
        events = []
        for item in self.maps(history, "events"):
            only_keys(item, ["date", "what"], "an event", self.problems)
            events.append(m.Event(self.date(item, "date"), self.text(item, "what", True)))
        return tuple(events)

    def read_written(self, node: Node, key: str) -> str:
        if key == "removal":
            return self.choice(node, key, REMOVALS, "end of a seal's time in service")
        return self.date(node, key) if key in DATES else self.text(node, key)

    def date(self, node: Node, key: str) -> str:
        day = self.text(node, key)
        if day and not is_date(day):
            way_out = (
                " or ".join(dates_in(day))
                or "year, month and day as far as they are known: 2026-03-02, 2026-03 or 2026"
            )
            self.say((node.get(key) or node).where, "date", f"{day[:40]!r} is no date", f"write {way_out}")
        return day

    def refuse_empty_lists(self, node: Node, key: str = "") -> None:
        """An empty list says nothing, and whoever wrote it meant to; only what is expected of a test may be nothing."""
        if not node.has_empty_list:
            return
        if node.is_list and not node.value:
            self.say(
                node.where, "empty-list", f"{key!r} is an empty list", "write what belongs there, or leave the key out"
            )
        for inner, value in node.items():
            if inner != "expected":
                self.refuse_empty_lists(value, inner)
        for item in node.each() if node.is_list else ():
            self.refuse_empty_lists(item, key)

    def refuse_odd_figures(self, figures: Iterable[m.Measured], settings: Iterable[m.SettingFact]) -> None:
        """Figures that contradict each other as the vocabulary says: a diameter inside that is larger than the one outside."""
        known = {(f.what, f.position): f for f in figures}
        holds = {(s.setting, s.term, s.position) for s in settings if s.holds}
        for (what, position), figure in known.items():
            reading = self.words.readings[what]
            if any((s, t, p) in holds for s, t in reading.unless.items() for p in (position, "")):
                continue
            for other_name, sign in ((reading.above, 1), (reading.below, -1)):
                other = known.get((other_name, position))
                if other and sign * (figure.readings[0].value - other.readings[0].value) <= 0:
                    freed = "".join(f"; or write {s}: {t}" for s, t in reading.unless.items())
                    self.say(figure.where, "contradiction", f"the {what} ({figure.readings[0].written}) must be "
                             f"{'above' if sign > 0 else 'below'} the {other_name} ({other.readings[0].written})",
                             WayOut("mend one", freed, "correct one of them"))  # fmt: skip

    def read_section(
        self, name: str, node: Node, position: str, texts: dict[str, str], settings: list[m.SettingFact],
        figures: list[m.Measured],
    ) -> None:  # fmt: skip
        for key, value in node.items():
            bare = key.removeprefix("not ")
            setting = self.words.find("setting", TRAITS[name] if bare in ("is", "is not") else bare)
            reading = self.words.find("reading", key)
            if key == "is not":
                key = "not is"
            if name == "history" and key == "events":
                continue
            if name == "seal" and key == "lost":
                reason = self.read_lost(node)
                self.lost |= dict.fromkeys((position,) if position else self.positions, reason) if reason else {}
                continue
            if key in TEXTS[name] and not (setting and key != "note"):
                texts[f"{name}.{key}"] = self.read_written(node, key)
            elif name == "equipment" and key in ("rotation", "seen from"):
                allowed = ROTATIONS if key == "rotation" else ENDS
                texts[f"{name}.{key}"] = self.choice(node, key, allowed, key)
            elif name in ("seal", "service") and key in self.positions and key != "seal" and value.is_map:
                self.read_section(name, value, key, texts, settings, figures)
            elif setting and self.words.settings[setting].section == name:
                self.read_setting(setting, value, not key.startswith("not "), position, settings)
            elif reading and self.words.readings[reading].section == name:
                self.read_figure(reading, name, value, position, figures)
            else:
                known = [
                    *TEXTS[name], *(("lost",) if name == "seal" else ()), "is", *(s.name for s in self.words.settings.values() if s.section == name),
                    *(r.name for r in self.words.readings.values() if r.section == name),
                    *(("rotation", "seen from") if name == "equipment" else ()),
                ]  # fmt: skip
                self.say(
                    node.key_place(key),
                    "unknown-key",
                    f"{name!r} has no key {key!r}",
                    self.problems.near(key, known) or "see: diagnose terms",
                )

    def read_setting(self, name: str, node: Node, holds: bool, position: str, settings: list[m.SettingFact]) -> None:
        setting = self.words.settings[name]
        if setting.single and holds and node.is_list:
            self.say(node.where, "one-term", f"{name!r} takes one term", "leave one")
        for item in node.each():
            moved = self.words.grammar.moved_from(name, item.text())
            if moved:
                entry = {"saw" if holds else "absent": Node(moved.saw, item.where), "on": Node(moved.on, item.where)}
                self.moved += self.read_observation(Node(entry, item.where))
                continue
            term = self.term(f"setting:{name}", item, f"term of {name!r}")
            if term:
                id = record_id("s", name, term, holds, position)
                settings.append(m.SettingFact(id, name, term, holds, position, item.where))

    def read_figure(self, name: str, section: str, node: Node, position: str, figures: list[m.Measured]) -> None:
        number = self.number(node, self.words.readings[name])
        if number is None:
            return
        places = (position,) if position else self.positions if section == "seal" else ("machine",)
        for spot in places:
            id = record_id("m", name, "", spot, [number.value, number.spread])
            figures.append(m.Measured(id, name, (number,), spot, where=node.where))

    def read_expected(self, node: Node) -> m.Expected | None:
        value = node.get("expected")
        if value is None:
            return None
        if not value.is_map:
            self.say(value.where, "mapping", "expected is a mapping of keys")
            return None
        only_keys(value, EXPECTED, "expected", self.problems)
        knowledge = self.knowledge
        both = {**knowledge.causes, **knowledge.mechanisms}

        def named(key: str, table: Mapping[str, Any], what: str) -> tuple[str, ...]:
            found = value.get(key)
            result = []
            for item in found.each() if found else []:
                name = knowledge.present_name(item.text())
                if name in table:
                    result.append(name)
                else:
                    way_out = self.problems.near(item.text(), table)
                    self.say(item.where, f"unknown-{what}", f"there is no {what} {item.text()!r}", way_out)
            return tuple(result)

        one_of, either = named("one of", both, "cause"), named("cause", both, "cause")
        roots = (*named("root", knowledge.causes, "cause"), *(n for n in (*one_of, *either) if n in knowledge.causes))
        mechanisms = (*named("mechanism", knowledge.mechanisms, "mechanism"),
                      *(n for n in (*one_of, *either) if n in knowledge.mechanisms))  # fmt: skip
        nothing = self.choice(value, "none of these", ("true", "false"), "answer") == "true"
        told = any(value.get(k) for k in ("root", "mechanism", "cause", "one of"))
        if told + nothing != 1 or (value.get("one of") and not one_of):
            self.say(
                value.where, "expected", "expected has root and mechanism (or one of them), or one of, or none of these"
            )
        return m.Expected(
            roots, mechanisms, bool(one_of), named("also", both, "cause"), self.text(value, "position"),
            named("ruled out", both, "cause"), nothing, self.text(value, "source"), self.text(value, "shows"),
        )  # fmt: skip


def _natural(item: str) -> tuple[tuple[int, int, str], ...]:
    """Sorts item numbers as people do: 2 before 10."""
    numbers = ((s, s.lstrip("0")) for s in re.findall(r"\d+|\D+", item))
    return tuple((0, len(number), number) if s.isdecimal() else (1, 0, s) for s, number in numbers)
