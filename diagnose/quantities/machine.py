"""The machine: indicator readings, squareness, concentricity, float, alignment, vibration, running time."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from itertools import pairwise
from typing import Any

from diagnose.casefile.model import Measured
from diagnose.quantities.bench import Bench, Owner, Value, worked_out
from diagnose.quantities.model import Quantity
from diagnose.reading.units import amount

FULL_READINGS = {
    "shaft runout": "shaft runout", "uncoupled shaft runout": "uncoupled shaft runout", "chamber face runout": "chamber face runout",
    "register runout": "register concentricity", "bore runout": "bore concentricity",
}  # fmt: skip
AS_READ = (
    "bearing lift", "axial float", "flange movement", "vibration velocity", "coupling offset", "coupling angle", "orifice bore",
    "sleeve groove depth", "axial mark length", "shaft voltage", "soft foot",
)  # fmt: skip


def full_reading(readings: Sequence[float]) -> float:
    """TIR = highest - lowest over one turn; the eccentricity is half of it. Raises ValueError for fewer than three."""
    if len(readings) < 3:
        raise ValueError("a full indicator reading from stations needs at least three of them")
    return max(readings) - min(readings)


def squareness(runout: float, diameter: float) -> float:
    """Slope = TIR / diameter swept, m/m. Raises ValueError without a diameter."""
    if diameter <= 0:
        raise ValueError("the diameter swept must be above zero")
    return runout / diameter


def alignment_limits(rows: Sequence[Mapping[str, Any]], speed: float) -> tuple[float, float]:
    """(excellent, acceptable) at a speed in rad/s, m or slope, interpolated as C / speed between the tabled speeds.

    Raises ValueError outside the table's speeds.
    """
    points = [(amount(r["speed"]).value, amount(r["excellent"]).value, amount(r["acceptable"]).value) for r in rows]
    points.sort()
    if not points[0][0] * 0.999 <= speed <= points[-1][0] * 1.001:
        raise ValueError("the speed lies outside the alignment table")
    for (n0, e0, a0), (n1, e1, a1) in pairwise(points):
        if speed <= n1 * 1.001:
            share = (1 / n0 - 1 / min(speed, n1)) / (1 / n0 - 1 / n1)
            return e0 + (e1 - e0) * share, a0 + (a1 - a0) * share
    return points[-1][1], points[-1][2]


# ---- of a case ----------------------------------------------------------------------------------------------


def compute(bench: Bench) -> Iterator[Quantity]:
    runouts: dict[tuple[str, str], list[Quantity]] = {}
    for reading, name in FULL_READINGS.items():
        for owner in bench.owners(reading):
            for record in bench.records(reading, owner):
                found = _full_reading(bench, owner, record, name)
                runouts.setdefault((name, owner.position), []).append(found)
                yield found
    for square in runouts.values():
        for q in square:
            if q.name == "chamber face runout":
                yield from _squareness(bench, q)
            if q.name == "shaft runout":
                owner = Owner(q.position, q.part, q.kind, q.group, q.carries)
                yield bench.work_out("shaft runout per diameter", owner, "TIR / shaft diameter", "seal-condition-article", squareness,
                                     worked_out(q), bench.one("shaft diameter", owner))  # fmt: skip
    yield from _uncoupled(bench, runouts)
    for name in AS_READ:
        for owner in bench.owners(name):
            found = bench.as_recorded(name, owner, bench.one(name, owner))
            yield found
            if name in ("coupling offset", "coupling angle"):
                yield from _alignment(bench, owner, found)
    for owner in bench.owners("gland gap"):
        for record in bench.records("gland gap", owner):
            yield _range(bench, owner, record, "gland gap spread")
    yield from _life(bench)


def _origin(bench: Bench, record: Measured) -> tuple[Value, ...]:
    return (Value(record.what, record.readings[0].value, origins=bench.origins(record.what, [record])),)


def _step(record: Measured) -> float:
    return max(record.resolution / 2, *(r.spread for r in record.readings))


def _full_reading(bench: Bench, owner: Owner, record: Measured, name: str) -> Quantity:
    """From stations round the clock: highest less lowest; without clock positions each reading is a full reading."""
    if not record.around:
        return bench.as_recorded(name, owner, bench.value(record.what, [record]), "full indicator reading")
    return _range(bench, owner, record, name)


def _range(bench: Bench, owner: Owner, record: Measured, name: str) -> Quantity:
    formula, readings = "highest - lowest over one turn", [r.value for r in record.readings]
    try:
        value = full_reading(readings)
    except ValueError as error:
        return bench.result(name, owner, formula, "geometry", _origin(bench, record), problem=str(error))
    step, note = _step(record), bench.extreme_at(record, owner, "highest", max(readings))
    return bench.result(name, owner, formula, "geometry", _origin(bench, record), value, max(0.0, value - 2 * step), value + 2 * step,
                        notes=(note,))  # fmt: skip


def _squareness(bench: Bench, runout: Quantity) -> Iterator[Quantity]:
    owner = Owner(runout.position, runout.part, runout.kind, runout.group, runout.carries)
    swept = bench.one("swept diameter", owner)
    diameter = swept if swept.value is not None else bench.one("chamber bore", owner)
    yield bench.work_out("chamber face squareness", owner, "TIR / diameter swept", "seal-chamber-requirements", squareness,
                         worked_out(runout), diameter,
                         notes=("" if swept.value is not None else "diameter swept taken as the bore",))  # fmt: skip


def _uncoupled(bench: Bench, runouts: Mapping[tuple[str, str], list[Quantity]]) -> Iterator[Quantity]:
    for (name, position), free in sorted(runouts.items()):
        coupled = runouts.get(("shaft runout", position), [])
        if name == "uncoupled shaft runout" and len(free) == 1 and len(coupled) == 1:
            owner = Owner(position, coupled[0].part, coupled[0].kind, coupled[0].group, coupled[0].carries)
            yield bench.work_out("runout change when uncoupled", owner, "coupled - uncoupled", "geometry", lambda c, f: c - f,
                                 worked_out(coupled[0]), worked_out(free[0]),
                                 notes=("near zero: the shaft is bent; large: alignment or coupling",))  # fmt: skip


def _alignment(bench: Bench, owner: Owner, found: Quantity) -> Iterator[Quantity]:
    """Against what two published tables call acceptable at the speed; they differ, and the span stays in low and high."""
    speed = bench.one("speed", owner)
    which = found.name.removeprefix("coupling ")
    tables = bench.table("alignment")[which]
    name = {"offset": "coupling offset share of limit", "angle": "coupling angle share of limit"}[which]
    formula = "reading / acceptable at the speed"
    if speed.value is None:
        yield bench.result(
            name, owner, formula, "alignment-tolerance-table", (worked_out(found), speed), problem=speed.lack
        )
        return
    try:
        limits = [(alignment_limits(t["rows"], speed.value)[1], t["source"]) for t in tables]
    except ValueError as error:
        yield bench.result(
            name, owner, formula, "alignment-tolerance-table", (worked_out(found), speed), problem=str(error)
        )
        return
    least, most = min(v for v, _ in limits), max(v for v, _ in limits)
    text = " and ".join(f"{v * 1e3:.3g} mm{'/m' if which == 'angle' else ''} ({s})" for v, s in limits)
    limit = Value("acceptable", (least + most) / 2, (most - least) / 2, ((text, ""),))
    yield bench.work_out(name, owner, formula, "alignment-tolerance-table", lambda x, a: abs(x) / a, worked_out(found), limit,
                         notes=("the published tables differ" if most > least * 1.001 else "",))  # fmt: skip


def hours_a_start(hours: float, starts: float) -> float:
    """Time run for each start. Raises ValueError where it was never started."""
    if starts <= 0:
        raise ValueError("never started")
    return hours / starts


def _life(bench: Bench) -> Iterator[Quantity]:
    machine = Owner("machine")
    hours, design = bench.one("running hours", machine), bench.one("design life", machine)
    if hours.value is not None:
        yield bench.as_recorded("running hours", machine, hours)
        if design.value is None:
            text = bench.table("machine")["design life"]
            design = Value(
                "design life", amount(text["at"]).value, 0.0, ((f"{text['at']} (assumed), {text['source']}", ""),)
            )
        yield bench.work_out(
            "life share", machine, "running hours / design life", "api-682", lambda t, d: t / d, hours, design
        )
    for name in ("time to first leak", "starts"):
        value = bench.one(name, machine)
        if value.value is not None:
            yield bench.as_recorded(name, machine, value)
    starts = bench.one("starts", machine)
    if hours.value is not None and starts.value is not None:
        yield bench.work_out(
            "hours a start", machine, "running hours / starts", "geometry", hours_a_start, hours, starts
        )
