"""Figures and settings of a case, and readings of a part: numbers with units, terms by number or beginning."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

from diagnose.casefile.answers import by_seal, path_of, says_datum, says_no_datum, split_readings, with_unit
from diagnose.casefile.clock import BadClock, place
from diagnose.casefile.format import FAILED, RUNNING, SOUND, TRAITS
from diagnose.casefile.replay import What
from diagnose.casefile.walk import Topic, everything_on, left_out
from diagnose.knowledge.model import Reading
from diagnose.reading.terms import plain
from diagnose.session.entries import NONE, UNKNOWN, meant, numbers_choices
from diagnose.session.prompts import Words
from diagnose.session.talk import Back, Talk, numbered

SEEN_FROM = "equipment.seen from"
INDEXES = ("index.rotating", "index.stationary")
REMOVAL = "history.removal"
FIRST = ("tag", "fluid", REMOVAL, "rotation", SEEN_FROM, *INDEXES, SEEN_FROM)
_ENDS = {
    "driver end": "driver end",
    "drive end": "driver end",
    "motor end": "driver end",
    "coupling end": "driver end",
    "impeller end": "impeller end",
}
CHOICES: dict[str, Words] = {
    REMOVAL: {"failed": FAILED, "sound": SOUND, "taken out on schedule": SOUND, "on schedule": SOUND, "planned": SOUND,
              "still running": RUNNING},
    "rotation": {"clockwise": "clockwise", "cw": "clockwise", "counterclockwise": "counterclockwise",
                 "ccw": "counterclockwise", "anticlockwise": "counterclockwise"},
    "equipment.seen from": _ENDS, "seen from": _ENDS, "towards": _ENDS,
    "group": {"rotating": "rotating", "stationary": "stationary"}, "carries": {"nose": "nose", "wide": "wide"},
}  # fmt: skip
TITLES = {
    SEEN_FROM: "rotation seen from", REMOVAL: "how the seal came out", "index.rotating": "index mark of the rotating parts",
    "index.stationary": "index mark of the stationary parts", "tag": "tag of the machine", "service": "what about the fluid",
    "machine": "kind of machine",
}  # fmt: skip
ABOUT = {
    "tag": "The number by which the site knows the machine.", "fluid": "What is sealed, in your own words.",
    REMOVAL: "Whether the seal failed, came out sound, as on schedule, or still runs.", "rotation": "Which way the shaft turns.",
    SEEN_FROM: "The end of the shaft from which the rotation and clock positions are read.",
    "index.rotating": "What stands at 12 o'clock on the parts that turn: a keyway, a set screw, a paint mark.",
    "index.stationary": "What stands at 12 o'clock on the parts that stand still, mostly top dead centre.",
}  # fmt: skip
"""What is asked that is no setting and no figure of the vocabulary."""
GAUGE: Words = {"1": "g", "g": "g", "gauge": "g", "2": "a", "a": "a", "absolute": "a"}
_ROOM = 60
WITHDRAW = "withdraw"


class Figures:
    """`index` asks what a part's clock is counted from."""

    def __init__(self, talk: Talk, index: Callable[[str], None]):
        self.talk, self.words, self.index = talk, talk.words, index

    def ask_all(self, topic: Topic, again: bool = False) -> None:
        """What is not on record yet, until nothing more of it is known; back asks the one before again, and `again` begins with
        the last one."""
        keys = (*FIRST, *topic.asks)
        number, back = (len(keys) - 1, {len(keys) - 1}) if again else (0, set[int]())
        while number < len(keys):
            if number in back or not (self._known(keys[number]) or self._idle(keys, number)):
                try:
                    if not self._ask(keys[number], self.path(keys[number])):
                        return
                except Back:
                    if number == 0:
                        raise
                    number -= 1
                    while self._idle(keys, number):
                        number -= 1
                    back.add(number)
                    continue
            number += 1

    def _idle(self, keys: tuple[str, ...], number: int) -> bool:
        """Whether there is nothing yet to be seen from an end: that is asked behind the rotation, else behind index marks."""
        if keys[number] != SEEN_FROM:
            return False
        turns, marked = self._known("rotation"), any(map(self._known, INDEXES))
        return (turns or not marked) if INDEXES[0] in keys[:number] else not turns

    def _known(self, key: str) -> bool:
        """Whether it is on record, of a pair of seals of both or of one."""
        places = ("", *self.talk.case.positions) if self._of_each(key) else ("",)
        return any(self.talk.recorder.state.value(self.path(key, place)) is not None for place in places)

    def path(self, key: str, position: str = "") -> list[str]:
        return path_of("equipment.tag" if key == "tag" else key, position, self.words)

    def _of_each(self, key: str) -> bool:
        """Whether the seals of a pair may differ in it."""
        term = self.words.settings.get(key) or self.words.readings.get(key)
        return key != "arrangement" and term is not None and term.section in ("seal", "service")

    def _of_each_seal(self, key: str, answer: str) -> list[What]:
        """What an answer says of one seal of a pair or of each in turn; none where it says it of both, or what cannot stand there."""
        said = by_seal(answer, self.talk.case.positions) if self._of_each(key) else {}
        values = {place: self.value(key, text) for place, text in said.items()}
        return [] if None in values.values() else [{"set": self.path(key, p), "to": to} for p, to in values.items()]

    def key_said(self, name: str) -> str:
        """The figure that somebody means, by its key or as it is asked for: "removal" and "how the seal came out"."""
        known = {plain(x): key for key in FIRST for x in (key, key.rpartition(".")[2], TITLES.get(key, key))}
        return {"tag": "equipment.tag"}.get(key := known.get(plain(name), name), key)

    def key_of(self, path: list[str]) -> str:
        """The name of what stands at a path of the case."""
        if path[-1] == "is":
            return TRAITS.get(path[0], "is")
        dotted = ".".join(path)
        return dotted if dotted in (*TITLES, *CHOICES) else path[-1]

    def _ask(self, key: str, path: list[str]) -> bool:
        """Asks one figure until it is on record or left out; False where nothing more is known of any."""
        old = self.talk.recorder.state.value(path)
        title, hint = TITLES.get(key, key), self.hint(key)
        if key == SEEN_FROM and not self._known("rotation"):
            title = "index marks seen from"
        if len(hint) >= _ROOM:
            self.talk.say(hint, hang=2)
            hint = ""
        shown = f" [{', '.join(old) if isinstance(old, list) else old}; {WITHDRAW}]" if old is not None else ""
        while answer := self.talk.ask(f"{title}{f' ({hint})' if hint else ''}{shown}: ", self._words(key)):
            if plain(answer) in NONE and plain(answer) not in map(plain, self._words(key)):
                if plain(answer) in ("no", "n") and not self.talk.sure(
                    "  is no more of these known (y; Enter: only this one is not)? "
                ):
                    break
                self.talk.say("  no more of these is asked; what is not on record counts as not known")
                return False
            if plain(answer) in UNKNOWN:
                break
            if old is None and (each := self._of_each_seal(key, answer)) and self.talk.record(*each):
                break
            answer, behind = self._parted(key, answer)
            away = old is not None and plain(answer) == WITHDRAW
            to = None if away else self.value(key, answer)
            if old is not None and to not in (None, old) and not self.talk.could({"set": path, "to": to}):
                continue
            why = {"why": self.talk.ask("  why is it corrected: ")} if old not in (None, to) and (to or away) else {}
            if (to is not None or away) and self.talk.record({"set": path, "to": to, **why}):
                if behind:
                    self._told_behind(key, behind)
                break
        return True

    def _parted(self, key: str, answer: str) -> tuple[str, str]:
        """One of a few terms, and what is said behind it: "failed, leaking at the sleeve", "cw seen from the motor"."""
        if key not in CHOICES or plain(answer) in map(plain, CHOICES[key]):
            return answer, ""
        match = re.fullmatch(r"(.+?)(?:\s*[,;]\s*|\s+(?=(?:as\s+)?(?:seen|viewed|looking)\s+from\s))(.+)", answer)
        return (match[1], match[2]) if match and len(meant(match[1], CHOICES[key])) == 1 else (answer, "")

    def _told_behind(self, key: str, text: str) -> None:
        """Puts what was said behind a term on record: the end that a rotation is seen from, else a remark."""
        end = re.sub(r"^(?:as\s+)?(?:seen|viewed|looking)\s+from\s+(?:the\s+)?", "", plain(text))
        if key == "rotation" and len(found := meant(end, _ENDS)) == 1:
            self.talk.record({"set": self.path(SEEN_FROM), "to": found[0]})
        else:
            self.talk.record({"add": "remarks", "entry": {"note": text}})

    def hint(self, key: str) -> str:
        """What may be answered, in brackets; sets the help."""
        reading, terms = self.words.readings.get(key), list(dict.fromkeys(self._words(key).values()))
        numbers = [f"{i} {t}" for i, t in enumerate(terms, 1)] if numbers_choices(terms) else terms
        setting = self.words.settings.get(key)
        means = reading.means if reading else setting.means if setting else ABOUT.get(key, "")
        others = ([s for s, term in self._words(key).items() if term == t != s] for t in terms)
        named = {n: f"also {', '.join(o)}" if o else "" for n, o in zip(numbers, others, strict=True)}
        self.talk.help = {TITLES.get(key, key): means} | named
        if reading:
            return reading.unit
        lead = ("one of: " if setting.single else "any of: ") if setting else ""
        return lead + numbered(terms) if terms else ""

    def _words(self, key: str) -> Words:
        setting = self.words.settings.get(key)
        if setting:
            out = left_out(self.talk.case, self.talk.knowledge)
            idle = {t for x in out for t in x.terms.get(key, ())}
            return {also: term for term, alsos in setting.terms.items() if term not in idle for also in (term, *alsos)}
        return CHOICES.get(key, {})

    def value(self, key: str, answer: str) -> Any:
        """An answer as it is recorded; None, told, where it is none of the terms that can stand there."""
        setting, reading, spelled = self.words.settings.get(key), self.words.readings.get(key), self._words(key)
        if reading:
            return self.with_unit(answer, reading)
        if not spelled:
            return answer
        if setting and not setting.single:
            bits = re.split(r"(?:[,;]|(?<=\d)\s+(?=\d))\s*(?:and\s)?|(?<=\d)\s+and\s+", answer)
            found = [self.talk.term(x.strip(), f"term of {key!r}", spelled, key) for x in bits if x.strip()]
            return found if found and all(found) else None
        if setting:
            return self.talk.term(answer, f"term of {key!r}", spelled, key) or None
        return self.talk.term(answer, TITLES.get(key, key), spelled) or None

    def with_unit(self, answer: str, reading: Reading) -> str:
        """A bare number gets the unit asked for; a pressure that says neither is asked whether gauge or absolute, or is said
        again as a whole."""
        written = str(with_unit(answer, reading.unit))
        if not says_no_datum(written, reading):
            return written
        while answer := self.talk.ask("  gauge or absolute (1 gauge, 2 absolute; Enter: not known)? ", GAUGE):
            if which := GAUGE.get(plain(answer), ""):
                return f"{written} {which}"
            if says_datum(answer, reading):
                return answer
            self.talk.say(
                f"  {answer!r} is none of the answers here: Enter, 1, 2, g, a, or the pressure with it: 4.5 bar g",
                hang=4,
            )
        self.talk.say("  recorded as neither: what turns on it stays open until somebody knows")
        return written

    # ---- readings ---------------------------------------------------------------------------------------------

    def measured_on(self, name: str) -> tuple[Topic, ...]:
        """The parts of this case on which a reading is taken, whatever is asked now; told where there is one."""
        case, on = self.talk.case, self.words.readings[name].on
        found = [p for p in case.parts if self.words.fits(p.kind, on)]
        if len(found) == 1:
            self.talk.say(f"  said of part {found[0].item} {found[0].name}", hang=4)
        return tuple(everything_on(case, self.talk.knowledge, p.item, p.kind) for p in found)

    def _places(self, count: int) -> list[str]:
        """The clock positions of that many readings as they are typed; none where nobody noted one for each."""
        while answer := self.talk.ask("  at clock positions (12 3 6 9; Enter: not noted): "):
            if plain(answer) in (*NONE, *UNKNOWN, "not noted"):
                break
            places = [x for x in re.split(r"[,;\s]+", answer) if x and plain(x) not in ("at", "and")]
            try:
                for x in places:
                    place(x)
            except BadClock as error:
                self.talk.say(f"  {error}; one for each of the {count} readings; Enter: not noted", hang=4)
                continue
            if len(places) == count:
                return places
            self.talk.say(f"  {count} readings but {len(places)} clock positions: they are recorded without", hang=4)
            break
        return []

    def readings(self, topic: Topic, reading: str, answer: str) -> bool:
        """Whether readings of a part or a kind are on record."""
        term = self.words.readings[reading]
        written = [self.with_unit(x, term) for x in split_readings(answer)]
        if not written:
            return False
        entry: dict[str, Any] = {**topic.about(), "measured": reading, "readings": written}
        around = term.several and len(written) > 2 and topic.part and "face" in self.words.lineage[topic.kind]
        if around and (places := self._places(len(written))):
            entry["at"] = places
            self.index(topic.part)
        what = {"add": "measurements", "entry": entry}
        if before := self.talk.recorder.read_before(entry):
            old = ", ".join(map(str, before.entry.get("readings") or [before.entry.get("reading")]))
            new = ", ".join(written)
            if old != new and not self.talk.sure(
                f"  {reading} is on record as {old} (r{before.id}): {new} instead of it (y; Enter: as it was)? "
            ):
                return False
            what |= {"instead of": before.id, "why": "read again"} if old != new else {}
        return self.talk.record(what)
