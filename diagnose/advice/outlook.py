"""What the answer rests on and how it may still change: ways in which things may stand, and what each finding would say.

A way is a set of causes with a state of every mechanism (judgement/worlds.py), so that marks of one mechanism tell once
what they have in common. What a finding tells is first about the causes; what it tells of the mechanisms beyond that
counts by a factor of the rule base, since what to change hangs on the causes.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from diagnose.advice.information import binary_entropy
from diagnose.judgement.network import Network
from diagnose.judgement.posterior import Posterior
from diagnose.judgement.worlds import worlds

LEAST_BITS = 1e-3
SMALL = 1e-100
"""Sum of weights from which they are made to sum to one on the way, so that hundreds of unlikely outcomes leave numbers."""


class Belief:
    """The ways of one posterior. `weight`: their probabilities."""

    def __init__(self, found: Posterior):
        self.net: Network = found.net
        ways = worlds(found)
        self.members, self.states, self.weight = ways.members, ways.states, ways.weight
        self.counted, self._found = found.evidence.states, found

    @cached_property
    def at_work(self) -> np.ndarray:
        """The causes of each way as numbers."""
        return self.members.astype(float)

    @cached_property
    def ways_of(self) -> np.ndarray:
        """The same, cause by cause."""
        return np.ascontiguousarray(self.at_work.T)

    @cached_property
    def _read(self) -> np.ndarray:
        """P(finding recorded as there | way), shape (findings, ways)."""
        return self.net.read(self.net.expected(self.states.T, self.members))

    def shown(self, findings: Sequence[str]) -> np.ndarray:
        """P(finding recorded as there | way), shape (findings, ways)."""
        return np.asarray(self._read[[self.net.row[f] for f in findings]])

    def chance(self, finding: str) -> float:
        """That a look would find it there."""
        return float(self._read[self.net.row[finding]] @ self.weight)

    def of_causes(self, findings: Sequence[str]) -> np.ndarray:
        """Bits that each finding tells of the causes alone, exactly."""
        rates = self._found.expected[[self.net.row[f] for f in findings]]
        return np.asarray(binary_entropy(rates @ self._found.weights) - binary_entropy(rates) @ self._found.weights)

    def told(self, outcomes: Mapping[str, bool]) -> np.ndarray:
        """The weights when findings turn out so."""
        weight = self.weight
        for finding in sorted(outcomes):
            row = self._read[self.net.row[finding]]
            weight = weight * (row if outcomes[finding] else 1 - row)
            if (total := weight.sum()) < SMALL:
                weight = weight / total
        return weight if weight is self.weight else np.asarray(weight / weight.sum())

    def share(self, weight: np.ndarray) -> np.ndarray:
        """Probability of each cause of the network under the weights."""
        return np.asarray(weight @ self.at_work)

    def mechanisms(self, weight: np.ndarray) -> np.ndarray:
        """Probability of each mechanism of the network under the weights."""
        return np.asarray(weight @ self.states)

    def leader(self, weight: np.ndarray) -> tuple[str, ...]:
        """The causes of the likeliest set under the weights, by name."""
        by_set: dict[bytes, float] = {}
        row_of: dict[bytes, np.ndarray] = {}
        for row, w in zip(self.members, weight.tolist(), strict=True):
            key = row.tobytes()
            by_set[key] = by_set.get(key, 0.0) + w
            row_of[key] = row
        best = max(by_set, key=lambda k: (round(by_set[k], 12), k))
        return tuple(self.net.causes[c] for c in np.flatnonzero(row_of[best]))


@dataclass(frozen=True)
class Outlook:
    """The open findings over a belief. `shown[f, w]` is P(finding found there | way) and `doubt[f, w]` its entropy,
    `silent[f]` the chance that looking for it says nothing, `whole[f]` what it tells of the ways in bits, `bits[f]` what
    that counts."""

    belief: Belief
    findings: tuple[str, ...]
    shown: np.ndarray
    doubt: np.ndarray
    silent: np.ndarray
    whole: np.ndarray
    bits: np.ndarray

    @cached_property
    def row(self) -> dict[str, int]:
        return {f: i for i, f in enumerate(self.findings)}


def outlook(
    belief: Belief, findings: Sequence[str], silent: Callable[[str], float | None], mechanisms: float = 1.0
) -> Outlook:
    """What each of the findings would tell; those that would tell nothing are left out.

    `silent` gives the chance that looking for a finding leaves it open, None where it cannot be looked for; a bit about
    mechanisms that tells nothing of the causes counts `mechanisms`.
    """
    named = sorted(findings)
    shown = belief.shown(named)
    each = binary_entropy(shown)
    whole = binary_entropy(shown @ belief.weight) - each @ belief.weight
    causes = np.minimum(belief.of_causes(named), whole)
    counts = causes + mechanisms * (whole - causes)
    kept, silence = [], []
    for i, finding in enumerate(named):
        chance = silent(finding) if whole[i] >= LEAST_BITS else None
        if chance is not None:
            kept.append(i)
            silence.append(chance)
    told = 1 - np.array(silence)
    return Outlook(
        belief,
        tuple(named[i] for i in kept),
        shown[kept],
        each[kept],
        1 - told,
        whole[kept] * told,
        counts[kept] * told,
    )
