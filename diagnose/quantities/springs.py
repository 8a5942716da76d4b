"""Springs: a set laid side by side, outliers by a named test, rate, load at the working length."""

from __future__ import annotations

import statistics
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from diagnose.quantities.bench import Bench, Owner, Value
from diagnose.quantities.model import Quantity

SHEAR_MODULUS = 78.5e9
"""Pa, spring steel (from memory); stainless spring wire is about a tenth lower."""


@dataclass(frozen=True)
class Outlier:
    """The one reading that a test singles out: its place, statistic, critical value, and whether it is an outlier."""

    place: int
    statistic: float
    critical: float
    outlying: bool


def robust_scores(readings: Sequence[float]) -> list[float]:
    """z = 0.6745 (x - median) / MAD; suspect beyond 3.5 (rule of Iglewicz and Hoaglin, from memory). 0 where MAD is 0."""
    middle = statistics.median(readings)
    mad = statistics.median(abs(x - middle) for x in readings)
    return [0.6745 * (x - middle) / mad if mad else 0.0 for x in readings]


def grubbs(readings: Sequence[float], critical: Mapping[int, float]) -> Outlier:
    """G = max |x - mean| / s against the critical value for n readings. Raises ValueError for n outside the table.

    Grubbs 1969, Technometrics 11; ASTM E178. Run once: it flags too often on small sets when repeated.
    """
    n = len(readings)
    if n not in critical:
        raise ValueError(f"Grubbs's test is tabled for {min(critical)} to {max(critical)} springs, not {n}")
    mean, spread = statistics.fmean(readings), statistics.stdev(readings)
    place = max(range(n), key=lambda i: (abs(readings[i] - mean), -i))
    g = abs(readings[place] - mean) / spread if spread > 0 else 0.0
    return Outlier(place, g, critical[n], g > critical[n])


def dixon(readings: Sequence[float], critical: Mapping[int, float]) -> Outlier:
    """Q = gap / range (r10) against the two-sided critical value. Raises ValueError for n outside the table.

    Dixon 1951; critical values Rorabacher 1991. Run once on a set.
    """
    n = len(readings)
    if n not in critical:
        raise ValueError(f"Dixon's test is tabled for {min(critical)} to {max(critical)} springs, not {n}")
    order = sorted(range(n), key=lambda i: (readings[i], i))
    x = [readings[i] for i in order]
    span = x[-1] - x[0]
    if span <= 0:
        return Outlier(order[0], 0.0, critical[n], False)
    low, high = (x[1] - x[0]) / span, (x[-1] - x[-2]) / span
    q, place = (low, order[0]) if low > high else (high, order[-1])
    return Outlier(place, q, critical[n], q > critical[n])


def spread_of(readings: Sequence[float]) -> float:
    """(longest - shortest) / median. Raises ValueError for fewer than two."""
    if len(readings) < 2:
        raise ValueError("one spring has no spread")
    return (max(readings) - min(readings)) / statistics.median(readings)


def rate(wire: float, coil: float, coils: float, modulus: float = SHEAR_MODULUS) -> float:
    """k = G d^4 / (8 D^3 n), N/m, round wire, mean coil diameter D, n active coils (textbook). Raises ValueError.

    Spring index D/d from 4 to 20.
    """
    if coils <= 0 or wire <= 0 or not 2 <= coil / wire <= 30:
        raise ValueError(
            "wire, coil diameter and coils do not make a coil spring: the coil diameter is taken over the wire's middle"
        )
    return modulus * wire**4 / (8 * coil**3 * coils)


def load_loss(new_length: float, length: float, working: float) -> float:
    """Share of the load lost at the working length: (L0 - L) / (L0 - Lw), rate unchanged. Raises ValueError unless L0 > Lw."""
    if new_length <= working:
        raise ValueError("the new free length must exceed the working length")
    return (new_length - length) / (new_length - working)


# ---- of a case ----------------------------------------------------------------------------------------------


def critical_values(table: Mapping[str, Any], test: str, level: str) -> dict[int, float]:
    """The critical values of a test by number of readings."""
    return {int(n): float(v) for n, v in table[test][level].items()}


