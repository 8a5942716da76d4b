"""How near a clause is to every saying of a term: by the words they share, rare ones counting for more.

A saying is as near as the words of the clause are in it, and its own in the clause. Beside it stands how usual the words are in the
sayings of a term as a whole (usage.py).
"""

from __future__ import annotations

import math
import re
from collections import defaultdict
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

import numpy as np

from diagnose.phrases.tokens import stem
from diagnose.phrases.usage import Usage

if TYPE_CHECKING:
    from diagnose.phrases.clauses import Clause
    from diagnose.phrases.index import Index
    from diagnose.phrases.model import Statement

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
ALIKE = 0.15
"""How much farther a saying with a denial may be than one without to be taken for what a denial says."""
MOST_WORDS = 12
SEVERAL = 3
"""Of how many of its nearest sayings a term's nearness is also taken in the mean."""
Meant = tuple[str, str, str]
"""(family, term, value of a state, or NOT_SO)."""
NOT_SO = "not so"


def meant_by(s: Statement) -> Meant:
    """What a statement says, by which its sayings are kept; a mark that is denied is not so."""
    if s.family == "state":
        return s.family, s.term, s.more.get("value", "")
    return s.family, s.term, NOT_SO if s.family == "feature" and s.state == "absent" else ""


class Sayings:
    """Everything that can be meant and the words of its sayings, made ready once. The sayings of one meaning stand together; a word is
    known by its stem."""

    def __init__(self, index: Index):
        self.index = index
        sayings: dict[Meant, dict[tuple[str, ...], int | None]] = defaultdict(dict)
        for meant, text, number in _said(index):
            if said := tuple(dict.fromkeys(w for w in _words(index, text) if _tells(w))):
                sayings[meant].setdefault(said, number)
        self.meant = list(sayings)
        self.numbered = {meant: n for n, meant in enumerate(self.meant)}
        self.spellings = [number for of_one in sayings.values() for number in of_one.values()]
        every = [said for of_one in sayings.values() for said in of_one]
        self.first = np.cumsum([0, *map(len, sayings.values())])
        denials = {said for said, senses in index.small.items() if ("cue", "denied") in senses}
        self.denials = {said[0] for said in denials if len(said) == 1}
        begin = {said[0] for said in denials}
        self.denying = np.array([not begin.isdisjoint(said) and _denies(said, denials) for said in every])
        words = {w: n for n, w in enumerate(dict.fromkeys(w for of_one in every for w in of_one))}
        stemmed = {w: stem(w, index.whole) for w in words}
        owners = np.repeat(np.arange(len(self.meant)), np.diff(self.first))
        flat = np.array([words[w] for of_one in every for w in of_one])
        self.usage = Usage(list(stemmed.items()), flat, np.repeat(owners, list(map(len, every))), len(self.meant))
        self._hold([list(dict.fromkeys(stemmed[w] for w in of_one)) for of_one in every], owners)
        self._last: tuple[Clause, Nearness] | None = None

    def _hold(self, every: list[list[str]], owners: Any) -> None:
        """The stems of the sayings, the sayings of each stem, and what each counts."""
        self.stems = {s: n for n, s in enumerate(dict.fromkeys(s for of_one in every for s in of_one))}
        self.starts = np.cumsum([0, *map(len, every)])
        self.flat = np.array([self.stems[s] for of_one in every for s in of_one])
        saying = np.repeat(np.arange(len(every)), np.diff(self.starts))
        order = np.argsort(self.flat, kind="stable")
        self.sayings, self.begin = saying[order], np.searchsorted(self.flat[order], np.arange(len(self.stems) + 1))
        users = np.unique(self.flat * len(self.meant) + owners[saying]) // len(self.meant)
        self.rare = [self._rarity(s, n) for s, n in zip(self.stems, np.bincount(users).tolist(), strict=True)]
        self.totals = np.add.reduceat(np.array(self.rare)[self.flat], self.starts[:-1])

    def near(self, clause: Clause) -> Nearness:
        """How near everything is to a clause; the last one is kept, as a phrase of one clause is looked at again as a whole."""
        if self._last is None or self._last[0] is not clause:
            self._last = clause, Nearness(self, clause)
        return self._last[1]

    def having(self, stem: int) -> Any:
        """The numbers of the sayings with a stem."""
        return self.sayings[self.begin[stem] : self.begin[stem + 1]]

    def _rarity(self, word: str, users: int) -> float:
        small = any(s[0] in ("idle", "cue") for s in self.index.small.get((word,), ()))
        return math.log(len(self.meant) / (1 + users)) * (SMALL if small else 1.0)

    def alike(self, clause: Clause) -> dict[int, set[int]]:
        """The numbers of the stems that each word of a clause is known by, by its place: its own, or that of the word of one
        meaning."""
        guessed = {s.first: stem(s.guessed, self.index.whole) for s in clause.spans if s.guessed}
        found: dict[int, set[int]] = {}
        for place, token in enumerate(clause.tokens):
            if _tells(token.text) and len(found) < MOST_WORDS:
                same = {s.sense[1] for s in clause.slots.get("word", ()) if s.first == s.last == place}
                denies = self.denials if token.text in self.denials else ()
                known = {guessed.get(place, token.stem), *same, *denies} & self.stems.keys()
                if known:
                    found[place] = {self.stems[s] for s in known}
        return found


