"""Cards that are not finished, and rules that no record can reach."""

from __future__ import annotations

from collections.abc import Iterator

from diagnose.authoring.checks.base import Base
from diagnose.knowledge.model import FORMULAS
from diagnose.reading.problems import Problem
from diagnose.reading.units import amount

CODES = {
    "no-formula": "A rule or limit asks for a quantity that no formula gives, so it could never hold.",
    "beyond-bounds": "A rule compares a reading with a number that the reading can never pass.",
}


def problems(base: Base) -> Iterator[Problem]:
    yield from without_formula(base)
    yield from beyond_bounds(base)


def without_formula(base: Base) -> Iterator[Problem]:
    v = base.knowledge.vocabulary
    asked = {c.term for c in base.conditions if c.form == "quantity"} | {
        x.quantity for x in base.knowledge.limits.values()
    }
    for name, term in v.quantities.items():
        given = term.formula or name in v.readings or f'"{name}"' in base.formulas
        if name in asked and not given:
            yield Problem(term.where, "no-formula", f"no formula gives the quantity {name!r}, so nothing that asks for it can hold",
                          f"formula: {{{'|'.join(FORMULAS)}: [READING, …]}}, or the name of a reading")  # fmt: skip


def beyond_bounds(base: Base) -> Iterator[Problem]:
    """Comparisons of a quantity that is a reading by itself with what lies outside the reading's bounds."""
    for c in base.conditions:
        reading = base.knowledge.vocabulary.readings.get(c.term)
        if c.form != "quantity" or c.low is None or reading is None:
            continue
        over = reading.most and c.test != "below" and c.low >= amount(reading.most).value
        under = reading.least and c.test == "below" and c.low <= amount(reading.least).value
        if over or under:
            bound = f"at most {reading.most}" if over else f"at least {reading.least}"
            yield Problem(c.where, "beyond-bounds", f"{c.term!r} is {bound}, so it is never {c.test} {c.written}",
                          "another number, or wider bounds of the reading", "advice")  # fmt: skip
