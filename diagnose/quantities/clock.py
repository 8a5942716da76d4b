"""Positions on the clock: views from two ends, one datum for a group of parts, and the relation of two marks.

A position is an angle in degrees, clockwise from an index mark as seen from a recorded end. Angles of the machine
run clockwise seen from the driver end: stationary parts from top dead centre, rotating parts from the index mark
that the case names for them.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

from diagnose.casefile.model import Case, Observation, Part
from diagnose.casefile.wording import extent_text, view_text
from diagnose.quantities.model import Quantity, quantity_id
from diagnose.reading.terms import plain

SAME_PLACE = 20.0
"""Degrees within which two marks count as one place (common practice)."""
NO_PLACE = "a mark has no clock position on record"
_TOP = ("top dead centre", "top dead center", "top", "12 o'clock", "12")

Arc = tuple[float, float]


class UnknownAngle(ValueError):
    """The angle cannot be carried over to the machine; the message says what is not on record."""


def other_end(degrees: float) -> float:
    """The same place seen from the other end, where the clock runs the other way: 360 - a."""
    return -degrees % 360.0


def difference(first: float, second: float) -> float:
    """The angle between two positions, 0 to 180 degrees, whichever way round."""
    apart = (first - second) % 360.0
    return min(apart, 360.0 - apart)


def machine_angle(part: Part, degrees: float, datum: Mapping[str, str] | None = None) -> float:
    """The angle on the machine's clock, degrees clockwise seen from the driver end.

    `datum` names the index of each group (the case's `index`). A part counted from another mark needs
    `index_offset`: where that mark stands on the group's clock, seen from the driver end. Raises UnknownAngle.
    """
    return (_from_driver_end(part, degrees) + _offset(part, datum or {})) % 360.0


def _from_driver_end(part: Part, degrees: float) -> float:
    if part.seen_from not in ("driver end", "impeller end"):
        raise UnknownAngle(f"it is not on record from which end {_called(part)} was looked at")
    return degrees % 360.0 if part.seen_from == "driver end" else other_end(degrees)


def _offset(part: Part, datum: Mapping[str, str]) -> float:
    if part.index_offset is not None:
        return part.index_offset
    if not part.index:
        raise UnknownAngle(f"{_called(part)} was not indexed")
    named = datum.get(part.group, "")
    if part.group == "stationary" and plain(part.index) in _TOP and plain(named or "top") in _TOP:
        return 0.0
    if named and plain(part.index) == plain(named):
        return 0.0
    raise UnknownAngle(f"the mark {part.index!r} of {_called(part)} is not tied to the datum of its group (index at)")


def _called(part: Part) -> str:
    return f"{part.name} ({part.item})"


def mirrored(arc: Arc) -> Arc:
    """An arc seen from the other end; arcs run clockwise from start to end."""
    return other_end(arc[1]), other_end(arc[0])


def width(arc: Arc) -> float:
    """Degrees from start to end, clockwise."""
    return (arc[1] - arc[0]) % 360.0


def centre(arc: Arc) -> float:
    return (arc[0] + width(arc) / 2.0) % 360.0


def distance(place: float, arc: Arc) -> float:
    """Degrees from a place to the arc, 0 inside it."""
    if (place - arc[0]) % 360.0 <= width(arc):
        return 0.0
    return min(difference(place, arc[0]), difference(place, arc[1]))


def compare(first: tuple[Arc, ...], second: tuple[Arc, ...]) -> str:
    """same place, opposite or apart, for two marks on one clock.

    The middle of the narrower arc lies within SAME_PLACE of the wider one, or of the wider one turned half round.
    """
    relations = {_compare_arcs(*sorted((a, b), key=width)) for a in first for b in second}
    for found in ("same place", "unknown: both marks reach more than half way round", "opposite"):
        if found in relations:
            return found
    return "apart"


def _compare_arcs(narrow: Arc, wide: Arc) -> str:
    if width(narrow) >= 180.0:
        return "unknown: both marks reach more than half way round"
    middle = centre(narrow)
    if distance(middle, wide) <= SAME_PLACE:
        return "same place"
    return "opposite" if distance((middle + 180.0) % 360.0, wide) <= SAME_PLACE else "apart"


def relation(case: Case, first: Observation, second: Observation) -> str:
    """same place, opposite, apart, or "unknown: REASON" for two marks of a case."""
    if not first.extent.arcs or not second.extent.arcs:
        return f"unknown: {NO_PLACE}"
    if first.part and first.part == second.part:
        return compare(first.extent.arcs, second.extent.arcs)
    parts = case.part(first.part), case.part(second.part)
    one, other = parts
    if one is None or other is None:
        return "unknown: a mark is recorded on no numbered part, so it has no index"
    if not one.group or not other.group:
        return f"unknown: whether {_called(one if not one.group else other)} turns is not on record"
    if one.group != other.group:
        return "unknown: a rotating and a stationary clock agree only for damage made at rest"
    placed, lacking = [], []
    for part, partner, mark in ((one, other, first), (other, one, second)):
        try:
            placed.append(_on_clock(case, part, partner, mark))
        except UnknownAngle as error:
            lacking.append(str(error))
    return f"unknown: {'; '.join(lacking)}" if lacking else compare(*placed)


def compared(case: Case, position: str, first: Observation, second: Observation) -> Quantity:
    """The relation of two marks as a row: its word, the degrees between them, or why neither can be known."""
    found = relation(case, first, second)
    problem = found.removeprefix("unknown: ") if found.startswith("unknown") else ""
    word = "" if problem else found
    inputs = tuple((marked(case, o), _where(case, o), o.id) for o in (first, second))
    apart = offset_between(case, first, second)
    value = None if apart is None else math.radians(apart)
    seen = "as that part was seen" if first.part == second.part else "seen from the driver end"
    notes = () if apart is None else (f"offset by {apart:.0f}° clockwise from the first to the second, {seen}",)
    formula = f"the middle of the narrower mark within {SAME_PLACE:.0f}° of the wider one, or of the wider one turned half round"
    id = quantity_id("relation of marks", position, first.id, second.id, found)
    return Quantity(
        id,
        "relation of marks",
        position,
        "",
        "",
        "",
        "",
        value or 0.0,
        value or 0.0,
        value,
        word,
        "°",
        formula,
        inputs,
        "common-practice",
        notes,
        problem,
    )


def marked(case: Case, mark: Observation) -> str:
    """A mark and what it is on: rub mark on Sleeve (3)."""
    part = case.part(mark.part)
    return f"{mark.feature} on {_called(part) if part else mark.kind}"


def _where(case: Case, mark: Observation) -> str:
    return ", ".join(t for t in (extent_text(mark.extent), view_text(case.part(mark.part))) if t)


def offset_between(case: Case, first: Observation, second: Observation) -> float | None:
    """Degrees clockwise, seen from the driver end, from the first mark to the second; None where unknown.

    On one part only the recorded view is known, so the angle runs clockwise as that part was seen.
    """
    if relation(case, first, second).startswith("unknown"):
        return None
    one, other = case.part(first.part), case.part(second.part)
    if first.part == second.part or one is None or other is None:
        return _offset_of(first.extent.arcs, second.extent.arcs)
    return _offset_of(_on_clock(case, one, other, first), _on_clock(case, other, one, second))


def _offset_of(first: tuple[Arc, ...], second: tuple[Arc, ...]) -> float:
    """Of marks in several places, the angle between the two that make the relation."""
    found = compare(first, second)
    aim = 180.0 if found == "opposite" else 0.0
    angles = [
        (centre(b) - centre(a)) % 360.0
        for a in first
        for b in second
        if _compare_arcs(*sorted((a, b), key=width)) == found
    ]
    return min(angles, key=lambda angle: (difference(angle, aim), angle))


def _on_clock(case: Case, part: Part, partner: Part, mark: Observation) -> tuple[Arc, ...]:
    """The mark's arcs on one clock for both parts: the group's datum, or the mark that both were indexed to."""
    try:
        shift = _offset(part, case.index)
    except UnknownAngle:
        shared = part.index and plain(part.index) == plain(partner.index)
        if not shared or part.index_offset is not None or partner.index_offset is not None:
            raise
        shift = 0.0
    arcs = mark.extent.arcs
    if part.seen_from not in ("driver end", "impeller end"):
        raise UnknownAngle(f"it is not on record from which end {_called(part)} was looked at")
    if part.seen_from == "impeller end":
        arcs = tuple(mirrored(a) for a in arcs)
    return tuple(((a + shift) % 360.0, (b + shift) % 360.0) for a, b in arcs)
