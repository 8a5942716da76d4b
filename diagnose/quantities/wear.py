"""Wear round the clock and across the face: harmonics of wear depth, taper, and the track against the nose."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from diagnose.casefile.model import Measured
from diagnose.quantities.bench import Bench, Owner, Value, worked_out
from diagnose.quantities.model import Quantity
from diagnose.reading.units import amount

MOST_CONDITION = 10.0
"""Stations so uneven that the fit's condition number exceeds this cannot part the harmonics."""


@dataclass(frozen=True)
class Harmonic:
    """n lobes: half the height from valley to crest, where the first crest stands (degrees), and its half-width."""

    order: int
    amplitude: float
    crest: float
    half_width: float


@dataclass(frozen=True)
class Fit:
    """mean and harmonics in the unit of the readings; `spare` readings beyond the unknowns, `residual` their rms."""

    mean: float
    mean_half_width: float
    harmonics: dict[int, Harmonic]
    residual: float
    spare: int


def most_lobes(stations: int) -> int:
    """The most lobes that so many even stations resolve with a reading to spare: n <= (N - 2) / 2, so n < N / 2.

    Sampling theorem; with N stations n lobes look like N - n.
    """
    return max(0, (stations - 2) // 2)


def looks_like(lobes: int, stations: int) -> int:
    """The number of lobes that `lobes` look like at so many even stations (aliasing); 0 looks uniform."""
    rest = lobes % stations
    return min(rest, stations - rest)


def harmonics(
    degrees: Sequence[float], readings: Sequence[float], orders: Sequence[int], repeatability: float = 0.0
) -> Fit:
    """Least-squares fit d(t) = a0 + sum a_n cos n(t - crest_n), stations in degrees, any spacing.

    The half-width is twice the standard uncertainty (coverage about 95 %) from the residual of the fit, or from the
    repeatability of a reading where that is larger. Even spacing gives the discrete Fourier transform.
    Raises ValueError where the stations are too few or too unevenly spread for the orders.
    """
    import numpy as np

    angles = np.radians(np.asarray(degrees, float))
    depths = np.asarray(readings, float)
    stations = len({round(d % 360.0, 6) for d in degrees})
    unknowns = 1 + 2 * len(orders)
    needed = max([2 * n + 2 for n in orders], default=2)
    if stations < needed or len(depths) <= unknowns:
        raise ValueError(
            f"{stations} stations cannot tell {_lobes(max(orders))}: at least {max(needed, unknowns + 1)} are needed"
        )
    columns = [np.ones_like(angles)]
    for n in orders:
        columns += [np.cos(n * angles), np.sin(n * angles)]
    design = np.stack(columns, axis=1)
    singular = np.linalg.svd(design, compute_uv=False)
    if singular[-1] <= 0 or singular[0] / singular[-1] > MOST_CONDITION:
        raise ValueError("the stations are too unevenly spread to part the lobes: spread them over the whole turn")
    solved = np.linalg.lstsq(design, depths, rcond=None)[0]
    spare = len(depths) - unknowns
    residual = float(np.sqrt(np.sum((depths - design @ solved) ** 2) / spare))
    covariance = np.linalg.inv(design.T @ design) * max(residual, repeatability) ** 2
    found = {}
    for k, n in enumerate(orders):
        c, s = float(solved[1 + 2 * k]), float(solved[2 + 2 * k])
        size = math.hypot(c, s)
        if size < 1e-9 * float(np.max(np.abs(depths))):
            size = 0.0
        block = covariance[1 + 2 * k : 3 + 2 * k, 1 + 2 * k : 3 + 2 * k]
        along = np.array([c, s]) / size if size > 0 else np.array([1.0, 0.0])
        variance = max(float(along @ block @ along), 0.0) if size > 0 else float(np.max(np.linalg.eigvalsh(block)))
        crest = math.degrees(math.atan2(s, c)) / n % (360.0 / n)
        found[n] = Harmonic(n, size, crest, 2.0 * math.sqrt(variance))
    return Fit(float(solved[0]), 2.0 * math.sqrt(max(float(covariance[0, 0]), 0.0)), found, residual, spare)


def taper(outer_edge: float, inner_edge: float) -> float:
    """Wear at the outer edge less wear at the inner edge, m; positive: deeper at the outer edge."""
    return outer_edge - inner_edge


def track_excess(track_width: float, nose_width: float) -> float:
    """W - w, m: the total radial travel 2e when the fault sweeps the nose across the wider ring (kinematics)."""
    return track_width - nose_width


def unevenness(depths: Sequence[float]) -> float:
    """(deepest - shallowest) / mean. Raises ValueError without wear."""
    mean = math.fsum(depths) / len(depths)
    if mean <= 0:
        raise ValueError("there is no wear to compare")
    return (max(depths) - min(depths)) / mean


def compute(bench: Bench) -> Iterator[Quantity]:
    for owner in bench.owners("wear depth"):
        yield from _round_the_clock(bench, owner)
    for owner in bench.owners("inner edge wear depth", "outer edge wear depth"):
        yield from _across_the_face(bench, owner)
    if bench.has("track width", "track margin"):
        yield from _track(bench)


# ---- round the clock ----------------------------------------------------------------------------------------

_WEAR = "d(t) = a0 + sum a_n cos n(t - crest_n), least squares over the stations"


def _round_the_clock(bench: Bench, owner: Owner) -> Iterator[Quantity]:
    for record in bench.records("wear depth", owner):
        depths = [r.value for r in record.readings]
        origin = (Value("wear depth", depths[0], origins=bench.origins("wear depth", [record])),)
        mean = bench.value("wear depth", [record])
        if not record.around:
            yield bench.work_out("wear mean", owner, "mean of the readings", "geometry", lambda d: d, mean)
            why = "the readings have no clock positions (at)"
            yield bench.result("wear one lobe", owner, _WEAR, "geometry", origin, problem=why)
            continue
        repeatability = repeatability_of(record)
        yield from _lobes_of(bench, owner, record, origin)
        if min(depths) >= 0 and math.fsum(depths) > 0:
            width = 2 * repeatability * len(depths) / math.fsum(depths)
            share = unevenness(depths)
            formula = "(deepest - shallowest) / mean"
            yield bench.result(
                "wear unevenness", owner, formula, "geometry", origin, share, share - width, share + width
            )


def repeatability_of(record: Measured) -> float:
    """Half the smallest step of the instrument, or the widest uncertainty written with a reading."""
    return max(record.resolution / 2.0, *(r.spread for r in record.readings))


def fit_of(bench: Bench, owner: Owner, record: Measured) -> Fit | None:
    """The fit of readings round the clock with as many lobes as their stations can tell; None where they can tell none."""
    stations = len({round(d, 6) for d in record.around})
    orders = [n for n in (1, 2) if n <= most_lobes(stations)]
    _, extra = _counts(bench, owner, stations, orders)
    for attempt in (orders + [n for _, n in extra if n not in orders], orders, orders[:1]):
        if attempt:
            try:
                return harmonics(record.around, [r.value for r in record.readings], attempt, repeatability_of(record))
            except ValueError:
                continue
    return None


def is_noise(found: Harmonic, repeatability: float) -> bool:
    """Whether lobes are not told from noise: under three times the repeatability, or within the fit's own uncertainty."""
    return found.amplitude < 3.0 * repeatability or found.amplitude <= found.half_width


def _lobes_of(bench: Bench, owner: Owner, record: Measured, origin: tuple[Value, ...]) -> Iterator[Quantity]:
    stations, repeatability = len({round(d, 6) for d in record.around}), repeatability_of(record)
    orders = [n for n in (1, 2) if n <= most_lobes(stations)]
    warnings, extra = _counts(bench, owner, stations, orders)
    fit = fit_of(bench, owner, record)
    needs = {1: 4, 2: 6}
    for n, name in ((1, "wear one lobe"), (2, "wear two lobes")):
        if fit and n in fit.harmonics:
            yield from _lobe(bench, owner, name, fit.harmonics[n], origin, repeatability, warnings if n == 2 else ())
        else:
            why = _too_few(stations, n, needs[n])
            yield bench.result(name, owner, _WEAR, "geometry", origin, problem=why, notes=warnings)
    if fit:
        yield bench.result(
            "wear mean",
            owner,
            _WEAR,
            "geometry",
            origin,
            fit.mean,
            fit.mean - fit.mean_half_width,
            fit.mean + fit.mean_half_width,
        )
    else:
        yield bench.work_out(
            "wear mean", owner, "mean of the readings", "geometry", lambda d: d, bench.value("wear depth", [record])
        )
    for name, n in extra:
        if fit and n in fit.harmonics:
            yield from _lobe(bench, owner, name, fit.harmonics[n], origin, repeatability, ())
        else:
            why = _too_few(stations, n, 2 * n + 2)
            yield bench.result(name, owner, _WEAR, "geometry", origin, problem=why)


def _too_few(stations: int, n: int, needed: int) -> str:
    if stations >= needed:
        return "the stations are too unevenly spread to part the lobes: spread them over the whole turn"
    like = looks_like(n, stations)
    seen = (
        f"; they would look like {_lobes(like)}"
        if like and like != n
        else "; they would look uniform"
        if not like
        else ""
    )
    return f"{stations} stations cannot tell {_lobes(n)}: at least {needed} are needed{seen}"


def _counts(
    bench: Bench, owner: Owner, stations: int, orders: list[int]
) -> tuple[tuple[str, ...], list[tuple[str, int]]]:
    """Warnings where the gland's bolts would pass for fewer lobes, and the further lobe counts to look for."""
    warnings, extra = [], []
    for reading, name, what in (
        ("gland bolts", "wear bolt lobes", "gland bolts"),
        ("drive points", "wear drive lobes", "drive notches or springs"),
    ):
        count = bench.one(reading, owner).value
        if count is None or count < 2:
            continue
        n = round(count)
        if n > 2:
            extra.append((name, n))
        if n > most_lobes(stations) and looks_like(n, stations) in (0, *orders):
            like = looks_like(n, stations)
            seen = f"pass for {_lobes(like)}" if like else "look uniform"
            warnings.append(f"{n} {what} would {seen} at {stations} stations: take {2 * n + 2} stations to tell")
    return tuple(warnings), extra


def _lobe(
    bench: Bench,
    owner: Owner,
    name: str,
    found: Harmonic,
    origin: tuple[Value, ...],
    repeatability: float,
    warnings: tuple[str, ...],
) -> Iterator[Quantity]:
    """The amplitude, and where the crest stands; an amplitude under three times the repeatability is not told from noise."""
    low, high = max(0.0, found.amplitude - found.half_width), found.amplitude + found.half_width
    crests = " and ".join(f"{(found.crest + k * 360 / found.order) % 360:.0f}°" for k in range(min(found.order, 2)))
    more = " …" if found.order > 2 else ""
    notes = (*warnings, f"deepest at {crests}{more} {bench.from_index(owner)}")
    noise = is_noise(found, repeatability)
    if noise:
        low, high = 0.0, max(high, 3.0 * repeatability)
        notes = (
            *warnings,
            "not told from noise: under three times the repeatability, or within the fit's own uncertainty",
        )
    yield bench.result(name, owner, _WEAR, "geometry", origin, found.amplitude, low, high, notes=notes)
    if found.order <= 2 and not noise:
        angle = math.radians(found.crest)
        half = math.asin(min(1.0, found.half_width / found.amplitude)) / found.order
        name = "wear one lobe angle" if found.order == 1 else "wear two lobes angle"
        yield bench.result(
            name, owner, "crest_n = atan2(s_n, c_n) / n", "geometry", origin, angle, angle - half, angle + half
        )


def _lobes(n: int) -> str:
    return f"{n} lobe" if n == 1 else f"{n} lobes"


# ---- across the face ----------------------------------------------------------------------------------------


def _across_the_face(bench: Bench, owner: Owner) -> Iterator[Quantity]:
    edges = bench.one("outer edge wear depth", owner), bench.one("inner edge wear depth", owner)
    formula = "taper = wear at the outer edge - wear at the inner edge"
    yield bench.work_out("taper", owner, formula, "geometry", taper, *edges)
    yield bench.work_out(
        "contact edge",
        owner,
        formula + "; the edge worn deeper carried the contact",
        "geometry",
        taper,
        *edges,
        word=_edge,
    )


def _edge(value: float, low: float, high: float) -> str:
    if value == 0.0 or low <= 0.0 <= high:
        return "none"
    return "outer edge" if value > 0 else "inner edge"


# ---- the track against the nose -----------------------------------------------------------------------------


def nose_side(bench: Bench, position: str) -> str:
    """The group of the ring that carries the nose: rotating, stationary, or "" where it is not on record."""
    seen = {(p.carries, p.group) for p in bench.case.parts if p.position == position and p.carries and p.group}
    seen |= {
        (o.carries, o.group)
        for name in ("track width", "track margin", "nose width", "nose height", "wear depth")
        for o in bench.owners(name)
        if o.position == position and o.carries and o.group
    }
    other = {"rotating": "stationary", "stationary": "rotating"}
    sides = {group if carries == "nose" else other[group] for carries, group in seen}
    return sides.pop() if len(sides) == 1 else ""


def _track(bench: Bench) -> Iterator[Quantity]:
    for owner in bench.owners("track width", "track margin"):
        nose = nose_side(bench, owner.position)
        excess = offset = None
        if bench.records("track width", owner):
            excess = _excess(bench, owner, nose)
            yield excess
        for record in bench.records("track margin", owner):
            offset = _track_offset(bench, owner, record)
            yield offset
        yield _track_reading(bench, owner, nose, excess, offset)


_NO_SIDE = (
    "which ring carries the nose is not on record (carries: nose, group), and the same track means different faults"
)


_ON_THE_NOSE = "the ring that it was measured on carries the nose, and a nose leaves its track on the other ring"


def _excess(bench: Bench, owner: Owner, nose: str) -> Quantity:
    track, width = bench.one("track width", owner), nose_width(bench, owner.position)
    formula, name = "W - w, track less nose: the total radial travel", "track excess"
    if not nose and owner in bench.owners("nose width"):
        return bench.result(name, owner, formula, "wear-track-article", (track, width), problem=_NO_SIDE)
    if owner.carries == "nose":
        return bench.result(name, owner, formula, "wear-track-article", (track, width), problem=_ON_THE_NOSE)
    note = f"nose on the {nose} ring" if nose else "which of the rings turns is not on record"
    return bench.work_out(name, owner, formula, "wear-track-article", track_excess, track, width, notes=(note,))


def nose_width(bench: Bench, position: str) -> Value:
    """The nose's width as measured, or from its two diameters."""
    width = bench.near("nose width", position)
    if width.value is None:
        seal = Owner(position)
        outer, inner = bench.one("nose outer diameter", seal), bench.one("nose inner diameter", seal)
        if outer.value is not None and inner.value is not None:
            half = (outer.spread + inner.spread) / 2
            return Value("nose width", (outer.value - inner.value) / 2, half, outer.origins + inner.origins)
    return width


def _track_offset(bench: Bench, owner: Owner, record: Measured) -> Quantity:
    """The track's centre against the ring's: the first harmonic of the margin outside the track."""
    formula = "e from m(t) = m0 + e cos(t - crest), m the ring left outside the track"
    origin = (Value("track margin", 0.0, origins=bench.origins("track margin", [record])),)
    if not record.around:
        why = "the readings have no clock positions (at)"
        return bench.result("track offset", owner, formula, "geometry", origin, problem=why)
    step = max(record.resolution / 2.0, *(r.spread for r in record.readings))
    try:
        found = harmonics(record.around, [r.value for r in record.readings], (1,), step).harmonics[1]
    except ValueError as error:
        return bench.result("track offset", owner, formula, "geometry", origin, problem=str(error))
    toward = f"shifted toward {(found.crest + 180) % 360:.0f}° {bench.from_index(owner)}"
    low = max(0.0, found.amplitude - found.half_width)
    if found.amplitude < 3 * step:
        low, toward = 0.0, "not told from noise: under three times the repeatability"
    return bench.result(
        "track offset",
        owner,
        formula,
        "geometry",
        origin,
        found.amplitude,
        low,
        found.amplitude + found.half_width,
        notes=(toward,),
    )


def track_words(rows: Sequence[dict[str, str]], nose: str, width: str, shift: str) -> tuple[str, ...]:
    """What the truth table says for (nose side, wide/as the nose/narrow, centred/shifted/unknown)."""
    return tuple(
        row["says"]
        for row in rows
        if row["nose"] in (nose, "either") and row["width"] == width and row["shift"] in (shift, "either")
    )


def _track_reading(bench: Bench, owner: Owner, nose: str, excess: Quantity | None, offset: Quantity | None) -> Quantity:
    name, formula, source = "track reading", "truth table of track width and shift against the nose's side", "geometry"
    inputs = tuple(worked_out(q) for q in (excess, offset) if q is not None and q.value is not None)
    if not nose:
        return bench.result(name, owner, formula, source, inputs, problem=_NO_SIDE)
    if excess is None or excess.value is None:
        why = excess.problem if excess else "track width is not on record"
        return bench.result(name, owner, formula, source, inputs, problem=why)
    table = bench.table("kinematics")["track"]
    fine = amount(table["significant"]).value
    width = _class(excess, fine, ("narrow", "as the nose", "wide"))
    shift = "unknown"
    if offset is not None and offset.value is not None:
        shift = _class(offset, fine, ("", "centred", "shifted"))
    words = track_words(table["rows"], nose, width, shift)
    if len(words) != 1:
        lack = [
            t
            for t, c in (("the track's width against the nose", width), ("its shift (track margin)", shift))
            if c == "unknown"
        ]
        why = f"undecided: {' and '.join(lack) or 'width and shift'} cannot be told"
        return bench.result(name, owner, formula, source, inputs, problem=why)
    whirl = "whirl or vibration not locked to the speed leaves the same track" if width == "wide" else ""
    return bench.result(
        name,
        owner,
        formula,
        source,
        inputs,
        excess.value,
        excess.low,
        excess.high,
        words[0],
        (f"nose on the {nose} ring; a difference under {table['significant']} does not count", whirl),
    )


def _class(quantity: Quantity, fine: float, words: tuple[str, str, str]) -> str:
    """below, about zero, above or unknown, with the uncertainty deciding along."""
    if quantity.low >= fine:
        return words[2]
    if quantity.high <= -fine:
        return words[0]
    return words[1] if -fine < quantity.low and quantity.high < fine else "unknown"
