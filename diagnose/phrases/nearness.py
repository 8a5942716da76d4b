"""How near in meaning a clause is to every saying of a term, whatever words it uses.

Each word has a vector (word_vectors.npz, made by make_word_vectors.py). A saying is as near as the words of the clause are to its
own, each to the nearest, and its own to those of the clause; rare words count for more. Beside it stands how likely the words are in
the sayings of a term as a whole (usage.py).
"""

from __future__ import annotations

import math
import re
from collections import defaultdict
from collections.abc import Iterable, Iterator
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from diagnose.phrases.tokens import stem
from diagnose.phrases.usage import Usage

if TYPE_CHECKING:
    from diagnose.phrases.clauses import Clause
    from diagnose.phrases.index import Index

FILE = Path(__file__).with_name("word_vectors.npz")
SAID_SHARE = 0.7
"""How much it counts that the saying has what was said; the rest, that what the saying has was said."""
SMALL = 0.15
"""What a word counts that may say nothing, against another as rare."""
BESIDE = 0.15
"""What a word counts that names a part or a point, against another as rare."""
USED_SMALL, USED_BESIDE = 0.6, 0.3
"""What such words count for how usual the words are, against others."""
USUAL, UNUSUAL = 20.0, -2.0
"""How much less likely, as a logarithm, words are where they are not usual: that counts 1, and at most as much as UNUSUAL."""
ALIKE = 0.5
"""How near a word must be to one of a saying to have been read as it."""
MOST_WORDS = 12
SEVERAL = 3
"""Of how many of its nearest sayings a term's nearness is also taken in the mean."""
Meant = tuple[str, str, str]
"""(family, term, value of a state, or NOT_SO)."""
NOT_SO = "not so"


@cache
def word_vectors() -> tuple[dict[str, int], Any]:
    """(each word's row, the vectors, of length one)."""
    with np.load(FILE) as held:
        words, vectors = held["words"].tobytes().decode("ascii").split("\n"), held["vectors"].astype(np.float32)
    return {w: n for n, w in enumerate(words)}, vectors / np.linalg.norm(vectors, axis=1, keepdims=True)


