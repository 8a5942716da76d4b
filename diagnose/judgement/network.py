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
    def ratio(self) -> tuple[np.ndarray, np.ndarray]:
        """Likelihood ratio of each finding for each cause alone against none, where it is absent and where present."""
        base = self.background[:, None]
        return (1 - self.shown) / (1 - base), self.shown / base

    @cached_property
    def if_present(self) -> np.ndarray:
        """Weight of each finding for each cause, in dB, where the finding is present."""
        return 10 * np.log10(self.ratio[True])

    @cached_property
    def if_absent(self) -> np.ndarray:
        """The same where it was looked for and is absent."""
        return 10 * np.log10(self.ratio[False])

    def weights(self, states: Mapping[str, bool]) -> np.ndarray:
        """Weight of each of these findings for each cause, in dB, as it was found; shape (findings, causes)."""
        rows = np.array([self.row[f] for f in states], int)
        there = np.array([*states.values()], bool)[:, None]
        return np.where(there, self.if_present[rows], self.if_absent[rows])

    @cached_property
    def _meetings(self) -> dict[tuple[int, bool], Meeting | None]:
        return {}

    def meeting(self, row: int, present: bool) -> Meeting | None:
        """What causes at work together do to a finding beyond what each does alone; None where they do not meet."""
        if (row, present) not in self._meetings:
            self._meetings[row, present] = _meet(self, row, present)
        return self._meetings[row, present]


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
    result = np.full((1 + n + math.comb(n, 2) + math.comb(n, 3), 3), n)
    result[1 : n + 1, 0] = np.arange(n)
    result[n + 1 : n + 1 + math.comb(n, 2), :2] = np.transpose(_pairs(n))
    result[n + 1 + math.comb(n, 2) :] = _triples(n)[0].T
    return result


def over_sets(per_cause: np.ndarray, sets: np.ndarray) -> np.ndarray:
    """Products of the columns of `per_cause` over the members of each set; shape (rows, sets)."""
    padded = np.concatenate([per_cause, np.ones((per_cause.shape[0], 1))], axis=1)
    first, second, third = sets.T
    result = padded.take(first, axis=1)
    result *= padded.take(second, axis=1)
    result *= padded.take(third, axis=1)
    return result


def shown_by_sets(background: np.ndarray, keep: np.ndarray, hold: np.ndarray, sets: np.ndarray) -> np.ndarray:
    """P(finding | set), shape (findings, sets)."""
    result = 1 - (1 - background[:, None]) * over_sets(keep, sets)
    held = np.flatnonzero((hold != 1).any(axis=1))
    result[held] *= over_sets(hold[held], sets)
    return result


@dataclass(frozen=True)
class Meeting:
    """Causes that meet in a finding: the likelihood ratio of each two over the product of their own (`pair`, m by m), and
    of each three over the product of their pairs and their own (`triple`, in the order of `subsets`).

    Most such factors are 1, because causes meet only in findings that both speak of, and there multiply, unless
    producing ones combine by noisy-OR in a finding that is present, or producing and preventing ones in one that is
    absent. What holds a present finding back multiplies in its own right.
    """

    causes: np.ndarray
    pair: np.ndarray
    triple: np.ndarray


def _meet(net: Network, row: int, present: bool) -> Meeting | None:
    keep, hold, b = net.keep[row], net.hold[row], net.background[row]
    meet = np.flatnonzero(keep != 1 if present else (keep != 1) | (hold != 1))
    if len(meet) < 2 or (not present and (hold == 1).all()):
        return None
    k, h = keep[meet], np.ones(len(meet)) if present else hold[meet]

    def ratio(k: np.ndarray, h: np.ndarray) -> np.ndarray:
        rate = (1 - (1 - b) * k) * h
        return np.asarray(rate / b if present else (1 - rate) / (1 - b))

    two_k, two_h = np.outer(k, k), np.outer(h, h)
    one, both = ratio(k, h), ratio(two_k, two_h)
    pair = both / np.outer(one, one)
    (first, second, third), first_second, first_third, second_third = _triples(len(meet))
    triple = ratio(two_k.take(first_second) * k.take(third), two_h.take(first_second) * h.take(third))
    triple /= pair.take(first_second) * pair.take(first_third) * pair.take(second_third)
    triple /= one.take(first) * one.take(second) * one.take(third)
    return Meeting(meet, pair, triple)


def _odds_of_sets(net: Network, states: Mapping[int, bool], odds: np.ndarray, active: np.ndarray) -> np.ndarray:
    """The odds of every set of the active causes against no cause, after findings by row; exact.

    A product of a factor for each member, for each pair and for each triple (`Meeting`).
    """
    n = len(active)
    alone, pair, triple = odds.copy(), np.ones((n, n)), np.ones(math.comb(n, 3))
    for row, present in states.items():
        alone *= net.ratio[present][row, active]
        met = net.meeting(row, present)
        if met:
            at = np.searchsorted(active, met.causes)
            pair[at[:, None], at] *= met.pair
            triple[_places(at, n)] *= met.triple
    i, j = _pairs(n)
    _, first_second, first_third, second_third = _triples(n)
    weighed = pair * alone
    triple *= (weighed * alone[:, None]).take(first_second)
    triple *= weighed.take(first_third)
    triple *= pair.take(second_third)
    return np.concatenate([[1.0], alone, alone[i] * weighed[i, j], triple])


