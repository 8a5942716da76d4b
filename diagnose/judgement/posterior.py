"""The posterior over sets of causes, summed exactly over the mechanisms.

Every single cause that the record bears on is summed; pairs and triples are made of causes that the record speaks for,
each extended from the likelier of the sets before it. A cause beside a set that is not spelt out with it counts as if its
evidence had nothing to do with the set's: P(record | set and cause) = P(record | set) * P(record | cause)/P(record |
none). That is exact for a cause the record does not bear on, and what is so reckoned is told (`reckoned`).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np

from diagnose.judgement.elimination import WIDEST, Effects, Plan, Shape, Star, plan, sliced, tables_of
from diagnose.judgement.extension import Chosen, Extension
from diagnose.judgement.network import Layer, Network, products

WIDE_ENOUGH = 1 << 15
"""Cells of the largest table for one cause set from which findings that tell least are left out of a long record."""
AT_ONCE = 1 << 20
"""Cells of the largest table of a batch, so that it stays in the processor's memory."""
LEAST_AT_ONCE = 32
"""Sets of a batch at least, since every step of a sum has its own cost."""
NONE_FURTHER = np.zeros(0, int)
LEADERS, FROM = 10, 1e-4
"""How many sets of one size are extended by a further cause, and from which share of the best."""


@dataclass(frozen=True)
class Evidence:
    """What counts at one position. `states`: finding to present (True) or absent; `off`: mechanisms that cannot be
    there; `allowed`: causes that nothing rules out; `prior` of every cause of the network."""

    states: Mapping[str, bool]
    prior: np.ndarray
    allowed: tuple[int, ...]
    off: frozenset[int] = frozenset()

    @cached_property
    def odds(self) -> np.ndarray:
        """Odds of each cause before anything is seen; 0 where it is ruled out."""
        odds = np.zeros(len(self.prior))
        may = list(self.allowed)
        odds[may] = self.prior[may] / (1 - self.prior[may])
        return odds

    @cached_property
    def all_sets(self) -> float:
        """Weight of every set of causes before anything is seen, that of the empty one taken as 1."""
        return float(np.prod(1 + self.odds))

    def without(self, findings: Iterable[str]) -> Evidence:
        gone = set(findings)
        return replace(self, states={f: s for f, s in self.states.items() if f not in gone})

    def beside(self, states: Mapping[str, bool]) -> Evidence:
        return replace(self, states={**self.states, **states})


def none_odds(net: Network, evidence: Evidence) -> float:
    """Weight of the empty set before anything is seen: 1, or, where the rule base says how often a failure has none of its
    causes, such that the empty set has that chance."""
    rest = evidence.all_sets - 1
    failed = not any(evidence.states.get(f) for f in net.no_failure)
    if net.none_of_these and rest and failed:
        return net.none_of_these / (1 - net.none_of_these) * rest
    return 1.0


def prior_odds(net: Network, evidence: Evidence, members: np.ndarray) -> np.ndarray:
    """Weight of each set before anything is seen: the product of its causes' odds; of the empty set that of none."""
    return np.where(members.any(axis=1), _odds(members, evidence.odds), none_odds(net, evidence))