class Sayings:
    """Everything that can be meant and the words of its sayings, made ready once. The sayings of one meaning stand together."""

    def __init__(self, index: Index):
        self.index = index
        self.numbers, self.vectors = word_vectors()
        sayings: dict[Meant, dict[tuple[str, ...], int | None]] = defaultdict(dict)
        for meant, text, number in _said(index):
            if words := tuple(dict.fromkeys(w for w in _words(index, text) if w.isalpha() and len(w) > 1)):
                sayings[meant].setdefault(words, number)
        self.meant = list(sayings)
        self.numbered = {meant: n for n, meant in enumerate(self.meant)}
        self.spellings = [number for of_one in sayings.values() for number in of_one.values()]
        every = [words for of_one in sayings.values() for words in of_one]
        users: dict[str, set[Meant]] = defaultdict(set)
        for meant, of_one in sayings.items():
            for words in of_one:
                for word in words:
                    users[word].add(meant)
        self.words = {w: n for n, w in enumerate(users)}
        self.rare = {w: self._rarity(w, len(using)) for w, using in users.items()}
        self.by_stem: dict[str, list[int]] = defaultdict(list)
        for word, place in self.words.items():
            self.by_stem[stem(word, index.whole)].append(place)
        self.table = np.ascontiguousarray(self._of(self.words).T)
        self.first = np.cumsum([0, *map(len, sayings.values())])
        self.starts = np.cumsum([0, *map(len, every)])
        self.flat = np.array([self.words[w] for words in every for w in words])
        self.weights = np.array([self.rare[w] for words in every for w in words], np.float32)
        self.totals = np.add.reduceat(self.weights, self.starts[:-1])
        lengths = np.diff(self.starts)
        longest_first = np.argsort(-lengths, kind="stable")
        self.in_order = np.argsort(longest_first)
        self.columns = [
            self.flat[self.starts[:-1][longest_first[: np.count_nonzero(lengths > n)]] + n] for n in range(max(lengths))
        ]
        owners = np.repeat(np.arange(len(self.meant)), [len(of_one) for of_one in sayings.values()])
        stems = [(w, stem(w, index.whole)) for w in self.words]
        self.usage = Usage(stems, self.flat, np.repeat(owners, np.diff(self.starts)), len(self.meant))
        self._last: tuple[Clause, Nearness] | None = None
        self.denying = np.array([any(("cue", "denied") in index.small.get((w,), ()) for w in words) for words in every])

    def near(self, clause: Clause) -> Nearness:
        """How near everything is to a clause; the last one is kept, as a phrase of one clause is looked at again as a whole."""
        if self._last is None or self._last[0] is not clause:
            self._last = clause, Nearness(self, clause)
        return self._last[1]

    def _rarity(self, word: str, users: int) -> float:
        small = any(s[0] in ("idle", "cue") for s in self.index.small.get((word,), ()))
        return math.log(len(self.meant) / (1 + users)) * (SMALL if small else 1.0)

    def _counts(self, word: str) -> float:
        return self.rare.get(word) or self._rarity(word, 0)

    def _of(self, words: Iterable[str]) -> Any:
        """The vectors of some words, nought for one that has none."""
        every = list(words)
        found = np.zeros((len(every), self.vectors.shape[1]), np.float32)
        for n, word in enumerate(every):
            if word in self.numbers:
                found[n] = self.vectors[self.numbers[word]]
        return found

    def alike(self, clause: Clause) -> tuple[list[int], Any, Any]:
        """(places of the words that have a meaning, what each counts, how near each is to every word of the sayings)."""
        guessed = {s.first: s.guessed for s in clause.spans if s.guessed}
        words = {p: guessed.get(p, t.text) for p, t in enumerate(clause.tokens) if t.text.isalpha() and len(t.text) > 1}
        places = [p for p, w in words.items() if w in self.numbers or w in self.words][:MOST_WORDS]
        near = np.clip(
            np.einsum("ij,jk", self._of(words[p] for p in places), self.table), 0, 1
        )  # "@" would start threads
        for row, place in enumerate(places):
            own = {s.sense[1] for s in clause.slots.get("word", ()) if s.first == s.last == place}
            for alike in {clause.tokens[place].stem} | own:
                near[row, self.by_stem.get(alike, [])] = 1.0
        counts = np.array(
            [self._counts(words[p]) * (BESIDE if p in clause.naming else 1.0) for p in places], np.float32
        )
        return places, counts, near

    def nearest(self, row: Any) -> Any:
        """How near a word is to the nearest of each saying, longest sayings first, by how near it is to every word."""
        best = row[self.columns[0]]
        for column in self.columns[1:]:
            np.maximum(best[: len(column)], row[column], out=best[: len(column)])
        return best


