"""Fields of a case file's entries: texts, choices, terms of the vocabulary, numbers with units; each mistake a problem."""

from __future__ import annotations

import re
from collections.abc import Iterable

from diagnose.casefile import model as m
from diagnose.casefile.format import MOST_RECORDS
from diagnose.knowledge.model import Knowledge, Reading
from diagnose.reading.located import Node, text_under
from diagnose.reading.problems import Problems, WayOut, Where
from diagnose.reading.units import Amount, BadUnit, amount, amount_or_range, step, unit


class FieldReader:
    """Reads single fields against the vocabulary; problems are added."""

    def __init__(self, knowledge: Knowledge, problems: Problems):
        self.knowledge, self.problems = knowledge, problems
        self.words = knowledge.vocabulary
        self.positions: tuple[str, ...] = ("seal",)
        self.parts: dict[str, m.Part] = {}
        self.lost: dict[str, str] = {}
        self.moved: list[m.Observation] = []

    def say(self, where: Where, code: str, says: str, way_out: str | WayOut = "") -> None:
        self.problems.add(where, code, says, way_out)

    def text(self, node: Node, key: str, needed: bool = False) -> str:
        return text_under(node, key, self.problems, needed)

    def choice(self, node: Node, key: str, allowed: Iterable[str], what: str) -> str:
        word = self.text(node, key)
        if word and word not in (table := list(allowed)):
            way_out = self.problems.near(word, table) or f"allowed: {', '.join(table)}"
            self.say((node.get(key) or node).where, "unknown-word", f"{word!r} is no {what}", way_out)
            return ""
        return word

    def term(self, family: str, node: Node | None, what: str) -> str:
        if node is None:
            return ""
        found = self.words.find(family, node.text()) if isinstance(node.value, str) else None
        if found is None:
            shown = node.text() or "this"
            way_out = self.problems.near(shown, self.words.names[family]) or WayOut("look words up")
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
            number = amount_or_range(written)
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


def refuse_other_unit(number: Amount, reading: Reading) -> None:
    """Raises BadUnit where a number is not in a unit of the reading's kind."""
    wanted = unit(reading.unit)
    if number.kind == wanted.kind:
        return
    bare = number.kind == unit("").kind and number.written[-1:].isdecimal()
    raise BadUnit(f"{number.written[:40]!r} has no unit; {reading.name!r} is a number with one" if bare
                  else f"{number.written[:40]!r} is in the wrong kind of unit for {reading.name!r}")  # fmt: skip
