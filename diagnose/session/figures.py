"""Figures and settings of a case, and readings of a part: numbers with units, terms by number or beginning."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

from diagnose.casefile.answers import path_of, says_no_datum, split_readings, with_unit
from diagnose.casefile.format import TRAITS
from diagnose.casefile.walk import Topic
from diagnose.knowledge.model import Reading
from diagnose.reading.terms import did_you_mean
from diagnose.session.prompts import Words
from diagnose.session.talk import BOUND, Back, Talk, numbered

FIRST = ("tag", "fluid", "rotation", "equipment.seen from", "index.rotating", "index.stationary")
_ENDS = {"driver end": "driver end", "drive end": "driver end", "impeller end": "impeller end"}
CHOICES: dict[str, Words] = {
    "rotation": {"clockwise": "clockwise", "cw": "clockwise", "counterclockwise": "counterclockwise",
                 "ccw": "counterclockwise", "anticlockwise": "counterclockwise"},
    "equipment.seen from": _ENDS, "seen from": _ENDS,
    "group": {"rotating": "rotating", "stationary": "stationary"}, "carries": {"nose": "nose", "wide": "wide"},
}  # fmt: skip
_TITLES = {
    "equipment.seen from": "rotation seen from", "index.rotating": "index mark of the rotating parts",
    "index.stationary": "index mark of the stationary parts", "tag": "tag of the machine", "service": "what about the liquid",
    "machine": "kind of machine",
}  # fmt: skip
_ROOM = 60


class Figures:
    """`index` asks what a part's clock is counted from."""

    def __init__(self, talk: Talk, index: Callable[[str], None]):
        self.talk, self.words, self.index = talk, talk.words, index

    def ask_all(self, topic: Topic, again: bool = False) -> None:
        """What is not on record yet; /back asks the one before again, and `again` begins with the last one."""
        keys = (*FIRST, *topic.asks)
        number, back = (len(keys) - 1, {len(keys) - 1}) if again else (0, set[int]())
        while number < len(keys):
            path = self.path(keys[number])
            if self.talk.recorder.state.value(path) is None or number in back:
                try:
                    self._ask(keys[number], path)
                except Back:
                    if number == 0:
                        raise
                    number -= 1
                    back.add(number)
                    continue
            number += 1

    def path(self, key: str) -> list[str]:
        return path_of("equipment.tag" if key == "tag" else key, "", self.words)

    def key_of(self, path: list[str]) -> str:
        """The name of what stands at a path of the case."""
        if path[-1] == "is":
            return TRAITS.get(path[0], "is")
        dotted = ".".join(path)
        return dotted if dotted in (*_TITLES, *CHOICES) else path[-1]

    def _ask(self, key: str, path: list[str]) -> None:
        old = self.talk.recorder.state.value(path)
        title, hint = _TITLES.get(key, key), self.hint(key)
        shown = f" [{', '.join(old) if isinstance(old, list) else old}]" if old is not None else ""
        while answer := self.talk.ask(f"{title}{f' ({hint})' if hint else ''}{shown}: ", self._words(key)):
            to = self.value(key, answer)
            why = {"why": self.talk.ask("  why is it corrected: ")} if to is not None and old not in (None, to) else {}
            if to is not None and self.talk.record({"set": path, "to": to, **why}):
                return

    def hint(self, key: str) -> str:
        """What may be answered, in brackets; sets the help."""
        reading, terms = self.words.readings.get(key), list(dict.fromkeys(self._words(key).values()))
        self.talk.help = dict.fromkeys(terms, "") or {key: reading.means if reading else ""}
        if reading:
            return reading.unit
        setting = self.words.settings.get(key)
        lead = ("one of: " if setting.single else "any of: ") if setting else ""
        told = lead + numbered(terms) if terms else ""
        return told if len(told) < _ROOM else f"{lead}? lists {len(terms)}, Tab completes"

    def _words(self, key: str) -> Words:
        setting = self.words.settings.get(key)
        if setting:
            return {also: term for term, alsos in setting.terms.items() for also in (term, *alsos)}
        return CHOICES.get(key, {})

    def value(self, key: str, answer: str) -> Any:
        """An answer as it is recorded; None, told, where it is none of the terms that can stand there."""
        setting, reading, spelled = self.words.settings.get(key), self.words.readings.get(key), self._words(key)
        if reading:
            return self.with_unit(answer, reading)
        if not spelled:
            return answer
        if setting and not setting.single:
            found = [self.talk.term(x.strip(), f"term of {key!r}", spelled) for x in answer.split(",") if x.strip()]
            return found if found and all(found) else None
        return self.talk.term(answer, f"term of {key!r}" if setting else key, spelled) or None

    def with_unit(self, answer: str, reading: Reading) -> str:
        """A bare number gets the unit asked for; a pressure that says neither is asked whether gauge or absolute."""
        written = str(with_unit(answer, reading.unit))
        if says_no_datum(written, reading):
            which = self.talk.choose("  gauge or absolute (g, a; Enter: not known)? ",
                                     {"g": "g", "gauge": "g", "a": "a", "absolute": "a", "": ""})  # fmt: skip
            if which:
                return f"{written} {which}"
            self.talk.say("  recorded as neither: what turns on it stays open until somebody knows")
        return written

    # ---- readings ---------------------------------------------------------------------------------------------

    def measure(self, topic: Topic) -> None:
        terms = [self.words.readings[r] for r in topic.readings]
        told = (
            f"{i}{BOUND}{t.name} ({t.unit or 'number'}{', several' if t.several else ''})"
            for i, t in enumerate(terms, 1)
        )
        if terms:
            self.talk.say("To measure: " + ", ".join(told), hang=2)
        self.talk.help = {t.name: t.means for t in terms}
        fitting = [r for r in self.words.readings.values() if not r.section and self.words.fits(topic.kind, r.on)]
        words = {word: r.name for r in fitting for word in (r.name, *r.also)}
        while answer := self.talk.ask("Measured (number or word, : readings; Enter: nothing more): ", words):
            if answer.lower() in ("n", "no", "none"):
                return
            word, _, values = (x.strip() for x in answer.partition(":"))
            number = int(word) if word.isdigit() and len(word) < 4 else 0
            reading = terms[number - 1].name if 0 < number <= len(terms) else self.words.find("reading", word)
            if reading not in words:
                near = did_you_mean(word, words)
                self.talk.say(f"  {word!r} is not measured on {topic.kind}{f'; {near}' if near else ''}", hang=4)
                continue
            self._readings(topic, reading, values or self.talk.ask(f"  {reading}: "))

    def _readings(self, topic: Topic, reading: str, answer: str) -> None:
        term = self.words.readings[reading]
        written = [self.with_unit(x, term) for x in split_readings(answer)]
        if not written:
            return
        entry: dict[str, Any] = {**topic.about(), "measured": reading, "readings": written}
        if term.several and len(written) > 2 and topic.part and "face" in self.words.lineage[topic.kind]:
            places = self.talk.ask("  at clock positions (12 3 6 9; Enter: not noted): ")
            if places:
                entry["at"] = re.split(r"[,;\s]+", places)
                self.index(topic.part)
        self.talk.record({"add": "measurements", "entry": entry})
