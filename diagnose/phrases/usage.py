"""How likely what is said is in the sayings of everything that can be meant: naive Bayes over words and pieces of words.

P(said | meaning) is the product over the pieces of what is said of (times the piece stands in the sayings of the meaning + FEW) /
(pieces of its sayings + FEW * all pieces). The pieces of a word are its stem and every four letters of it in a row, so that a word
that is misspelt, inflected or made of known ones tells as well (W. B. Cavnar and J. M. Trenkle, N-gram-based text categorization,
1994, from memory).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np

FEW = 0.05
"""How often a piece that no saying of a meaning has is taken to stand there."""
ROW = 4


def pieces(word: str, stem: str) -> list[str]:
    """The stem of a word and its letters by fours, its ends marked."""
    marked = f"<{word}>"
    return [stem, *(f"{marked[n : n + ROW]}~" for n in range(max(1, len(marked) - ROW + 1)))]


class Usage:
    """`words` are (word, stem); word `said[i]` of them stands in a saying of `meanings[i]`, a number below `of_meanings`."""

    def __init__(self, words: Sequence[tuple[str, str]], said: Any, meanings: Any, of_meanings: int):
        self.numbers: dict[str, int] = {}
        of_word = [[self.numbers.setdefault(p, len(self.numbers)) for p in pieces(*word)] for word in words]
        every, many = np.concatenate([*map(np.array, of_word)]), np.array([*map(len, of_word)])
        first, each = (np.cumsum(many) - many)[said], many[said]
        places = np.repeat(first - np.cumsum(each) + each, each) + np.arange(each.sum())
        owners = np.repeat(meanings, each)
        pairs, times = np.unique(every[places] * of_meanings + owners, return_counts=True)
        piece, self.meanings = np.divmod(pairs, of_meanings)
        self.begin = np.searchsorted(piece, np.arange(len(self.numbers) + 1))
        self.above = np.log((times + FEW) / FEW)
        self.sizes = np.log(np.bincount(owners, minlength=of_meanings) + FEW * len(self.numbers))

    def told(self, words: Iterable[tuple[str, str, float]]) -> Any:
        """log P(said | meaning) of every meaning against the likeliest, of (word, stem, how often it counts); a piece that no saying
        has tells nothing."""
        result, total = np.zeros(len(self.sizes)), 0.0
        for word, stem, count in words:
            for number in (self.numbers[p] for p in pieces(word, stem) if p in self.numbers):
                first, beyond = self.begin[number : number + 2]
                result[self.meanings[first:beyond]] += count * self.above[first:beyond]
                total += count
        result -= total * self.sizes
        return result - result.max(initial=-np.inf)