def compute(bench: Bench) -> Iterator[Quantity]:
    for owner in bench.owners("free length"):
        yield from _set(bench, owner)
    for owner in bench.owners("wire diameter"):
        yield bench.work_out(
            "spring rate",
            owner,
            "k = G d⁴ / (8 D³ n)",
            "spring-textbook",
            rate,
            *(bench.one(n, owner) for n in ("wire diameter", "coil diameter", "active coils")),
            notes=("G 78.5 GPa, spring steel",),
        )
    for owner in bench.owners("spring load"):
        new = bench.one("new spring load", owner)
        yield bench.work_out(
            "spring load loss",
            owner,
            "(F0 - F) / F0 at the working length",
            "geometry",
            lambda f, f0: (f0 - f) / f0,
            bench.one("spring load", owner),
            new,
        )
    if bench.has("springs found", "springs broken"):
        for owner in bench.owners("springs found", "springs broken"):
            yield _missing(bench, owner)
    for owner in bench.owners("working length"):
        drawing = bench.one("specified working length", owner)
        yield bench.work_out(
            "working length error",
            owner,
            "as found - drawing",
            "geometry",
            lambda f, d: f - d,
            bench.one("working length", owner),
            drawing,
            notes=("positive: too long, faces under-loaded",),
        )


def _set(bench: Bench, owner: Owner) -> Iterator[Quantity]:
    lengths = bench.every("free length", owner)
    readings = [v.value for v in lengths if v.value is not None]
    records = bench.records("free length", owner)
    origin = (Value("free length", readings[0], origins=bench.origins("free length", records)),)
    step = max(v.spread for v in lengths)
    if len(readings) >= 2:
        share = spread_of(readings)
        more = 2 * step / statistics.median(readings)
        yield bench.result(
            "spring length spread",
            owner,
            "(longest - shortest) / median",
            "geometry",
            origin,
            share,
            max(0.0, share - more),
            share + more,
        )
        yield _outlier(bench, owner, origin, readings, step, [x for r in records for x in _labels(r)])
    new, held = bench.one("new free length", owner), bench.one("spring length when set", owner)
    if new.value is not None and held.value is not None and not bench.records("spring load", owner):
        yield bench.work_out(
            "spring load loss",
            owner,
            "(L0 - L) / (L0 - Lw), shortest of the set",
            "geometry",
            load_loss,
            new,
            Value("free length", min(readings), step, origin[0].origins),
            held,
            notes=("rate taken as unchanged", *_mean_loss(readings, new.value, held.value)),
        )


def _mean_loss(readings: list[float], new: float, held: float) -> tuple[str, ...]:
    """What the whole set lost, where its springs differ."""
    if len(readings) < 2 or new <= held:
        return ()
    return (f"the set as a whole: {load_loss(new, statistics.fmean(readings), held):.0%}",)


def _labels(record: Any) -> list[str]:
    return list(record.labels) or [str(i + 1) for i in range(len(record.readings))]


def _outlier(
    bench: Bench, owner: Owner, origin: tuple[Value, ...], readings: list[float], step: float, labels: list[str]
) -> Quantity:
    table = bench.table("outliers")
    critical = critical_values(table, "grubbs", "5 % two-sided")
    name, formula = "spring outlier", "Grubbs: G = max |x - mean| / s, once, 5 % two-sided"
    try:
        found = grubbs(readings, critical)
    except ValueError as error:
        small = "too few springs for an outlier test: " if len(readings) < min(critical) else ""
        return bench.result(name, owner, formula, "grubbs-1969", origin, problem=small + str(error))
    score = robust_scores(readings)[found.place]
    beyond = abs(readings[found.place] - statistics.fmean(readings)) > step
    outlying = found.outlying and beyond
    notes = [f"G = {found.statistic:.3f}, critical {found.critical:.3f} for {len(readings)} springs (5 % two-sided)"]
    if outlying:
        notes.append(f"spring {labels[found.place]} is out of the set")
    if score:
        notes.append(f"median rule: z = {score:.1f}, suspect beyond 3.5")
    if len(readings) <= 6:
        notes.append("six springs or fewer: the test flags too often, do not repeat it on the rest")
    return bench.result(
        name,
        owner,
        formula,
        "grubbs-1969",
        origin,
        found.statistic,
        found.statistic,
        found.statistic,
        "yes" if outlying else "no",
        tuple(notes),
    )


def _missing(bench: Bench, owner: Owner) -> Quantity:
    found, broken = bench.one("springs found", owner), bench.one("springs broken", owner)
    fitted = bench.one("springs fitted", owner)
    name = "springs broken or missing"
    if found.value is None:
        return bench.work_out(name, owner, "broken", "geometry", lambda b: b, broken)
    if broken.value is None:
        broken = Value("springs broken", 0.0, 0.0, (("none recorded", ""),))

    def lost(there: float, belong: float, snapped: float) -> float:
        if there > belong:
            raise ValueError("more springs were found than belong to the seal")
        return belong - there + snapped

    formula = "fitted - found + broken among those found"
    return bench.work_out(name, owner, formula, "geometry", lost, found, fitted, broken)
