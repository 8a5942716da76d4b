"""Quantities against published limits."""

from __future__ import annotations

from msgspec.structs import replace

from diagnose.knowledge.model import Limit
from diagnose.quantities.model import Quantity

INSIDE, OUTSIDE = "inside", "outside"
BETWEEN, UNDECIDED = "between published limits", "undecided"


def judge_limit(quantity: Quantity, limit: Limit) -> str:
    """inside, outside, between published limits, or undecided where the uncertainty spans a limit.

    Inside means inside the strictest published value, outside means outside the laxest.
    """
    if quantity.value is None:
        return UNDECIDED
    low, high, strict, lax = quantity.low, quantity.high, limit.strict, limit.lax
    if limit.sense == "at least":
        low, high, strict, lax = -high, -low, -strict, -lax
    allowance = 1e-9 * max(abs(strict), abs(lax))
    if high <= strict + allowance:
        return INSIDE
    if low > lax + allowance:
        return OUTSIDE
    if low > strict + allowance and high <= lax + allowance:
        return BETWEEN
    return UNDECIDED


def hangs_on_datum(quantity: Quantity, limit: Limit) -> bool:
    """Whether a limit is undecided only because a pressure says neither gauge nor absolute."""
    ends = [replace(quantity, low=low, high=high) for low, high in quantity.either]
    return judge_limit(quantity, limit) == UNDECIDED and any(judge_limit(q, limit) != UNDECIDED for q in ends)


def limits_on(quantity: Quantity, limits: dict[str, Limit]) -> tuple[tuple[Limit, str], ...]:
    """Each limit on the quantity with its verdict, by name."""
    return tuple(
        (limits[n], judge_limit(quantity, limits[n])) for n in sorted(limits) if limits[n].quantity == quantity.name
    )