class Nearness:
    """How near everything that can be meant is to one clause."""

    def __init__(self, sayings: Sayings, clause: Clause):
        self.sayings = sayings
        self.places, counts, self.near = sayings.alike(clause)
        if not self.places:
            self.each = self.of_all = self.used_so = np.zeros(0)
            return
        starts = sayings.starts[:-1]
        said = np.zeros(len(starts), np.float32)
        for row, count in zip(self.near, counts, strict=True):
            said += count * sayings.nearest(row)
        self.used_so = self._usual(clause)
        own = np.add.reduceat(self.near.max(0)[sayings.flat] * sayings.weights, starts) / sayings.totals
        each = SAID_SHARE * said[sayings.in_order] / counts.sum() + (1 - SAID_SHARE) * own
        if not clause.cues("denied"):
            each[sayings.denying] = 0.0
        self.each = np.round(each, 4)
        self.of_all = np.maximum.reduceat(self.each, sayings.first[:-1])

    def _usual(self, clause: Clause) -> Any:
        """How usual the words are for everything that can be meant, as a logarithm against the most; nought for a single word."""
        if len({*self.places} - clause.naming) < 2:
            return np.zeros(len(self.sayings.meant))
        tokens = clause.tokens
        return self.sayings.usage.told(
            (
                tokens[p].text,
                tokens[p].stem,
                USED_BESIDE if p in clause.naming else USED_SMALL if p in clause.small else 1.0,
            )
            for p in self.places
        )

    @property
    def nearest(self) -> float:
        """How near the nearest saying of all is."""
        return float(self.of_all.max(initial=0.0))

    def of(self, meant: Meant) -> float | None:
        number = self.sayings.numbered.get(meant)
        return float(self.of_all[number]) if number is not None and self.places else None

    def of_several(self, meant: Meant) -> float:
        """How near the nearest three sayings are in the mean; one that there is not counts as far."""
        number = self.sayings.numbered.get(meant)
        if number is None or not self.places:
            return 0.0
        first, beyond = self.sayings.first[number : number + 2]
        return float(np.sort(self.each[first:beyond])[-SEVERAL:].sum()) / SEVERAL

    def used(self, meant: Meant) -> float:
        """How usual the words are for what is meant, against that for which they are most: 0 at best."""
        number = self.sayings.numbered.get(meant)
        return 0.0 if number is None or not self.places else max(UNUSUAL, float(self.used_so[number]) / USUAL)

    def best(self, most: int) -> Iterator[tuple[Meant, float, int]]:
        """What is nearest and what the words are most used for, how near, and the number of the saying that is nearest."""
        nearest, usual = (np.argsort(-x, kind="stable")[:most].tolist() for x in (self.of_all, self.used_so))
        for number in dict.fromkeys((*nearest, *usual)):
            first, beyond = self.sayings.first[number : number + 2]
            saying = first + int(np.argmax(self.each[first:beyond]))
            yield self.sayings.meant[number], float(self.of_all[number]), saying

    def words_of(self, saying: int) -> frozenset[int]:
        """The places of the words that a saying has or has one near to."""
        first, beyond = self.sayings.starts[saying : saying + 2]
        best = self.near[:, self.sayings.flat[first:beyond]].max(1)
        return frozenset(p for p, near in zip(self.places, best, strict=True) if near >= ALIKE)


def _words(index: Index, text: str) -> tuple[str, ...]:
    """The words of a saying; those of one that is no words of the term are not learnt."""
    held = index.texts.get(text)
    return held[0] if held else tuple(re.findall("[a-z]+", text.lower()))


def _said(index: Index) -> Iterator[tuple[Meant, str, int | None]]:
    """(what is meant, a saying of it, the number of its spelling, None for a state)."""
    for number, s in enumerate(index.spellings):
        yield (s.term.family, s.term.name, NOT_SO if s.denies else ""), s.text, number
    more = index.vocabulary.lexicon.terms.get("values", {})
    for variable in index.vocabulary.grammar.variables.values():
        for value, term in variable.words.items():
            for text in (value, *term.also, *(s.text for s in more.get(f"{variable.name}: {value}", ()))):
                yield ("state", variable.name, value), text, None
                yield ("state", variable.name, value), f"{variable.name} {text}", None
    yield from _otherwise(index)


def _otherwise(index: Index) -> Iterator[tuple[Meant, str, int | None]]:
    """What is said in other words."""
    families = {"features": ("feature", ""), "absent": ("feature", NOT_SO), "acts": ("act", "")}
    for section, terms in index.vocabulary.lexicon.others.items():
        for name, phrases in terms.items():
            for text in phrases:
                if section == "values":
                    variable, _, value = name.partition(": ")
                    yield ("state", variable, value), text, None
                elif numbers := index.of_term.get((families[section][0], name)):
                    family, denied = families[section]
                    yield (family, name, denied), text, numbers[0]
