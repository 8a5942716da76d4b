"""Quantities whose formula the vocabulary gives, and readings that are quantities by themselves."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator

from diagnose.knowledge.model import QuantityTerm
from diagnose.quantities.bench import Bench, Owner, Value
from diagnose.quantities.model import Quantity


def ratio(one: float, other: float) -> float:
    """Raises ValueError for a ratio to nothing."""
    if other == 0.0:
        raise ValueError("the reading to divide by is zero")
    return one / other


FORMULAS: dict[str, tuple[str, Callable[..., float]]] = {
    "difference": ("{} - {}", lambda one, other: one - other),
    "ratio": ("{} / {}", ratio),
    "sum": ("sum of {}", lambda *each: math.fsum(each)),
    "spread": ("highest less lowest {}", lambda *each: max(each) - min(each)),
    "mean": ("mean {}", lambda *each: math.fsum(each) / len(each)),
}
"""Each formula in words and as a function; spread and mean take the single readings of one record."""


def compute(bench: Bench) -> Iterator[Quantity]:
    v = bench.knowledge.vocabulary
    for name, term in v.quantities.items():
        for owner in bench.owners(*(term.takes or (name,))):
            if term.formula:
                yield _by_formula(bench, term, owner)
            elif name in v.readings:
                yield bench.as_recorded(name, owner, bench.one(name, owner))


def _by_formula(bench: Bench, term: QuantityTerm, owner: Owner) -> Quantity:
    says, function = FORMULAS[term.formula]
    if term.formula in ("spread", "mean"):
        (reading,) = term.takes
        inputs = bench.every(reading, owner) or [Value(reading, lack=f"{reading} is not on record")]
        text = says.format(reading)
    else:
        inputs = [bench.one(reading, owner) for reading in term.takes]
        text = says.format(*term.takes) if term.formula != "sum" else says.format(", ".join(term.takes))
    return bench.work_out(term.name, owner, text, "arithmetic", function, *inputs)
