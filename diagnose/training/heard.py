"""What a trainee types, in their own words, as an act."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from difflib import get_close_matches
from functools import cached_property

from diagnose.phrases.index import index_of
from diagnose.phrases.read import read
from diagnose.phrases.tokens import stem
from diagnose.reading.terms import nearest, plain
from diagnose.training.bench import LOOK, MEASURE, Act
from diagnose.training.hidden import Hidden
from diagnose.training.naming import ranked

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
    "between",
    "behind",
    "inside",
    "round",
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
EACH = "both each every all any part item no number"
POLITE = r"^(i |we |i'll |let me |now |then |please |want to |would like to )+"
NAMES = r"^(?!\d+$)(?:(?! (?:of|under|in|on|for) ).)*(?<![\w-]){}"
"""Names of parts that hold a word before they say where the part is."""
HEAD = "(?:e?s)?(?= (?:of|under|in|on|for) |$)"
"""What is also a kind is no mere part of a name: the seal is not the seal chamber."""
ALIKE = 0.78
"""From how like a name a misspelt word is taken for it."""
MOST_NAMED = 6
NEAR = 0.4
NEARLY = 0.6
"""What may be meant says at least this part of what the best says."""


@dataclass(frozen=True)
class Misheard:
    """Why a line is no act, and what may have been meant; `instead`: the line that it was taken for."""

    says: str
    instead: str = ""


class Ear:
    """Understands lines about one seal."""

    def __init__(self, hidden: Hidden):
        self.hidden, self.words, self.teardown = hidden, hidden.words, hidden.teardown

    @cached_property
    def verbs(self) -> list[tuple[str, str]]:
        """(spelling, verb), longest first, so that "take out" is not "take"."""
        said = [(name, (name, *a.also)) for name, a in self.teardown.acts.items()]
        found = [(_bared(plain(t)), name) for name, texts in (*said, *self.teardown.said.items()) for t in texts]
        return sorted(dict(reversed(found)).items(), key=lambda x: (-len(x[0]), x[0]))

    @cached_property
    def names(self) -> dict[str, str]:
        """Item numbers and names of parts to their items."""
        parts = self.hidden.parts.values()
        return {plain(p.item): p.item for p in parts} | {plain(p.name): p.item for p in parts}

    @cached_property
    def nouns(self) -> frozenset[str]:
        """The stems of all words that name a part or a kind."""
        kinds = [text for k in self.words.kinds.values() for text in (k.name, *k.also)]
        texts = [*self.names, *map(plain, kinds), *map(plain, EACH.split())]
        return frozenset(stem(w) for text in texts for w in re.split(r"[\s,-]+", text)) | {
            stem(w) for t in texts for w in t.split(" ")
        }

    def hear(self, line: str) -> Act | Misheard:
        text = plain(line.strip().rstrip(".!?;"))
        text = re.sub(r"^put (.+) (?:in|into|in to) (?:a |the )?(?:bag|box)(?:s|es)?$", r"bag \1", text)
        if taken := re.match(r"^(?:take|pull|lift|prise|pry) (.+) out$", text):
            whole = any(_bared(text) == spelling for spelling, _ in self.verbs)
            text = text if whole else f"take out {taken[1]}"
        verb, rest = self._verb(text)
        if not verb and (meant := self._misspelt(text)):
            return meant
        if verb in self.teardown.acts:
            return self._handling(verb, rest, line)
        if verb == MEASURE:
            return self._measuring(rest, line, text)
        if verb in (LOOK, ASK):
            return self._asking(rest, line) if verb == ASK else self._looking(rest, line)
        if not text:
            return Misheard(
                "Say what you do: look at, ask about, measure, mark, tag, photograph, unbolt … (? shows more)."
            )
        bare = self._bare(text)
        named = self._measuring(text, line, text) if bare in self.cards or self.words.find("reading", bare) else None
        known = {stem(w) for w in bare.split(" ") if w not in SMALL} <= self.nouns
        looked = self._looking(text, line) if known else None
        for act in (looked, named):
            if isinstance(act, Act) and (act.items or act.kinds or act.card or act.reading) and not act.features:
                return act
        if isinstance(looked, Misheard):
            return looked
        first = text.partition(" ")[0]
        if acts := list(
            dict.fromkeys(verb for said, verb in self.verbs if first in said.split(" ") and verb in self.teardown.acts)
        ):
            return Misheard(f"I do not know what you do there; did you mean: {', '.join(acts)}?")
        near = self._by_meaning(text, NEAR)
        return Misheard(
            "I do not know what you do there"
            + (f"; to measure: {', '.join(near)}?" if near else " (? shows how to say it).")
        )

    def _verb(self, text: str) -> tuple[str, str]:
        text = _bared(re.sub(POLITE, "", text))
        for spelling, verb in self.verbs:
            if text == spelling or text.startswith(spelling + " "):
                return verb, text[len(spelling) :].strip()
        return "", text

    def _misspelt(self, text: str) -> Misheard | None:
        """A line whose first word is nearly a verb. It is asked back: what is done by mistake cannot be undone."""
        first, _, rest = re.sub(POLITE, "", text).partition(" ")
        if len(first) < 3 or stem(first) in self.nouns:
            return None
        near = get_close_matches(first, [s for s, _ in self.verbs if " " not in s], 1, ALIKE)
        instead = f"{near[0]} {rest}".strip() if near else ""
        return Misheard(f"I do not know {first!r}.", instead) if near else None

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
        one = re.sub(r"^(both|each|every|all|any)( of)?( the)? ", "", re.sub(r"^(part|item|no|number) ", "", piece))
        for spelling in dict.fromkeys((piece, one, one.removesuffix("s"), one.removesuffix("es"))):
            if spelling in self.names:
                return [self.names[spelling]], []
            if spelling.rpartition(" ")[2] in self.hidden.parts:
                return [spelling.rpartition(" ")[2]], []
            kind = self.words.find("kind", spelling)
            items = [i for i, p in self.hidden.parts.items() if kind in self.words.lineage[p.kind]]
            named = (NAMES + (HEAD if kind else "")).format(re.escape(spelling))
            if items := items or [i for n, i in self.names.items() if re.search(named, n)]:
                return items, []
            if kind:
                items = [i for i, p in self.hidden.parts.items() if self.hidden.related(p.kind, kind)]
                known = kind in self.hidden.kinds or not self.hidden.parts
                return (items, []) if items else ([], [kind]) if known else None
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
        told = f"I do not know {', '.join(map(repr, unknown))} on this seal ({way})"
        measured = [] if near else [n for u in unknown for n in self._by_meaning(u)]
        return Misheard(told + (f"; or measure: {', '.join(dict.fromkeys(measured))}?" if measured else ""))

    def _asking(self, rest: str, line: str) -> Act | Misheard:
        """People who are asked about one thing tell what they know of its subject."""
        asked = tuple(k for k in self.hidden.kinds if self.hidden.asked(k))
        if self._bare(rest) in ALL:
            return Act(LOOK, kinds=asked, words=line)
        heard = self._looking(rest, line)
        if isinstance(heard, Misheard) or heard.items or not {*heard.kinds} & {*asked}:
            return Misheard(f"People can be asked about: {', '.join(asked)}; ask about everything: all of these.")
        return replace(heard, kinds=tuple(k for k in heard.kinds if k in asked), features=())

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
        return Act(verb, items, kinds, words=line, unheard=tuple(unknown))

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
        return Act(LOOK, items, kinds, words=line, unheard=tuple(unknown)) if items or kinds else self._none(unknown)

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

    def _measuring(self, rest: str, line: str, whole: str) -> Act | Misheard:
        """`rest` is what follows the verb in `whole`; "swab" or "count" may itself say which measurement."""
        bare = self._bare(rest)
        before, on, after = bare.partition(" on ")
        for text in (bare, before) if on else (bare,):
            items = self.targets(after)[0] if on and text == before else ()
            if act := self._named(text, items, line):
                return act
        return self._nearly(bare, line, whole)

    def _named(self, text: str, items: tuple[str, ...], line: str) -> Act | Misheard | None:
        """The measurement or reading of this name; by one of its other names only where that fits no other."""
        if text in self.cards:
            return Act(MEASURE, card=self.cards[text], words=line)
        reading = self.words.find("reading", text)
        if not reading:
            return None
        several = [] if text in self.readings else [n for n in self._sought if _words(text) <= _words(n)]
        if len(several) > 1:
            return self._which(several)
        return Act(MEASURE, items, reading=reading, words=line)

    def _nearly(self, bare: str, line: str, whole: str) -> Act | Misheard:
        """The one measurement that has all the words said of measurements; else those that may be meant are named."""
        known = set().union(*map(_words, self._sought))
        said = _words(bare)
        for wanted in (_words(re.sub(POLITE, "", whole)) & known, said & known):
            fits = [n for n in self._sought if wanted <= _words(n)]
            if len(wanted) * 2 <= len(said) or not fits:
                continue
            if len(fits) == 1:
                return self._named(fits[0], (), line) or Misheard(fits[0])
            best = self._by_meaning(whole)
            return self._which(sorted(fits, key=lambda n: self.cards.get(n, n) not in best))
        near = self._by_meaning(whole) or nearest(bare, self._sought, 4)
        return Misheard(
            f"I do not know how to measure {bare!r}"
            + (f"; did you mean: {', '.join(near)}?" if near else " (type measurements for a list)")
        )

    def _by_meaning(self, text: str, least: float = 0.0) -> list[str]:
        """Measurements whose name or way of working says something of a text, best first."""
        cards = tuple((m.name, m.how) for m in self.hidden.knowledge.measurements.values())
        found = ranked(text, cards, index_of(self.words))
        return [n for n, x in found if x >= max(least, found[0][1] * NEARLY)]

    def _which(self, sought: Sequence[str]) -> Misheard:
        names = [self.cards.get(n, n) for n in sought[:MOST_NAMED]]
        rest = f" or {len(sought) - MOST_NAMED} more" if len(sought) > MOST_NAMED else ""
        return Misheard(f"There are several; which: {', '.join(names)}{rest}?")

    @cached_property
    def cards(self) -> dict[str, str]:
        return {_bared(plain(name)): name for name in self.hidden.knowledge.measurements}

    @cached_property
    def readings(self) -> dict[str, str]:
        return {plain(r.name): r.name for r in self.words.readings.values() if not r.section}

    @cached_property
    def _sought(self) -> list[str]:
        return list(dict.fromkeys([*self.cards, *self.readings]))


def _bared(text: str) -> str:
    return re.sub(r"\bthe ", "", text)


def _words(text: str) -> set[str]:
    return {w.strip(",").removesuffix("s") for w in text.split(" ")} - {w.removesuffix("s") for w in SMALL}
