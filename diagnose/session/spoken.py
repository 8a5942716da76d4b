"""What is said at a look in somebody's own words: which feature it names, and what is on record of it."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Any

from diagnose.casefile import walk
from diagnose.casefile.cards import Card, gathered
from diagnose.casefile.elsewhere import WHOLE
from diagnose.casefile.named import at_part, parts_named
from diagnose.casefile.replay import What
from diagnose.casefile.spoken import records_of, removal_said
from diagnose.casefile.walk import Topic
from diagnose.knowledge.model import Feature
from diagnose.phrases.beside import beside
from diagnose.phrases.model import Reading, rendered
from diagnose.phrases.read import read
from diagnose.phrases.told import DENIED
from diagnose.reading.figures import number_of
from diagnose.reading.terms import nearest, plain
from diagnose.session.asked_back import AskedBack
from diagnose.session.entries import ALL, NONE, Said, says_what
from diagnose.session.kept import Kept
from diagnose.session.photos import more_photos
from diagnose.session.prompts import Words
from diagnose.session.talk import BOUND, Talk

OnWhich = Callable[[str, dict[str, tuple[Topic, ...]]], tuple[Topic, ...]]
SMALL = frozenset(
    {"the", "a", "an", "in", "on", "of", "at", "to", "from", "under", "had", "been", "was", "were", "is", "and", "it"}
)
"""Words that are not told of as unread: they say nothing alone."""
TOGETHER = " and "
"""Between statements that one choice would put on record, as choices are parted by semicolons."""
Details = Callable[[str], tuple[dict[str, Any], list[dict[str, str]]]]


class Spoken:
    """`details` reads where and how much a mark is, and its photos beyond the first; `on_which` asks which of several are meant."""

    def __init__(self, talk: Talk, asked_back: AskedBack, details: Details, on_which: OnWhich, kept: Kept):
        self.kept = kept
        self.talk, self.words, self.asked_back, self.details, self.on_which = (
            talk,
            talk.words,
            asked_back,
            details,
            on_which,
        )

    def fits(self, topic: Topic, feature: Feature) -> bool:
        """A general word, as "flattened", fits every part, but no history and no machine."""
        return bool(topic.part or feature.on) and self.words.fits(topic.kind, feature.on)

    def spellings(self, card: Card) -> Words:
        """Every spelling of what can be said here, what is asked for first."""
        named = {c.feature: None for c in card.choices}
        fitting = sorted(f.name for f in self.words.features.values() if any(self.fits(t, f) for t in card.topics))
        order = [self.words.features[f] for f in dict.fromkeys([*named, *fitting])]
        readings = {n: n for n, _ in card.readings}
        return {word: f.name for f in order for word in (f.name, *f.also)} | readings

    def known(self, card: Card, item: str) -> Callable[[str], str]:
        """Finds the feature of a number or a spelling that fits the card."""
        topics = [t for t in card.topics if item in ("", t.part)]
        asked = {c.feature for c in card.choices}
        fitting = [f for f in self.words.features.values() if f.name in asked or any(self.fits(t, f) for t in topics)]
        table = {plain(word): f.name for f in fitting for word in (f.name, *f.also)}

        def find(word: str) -> str:
            if word.isdecimal():
                number = number_of(word)
                return card.choices[number - 1].feature if 0 < number <= len(card.choices) else ""
            return table.get(plain(word), "")

        return find

    def record(self, card: Card, said: Said, phrase: str, more: str) -> bool:
        """Records a phrase as it is read, with the details that stand behind it, asking which reading is meant where it is
        not sure; what nothing is read in, or not what was meant, is kept as said. Whether it was read."""
        if not says_what(phrase, self.words):
            self.talk.say(
                f"  {phrase!r} does not say what was seen; by number or word: 3, or 3: 10 to 2, severe", hang=4
            )
            return False
        if removal := removal_said(phrase, {"part": said.item}):
            self.talk.say(f"  read as: how the seal came out: {removal[0]['to']}", hang=4)
            return self.talk.record(*removal)
        card, said = self._where_named(card, said, phrase)
        recorder = self.talk.recorder
        blocks, readings = self._read(card, said, phrase)
        if readings and self._plainly_denied(phrase, readings[0]):
            readings[0] = replace(readings[0], sureness="sure")
        texts = {r.text.replace("; ", TOGETHER): r for r in readings}
        table = self.spellings(card)
        near = [table[n] for n in nearest(phrase, table, 6)] if not readings or readings[0].sureness == "weak" else []
        shown = {text: self._shown(r, blocks) for text, r in texts.items()}
        chosen = self._which(phrase, readings, {x: shown.get(x, x) for x in list(dict.fromkeys([*texts, *near]))[:6]})
        if not chosen:
            return self.kept.keep(said.text, card, said.item)
        taken = self._taken(texts[chosen]) if chosen in texts else None
        if taken is not None and not taken.statements:
            return self.kept.keep(said.text, card, said.item)
        if taken is None:
            fitting = [
                tuple(t for t in b if said.item in ("", t.part) and self.fits(t, self.words.features[chosen]))
                for b in card.blocks()
            ]
            blocks = [b for b in fitting if b] or blocks
        topics = blocks[0]
        if len(blocks) > 1 and not (topics := self.on_which(phrase, {str(i): b for i, b in enumerate(blocks, 1)})):
            return self.kept.keep(said.text, card, said.item)
        entry, photos = self.details(more)
        whats, unread = list[What](), taken.unread if taken else ()
        for topic in topics:
            if taken:
                about = {"part": topic.part} if topic.part else {"on": topic.kind}
                meant = self._of_kind(taken, phrase, topic.kind)
                found = records_of(meant, phrase, recorder.state, self.words, {**topic.about(), **about})
            else:
                found = [{"add": "observations", "entry": {**topic.about(), "saw": chosen, "said": phrase}}]
            mark = next((w for w in found if w.get("add") == "observations"), None)
            if mark:
                chose = len(found) == 1 and (taken is None or (taken.sureness != "sure" and taken is texts[chosen]))
                own = beside(phrase, str(mark["entry"].get("saw", "")), self.words) if chose else {}
                mark["entry"] = {**own, **mark["entry"], **entry}
                unread = tuple(w for w in unread if not any(w in str(v).split() for v in own.values()))
            elif entry and topic is topics[0]:
                photos.append({"note": f"{phrase}: {more}"})
            found = [self._as_its_form(self._at_its_part(w, topic), topic, phrase) for w in found]
            whats += [w for w in found if w not in whats]
        denied = [w for w in whats if "absent" in w.get("entry", {})]
        whats = [*self.asked_back.seen([w for w in whats if w not in denied]), *self.asked_back.denied(denied)]
        recorded = bool(whats) and self.talk.record(*whats, *more_photos(topics[0].part, photos))
        if recorded and (left := self._not_read(unread, phrase)):
            self.talk.say(f"  not read, and on record only as said: {left}", hang=4)
        return recorded

    def _where_named(self, card: Card, said: Said, phrase: str) -> tuple[Card, Said]:
        """The part that the words name wins over those that are asked about: the card of it, or it among those of this card."""
        case, here = self.talk.case, [t.part for t in card.topics if t.part]
        named = parts_named(phrase, case, self.words) if here and not said.item else []
        asked = [p for p in named if p.item in here]
        part = asked[0] if len(asked) == 1 else named[0] if len(named) == 1 else None
        if part is None or (asked and len(here) == 1):
            return card, said
        if not asked:
            topic = walk.everything_on(case, self.talk.knowledge, part.item, part.kind)
            card = gathered(self.talk.knowledge, [topic])[0]
        self.talk.say(f"  said of part {part.item} {part.name}", hang=4)
        return card, replace(said, item=part.item)

    def _shown(self, reading: Reading, blocks: list[tuple[Topic, ...]]) -> str:
        """A reading in words, with the part on which a statement of it would stand where that is another one than is asked
        about, or one of a pair."""
        alone, case = blocks[0][0] if len(blocks) == len(blocks[0]) == 1 else None, self.talk.case
        shown = []
        for s in reading.statements:
            on = alone.kind if alone and not s.on else s.on
            entry = self._at_its_part({"entry": {"on": on}}, alone)["entry"] if alone else {}
            part = case.part(entry.get("part", ""))
            told = part and alone and (len(case.positions) > 1 or part.item != alone.part)
            shown.append(rendered(replace(s, on=f"part {part.item} {part.name}") if part and told else s))
        return TOGETHER.join(shown)

    def _not_read(self, unread: Sequence[str], phrase: str) -> str:
        """Words of a phrase that nothing was read in, without those that say nothing or only name the part."""
        named = {
            w for p in parts_named(phrase, self.talk.case, self.words) for w in plain(f"{p.name} {p.position}").split()
        }
        quiet = {*self.words.lexicon.idle, *named, *SMALL}
        return ", ".join(w for w in unread if w.lower() not in quiet)

    def _plainly_denied(self, phrase: str, reading: Reading) -> bool:
        """Whether a phrase denies one mark from its first word on, however much and wherever, and nothing else must be asked."""
        (first, *more), cues = reading.statements, self.words.lexicon.cues.get("denied", ())
        denies = any(plain(phrase).replace("'", "").startswith(f"{cue} ") for cue in ("absent", *cues))
        whole = not more and not first.more and first.family == "feature" and first.state == "absent"
        return denies and whole and reading.asks == (DENIED,)

    def _taken(self, reading: Reading) -> Reading:
        """The reading with those of its statements that are meant: several that are not sure can be taken in part."""
        statements = reading.statements
        if reading.sureness == "sure" or len(statements) < 2:
            return reading
        numbered = "; ".join(f"{i}{BOUND}{rendered(s)}" for i, s in enumerate(statements, 1))
        self.talk.say(f"  that is: {numbered}", hang=4)
        while answer := self.talk.ask("  which of these (all, or numbers; Enter: none): "):
            numbers = [number_of(n) for n in re.findall(r"\d+", answer)]
            if plain(answer) in ALL:
                return reading
            if plain(answer) in NONE:
                break
            if numbers and all(0 < n <= len(statements) for n in numbers):
                return replace(reading, statements=tuple(s for n, s in enumerate(statements, 1) if n in numbers))
            self.talk.say(f"  {answer!r} is none of the answers here: Enter, 1-{len(statements)}, all", hang=4)
        return replace(reading, statements=())

    def _at_its_part(self, what: What, topic: Topic) -> What:
        """What was said of the kind that the part is which is asked about stands on that part; what was said of another kind, on
        the one part of that kind beside it."""
        entry, case = what.get("entry", {}), self.talk.case
        asked = case.part(topic.part)
        if asked is None or "part" in entry or "on" not in entry:
            return what
        own = entry["on"] in self.words.lineage[asked.kind]
        beside = (
            [asked]
            if own
            else [p for p in case.parts if p.position == asked.position and entry["on"] in self.words.lineage[p.kind]]
        )
        if len(beside) != 1:
            return what
        return at_part(what, beside[0], self.words)

    def _as_its_form(self, what: What, topic: Topic, phrase: str) -> What:
        """A mark that only the seal as a whole has by its name, as the general mark it is on the part that the words name."""
        entry = what.get("entry", {})
        feature = self.words.features.get(str(entry.get("saw", "")))
        named = [p.item for p in parts_named(phrase, self.talk.case, self.words)] == [topic.part]
        if not (named and feature and feature.above and "part" not in entry and entry.get("on") == WHOLE):
            return what
        rest = {k: v for k, v in entry.items() if k not in ("on", "position")}
        return {**what, "entry": {"part": topic.part, **dict(feature.qualifiers), **rest, "saw": feature.above[0]}}

    def _read(self, card: Card, said: Said, phrase: str) -> tuple[list[tuple[Topic, ...]], list[Reading]]:
        """The blocks that a phrase may be said of, those on which it is surest and what it names can be, and its readings on the
        first."""
        blocks = [tuple(t for t in b if said.item in ("", t.part)) for b in card.blocks()]
        tried = [(b, list(read(phrase, self.words, b[0].kind))) for b in blocks if b]
        ranks = [self._rank(b[0], readings) for b, readings in tried]
        best = [x for x, rank in zip(tried, ranks, strict=True) if rank == min(ranks)]
        alike = [b for b, readings in best if readings and min(ranks)[1] == 0]
        return alike or [best[0][0]], best[0][1]

    def _of_kind(self, meant: Reading, phrase: str, kind: str) -> Reading:
        """The same reading where the phrase is said of that kind of part."""
        terms = [(s.term, s.state) for s in meant.statements]
        for r in read(phrase, self.words, kind):
            found = {(s.term, s.state): s for s in r.statements}
            if found.keys() >= set(terms):
                return replace(r, statements=tuple(found[t] for t in terms))
        return meant

    def _rank(self, topic: Topic, readings: list[Reading]) -> tuple[int, int, int]:
        """How well a block takes a phrase, less being better: how sure it is, whether what it says is of this part, and
        how many words are left unread."""
        order = ["sure", "likely", "weak"]
        if not readings or readings[0].sureness not in order:
            return len(order), 1, 0
        said = [s for s in readings[0].statements if s.family == "feature" and s.term in self.words.features]
        own = [
            s
            for s in said
            if s.on in ("", *self.words.lineage[topic.kind]) and self.fits(topic, self.words.features[s.term])
        ]
        return order.index(readings[0].sureness), int(not said or own != said), len(readings[0].unread)

    def _which(self, phrase: str, readings: list[Reading], offered: Mapping[str, str]) -> str:
        """The reading or feature that is meant; "" where none is. `offered`: each with the words it is shown in."""
        if readings and readings[0].sureness == "sure":
            first = next(iter(offered))
            self.talk.say(f"  read as: {offered[first]}", hang=4)
            return first
        if offered:
            shown = (f"{i}{BOUND}{n}" for i, n in enumerate(offered.values(), 1))
            self.talk.say("  did you mean: " + "; ".join(shown), hang=4)
            numbers = {str(i): n for i, n in enumerate(offered, 1)} | {plain(n): n for n in offered}
            return self.talk.choose("  number (Enter: none of them): ", numbers | {"": "", "n": "", "none": ""})
        elsewhere = self.words.find("feature", phrase)
        on = f"; it is recorded on: {', '.join(self.words.features[elsewhere].on)}" if elsewhere else ""
        self.talk.say(f"  {phrase!r} is not understood{on}; it is kept as said", hang=4)
        return ""
