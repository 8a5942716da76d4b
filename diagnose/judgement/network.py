"""Causes and findings as a two-layer network, and exact sums over sets of at most three causes.

For a set S of causes P(f | S) = [1 - (1-b) * prod(1-q)] * prod(r): producing rows (p >= b) combine by noisy-OR with
q = 1 - (1-p)/(1-b); preventing rows (p < b) multiply by r = p/b. b is the finding's background rate, p the word on the
cause card. Noisy-OR with a leak: M. Henrion, Practical issues in constructing a Bayes belief network, 1987 (from
memory); the network form is that of QMR-DT (Shwe et al. 1991, from memory).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np

from diagnose.knowledge.model import Knowledge

MOST_TOGETHER = 3


@dataclass(frozen=True)
class Network:
    """`shown[f, c]` is P(finding f | cause c alone), equal to `background[f]` where no row speaks of it."""

    causes: tuple[str, ...]
    findings: tuple[str, ...]
    prior: np.ndarray
    background: np.ndarray
    shown: np.ndarray

    @cached_property
    def row(self) -> dict[str, int]:
        return {f: i for i, f in enumerate(self.findings)}

    @cached_property
    def column(self) -> dict[str, int]:
        return {c: i for i, c in enumerate(self.causes)}

    @cached_property
    def keep(self) -> np.ndarray:
        """1 - q: the share of cases in which a producing cause leaves the finding unproduced; 1 elsewhere."""
        base = self.background[:, None]
        return np.where(self.shown >= base, (1 - self.shown) / (1 - base), 1.0)

    @cached_property
    def hold(self) -> np.ndarray:
        """r: what a preventing cause leaves of the finding's rate; 1 elsewhere."""
        base = self.background[:, None]
        return np.where(self.shown < base, self.shown / base, 1.0)


def build(knowledge: Knowledge) -> Network:
    """The network of a rule base, causes and findings by name. Trial rows count for part of their weight."""
    causes, findings = tuple(sorted(knowledge.causes)), tuple(sorted(knowledge.findings))
    seen, common, share = knowledge.words.seen, knowledge.words.common, knowledge.words.trial_weight
    column = {c: i for i, c in enumerate(causes)}
    row = {f: i for i, f in enumerate(findings)}
    prior = np.array([common[knowledge.causes[c].common] for c in causes])
    background = np.array([seen[knowledge.findings[f].otherwise] for f in findings])
    shown = np.repeat(background[:, None], len(causes), axis=1)
    for name in causes:
        cause = knowledge.causes[name]
        for r in cause.leaves:
            p, f = seen[r.seen], row[r.finding]
            if "trial" in (cause.status, knowledge.findings[r.finding].status):
                p = float(background[f] * (p / background[f]) ** share)
            shown[f, column[name]] = p
    return Network(causes, findings, prior, background, shown)


@lru_cache(maxsize=64)
def subsets(n: int) -> np.ndarray:
    """All sets of at most three of n causes as rows of three indices; n stands for no cause. The empty set is first."""
    rows = [np.full((1, 3), n)]
    ones = np.full((n, 3), n)
    ones[:, 0] = np.arange(n)
    i, j = np.triu_indices(n, 1)
    twos = np.full((len(i), 3), n)
    twos[:, 0], twos[:, 1] = i, j
    rows += [ones, twos]
    if n >= 3:
        a = np.arange(n)
        grid = np.stack(np.meshgrid(a, a, a, indexing="ij"), -1).reshape(-1, 3)
        rows.append(grid[(grid[:, 0] < grid[:, 1]) & (grid[:, 1] < grid[:, 2])])
    return np.concatenate(rows)


def over_sets(per_cause: np.ndarray, sets: np.ndarray) -> np.ndarray:
    """Products of the columns of `per_cause` over the members of each set; shape (rows, sets)."""
    padded = np.concatenate([per_cause, np.ones((per_cause.shape[0], 1))], axis=1)
    return padded[:, sets[:, 0]] * padded[:, sets[:, 1]] * padded[:, sets[:, 2]]


