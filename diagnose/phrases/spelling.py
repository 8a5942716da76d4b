"""The nearest known word to a misspelt one."""

from __future__ import annotations

from collections.abc import Iterable

LEAST_LETTERS = 5
LONG = 9


class Speller:
    """Known words by first letter and length. A guess keeps the first letter and differs by one slip of the hand (a letter
    more, less, other, or two swapped), from nine letters by two."""

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
                apart = distance(word, other, most)
                if apart < best:
                    best, ties = apart, [other]
                elif apart == best <= most:
                    ties.append(other)
        return ties


def distance(a: str, b: str, most: int) -> int:
    """Slips between two words (optimal string alignment), or any number above `most`."""
    if abs(len(a) - len(b)) > most:
        return most + 1
    before: list[int] = []
    row = list(range(len(b) + 1))
    for i, x in enumerate(a, 1):
        two_before, before, row = before, row, [i]
        for j, y in enumerate(b, 1):
            cost = min(before[j] + 1, row[j - 1] + 1, before[j - 1] + (x != y))
            if i > 1 and j > 1 and x == b[j - 2] and a[i - 2] == y:
                cost = min(cost, two_before[j - 2] + 1)
            row.append(cost)
        if min(row) > most:
            return most + 1
    return row[-1]