class Nearness:
    """How near everything that can be meant is to one clause."""

    def __init__(self, sayings: Sayings, clause: Clause):
        self.sayings = sayings
        self.alike = sayings.alike(clause)
        self.places = list(self.alike)
        if not self.places:
            self.each = self.of_all = self.used_so = np.zeros(0)
            return
        said, own, total = np.zeros(len(sayings.totals)), np.zeros(len(sayings.totals)), 0.0
        for place, stems in self.alike.items():
            count = max(sayings.rare[s] for s in stems) * (BESIDE if place in clause.naming else 1.0)
            having = [sayings.having(s) for s in stems]
            said[having[0] if len(having) == 1 else np.unique(np.concatenate(having))] += count
            total += count
        for number in set().union(*self.alike.values()):
            own[sayings.having(number)] += sayings.rare[number]
        each = SAID_SHARE * said / total + (1 - SAID_SHARE) * own / sayings.totals
        if not clause.cues("denied"):
            each[sayings.denying] = 0.0
        self.each = np.round(each, 4)
        self.of_all = np.maximum.reduceat(self.each, sayings.first[:-1])
        self.used_so = self._usual(clause)

    def _usual(self, clause: Clause) -> Any:
        """How usual the words are for everything that can be meant, as a logarithm against the most; nought for a single word."""
        places = [p for p, t in enumerate(clause.tokens) if _tells(t.text)][:MOST_WORDS]
        if len({*places} - clause.naming) < 2:
            return np.zeros(len(self.sayings.meant))
        counts = [USED_BESIDE if p in clause.naming else USED_SMALL if p in clause.small else 1.0 for p in places]
        words = [(clause.tokens[p].text, clause.tokens[p].stem) for p in places]
        return self.sayings.usage.told((*word, count) for word, count in zip(words, counts, strict=True))

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
            saying = first + int(np.argmax(self.each[first:beyond] + ALIKE * self.sayings.denying[first:beyond]))
            yield self.sayings.meant[number], float(self.of_all[number]), saying

    def words_of(self, saying: int) -> frozenset[int]:
        """The places of the words that a saying has."""
        first, beyond = self.sayings.starts[saying : saying + 2]
        held = set(self.sayings.flat[first:beyond].tolist())
        return frozenset(p for p, stems in self.alike.items() if not held.isdisjoint(stems))


def _denies(words: tuple[str, ...], denials: set[tuple[str, ...]]) -> bool:
    """Whether one of some words denies, or some of them together."""
    return any(words[n : n + many] in denials for n in range(len(words)) for many in (1, 2, 3))


def _tells(word: str) -> bool:
    return word.isalpha() and len(word) > 1


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