@lru_cache(maxsize=64)
def _pairs(n: int) -> tuple[np.ndarray, np.ndarray]:
    return np.triu_indices(n, 1)


@lru_cache(maxsize=64)
def _triples(n: int) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """For each triple of `subsets`, its members (a row for the first, the second and the third of each), and the places
    of its three pairs in a matrix of n by n."""
    begin, i, j = _runs(n)
    count = n - 1 - j
    first, second = np.repeat(i, count), np.repeat(j, count)
    third = np.arange(len(first)) - np.repeat(begin, count) + second + 1
    return np.stack([first, second, third]), first * n + second, first * n + third, second * n + third


def _places(causes: np.ndarray, n: int) -> np.ndarray:
    """The places, among all triples of n causes, of the triples of these."""
    i, j = n - causes, n - 1 - causes
    before_first = math.comb(n, 3) - i * (i - 1) * (i - 2) // 6 + (i - 1) * (i - 2) // 2
    before_second = -j * (j + 1) // 2 - causes - 1
    (_, _, third), first_second, _, _ = _triples(len(causes))
    return np.asarray((before_first[:, None] + before_second).take(first_second) + causes.take(third))


@lru_cache(maxsize=64)
def _runs(n: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Where the triples of each first pair begin, and those pairs: triples stand in lexicographic order."""
    first, second = _pairs(max(n - 1, 0))
    count = n - 1 - second
    return np.cumsum(count) - count, first, second


def members(weights: np.ndarray, n: int) -> np.ndarray:
    """For sets of one, two and three of n causes, the sum of the weights of those that contain each cause; (3, n)."""
    pairs, triples = np.split(weights[n + 1 :], [math.comb(n, 2)])
    result = np.zeros((3, n))
    result[0] = weights[1 : n + 1]
    for cause in _pairs(n):
        result[1] += np.bincount(cause, pairs, n)
    if n >= 3:
        begin, first, second = _runs(n)
        of_pair = np.add.reduceat(triples, begin)
        for cause, weight in ((first, of_pair), (second, of_pair), (_triples(n)[0][2], triples)):
            result[2] += np.bincount(cause, weight, n)
    return result


@dataclass(frozen=True)
class Posterior:
    """What the findings leave of every set of at most three allowed causes.

    `active` are the causes that some counted finding speaks of (indices into the network), those not allowed among them
    without any weight; only their sets are spelt out: `sets` holds rows of indices into `active`, `exactly[i]` the
    probability that set i and nothing else is at work. `share` is the probability of each cause of the network, 0 where
    it is not allowed.
    """

    active: np.ndarray
    exactly: np.ndarray
    share: np.ndarray

    @property
    def sets(self) -> np.ndarray:
        return subsets(len(self.active))

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
    by_row = {net.row[f]: states[f] for f in sorted(states)}
    rows = list(by_row)
    spoken = (net.shown[rows] != net.background[rows][:, None]).any(axis=0)
    may = np.zeros(len(net.causes), bool)
    may[list(allowed)] = True
    active, free = np.flatnonzero(spoken), np.flatnonzero(~spoken & may)
    before = np.where(may, prior / (1 - prior), 0.0)
    weights = _odds_of_sets(net, by_row, before[active], active)
    odds = before[free]
    one, two, three = _symmetric(odds)
    # what a set of none, one, two and three gains from causes of which no finding speaks
    further = (1 + one + two + three, 1 + one + two, 1 + one, 1.0)
    sums = members(weights, len(active))
    by_size = [1.0, *(sums.sum(axis=1) / (1, 2, 3)).tolist()]
    total = sum(w * f for w, f in zip(by_size, further, strict=True))
    share = np.zeros(len(net.causes))
    share[active] = further[1:] @ sums / total
    less_one = one - odds
    less_two = two - odds * less_one
    share[free] = odds * (by_size[2] + by_size[1] * (1 + less_one) + by_size[0] * (1 + less_one + less_two)) / total
    return Posterior(active, weights / total, share)


def _symmetric(odds: np.ndarray) -> tuple[float, float, float]:
    """Elementary symmetric polynomials of degree one, two and three (Newton's identities)."""
    p1, p2, p3 = (float(np.sum(odds**k)) for k in (1, 2, 3))
    return p1, (p1 * p1 - p2) / 2, (p1**3 - 3 * p1 * p2 + 2 * p3) / 6
