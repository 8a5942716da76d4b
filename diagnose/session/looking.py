"""Looking at what stands on one card: what is there, what was looked for and is not, what is measured."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from typing import Any

from diagnose.casefile import walk
from diagnose.casefile.cards import Card, Choice, gathered, left_of, without_parts
from diagnose.casefile.walk import Topic
from diagnose.knowledge.lexicon import EXTENTS
from diagnose.reading.figures import number_of
from diagnose.reading.terms import plain
from diagnose.session.asked_back import AskedBack
from diagnose.session.entries import (
    ALL,
    NO_MORE,
    NONE,
    NOTHING,
    Said,
    details,
    entry_of,
    feature_and_details,
    is_measured,
    listed,
    numbers_in,
    parted,
    with_choices_apart,
    with_words_apart,
)
from diagnose.session.figures import Figures
from diagnose.session.kept import Kept
from diagnose.session.photos import Photos, more_photos
from diagnose.session.spoken import Spoken
from diagnose.session.talk import BOUND, Back, Talk

FIRST, MORE = "Seen (none: not there; Enter: not looked at): ", "Seen besides (none: nothing else; Enter: no more): "
REMARKS = ("photo", "note")
"""What stands for its command among the entries of a look."""
HINT = """\
By number or word: 3   3 5   3: 10 to 2, severe   none or n   3; 5: light; n
! is gone when this step ends   14: 4.0 4.1 measures   back   skip   quit   ?"""


class Looking:
    """`index` asks what a part's clock is counted from."""

    def __init__(self, talk: Talk, figures: Figures, photos: Photos, index: Callable[[str], None]):
        self.talk, self.words, self.figures, self.photos, self.index = talk, talk.words, figures, photos, index
        self.asked_back = AskedBack(talk)
        self.kept = Kept(talk, self._of_the_list, self._take)
        self.spoken = Spoken(talk, self.asked_back, self.details, self._on_which, self.kept)

    # ---- the card ---------------------------------------------------------------------------------------------

    def heading(self, card: Card, lead: str = "") -> None:
        """Names the parts and what to look for; what a sound seal shows stands apart from damage."""
        self.talk.say("")
        blocks = card.blocks()
        self.talk.say(lead + "; ".join(self.named(b) for b in blocks), bold=True)
        if card.how:
            self.talk.say(card.how)
        if any(len(b) > 1 for b in blocks):
            first = next(b for b in blocks if len(b) > 1)[0]
            self.talk.say(
                f'What is said of parts named together goes for all of them; "part {first.part} 3" is choice 3 on part {first.part} alone.'
            )
        every = [f for c in card.choices for f in [self.words.features[c.feature]]]
        self.talk.help = {f"{i} {f.name}": f"{f.means} {f.how}" for i, f in enumerate(every, 1)}
        for block in blocks:
            lead = f"{self.named(block)}: " if len(blocks) > 1 else ""
            for text in self._choices(card, block, lead):
                self.talk.say(text, hang=2)

    def named(self, block: tuple[Topic, ...]) -> str:
        parts = [p for t in block if (p := self.talk.case.part(t.part))]
        if len(parts) > 1:
            return "parts " + ", ".join(f"{p.item} {p.name}" for p in parts)
        return f"part {parts[0].item} {parts[0].name}" if parts else block[0].kind.capitalize()

    def _choices(self, card: Card, block: tuple[Topic, ...], lead: str) -> Iterable[str]:
        """What to look for and to measure on one block, with its numbers."""
        left = left_of(self.talk.case, self.talk.knowledge, card)
        open_ones = {(c.feature, t.id) for c in left.choices for t in c.topics} if left else set()
        shown = [(c, f"{i}{BOUND}{c.feature}{'!' * c.perishes}") for i, c in enumerate(card.choices, 1)
                 if c.topics == block and any((c.feature, t.id) in open_ones for t in block)]  # fmt: skip
        if damage := ", ".join(x for c, x in shown if not c.sound):
            yield f"{lead or 'Look for: '}{damage}"
        if sound := ", ".join(x for c, x in shown if c.sound):
            yield f"{'Or as' if damage else 'As'} a sound one shows it: {sound}"
        numbers = range(len(card.choices) + 1, len(card.choices) + len(card.readings) + 1)
        told = (
            f"{i}{BOUND}{name}{'!' * lost} ({unit or 'number'}{', several' if self.words.readings[name].several else ''})"
            for i, (name, topics) in zip(numbers, card.readings, strict=True)
            for unit, lost in [(self.words.readings[name].unit, self.words.readings[name].lost == card.step.stage)]
            if topics == block
        )  # fmt: skip
        if measures := ", ".join(told):
            yield f"{lead if lead and not damage else ''}To measure: {measures}"

    def look(self, card: Card) -> None:
        """Asks until nothing more is said, or none of the rest is there."""
        question = FIRST
        while self._open(card) or question == FIRST:
            answer = self.talk.ask(question, self.spoken.spellings(card))
            if not answer or plain(answer) in NO_MORE:
                return
            lines = len(self.talk.recorder.lines)
            try:
                if self._take(card, answer):
                    return
            except Back:
                self.talk.say(f"  left out, nothing of it is on record: {answer}", hang=4)
                continue
            if len(self.talk.recorder.lines) > lines:
                question = MORE

    def _open(self, card: Card) -> bool:
        left = left_of(self.talk.case, self.talk.knowledge, card)
        return (left is not None and any(not c.sound for c in left.choices)) or bool(left and left.readings)

    def _take(self, card: Card, answer: str) -> bool:
        """Puts every entry of an answer on record; whether the card is done with. Nothing else is there only where all else was
        taken: what was not might be one of them."""
        done, taken, whole, entries = False, True, card, self._entries(card, answer)
        for said in entries:
            if plain(said.text) in NO_MORE and said.state == "saw" and not said.item:
                done = taken
                continue
            if unclear := self._unclear(whole, said):
                words = answer if len(entries) == 1 else f"{said.text} except {', '.join(said.but)}"
                taken &= self._said_again(whole, unclear, words)
                continue
            card = without_parts(whole, self._excepted(whole, said, entries))
            if said == NOTHING and not taken:
                self.talk.say(
                    "  none is not taken yet, as not all before it was: say it again if nothing else is there", hang=4
                )
            elif said.item and said.item not in [t.part for t in card.topics]:
                taken &= self._elsewhere(card, said)
            elif said == NOTHING and not self.kept.none_may_be_it(card):
                taken = False
            elif said.state != "saw":
                recorded = self._all_alike(card, said)
                taken &= recorded
                done |= recorded and said == NOTHING
            else:
                taken &= self._there_or_measured(card, said)
        return done

    def _of_the_list(self, card: Card, number: int, item: str, words: str) -> bool:
        """Whether a choice is on record as what was kept as said, of the part of that item number where it has it."""
        choice = card.choices[number - 1]
        topics = self._of(choice, item if any(t.part == item for t in choice.topics) else "")
        return self._there(topics, choice.feature, "", said=words)

    def _unclear(self, card: Card, said: Said) -> str:
        """What is not clear of an exception: of which part it is, or of what."""
        here = ", ".join(f"{p.item}{BOUND}{p.name}" for t in card.topics if (p := self.talk.case.part(t.part)))
        for words in said.but:
            if words not in [t.part for t in card.topics]:
                return f"which part is meant by {words!r} (here: {here or 'none with a number'})"
        nothing = said.but and said.state == "saw" and plain(said.text) in ALL
        return f"what is seen on all but part {', '.join(said.but)}" if nothing else ""

    def _said_again(self, card: Card, unclear: str, words: str) -> bool:
        """Whether what was said of all parts but some is on record once it is said so that it is clear; else it is kept as said."""
        part = next((t.part for t in card.topics if t.part), "3")
        mark = next((c.feature for c in card.choices), "worn")
        self.talk.say(
            f"  not clear {unclear}; say it as: 1 except part {part}, or {mark} except part {part}: light", hang=4
        )
        if again := self.talk.ask("  again (Enter: kept as said, not understood): "):
            return self._take(card, again)
        return self.kept.keep(words, card, "")

    def _excepted(self, card: Card, said: Said, entries: list[Said]) -> set[str]:
        """Parts of which the same answer says something else of the same marks than of all parts alike."""
        if said.item or said == NOTHING:
            return set()
        named = set(self._named_in(card, said))
        return {
            *said.but,
            *(e.item for e in entries if e.item and (plain(e.text) in ALL or named & set(self._named_in(card, e)))),
        }

    def _named_in(self, card: Card, said: Said) -> list[str]:
        known, numbered = self.spoken.known(card, said.item), [c.feature for c in card.choices]
        return listed(said.text, numbered, known) or listed(
            feature_and_details(said.text, known, self.words)[0], numbered, known
        )

    def _entries(self, card: Card, answer: str) -> list[Said]:
        """A whole answer that is one list or word of the card stays one; a part may be called by its name and number:
        "pin 7 worn"."""
        known = self.spoken.known(card, "")
        parts = {p.item: f"{p.name} {p.kind}" for t in card.topics if (p := self.talk.case.part(t.part))}
        answer = with_words_apart(with_choices_apart(answer, len(card.choices)), known, self.words)
        entries = [Said("", "saw", answer)] if known(answer) else parted(answer, parts)
        return [self._of_named_part(said) for said in entries]

    def _of_named_part(self, said: Said) -> Said:
        match = re.match(r"(\S+)\s+(\w+)[:,]?\s+(.+)", said.text)
        part = self.talk.case.part(match[2]) if match and not said.item else None
        names = f"{part.name} {part.kind}".lower().split() if part else []
        called = match and match[1].lower().rstrip("s") in [name.rstrip("s") for name in names]
        return entry_of(f"part {match[2]} {match[3]}") if match and called else said

    def _elsewhere(self, card: Card, said: Said) -> bool:
        """Whether words about a part that is not asked about here are on record on it; numbers would be those of this card."""
        part = self.talk.case.part(said.item)
        if part and said.state == "saw" and not said.text[:1].isdecimal():
            topic = walk.everything_on(self.talk.case, self.talk.knowledge, part.item, part.kind)
            return self._there_or_measured(gathered(self.talk.knowledge, [topic])[0], said)
        here = ", ".join(t.part for t in card.topics if t.part) or "none"
        self.talk.say(f"  part {said.item} is not asked about here; the parts here: {here}", hang=4)
        return False

    def _there_or_measured(self, card: Card, said: Said) -> bool:
        """Whether something that was seen or measured is on record."""
        word, _, rest = said.text.partition(" ")
        if word.lower() in REMARKS:
            self.talk.commands[f"/{word.lower()}"](rest.strip())
            return True
        if plain(said.text) in ALL:
            self.talk.say("  all of them? Write their numbers; none of them is there: none", hang=4)
            return False
        ways = (self._measured, self._measured_at_a_look, self._listed, self._saw)
        return next((taken for way in ways if (taken := way(card, said)) is not None), False)

    def _of(self, choice: Choice, item: str) -> tuple[Topic, ...]:
        return tuple(t for t in choice.topics if item in ("", t.part))

    def _all_alike(self, card: Card, said: Said) -> bool:
        """Whether features that are not there, lost or not looked at are on record, those too that fit and are not asked for; "all"
        are those that are open and would be damage, or where none would be what a sound part shows."""
        beside: list[str] = []
        if plain(said.text) in ALL:
            left = left_of(self.talk.case, self.talk.knowledge, card)
            left_ones = left.choices if left else ()
            chosen = [c for c in left_ones if not c.sound] or list(left_ones)
        else:
            names = listed(said.text, [c.feature for c in card.choices], self.spoken.known(card, said.item))
            chosen = self._chosen(card, said.text, names, said.item)
            beside = [f for f in names if f not in {c.feature for c in chosen}]
        about = [(t, c.feature) for t in card.topics for c in chosen if t in self._of(c, said.item)]
        about += [(t, f) for f in beside for t in card.topics
                  if said.item in ("", t.part) and self.spoken.fits(t, self.words.features[f])]  # fmt: skip
        if not about and plain(said.text) not in ALL:
            whole = "; a whole part that is gone: /lost part 3: HOW" if said.state == "lost" else ""
            self.talk.say(f"  {said.text!r} names none of them{whole}", hang=4)
        state = said.state
        if said == NOTHING and self._asked_of_a_sender(card):
            self.talk.say("  what a sender does not know of is not denied: it is on record as not known; what is known not to be so is denied "
                          "by number: 3 4 absent", hang=4)  # fmt: skip
            state = "not looked at"
        if said == NOTHING and (spared := self.kept.may_name(card) & {f for _, f in about}):
            about = [(t, f) for t, f in about if f not in spared]
            self.talk.say(f"  not denied, as the words kept as said may name it: {', '.join(sorted(spared))}; absent 3-5 denies some by number",
                          hang=4)  # fmt: skip
        if said == NOTHING and not about:
            return True
        return self._record(about, state)

    def _asked_of_a_sender(self, card: Card) -> bool:
        """Whether what is asked can be told only by people, and the seal came without its machine: one who sent it does not know of
        everything that was not so."""
        asked = set(self.talk.knowledge.looks.asked)
        return self.talk.case.alone and all(asked & set(self.words.lineage[t.kind]) for t in card.topics)

    def _record(self, about: list[tuple[Topic, str]], state: str, **details: Any) -> bool:
        whats = [{"add": "observations", "entry": {**t.about(), state: f, **details}} for t, f in about]
        return bool(whats) and self.talk.record(*(self.asked_back.denied(whats) if state == "absent" else whats))

    def none_of(self, card: Card) -> bool:
        """Whether it is on record that nothing of what is open and would be damage is there."""
        return self.kept.none_may_be_it(card) and self._all_alike(card, Said("", "absent", "all"))

    def not_looked_at(self, card: Card) -> int:
        """Puts what is open on a card on record as not looked at; how many that were."""
        about = [(t, c.feature) for c in card.choices for t in c.topics]
        whats = [{"add": "observations", "entry": {**t.about(), "not looked at": f}} for t, f in about]
        return len(whats) if self.talk.record(*whats, quiet=True) else 0

    # ---- several, one, or a reading -----------------------------------------------------------------------------

    def _listed(self, card: Card, said: Said) -> bool | None:
        """Whether a list of several features is on record, each with its details, which are asked for where they do not stand
        behind the list; None where it was none."""
        known, numbered = self.spoken.known(card, said.item), [c.feature for c in card.choices]
        words, text = said.text, ""
        if not (names := listed(words, numbered, known)):
            words, text = feature_and_details(said.text, known, self.words)
            names = listed(words, numbered, known)
        chosen = self._chosen(card, words, names, said.item)
        if len(chosen) < 2 or known(words):
            return None
        taken = [self._there(self._of(c, said.item), c.feature, text, f"{c.feature}:") for c in chosen]
        return all(taken)

    def _chosen(self, card: Card, text: str, names: list[str], item: str) -> list[Choice]:
        """The choices that features of a list stand for; a number says which one where a feature stands twice."""
        numbers = numbers_in(text)
        found = []
        for name in names:
            same = [(i, c) for i, c in enumerate(card.choices, 1) if c.feature == name and self._of(c, item)]
            found += [c for i, c in same if i in numbers] or [c for _, c in same]
        return found

    def _measured(self, card: Card, said: Said) -> bool | None:
        """Whether a reading is on record: "14: 4.0 4.1", "track width 4.0"; None where an entry was none."""
        word, colon, values = (x.strip() for x in said.text.partition(":"))
        names = [name for name, _ in card.readings]
        if word.isdecimal():
            place = number_of(word) - len(card.choices) - 1
            if not 0 <= place < len(names):
                return None
            name, topics = card.readings[place]
        else:
            if not colon and (match := next((n for n in sorted(names, key=len, reverse=True)
                                             if plain(said.text).startswith(n + " ")), "")):  # fmt: skip
                word, values = match, said.text[len(match) :].strip()
            found = self.words.find("reading", word)
            reading = self.words.readings.get(found or "")
            feature = self.spoken.known(card, said.item)(word)
            if reading is None or reading.section or (feature and not values[:1].isdecimal()):
                return None
            name = reading.name
            topics = next((t for n, t in card.readings if n == name), ())
            topics = topics or tuple(t for t in card.topics if self.words.fits(t.kind, reading.on))
        topics = tuple(t for t in topics if said.item in ("", t.part)) or self.figures.measured_on(name)
        if len(topics) != 1:
            ways = " or ".join(f"part {t.part} {word}: {values or '…'}" for t in topics if t.part)
            self.talk.say(f"  {name} is measured part by part: {ways or 'no part here has it'}", hang=4)
            return False
        values = values or self.talk.ask(f"  {name}: ")
        return bool(values) and self.figures.readings(topics[0], name, values)

    def _measured_at_a_look(self, card: Card, said: Said) -> bool | None:
        """Whether numbers that stand behind a look are on record as the reading that they are; None where there are none. They
        say nothing of the look."""
        word, _, values = (x.strip() for x in said.text.partition(":"))
        feature = self.spoken.known(card, said.item)(word)
        if not feature or not is_measured(values):
            return None
        self.talk.say(f"  {word}: {values} is not on record so: {feature} is looked for, not measured. It takes where and how much "
                      f"({word}: 10 to 2, severe; at half past three: {word}: 3:30)", hang=4)  # fmt: skip
        numbers = {str(i): n for i, (n, _) in enumerate(card.readings, len(card.choices) + 1)}
        if numbers:
            self.talk.say("  measured here: " + ", ".join(f"{i}{BOUND}{n}" for i, n in numbers.items()), hang=4)
        which = "is (its number; " if numbers else "("
        options = {n: n for n in numbers} | {"": ""} | dict.fromkeys(NONE, "none")
        chosen = self.talk.choose(f"  {values} {which}Enter: a remark; none: leave it out): ", options)
        if chosen.isdecimal():
            return bool(self._measured(card, Said(said.item, "saw", f"{chosen}: {values}")))
        if not chosen:
            self.talk.commands["/note"](f"{feature}: {values}")
        return False

    def _saw(self, card: Card, said: Said) -> bool:
        known = self.spoken.known(card, said.item)
        word, text = feature_and_details(said.text, known, self.words)
        if word.isdecimal() and not known(word):
            self.talk.say(f"  there is no {word} here; the list goes to {len(card.choices) + len(card.readings)}")
            return False
        if not known(word):
            return self.spoken.record(card, said, word, text)
        feature = known(word)
        chosen = self._chosen(card, word, [feature], said.item)
        fitting = [
            t for t in card.topics if said.item in ("", t.part) and self.spoken.fits(t, self.words.features[feature])
        ]
        blocks = [self._of(c, said.item) for c in chosen] or [tuple(fitting)]
        if len(blocks) > 1 or (len(card.blocks()) > 1 and not chosen and len(fitting) > 1):
            on = {str(i): self._of(c, said.item) for i, c in enumerate(card.choices, 1) if c in chosen}
            topics = self._on_which(feature, on or {str(i): (t,) for i, t in enumerate(fitting, 1)})
            return bool(topics) and self._there(topics, feature, text)
        told, spelled = (
            (f"{word} is: {feature}", "") if word.isdecimal() else ("", word if plain(word) != feature else "")
        )
        return self._there(blocks[0], feature, text, told, spelled)

    def _on_which(self, feature: str, on: dict[str, tuple[Topic, ...]]) -> tuple[Topic, ...]:
        """What a mark is on that may be on several; nothing where nobody says."""
        numbered = ", ".join(f"{i}{BOUND}{self.named(topics)}" for i, topics in on.items())
        self.talk.say(f"  {feature} on which of them? {numbered}", hang=4)
        while answer := self.talk.ask("  numbers (all; Enter: on none): "):
            numbers = list(on) if plain(answer) in ALL else re.findall(r"\d+", answer)
            if plain(answer) in NONE:
                break
            if numbers and all(n in on for n in numbers):
                return tuple(t for n in numbers for t in on[n])
            self.talk.say(f"  {answer!r} is none of the answers here: Enter, {', '.join(on)}, all", hang=4)
        return ()

    def _there(self, topics: tuple[Topic, ...], feature: str, text: str, told: str = "", said: str = "") -> bool:
        """Whether a mark is on record on every topic alike, with its details."""
        if told:
            self.talk.say(f"  {told}")
        if not text and topics[0].part and not self.words.features[feature].sound:
            sides = self.words.features[feature].sides
            side = f", {sides[0]}" if sides else ""
            text = self.talk.ask(f"  where and how much (10 to 2, moderate{side}; Enter: not said): ",
                                 {w: w for w in (*self.words.degrees, *sides, *EXTENTS)})  # fmt: skip
            text, _, behind = (x.strip() for x in text.partition(";"))
            if behind:
                self.talk.say(
                    f"  {behind!r} is not taken here, where {feature} is asked about: say it at the next question",
                    hang=4,
                )
        entry, more = self.details(text)
        for topic in topics:
            if topic.part and any(w not in EXTENTS for w in _as_list(entry.get("extent"))):
                self.index(topic.part)
        spelled = {"said": said} if said else {}
        marks = [{"add": "observations", "entry": {**t.about(), "saw": feature, **entry}, **spelled} for t in topics]
        marks = self.asked_back.seen(marks)
        return bool(marks) and self.talk.record(*marks, *more_photos(topics[0].part, more, feature))

    # ---- details ----------------------------------------------------------------------------------------------

    def details(self, text: str) -> tuple[dict[str, Any], list[dict[str, str]]]:
        """The details of a mark, and its photos beyond the first. What is odd, or a photo that cannot be read, is asked for
        again, or stays as a remark; the rest stays."""
        found = details(text, self.words)
        entry, photos = found.entry, list[dict[str, str]]()
        for odd, near in found.odd:
            meant = f"; did you mean {', '.join(near)}?" if near else ""
            self.talk.say(f"  {odd!r} is no clock position, degree or side{meant}", hang=4)
            instead = self.talk.ask(f"  instead of {odd!r} (Enter: keep it as a remark; none: leave it out): ")
            if plain(instead) not in NONE:
                more, pictures = self.details(instead or f"note {odd}")
                photos += pictures
                places = [*_as_list(entry.get("extent")), *_as_list(more.get("extent"))]
                notes = [x for x in (entry.get("note"), more.get("note")) if x]
                entry |= more | ({"extent": places[0] if len(places) == 1 else places} if places else {})
                entry |= {"note": ", ".join(notes)} if notes else {}
        photos += [read for photo in found.photos if (read := self.photos.entry(photo))]
        if photos and "photo" not in entry:
            entry |= photos.pop(0)
        return entry, photos


def _as_list(value: Any) -> list[Any]:
    return value if isinstance(value, list) else [value] if value else []
