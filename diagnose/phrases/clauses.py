"""A phrase parted into clauses, each with its words, senses, figures and what they deny."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from functools import cached_property

from diagnose.phrases.index import Index, Sense, Span
from diagnose.phrases.lift import FIRST, Lifted, lift
from diagnose.phrases.tokens import Token, folded
from diagnose.reading.units import BadUnit, unit

MOST_CLAUSES, MOST_DENIALS = 8, 3
_PARTS = frozenset({".", ";", ":", "!", "?", "\n", ","})
_TURNS = frozenset({"but", "however", "then", "although", "though", "while", "whereas", "yet", "plus"})
_SIZES = frozenset({"deep", "wide", "long", "thick", "high", "across"})
_HOURS = frozenset(map(str, range(1, 13)))
_ARTICLES = frozenset({"the", "a", "an"})
_JOINS = frozenset({"and", "&", "+", "or", "nor", "/"})
UNITS = {"h": "hours", "min": "minutes", "Shore A": "shore"}
QUALIFYING = ("side", "degree", "extent", "runs", "colour", "texture", "made of", "when")
WORDS = ("word", "part", "point", "idle", "cue")
BESIDE = frozenset({"part", "point", "side", "degree", "extent", "when"})


@dataclass
class Clause:
    """`tokens` with the `spans` over them; `joined`: the word before the clause that binds it to the one before;
    `denied`: a denial of an earlier clause reaches it; `losses`: what an unread word at a place counts, as far as asked for."""

    tokens: list[Token]
    spans: list[Span]
    lifted: dict[int, Lifted]
    joined: str = ""
    denied: bool = False
    losses: dict[int, float] = field(default_factory=dict)

    @cached_property
    def senses(self) -> dict[Sense, list[Span]]:
        table: dict[Sense, list[Span]] = {}
        for span in self.spans:
            table.setdefault(span.sense, []).append(span)
        return table

    @cached_property
    def stems(self) -> str:
        return " ".join(t.stem for t in self.tokens)

    @cached_property
    def slots(self) -> dict[str, list[Span]]:
        """The spans by the slots of their senses."""
        table: dict[str, list[Span]] = {}
        for span in self.spans:
            table.setdefault(span.sense[0], []).append(span)
        return table

    @cached_property
    def values_at(self) -> dict[int, list[Span]]:
        """The spans of values by the places they cover."""
        table: dict[int, list[Span]] = {}
        for span in self.slots.get("value", ()):
            for place in span.places:
                table.setdefault(place, []).append(span)
        return table

    @cached_property
    def idle(self) -> frozenset[int]:
        """Places whose words say nothing: signs, idle words, cues; not an idle word or a place that can also say something."""
        said = {p for s in self.spans if s.sense[0] not in ("idle", "cue") for p in s.places}
        worded = {(s.first, s.last) for s in self.slots.get("word", ()) if s.first < s.last}
        cues = {
            p
            for s in self.slots.get("cue", ())
            if s.sense[1] != "place" and (s.first, s.last) not in worded
            for p in s.places
        }
        signs = {n for n, t in enumerate(self.tokens) if not t.is_word and n not in self.lifted}
        return frozenset(self.small - said | signs | cues)

    @cached_property
    def small(self) -> frozenset[int]:
        """Places whose words may say nothing."""
        return frozenset(p for s in self.spans if s.sense[0] in ("idle", "cue") for p in s.places)

    @cached_property
    def partly(self) -> frozenset[int]:
        return frozenset(p for s in self.spans if s.sense[0] == "part" for p in s.places)

    @cached_property
    def naming(self) -> frozenset[int]:
        """Places of words that name a part or a point."""
        return self.partly | {p for s in self.slots.get("point", ()) for p in s.places}

    @cached_property
    def content(self) -> frozenset[int]:
        """Places of words that say something."""
        return frozenset(range(len(self.tokens))) - self.idle

    @cached_property
    def bare(self) -> dict[int, str]:
        """Numbers without a unit that are no part of a name, by place."""
        known = {p for s in self.spans for p in s.places}
        return {
            n: t.text.replace(",", ".") for n, t in enumerate(self.tokens) if t.text[0].isdecimal() and n not in known
        }

    @cached_property
    def earlier(self) -> frozenset[int]:
        """Places of figures that are so no more: the 4 of "from 4 to 11"."""
        figures = {p for p, x in self.lifted.items() if x.kind == "amount"} | self.bare.keys()
        words = [t.text for t in self.tokens]
        return frozenset(
            p for p in figures if p + 2 in figures and words[max(0, p - 1)] == "from" and words[p + 1] == "to"
        )

    @cached_property
    def sector(self) -> tuple[str, frozenset[int]] | None:
        """The hours of "from 2 to 6", which of a mark are clock positions, and their places; opposite hours
        stand in sayings of a half or of two spots."""
        words = [t.text for t in self.tokens]
        for place in range(len(words) - 3):
            before, first, between, last = words[place : place + 4]
            if (before, between) != ("from", "to") or not {first, last} <= _HOURS:
                continue
            if abs(int(first) - int(last)) != 6:
                return f"{first} to {last}", frozenset(range(place, place + 4))
        return None

    @property
    def heads(self) -> frozenset[int]:
        """Places that do more than name a part or point, or qualify; figures and hours are no heads."""
        slots: dict[int, set[str]] = {}
        for span in self.spans:
            for place in span.places:
                slots.setdefault(place, set()).add(span.sense[0])
        beside = {
            p for p, found in slots.items() if found <= BESIDE or ("part" in found and found <= BESIDE | {"made of"})
        }
        hours = self.sector[1] if self.sector else frozenset()
        return self.content - beside - self.lifted.keys() - self.bare.keys() - self.small - self.sizes - hours

    @property
    def sizes(self) -> frozenset[int]:
        """Places that only say of what the figure before them is: "0.2 mm deep" is no mark of its own."""
        return frozenset(p + 1 for p in self.lifted if p + 1 < len(self.tokens) and self.tokens[p + 1].text in _SIZES)

    @cached_property
    def cued(self) -> dict[str, list[Span]]:
        """Where each cue stands that is not a part of a longer word or another cue: "would not move" denies nothing."""
        longer = [s for s in self.spans if s.first < s.last and s.sense[0] in WORDS]
        return {
            sense[1]: [c for c in spans if not any(
                s.first <= c.first and c.last <= s.last and len(s.places) > len(c.places) for s in longer
            )]
            for sense, spans in self.senses.items() if sense[0] == "cue"
        }  # fmt: skip

    def cues(self, cue: str) -> list[Span]:
        return self.cued.get(cue, [])

    def denied_without(self, places: set[int] | frozenset[int]) -> bool:
        """Whether some words are read out of a longer one, without the denial that begins it: the "fitted" of "never fitted"."""
        return any(
            not places.isdisjoint(s.places) and places.isdisjoint(c.places)
            for c in self.senses.get(("cue", "denied"), ())
            for s in self.spans
            if s.first == c.first and s.last > c.last and s.sense[0] in (*WORDS, "value")
        )

    def likened(self, place: int) -> bool:
        """Whether a word is what something is only compared with: "like a sausage", "hard as a biscuit"."""
        before = [t.text for t in self.tokens[max(0, place - 2) : place]]
        return any(w in ("like", "as") for w in before)

    def named(self, span: Span) -> bool:
        """Whether a word is only a piece of the name of a part, a point or a time: the trace of "trace heating", not the pump of
        "the pump"."""
        return any(
            s.first <= span.first
            and span.last <= s.last
            and any(self.tokens[p].text not in _ARTICLES for p in s.places if p not in span.places)
            for slot in ("part", "point", "when")
            for s in self.slots.get(slot, ())
        )

    def part(self, first: int, last: int, joined: str = "") -> Clause:
        """The clause of its tokens from first up to last."""
        spans = [Span(s.first - first, s.last - first, s.sense, s.guessed) for s in self.spans
                 if first <= s.first and s.last < last]  # fmt: skip
        lifted = {p - first: x for p, x in self.lifted.items() if first <= p < last}
        return Clause(self.tokens[first:last], spans, lifted, joined)

    def without(self, places: frozenset[int]) -> Clause:
        """The clause without the tokens at some places."""
        moved = {p: n for n, p in enumerate(p for p in range(len(self.tokens)) if p not in places)}
        spans = [
            replace(s, first=moved[s.first], last=moved[s.last]) for s in self.spans if places.isdisjoint(s.places)
        ]
        lifted = {moved[p]: x for p, x in self.lifted.items() if p in moved}
        return Clause([self.tokens[p] for p in moved], spans, lifted, self.joined, self.denied)

    def words(self, places: frozenset[int] | set[int]) -> tuple[str, ...]:
        return tuple(self.lifted[p].said if p in self.lifted else self.tokens[p].text for p in sorted(places))


@dataclass
class Phrase:
    """The clauses of a phrase and the words beyond the bounds."""

    clauses: list[Clause]
    beyond: tuple[str, ...] = field(default=())


def phrase_of(text: str, index: Index) -> Phrase:
    """A phrase parted at signs and turning words, bounded in length."""
    lowered, lifted = lift(text[:600])
    tokens = index.tokens(folded(lowered))
    placed = {
        n: lifted[ord(t.text) - FIRST] for n, t in enumerate(tokens) if FIRST <= ord(t.text[0]) < FIRST + len(lifted)
    }
    units = [Span(n, n, ("word", index.split(UNITS.get(x.unit, x.unit))[1][0])) for n, x in placed.items()
             if x.kind in ("amount", "time") and x.unit[0].isalpha()]  # fmt: skip
    whole = Clause(tokens, [*index.spans(tokens), *units], placed)
    clauses = list(_parted(whole))
    beyond = [w for c in clauses[MOST_CLAUSES:] for w in c.words(c.content)]
    return Phrase(clauses[:MOST_CLAUSES], (*beyond, *re.findall(r"\w+", text[600:])[:200]))


def _parted(whole: Clause) -> Iterator[Clause]:
    inside = {p for s in whole.spans for p in s.places if s.first < p}
    start, joined = 0, ""
    for place, token in enumerate([*whole.tokens, Token(".", ".")]):
        if (token.text in _PARTS or token.text in _TURNS) and place not in inside:
            if place > start:
                yield whole.part(start, place, joined)
            start, joined = place + 1, token.text


def denials(clause: Clause) -> list[Clause]:
    """The clause parted before a denial in its midst: "rubbed long ways not dented"; itself alone where there is none."""
    for cue in sorted(clause.cues("denied"), key=lambda s: s.first)[:MOST_DENIALS]:
        before, after = clause.part(0, cue.first, clause.joined), clause.part(cue.first, len(clause.tokens))
        if before.heads - before.naming and after.heads:
            return [before, after]
    return [clause]


def contrasted(clause: Clause) -> tuple[Clause, tuple[str, ...]]:
    """The clause without what it is only set against, which denies nothing before it, and the words of that: "drips off the plug,
    not the seal", "heavy at the outer edge, nothing at the inner"."""
    for cue in clause.cues("denied")[:MOST_DENIALS]:
        before, after = clause.part(0, cue.first, clause.joined), clause.part(cue.last + 1, len(clause.tokens))
        for slot in ("part", "point", "side"):
            if (
                before.heads
                and not after.heads
                and after.slots.get(slot)
                and before.slots.get(slot)
                and not before.cues("denied")
            ):
                return before, after.words(after.content)
    return clause, ()


def halves(clause: Clause) -> list[Clause]:
    """The clause parted at and, or, nor; itself alone where there is none."""
    result, start, joined = [], 0, clause.joined
    inside = {p for s in clause.spans for p in s.places if s.first < p}
    for place, token in enumerate([*clause.tokens, Token("and", "and")]):
        if token.text in _JOINS and place not in inside:
            if place > start:
                result.append(clause.part(start, place, joined))
            start, joined = place + 1, token.text
    return result[:MOST_CLAUSES]


def value_said(asked: str, clause: Clause) -> tuple[int, Lifted] | None:
    """The figure of a clause in a unit like the asked one."""
    for place, lifted in (
        (p, x) for p, x in clause.lifted.items() if x.kind in ("amount", "time") and p not in clause.earlier
    ):
        try:
            if unit(lifted.unit).kind == unit("" if asked == "1" else asked).kind:
                return place, lifted
        except BadUnit:
            continue
    if asked == "1" or not clause.bare:
        return None
    place, number = next((p, n) for p, n in clause.bare.items() if p not in clause.earlier)
    return place, Lifted("amount", f"{number} {asked}", number, asked, True)
