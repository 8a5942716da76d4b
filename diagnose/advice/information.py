"""Entropy, information and value for trouble: the arithmetic of planning, free of any rule base.

Weights are probabilities of the alternatives (here cause sets), shape (alternatives,) or (alternatives, branches) where
branches are ways the work so far may have turned out. Entropy: C. E. Shannon, A mathematical theory of communication,
1948; choosing the next probe by least expected entropy: J. de Kleer and B. C. Williams, Diagnosing multiple faults,
Artificial Intelligence 32, 1987 (both from memory).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np


def entropy(p: np.ndarray, axis: int = -1) -> np.ndarray:
    """Entropy in bits along an axis; a share of zero counts nothing."""
    return -np.sum(p * np.log2(np.where(p > 0, p, 1.0)), axis=axis)


def binary_entropy(p: np.ndarray) -> np.ndarray:
    """Entropy in bits of a thing that is so with probability p, else not."""
    return entropy(np.stack([p, 1 - p]), 0)


def gain(weights: np.ndarray, outcomes: np.ndarray) -> np.ndarray:
    """Expected fall of entropy in bits: the mutual information H(outcome) - H(outcome | alternative).

    `outcomes`, shape (..., outcomes, alternatives), is P(outcome | alternative). Result: its leading shape, then that of
    the branches of `weights`.
    """
    axis = -1 if weights.ndim == 1 else -2
    found = entropy(outcomes @ weights, axis) - entropy(outcomes, -2) @ weights
    return np.maximum(found, 0.0)


def with_unknown(shown: np.ndarray, unknown: np.ndarray) -> np.ndarray:
    """P(there), P(not there) and P(cannot tell) from P(there | alternative) of shape (n, alternatives) and the chance
    (n,) that the look leaves it open; shape (n, 3, alternatives)."""
    told = 1 - unknown[:, None]
    return np.stack([shown * told, (1 - shown) * told, np.broadcast_to(unknown[:, None], shown.shape)], axis=1)


def together(outcomes: Sequence[np.ndarray]) -> np.ndarray:
    """Joint outcomes of findings that depend on each other only through the alternatives: every combination.

    Each entry has shape (n, outcomes, alternatives); the result has the product of their outcomes.
    """
    joint = outcomes[0]
    for more in outcomes[1:]:
        n, k, s = joint.shape
        joint = (joint[:, :, None, :] * more[:, None, :, :]).reshape(n, k * more.shape[1], s)
    return joint


def by_ratio(values: Sequence[float], costs: Sequence[float]) -> list[int]:
    """Indices in falling order of value per cost, ties by index.

    With the probability of a single fault for the value this is the order of least expected cost: J. B. Kadane and
    H. A. Simon, Optimal strategies for a class of constrained sequential problems, 1977 (from memory).
    """
    return sorted(range(len(values)), key=lambda i: (-round(values[i] / costs[i], 12), i))
