"""A computed quantity: a number, or a word, with its formula, inputs, uncertainty and source."""

from __future__ import annotations

from msgspec import Struct

from diagnose.casefile.format import record_id

AS_RECORDED = "as recorded"
"""Formula and source of a number that is used as it stands in the record."""


class Quantity(Struct, frozen=True):
    """`value`, `low` and `high` are SI, low and high the ends of its uncertainty; `unit` is for showing it.

    `word` is the result where it is a word. `problem` says why it could not be worked out; `value` is then None.
    `inputs` are (name, as written, record id); the id is empty for what was assumed. `datum` names the pressures written
    without g or a on which low and high hang, `either` the ends as absolute and as gauge.
    """

    id: str
    name: str
    position: str
    part: str
    kind: str
    group: str
    carries: str
    low: float
    high: float
    value: float | None
    word: str
    unit: str
    formula: str
    inputs: tuple[tuple[str, str, str], ...]
    source: str
    notes: tuple[str, ...] = ()
    problem: str = ""
    datum: str = ""
    either: tuple[tuple[float, float], ...] = ()


def quantity_id(*content: object) -> str:
    """An identity made from content alone."""
    return record_id("q", *content)
