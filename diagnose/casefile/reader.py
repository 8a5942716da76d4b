"""Reads a case file into an immutable Case, or raises BadInput with every mistake in it."""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Iterable
from dataclasses import replace
from datetime import date
from pathlib import Path, PurePosixPath
from typing import Any

from diagnose.casefile import model as m
from diagnose.casefile.clock import BadClock, arc, length, place
from diagnose.knowledge.model import Knowledge, Reading
from diagnose.reading.located import Node, only_keys, read_bytes, read_text, text_under
from diagnose.reading.problems import Problems, Where
from diagnose.reading.terms import did_you_mean, plain
from diagnose.reading.units import Amount, BadUnit, amount, show, step, unit

SECTIONS = ("equipment", "service", "seal", "history")
ENDS = ("driver end", "impeller end")
STATES = {"saw": "present", "absent": "absent", "not looked at": "not looked at", "lost": "lost"}
TRAITS = {"service": "service", "equipment": "machine", "seal": "seal", "history": "history"}
TEXTS = {
    "equipment": ["description", "tag", "note"],
    "service": ["fluid", "note"],
    "seal": ["note"],
    "history": ["note"],
}
_TOP = ["case", "invented", "about", "equipment", "service", "seal", "index", "parts", "observations", "measurements",
        "history", "stage", "expected"]  # fmt: skip
_OBSERVATION = [*STATES, "part", "on", "position", "group", "degree", "extent", "side", "face", "note", "photo",
                "photo digest"]  # fmt: skip
_MEASUREMENT = ["measured", "part", "on", "position", "group", "reading", "readings", "unit", "at", "labels",
                "resolution", "instrument", "temperature", "note", "photo", "photo digest"]  # fmt: skip
_PART = ["item", "name", "kind", "position", "group", "carries", "index", "index at", "seen from", "tag", "touches",
         "lost", "note"]  # fmt: skip
_DATE = re.compile(r"[0-9]{4}(-[0-9]{2}(-[0-9]{2})?)?")
_EXPECTED = ["cause", "one of", "also", "position", "ruled out", "none of these", "source", "shows"]
MOST_RECORDS = 5000


def read_case(path: Path, knowledge: Knowledge) -> m.Case:
    """Reads and checks one case file against the vocabulary. Raises BadInput."""
    problems = Problems()
    case = None
    data = read_bytes(path, str(path), problems)
    if data is not None:
        case = parse_case(data, str(path), knowledge, problems)
    problems.raise_errors()
    assert case is not None
    return case


def parse_case(data: bytes, name: str, knowledge: Knowledge, problems: Problems) -> m.Case | None:
    """A case from the bytes of its file; problems are added, None where nothing can be read."""
    node = read_text(data, name, problems)
    if node is None:
        return None
    if not node.is_map:
        problems.add(node.where, "mapping", "a case file is a mapping of keys", f"keys: {', '.join(_TOP)}")
        return None
    return case_of(node, name, hashlib.sha256(data).hexdigest(), knowledge, problems)


def case_of(node: Node, name: str, digest: str, knowledge: Knowledge, problems: Problems) -> m.Case:
    """A case from the mapping of its file; problems are added."""
    return _Reader(knowledge, problems).read(node, name, digest)


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
    observations = [o for item in reader.maps(more, "observations") for o in reader.read_observation(item)]
    measured = [x for x in map(reader.read_measurement, reader.maps(more, "measurements")) if x]
    return replace(
        case, settings=_by_id([*case.settings, *settings]), observations=_by_id([*case.observations, *observations]),
        measured=_by_id([*case.measured, *figures, *measured]),
    )  # fmt: skip


def _by_id(records: Iterable[Any]) -> tuple[Any, ...]:
    return tuple(sorted({r.id: r for r in records}.values(), key=lambda r: r.id))


def observe(node: Node, knowledge: Knowledge, problems: Problems) -> list[m.Observation]:
    """Observations from one entry as a case file writes it, for a single seal without parts."""
    return _Reader(knowledge, problems).read_observation(node)


