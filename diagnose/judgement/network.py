"""Root causes, mechanisms and findings as a layered noisy-OR network with leaks.

P(mechanism | causes S, mechanisms above) = 1 - (1 - leak) * prod(1 - q). A finding likewise over the mechanisms that leave
it and the causes of which it is a direct sign: P = [1 - (1 - background) * prod(1 - q)] * prod(r). A word says P(child |
this parent alone) = p; where p is at least what is seen otherwise (b), the row produces with q = 1 - (1 - p)/(1 - b), else
it suppresses with r = p/b. Noisy-OR with a leak: M. Henrion, Practical issues in constructing a Bayes belief network, 1987
(from memory); a cause "alone" as F. J. Diez means it, 1993 (from memory).

What is recorded is not what is there: P(recorded as there) = (1 - missed) * P + mistaken * (1 - P), by how a finding is
known; `mistaken` falls with how rare the finding is. A question has several answers that exclude each other, in the order
in which they strike: of several causes at work the earliest answer is the one that is found, so P(answer k or later | S) is
the product over S.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TypeVar

import numpy as np

from diagnose.judgement.elimination import Effects
from diagnose.knowledge.model import Knowledge, RareMarks

Chance = TypeVar("Chance", float, np.ndarray)


@dataclass(frozen=True)
class Layer:
    """What parents do to children of one layer: `inhibition[child, parent]` = 1 - q of a producing link,
    `suppression` = r of a suppressing one; 1 where there is none."""

    inhibition: np.ndarray
    suppression: np.ndarray

    @cached_property
    def speaks(self) -> np.ndarray:
        """Whether a parent says anything of a child, shape (children, parents)."""
        return np.asarray((self.inhibition != 1) | (self.suppression != 1))

    @cached_property
    def _effects(self) -> dict[tuple[int, tuple[int, ...]], Effects]:
        return {}

    def effects(self, child: int, parents: tuple[int, ...]) -> Effects:
        """What some parents do to the terms of a child: of 1 and `keep`, or of 1, `hold` and `hold * keep`."""
        if (child, parents) not in self._effects:
            keep, hold = self.inhibition[child, parents], self.suppression[child, parents]
            one = np.ones(len(parents))
            factor = np.stack([one, keep] if (hold == 1).all() else [one, hold, hold * keep])
            self._effects[child, parents] = Effects(factor)
        return self._effects[child, parents]


@dataclass(frozen=True)
class Network:
    """Names in order, chances as arrays. Mechanisms stand in an order in which those that bring others about come first.

    `leak`: chance of each mechanism by itself; `background`: of each finding; `missed` and `mistaken`: reading errors of
    each finding. `to_mechanism` and `between`: causes and mechanisms to mechanisms; `signs` and `marks`: causes and
    mechanisms to findings. `later[q][k, c]`: P(answer k or later | cause c) of a question; the last column is that of a
    seal with none of the causes.
    `none_of_these`: chance that a failure has none of the causes (0: that of independent causes), where no finding of
    `no_failure` says that nothing failed. `wrong_record`: chance that the record is of another seal.
    """

    causes: tuple[str, ...]
    mechanisms: tuple[str, ...]
    findings: tuple[str, ...]
    prior: np.ndarray
    leak: np.ndarray
    background: np.ndarray
    missed: np.ndarray
    mistaken: np.ndarray
    to_mechanism: Layer
    between: Layer
    signs: Layer
    marks: Layer
    answers: Mapping[str, tuple[str, ...]]
    later: Mapping[str, np.ndarray]
    exponent: float = 1.0
    wrong_record: float = 0.0
    none_of_these: float = 0.0
    no_failure: tuple[str, ...] = ()

    @cached_property
    def column(self) -> dict[str, int]:
        return {c: i for i, c in enumerate(self.causes)}

    @cached_property
    def mechanism(self) -> dict[str, int]:
        return {m: i for i, m in enumerate(self.mechanisms)}

    @cached_property
    def row(self) -> dict[str, int]:
        return {f: i for i, f in enumerate(self.findings)}

    @cached_property
    def question_of(self) -> dict[str, tuple[str, int]]:
        """For each finding that is an answer: its question and place among the answers."""
        return {f: (q, k) for q, findings in self.answers.items() for k, f in enumerate(findings)}

    @cached_property
    def above(self) -> list[tuple[int, ...]]:
        """The mechanisms that bring each mechanism about."""
        return [tuple(np.flatnonzero(row).tolist()) for row in self.between.speaks]

    @cached_property
    def left_by(self) -> list[tuple[int, ...]]:
        """The mechanisms that speak of each finding."""
        return [tuple(np.flatnonzero(row).tolist()) for row in self.marks.speaks]

    @cached_property
    def speakers(self) -> np.ndarray:
        """Whether each mechanism, then each cause, speaks of a finding; shape (findings, mechanisms + causes)."""
        return np.concatenate([self.marks.speaks, self.signs.speaks], axis=1)

    @cached_property
    def spoken_of(self) -> frozenset[str]:
        """The findings of which some card speaks."""
        return frozenset(f for f, row in self.row.items() if self.speakers[row].any()) | self.question_of.keys()

    @cached_property
    def _beside(self) -> dict[str, frozenset[str]]:
        return {}

    def beside(self, finding: str) -> frozenset[str]:
        """The findings of which some mechanism or cause speaks that speaks of this one too."""
        if finding not in self._beside:
            shared = (self.speakers & self.speakers[self.row[finding]]).any(axis=1)
            self._beside[finding] = frozenset(self.findings[k] for k in np.flatnonzero(shared).tolist())
        return self._beside[finding]

    @cached_property
    def upstream(self) -> np.ndarray:
        """Whether one mechanism stands above another, itself included; shape (mechanism, mechanism above)."""
        reach = np.eye(len(self.mechanisms), dtype=bool)
        for i, parents in enumerate(self.above):
            for p in parents:
                reach[i] |= reach[p]
        return reach

    @cached_property
    def speaking(self) -> np.ndarray:
        """Whether a cause bears on a finding at all, through whatever mechanisms; shape (findings, causes)."""
        through = self.upstream @ self.to_mechanism.speaks
        direct = self.signs.speaks | (self.marks.speaks @ through)
        for finding, (question, _) in self.question_of.items():
            if finding in self.row:
                direct[self.row[finding]] |= self.says(question)
        return np.asarray(direct)

    @cached_property
    def alone(self) -> np.ndarray:
        """P(finding | this cause and no other), shape (findings, causes + 1); the last column is that of none.

        Mechanisms are taken as independent given the cause, which is exact where each finding has one of them above it.
        """
        members = np.concatenate([np.eye(len(self.causes), dtype=bool), np.zeros((1, len(self.causes)), bool)])
        return self.expected(self.forward(members), members)

    @cached_property
    def by_mechanism(self) -> tuple[np.ndarray, np.ndarray]:
        """P(finding recorded | this mechanism there) and (| not there), with no cause at work, (findings, mechanisms)."""
        n = len(self.mechanisms)
        none = np.zeros((n, len(self.causes)), bool)
        there, gone = np.full((n, n), np.nan), np.full((n, n), np.nan)
        np.fill_diagonal(there, 1.0)
        np.fill_diagonal(gone, 0.0)
        return tuple(self.read(self.expected(self.forward(none, known), none)) for known in (there, gone))  # type: ignore

    @cached_property
    def cause_weights(self) -> tuple[np.ndarray, np.ndarray]:
        """Weight of each finding for each cause alone against none, in dB: where recorded as there, as not there."""
        read = self.read(self.alone)
        return _weights(read[:, :-1], read[:, -1:])

    @cached_property
    def mechanism_weights(self) -> tuple[np.ndarray, np.ndarray]:
        """Weight of each finding for each mechanism there against not there, in dB: recorded as there, as not there."""
        return _weights(*self.by_mechanism)

    @cached_property
    def by_single(self) -> np.ndarray:
        """P(mechanism) with none of the causes, then with each alone, shape (mechanisms, 1 + causes)."""
        return self.forward(self.singles)

    @cached_property
    def brought_about(self) -> np.ndarray:
        """How often each cause brings each mechanism about, through whatever others, where nothing else does; shape
        (mechanisms, causes)."""
        none = self.by_single[:, :1]
        return np.clip((self.by_single[:, 1:] - none) / (1 - none), 0.0, 1.0)

    def over_singles(self, none: float, alone: np.ndarray) -> np.ndarray:
        """P(mechanism) over those sets, each with a weight."""
        weight = np.append(none, alone)
        return np.asarray(self.by_single @ (weight / weight.sum()))

    @cached_property
    def singles(self) -> np.ndarray:
        """The set of no cause, then those of each alone."""
        n = len(self.causes)
        return np.concatenate([np.zeros((1, n), bool), np.eye(n, dtype=bool)])

    def forward(self, members: np.ndarray, known: np.ndarray | None = None) -> np.ndarray:
        """P(mechanism | set), shape (mechanisms, sets), for sets as rows of booleans; where `known` (same shape) is a
        number it stands instead. Parents are taken as independent of each other."""
        rest = (1 - self.leak)[:, None] * products(self.to_mechanism.inhibition, members)
        # behind all mechanisms one that is never there, for those with fewer parents than others
        result = np.zeros((len(self.mechanisms) + 1, len(members)))
        for children, above, lack in self._levels:
            factors = 1 - result[above.T] * lack.T[:, :, None]
            value = 1 - np.multiply.reduce([rest[children], *factors], axis=0)
            result[children] = value if known is None else np.where(np.isnan(known[children]), value, known[children])
        return result[:-1]

    @cached_property
    def _levels(self) -> list[tuple[np.ndarray, np.ndarray, np.ndarray]]:
        """Mechanisms as far below others, with their parents and 1 - inhibition by each, shape (mechanisms, most parents)."""
        depth: list[int] = []
        for parents in self.above:
            depth.append(1 + max((depth[p] for p in parents), default=-1))
        result = []
        for level in range(max(depth, default=-1) + 1):
            children = [m for m, d in enumerate(depth) if d == level]
            most = max(len(self.above[m]) for m in children)
            above = np.array([[*self.above[m], *[len(depth)] * (most - len(self.above[m]))] for m in children], int)
            lack = np.pad(1 - self.between.inhibition, ((0, 0), (0, 1)))[np.array(children)[:, None], above]
            result.append((np.array(children), above.reshape(len(children), most), lack.reshape(len(children), most)))
        return result

    def expected(self, mechanisms: np.ndarray, members: np.ndarray) -> np.ndarray:
        """P(finding there | chances of the mechanisms, set), shape (findings, sets). A finding that answers a question
        has the chance of that answer."""
        hold, both = self.held_and_kept(mechanisms, members)
        result = hold - both
        for finding, (question, k) in self.question_of.items():
            if finding in self.row:
                result[self.row[finding]] = self.answer(question, k, members)[:, 0]
        return np.clip(result, 1e-12, 1 - 1e-12)

    def held_and_kept(self, mechanisms: np.ndarray, members: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """The two products whose difference is P(finding there): of what suppresses, and of that with what does not produce;
        each of shape (findings, sets)."""
        keep = (1 - self.background)[:, None] * products(self.signs.inhibition, members)
        hold = products(self.signs.suppression, members)
        both = hold * keep
        for findings, parents, without, less in self._by_parent:
            there = mechanisms[parents]
            hold[findings] *= 1 - there * without
            both[findings] *= 1 - there * less
        return hold, both

    @cached_property
    def _by_parent(self) -> list[tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]]:
        """First, second and further mechanisms that speak of the findings that have so many: the findings, the mechanisms, and
        what each takes from the two products where it is there."""
        result = []
        for n in range(max(map(len, self.left_by), default=0)):
            f = np.array([f for f, parents in enumerate(self.left_by) if len(parents) > n])
            p = np.array([parents[n] for parents in self.left_by if len(parents) > n])
            hold = self.marks.suppression[f, p]
            result.append((f, p, (1 - hold)[:, None], (1 - hold * self.marks.inhibition[f, p])[:, None]))
        return result

    def says(self, question: str) -> np.ndarray:
        """Whether the card of each cause answers a question, shape (causes,)."""
        return self._told[question][0]

    @cached_property
    def _told(self) -> dict[str, tuple[np.ndarray, np.ndarray, np.ndarray]]:
        """For each question: whether each cause answers it; P(answer k or later | cause), 1 for those that do not, shape
        (answers + 1, causes); and the same of a seal with none of the causes, shape (answers + 1,)."""
        result = {}
        for question, later in self.later.items():
            padded = np.concatenate([later, np.zeros((1, later.shape[1]))])
            says = (later[:, :-1] != later[:, -1:]).any(axis=0)
            result[question] = says, np.where(says, padded[:, :-1], 1.0), padded[:, -1]
        return result

    def answer(self, question: str, k: int, members: np.ndarray, further: np.ndarray | None = None) -> np.ndarray:
        """P(answer k | set), shape (sets, 1 + further): the earliest of what the causes of the set bring, and those with
        each further cause."""
        more = np.zeros(0, int) if further is None else further
        # a cause of which the card says nothing leaves the question to the others, and a seal of such causes alone
        # answers it as any failed seal does
        says, told, otherwise = self._told[question]
        both, beside = told[[k, k + 1]], np.ones((2, 1, 1 + len(more)))
        beside[:, 0, 1:] = both[:, more]
        chances = products(both, members)[:, :, None] * beside
        silent = ~(members & says).any(axis=1)[:, None] & ~np.concatenate([[False], says[more]])
        return np.asarray(np.where(silent, otherwise[k] - otherwise[k + 1], chances[0] - chances[1]))

    def believed(self, chance: Chance, before: Chance) -> Chance:
        """What to believe of chances that the sum gives, where the record may be of another seal, which leaves what was
        believed before: (1 - e)·chance + e·before, a contaminated model (P. J. Huber, Ann. Math. Statist. 35, 1964, from
        memory)."""
        return (1 - self.wrong_record) * chance + self.wrong_record * before

    def read(self, there: np.ndarray, rows: np.ndarray | slice = slice(None)) -> np.ndarray:
        """P(recorded as there) of findings by their chance to be there, shape (findings, sets)."""
        missed, mistaken = self.missed[rows, None], self.mistaken[rows, None]
        return np.asarray(mistaken + (1 - missed - mistaken) * there)


def _weights(p: np.ndarray, q: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    return 10 * np.log10(p / q), 10 * np.log10((1 - p) / (1 - q))


def products(per_cause: np.ndarray, members: np.ndarray) -> np.ndarray:
    """Products of `per_cause` (rows, causes) over the members of each set (sets, causes); shape (rows, sets)."""
    result = np.ones((len(per_cause), len(members)))
    size = members.sum(axis=1)
    _, cause = np.nonzero(members)
    begin = np.cumsum(size) - size
    for k in range(int(size.max(initial=0))):
        sets = np.flatnonzero(size > k) if size.min() <= k else slice(None)
        result[:, sets] *= per_cause[:, cause[begin[sets] + k]]
    return result


def build(knowledge: Knowledge) -> Network:
    """The network of a rule base. Trial rows count for part of their weight."""
    words = knowledge.words
    causes, findings = tuple(sorted(knowledge.causes)), tuple(sorted(knowledge.findings))
    mechanisms = _in_order(knowledge)
    at_cause = {c: i for i, c in enumerate(causes)}
    at_mechanism = {m: i for i, m in enumerate(mechanisms)}
    at_finding = {f: i for i, f in enumerate(findings)}
    leak = np.array([words.seen[knowledge.mechanisms[m].otherwise] for m in mechanisms])
    background = np.array([words.seen[knowledge.findings[f].otherwise] for f in findings])
    to_mechanism, between = _ones(leak, causes), _ones(leak, mechanisms)
    signs, marks = _ones(background, causes), _ones(background, mechanisms)
    for cards, at, up, down in (
        (knowledge.causes, at_cause, to_mechanism, signs), (knowledge.mechanisms, at_mechanism, between, marks),
    ):  # fmt: skip
        for name, card in cards.items():
            for link in card.brings_about:
                _set(up, leak, at_mechanism[link.mechanism], at[name], words.seen[link.seen])
            for r in card.leaves:
                f = at_finding[r.finding]
                trial = "trial" in (card.status, knowledge.findings[r.finding].status)
                _set(down, background, f, at[name], words.seen[r.seen], words.trial_weight if trial else 1.0)
    errors = [words.reading[knowledge.findings[f].known_by] for f in findings]
    net = Network(
        causes, mechanisms, findings, np.array([words.common[knowledge.causes[c].common] for c in causes]), leak,
        background, np.array([e.missed for e in errors]), np.array([e.mistaken for e in errors]), to_mechanism, between,
        signs, marks, {q: tuple(card.answers) for q, card in knowledge.questions.items()},
        {q: _later(knowledge, q, causes) for q in knowledge.questions}, words.exponent, words.wrong_record,
        words.none_of_these, tuple(f for f in findings if knowledge.findings[f].no_failure),
    )  # fmt: skip
    if not words.rare_marks:
        return net
    alone = net.alone
    net = replace(net, mistaken=net.mistaken * _as_common(net, words.rare_marks))
    vars(net)["alone"] = alone  # what is there does not hang on what is mistaken for it
    return net


def _as_common(net: Network, rare: RareMarks) -> np.ndarray:
    """The share of `mistaken` that holds for each finding, by how common it is among failed seals of one cause or none."""
    weight = np.append(net.prior, max(1 - net.prior.sum(), 0.0))
    return np.clip(net.alone @ weight / weight.sum() / rare.common, rare.least, 1.0)


def _ones(children: np.ndarray, parents: tuple[str, ...]) -> Layer:
    return Layer(np.ones((len(children), len(parents))), np.ones((len(children), len(parents))))


def _set(layer: Layer, otherwise: np.ndarray, child: int, parent: int, p: float, share: float = 1.0) -> None:
    b = float(otherwise[child])
    p = b * (p / b) ** share
    if p >= b:
        layer.inhibition[child, parent] = (1 - p) / (1 - b)
    else:
        layer.suppression[child, parent] = p / b


def _in_order(knowledge: Knowledge) -> tuple[str, ...]:
    """Mechanisms, each behind those that bring it about; else by name. The reader has refused circles."""
    cards = knowledge.mechanisms
    above: dict[str, set[str]] = {name: set() for name in cards}
    for name, card in cards.items():
        for link in card.brings_about:
            above[link.mechanism].add(name)
    order: list[str] = []
    while above:
        ready = sorted(name for name, parents in above.items() if not parents)
        if not ready:
            raise ValueError(f"mechanisms bring each other about in a circle: {', '.join(sorted(above))}")
        order += ready
        for name in ready:
            del above[name]
        for parents in above.values():
            parents.difference_update(ready)
    return tuple(order)


def _later(knowledge: Knowledge, question: str, causes: tuple[str, ...]) -> np.ndarray:
    """P(answer k or later | cause), shape (answers, causes + 1)."""
    card = knowledge.questions[question]
    told = [knowledge.causes[c].answers.get(question) or card.otherwise for c in causes]
    chances = np.array([[knowledge.words.seen[row[a]] if a in row else 0.0 for a in card.answers]
                        for row in (*told, card.otherwise)]).T  # fmt: skip
    chances = np.maximum(chances, 1e-4)
    chances = chances / chances.sum(axis=0)
    return np.asarray(chances[::-1].cumsum(axis=0)[::-1])
