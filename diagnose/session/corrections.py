"""Corrections and remarks in a session: /fix, /lost, /note and /photo, whatever was recorded."""

from __future__ import annotations

import re
from typing import Any

from diagnose.casefile.answers import path_of, split_readings
from diagnose.casefile.format import NOT_UNDERSTOOD, STATES
from diagnose.casefile.journal import Line
from diagnose.casefile.replay import Record, replay
from diagnose.reading.terms import plain
from diagnose.session.figures import FIRST, WITHDRAW, Figures
from diagnose.session.looking import Looking
from diagnose.session.parts import Parts
from diagnose.session.photos import more_photos
from diagnose.session.talk import Back, Skip, Talk
from diagnose.views.journal import sentence

_LEFT = "  left as it is"


class Corrections:
    def __init__(self, talk: Talk, parts: Parts, figures: Figures, looking: Looking):
        self.talk, self.parts, self.figures, self.looking = talk, parts, figures, looking

    def fix(self, text: str) -> None:
        """Corrects or withdraws record N, or what is on record by the name of a figure or setting, or changes part ITEM."""
        try:
            self._fix(text)
        except (Back, Skip):
            self.talk.say(_LEFT)

    def _fix(self, text: str) -> None:
        state, number = self.talk.recorder.state, re.sub(r"^r(?=\d)", "", text.lower())
        if text.startswith("part ") and (found := state.part_record(text.removeprefix("part ").strip())):
            number = found.id
        number = self._followed(number)
        record = state.record(number)
        if record:
            self.talk.say(f"  r{record.id}: {sentence({'add': record.place, 'entry': record.entry})}", hang=4)
            {"parts": self._part, "observations": self._observation, "measurements": self._measurement}.get(
                record.place, self._text
            )(record)
            return
        line = next((x for x in self.talk.recorder.lines if str(x.number) == number), None)
        path = [str(key) for key in line.what["set"]] if line and "set" in line.what else self._path_of(text)
        if line and path and isinstance(line.what.get("to"), list):
            self._one_of_several(path, line)
        elif not path and self._by_name(text):
            return
        elif path:
            self._setting(path)
        else:
            self.talk.say(
                f"  there is no record {text!r}; /log shows them, /fix part 4 changes a part, /fix springs a figure or setting",
                hang=4,
            )

    def _one_of_several(self, path: list[str], line: Line) -> None:
        """Takes away or changes what one line added to several, and nothing that other lines said."""
        lines, state = self.talk.recorder.lines, self.talk.recorder.state
        before, now = (
            x if isinstance(x, list) else [] for x in (replay(lines[: line.number - 1]).value(path), state.value(path))
        )
        mine = [x for x in line.what["to"] if x in now and x not in before]
        if not mine:
            self._setting(path)
            return
        self.talk.say(f"  {' '.join(path)}: {', '.join(map(str, mine))}", hang=4)
        answer = self.talk.ask("  now (withdraw; Enter: as it is): ")
        away = plain(answer) == WITHDRAW
        new = (
            []
            if away
            else [answer]
            if path == [NOT_UNDERSTOOD]
            else self.figures.value(self.figures.key_of(path), answer)
            if answer
            else None
        )
        why = self._why() if answer and new is not None else ""
        to = [*(x for x in now if x not in mine), *(new or [])]
        if not why or not self.talk.record({"set": path, "to": to or None, "why": why}):
            self.talk.say(_LEFT)

    def _by_name(self, text: str) -> bool:
        """Whether a mark or reading of that name is on record: one is corrected, of several the numbers are told."""
        words = self.talk.words
        names = {words.find("feature", text), words.find("reading", text)} - {None}
        found = [r for r in self.talk.recorder.state.records if names & {r.entry.get(k) for k in (*STATES, "measured")}]
        if len(found) == 1:
            self._fix(found[0].id)
        for r in found if len(found) > 1 else ():
            self.talk.say(f"  /fix r{r.id}: {sentence({'add': r.place, 'entry': r.entry})}", hang=4)
        return bool(found)

    def _path_of(self, name: str) -> list[str]:
        """Where a figure or setting of that name stands in the case; of one seal of a pair where it is said of that alone."""
        for position in ("", *self.talk.case.positions):
            try:
                path = path_of(self.figures.key_said(name), position, self.talk.words)
            except ValueError:
                return []
            if self.talk.recorder.state.value(path) is not None or self.figures.key_said(name) in FIRST:
                return path
        return []

    def _followed(self, number: str) -> str:
        """The record that stands in place of one that was corrected."""
        for line in self.talk.recorder.lines:
            if str(line.what.get("instead of", "")) == number:
                self.talk.say(f"  record r{number} was corrected by r{line.number}")
                number = str(line.number)
        return number

    def _why(self) -> str:
        return self.talk.ask("  why is it corrected: ")

    def _setting(self, path: list[str]) -> None:
        old, key = self.talk.recorder.state.value(path), self.figures.key_of(path)
        shown = ", ".join(old) if isinstance(old, list) else old if old is not None else "not said"
        hint = self.figures.hint(key)
        self.talk.say(f"  {' '.join(path)} is {shown}" + (f" ({hint})" if hint else ""), hang=4)
        answer = self.talk.ask("  now (withdraw; Enter: as it is): ")
        to = None if answer == "withdraw" else self.figures.value(key, answer) if answer else None
        meant = answer == "withdraw" or (to is not None and self.talk.could({"set": path, "to": to}))
        why = self._why() if answer and meant else ""
        if not why or not self.talk.record({"set": path, "to": to, "why": why}):
            self.talk.say(_LEFT)

    def _part(self, record: Record) -> None:
        self.parts.change(str(record.entry["item"]))

    def _observation(self, record: Record) -> None:
        options = {s: s for s in (*STATES, "withdraw")} | {"": "", "seen": "saw", "not there": "absent"}
        answer = self.talk.choose("  now (saw, absent, lost, not looked at, withdraw; Enter: as it is): ", options)
        feature = next((record.entry[s] for s in STATES if s in record.entry), "")
        kept = {k: record.entry[k] for k in ("part", "on", "position", "face", "group") if k in record.entry}
        where = self.talk.ask("  where and how much: ") if answer == "saw" else ""
        details, more = self.looking.details(where)
        self._in_place(record, answer, {**kept, answer: feature, **details})
        if more:
            self.talk.record(*more_photos(str(kept.get("part", "")), more, str(feature)))

    def _measurement(self, record: Record) -> None:
        answer = self.talk.ask("  the readings now (withdraw; Enter: as it is): ")
        term = self.talk.words.readings[record.entry["measured"]]
        written = [self.figures.with_unit(x, term) for x in split_readings(answer)] if answer != "withdraw" else []
        rest = {k: v for k, v in record.entry.items() if k not in ("reading", "readings")}
        self._in_place(record, answer, {**rest, "readings": written})

    def _text(self, record: Record) -> None:
        """An event or a remark."""
        key = "what" if record.place == "events" else "note"
        answer = self.talk.ask("  what it says now (withdraw; Enter: as it is): ")
        self._in_place(record, answer, {**record.entry, key: answer})

    def _in_place(self, record: Record, answer: str, entry: dict[str, Any]) -> None:
        why = self._why() if answer else ""
        what = (
            {"withdraw": record.id}
            if answer == "withdraw"
            else {"add": record.place, "entry": entry, "instead of": record.id}
        )
        if not why or not self.talk.record({**what, "why": why}):
            self.talk.say(_LEFT)

    # ---- remarks, and what is lost ----------------------------------------------------------------------------

    def lost(self, text: str) -> None:
        """The whole seal is gone, or one of a pair, or a part: nothing that needs it in hand is asked any more."""
        first = re.match(r"(part\s+)?([^\s:,]+)", text)
        if first and (first[1] or self.talk.case.part(first[2])):
            self.parts.lost(text)
            return
        position, colon, how = (x.strip() for x in text.partition(":"))
        if not colon or position not in self.talk.case.positions:
            position, how = "", text
        if not how:
            self.talk.say("  write how it was lost: /lost scrapped before anyone looked")
            return
        self.talk.record({"set": path_of("lost", position, self.talk.words), "to": how})

    def note(self, text: str) -> None:
        if text:
            self._remark({"note": text})
        else:
            self.talk.say("  write the remark behind it: /note smelt burnt")

    def photo(self, text: str) -> None:
        entry = self.looking.photos.entry(text or self.looking.photos.pick())
        if entry:
            self._remark(entry)

    def _remark(self, entry: dict[str, str]) -> None:
        topic = self.talk.topic
        about = {"part": topic.part} if topic and topic.part and self.talk.case.part(topic.part) else {}
        self.talk.record({"add": "remarks", "entry": {**about, **entry}})