@dataclass(frozen=True)
class Posterior:
    """What the findings leave of the sets of at most three causes.

    `members` are the sets spelt out, rows of booleans over the causes, the empty one first; `exactly[i]` the probability
    that set i and nothing else is at work; `share` that of each cause; `reckoned` the probability of all sets that are not
    spelt out.
    """

    net: Network
    evidence: Evidence
    members: np.ndarray
    exactly: np.ndarray
    share: np.ndarray
    reckoned: float
    sums: Sums = field(repr=False, compare=False)

    @property
    def none(self) -> float:
        """Probability that none of the causes is at work."""
        return float(self.exactly[0])

    @cached_property
    def before(self) -> np.ndarray:
        """Probability of each set that is spelt out before anything is seen, causes that are ruled out left aside."""
        odds = prior_odds(self.net, self.evidence, self.members)
        return odds / (self.evidence.all_sets - 1 + odds[0])

    def causes_of(self, i: int) -> tuple[str, ...]:
        return tuple(self.net.causes[c] for c in np.flatnonzero(self.members[i]))

    @cached_property
    def alone(self) -> np.ndarray:
        """Odds of each cause by itself against none of the causes, were causes independent; 0 where it is ruled out."""
        none = float(self.exactly[0]) / none_odds(self.net, self.evidence)
        result = np.zeros(len(self.net.causes))
        for i in np.flatnonzero(self.members.sum(axis=1) == 1):
            result[np.flatnonzero(self.members[i])] = self.exactly[i] / none
        return result

    @cached_property
    def leading(self) -> np.ndarray:
        """Places of the sets that hold nearly all of what is spelt out, likeliest first."""
        order = np.argsort(-np.round(self.exactly, 12), kind="stable")
        held = np.cumsum(self.exactly[order])
        return order[: min(int(np.searchsorted(held, held[-1] * 0.995)) + 1, 60)]

    @cached_property
    def by_set(self) -> np.ndarray:
        """P(mechanism | evidence, set), shape (mechanisms, leading sets)."""
        members = self.members[self.leading]
        known = self.sums.mechanisms(members)
        result = self.net.forward(members, known)
        result[sorted(self.evidence.off)] = 0.0
        return result

    @cached_property
    def unseen(self) -> np.ndarray:
        """P(mechanism) before anything is seen, in these circumstances."""
        result = self.net.over_singles(none_odds(self.net, self.evidence), self.evidence.odds)
        result[sorted(self.evidence.off)] = 0.0
        return result

    @cached_property
    def usual(self) -> np.ndarray:
        """P(mechanism) in any failed seal, whatever its circumstances."""
        anyway = replace(self.evidence, prior=self.net.prior)
        return self.net.over_singles(none_odds(self.net, anyway), anyway.odds)

    @cached_property
    def weights(self) -> np.ndarray:
        """Probabilities of the leading sets, made to sum to one."""
        chosen = self.exactly[self.leading]
        return np.asarray(chosen / chosen.sum())

    @cached_property
    def mechanisms(self) -> np.ndarray:
        """P(mechanism | evidence), shape (mechanisms,): over the leading sets; a cause that is likelier than these say joins
        them as if its evidence had nothing to do with theirs, and brings about what it does alone."""
        lacking = np.clip(self.share - self.weights @ self.members[self.leading], 0.0, 1.0)
        led = self.by_set @ self.weights
        result = 1 - (1 - led) * np.prod(1 - lacking * self.net.brought_about, axis=1)
        result[sorted(self.evidence.off)] = 0.0
        return np.asarray(result)

    @cached_property
    def expected(self) -> np.ndarray:
        """P(finding recorded as there | evidence, set), shape (findings, leading sets): what a look would give."""
        members = self.members[self.leading]
        return self.net.read(self.net.expected(self.by_set, members))