def shown_by_sets(background: np.ndarray, keep: np.ndarray, hold: np.ndarray, sets: np.ndarray) -> np.ndarray:
    """P(finding | set), shape (findings, sets)."""
    result = 1 - (1 - background[:, None]) * over_sets(keep, sets)
    if (hold != 1).any():
        result *= over_sets(hold, sets)
    return result


def set_priors(prior: np.ndarray, sets: np.ndarray) -> np.ndarray:
    """Prior odds of each set of independent causes against none of them."""
    odds = np.concatenate([prior / (1 - prior), [1.0]])
    return odds[sets[:, 0]] * odds[sets[:, 1]] * odds[sets[:, 2]]


@dataclass(frozen=True)
class Posterior:
    """What the findings leave of every set of at most three allowed causes.

    `active` are the causes that some counted finding speaks of (indices into the network); only their sets are spelt
    out: `sets` holds rows of indices into `active`, `exactly[i]` the probability that set i and nothing else is at work,
    `mass[i]` the same with any further causes that no finding speaks of. `share` is the probability of each cause of
    the network, 0 where it is not allowed.
    """

    active: np.ndarray
    sets: np.ndarray
    exactly: np.ndarray
    mass: np.ndarray
    share: np.ndarray

    @property
    def none(self) -> float:
        """Probability that none of the causes is at work."""
        return float(self.exactly[0])

    def causes_of(self, i: int, net: Network) -> tuple[str, ...]:
        return tuple(net.causes[self.active[k]] for k in self.sets[i] if k < len(self.active))


def posterior(net: Network, states: Mapping[str, bool], prior: np.ndarray, allowed: Sequence[int]) -> Posterior:
    """Exact posterior over all sets of at most three of the allowed causes, given findings present (True) or absent.

    Causes of which no counted finding speaks leave the likelihood as it is, so their part of the sum is the elementary
    symmetric polynomials of their prior odds; nothing is left out. `prior` is over all causes of the network.
    """
    chosen = np.asarray(sorted(allowed), dtype=int)
    rows = sorted(states)
    index = np.array([net.row[f] for f in rows], dtype=int)
    base = net.background[index][:, None]
    spoken = (net.shown[np.ix_(index, chosen)] != base).any(axis=0) if len(rows) else np.zeros(len(chosen), bool)
    active, free = chosen[spoken], chosen[~spoken]
    sets = subsets(len(active))
    weight = set_priors(prior[active], sets)
    if len(rows):
        shown = shown_by_sets(
            net.background[index], net.keep[np.ix_(index, active)], net.hold[np.ix_(index, active)], sets
        )
        present = np.array([states[f] for f in rows])[:, None]
        weight = weight * np.prod(np.where(present, shown / base, (1 - shown) / (1 - base)), axis=0)
    odds = prior[free] / (1 - prior[free])
    one, two, three = _symmetric(odds)
    room = 3 - np.sum(sets < len(active), axis=1)
    further = np.array([1.0, 1 + one, 1 + one + two, 1 + one + two + three])[room]
    mass = weight * further
    total = mass.sum()
    share = np.zeros(len(net.causes))
    share[active] = _members(mass, sets, len(active)) / total
    by_room = np.bincount(room, weight, 4)
    less_one = one - odds
    less_two = two - odds * less_one
    share[free] = odds * (by_room[1] + by_room[2] * (1 + less_one) + by_room[3] * (1 + less_one + less_two)) / total
    return Posterior(active, sets, weight / total, mass / total, share)


def _symmetric(odds: np.ndarray) -> tuple[float, float, float]:
    """Elementary symmetric polynomials of degree one, two and three (Newton's identities)."""
    p1, p2, p3 = (float(np.sum(odds**k)) for k in (1, 2, 3))
    return p1, (p1 * p1 - p2) / 2, (p1**3 - 3 * p1 * p2 + 2 * p3) / 6


def _members(weights: np.ndarray, sets: np.ndarray, n: int) -> np.ndarray:
    """For each of n causes, the total weight of the sets that contain it."""
    total = sum(np.bincount(sets[:, k], weights, n + 1) for k in range(3))
    return np.asarray(total)[:n]
