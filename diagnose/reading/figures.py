"""Figures as people read them, the same everywhere."""

from __future__ import annotations

from collections.abc import Sequence


def percent(p: float, digits: int = 0) -> str:
    """A probability; never 0 % or 100 %."""
    least = 10.0**-digits
    if 100 * p < least:
        return f"under {least:g} %"
    if 100 * p > 100 - least:
        return f"over {100 - least:g} %"
    return f"{100 * p:.{digits}f} %"


def count(number: int, thing: str) -> str:
    """1 record, 2 records."""
    return f"{number} {thing}{'' if number == 1 else 's'}"


def signed(db: float) -> str:
    text = f"{db:+.1f}"
    return "0.0" if text in ("+0.0", "-0.0") else text


def number_of(text: str) -> int:
    """The whole number that a text is, 0 where it is none; one of more than nine digits counts as its first ten. Python
    itself reads no number of more than 4300 digits, and "²" as none."""
    return int(text[:10]) if text.isdecimal() else 0


def listed(names: Sequence[str]) -> str:
    """A, b and c."""
    return " and ".join([", ".join(names[:-1]), names[-1]] if len(names) > 1 else names)
