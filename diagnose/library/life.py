"""How long seals live: Kaplan-Meier and Weibull over seals that failed, were pulled sound or still run, and the log-rank
test between groups. The statistics are scipy's; lives are in hours.
"""

from __future__ import annotations

import math
import warnings
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

import numpy as np

from diagnose.casefile.format import FAILED, RUNNING
from diagnose.library.seals import day
from diagnose.library.store import Store

FEW = 5
"""Failures below which no life is reckoned: common practice asks for at least five to ten for a Weibull line."""
MOST_ALIKE = 3
"""Different times of failure below which no Weibull line is drawn."""
NOT_KNOWN = "not known"
"""The cause of a failure that nobody confirmed and the tool does not call at least probable."""
HOURS_A_DAY = 24.0


@dataclass(frozen=True)
class Life:
    """One seal's time in service, h; `failed` False where it was pulled sound or still runs. `by_dates`: reckoned from
    the dates on record, as no running hours are."""

    hours: float
    failed: bool
    by_dates: bool
    cause: str
    fitted: str
    tag: str
    batch: str
    id: int


@dataclass(frozen=True)
class Weibull:
    """P(alive at t) = exp(-(t / scale)^shape); each with its 95 % interval, scale and `b10` (one in ten has failed) in h."""

    shape: float
    shape_interval: tuple[float, float]
    scale: float
    scale_interval: tuple[float, float]
    b10: float
    b10_interval: tuple[float, float]

    def alive(self, hours: np.ndarray) -> np.ndarray:
        return np.asarray(np.exp(-((hours / self.scale) ** self.shape)))


@dataclass(frozen=True)
class Curve:
    """Share alive after each time of failure, with its pointwise 95 % band (log-log). Shape (times,)."""

    hours: np.ndarray
    alive: np.ndarray
    low: np.ndarray
    high: np.ndarray

    def quantile(self, share: float, line: np.ndarray | None = None) -> float | None:
        """The first time at which no more than a share is alive; None where the record does not reach it."""
        below = np.flatnonzero((self.alive if line is None else line) <= share + 1e-12)
        return float(self.hours[below[0]]) if len(below) else None


@dataclass(frozen=True)
class Group:
    """The lives of one group. `curve`: None where too few failed, `weibull` also where all failed at the same times; `by_dates`: how many lives are by dates."""

    name: str
    seals: int
    failed: int
    by_dates: int
    curve: Curve | None
    weibull: Weibull | None

    @property
    def median(self) -> tuple[float | None, float | None, float | None]:
        """(median, low, high) in h, each None where the record does not reach it."""
        c = self.curve
        return (None, None, None) if c is None else (c.quantile(0.5), c.quantile(0.5, c.low), c.quantile(0.5, c.high))


def lives(store: Store, site: str = "", where: str = "TRUE", values: Sequence[Any] = ()) -> list[Life]:
    """The lives on record, those still running up to the last date in the library. Seals whose life is not on record are
    left out."""
    rows = store.rows(
        f"SELECT id, hours, fitted, removed, removal, confirmed_root, root, root_standing, tag, batch FROM seal WHERE site = ? AND {where} ORDER BY id",
        (site, *values),
    )
    (last,) = store.rows("SELECT COALESCE(MAX(MAX(fitted, removed)), '') FROM seal WHERE site = ?", (site,))[0]
    found = []
    for row in rows:
        hours, by_dates = row["hours"], False
        if hours is None:
            end = last if row["removal"] == RUNNING else row["removed"]
            hours, by_dates = _between(day(row["fitted"]), day(end)), True
        if hours is not None and hours > 0:
            failed = row["removal"] == FAILED
            sure = row["root_standing"] in ("established", "probable")
            cause = (row["confirmed_root"] or (row["root"] if sure else "") or NOT_KNOWN) if failed else ""
            found.append(Life(hours, failed, by_dates, cause, row["fitted"], row["tag"], row["batch"], row["id"]))
    return found


def _between(one: date | None, other: date | None) -> float | None:
    return (other - one).days * HOURS_A_DAY if one and other else None


