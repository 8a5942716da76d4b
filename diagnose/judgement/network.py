"""Causes and findings as a two-layer network, and exact sums over sets of at most three causes.

For a set S of causes P(f | S) = [1 - (1-b) * prod(1-q)] * prod(r): producing rows (p >= b) combine by noisy-OR with
q = 1 - (1-p)/(1-b); preventing rows (p < b) multiply by r = p/b. b is the finding's background rate, p the word on the
cause card. Noisy-OR with a leak: M. Henrion, Practical issues in constructing a Bayes belief network, 1987 (from
memory); the network form is that of QMR-DT (Shwe et al. 1991, from memory).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from diagnose.knowledge.model import Knowledge

MOST_TOGETHER = 3


@dataclass(frozen=True)
class Network:
    """`shown[f, c]` is P(finding f | cause c alone), equal to `background[f]` where no row speaks of it."""

    causes: tuple[str, ...]
    findings: tuple[str, ...]
    prior: np.ndarray
    background: np.ndarray
    shown: np.ndarray

    @property
    def keep(self) -> np.ndarray:
        """1 - q: the share of cases in which a producing cause leaves the finding unproduced; 1 elsewhere."""
        base = self.background[:, None]
        return np.where(self.shown >= base, (1 - self.shown) / (1 - base), 1.0)

    @property
    def hold(self) -> np.ndarray:
        """r: what a preventing cause leaves of the finding's rate; 1 elsewhere."""
        base = self.background[:, None]
        return np.where(self.shown < base, self.shown / base, 1.0)


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
    """All sets of at most three of n causes as rows of three indices; n stands for no cause. The empty set is first."""
    rows = [np.full((1, 3), n)]
    ones = np.full((n, 3), n)
    ones[:, 0] = np.arange(n)
    i, j = np.triu_indices(n, 1)
    twos = np.full((len(i), 3), n)
    twos[:, 0], twos[:, 1] = i, j
    rows += [ones, twos]
    if n >= 3:
        a = np.arange(n)
        grid = np.stack(np.meshgrid(a, a, a, indexing="ij"), -1).reshape(-1, 3)
        rows.append(grid[(grid[:, 0] < grid[:, 1]) & (grid[:, 1] < grid[:, 2])])
    return np.concatenate(rows)


def over_sets(per_cause: np.ndarray, sets: np.ndarray) -> np.ndarray:
    """Products of the columns of `per_cause` over the members of each set; shape (rows, sets)."""
    padded = np.concatenate([per_cause, np.ones((per_cause.shape[0], 1))], axis=1)
    return padded[:, sets[:, 0]] * padded[:, sets[:, 1]] * padded[:, sets[:, 2]]


def shown_by_sets(background: np.ndarray, keep: np.ndarray, hold: np.ndarray, sets: np.ndarray) -> np.ndarray:
    """P(finding | set), shape (findings, sets)."""
    result = 1 - (1 - background[:, None]) * over_sets(keep, sets)
    if (hold != 1).any():
        result *= over_sets(hold, sets)
    return result


def set_priors(prior: np.ndarray, sets: np.ndarray) -> np.ndarray:
    """Prior of each set of independent causes, not normalised: only sets of at most three are counted."""
    odds = np.concatenate([prior / (1 - prior), [1.0]])
    return np.prod(1 - prior) * odds[sets[:, 0]] * odds[sets[:, 1]] * odds[sets[:, 2]]


def members(weights: np.ndarray, sets: np.ndarray, n: int) -> np.ndarray:
    """For each cause, the total weight of the sets that contain it."""
    total = sum(np.bincount(sets[:, k], weights, n + 1) for k in range(3))
    return np.asarray(total)[:n]


def posterior(
    net: Network, states: Mapping[str, bool], prior: np.ndarray, allowed: Sequence[int]
) -> tuple[np.ndarray, np.ndarray]:
    """(sets, probability of each) over the allowed causes given findings present (True) or absent (False).

    `sets` holds indices into `allowed`; `prior` is over all causes of the network.
    """
    chosen = np.asarray(allowed, dtype=int)
    sets = subsets(len(chosen))
    weight = set_priors(prior[chosen], sets)
    rows = [(net.findings.index(f), present) for f, present in sorted(states.items())]
    if rows:
        index = np.array([i for i, _ in rows])
        shown = shown_by_sets(
            net.background[index], net.keep[np.ix_(index, chosen)], net.hold[np.ix_(index, chosen)], sets
        )
        present = np.array([s for _, s in rows])[:, None]
        base = net.background[index][:, None]
        ratio = np.where(present, shown / base, (1 - shown) / (1 - base))
        weight = weight * np.prod(ratio, axis=0)
    return sets, weight / weight.sum()
