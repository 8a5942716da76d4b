"""How far findings move belief, in decibans: each alone, and in groups of one mechanism.

Weights of marks that one mechanism leaves do not add up: the second says little that the first has not said. So a ledger
shows what a whole group is worth (the record with it and without it), and beneath it each mark as if it stood alone.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from diagnose.judgement.posterior import Posterior, Sums


def decibans(ratio: float) -> float:
    """Weight of evidence, 10 log10 of a likelihood ratio (I. J. Good, Probability and the Weighing of Evidence, 1950)."""
    return 10 * math.log10(ratio)


@dataclass(frozen=True)
class Group:
    """The findings that one mechanism answers for ("" for direct signs and what nothing on record explains). `weight`:
    what they are worth together for a cause against none, in dB; `alone` what each would be worth by itself."""

    mechanism: str
    findings: tuple[str, ...]
    weight: float
    alone: dict[str, float]

    @property
    def any_suffices(self) -> bool:
        """Whether one of the findings would do nearly as well as all."""
        return len(self.findings) > 1 and max(self.alone.values()) > 0.8 * self.weight > 0


class Weights:
    """Weights of the findings of one posterior."""

    def __init__(self, found: Posterior):
        self.found, self.net = found, found.net

    def alone(self, name: str) -> tuple[np.ndarray, np.ndarray]:
        """Weight of each finding for a cause (against none of the causes) or a mechanism (there against not there), were
        it the only record: where present and where absent, in dB, shape (findings,)."""
        table, base = self._by_cause if name in self.net.column else self._by_mechanism
        at = self.net.column[name] if name in self.net.column else self.net.mechanism[name]
        p, q = table[:, at], base[:, at]
        return 10 * np.log10(p / q), 10 * np.log10((1 - p) / (1 - q))

    @cached_property
    def _by_cause(self) -> tuple[np.ndarray, np.ndarray]:
        read = self.net.read(self.net.alone)
        return read[:, :-1], np.repeat(read[:, -1:], len(self.net.causes), axis=1)

    @cached_property
    def _by_mechanism(self) -> tuple[np.ndarray, np.ndarray]:
        return self.net.by_mechanism

    @cached_property
    def answers_for(self) -> dict[str, str]:
        """The mechanism that most likely left each finding that counts, "" where none did."""
        net, chance = self.net, self.found.mechanisms
        result = {}
        for finding, present in self.found.evidence.states.items():
            row = net.row[finding]
            left = {m: float(chance[m] * (1 - net.marks.keep[row, m])) for m in net.left_by[row]}
            if not present:
                left = {m: float(1 - net.marks.keep[row, m]) for m in left}
            best = max(left, key=lambda m: (round(left[m], 9), -m), default=None)
            result[finding] = net.mechanisms[best] if best is not None and left[best] > net.background[row] else ""
        return result

    def total(self, cause: str) -> float:
        """What the whole record is worth for a cause alone against none, in dB."""
        return self._worth(self.found.sums, cause)

    def groups(self, cause: str) -> tuple[Group, ...]:
        """What each mechanism's findings are worth for a cause, heaviest first."""
        by: dict[str, list[str]] = {}
        for finding, mechanism in sorted(self.answers_for.items()):
            by.setdefault(mechanism, []).append(finding)
        whole = self.total(cause)
        there, gone = self.alone(cause)
        result = []
        for mechanism, findings in by.items():
            rest = self._worth(Sums(self.net, self.found.evidence.without(findings)), cause)
            alone = {
                f: float((there if self.found.evidence.states[f] else gone)[self.net.row[f]]) for f in findings
            }
            result.append(Group(mechanism, tuple(findings), whole - rest, alone))
        return tuple(sorted(result, key=lambda g: (-round(abs(g.weight), 6), g.mechanism)))

    def _worth(self, sums: Sums, cause: str) -> float:
        members = np.zeros((2, len(self.net.causes)), bool)
        members[1, self.net.column[cause]] = True
        none, with_cause = sums.likelihood(members).tolist()
        return decibans(with_cause / none)
