"""Clock positions as people write them: "3", "3:30", "at 3", "10 to 2", "90°", "120° to 150°"."""

from __future__ import annotations

import re

_PLACE = r"(\d{1,3}(?:[.,]\d+)?(?::\d{2})?)\s*(°|deg|o'clock|h)?"
_AT = re.compile(rf"^(?:at\s+)?{_PLACE}$")
_ARC = re.compile(rf"^{_PLACE}\s*(?:to|-|–)\s*{_PLACE}$")


class BadClock(ValueError):
    """The text is no clock position; the message says what is allowed."""


def _spelled(text: str) -> str:
    return " ".join(text.lower().split())  # with single spaces no text is long to match


def _degrees(number: str, unit: str | None) -> float:
    hours, _, minutes = number.replace(",", ".").partition(":")
    value = float(hours) + (float(minutes) / 60 if minutes else 0.0)
    if unit in ("°", "deg"):
        if value > 360:
            raise BadClock(f"{number}° is no angle on a ring: 0° to 360° is allowed")
        return value % 360
    if value >= 13 or (minutes and float(minutes) >= 60):
        raise BadClock(f"{number} is no clock position: 12, 1, 2 … 11 is allowed, or degrees written 90°")
    return value * 30 % 360


def place(text: str) -> float:
    """One clock position in degrees clockwise from the index. Raises BadClock."""
    match = _AT.match(_spelled(text))
    if not match:
        raise BadClock(f"{text[:30]!r} is no clock position: write 3, 3:30 or 105°")
    return _degrees(match.group(1), match.group(2))


def arc(text: str) -> tuple[float, float]:
    """An arc, start and end in degrees, running clockwise; a single position is an arc of no length. Raises BadClock."""
    match = _ARC.match(_spelled(text))
    if not match:
        try:
            at = place(text)
        except BadClock as error:
            if _AT.match(_spelled(text)):
                raise
            raise BadClock(
                f"{text[:30]!r} is no extent: write all round, one sector, patches, at 3 or 10 to 2"
            ) from error
        return at, at
    unit = match.group(2) or match.group(4)
    return _degrees(match.group(1), match.group(2) or unit), _degrees(match.group(3), match.group(4) or unit)


def length(arcs: tuple[tuple[float, float], ...]) -> float:
    """Degrees covered by the union of arcs."""
    cuts: list[tuple[float, float]] = []
    for start, end in arcs:
        span = (end - start) % 360
        stop = start + span
        cuts += [(start, min(stop, 360.0))] + ([(0.0, stop - 360)] if stop > 360 else [])
    total = reach = 0.0
    for start, stop in sorted(cuts):
        total += max(0.0, stop - max(start, reach))
        reach = max(reach, stop)
    return min(total, 360.0)
