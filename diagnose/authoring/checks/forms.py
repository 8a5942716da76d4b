"""Cards that are not finished, and rules that no record can reach."""

from __future__ import annotations

from collections.abc import Iterator

from diagnose.authoring.checks.base import Base
from diagnose.knowledge.model import FORMULAS
from diagnose.reading.problems import Problem

CODES = {
    "no-formula": "A rule or limit asks for a quantity that no formula gives, so it could never hold.",
}


def problems(base: Base) -> Iterator[Problem]:
    yield from without_formula(base)


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