def by_cause(found: Sequence[Life], most: int) -> dict[str, list[Life]]:
    """Lives for each of the root causes that most seals failed of. Everything else that ended a life counts as pulled sound,
    so each group has all seals and tells of one way to fail."""
    counts = Counter(life.cause for life in found if life.failed and life.cause)
    causes = sorted(counts, key=lambda c: (-counts[c], c))[:most]
    spared = [replace(x, failed=False) for x in found]
    return {c: [x if x.cause == c else y for x, y in zip(found, spared, strict=True)] for c in causes}


def grouped(store: Store, found: Sequence[Life], by: str) -> dict[str, list[Life]]:
    """Lives by machine (`tag`), `batch` or a setting of the vocabulary. A seal of which several terms hold is in several
    groups."""
    if by in ("tag", "batch"):
        names = {life.id: [name] for life in found if (name := getattr(life, by))}
    else:
        names = {}
        for seal, term in store.db.execute(
            "SELECT seal, t.text FROM setting JOIN word s ON s.id = setting JOIN word t ON t.id = term WHERE s.text = ?", (by,)
        ):  # fmt: skip
            names.setdefault(seal, []).append(term)
    groups: dict[str, list[Life]] = {}
    for life in found:
        for name in names.get(life.id, ()):
            groups.setdefault(name, []).append(life)
    return dict(sorted(groups.items()))


def settings(store: Store) -> list[str]:
    """The settings on record."""
    return [row[0] for row in store.rows("SELECT DISTINCT text FROM setting JOIN word ON id = setting ORDER BY text")]


def parted(found: Sequence[Life], change: str) -> dict[str, list[Life]]:
    """Lives of seals fitted before a date and from it on; those without a date of fitting are left out."""
    dated = [(life, day(life.fitted)) for life in found]
    at = day(change)
    assert at
    return {
        f"fitted before {change}": [life for life, fitted in dated if fitted and fitted < at],
        f"fitted from {change}": [life for life, fitted in dated if fitted and fitted >= at],
    }


def group(name: str, found: Sequence[Life]) -> Group:
    failed = sum(life.failed for life in found)
    few = failed < FEW
    data = None if few else _data(found)
    return Group(
        name, len(found), failed, sum(life.by_dates for life in found), None if few else _curve(data),
        None if few else weibull(found),
    )  # fmt: skip


def _data(found: Sequence[Life]) -> Any:
    from scipy.stats import CensoredData

    hours, alive = np.array([x.hours for x in found]), np.array([not x.failed for x in found])
    return CensoredData.right_censored(hours, alive)


def _curve(data: Any) -> Curve:
    from scipy.stats import ecdf

    sf = ecdf(data).sf
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)
        band = sf.confidence_interval(method="log-log")
    # where everybody or nobody is alive the transformation has no value, and there is nothing to be unsure of
    low, high = (np.where(np.isnan(b.probabilities), sf.probabilities, b.probabilities) for b in (band.low, band.high))
    return Curve(np.asarray(sf.quantiles), np.asarray(sf.probabilities), low, high)


def weibull(found: Sequence[Life]) -> Weibull | None:
    """Maximum likelihood, by scipy; None where the failures are so alike that it has no maximum. Intervals by the observed information of the logarithms (Meeker and Escobar,
    Statistical Methods for Reliability Data, 1998, from memory)."""
    from scipy.stats import weibull_min

    failed = [x.hours for x in found if x.failed]
    if len(set(failed)) < MOST_ALIKE:
        return None
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)
        shape, _, scale = weibull_min.fit(_data(found), floc=0)
    t = np.array([*failed, *(x.hours for x in found if not x.failed)])
    at = np.array([math.log(shape), math.log(scale)])
    covariance = np.linalg.inv(_information(t, len(failed), at))
    wide = 1.959963984540054 * np.sqrt(np.diag(covariance))
    b10 = at[1] + math.log(-math.log(0.9)) / shape
    slope = np.array([-math.log(-math.log(0.9)) / shape, 1.0])
    about = 1.959963984540054 * math.sqrt(float(slope @ covariance @ slope))
    return Weibull(
        float(shape), _around(at[0], wide[0]), float(scale), _around(at[1], wide[1]), math.exp(b10), _around(b10, about)
    )


