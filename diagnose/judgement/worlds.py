"""Ways in which things may stand: a set of causes with a state of every mechanism, and how likely each is.

Given such a way findings are independent of each other, so that what several would tell together can be reckoned. Where
a network is small every way is spelt out with its exact probability; else ways are drawn for each leading set, in
proportion to its weight, mechanisms taken as independent given the set, with their exact marginals. A cause that is likelier
than the leading sets say joins the likeliest set in one way more; then the weights are fitted to the exact probability of
each cause (iterative proportional fitting; W. Deming and F. Stephan, 1940, from memory). Draws are spread evenly (a
Kronecker sequence on square roots of primes; H. Niederreiter, 1992, from memory), so that the same record gives the same
ways.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from diagnose.judgement.network import Network, products
from diagnose.judgement.posterior import Posterior

FEW = 8
AT_MOST = 3
DRAWN = 360
LEAST = 1e-6
SWEEPS = 4


@dataclass(frozen=True)
class Worlds:
    """`members[w]` the causes at work, `states[w]` the mechanisms there (0 or 1), `weight` summing to one."""

    members: np.ndarray
    states: np.ndarray
    weight: np.ndarray


def worlds(found: Posterior) -> Worlds:
    small = len(found.net.mechanisms) <= FEW and len(found.net.causes) <= FEW
    return _every(found) if small else _drawn(found)


def _every(found: Posterior) -> Worlds:
    """All states of the mechanisms with all sets spelt out, by the chain rule and the evidence."""
    net, off = found.net, sorted(found.evidence.off)
    states = np.array([*itertools.product((0.0, 1.0), repeat=len(net.mechanisms))])
    states = states[(states[:, off] == 0).all(axis=1)]
    members, chosen, weight = [], [], []
    sets = np.array([*itertools.product((False, True), repeat=len(net.causes))])
    out = [i for i in range(len(net.causes)) if i not in found.evidence.allowed]
    sets = sets[(sets.sum(axis=1) <= AT_MOST) & ~sets[:, out].any(axis=1)]
    prior = found.evidence.prior
    shares = found.sums.likelihood(sets) * np.where(sets, prior / (1 - prior), 1.0).prod(axis=1)
    for row, share in zip(sets, shares, strict=True):
        here = np.repeat(row[None], len(states), axis=0)
        chance = _given_above(net, states.T, here)
        p = np.where(states.T == 1, chance, 1 - chance)
        p[off] = 1.0
        likely = p.prod(axis=0)
        read = net.read(net.expected(states.T, here))
        for finding, present in found.evidence.states.items():
            if finding not in net.question_of:
                likely = likely * (read[net.row[finding]] if present else 1 - read[net.row[finding]])
        if likely.sum() > 0:
            members.append(here)
            chosen.append(states)
            weight.append(share * likely / likely.sum())
    total = np.concatenate(weight)
    return Worlds(np.concatenate(members), np.concatenate(chosen), total / total.sum())


def _given_above(net: Network, states: np.ndarray, members: np.ndarray) -> np.ndarray:
    """P(mechanism there | states of those above it, set), shape (mechanisms, ways)."""
    result = (1 - net.leak)[:, None] * products(net.to_mechanism.inhibition, members)
    for i, parents in enumerate(net.above):
        for p in parents:
            result[i] *= np.where(states[p] == 1, net.between.inhibition[i, p], 1.0)
    return np.asarray(1 - result)


def _drawn(found: Posterior) -> Worlds:
    count = np.maximum(1, np.round(found.weights * DRAWN).astype(int))
    place = np.repeat(np.arange(len(count)), count)
    spread = [_ranked(part) for part in np.split(_even(len(place), len(found.net.mechanisms)), np.cumsum(count)[:-1])]
    states = (np.concatenate(spread) < found.by_set[:, place].T).astype(float)
    members, weight = found.members[found.leading], found.exactly[found.leading]
    one = _joined(found, members, weight)
    members = np.concatenate([members[place], one.members])
    weight = _fitted(members, np.concatenate([(weight / count)[place], one.weight]), found.share)
    return Worlds(members, np.concatenate([states, one.states]), weight)


def _fitted(members: np.ndarray, weight: np.ndarray, share: np.ndarray) -> np.ndarray:
    """Weights summing to one under which each cause that is in some ways and not in others has its share."""
    weight = weight / weight.sum()
    for _ in range(SWEEPS):
        for c in np.flatnonzero(members.any(axis=0) & ~members.all(axis=0)).tolist():
            now = float(weight @ members[:, c])
            weight = weight * np.where(members[:, c], share[c] / now, (1 - share[c]) / (1 - now))
    return np.asarray(weight / weight.sum())


def _joined(found: Posterior, members: np.ndarray, weight: np.ndarray) -> Worlds:
    """One way for each cause beside the likeliest set that is likelier than the leading sets say: it joins that set."""
    net, best = found.net, members[0]
    lacking = found.share - weight @ members
    causes = np.flatnonzero((lacking > LEAST) & ~best)
    joined = np.repeat(best[None], len(causes), axis=0)
    joined[range(len(causes)), causes] = True
    chance = np.maximum(found.by_set[:, [0]], net.forward(joined))
    chance[sorted(found.evidence.off)] = 0.0
    return Worlds(joined, (_even(len(causes), len(net.mechanisms)) < chance.T).astype(float), lacking[causes])


def _ranked(numbers: np.ndarray) -> np.ndarray:
    """The numbers moved so that one falls into each equal part between 0 and 1, in the order they have in each column (a
    Latin hypercube; M. McKay, R. Beckman and W. Conover, 1979, from memory): the draws of a set keep its marginals."""
    return np.asarray((numbers.argsort(axis=0).argsort(axis=0) + numbers) / len(numbers))


@lru_cache(maxsize=4)
def _even(ways: int, mechanisms: int) -> np.ndarray:
    """Numbers between 0 and 1, evenly spread over the ways for each mechanism, shape (ways, mechanisms)."""
    step = np.sqrt(np.array(_primes(mechanisms), float)) % 1
    return np.asarray((np.arange(1, ways + 1)[:, None] * step[None, :] + 0.5 * step) % 1)


def _primes(count: int) -> list[int]:
    found: list[int] = []
    number = 2
    while len(found) < count:
        if all(number % p for p in found if p * p <= number):
            found.append(number)
        number += 1
    return found