class Sums:
    """P(evidence | set) for any sets, by elimination of the mechanisms above the evidence."""

    def __init__(self, net: Network, evidence: Evidence):
        self.net, self.evidence = net, evidence
        asked = {net.question_of[f][0] for f in evidence.states if f in net.question_of}
        self.questions = sorted(asked)
        self.rows = sorted(net.row[f] for f in evidence.states if f not in net.question_of)
        self.present = [evidence.states[net.findings[r]] for r in self.rows]
        marks = sorted({m for r in self.rows for m in net.left_by[r]} - evidence.off)
        reached = net.upstream[marks].any(axis=0) if marks else np.zeros(len(net.mechanisms), bool)
        self.reached = [m for m in np.flatnonzero(reached).tolist() if m not in evidence.off]
        self.at = {m: i for i, m in enumerate(self.reached)}

    @cached_property
    def bears(self) -> np.ndarray:
        """Whether the evidence says anything of each cause."""
        net = self.net
        result = net.to_mechanism.speaks[self.reached].any(axis=0) | net.signs.speaks[self.rows].any(axis=0)
        for question in self.questions:
            result = result | net.says(question)
        return np.asarray(result)

    def likelihood(self, members: np.ndarray) -> np.ndarray:
        """P(evidence | set)^exponent for sets as rows of booleans over the causes, shape (sets,)."""
        return self.extended(members, self.extension(NONE_FURTHER, members))[:, 0]

    def extended(self, members: np.ndarray, extension: Extension) -> np.ndarray:
        """The same for the sets and for each of them with one further cause that it lacks, shape (sets, 1 + further). Where a
        set has the cause already the number says nothing."""
        further = extension.further

        def total(part: np.ndarray) -> np.ndarray:
            sums = sliced(self.stars_of(part, extension.open), extension.layout, lambda e: e.total)
            return np.broadcast_to(sums, (len(part), 1 + len(further)))

        result = self._batches(members, extension, total, 0)
        for question in self.questions:
            result = result * self.answered(question, members, further)
        return np.asarray(np.maximum(result, 1e-300) ** self.net.exponent)

    def mechanisms(self, members: np.ndarray) -> np.ndarray:
        """P(mechanism | evidence, set), shape (mechanisms, sets); NaN for those that stand above no evidence."""
        result = np.full((len(self.net.mechanisms), len(members)), np.nan)

        extension = self.extension(NONE_FURTHER, members)

        def marginals(part: np.ndarray) -> np.ndarray:
            stars = self.stars_of(part, extension.open)
            joint = sliced(stars, extension.layout, lambda e: np.concatenate([e.joint(), e.total.T]), back=True)
            return np.broadcast_to(joint[:-1] / joint[-1], (len(self.reached), len(part)))

        if self.reached and len(members):
            result[self.reached] = self._batches(members, extension, marginals, 1)
        return np.clip(result, 0.0, 1.0)

    def answered(self, question: str, members: np.ndarray, further: np.ndarray) -> np.ndarray:
        """P(what is recorded of a question | set and further cause): the earliest answer found, or none of those found
        absent."""
        net, states = self.net, self.evidence.states
        answers = [f for f in net.answers[question] if f in states]
        found = [f for f in answers if states[f]]
        there = np.zeros((len(members), 1 + len(further)))
        for f in found[:1] or answers:
            there = there + net.answer(question, net.question_of[f][1], members, further)
        row = net.row[(found or answers)[0]]
        read = net.read(np.minimum(there, 1.0), np.array([row]))
        return np.asarray(read if found else 1 - read)

    def _batches(
        self, members: np.ndarray, extension: Extension, work: Callable[[np.ndarray], np.ndarray], axis: int
    ) -> np.ndarray:
        """What `work` gives for some sets at a time, along the axis of the sets."""
        columns = 1 + extension.layout.apart.shape[1]
        widest = extension.layout.widest * min(1.0, WIDEST / self.widest)
        size = max(1, LEAST_AT_ONCE // columns, int(AT_ONCE / widest))
        parts = [work(members[begin : begin + size]) for begin in range(0, len(members), size)]
        return np.concatenate(parts, axis=axis) if parts else np.zeros((0, columns))

    @property
    def widest(self) -> int:
        """Cells of the largest table for one cause set."""
        return self.plan.widest

    @cached_property
    def plan(self) -> Plan:
        shapes = [Shape(i, parents, 2) for i, (parents, _) in enumerate(self._above)]
        shapes += [Shape(-1, parents, len(effects.factor)) for parents, effects in self._left]
        return plan(shapes, len(self.reached))

    @cached_property
    def _above(self) -> list[tuple[tuple[int, ...], Effects]]:
        """For each mechanism above the evidence: those above it, and the factors of its two terms."""
        return [self._star(self.net.between, m, self.net.above[m]) for m in self.reached]

    @cached_property
    def _left(self) -> list[tuple[tuple[int, ...], Effects]]:
        """For each finding recorded: the mechanisms that speak of it, and the factors of its terms."""
        return [self._star(self.net.marks, row, self.net.left_by[row]) for row in self.rows]

    def _star(self, layer: Layer, child: int, parents: tuple[int, ...]) -> tuple[tuple[int, ...], Effects]:
        above = tuple([p for p in parents if p in self.at])
        return tuple([self.at[p] for p in above]), layer.effects(child, above)

    def extension(self, further: np.ndarray, members: np.ndarray) -> Extension:
        """By each of the further causes, of these sets and of any of their causes and the further ones."""
        return Extension(self, further, members)

    @cached_property
    def every(self) -> Chosen:
        """All stars, without further causes."""
        return Chosen(self, np.arange(len(self.reached)), np.arange(len(self.rows)), NONE_FURTHER)

    @cached_property
    def untouched(self) -> list[np.ndarray]:
        """The first tables of the sum where no cause is at work."""
        return tables_of(self.stars_of(np.zeros((1, len(self.net.causes)), bool), self.every))

    def stars_of(self, members: np.ndarray, chosen: Chosen) -> list[Star]:
        """Of the stars chosen those of the mechanisms above the evidence, then the evidence as recorded."""
        by_cause = self.by_cause(members, chosen)
        return [*self.mechanism_stars(by_cause, chosen), *self.evidence_stars(by_cause, self.present, chosen)]

    def by_cause(self, members: np.ndarray, chosen: Chosen) -> list[np.ndarray]:
        """What the causes of each set inhibit of the mechanisms above the evidence, suppress and inhibit of the findings."""
        net, signs, rows = self.net, self.net.signs, chosen.rows
        every = [net.to_mechanism.inhibition[chosen.reached], signs.suppression[rows], signs.inhibition[rows]]
        n = len(chosen.reached)
        return np.split(products(np.concatenate(every), members), [n, n + len(rows)])

    def mechanism_stars(self, by_cause: list[np.ndarray], chosen: Chosen) -> list[Star]:
        columns = chosen.of_mechanisms
        rest = (1 - self.net.leak[chosen.reached])[:, None] * by_cause[0]
        own = rest[columns.child].T * columns.inhibition
        weight = np.zeros((2, 2, *own.shape))
        weight[0, 1], weight[1, 0], weight[1, 1] = 1.0, own, -own
        weights = columns.parted(weight, (rest == rest[:, :1]).all(axis=1))
        above = [self._above[i] for i in chosen.mechanisms]
        return [
            Star(i, parents, effects, weight)
            for i, (parents, effects), weight in zip(chosen.mechanisms, above, weights, strict=True)
        ]

    def evidence_stars(self, by_cause: list[np.ndarray], present: Sequence[bool], chosen: Chosen) -> list[Star]:
        """The findings of the evidence, recorded as said: P(recorded so | mechanisms) = base + slope * (hold - hold * keep),
        by the terms of a star."""
        net, rows, columns = self.net, chosen.rows, chosen.of_findings
        said = np.array(present, bool)[chosen.findings]
        slope = (np.where(said, 1, -1) * (1 - net.missed[rows] - net.mistaken[rows]))[:, None]
        base = np.where(said, net.mistaken[rows], 1 - net.mistaken[rows])[columns.child]
        held = slope * by_cause[1]
        kept = -held * (1 - net.background[rows])[:, None] * by_cause[2]
        h = held[columns.child].T * columns.suppression
        k = kept[columns.child].T * columns.suppression * columns.inhibition
        same = (held == held[:, :1]).all(axis=1) & (kept == kept[:, :1]).all(axis=1)
        two = columns.parted(np.stack([base + h, k])[:, None], same)
        three = columns.parted(np.stack([np.broadcast_to(base, h.shape), h, k])[:, None], same)
        left = [self._left[i] for i in chosen.findings]
        return [Star(-1, parents, effects, (two if len(effects.factor) == 2 else three)[i])
                for i, (parents, effects) in enumerate(left)]  # fmt: skip


def narrowed(net: Network, evidence: Evidence) -> Sums:
    """The sums over the evidence without what tells least, where a record is so long that they would take too wide a table:
    absent findings go before present ones, the lightest for any cause or mechanism first."""
    sums = Sums(net, evidence)
    if sums.widest <= WIDE_ENOUGH:
        return sums
    there, gone = (np.maximum(np.abs(c).max(axis=1, initial=0.0), np.abs(m).max(axis=1, initial=0.0))
                   for c, m in zip(net.cause_weights, net.mechanism_weights, strict=True))  # fmt: skip
    states = evidence.states
    least = sorted(states, key=lambda f: (states[f], round(float((there if states[f] else gone)[net.row[f]]), 9), f))
    while least and sums.widest > WIDE_ENOUGH:
        some = max(1, len(least) // 12)
        evidence, least = evidence.without(least[:some]), least[some:]
        sums = Sums(net, evidence)
    return sums


def posterior(net: Network, evidence: Evidence, every_set: bool = False) -> Posterior:
    """Posterior over the sets of at most three of the allowed causes; `every_set` spells out all of them, else pairs and
    triples are made of causes that the record speaks for, from the likelier sets on."""
    return posterior_of(Sums(net, evidence), every_set)


def posterior_of(sums: Sums, every_set: bool = False) -> Posterior:
    """As `posterior`."""
    evidence, n = sums.evidence, len(sums.net.causes)
    odds = evidence.odds
    bearing = np.flatnonzero((sums.bears | every_set) & (odds > 0))
    none, gain = np.zeros((1, n), bool), np.ones(n)
    alone = sums.extended(none, sums.extension(bearing, none))[0]
    gain[bearing] = alone[1:] / alone[0]
    helping = bearing if every_set else bearing[gain[bearing] > 1.0]
    latest, extension = _sets(n, helping[:, None]), sums.extension(helping, none)
    members, ratio = [none, latest], [np.ones(1), gain[helping]]
    for _ in (2, 3):
        likely = latest if every_set else latest[_best(ratio[-1] * _odds(latest, odds))]
        latest, row, column = _extended(likely, helping)
        members.append(latest)
        ratio.append((sums.extended(likely, extension)[:, 1:] / alone[0])[row, column])
    return _shared(evidence, sums, np.concatenate(members), np.concatenate(ratio), odds, gain)


def _sets(n: int, causes: np.ndarray) -> np.ndarray:
    """Sets of the causes in each row, as rows of booleans."""
    result = np.zeros((len(causes), n), bool)
    np.put_along_axis(result, causes, True, axis=1)
    return result


def _odds(members: np.ndarray, odds: np.ndarray) -> np.ndarray:
    return np.asarray(np.where(members, odds, 1.0).prod(axis=1))


def _best(weight: np.ndarray) -> np.ndarray:
    """The places of the likeliest sets of one size, with all that are as likely as the last of them."""
    # rounded, since the last digits of a sum depend on its order
    part = np.round(weight / weight.max(initial=1e-300), 9)
    least = np.sort(part)[-LEADERS:].min(initial=1.0)
    return np.flatnonzero(part >= max(least, FROM))


def _extended(sets: np.ndarray, causes: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Every set with each of the causes that it lacks, each once, with the places of one set and cause that make it; `sets` are
    all of one size."""
    n = sets.shape[1]
    row, column = np.nonzero(~sets[:, causes])
    held = np.nonzero(sets)[1].reshape(len(sets), int(sets[:1].sum()))
    members = np.sort(np.column_stack([held[row], causes[column]]), axis=1)
    _, once = np.unique(members @ n ** np.arange(members.shape[1])[::-1], return_index=True)
    return _sets(n, members[once]), row[once], column[once]


def _shared(
    evidence: Evidence, sums: Sums, members: np.ndarray, ratio: np.ndarray, odds: np.ndarray, gain: np.ndarray
) -> Posterior:
    """Adds the causes that no set was made of: alone, and beside each set that was, up to three together."""
    weight = ratio * _odds(members, odds)
    size = members.sum(axis=1)
    free = np.where(members.any(axis=0), 0.0, odds * gain)
    one, two, three = _symmetric(free)
    by_size = np.bincount(size, weight, 4)
    further = np.array([1 + one + two + three, 1 + one + two, 1 + one, 1.0])
    none = none_odds(sums.net, evidence)
    total = float(by_size @ further) + none - 1
    share = members.T @ (weight * further[size])
    less_one = one - free
    less_two = two - free * less_one
    share += free * (by_size[2] + by_size[1] * (1 + less_one) + by_size[0] * (1 + less_one + less_two))
    alone = np.flatnonzero(free)
    weight[0] = none
    members = np.concatenate([members, _sets(len(odds), alone[:, None])])
    weight = np.concatenate([weight, free[alone]])
    rest = total - float(weight.sum())
    return Posterior(sums.net, evidence, members, weight / total, share / total, rest / total, sums)


def _symmetric(odds: np.ndarray) -> tuple[float, float, float]:
    """Elementary symmetric polynomials of degree one, two and three (Newton's identities)."""
    p1, p2, p3 = (float(np.sum(odds**k)) for k in (1, 2, 3))
    return p1, (p1 * p1 - p2) / 2, (p1**3 - 3 * p1 * p2 + 2 * p3) / 6
