"""How far findings move belief, in decibans: each alone, and in groups of one mechanism.

Weights of marks that one mechanism leaves do not add up: the second says little that the first has not said. So a ledger
shows what a whole group is worth (the record with it and without it), and beneath it each mark as if it stood alone.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from diagnose.judgement.altered import altered, chance_of, likelihoods
from diagnose.judgement.network import Chance, Network
from diagnose.judgement.posterior import Evidence, Posterior, Sums

LIGHT = 0.5
"""dB; of lighter groups it is not asked how their findings share what they are worth."""
MOST_SETS = 24
"""Sets of causes over which the groups of a mechanism are weighed."""


def decibans(ratio: float) -> float:
    """Weight of evidence, 10 log10 of a likelihood ratio (I. J. Good, Probability and the Weighing of Evidence, 1950)."""
    return 10 * math.log10(ratio)


def log_odds(probability: Chance) -> Chance:
    """In dB, of what is never quite sure."""
    p = np.clip(probability, 1e-9, 1 - 1e-9)
    return 10 * np.log10(p / (1 - p))


@dataclass(frozen=True)
class Group:
    """The findings that one mechanism answers for ("" for direct signs and what nothing on record explains). `weight`:
    what they are worth together for a cause or mechanism, in dB; `alone` what each would be worth by itself; `last` what
    goes with each when it is left out and the others stay."""

    mechanism: str
    findings: tuple[str, ...]
    weight: float
    alone: dict[str, float]
    last: dict[str, float]

    @property
    def any_suffices(self) -> bool:
        """Whether any one of the findings could be left out at little loss."""
        return len(self.findings) > 1 and self.weight >= LIGHT and max(self.last.values()) < 0.2 * self.weight

    @property
    def only_together(self) -> bool:
        """Whether nearly all goes with any one of the findings."""
        return len(self.findings) > 1 and self.weight >= LIGHT and min(self.last.values()) > 0.8 * self.weight


def alone(net: Network, name: str) -> tuple[np.ndarray, np.ndarray]:
    """Weight of each finding for a cause (against none of the causes) or a mechanism (there against not there), were it the
    only record: where present and where absent, in dB, shape (findings,)."""
    if name in net.column:
        (there, gone), at = net.cause_weights, net.column[name]
    else:
        (there, gone), at = net.mechanism_weights, net.mechanism[name]
    return there[:, at], gone[:, at]


def ledger(net: Network, states: Mapping[str, bool], name: str) -> float:
    """What findings weigh for a cause or mechanism, each as if it were the only record, in dB all together."""
    there, gone = alone(net, name)
    return float(sum((there if present else gone)[net.row[f]] for f, present in sorted(states.items())))


def worth(net: Network, evidence: Evidence, name: str) -> float:
    """What a whole record is worth, in dB: for a cause alone against none, for a mechanism there against not there (with no
    cause at work)."""
    if name in net.column:
        members = np.zeros((2, len(net.causes)), bool)
        members[1, net.column[name]] = True
        none, with_cause = Sums(net, evidence).likelihood(members).tolist()
        return decibans(with_cause / none)
    at, none = net.mechanism[name], np.zeros((1, len(net.causes)), bool)
    leak = net.leak.copy()
    leak[at] = 1.0
    there = Sums(replace(net, leak=leak), evidence).likelihood(none)
    gone = Sums(net, replace(evidence, off=evidence.off | {at})).likelihood(none)
    return decibans(float(there[0] / gone[0]))


class Weights:
    """Weights of the findings of one posterior."""

    def __init__(self, found: Posterior):
        self.found, self.net = found, found.net

    def alone(self, name: str) -> tuple[np.ndarray, np.ndarray]:
        """As `alone`."""
        return alone(self.net, name)

    def rate(self, name: str) -> np.ndarray:
        """P(finding recorded | this cause alone, or this mechanism there), shape (findings,)."""
        if name in self.net.column:
            return np.asarray(self.net.read(self.net.alone)[:, self.net.column[name]])
        return np.asarray(self.net.by_mechanism[0][:, self.net.mechanism[name]])

    @cached_property
    def answers_for(self) -> dict[str, str]:
        """The mechanism that most likely left each finding that counts, "" where none did."""
        net, chance = self.net, self.found.mechanisms
        result = {}
        for finding, present in self.found.evidence.states.items():
            row = net.row[finding]
            left = {m: float(chance[m] * (1 - net.marks.inhibition[row, m])) for m in net.left_by[row]}
            if not present:
                left = {m: float(1 - net.marks.inhibition[row, m]) for m in left}
            best = max(left, key=lambda m: (round(left[m], 9), -m), default=None)
            result[finding] = net.mechanisms[best] if best is not None and left[best] > net.background[row] else ""
        return result

    def total(self, name: str) -> float:
        """What the whole record is worth for a cause or mechanism, as `worth`, where it may be of another seal."""
        if name in self.net.column:
            at = self.net.column[name]
            before, odds = float(self.found.evidence.prior[at]), float(self.found.alone[at])
        else:
            before, odds = float(self.found.unseen[self.net.mechanism[name]]), 0.0
        odds = odds or before / (1 - before) * 10 ** (worth(self.net, self.found.evidence, name) / 10)
        chance = self.net.believed(odds / (1 + odds), before)
        return decibans(chance / (1 - chance)) - decibans(before / (1 - before))

    def groups(self, name: str) -> tuple[Group, ...]:
        """What each mechanism's findings are worth for a cause, alone against none of the causes, or for a mechanism,
        there against not there; heaviest first."""
        by: dict[str, list[str]] = {}
        for finding, mechanism in sorted(self.answers_for.items()):
            by.setdefault(mechanism, []).append(finding)
        evidence = self.found.evidence
        worth = self._for_cause if name in self.net.column else self._for_mechanism
        whole, *rest = worth(name, [evidence, *(evidence.without(findings) for findings in by.values())]).tolist()
        heavy = [f for findings, without in zip(by.values(), rest, strict=True) for f in findings
                 if len(findings) > 1 and whole - without >= LIGHT]  # fmt: skip
        without_one = worth(name, [evidence, *(evidence.without([f]) for f in heavy)]).tolist()[1:]
        last = {f: whole - w for f, w in zip(heavy, without_one, strict=True)}
        there, gone = self.alone(name)
        result = []
        for (mechanism, findings), without in zip(by.items(), rest, strict=True):
            alone = {f: float((there if evidence.states[f] else gone)[self.net.row[f]]) for f in findings}
            own = {f: last.get(f, whole - without) for f in findings}
            result.append(Group(mechanism, tuple(findings), whole - without, alone, own))
        return tuple(sorted(result, key=lambda g: (-round(abs(g.weight), 6), g.mechanism)))

    def _for_cause(self, name: str, evidences: list[Evidence]) -> np.ndarray:
        members = np.zeros((2, len(self.net.causes)), bool)
        members[1, self.net.column[name]] = True
        none, alone = likelihoods(self.net, evidences, members).T
        return np.asarray(10 * np.log10(alone / none))

    def _for_mechanism(self, name: str, evidences: list[Evidence]) -> np.ndarray:
        """Odds of a mechanism under each evidence, in dB, over the sets of causes that matter."""
        then = altered(self.found, evidences, MOST_SETS)
        by_set = chance_of(self.net, self.net.mechanism[name], evidences, then.members)
        return log_odds((by_set * then.exactly).sum(axis=1))