def record_id(letter: str, *content: object) -> str:
    """An identity made from content alone, so that it does not depend on order or line."""
    text = json.dumps(content, ensure_ascii=False, sort_keys=True)
    return letter + hashlib.sha1(text.encode()).hexdigest()[:10]


class _Reader:
    def __init__(self, knowledge: Knowledge, problems: Problems):
        self.knowledge, self.problems = knowledge, problems
        self.words = knowledge.vocabulary
        self.positions: tuple[str, ...] = ("seal",)
        self.parts: dict[str, m.Part] = {}
        self.lost: dict[str, str] = {}

    # ---- small things -------------------------------------------------------------------------------------

    def say(self, where: Where, code: str, says: str, way_out: str = "") -> None:
        self.problems.add(where, code, says, way_out)

    def text(self, node: Node, key: str, needed: bool = False) -> str:
        return text_under(node, key, self.problems, needed)

    def choice(self, node: Node, key: str, allowed: Iterable[str], what: str) -> str:
        word, table = self.text(node, key), list(allowed)
        if word and word not in table:
            way_out = did_you_mean(word, table) or f"allowed: {', '.join(table)}"
            self.say((node.get(key) or node).where, "unknown-word", f"{word!r} is no {what}", way_out)
            return ""
        return word

    def term(self, family: str, node: Node | None, what: str) -> str:
        if node is None:
            return ""
        found = self.words.find(family, node.text()) if isinstance(node.value, str) else None
        if found is None:
            shown = node.text() or "this"
            way_out = did_you_mean(shown, self.words.names[family]) or "see: diagnose terms"
            self.say(
                node.where, f"unknown-{family.split(':')[0]}", f"{shown!r} is no {what} of the vocabulary", way_out
            )
            return ""
        return found

    def maps(self, node: Node, key: str) -> list[Node]:
        """The mappings in a list under `key`; anything else in it is a problem."""
        value = node.get(key)
        if value is None or value.value is None:
            return []
        if not value.is_list:
            self.say(value.where, "list", f"{key!r} takes a list", "start each entry with a dash")
            return []
        result = []
        for item in value.each():
            if item.is_map:
                result.append(item)
            else:
                self.say(item.where, "mapping", f"each entry of {key!r} is a mapping of keys")
        if len(result) > MOST_RECORDS:
            self.say(value.where, "too-many", f"more than {MOST_RECORDS} entries in {key!r}", "split the case")
            return []
        return result

    def number(self, node: Node, reading: Reading, default_unit: str = "", listed: bool = False) -> Amount | None:
        """A reading's number, checked for kind of unit and bounds."""
        written = node.text()
        try:
            if default_unit and re.fullmatch(r"[-+]?[\d.,]+(e[-+]?\d+)?", written.strip(), re.I):
                written = f"{written} {default_unit}"
            number = amount(written)
            refuse_other_unit(number, reading)
        except BadUnit as error:
            way_out = f"write it like 12 {reading.unit}".strip()
            if listed and re.fullmatch(r"[-+]?\d+", node.text().strip()):
                way_out += "; in brackets a decimal comma parts two readings: write the point"
            self.say(node.where, "unit", str(error), way_out)
            return None
        low = amount(reading.least).value if reading.least else None
        high = amount(reading.most).value if reading.most else None
        if (low is not None and number.value < low - 1e-12) or (
            high is not None and number.value > high * (1 + 1e-9) + 1e-12
        ):
            allowed = " to ".join(x for x in (reading.least or "no lower bound", reading.most or "no upper bound"))
            self.say(
                node.where,
                "out-of-range",
                f"{node.text()[:40]!r} is not possible for {reading.name!r}",
                f"allowed: {allowed}",
            )
            return None
        return number

    def step(self, node: Node, reading: Reading) -> float:
        """An instrument's resolution in SI; 0 with a problem where it is no such number."""
        try:
            number = step(node.text())
            refuse_other_unit(number, reading)
            if number.value <= 0:
                raise BadUnit(f"{node.text()[:40]!r} is no smallest step: it must be above zero")
            return number.value
        except BadUnit as error:
            self.say(node.where, "unit", str(error), f"write it like 0.1 {reading.unit}")
            return 0.0

    # ---- the file -----------------------------------------------------------------------------------------

    def read(self, node: Node, path: str, digest: str) -> m.Case:
        only_keys(node, _TOP, "a case file", self.problems)
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
        observations = [o for item in self.maps(node, "observations") for o in self.read_observation(item)]
        self.refuse_contradictions(observations)
        measured = [x for x in map(self.read_measurement, self.maps(node, "measurements")) if x]
        stage = self.choice(node, "stage", self.words.stages, "stage of the teardown")
        return m.Case(
            name=self.text(node, "case", needed=True), path=path, digest=digest,
            invented=self.choice(node, "invented", ("true", "false"), "answer") == "true",
            about=self.text(node, "about"), positions=self.positions, texts=texts,
            settings=_by_id(settings),
            parts=tuple(sorted(self.parts.values(), key=lambda p: _natural(p.item))),
            observations=_by_id(observations),
            measured=_by_id([*figures, *measured]),
            events=self.read_events(sections["history"]), index=self.read_index(node), stage=stage, lost=self.lost,
            expected=self.read_expected(node),
        )  # fmt: skip

    def read_positions(self, seal: Node) -> tuple[str, ...]:
        found = (
            self.words.find("setting:arrangement", self.text(seal, "arrangement")) if seal.get("arrangement") else None
        )
        return ("inboard", "outboard") if found and found.startswith("dual") else ("seal",)

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
            day = self.text(item, "date")
            if day and not is_date(day):
                self.say((item.get("date") or item).where, "date", f"{day[:40]!r} is no date",
                         "write year, month and day as far as they are known: 2026-03-02, 2026-03 or 2026")  # fmt: skip
            events.append(m.Event(day, self.text(item, "what", True)))
        return tuple(events)

    def refuse_empty_lists(self, node: Node, key: str = "") -> None:
        """An empty list says nothing, and whoever wrote it meant to; only what is expected of a test may be nothing."""
        if node.is_list and not node.value:
            self.say(node.where, "empty-list", f"{key!r} is an empty list", "write what belongs there, or leave the key out")
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
                             f"correct one of them{freed}")  # fmt: skip

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
                texts[f"{name}.{key}"] = self.text(node, key)
            elif name == "equipment" and key in ("rotation", "seen from"):
                allowed = ("clockwise", "counterclockwise") if key == "rotation" else ENDS
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
                    did_you_mean(key, known) or "see: diagnose terms",
                )

    def read_setting(self, name: str, node: Node, holds: bool, position: str, settings: list[m.SettingFact]) -> None:
        setting = self.words.settings[name]
        if setting.single and holds and node.is_list:
            self.say(node.where, "one-term", f"{name!r} takes one term", "leave one")
        for item in node.each():
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

    def read_lost(self, node: Node) -> str:
        """How a part or a seal was lost; a bare `lost:` is a problem."""
        reason, value = self.text(node, "lost"), node.get("lost")
        if value and not reason and not (value.is_list or value.is_map):
            self.say(node.key_place("lost"), "lost", "how it was lost is not said", "for example lost: scrapped before anyone looked")
        return reason

    def read_part(self, node: Node) -> None:
        only_keys(node, _PART, "a part", self.problems)
        item = self.text(node, "item", needed=True)
        if item in self.parts:
            self.say(node.where, "item-twice", f"the item number {item!r} stands twice", "renumber one of them")
        kind = self.term("kind", node.get("kind"), "kind of part")
        if node.get("kind") is None:
            self.say(node.where, "missing-key", "the key 'kind' is missing")
        known = self.words.kinds.get(kind)
        group = self.choice(node, "group", ("rotating", "stationary"), "group")
        offset = None
        at = node.get("index at")
        if at is not None:
            try:
                offset = place(at.text())
            except BadClock as error:
                self.say(at.where, "clock", str(error))
        self.parts[item] = m.Part(
            item, self.text(node, "name") or kind, kind, self.read_position(node, kind), group or (known.group if known else ""),
            self.text(node, "index"), self.choice(node, "seen from", ENDS, "end"),
            self.choice(node, "carries", ("nose", "wide"), "side of the pair of faces"), offset,
            self.text(node, "tag"), tuple(x.text() for x in self.touched(node)), self.read_lost(node), node.where,
        )  # fmt: skip

    def touched(self, node: Node) -> list[Node]:
        value = node.get("touches")
        return value.each() if value else []

    def refuse_strange_touches(self, node: Node) -> None:
        for part in self.maps(node, "parts"):
            for item in self.touched(part):
                if item.text() not in self.parts:
                    self.say(item.where, "unknown-item", f"no part has the item number {item.text()!r}",
                             did_you_mean(item.text(), self.parts) or "add it under parts")  # fmt: skip

    def read_position(self, node: Node, kind: str, part: m.Part | None = None) -> str:
        position = self.text(node, "position")
        machine = bool(kind) and kind in self.words.kinds and self.words.kinds[kind].place == "machine"
        if position:
            allowed = (*self.positions, "machine")
            if position not in allowed:
                self.say((node.get("position") or node).where, "position", f"{position!r} is no position of this seal",
                         f"allowed: {', '.join(allowed)}")  # fmt: skip
                return allowed[0]
            return position
        if part:
            return part.position
        if machine:
            return "machine"
        return self.positions[0] if len(self.positions) == 1 else ""

    def the_part(self, node: Node) -> m.Part | None:
        item = self.text(node, "part")
        if item and item not in self.parts:
            self.say((node.get("part") or node).where, "unknown-item", f"no part has the item number {item!r}",
                     did_you_mean(item, self.parts) or "add it under parts")  # fmt: skip
        return self.parts.get(item)

    def read_observation(self, node: Node) -> list[m.Observation]:
        only_keys(node, _OBSERVATION, "an observation", self.problems)
        states = [key for key in STATES if (value := node.get(key)) and value.value is not None]
        if len(states) != 1:
            self.say(node.where, "observation", "an observation says one thing", f"one of: {', '.join(STATES)}")
            return []
        part = self.the_part(node)
        extent = self.read_extent(node)
        about = part.kind if part else self.words.find("kind", self.text(node, "on")) or ""
        result = []
        value = node.get(states[0])
        for item in value.each() if value else []:
            feature = self.term("feature", item, "feature") and self.words.feature(item.text(), about)
            if not feature:
                continue
            kind = part.kind if part else self.term("kind", node.get("on"), "kind of part")
            kind = self.fitting_kind(feature, kind, item, bool(part or node.get("on")))
            if not kind:
                continue
            side = self.choice(node, "side", self.words.sides, "side")
            degree = self.choice(node, "degree", self.words.degrees, "degree")
            position = self.read_position(node, kind, part)
            if not position and len(self.positions) > 1:
                place_ = self.words.kinds[kind].place
                position = "machine" if place_ == "machine" else ""
            group = self.choice(node, "group", ("rotating", "stationary"), "group") or (
                part.group if part else self.words.kinds[kind].group if kind else ""
            )
            carries = self.choice(node, "face", ("nose", "wide"), "side of the pair of faces") or (
                part.carries if part else ""
            )
            photo = self.read_photo(node)
            state = STATES[states[0]]
            content = (feature, state, kind, position, part.item if part else "", group, carries, degree, side,
                       extent.word, extent.arcs)  # fmt: skip
            result.append(m.Observation(
                record_id("o", *content), feature, state, kind, position, part.item if part else "", group, carries,
                degree, side, extent, self.text(node, "note"), photo, self.text(node, "photo digest"), node.where,
            ))  # fmt: skip
        return result

    def fitting_kind(self, feature: str, kind: str, node: Node, given: bool) -> str:
        """The kind a feature is recorded on: as given if it fits, or the feature's only kind."""
        allowed = self.words.features[feature].on
        if kind:
            if self.words.can_be_on(feature, kind):
                return kind
            self.say(
                node.where,
                "wrong-part",
                f"{feature!r} is not recorded on {kind!r}",
                f"it is recorded on: {', '.join(allowed)}",
            )
            return ""
        if given:
            return ""
        if len(allowed) == 1:
            return allowed[0]
        self.say(
            node.where,
            "no-part",
            f"{feature!r} needs part: ITEM or on: KIND",
            f"it is recorded on: {', '.join(allowed)}",
        )
        return ""

    def read_extent(self, node: Node) -> m.Extent:
        value = node.get("extent")
        if value is None:
            return m.Extent()
        words, arcs = [], []
        for item in value.each():
            text = plain(item.text())
            if text in ("all round", "360", "360°"):
                words.append("all round")
            elif text in ("one sector", "patches"):
                words.append(text)
            else:
                try:
                    arcs.append(arc(text))
                except BadClock as error:
                    self.say(item.where, "clock", str(error))
        if arcs and not words:
            covered = length(tuple(arcs))
            words = ["all round" if covered >= 330 else "one sector" if len(arcs) == 1 else "patches"]
        return m.Extent(words[0] if words else "", tuple(sorted(arcs)))

    def read_photo(self, node: Node) -> str:
        photo = self.text(node, "photo")
        if photo and (
            PurePosixPath(photo).is_absolute() or ".." in PurePosixPath(photo).parts or "\\" in photo or ":" in photo
        ):
            self.say((node.get("photo") or node).where, "photo", f"{photo[:60]!r} is no path beside the case file",
                     "a relative path without ..")  # fmt: skip
            return ""
        return photo

    def refuse_contradictions(self, observations: list[m.Observation]) -> None:
        said: dict[tuple[Any, ...], m.Observation] = {}
        for o in observations:
            if o.state not in ("present", "absent"):
                continue
            key = (o.feature, o.kind, o.part, o.position, o.side, o.extent.arcs, o.group, o.carries)
            other = said.setdefault(key, o)
            if other.state != o.state and not (o.extent.word or other.extent.word):
                self.say(max(o.where, other.where), "says-both",
                         f"{o.feature!r} is recorded present and absent on the same part (see line {min(o.where, other.where).line})",
                         "keep the one that was seen")  # fmt: skip

    def read_measurement(self, node: Node) -> m.Measured | None:
        only_keys(node, _MEASUREMENT, "a measurement", self.problems)
        value = node.get("measured")
        if value is None:
            self.say(node.where, "missing-key", "the key 'measured' is missing")
            return None
        what = self.term("reading", value, "reading")
        part = self.the_part(node)
        kind = part.kind if part else self.term("kind", node.get("on"), "kind of part")
        if not what:
            return None
        reading = self.words.readings[what]
        if reading.section:
            self.say(
                value.where, "wrong-place", f"{what!r} is a figure of the case", f"write it under {reading.section}:"
            )
            return None
        kind = kind or (reading.on[0] if len(reading.on) == 1 else "")
        lineage = self.words.lineage
        if kind and reading.on and not any(a in lineage[kind] or kind in lineage[a] for a in reading.on):
            self.say(
                value.where,
                "wrong-part",
                f"{what!r} is not measured on {kind!r}",
                f"it is measured on: {', '.join(reading.on)}",
            )
        if not kind and reading.on:
            self.say(
                value.where,
                "no-part",
                f"{what!r} needs part: ITEM or on: KIND",
                f"it is measured on: {', '.join(reading.on)}",
            )
            return None
        given = node.get("readings") or node.get("reading")
        if given is None or not given.each():
            self.say(node.where, "missing-key", "the key 'readings' (or 'reading') is missing")
            return None
        default = self.text(node, "unit")
        numbers = [self.number(item, reading, default, given.is_list) for item in given.each()]
        if len(numbers) > 1 and not reading.several:
            self.say(given.where, "one-reading", f"{what!r} takes one reading", "or record it on separate parts")
        around: list[float] = []
        at = node.get("at")
        for item in at.each() if at else []:
            try:
                around.append(place(item.text()))
            except BadClock as error:
                self.say(item.where, "clock", str(error))
        if at is not None and at.each() and len(at.each()) != len(given.each()):
            self.say(
                at.where, "at-count", f"{len(given.each())} readings but {len(at.each())} clock positions", "one each"
            )
        resolution = node.get("resolution")
        fine = self.step(resolution, reading) if resolution else 0.0
        temperature = node.get("temperature")
        warm = self.number(temperature, Reading("temperature", "°C")) if temperature else None
        if any(n is None for n in numbers):
            return None
        readings = tuple(n for n in numbers if n)
        labels = tuple(x.text() for x in (node.get("labels") or Node([], node.where)).each())
        position = self.read_position(node, kind, part)
        group = self.choice(node, "group", ("rotating", "stationary"), "group") or (
            part.group if part else self.words.kinds[kind].group if kind else ""
        )
        id = record_id("m", what, part.item if part else "", position, [(r.value, r.spread) for r in readings], around,
                       kind, group)  # fmt: skip
        return m.Measured(
            id, what, readings, position, part.item if part else "", kind, group, tuple(around), labels,
            fine, self.text(node, "instrument"), warm, self.text(node, "note"), node.where,
        )  # fmt: skip

    def read_expected(self, node: Node) -> m.Expected | None:
        value = node.get("expected")
        if value is None:
            return None
        if not value.is_map:
            self.say(value.where, "mapping", "expected is a mapping of keys")
            return None
        only_keys(value, _EXPECTED, "expected", self.problems)
        causes = self.knowledge.causes

        def named(key: str) -> tuple[str, ...]:
            found = value.get(key)
            for item in found.each() if found else []:
                if item.text() not in causes:
                    self.say(
                        item.where,
                        "unknown-cause",
                        f"there is no cause {item.text()!r}",
                        did_you_mean(item.text(), causes),
                    )
            return tuple(item.text() for item in (found.each() if found else []))

        one_of = named("one of")
        nothing = self.choice(value, "none of these", ("true", "false"), "answer") == "true"
        if bool(one_of) + bool(value.get("cause")) + nothing != 1:
            self.say(value.where, "expected", "expected has one of cause, one of, none of these")
        return m.Expected(
            one_of or named("cause"), bool(one_of), named("also"), self.text(value, "position"), named("ruled out"),
            nothing, self.text(value, "source"), self.text(value, "shows"),
        )  # fmt: skip


def is_date(text: str) -> bool:
    """Whether a text is a year, a month or a day as ISO 8601 writes them: 2026, 2026-03, 2026-03-02."""
    if not _DATE.fullmatch(text):
        return False
    try:
        date.fromisoformat(text + "-01-01"[len(text) - 4 :])
    except ValueError:
        return False
    return True


def refuse_other_unit(number: Amount, reading: Reading) -> None:
    """Raises BadUnit where a number is not in a unit of the reading's kind."""
    wanted = unit(reading.unit)
    if number.kind == wanted.kind:
        return
    bare = number.kind == unit("").kind and number.written[-1:].isdigit()
    raise BadUnit(f"{number.written[:40]!r} has no unit; {reading.name!r} is a number with one" if bare
                  else f"{number.written[:40]!r} is in the wrong kind of unit for {reading.name!r}")  # fmt: skip


def _natural(item: str) -> tuple[tuple[int, int, str], ...]:
    """Sorts item numbers as people do: 2 before 10."""
    return tuple((0, int(s), "") if s.isdigit() else (1, 0, s) for s in re.findall(r"\d+|\D+", item))


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
