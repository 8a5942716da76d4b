"""The chain from a root cause (or a mechanism) down through what it brought about, as far as the record carries it.

Every mechanism of a chain is there with a chance of at least a half, the start being at work, and is owed to the start or
to a mechanism of the chain rather than to anything else. A chain is told as one main path and its side branches; each link
with the marks on record that show it, those that were expected and are not there, and those still open.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from diagnose.judgement.judge import STANDINGS, Judged, Judgement
from diagnose.knowledge.model import Explained

AT_LEAST = 0.5
"""Chance from which a mechanism belongs to a chain, and share from which why it is there is open."""
SURE_ENOUGH = STANDINGS[: STANDINGS.index("probable") + 1]
NAMED = STANDINGS[: STANDINGS.index("possible") + 1]
EXPECTED = 0.5
"""How often a mark must be left for its absence to be remarked on."""


def leaders(x: Judgement) -> list[Judged]:
    """The causes of the likeliest explanation that are possible or better, most probable first."""
    return [j for j in x.causes if j.name in x.explanation.causes and j.standing in NAMED]


@dataclass(frozen=True)
class Mark:
    """A finding that a mechanism or cause leaves, with the card's word for how often. `weight`: what it moves that one by
    alone, in dB: as found, or of an open finding if it were there."""

    finding: str
    seen: str
    weight: float


@dataclass(frozen=True)
class Link:
    """A cause or mechanism of a chain. `parent` most likely brought it about ("" at the start), as often as the word
    `seen` says. `chance`: that it is there, the start being at work. `shown`: marks on record that it leaves, `missing`:
    those expected and found absent, `open`: those not looked for, most telling first."""

    judged: Judged
    parent: str
    seen: str
    chance: float
    shown: tuple[Mark, ...]
    missing: tuple[Mark, ...]
    open: tuple[Mark, ...]

    @property
    def name(self) -> str:
        return self.judged.name


@dataclass(frozen=True)
class Chain:
    """`links` with those that bring others about first. `main` is the path from the start that is longest and surest;
    each of `branches` begins with the mechanism it branches off from."""

    at: Judgement = field(repr=False, compare=False)
    links: tuple[Link, ...]
    main: tuple[str, ...]
    branches: tuple[tuple[str, ...], ...]

    @property
    def start(self) -> Judged:
        return self.links[0].judged

    @cached_property
    def by_name(self) -> dict[str, Link]:
        return {link.name: link for link in self.links}


def chain(at: Judgement, name: str) -> Chain:
    """The chain below a cause or mechanism. Raises StopIteration where there is none of this name."""
    return _Builder(at, at.of(name)).build()


def chains(at: Judgement) -> tuple[Chain, ...]:
    """What the answer at a position is made of: the chains of the causes of the leading explanation, likeliest first, then
    those of mechanisms probable or better that no such chain holds, each from its uppermost on."""
    result = [chain(at, j.name) for j in at.causes if j.name in at.explanation.causes and j.standing in NAMED]
    held = {link.name for c in result for link in c.links}
    for m in at.net.mechanisms:
        if m not in held and at.of(m).standing in SURE_ENOUGH:
            result.append(chain(at, m))
            held |= set(result[-1].by_name)
    return tuple(result)


def unexplained(at: Judgement, mechanism: str) -> float:
    """P(none of the causes that could bring a mechanism about is at work | it is there, evidence)."""
    net, m = at.net, at.net.mechanism[mechanism]
    above = net.to_mechanism.speaks[net.upstream[m]].any(axis=0)
    joint = at.found.by_set[m] * at.found.weights
    alone = ~(at.found.members[at.found.leading] & above).any(axis=1)
    return float(joint[alone].sum() / joint.sum()) if joint.sum() > 0 else 1.0


class _Builder:
    def __init__(self, at: Judgement, start: Judged):
        self.at, self.net, self.start = at, at.net, start
        self.chance, self.beside = self.given()
        self.owed: dict[str, str] = {start.name: ""}

    def given(self) -> tuple[np.ndarray, np.ndarray]:
        """P(mechanism | evidence, the start at work), and P(cause | the same)."""
        net, found = self.net, self.at.found
        sets, weight = found.members[found.leading], found.weights
        chances = found.by_set
        if self.start.kind == "cause":
            weight = weight * sets[:, net.column[self.start.name]]
        else:
            weight = weight * chances[net.mechanism[self.start.name]]
        if weight.sum() <= 0:
            sets, weight = np.zeros((1, len(net.causes)), bool), np.ones(1)
            if self.start.kind == "cause":
                sets[0, net.column[self.start.name]] = True
            chances = net.forward(sets, found.sums.mechanisms(sets))
            chances[sorted(found.evidence.off)] = 0.0
        weight = weight / weight.sum()
        chance = chances @ weight
        if self.start.kind == "mechanism":
            chance[net.mechanism[self.start.name]] = 1.0
        return chance, sets.T @ weight

    def build(self) -> Chain:
        for m, name in enumerate(self.net.mechanisms):
            if name not in self.owed and self.chance[m] >= AT_LEAST:
                parent = self.parent(m)
                if parent:
                    self.owed[name] = parent
        links = tuple(self.link(name) for name in self.owed)
        main, branches = self.paths()
        return Chain(self.at, links, main, branches)

    def parent(self, m: int) -> str:
        """What most likely brought a mechanism about, of the chain; "" where it is something else."""
        net = self.net
        by = {c: self.beside[i] * (1 - net.to_mechanism.inhibition[m, i]) for c, i in net.column.items()}
        by |= {net.mechanisms[p]: self.chance[p] * (1 - net.between.inhibition[m, p]) for p in net.above[m]}
        best = max(by, key=lambda name: (round(float(by[name]), 9), name))
        return best if best in self.owed and by[best] > net.leak[m] else ""

    def link(self, name: str) -> Link:
        judged, parent = self.at.of(name), self.owed[name]
        chance = float(self.chance[self.net.mechanism[name]]) if judged.kind == "mechanism" else 1.0
        seen = _seen(self.at.of(parent).card, name) if parent else ""
        return Link(judged, parent, seen, chance, *self.marks(judged))

    def marks(self, judged: Judged) -> tuple[tuple[Mark, ...], tuple[Mark, ...], tuple[Mark, ...]]:
        at, net = self.at, self.net
        if_present, if_absent = at.weights.alone(judged.name)
        shown, missing, open_ = [], [], []
        for finding, word in _left(judged.card):
            there, gone = float(if_present[net.row[finding]]), float(if_absent[net.row[finding]])
            state = at.states.get(finding)
            if there <= 0:
                continue
            if state is None:
                open_.append(Mark(finding, word, there))
            elif state:
                shown.append(Mark(finding, word, there))
            elif at.knowledge.words.seen[word] >= EXPECTED:
                missing.append(Mark(finding, word, gone))
        telling = at.knowledge.words.seen
        return (
            _heaviest(shown), _heaviest(missing),
            tuple(sorted(open_, key=lambda e: (-round(e.weight * telling[e.seen], 9), e.finding))),
        )  # fmt: skip

    def paths(self) -> tuple[tuple[str, ...], tuple[tuple[str, ...], ...]]:
        """The tree of what is owed to what, cut into its longest and surest path and what branches off."""
        below: dict[str, list[str]] = {name: [] for name in self.owed}
        best: dict[str, float] = {}
        for name in reversed(self.owed):
            best[name] = max((best[b] for b in below[name]), default=0.0) + self.surely(name)
            if self.owed[name]:
                below[self.owed[name]].append(name)
        for children in below.values():
            children.sort(key=lambda name: (-round(best[name], 9), name))
        branches: list[tuple[str, str]] = []

        def path(name: str) -> tuple[str, ...]:
            here, rest = [name], below[name]
            while rest:
                branches.extend((here[-1], other) for other in rest[1:])
                here.append(rest[0])
                rest = below[here[-1]]
            return tuple(here)

        main = path(self.start.name)
        done = []
        while branches:
            off, first = branches.pop(0)
            done.append((off, *path(first)))
        return main, tuple(done)

    def surely(self, name: str) -> float:
        return float(self.chance[self.net.mechanism[name]]) if name in self.net.mechanism else 1.0


def _left(card: Explained) -> Sequence[tuple[str, str]]:
    """The findings that a card leaves, its answers to questions among them, with their words."""
    answers = getattr(card, "answers", {})
    return [(r.finding, r.seen) for r in card.leaves] + [x for told in answers.values() for x in told.items()]


def _seen(card: Explained, mechanism: str) -> str:
    return next(link.seen for link in card.brings_about if link.mechanism == mechanism)


def _heaviest(marks: list[Mark]) -> tuple[Mark, ...]:
    return tuple(sorted(marks, key=lambda e: (-round(abs(e.weight), 9), e.finding)))
