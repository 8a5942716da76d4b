"""Drive parts: which flank carried the torque, read against the direction of rotation; set screws."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from diagnose.quantities.bench import Bench, Owner, Value
from diagnose.quantities.model import Quantity

WITH, AGAINST, BOTH = "with rotation", "against rotation", "both"


def seen_from_driver(direction: str, seen_from: str) -> str:
    """A turning direction or flank name carried over to the driver end. Raises ValueError for an unknown end."""
    if seen_from == "driver end":
        return direction
    if seen_from != "impeller end":
        raise ValueError("from which end it was looked at is not on record (seen from)")
    return {"clockwise": "counterclockwise", "counterclockwise": "clockwise"}.get(direction, direction)


def flank(worn: str, seen_from: str, rotation: str, rotation_seen_from: str) -> str:
    """with rotation or against rotation: the worn flank (clockwise or counterclockwise) against the shaft's direction.

    Kinematics; each direction carries the end it was seen from. Raises ValueError where an end is not on record.
    """
    same = seen_from_driver(worn, seen_from) == seen_from_driver(rotation, rotation_seen_from)
    return WITH if same else AGAINST


def torque(rows: Sequence[Mapping[str, str]], arrangement: str, word: str) -> str:
    """normal or reversed: what the worn flank says of the torque in this arrangement; both stays both.

    The driving part bears on the flank that faces with the rotation, the driven part on the one against it.
    Raises ValueError for an unknown arrangement.
    """
    row = next((r for r in rows if r["arrangement"] == arrangement), None)
    if row is None:
        raise ValueError(f"no row for {arrangement!r}")
    return BOTH if word == BOTH else "normal" if row["normal"] == word else "reversed"


# ---- of a case ----------------------------------------------------------------------------------------------


def compute(bench: Bench) -> Iterator[Quantity]:
    for owner in bench.owners("clockwise flank wear", "counterclockwise flank wear"):
        yield from _flanks(bench, owner)
    for reading, name, source in (
        ("set screw bite", "set screw bite spread", "common-practice"),
        ("set screw torque", "set screw torque spread", "common-practice"),
        ("gland bolt torque", "gland bolt torque spread", "common-practice"),
    ):
        for owner in bench.owners(reading):
            yield _evenness(bench, owner, reading, name, source)


def _flanks(bench: Bench, owner: Owner) -> Iterator[Quantity]:
    clockwise, other = bench.one("clockwise flank wear", owner), bench.one("counterclockwise flank wear", owner)
    texts = bench.case.texts
    rotation, end = texts.get("equipment.rotation", ""), texts.get("equipment.seen from", "")
    formula = "worn flank against the direction of rotation, both as seen from the driver end"
    inputs = [clockwise, other]
    if rotation:
        inputs.append(Value("rotation", 0.0, 0.0, ((f"{rotation}, seen from the {end or '?'}", ""),)))
    try:
        word = _bearing_flank(bench, owner, clockwise, other, rotation, end)
    except ValueError as error:
        yield bench.result("pin flank", owner, formula, "geometry", inputs, problem=str(error))
        return
    deepest = max(clockwise.value or 0.0, other.value or 0.0)
    yield bench.result("pin flank", owner, formula, "geometry", inputs, deepest, deepest, deepest, word)
    yield _drive_flank(bench, owner, inputs, deepest, word)


def _bearing_flank(bench: Bench, owner: Owner, clockwise: Value, other: Value, rotation: str, end: str) -> str:
    """The worn flank against the rotation, or both. Raises ValueError where the record does not tell."""
    if clockwise.value is None or other.value is None:
        raise ValueError(f"{clockwise.lack or other.lack}: write 0 mm for an unworn flank")
    worn = _worn(clockwise, other)
    if not worn:
        raise ValueError("neither flank is worn more than the readings can tell")
    if worn == BOTH:
        return BOTH
    if not rotation:
        raise ValueError("the machine's rotation is not on record (equipment: rotation, seen from)")
    part = bench.case.part(owner.part)
    if part is None:
        raise ValueError("the flanks are recorded on no numbered part, so the end they were seen from is not known")
    return flank(worn, part.seen_from, rotation, end)


def _drive_flank(bench: Bench, owner: Owner, inputs: list[Value], deepest: float, word: str) -> Quantity:
    table = bench.table("kinematics")["pins"]
    arrangement = table["by group"].get(owner.group, "")
    formula = "the driving part bears with the rotation, the driven part against it"
    try:
        said = torque(table["rows"], arrangement, word)
    except ValueError:
        lack = "whether the part turns is not on record (group)"
        return bench.result("drive flank", owner, formula, "geometry", inputs, problem=lack)
    notes = (f"taken as: {arrangement}",)
    return bench.result("drive flank", owner, formula, "geometry", inputs, deepest, deepest, deepest, said, notes)


def _worn(clockwise: Value, other: Value) -> str:
    """Which flank is worn: both when the lesser one is worn more than its uncertainty and a fifth of the other."""
    assert clockwise.value is not None and other.value is not None
    lesser, greater = sorted((clockwise, other), key=lambda v: v.value or 0.0)
    assert lesser.value is not None and greater.value is not None
    if greater.value <= greater.spread:
        return ""
    if lesser.value > max(lesser.spread, 0.2 * greater.value):
        return BOTH
    return "clockwise" if greater is clockwise else "counterclockwise"


def _evenness(bench: Bench, owner: Owner, reading: str, name: str, source: str) -> Quantity:
    values = bench.every(reading, owner)
    readings = [v.value for v in values if v.value is not None]
    origin = (Value(reading, readings[0], origins=bench.origins(reading, bench.records(reading, owner))),)
    formula = "(largest - smallest) / mean"
    mean = sum(readings) / len(readings)
    if len(readings) < 2 or mean <= 0:
        return bench.result(name, owner, formula, source, origin, problem="two or more readings above zero are needed")
    value = (max(readings) - min(readings)) / mean
    more = 2 * max(v.spread for v in values) / mean
    return bench.result(name, owner, formula, source, origin, value, max(0.0, value - more), value + more)
