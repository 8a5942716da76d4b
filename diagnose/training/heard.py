"""What a trainee types, in their own words, as an act."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from difflib import get_close_matches
from functools import cached_property

from diagnose.phrases.read import read
from diagnose.phrases.tokens import stem
from diagnose.reading.terms import nearest, plain
from diagnose.training.bench import LOOK, MEASURE, Act
from diagnose.training.hidden import Hidden

SMALL = (
    "the",
    "a",
    "an",
    "at",
    "about",
    "on",
    "for",
    "of",
    "from",
    "in",
    "my",
    "its",
    "their",
    "to",
    "into",
    "with",
    "them",
    "it",
    "out",
    "up",
    "off",
)
ALL = (
    "",
    "around",
    "all",
    "everything",
    "every part",
    "all parts",
    "each part",
    "all of it",
    "all of them",
    "seal",
    "rest",
    "them all",
    "every one",
)
ASK = "ask"
ALIKE = 0.78
"""From how like a name a misspelt word is taken for it."""


@dataclass(frozen=True)
class Misheard:
    """Why a line is no act, and what may have been meant."""

    says: str


class Ear:
    """Understands lines about one seal."""

    def __init__(self, hidden: Hidden):
        self.hidden, self.words, self.teardown = hidden, hidden.words, hidden.teardown

    @cached_property
    def verbs(self) -> list[tuple[str, str]]:
        """(spelling, verb), longest first, so that "take out" is not "take"."""
        found = [(plain(text), name) for name, a in self.teardown.acts.items() for text in (name, *a.also)]
        found += [(plain(text), name) for name, texts in self.teardown.said.items() for text in texts]
        return sorted(dict(reversed(found)).items(), key=lambda x: (-len(x[0]), x[0]))

    @cached_property
    def names(self) -> dict[str, str]:
        """Item numbers and names of parts to their items."""
        parts = self.hidden.parts.values()
        return {plain(p.item): p.item for p in parts} | {plain(p.name): p.item for p in parts}

    def hear(self, line: str) -> Act | Misheard:
        text = plain(re.sub(r"[.!?;]+$", "", line.strip()))
        text = re.sub(r"^put (.+) (?:in|into|in to) (?:a |the )?(?:bag|box)(?:s|es)?$", r"bag \1", text)
        verb, rest = self._verb(text)
        if verb in self.teardown.acts:
            return self._handling(verb, rest, line)
        if verb == MEASURE:
            return self._measuring(rest, line)
        if verb in (LOOK, ASK):
            return self._asking(rest, line) if verb == ASK else self._looking(rest, line)
        if not text:
            return Misheard(
                "Say what you do: look at, ask about, measure, mark, tag, photograph, unbolt … (? shows more)."
            )
        bare = self._bare(text)
        named = self._measuring(text, line) if bare in self.cards or self.words.find("reading", bare) else None
        for act in (self._looking(text, line), named):
            if isinstance(act, Act) and (act.items or act.kinds or act.card or act.reading) and not act.features:
                return act
        near = nearest(text, [s for s, _ in self.verbs], 3)
        return Misheard(
            "I do not know what you do there"
            + (f"; did you mean: {', '.join(near)}?" if near else " (? shows how to say it).")
        )

    def _verb(self, text: str) -> tuple[str, str]:
        text = re.sub(r"^(i |we |i'll |let me |now |then |please |want to |would like to )+", "", text)
        for spelling, verb in self.verbs:
            if text == spelling or text.startswith(spelling + " "):
                return verb, text[len(spelling) :].strip()
        first, _, rest = text.partition(" ")
        near = get_close_matches(first, [s for s, _ in self.verbs if " " not in s], 1, ALIKE) if len(first) > 2 else []
        if near:
            return dict(self.verbs)[near[0]], rest
        return "", text

    # ---- what it is done to -----------------------------------------------------------------------------------

    def _bare(self, text: str) -> str:
        words = text.split(" ")
        while words and words[0] in SMALL:
            words = words[1:]
        while words and words[-1] in SMALL:
            words = words[:-1]
        return " ".join(words)

    def targets(self, text: str) -> tuple[tuple[str, ...], tuple[str, ...], list[str]]:
        """(items, kinds, what was not understood) of "the carbon ring, O-rings and gland"."""
        items, kinds, unknown = list[str](), list[str](), list[str]()
        if plain(text) in self.names:
            return (self.names[plain(text)],), (), []
        for piece in filter(None, (self._bare(p) for p in re.split(r"\s*(?:,|;|&|\band\b|\bplus\b)\s*", text))):
            found = self._target(piece)
            if found is None:
                unknown.append(piece)
            else:
                items += found[0]
                kinds += found[1]
        return tuple(dict.fromkeys(items)), tuple(dict.fromkeys(kinds)), unknown

    def _target(self, piece: str) -> tuple[list[str], list[str]] | None:
        for spelling in (
            piece,
            piece.removesuffix("s"),
            piece.removesuffix("es"),
            re.sub(r"^(part|item|no|number) ", "", piece),
            re.sub(r"^(both|each|every|all|any)( of)?( the)? ", "", piece),
        ):
            if spelling in self.names:
                return [self.names[spelling]], []
            if spelling.rpartition(" ")[2] in self.hidden.parts:
                return [spelling.rpartition(" ")[2]], []
            if kind := self.words.find("kind", spelling):
                items = [i for i, p in self.hidden.parts.items() if kind in self.words.lineage[p.kind]]
                items = items or [i for i, p in self.hidden.parts.items() if self.hidden.related(p.kind, kind)]
                known = kind in self.hidden.kinds or not self.hidden.parts
                return (items, []) if items else ([], [kind]) if known else None
        held = [
            item
            for name, item in self.names.items()
            if re.search(rf"\b{re.escape(piece)}", name) and not name.isdecimal()
        ]
        if held:
            return held, []
        stems = {stem(w) for w in piece.split(" ")}
        if said := [k for k in self.hidden.kinds if {stem(w) for w in plain(k).split(" ")} <= stems]:
            return [], said[:1]
        near = (
            get_close_matches(piece, [n for n in self.names if not n.isdecimal()], 1, ALIKE) if len(piece) > 3 else []
        )
        return ([self.names[near[0]]], []) if near else None

    def _none(self, unknown: Sequence[str]) -> Misheard:
        names = [p.name for p in self.hidden.parts.values()]
        near = [n for u in unknown for n in nearest(u, [*names, *self.hidden.kinds], 2)]
        way = f"did you mean: {', '.join(dict.fromkeys(near))}?" if near else "parts shows what there is to look at"
        return Misheard(f"I do not know {', '.join(map(repr, unknown))} on this seal ({way})")

    def _asking(self, rest: str, line: str) -> Act | Misheard:
        """People who are asked about one thing tell what they know of its subject."""
        asked = tuple(k for k in self.hidden.kinds if self.hidden.asked(k))
        if self._bare(rest) in ALL:
            return Act(LOOK, kinds=asked, words=line)
        heard = self._looking(rest, line)
        if isinstance(heard, Misheard):
            return Misheard(f"People can be asked about: {', '.join(asked)}.")
        return replace(heard, features=()) if heard.kinds and set(heard.kinds) <= set(asked) else heard

    # ---- acts -------------------------------------------------------------------------------------------------

    def _handling(self, verb: str, rest: str, line: str) -> Act | Misheard:
        bare = self._bare(
            re.sub(r"\b(at its clock position|together|apart|in (a )?bags?|into (a )?bags?|with .*)$", "", rest).strip()
        )
        act = self.teardown.acts[verb]
        if bare in ALL or not act.each:
            return Act(verb, words=line)
        items, kinds, unknown = self.targets(bare)
        if unknown and not items and not kinds:
            return self._none(unknown)
        return Act(verb, items, kinds, words=line)

    def _looking(self, rest: str, line: str) -> Act | Misheard:
        bare = self._bare(rest)
        if bare in ALL and bare not in self.hidden.kinds:
            return Act(LOOK, words=line)
        before, on, after = bare.rpartition(" on ")
        if " for " in f" {bare}" and not on:
            after, on, before = bare.partition(" for ")
        if on and before:
            items, kinds, unknown = self.targets(after)
            features = self._features(before)
            if features and not unknown:
                return Act(LOOK, items, kinds, features, words=line)
        items, kinds, unknown = self.targets(bare)
        if not unknown and (items or kinds):
            return Act(LOOK, items, kinds, words=line)
        features = self._features(bare)
        where = self._where(features) if not (items or kinds) else ((), ())
        if any(where):
            return Act(LOOK, *where, features, words=line)
        return Act(LOOK, items, kinds, words=line) if items or kinds else self._none(unknown)

    def _features(self, text: str) -> tuple[str, ...]:
        named = [self.words.feature(self._bare(p)) for p in re.split(r"\s*(?:,|\band\b|\bor\b)\s*", text)]
        if named and all(named):
            return tuple(n for n in named if n)
        if whole := self.words.feature(text):
            return (whole,)
        said = [s for r in read(text, self.words)[:1] for s in r.statements if s.family == "feature"]
        return tuple(dict.fromkeys(s.term for s in said))

    def _where(self, features: Iterable[str]) -> tuple[tuple[str, ...], tuple[str, ...]]:
        """The parts, or else the kinds, on which features can be."""
        items, kinds = list[str](), list[str]()
        for f in features:
            on = self.words.features[f].on
            here = [i for i, p in self.hidden.parts.items() if any(k in self.words.lineage[p.kind] for k in on)]
            items += here
            kinds += [] if here else [k for k in on if k in self.hidden.kinds][:1]
        return tuple(dict.fromkeys(items)), tuple(dict.fromkeys(kinds))

    def _measuring(self, rest: str, line: str) -> Act | Misheard:
        bare = self._bare(rest)
        before, on, after = bare.partition(" on ")
        for text in (bare, before) if on else (bare,):
            if text in self.cards:
                return Act(MEASURE, card=self.cards[text], words=line)
            if reading := self.words.find("reading", text):
                items = self.targets(after)[0] if on and text == before else ()
                return Act(MEASURE, items, reading=reading, words=line)
        return self._nearly(bare, line)

    @cached_property
    def cards(self) -> dict[str, str]:
        return {plain(name): name for name in self.hidden.knowledge.measurements}

    def _nearly(self, bare: str, line: str) -> Act | Misheard:
        """The measurement that has all the words, or most of them; several are named."""
        wanted = {w.removesuffix("s") for w in bare.split(" ") if w not in SMALL}
        held = {
            n: len(wanted & {w.removesuffix("s").strip(",") for w in n.split(" ")})
            for n in [*self.cards, *self.readings]
        }
        most = max(held.values(), default=0)
        best = [n for n, hits in held.items() if hits == most and most * 2 > len(wanted)]
        if len(best) == 1 and best[0] in self.cards:
            return Act(MEASURE, card=self.cards[best[0]], words=line)
        if len(best) == 1:
            return Act(MEASURE, reading=self.readings[best[0]], words=line)
        near = best[:5] or nearest(bare, [*self.cards, *self.readings], 4)
        return Misheard(
            f"I do not know how to measure {bare!r}"
            + (f"; did you mean: {', '.join(near)}?" if near else " (type measurements for a list)")
        )

    @cached_property
    def readings(self) -> dict[str, str]:
        return {plain(r.name): r.name for r in self.words.readings.values() if not r.section}
