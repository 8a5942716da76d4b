"""How likely the words of a clause are in the sayings of everything that can be meant: naive Bayes, word by word.

P(words | meaning) is the product over the words of (times the word stands in the sayings of the meaning + FEW) / (words of its
sayings + FEW * all words). A word that is only near in meaning to one of the sayings counts in part as that.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

FEW = 0.02
"""How often a word that no saying of a meaning has is taken to stand there."""
NEAR, PART, POWER = 0.5, 0.1, 4
"""From how near on a word counts as another, and as what part of it: PART times nearness to the POWER."""


class Usage:
    """`words[i]` stands in a saying of `meanings[i]`; both are numbers below `of_words` and `of_meanings`."""

    def __init__(self, words: Any, meanings: Any, of_words: int, of_meanings: int):
        self.of_meanings = of_meanings
        pairs, times = np.unique(words.astype(np.int64) * of_meanings + meanings, return_counts=True)
        word, self.meanings = np.divmod(pairs, of_meanings)
        self.times = times.astype(np.float32)
        self.begin = np.searchsorted(word, np.arange(of_words + 1))
        self.sizes = np.bincount(meanings, minlength=of_meanings) + FEW * of_words

    def told(self, near: Any, counts: Sequence[float]) -> Any:
        """log P(words | meaning) of every meaning against the likeliest. `near[i, w]`: how near word i of the clause is to word w of the
        sayings, 1 where it is the same; `counts[i]`: how often word i counts."""
        result = sum(count * self._of_word(row) for row, count in zip(near, counts, strict=True))
        return result - result.max()

    def _of_word(self, near: Any) -> Any:
        alike = np.flatnonzero(near >= NEAR)
        taken_for = np.where(near[alike] == 1.0, 1.0, PART * near[alike] ** POWER)
        first, many = self.begin[alike], self.begin[alike + 1] - self.begin[alike]
        places = np.repeat(first - np.cumsum(many) + many, many) + np.arange(many.sum())
        weights = self.times[places] * np.repeat(taken_for, many)
        return np.log((np.bincount(self.meanings[places], weights, self.of_meanings) + FEW) / self.sizes)
