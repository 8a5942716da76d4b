"""The nearest known word to a misspelt one."""

from __future__ import annotations

from collections.abc import Iterable

from rapidfuzz.distance import OSA

LEAST_LETTERS = 5
LONG = 9


class Speller:
    """Known words by first letter and length. A guess keeps the first letter and differs by one slip of the hand (a letter
    more, less, other, or two swapped: optimal string alignment), from nine letters by two."""

    def __init__(self, words: Iterable[str]):
        self.known = frozenset(words)
        self.near: dict[tuple[str, int], list[tuple[str, frozenset[str]]]] = {}
        for word in sorted(self.known):
            if len(word) >= LEAST_LETTERS - 1 and word.isalpha():
                self.near.setdefault((word[0], len(word)), []).append((word, frozenset(word)))

    def guess(self, word: str) -> list[str]:
        """The nearest words; none where none is near."""
        if len(word) < LEAST_LETTERS or word in self.known or not word.isalpha() or len(word) > 24:
            return []
        most = 2 if len(word) >= LONG else 1
        best: int = most + 1
        ties: list[str] = []
        letters = frozenset(word)
        for length in range(len(word) - most, len(word) + most + 1):
            for other, others in self.near.get((word[0], length), ()):
                if len(letters ^ others) > 2 * most:  # each slip changes two letters at most
                    continue
                apart = OSA.distance(word, other, score_cutoff=most)
                if apart < best:
                    best, ties = apart, [other]
                elif apart == best <= most:
                    ties.append(other)
        return ties
