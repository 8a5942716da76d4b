"""What the ranking rests on and how it may still change: cause sets, their weights, and what each finding would say.

Only the most probable causes take part, with all their sets of at most three; gains are reckoned over the heaviest of
these sets, as many as hold `MASS` of the weight and at most `MOST_SETS`. A finding whose line counts already tells only what it would add to it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from copy import copy
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from diagnose.advice.information import divergence, doubt
from diagnose.judgement.network import Network, over_sets, shown_by_sets, subsets

MOST_CAUSES = 30
MOST_SETS = 500
MASS = 0.998
LEAST_BITS = 1e-3


class Belief:
    """Cause sets of some causes of a network and their weights, given the findings that count so far.

    `sets` are rows of indices into `causes`, all sets of at most three; `weight` their probabilities, heaviest first.
    """

    def __init__(
        self, net: Network, causes: Sequence[int], prior: np.ndarray, counted: Mapping[str, bool],
        lines: Mapping[str, str],
    ):  # fmt: skip
        self.net, self.lines = net, lines
        self.causes = np.array(sorted(causes), dtype=int)
        self.counted = {lines[f]: (f, counted[f]) for f in sorted(counted)}
        names = sorted(counted)
        self.sets = subsets(len(self.causes))
        weight = over_sets((prior / (1 - prior))[None, self.causes], self.sets)[0]
        shown = self._shown(names)
        for finding, row in zip(names, shown, strict=True):
            weight = weight * (row if counted[finding] else 1 - row)
        weight = weight / weight.sum()
        heaviest = np.argsort(-np.round(weight, 12), kind="stable")
        self.sets, self.weight = self.sets[heaviest], weight[heaviest]
        self.rows: dict[str, np.ndarray] = {}

    def heaviest(self, mass: float = MASS, most: int = MOST_SETS) -> Belief:
        """The same over the heaviest sets only, as many as hold so much of the weight and at most so many."""
        few = copy(self)
        count = min(most, int(np.searchsorted(np.cumsum(self.weight), mass)) + 1)
        few.sets, few.weight, few.rows = self.sets[:count], self.weight[:count] / self.weight[:count].sum(), {}
        return few

    def shown(self, findings: Sequence[str]) -> np.ndarray:
        """P(finding | set), shape (findings, sets); reckoned once a finding."""
        new = [f for f in findings if f not in self.rows]
        if new:
            self.rows.update(zip(new, self._shown(new), strict=True))
        return np.stack([self.rows[f] for f in findings]) if findings else np.zeros((0, len(self.sets)))

    def _shown(self, findings: Sequence[str]) -> np.ndarray:
        rows = np.array([self.net.row[f] for f in findings], dtype=int)
        grid = np.ix_(rows, self.causes)
        return shown_by_sets(self.net.background[rows], self.net.keep[grid], self.net.hold[grid], self.sets)

    def speaks_of(self, finding: str) -> bool:
        """Whether the finding makes any difference among the causes."""
        return bool(self._spoken[self.net.row[finding]])

    @cached_property
    def _spoken(self) -> np.ndarray:
        return np.asarray((self.net.shown[:, self.causes] != self.net.background[:, None]).any(axis=1))

    def counts(self, finding: str, present: bool) -> bool:
        """Whether the outcome would count: its line is free, or it goes before what counts there now."""
        return self._outranks((finding, present), self.counted.get(self.lines[finding]))

    def _outranks(self, new: tuple[str, bool], now: tuple[str, bool] | None) -> bool:
        return now is None or self._rank(*new) > self._rank(*now)

    def _rank(self, finding: str, present: bool) -> tuple[bool, float]:
        row = self.net.row[finding]
        speaks = self.net.if_present[row] if present else -self.net.if_absent[row]
        return present, round(float(speaks[self.causes].max(initial=0.0)), 9)

    def after(self, finding: str, present: bool) -> np.ndarray:
        """The weights when the finding turns out so."""
        return self.told({finding: present})

    def told(self, outcomes: Mapping[str, bool]) -> np.ndarray:
        """The weights when findings turn out so; of each line what ranks highest counts."""
        counted = dict(self.counted)
        for finding in sorted(outcomes):
            line, new = self.lines[finding], (finding, outcomes[finding])
            if self._outranks(new, counted.get(line)):
                counted[line] = new
        weight = self.weight
        for line, new in counted.items():
            old = self.counted.get(line)
            if new != old:
                weight = weight * self._said(*new)
                if old:
                    weight = weight / self._said(*old)
        return weight if weight is self.weight else np.asarray(weight / weight.sum())

    def _said(self, finding: str, present: bool) -> np.ndarray:
        if finding not in self.rows:
            self.shown([finding])
        return self.rows[finding] if present else 1 - self.rows[finding]

    def share(self, weight: np.ndarray) -> np.ndarray:
        """Probability of each of the causes under the weights."""
        n = len(self.causes)
        return np.asarray(sum(np.bincount(self.sets[:, k], weight, n + 1) for k in range(3)))[:n]

    def leader(self, weight: np.ndarray) -> tuple[str, ...]:
        """The causes of the heaviest set, by name."""
        members = self.sets[int(np.argmax(np.round(weight, 12)))]
        return tuple(self.net.causes[self.causes[k]] for k in members if k < len(self.causes))


@dataclass(frozen=True)
class Outlook:
    """The open findings over a belief. `shown[f, s]` is P(finding | set) and `doubt[f, s]` its entropy, `silent[f]` the
    chance that looking for it says nothing (it cannot be told, or its line counts already), `bits[f]` what it tells."""

    belief: Belief
    findings: tuple[str, ...]
    shown: np.ndarray
    doubt: np.ndarray
    silent: np.ndarray
    bits: np.ndarray

    @cached_property
    def row(self) -> dict[str, int]:
        return {f: i for i, f in enumerate(self.findings)}


def outlook(belief: Belief, findings: Sequence[str], silent: Callable[[str], float | None]) -> Outlook:
    """What each of the findings would tell; those that would tell nothing are left out.

    `silent` gives the chance that looking for a finding leaves it open, None where it cannot be looked for. Where the
    line of a finding counts already, its gain is the mean divergence of the ranking before and after, and it is taken
    as silent for the rest.
    """
    named = sorted(f for f in findings if belief.speaks_of(f))
    shown = belief.shown(named)
    each = doubt(shown)
    chance = shown @ belief.weight
    whole = doubt(chance) - each @ belief.weight
    kept, silence = [], []
    for i, finding in enumerate(named):
        if whole[i] < LEAST_BITS:
            continue
        told = _told(belief, finding, float(chance[i]), float(whole[i]))
        open_chance = silent(finding) if told > 0 else None
        if open_chance is not None:
            kept.append(i)
            silence.append(1 - (1 - open_chance) * told)
    silences = np.array(silence)
    bits = whole[kept] * (1 - silences)
    return Outlook(belief, tuple(named[i] for i in kept), shown[kept], each[kept], silences, bits)


def _told(belief: Belief, finding: str, chance: float, whole: float) -> float:
    """The share of a finding's information that its line still lets count."""
    if belief.lines[finding] not in belief.counted:
        return 1.0
    told = sum(p * float(divergence(belief.after(finding, there), belief.weight))
               for there, p in ((True, chance), (False, 1 - chance)) if belief.counts(finding, there))  # fmt: skip
    return min(1.0, told / whole)
