"""Which part a term is said of, and how well that fits."""

from __future__ import annotations

from collections.abc import Iterable
from functools import lru_cache

from diagnose.phrases.clauses import Clause
from diagnose.phrases.index import Index, Term

NO_PART, ABOVE, WRONG_PART = 0.96, 0.97, 0.5
TOLD = frozenset({"leak", "sound", "history", "fit"})
"""What is told of a seal as a whole, whatever part is named beside."""
OF_ALL = 0.9
"""How well that fits a phrase said of another part, which names none of these."""
LEAKING = frozenset({"", "seal", "leak", "gland", "atmosphere side"})
"""What a leak may be said of without the word."""
TELLING = TOLD | LEAKING | {"machine", "product", "seal chamber"}
"""Said of these a phrase may well tell of the whole."""
OF_A_SEAL = frozenset({"shaft", "face", "secondary seal", "metal part", "atmosphere side", "throat bushing"})
"""Kinds of part of which what can lie anywhere in a seal may be said."""

_IN, _OUT = frozenset({"in", "inside", "within", "on"}), frozenset({"outside", "off", "beside", "beyond", "behind"})
_ARTICLES = frozenset({"the", "a", "an", "its", "of", "from"})


def named_kinds(clause: Clause) -> dict[str, frozenset[int]]:
    """The kinds of part a clause names, in the order of the words, those behind a word for a place last."""
    spans = clause.slots.get("part", [])
    covered = {s: any(o is not s and o.first <= s.first and s.last <= o.last and len(o.places) > len(s.places) for o in spans)
               for s in spans}  # fmt: skip
    order = sorted(spans, key=lambda s: (covered[s], behind_a_place(clause, s.first), s.first, -len(s.places), s.sense))
    return {s.sense[1]: frozenset(s.places) for s in reversed(order)} and {
        kind: frozenset(p for s in order if s.sense[1] == kind for p in s.places)
        for kind in dict.fromkeys(s.sense[1] for s in order)
    }


def elsewhere(term: str, clause: Clause) -> bool:
    """Whether a term says another place than the clause: "attack outside the track" of what is etched in the track."""
    named = _relations(tuple(term.split()))
    said = _relations(tuple(t.text for t in clause.tokens)) if named else {}
    return any(said.get(thing, relation) != relation for thing, relation in named.items())


@lru_cache(maxsize=4096)
def _relations(words: tuple[str, ...]) -> dict[str, bool]:
    """The things that words name a place by, and whether it is in them: in the track, outside it."""
    found: dict[str, bool] = {}
    for n, word in enumerate(words):
        if word in _IN or word in _OUT:
            thing = next((w for w in words[n + 1 :] if w not in _ARTICLES), "")
            found[thing.removesuffix("s")] = word in _IN
    return found


def behind_a_place(clause: Clause, place: int) -> bool:
    """Whether a word for a place stands right before."""
    return any(0 < place - p <= 2 for s in clause.cues("place") for p in s.places)


def part_said(
    term: Term, named: dict[str, frozenset[int]], behind: dict[str, bool], subject: str, index: Index
) -> tuple[str, float, frozenset[int]]:
    """(kind it is on, how well that fits, places of the words that name it). Fitting is no part that anything is done to."""
    v, on = index.vocabulary, term.on
    if term.family == "act":
        named = {kind: places for kind, places in named.items() if kind != "fit"}

    if on and TOLD.issuperset(on):
        about = ("seal", "machine", *on, *(sorted(LEAKING) if on == ("leak",) else ()))
        told = subject in TELLING or not TELLING.isdisjoint(named)
        return on[0], 1.0 if told else OF_ALL, frozenset(p for kind in about for p in named.get(kind, ()))

    def fits(kind: str) -> bool:
        return v.fits(kind, on)

    if subject and named and on and fits(subject) and not any(fits(kind) and not behind[kind] for kind in named):
        return subject, NO_PART, next((p for kind, p in named.items() if kind in v.lineage[subject]), frozenset())
    for kind, places in named.items():
        if fits(kind):
            narrower = subject if subject and kind in v.lineage[subject] and fits(subject) else kind
            return narrower, 1.0 if not on or set(on) & set(v.lineage[narrower]) else ABOVE, places
    if named and not on:
        return next(iter(named)), 1.0, next(iter(named.values()))
    if "seal" in on and (inner := next((k for k in named if OF_A_SEAL & {k, *v.lineage[k]}), "")):
        return "seal", ABOVE, named[inner]
    if named:
        return on[0], WRONG_PART, frozenset()
    if subject and subject in v.lineage:
        if fits(subject):
            return subject, 1.0 if not on or set(on) & set(v.lineage[subject]) else ABOVE, frozenset()
        return on[0], WRONG_PART, frozenset()
    return (on[0] if len(on) == 1 else "", NO_PART, frozenset())


def place_of(term: Term) -> tuple[tuple[str, ...], bool]:
    """What of a term tells the part it is said of: the kinds it can be on, and whether it is done."""
    return term.on, term.family == "act"


class Parts:
    """The parts a clause names, `subject` that it goes on about, and of which of them each term is said; worked out once."""

    def __init__(self, clause: Clause, index: Index, subject: str):
        self.index, self.subject = index, subject
        self.named = named_kinds(clause)
        self.behind = {kind: behind_a_place(clause, min(places)) for kind, places in self.named.items()}
        self.said: dict[tuple[tuple[str, ...], bool], tuple[str, float, frozenset[int]]] = {}

    def of(self, term: Term) -> tuple[str, float, frozenset[int]]:
        """(kind a term is on, how well that fits, places of the words that name it)."""
        key = place_of(term)
        if key not in self.said:
            self.said[key] = part_said(term, self.named, self.behind, self.subject, self.index)
        return self.said[key]

    def unnamed(self, term: Term) -> float:
        """How well a term fits, were none named."""
        return part_said(term, {}, {}, self.subject, self.index)[1]


def related(kinds: tuple[str, ...], named: dict[str, frozenset[int]], index: Index) -> frozenset[int]:
    line = index.vocabulary.lineage
    return next((p for kind, p in named.items() for k in kinds if k in line[kind]), frozenset())


def implied(kinds: Iterable[str], term_on: tuple[str, ...], on: str, index: Index) -> bool:
    line = index.vocabulary.lineage
    return any(k in line.get(o, ()) for k in kinds for o in ((on,) if on else term_on))
