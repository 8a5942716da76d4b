"""Causes and findings as a two-layer network, and exact sums over sets of at most three causes.

For a set S of causes P(f | S) = [1 - (1-b) * prod(1-q)] * prod(r): producing rows (p >= b) combine by noisy-OR with
q = 1 - (1-p)/(1-b); preventing rows (p < b) multiply by r = p/b. b is the finding's background rate, p the word on the
cause card. Noisy-OR with a leak: M. Henrion, Practical issues in constructing a Bayes belief network, 1987 (from
memory); the network form is that of QMR-DT (Shwe et al. 1991, from memory).
"""

from __future__ import annotations

import math
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

    @cached_property
    def if_present(self) -> np.ndarray:
        """Weight of each finding for each cause, in dB, where the finding is present."""
        return 10 * np.log10(self.shown / self.background[:, None])

    @cached_property
    def if_absent(self) -> np.ndarray:
        """The same where it was looked for and is absent."""
        return 10 * np.log10((1 - self.shown) / (1 - self.background[:, None]))


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
    """All sets of at most three of n causes as rows of three indices; n stands for no cause. The empty set is first,
    then the single causes, the pairs and the triples, each in lexicographic order."""
    ones = np.full((n, 3), n)
    ones[:, 0] = np.arange(n)
    i, j = np.triu_indices(n, 1)
    twos = np.full((len(i), 3), n)
    twos[:, 0], twos[:, 1] = i, j
    # every pair, once for each smaller cause in front of it
    start = np.searchsorted(i, np.arange(n) + 1)
    after = np.concatenate([np.arange(s, len(i)) for s in start]) if n else np.empty(0, int)
    threes = np.stack([np.repeat(np.arange(n), len(i) - start), i[after], j[after]], -1)
    return np.concatenate([np.full((1, 3), n), ones, twos, threes])


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


def set_weights(
    prior: np.ndarray, background: np.ndarray, keep: np.ndarray, hold: np.ndarray, present: np.ndarray
) -> np.ndarray:
    """Odds of each set of `subsets` against no cause, after the findings: prior odds times likelihood ratio.

    Written as (odds of each member) x (a factor for each pair) x (a factor for each triple): exact, and most factors are
    1, because members meet only in findings that both speak of. Rates multiply unless producing causes combine by
    noisy-OR in a finding that is present, or producing and preventing ones in a finding that is absent.
    """
    n = len(prior)
    alone = prior / (1 - prior)
    pair = np.ones((n, n))
    triple = np.ones(math.comb(n, 3))
    for b, k, h, there in zip(background, keep, hold, present, strict=True):
        ratio = _present if there else _absent
        own = ratio(b, k, h)
        alone *= own
        meet = np.flatnonzero(k != 1) if there else np.flatnonzero((k != 1) | (h != 1))
        if len(meet) < 2 or not (there or (h != 1).any()):
            continue
        k, h, own = k[meet], h[meet], own[meet]
        two_k, two_h = np.outer(k, k), np.outer(h, h)
        both = ratio(b, two_k, two_h)
        pair[np.ix_(meet, meet)] *= both / np.outer(own, own)
        size = len(meet)
        first_second, first_third, second_third, third = _triples(size)
        all_three = ratio(b, two_k.take(first_second) * k.take(third), two_h.take(first_second) * h.take(third))
        rest = own[:, None] / both
        all_three *= rest.take(first_second) * rest.T.take(first_third) * rest.take(second_third)
        triple[_places(meet, n)] *= all_three
    i, j = _pairs(n)
    first_second, first_third, second_third, third = _triples(n)
    weighed = pair * alone
    triple *= (weighed * alone[:, None]).take(first_second)
    triple *= weighed.take(first_third)
    triple *= pair.take(second_third)
    return np.concatenate([[1.0], alone, alone[i] * weighed[i, j], triple])


def _present(b: float, keep: np.ndarray, hold: np.ndarray) -> np.ndarray:
    return (1 - (1 - b) * keep) * hold / b


def _absent(b: float, keep: np.ndarray, hold: np.ndarray) -> np.ndarray:
    return (1 - (1 - (1 - b) * keep) * hold) / (1 - b)


@lru_cache(maxsize=64)
def _pairs(n: int) -> tuple[np.ndarray, np.ndarray]:
    return np.triu_indices(n, 1)


@lru_cache(maxsize=64)
def _triples(n: int) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """For each triple of `subsets`, the places of its three pairs in a matrix of n by n, and its third member."""
    first, second, third = subsets(n)[1 + n + math.comb(n, 2) :].T
    return first * n + second, first * n + third, second * n + third, third.copy()


def _places(members: np.ndarray, n: int) -> np.ndarray:
    """The places, among all triples of n causes, of the triples of these members."""
    i, j = n - members, n - 1 - members
    before_first = math.comb(n, 3) - i * (i - 1) * (i - 2) // 6 + (i - 1) * (i - 2) // 2
    before_second = -j * (j + 1) // 2 - members - 1
    first_second, _, _, third = _triples(len(members))
    return np.asarray((before_first[:, None] + before_second).take(first_second) + members.take(third))


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
    grid = np.ix_(index, active)
    present = np.array([states[f] for f in rows], bool)
    weight = set_weights(prior[active], net.background[index], net.keep[grid], net.hold[grid], present)
    odds = prior[free] / (1 - prior[free])
    one, two, three = _symmetric(odds)
    n = len(active)
    ends = np.cumsum([1, n, math.comb(n, 2), math.comb(n, 3)])
    mass = weight.copy()
    by_size = []
    for start, end, further in zip([0, *ends], ends, [one + two + three, one + two, one, 0.0], strict=False):
        mass[start:end] *= 1 + further
        by_size.append(float(weight[start:end].sum()))
    total = mass.sum()
    share = np.zeros(len(net.causes))
    share[active] = _members(mass, n) / total
    less_one = one - odds
    less_two = two - odds * less_one
    share[free] = odds * (by_size[2] + by_size[1] * (1 + less_one) + by_size[0] * (1 + less_one + less_two)) / total
    return Posterior(active, sets, weight / total, mass / total, share)


def _symmetric(odds: np.ndarray) -> tuple[float, float, float]:
    """Elementary symmetric polynomials of degree one, two and three (Newton's identities)."""
    p1, p2, p3 = (float(np.sum(odds**k)) for k in (1, 2, 3))
    return p1, (p1 * p1 - p2) / 2, (p1**3 - 3 * p1 * p2 + 2 * p3) / 6


def _members(weights: np.ndarray, n: int) -> np.ndarray:
    """For each of n causes, the total weight of the sets of `subsets` that contain it."""
    total = np.zeros(n + 1)
    sets = subsets(n)
    triples = 1 + n + math.comb(n, 2)
    for k in range(2):
        total += np.bincount(sets[:triples, k], weights[:triples], n + 1)
    total += np.bincount(sets[triples:, 2], weights[triples:], n + 1)
    if n >= 3:
        # triples stand in lexicographic order, so those of a first member, and of a first pair, stand together
        runs, first, second = _runs(n)
        of_pair = np.add.reduceat(weights[triples:], runs)
        total += np.bincount(first, of_pair, n + 1) + np.bincount(second, of_pair, n + 1)
    return total[:n]


@lru_cache(maxsize=64)
def _runs(n: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Where the triples of each first pair begin, and the pairs."""
    first, second = _pairs(n - 1)
    return np.concatenate([[0], np.cumsum(n - 1 - second)[:-1]]), first, second
