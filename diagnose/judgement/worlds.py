"""Ways in which things may stand: a set of causes with a state of every mechanism, and how likely each is.

Given such a way findings are independent of each other, so that what several would tell together can be reckoned. Where
a network has few mechanisms every way is spelt out with its exact probability; else ways are drawn for each leading set,
in proportion to its weight, mechanisms taken as independent given the set, with their exact marginals. Draws are spread
evenly (a Kronecker sequence on square roots of primes; H. Niederreiter, 1992, from memory), so that the same record gives
the same ways.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from diagnose.judgement.network import Network, products
from diagnose.judgement.posterior import Posterior

FEW = 8
DRAWN = 360


@dataclass(frozen=True)
class Worlds:
    """`members[w]` the causes at work, `states[w]` the mechanisms there (0 or 1), `weight` summing to one."""

    members: np.ndarray
    states: np.ndarray
    weight: np.ndarray


def worlds(found: Posterior) -> Worlds:
    return _every(found) if len(found.net.mechanisms) <= FEW else _drawn(found)


def _every(found: Posterior) -> Worlds:
    """All states of the mechanisms with all sets spelt out, by the chain rule and the evidence."""
    net, off = found.net, sorted(found.evidence.off)
    states = np.array([*itertools.product((0.0, 1.0), repeat=len(net.mechanisms))])
    states = states[(states[:, off] == 0).all(axis=1)]
    members, chosen, weight = [], [], []
    for row, share in zip(found.members, found.exactly, strict=True):
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
    result = (1 - net.leak)[:, None] * products(net.to_mechanism.keep, members)
    for i, parents in enumerate(net.above):
        for p in parents:
            result[i] *= np.where(states[p] == 1, net.between.keep[i, p], 1.0)
    return np.asarray(1 - result)


def _drawn(found: Posterior) -> Worlds:
    count = np.maximum(1, np.round(found.weights * DRAWN).astype(int))
    place = np.repeat(np.arange(len(count)), count)
    spread = [_ranked(part) for part in np.split(_even(len(place), len(found.net.mechanisms)), np.cumsum(count)[:-1])]
    states = (np.concatenate(spread) < found.by_set[:, place].T).astype(float)
    return Worlds(found.members[found.leading][place], states, (found.weights / count)[place])


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
