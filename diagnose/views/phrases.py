"""What a phrase was read as, told back: the first reading, the others, why it is asked."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from diagnose.phrases.model import Reading
from diagnose.reading.problems import BadInput, Problem, Where


def as_row(reading: Reading) -> dict[str, Any]:
    """A reading for machines."""
    return {
        "text": reading.text,
        "sureness": reading.sureness,
        "unread": list(reading.unread),
        "asks": list(reading.asks),
    }


def not_read(phrase: str, near: str = "") -> BadInput:
    """The refusal of a phrase nothing was read in."""
    return _refusal(f"{phrase!r} is not understood", near or "say it in other words, or see: diagnose terms")


def not_sure(phrase: str, readings: Sequence[Reading], way_out: str = "--sure takes the first") -> BadInput:
    """The refusal of a phrase that must be asked back: its readings, why, and how to go on."""
    first, *others = readings
    why = "; ".join(first.asks) or f"the reading is only {first.sureness}"
    also = "".join(f"; or: {r.text}" for r in others[:3])
    return _refusal(f"{phrase!r} is read as: {first.text}{also}", f"{why}. {way_out}")


def _refusal(says: str, way_out: str) -> BadInput:
    return BadInput([Problem(Where("diagnose", 0, 0), "phrase", says, way_out)])
