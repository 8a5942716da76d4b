"""Reads parts, observations and measurements of a case file."""

from __future__ import annotations

import re
from pathlib import PurePosixPath
from typing import Any

from diagnose.casefile import model as m
from diagnose.casefile.clock import BadClock, arc, length, place
from diagnose.casefile.format import ENDS, MEASUREMENT, OBSERVATION, PART, REMARK, STATES, record_id
from diagnose.casefile.statements import StatementReader
from diagnose.knowledge.model import Reading
from diagnose.reading.figures import number_of
from diagnose.reading.located import Node, only_keys
from diagnose.reading.problems import WayOut
from diagnose.reading.terms import plain


class RecordReader(StatementReader):
    """Reads the records on parts; needs the positions of the case, and its parts for what refers to them."""

    def read_lost(self, node: Node) -> str:
        """How a part or a seal was lost; a bare `lost:` is a problem."""
        reason, value = self.text(node, "lost"), node.get("lost")
        if value and not reason and not (value.is_list or value.is_map):
            self.say(
                node.key_place("lost"),
                "lost",
                "how it was lost is not said",
                "for example lost: scrapped before anyone looked",
            )
        return reason

    def read_part(self, node: Node) -> None:
        only_keys(node, PART, "a part", self.problems)
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
            self.text(node, "tag"), tuple(x.text() for x in self.touched(node)), self.read_lost(node),
            self.choice(node, "towards", ENDS, "end"), self.read_places(node), node.where,
        )  # fmt: skip

    def read_places(self, node: Node) -> tuple[tuple[str, str], ...]:
        """What sat where: "1 in pocket 3" of springs, "a in slot 2" of pins."""
        found = []
        for item in node.members("sat in"):
            thing, sign, spot = (x.strip() for x in item.text().partition(" in "))
            if thing and sign and spot:
                found.append((thing, spot))
            else:
                self.say(
                    item.where, "place", f"{item.text()!r} does not say what sat in what", "for example: 1 in pocket 3"
                )
        return tuple(found)

    def touched(self, node: Node) -> list[Node]:
        value = node.get("touches")
        return value.each() if value else []

    def refuse_strange_touches(self, node: Node) -> None:
        for part in self.maps(node, "parts"):
            for item in self.touched(part):
                if item.text() not in self.parts:
                    self.say(item.where, "unknown-item", f"no part has the item number {item.text()!r}",
                             self.problems.near(item.text(), self.parts) or "add it under parts")  # fmt: skip

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
                     self.problems.near(item, self.parts) or "add it under parts")  # fmt: skip
        return self.parts.get(item)

    def read_observation(self, node: Node) -> list[m.Observation]:
        only_keys(node, [*OBSERVATION, *self.words.grammar.qualifiers], "an observation", self.problems)
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
            feature, left = self.words.named(feature, self.qualifiers(node), kind)
            such, which, of, when = (
                tuple(left.items()),
                self.read_which(node),
                self.read_count(node),
                self.moment(node.get("when")),
            )
            content = (feature, state, kind, position, part.item if part else "", group, carries, degree, side,
                       extent.word, extent.arcs, *filter(None, (such, which, of, when)))  # fmt: skip
            result.append(m.Observation(
                record_id("o", *content), feature, state, kind, position, part.item if part else "", group, carries,
                degree, side, extent, self.text(node, "note"), photo, self.text(node, "photo digest"), such, which, of, when,
                self.text(node, "said"), node.where,
            ))  # fmt: skip
        return result

    def read_remark(self, node: Node) -> m.Remark:
        only_keys(node, REMARK, "a remark", self.problems)
        part, photo, note = self.the_part(node), self.read_photo(node), self.text(node, "note")
        if not note and not node.get("photo"):
            self.say(node.where, "missing-key", "a remark has a note or a photo")
        of = self.term("feature", node.get("of"), "feature") if node.get("of") else ""
        return m.Remark(note, part.item if part else "", photo, self.text(node, "photo digest"), of, node.where)

    def read_which(self, node: Node) -> tuple[str, ...]:
        """Which of several have the mark: pin 2, or a list."""
        return tuple(item.text() for item in node.members("which") if item.text())

    def read_count(self, node: Node) -> int:
        """Of how many; 0 where it is not said."""
        of, which = node.get("of"), self.read_which(node)
        if of is None:
            return 0
        count = number_of(of.text())
        highest = max((number_of(n) for w in which for n in re.findall(r"\d+", w)), default=len(which))
        if not count:
            self.say(of.where, "of", f"{of.text()[:40]!r} is no number of parts", "of: 4")
        elif max(highest, len(which)) > count:
            self.say(of.where, "of", f"{', '.join(which)} cannot be among {count}", "correct which: or of:")
        return count

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
            f"it is recorded on: {', '.join(allowed) or 'any kind of part'}",
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
            if not o.looked_for:
                continue
            key = (o.kind, o.part, o.position, o.side, o.extent.arcs, o.group, o.carries, o.such, o.which, o.when)
            for feature in self.words.form_lineage[o.feature] if o.state == "present" else (o.feature,):
                other = said.setdefault((o.state, feature, *key), o)
                against = said.get(("absent" if o.state == "present" else "present", feature, *key))
                if other is o and against and not (o.extent.word or against.extent.word):
                    first, second = sorted((o.where, against.where))
                    both = (
                        f"{o.feature!r} is recorded present and absent"
                        if o.feature == against.feature
                        else f"{o.feature!r} is recorded {o.state} and {against.feature!r} {against.state}"
                    )
                    line = f" (see line {first.line})" if first.line else ""
                    self.say(second, "says-both", f"{both} on the same part{line}",
                             WayOut("keep one", before="keep the one that was seen"))  # fmt: skip
                    break

    def refuse_impossible(self, observations: list[m.Observation], measured: list[m.Measured]) -> None:
        """Marks and readings on a part that is not there, and marks of one part that exclude each other."""
        on_part: dict[str, list[m.Observation]] = {}
        for o in observations:
            if o.part and o.state == "present" and not o.which:
                on_part.setdefault(o.part, []).append(o)
        for item, seen in on_part.items():
            for o in (
                o for o in seen if self.words.features[o.feature].gone or self.words.features[o.feature].excludes
            ):
                gone, excludes = self.words.features[o.feature].gone, self.words.features[o.feature].excludes
                marks = [
                    (x.where, x.feature) for x in seen if x.feature != o.feature and (gone or x.feature in excludes)
                ]
                readings = [(x.where, x.what) for x in measured if gone and x.part == item]
                for where, what in [*marks, *readings]:
                    self.say(max(where, o.where), "contradiction", f"part {item} is recorded with {o.feature!r}, so {what!r} cannot be on it",
                             WayOut("keep one", before="keep what is so, and correct or withdraw the other"))  # fmt: skip

    def read_measurement(self, node: Node) -> m.Measured | None:
        only_keys(node, MEASUREMENT, "a measurement", self.problems)
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
        measured_on = self.measured_on(reading, kind, value)
        if measured_on is None:
            return None
        kind = measured_on
        given = node.get("readings") or node.get("reading")
        if given is None or not given.each():
            self.say(node.where, "missing-key", "the key 'readings' (or 'reading') is missing")
            return None
        default = self.text(node, "unit")
        numbers = [self.number(item, reading, default, given.is_list) for item in given.each()]
        if len(numbers) > 1 and not reading.several:
            self.say(given.where, "one-reading", f"{what!r} takes one reading", "or record it on separate parts")
        around = self.read_around(node, len(given.each()))
        resolution = node.get("resolution")
        fine = self.step(resolution, reading) if resolution else 0.0
        temperature = node.get("temperature")
        warm = self.number(temperature, Reading("temperature", "°C")) if temperature else None
        if any(n is None for n in numbers):
            return None
        readings = tuple(n for n in numbers if n)
        labels = tuple(x.text() for x in node.members("labels"))
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

    def measured_on(self, reading: Reading, kind: str, node: Node) -> str | None:
        """The kind a reading is measured on, as given or the only one there is; None where it cannot be recorded so."""
        what, allowed = reading.name, ", ".join(reading.on)
        if reading.section:
            way_out = f"write it under {reading.section}:"
            self.say(node.where, "wrong-place", f"{what!r} is a figure of the case", way_out)
            return None
        kind = kind or (reading.on[0] if len(reading.on) == 1 else "")
        if kind and not self.words.fits(kind, reading.on):
            self.say(node.where, "wrong-part", f"{what!r} is not measured on {kind!r}", f"it is measured on: {allowed}")
        if not kind and reading.on:
            self.say(node.where, "no-part", f"{what!r} needs part: ITEM or on: KIND", f"it is measured on: {allowed}")
            return None
        return kind

    def read_around(self, node: Node, count: int) -> list[float]:
        """The clock positions of the readings, degrees; one each."""
        at = node.get("at")
        places = at.each() if at else []
        around: list[float] = []
        for item in places:
            try:
                around.append(place(item.text()))
            except BadClock as error:
                self.say(item.where, "clock", str(error))
        if at is not None and places and len(places) != count:
            self.say(at.where, "at-count", f"{count} readings but {len(places)} clock positions", "one each")
        return around
