"""The vocabulary made ready for reading phrases: every word with its senses, every term with what its spellings ask for.

A term is found by what its spellings are made of, not by their letters: each spelling is a set of asked senses, and words
of one meaning have one sense, so that "blade edge chipped" asks for what "chips at the edge" asks for.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import pairwise
from typing import TYPE_CHECKING, Any

from diagnose.knowledge.model import Vocabulary
from diagnose.phrases.model import Statement
from diagnose.phrases.sentence import settings_said
from diagnose.phrases.spelling import Speller
from diagnose.phrases.tokens import Token, folded, stem, tokens

if TYPE_CHECKING:
    from diagnose.phrases.nearness import Sayings
    from diagnose.phrases.rank import Ranks

Sense = tuple[str, str]
"""(slot, value): word, part, point, variable, value ("VARIABLE: VALUE"), made of, when, a qualifier, idle, or a cue."""
SLOTS = {"sides": "side", "degrees": "degree", "extents": "extent"}
STATED = ("point", "variable", "value", "when")
"""Slots of states, by which no spelling of a term is found."""
MOST_SPAN = 7
_COMPARING = frozenset({"less", "more", "fewer", "lower", "higher", "smaller", "bigger", "weaker", "stronger"})
_ARTICLES = frozenset({"the", "a", "my", "our", "this", "that"})


@dataclass(frozen=True)
class Term:
    """Something a phrase can say. `family` is feature, act, setting or reading; `unit` that of a reading; `on` the kinds of
    part it can be on, none for any; `sides` those it tells apart; `general` a word that leaves the kind open; `not_made_of`: substances that only touched it."""

    family: str
    name: str
    on: tuple[str, ...] = ()
    unit: str = ""
    sides: tuple[str, ...] = ()
    general: bool = False
    not_made_of: frozenset[str] = frozenset()


@dataclass(frozen=True)
class Spelling:
    """One way of saying a term: senses asked for, each a set of which one is enough; `ask`: why it must be asked back;
    `loose`: one word of it tells, denied or not, which may say other things in other sayings, and it is no general word; `denies`: it says that
    the term is not so."""

    term: Term
    text: str
    asked: tuple[frozenset[Sense], ...]
    ask: str = ""
    stems: frozenset[str] = frozenset()
    bare: bool = False
    loose: bool = False
    denies: bool = False


@dataclass(frozen=True)
class Span:
    """Tokens first to last, both counted, read in one sense; `guessed` the word it was taken for."""

    first: int
    last: int
    sense: Sense
    guessed: str = ""

    @property
    def places(self) -> range:
        return range(self.first, self.last + 1)


class Index:
    """Made once from a vocabulary."""

    def __init__(self, vocabulary: Vocabulary):
        self.vocabulary = vocabulary
        self.whole = frozenset(stem(word) for word in vocabulary.lexicon.whole) | set(vocabulary.lexicon.whole)
        self.surfaces: dict[tuple[str, ...], dict[Sense, None]] = defaultdict(dict)
        self.small: dict[tuple[str, ...], dict[Sense, None]] = defaultdict(dict)
        self.raw: set[str] = set()
        self.written: set[tuple[str, ...]] = set()
        self.texts: dict[str, tuple[tuple[str, ...], tuple[str, ...]]] = {}
        self._learn()
        self.longest = min(MOST_SPAN, max(map(len, self.surfaces), default=1))
        self.spellings = self._loosened(list(self._spellings()))

    def tokens(self, text: str) -> list[Token]:
        return tokens(text, self.whole)

    def split(self, text: str) -> tuple[tuple[str, ...], tuple[str, ...]]:
        """The words of a text and their stems; its signs are left out."""
        return self.texts.get(text) or self._split(text)

    def _split(self, text: str) -> tuple[tuple[str, ...], tuple[str, ...]]:
        found = [t for t in self.tokens(folded(text)) if t.is_word]
        self.raw.update(t.text for t in found)
        result = self.texts[text] = tuple(t.text for t in found), tuple(t.stem for t in found)
        return result

    def _learn(self) -> None:
        lexicon, v = self.vocabulary.lexicon, self.vocabulary
        for idle in lexicon.idle:
            self.small[self.split(idle)[0]][("idle", "")] = None
        for cue, words in lexicon.cues.items():
            for word in words:
                self.small[self.split(word)[0]][("cue", cue)] = None
        for concept, said in lexicon.same.items():
            sense = ("word", " ".join(self.split(concept)[1]))
            for text in (concept, *(s.text for s in said)):
                self._add(text, sense)
        for section, slot in SLOTS.items():
            for value in {"sides": v.sides, "degrees": v.degrees, "extents": ()}[section]:
                self._add(value, (slot, value))
            for value, said in lexicon.qualifiers.get(section, {}).items():
                for text in (value, *(s.text for s in said)):
                    self._add(text, (slot, value))
        self._combine()
        for kind in v.kinds.values():
            more = lexicon.terms.get("kinds", {}).get(kind.name, ())
            for text in (kind.name, *kind.also, *(s.text for s in more)):
                self._add(text, ("part", kind.name))

    def _combine(self) -> None:
        """Words that combine to states and qualifiers, as the vocabulary has them and as people say them."""
        g, more = self.vocabulary.grammar, self.vocabulary.lexicon.terms
        slots: dict[str, Mapping[str, Any]] = {
            "point": g.points,
            "variable": g.variables,
            "made of": g.substances,
            "when": g.moments,
            **g.qualifiers,
        }
        for slot, terms in slots.items():
            said = more.get({"made of": "substances", "when": "moments"}.get(slot, slot + "s"), {})
            for name, term in terms.items():
                for text in (name, *term.also, *(s.text for s in said.get(name, ()))):
                    self._add(text, (slot, name))
        same: dict[tuple[str, ...], list[Any]] = defaultdict(list)
        for word, alike_words in self.vocabulary.lexicon.same.items():
            same[self.split(word)[1]] += alike_words
        for variable in g.variables.values():
            for name, term in variable.words.items():
                value = f"{variable.name}: {name}"
                for text in (name, *term.also, *(s.text for s in more.get("values", {}).get(value, ()))):
                    for alike in (text, *(s.text for s in same.get(self.split(text)[1], ()))):
                        self._add(alike, ("value", value))

    def _add(self, text: str, sense: Sense) -> None:
        words, stems = self.split(text)
        if stems:
            self.surfaces[stems][sense] = None
            self.written.add(words)

    def _spellings(self) -> Iterator[Spelling]:
        lexicon = self.vocabulary.lexicon
        for section, term, also in self._terms():
            name = term.name
            for text in dict.fromkeys((name.rpartition(": ")[2] if section == "settings" else name, *also)):
                bare = section == "acts" and text == name
                if (asked := self._asked(text)) and (text == name or _says(asked)):
                    yield Spelling(term, text, asked, "", self._telling(text), bare)
            for said in lexicon.terms.get(section, {}).get(name, ()):
                asked = self._asked(said.text)
                gone = section == "features" and self.vocabulary.features[name].gone
                if section == "readings" or _says(asked, gone):  # a figure beside it says enough: "track 6.5"
                    yield Spelling(term, said.text, asked, said.ask, self._telling(said.text))
            for said in lexicon.terms.get("absent", {}).get(name, ()) if section == "features" else ():
                if _says(asked := self._asked(said.text)):
                    yield Spelling(term, said.text, asked, said.ask, self._telling(said.text), denies=True)

    def _loosened(self, spellings: list[Spelling]) -> list[Spelling]:
        alone = {
            s for s in spellings
            if len(told := [a for a in s.asked if ("cue", "denied") not in a]) == 1 and "part" not in {slot for slot, _ in told[0]}
            and not s.term.general and (s.text != s.term.name or len(self.split(s.text)[0]) > 1)
        }  # fmt: skip
        return [replace(s, loose=s in alone) for s in spellings]

    def _terms(self) -> Iterator[tuple[str, Term, tuple[str, ...]]]:
        v = self.vocabulary
        for f in v.features.values():
            yield "features", Term("feature", f.name, f.on, "", f.sides, f.form, v.not_made_of(f.name)), f.also
        for a in v.grammar.acts.values():
            yield "acts", Term("act", a.name), a.also
        for s in v.settings.values():
            for name, also in s.terms.items():
                yield "settings", Term("setting", f"{s.name}: {name}"), also
        for r in v.readings.values():
            yield "readings", Term("reading", r.name, r.on, r.unit or "1"), r.also

    def _asked(self, text: str) -> tuple[frozenset[Sense], ...]:
        """The senses a spelling asks for: of each longest run of words all its senses, words that say nothing left out."""
        words, stems = self.split(text)
        asked: dict[frozenset[Sense], None] = {}
        place = 0
        while place < len(stems):
            senses, length = self._longest(words, stems, place)
            if senses:
                asked[frozenset(senses)] = None
            place += length
        return tuple(asked)

    def _telling(self, text: str) -> frozenset[str]:
        """The stems of a text but for words that say nothing."""
        return frozenset(
            s for w, s in zip(*self.split(text), strict=True) if ("idle", "") not in self.small.get((w,), {})
        )

    def _longest(self, words: tuple[str, ...], stems: tuple[str, ...], place: int) -> tuple[list[Sense], int]:
        for length in range(min(self.longest, len(stems) - place), 0, -1):
            end = place + length
            if senses := [s for s in self.surfaces.get(stems[place:end], ()) if s[0] not in STATED]:
                return senses, length
            if small := self.small.get(words[place:end]):
                return [s for s in small if s == ("cue", "denied")], length
        return [("word", stems[place])], 1

    @cached_property
    def weights(self) -> dict[Sense, float]:
        """How much a sense tells: more the fewer terms ask for it."""
        users: dict[Sense, set[str]] = defaultdict(set)
        for spelling in self.spellings:
            for sense in {s for asked in spelling.asked for s in asked}:
                users[sense].add(spelling.term.name)
        total = len({s.term.name for s in self.spellings})
        return {sense: min(1.4, max(0.5, math.log(total / len(names)) / 4)) for sense, names in users.items()}

    @cached_property
    def asked_weights(self) -> list[tuple[float, ...]]:
        """For each spelling the weights of what it asks for."""
        return [tuple(max(self.weights[sense] for sense in asked) for asked in s.asked) for s in self.spellings]

    @cached_property
    def asked(self) -> list[tuple[tuple[tuple[Sense, ...], tuple[str, ...], bool], ...]]:
        """For each spelling what it asks for: the senses, the kinds of part among them, and whether it is a denial."""
        made = {
            a: (tuple(sorted(a)), tuple(kind for slot, kind in sorted(a) if slot == "part"), ("cue", "denied") in a)
            for a in dict.fromkeys(a for s in self.spellings for a in s.asked)
        }
        return [tuple(made[a] for a in s.asked) for s in self.spellings]

    @cached_property
    def totals(self) -> list[float]:
        return [sum(weights) for weights in self.asked_weights]

    @cached_property
    def of_term(self) -> dict[tuple[str, str], list[int]]:
        """The spellings of each term, by its family and name."""
        found: dict[tuple[str, str], list[int]] = defaultdict(list)
        for number, spelling in enumerate(self.spellings):
            found[spelling.term.family, spelling.term.name].append(number)
        return found

    @cached_property
    def speller(self) -> Speller:
        return Speller(self.raw)

    @cached_property
    def words(self) -> frozenset[str]:
        """Every stem that stands in a spelling or a surface."""
        return frozenset(stem(word, self.whole) for word in self.raw)

    @cached_property
    def numbered(self) -> frozenset[tuple[str, str]]:
        """Pairs of words in a spelling one of which is a number: plan 11, 53 b."""
        pairs = (p for _, stems in self.texts.values() for p in pairwise(stems))
        return frozenset(p for p in pairs if p[0][0].isdecimal() or p[1][0].isdecimal())

    @cached_property
    def alone(self) -> dict[str, frozenset[Sense]]:
        """For each feature the senses that alone say it, or a general word above it."""
        own: dict[str, set[Sense]] = defaultdict(set)
        for spelling in self.spellings:
            if spelling.term.family == "feature" and len(spelling.asked) == 1 and not spelling.denies:
                own[spelling.term.name] |= {s for s in spelling.asked[0] if s[0] == "word"}
        lines = self.vocabulary.form_lineage
        return {name: frozenset(s for above in line for s in own[above]) for name, line in lines.items()}

    @cached_property
    def generals(self) -> dict[Sense, list[int]]:
        """For each sense the spellings of general words that it says alone."""
        found: dict[Sense, list[int]] = defaultdict(list)
        for number, spelling in enumerate(self.spellings):
            if spelling.term.general and len(spelling.asked) == 1 and not spelling.denies:
                for sense in spelling.asked[0]:
                    found[sense].append(number)
        return found

    @cached_property
    def usual_on(self) -> dict[str, tuple[str, ...]]:
        """For each form the kinds of part on which a special mark of it can be, none where no special one is bound to a part."""
        v = self.vocabulary
        return {name: tuple({on for s in v.special[name] for on in v.features[s].on}) for name in v.forms}

    @cached_property
    def sayings(self) -> Sayings:
        from diagnose.phrases.nearness import Sayings

        return Sayings(self)

    @cached_property
    def ranks(self) -> Ranks:
        from diagnose.phrases.rank import Ranks

        return Ranks(self)

    @cached_property
    def settings(self) -> dict[str, Statement]:
        return settings_said(self.vocabulary)

    def spans(self, found: list[Token]) -> list[Span]:
        """Every run of tokens with a sense; unknown words are tried joined, parted and misspelt, which is marked."""
        result = []
        for first in range(len(found)):
            run: tuple[str, ...] = ()
            raw: tuple[str, ...] = ()
            for last in range(first, min(len(found), first + MOST_SPAN)):
                if not found[last].is_word:
                    break
                run, raw = (*run, found[last].stem), (*raw, found[last].text)
                if last == first and self._figure(found, first):
                    continue
                senses = {} if self._only_alike(raw) else self.surfaces.get(run, {})
                small = self.small.get(raw, {})
                result += [Span(first, last, sense) for sense in (*senses, *small)]
                if last == first and not small and all(s[0] in STATED for s in senses):
                    result += self._repaired(found, first)
                elif last == first + 1 and not senses and not small and not self._cueing(raw):
                    joined = stem(found[first].text + found[last].text, self.whole)
                    result += [Span(first, last, sense) for sense in self.surfaces.get((joined,), {})]
                    if joined in self.words:
                        result.append(Span(first, last, ("word", joined)))
        named = {s.first for s in result if s.sense[0] in ("part", "point")}
        placing = {
            n
            for n in range(len(found))
            if self._beyond(found, n) in named and ("cue", "place") in self.small.get((found[n].text,), {})
        }
        result = [
            s for s in result if s.sense[0] != "value" or s.first < s.last or s.first not in placing
        ]  # "on" the line is not open
        return [*result, *self._within(found, named), *self._compared(found)]

    @staticmethod
    def _beyond(found: list[Token], place: int) -> int:
        """The place behind a word and the article that follows it."""
        return place + 1 + (found[place + 1 : place + 2] != [] and found[place + 1].text in _ARTICLES)

    def _only_alike(self, words: tuple[str, ...]) -> bool:
        """Whether words that say nothing only have the stems of some that do: "we" is not "wee", "in place" not "in places"."""
        return words not in self.written and all(("idle", "") in self.small.get((w,), {}) for w in words)

    def _cueing(self, words: tuple[str, ...]) -> bool:
        """Whether one of some words is a cue by itself: "no red" is not "nored"."""
        return any(slot == "cue" for word in words for slot, _ in self.small.get((word,), ()))

    def _within(self, found: list[Token], named: set[int]) -> Iterator[Span]:
        """What is said to be in something named, as it is said of it: "water in the oil" is oil with "water in it"."""
        for place in (n for n, t in enumerate(found) if t.text in ("in", "inside")):
            for first in range(max(0, place - MOST_SPAN + 2), place) if self._beyond(found, place) in named else ():
                run = (*(t.stem for t in found[first:place]), "in", "it")
                if ("cue", "denied") in self.small.get((found[first].text,), {}):
                    continue  # "no product in it" is empty, "no product in the pot" as it should be
                yield from (Span(first, place, sense) for sense in self.surfaces.get(run, ()))

    def _compared(self, found: list[Token]) -> Iterator[Span]:
        """How much more or less it is than what stands behind "than", with the thing said between: "less gas in it than usual"."""
        texts = [t.text for t in found]
        for than in (n for n, text in enumerate(texts) if text == "than"):
            more = next((n for n in range(than - 2, max(-1, than - MOST_SPAN), -1) if texts[n] in _COMPARING), None)
            for end in range(min(len(found), than + MOST_SPAN), than + 1, -1):
                if more is None:
                    break
                run = (found[more].stem, *(t.stem for t in found[than:end]))
                if senses := [s for s in self.surfaces.get(run, ()) if s[0] == "value"]:
                    yield from (Span(than, end - 1, sense) for sense in senses)
                    break

    def _figure(self, found: list[Token], place: int) -> bool:
        """Whether a token is a number that no spelling has beside the words beside it: a figure, not a name."""
        if not found[place].text[0].isdecimal():
            return False
        beside = pairwise(t.stem for t in found[max(0, place - 1) : place + 2])
        return self.numbered.isdisjoint(beside)

    def _repaired(self, found: list[Token], place: int) -> list[Span]:
        token = found[place]
        if token.stem in self.words:
            return [Span(place, place, ("word", token.stem))]
        if parted := self._parted(token.text):
            return [Span(place, place, sense) for sense in parted]
        guesses = self.speller.guess(token.text)
        if len({stem(g, self.whole) for g in guesses}) != 1:
            return []
        guess = guesses[0]
        stemmed = stem(guess, self.whole)
        senses = [*self.surfaces.get((stemmed,), {}), ("word", stemmed)]
        return [Span(place, place, sense, guess) for sense in dict.fromkeys(senses)]

    def _parted(self, word: str) -> list[Sense]:
        """The senses of a word written as one that is two: "nosewear"."""
        for cut in range(3, len(word) - 2):
            senses = self.surfaces.get((stem(word[:cut], self.whole), stem(word[cut:], self.whole)))
            if senses:
                return list(senses)
        return []


def _says(asked: Iterable[frozenset[Sense]], gone: bool = False) -> bool:
    """Whether a spelling says more than a part, how much or how far; where the part can be `gone`, that there is none is more."""
    slots = [{slot for slot, _ in senses} for senses in asked]
    beside = {"part", "cue", "degree", "extent", "side"}
    return any(found - beside for found in slots) or (
        gone and {"cue"} in slots and any("part" in found for found in slots)
    )


_made: dict[int, tuple[Vocabulary, Index]] = {}


def index_of(vocabulary: Vocabulary) -> Index:
    """The index of a vocabulary, made at its first use."""
    held = _made.get(id(vocabulary))
    if held is None or held[0] is not vocabulary:
        if len(_made) > 3:
            _made.clear()
        held = _made[id(vocabulary)] = (vocabulary, Index(vocabulary))
    return held[1]
