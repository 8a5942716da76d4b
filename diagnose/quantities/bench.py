"""What a case measured, laid out for computing: values with their uncertainty, and how a quantity is worked out."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from functools import cached_property
from typing import Any

from msgspec import Struct

from diagnose.casefile.model import Case, Measured
from diagnose.knowledge.model import Knowledge
from diagnose.quantities.model import AS_RECORDED, Quantity, quantity_id
from diagnose.reading.problems import BadInput, Problem, Where
from diagnose.reading.terms import plain
from diagnose.reading.units import show

Origin = tuple[str, str]


class Owner(Struct, frozen=True, order=True):
    """Where a quantity holds: a part, or only a position."""

    position: str
    part: str = ""
    kind: str = ""
    group: str = ""
    carries: str = ""


class Value(Struct, frozen=True):
    """A number to compute with, SI, with its half-width; `value` is None where it is not on record.

    `origins` are (as written, record id) pairs; the id is empty for what was assumed. `lack` says why it is None.
    """

    name: str
    value: float | None = None
    spread: float = 0.0
    origins: tuple[Origin, ...] = ()
    lack: str = ""


def assumed(name: str, value: float, text: str, spread: float = 0.0) -> Value:
    """A value that stands in for one not on record; it is shown as assumed."""
    return Value(name, value, spread, ((f"{text} (assumed)", ""),))


class Bench:
    """The readings of one case by name, and the terms and tables that formulas need."""

    def __init__(self, case: Case, knowledge: Knowledge):
        self.case, self.knowledge = case, knowledge
        self.named: dict[str, list[Measured]] = {}
        for measured in sorted(case.measured, key=lambda m: m.id):
            self.named.setdefault(measured.what, []).append(measured)
        self.owner_of = {m.id: self._owner(m) for m in case.measured}

    # ---- what is on record ------------------------------------------------------------------------------

    def has(self, *names: str) -> bool:
        return any(name in self.named for name in names)

    def owner(self, measured: Measured) -> Owner:
        return self.owner_of[measured.id]

    def _owner(self, measured: Measured) -> Owner:
        part = self.case.part(measured.part) if measured.part else None
        group = measured.group or (part.group if part else "")
        return Owner(measured.position, measured.part, measured.kind, group, part.carries if part else "")

    def owners(self, *names: str) -> list[Owner]:
        """The parts on which any of these was measured, in a fixed order."""
        return sorted({self.owner(m) for name in names for m in self.named.get(name, ())})

    def records(self, name: str, owner: Owner) -> list[Measured]:
        return [m for m in self.named.get(name, ()) if self.owner(m) == owner]

    def one(self, name: str, owner: Owner) -> Value:
        """The reading on this part, else the figure of its position, else the figure of the machine."""
        if name not in self.named:
            return Value(name, lack=f"{name} is not on record")
        found = self.records(name, owner)
        for place in (owner.position, "machine", ""):
            found = found or [m for m in self.named.get(name, ()) if not m.part and not m.kind and m.position == place]
        return self.value(name, found)

    def near(self, name: str, position: str) -> Value:
        """The reading on whatever part of this position."""
        places = (position, "machine", "")
        return self.value(name, [m for m in self.named.get(name, ()) if m.position in places])

    def every(self, name: str, owner: Owner) -> list[Value]:
        """Each single reading of this part, in a fixed order."""
        return [
            Value(name, r.value, _half_width(m, i), ((r.written, m.id),))
            for m in self.records(name, owner)
            for i, r in enumerate(m.readings)
        ]

    def value(self, name: str, records: Iterable[Measured]) -> Value:
        """The mean of the readings, its half-width covers their range and each one's own uncertainty; or the highest of them."""
        rows = [(m, r.value, _half_width(m, i)) for m in records for i, r in enumerate(m.readings)]
        if not rows:
            return Value(name, lack=f"{name} is not on record")
        if self.knowledge.vocabulary.readings[name].highest:
            _, most, spread = max(rows, key=lambda row: row[1])
            return Value(name, most, spread, self.origins(name, records))
        mean = math.fsum(v for _, v, _ in rows) / len(rows)
        spread = max(max(abs(v - mean) for _, v, _ in rows), max(s for *_, s in rows))
        return Value(name, mean, spread, self.origins(name, records))

    def origins(self, name: str, records: Iterable[Measured]) -> tuple[Origin, ...]:
        return tuple(sorted({(self.written(m), m.id) for m in records}))

    def written(self, measured: Measured) -> str:
        """The readings as text; many of them as their count and range."""
        readings = measured.readings
        if len(readings) <= 4:
            return ", ".join(r.written for r in readings)
        term = self.knowledge.vocabulary.readings.get(measured.what)
        ends = (min(r.value for r in readings), max(r.value for r in readings))
        low, high = (show(e, term.unit if term else "") for e in ends)
        return f"{len(readings)} readings, {low} to {high}"

    def from_index(self, owner: Owner) -> str:
        """What angles measured on a part are counted from."""
        part = self.case.part(owner.part)
        return f"from {'the index' if part and part.index else 'its 12 (no index on record)'}, as that part was seen"

    def extreme_at(self, record: Measured, owner: Owner, says: str, extreme: float) -> str:
        """Where readings round the clock are highest or lowest; "" without clock positions or where all are alike."""
        places = [f"{a:.0f}°" for a, r in zip(record.around, record.readings, strict=False) if r.value == extreme]
        if not places or len(places) == len(record.readings):
            return ""
        return f"{says} at {' and '.join(places)} {self.from_index(owner)}"

    # ---- terms and tables ---------------------------------------------------------------------------------

    def term(self, setting: str, position: str) -> str:
        """The term recorded for a setting at a position, or ""."""
        held = {s.position: s.term for s in self.case.settings if s.setting == setting and s.holds}
        return held.get(position) or held.get("") or held.get("machine") or ""

    def terms(self, setting: str, position: str) -> set[str]:
        places = (position, "", "machine")
        return {s.term for s in self.case.settings if s.setting == setting and s.holds and s.position in places}

    def table(self, name: str) -> Mapping[str, Any]:
        """A number table of the rule base, as texts. Raises BadInput where the rule base has none."""
        if name not in self.knowledge.tables:
            place = Where(f"{self.knowledge.folder}/tables/{name}.yaml")
            raise BadInput(
                [Problem(place, "file-missing", "a quantity of this case needs this table", "add the table")]
            )
        return self.knowledge.tables[name]

    @cached_property
    def seals(self) -> tuple[Owner, ...]:
        return tuple(Owner(p) for p in self.case.positions)

    # ---- results ------------------------------------------------------------------------------------------

    def work_out(
        self,
        name: str,
        owner: Owner,
        formula: str,
        source: str,
        function: Callable[..., float],
        *inputs: Value,
        notes: tuple[str, ...] = (),
        word: Callable[[float, float, float], str] | None = None,
    ) -> Quantity:
        """The quantity from a pure function of the input values, in their order.

        low and high are the ends reached when each input in turn moves to the ends of its half-width and the
        moves add up. A missing input or a ValueError of the function becomes the quantity's problem.
        `word` names the result from (value, low, high) where the result is a word.
        """
        lacking = [v.lack or f"{v.name} is not on record" for v in inputs if v.value is None]
        if lacking:
            return self.result(
                name, owner, formula, source, inputs, notes=notes, problem="; ".join(dict.fromkeys(lacking))
            )
        at = [v.value for v in inputs if v.value is not None]
        try:
            value = function(*at)
        except ValueError as error:
            return self.result(name, owner, formula, source, inputs, notes=notes, problem=str(error))
        low = high = value
        for i, v in enumerate(inputs):
            ends = [
                e for e in (_shifted(function, at, i, -v.spread), _shifted(function, at, i, v.spread)) if e is not None
            ]
            low -= max([0.0, *(value - e for e in ends)])
            high += max([0.0, *(e - value for e in ends)])
        said = word(value, low, high) if word else ""
        return self.result(name, owner, formula, source, inputs, value, low, high, said, notes)

    def as_recorded(self, name: str, owner: Owner, value: Value, formula: str = AS_RECORDED) -> Quantity:
        return self.work_out(name, owner, formula, AS_RECORDED, lambda x: x, value)

    def result(
        self,
        name: str,
        owner: Owner,
        formula: str,
        source: str,
        inputs: Iterable[Value],
        value: float | None = None,
        low: float = 0.0,
        high: float = 0.0,
        word: str = "",
        notes: tuple[str, ...] = (),
        problem: str = "",
    ) -> Quantity:
        """The quantity as a row, with its identity; numbers keep twelve digits, so that they are the same on any machine."""
        value, low, high = None if value is None else _digits(value), _digits(low), _digits(high)
        rows = tuple((v.name, text, id) for v in inputs for text, id in v.origins)
        notes = tuple(dict.fromkeys(n for n in notes if n))
        id = quantity_id(
            name, owner.position, owner.part, owner.kind, owner.group, value, low, high, word, rows, problem
        )
        term = self.knowledge.vocabulary.quantities.get(name)
        return Quantity(
            id,
            name,
            owner.position,
            owner.part,
            owner.kind,
            owner.group,
            owner.carries,
            low,
            high,
            value,
            word,
            term.unit if term else "",
            formula,
            rows,
            source,
            notes,
            problem,
        )