def _around(middle: float, half: float) -> tuple[float, float]:
    return math.exp(middle - half), math.exp(middle + half)


def _information(t: np.ndarray, failed: int, at: np.ndarray) -> np.ndarray:
    """Observed information in (log shape, log scale), shape (2, 2). With z = shape * (log t - log scale) the log-likelihood
    is the sum of log shape + z over failures less the sum of exp(z) over all; the failures come first in `t`."""
    shape = math.exp(at[0])
    z = shape * (np.log(t) - at[1])
    e = np.exp(z)
    aa = (e * (z * z + z)).sum() - z[:failed].sum()
    ab = -shape * (e * (1 + z)).sum() + shape * failed
    return np.array([[aa, ab], [ab, shape * shape * e.sum()]])


def log_rank(one: Sequence[Life], other: Sequence[Life]) -> float | None:
    """The two-sided chance of a difference in lives at least so large where there is none (log-rank test); None where too
    few failed."""
    from scipy.stats import logrank

    if min(sum(x.failed for x in side) for side in (one, other)) < FEW:
        return None
    with np.errstate(invalid="ignore"):
        p = float(logrank(_data(one), _data(other)).pvalue)
    return None if math.isnan(p) else p


def against_the_others(groups: Mapping[str, Sequence[Life]]) -> dict[str, float | None]:
    """The log-rank test of each group against the seals that are in other groups only; None where too few failed.

    As `log_rank`, for thousands of groups at once: what is expected of a group and its variance are sums over the times of
    failure of all, which are added up once.
    """
    from scipy.special import ndtr

    everyone = list({life.id: life for found in groups.values() for life in found}.values())
    hours, failed = np.array([x.hours for x in everyone]), np.array([x.failed for x in everyone], bool)
    times, deaths = np.unique(hours[failed], return_counts=True)
    at_risk = len(hours) - np.searchsorted(np.sort(hours), times)
    spread = deaths * (at_risk - deaths) / (at_risk * np.maximum(at_risk - 1, 1))
    hazard, once, twice = (np.concatenate([[0.0], np.cumsum(x)]) for x in (deaths / at_risk, spread, spread / at_risk))
    result: dict[str, float | None] = {}
    for name, found in groups.items():
        mine = sum(x.failed for x in found)
        lived = np.searchsorted(times, np.sort([x.hours for x in found]), side="right")
        left = len(found) - np.arange(len(found))
        steps = [np.diff(x[lived], prepend=0.0) for x in (once, twice)]
        variance = float((left * steps[0] - left**2 * steps[1]).sum())
        enough = min(mine, int(failed.sum()) - mine) >= FEW and variance > 0
        result[name] = 2 * float(ndtr(-abs(mine - hazard[lived].sum()) / math.sqrt(variance))) if enough else None
    return result


def document(groups: Mapping[str, Sequence[Life]], tested: Mapping[tuple[str, str], float | None]) -> dict[str, Any]:
    """Groups as plain data; `tested` maps what was compared to its chance."""
    return {
        "least failures": FEW,
        "groups": [_told(group(name, found)) for name, found in groups.items()],
        "log-rank": [{"between": list(names), "p": p} for names, p in tested.items()],
    }


def _told(g: Group) -> dict[str, Any]:
    median, low, high = g.median
    w, c = g.weibull, g.curve
    return {
        "group": g.name, "seals": g.seals, "failed": g.failed, "by dates": g.by_dates, "too few": c is None,
        "median": median, "median interval": [low, high],
        "weibull": w and {
            "shape": w.shape, "shape interval": list(w.shape_interval), "scale": w.scale,
            "scale interval": list(w.scale_interval), "b10": w.b10, "b10 interval": list(w.b10_interval),
        },
        "curve": [] if c is None else [[float(x) for x in row] for row in zip(c.hours, c.alive, c.low, c.high, strict=True)],
    }  # fmt: skip