def worked_out(quantity: Quantity) -> Value:
    """A computed quantity as an input of another one."""
    if quantity.value is None:
        return Value(quantity.name, lack=f"{quantity.name}: {quantity.problem}")
    spread = max(quantity.high - quantity.value, quantity.value - quantity.low)
    return Value(quantity.name, quantity.value, spread, ((show(quantity.value, quantity.unit), quantity.id),))


def named_in(table: Mapping[str, Any], word: str) -> str:
    """The row of a table that the word names, by its name or one of its `also`; "" if none."""
    wanted = plain(word)
    if not wanted:
        return ""
    for name, row in table.items():
        also = row.get("also", []) if isinstance(row, Mapping) else []
        if wanted in (plain(name), *map(plain, also)):
            return name
    return ""


def _digits(number: float) -> float:
    return float(f"{number:.12g}")


def _half_width(measured: Measured, i: int) -> float:
    """A reading's own uncertainty: as written with ±, or half the smallest step of the instrument."""
    return max(measured.readings[i].spread, measured.resolution / 2.0)


def _shifted(function: Callable[..., float], at: list[float], i: int, step: float) -> float | None:
    """The result with one input moved, or None where it did not move or leaves the formula's range."""
    if not step:
        return None
    try:
        return function(*(v + step if k == i else v for k, v in enumerate(at)))
    except ValueError:
        return None
