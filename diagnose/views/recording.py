"""The guided session at the bench: one topic after the other, in the order of dismantling.

Questions go out and answers come in through an `Ask`; in a terminal prompt_toolkit edits and completes them, in a pipe
they are plain lines. Everything that is recorded goes through the Recorder, which has it on disk before it is told.
"""

from __future__ import annotations

import os
import re
import shutil
import sys
import textwrap
from collections.abc import Callable, Iterable
from functools import cached_property
from typing import TYPE_CHECKING, Any

from diagnose.casefile import walk
from diagnose.casefile.answers import path_of, split_readings, with_unit
from diagnose.casefile.clock import BadClock, arc
from diagnose.casefile.model import Case, Part
from diagnose.casefile.photos import photo_entry
from diagnose.casefile.recorder import DOUBTFUL, Recorder
from diagnose.casefile.replay import State, What
from diagnose.casefile.walk import Topic
from diagnose.knowledge.model import Step
from diagnose.reading.figures import percent
from diagnose.reading.problems import BadInput
from diagnose.reading.terms import nearest, plain
from diagnose.reading.units import unit
from diagnose.views.journal import clean, sentence
from diagnose.views.page import Page

if TYPE_CHECKING:
    from diagnose.inference.run import RuleBase

Words = dict[str, str]
Ask = Callable[[str, Words], str]
"""Asks one question; `Words` maps every spelling to complete to what it stands for. Raises EOFError to leave."""

MEANS, HELP = "=", "?"
_STATES = {"absent": "absent", "not there": "absent", "lost": "lost", "not looked at": "not looked at"}
_COMMANDS = """\
Enter          nothing to say, go on          =   what the answers so far mean
?              what to look for here          /fix N    correct or withdraw record N
/skip          leave this topic for later     /log      the last records
/lost TEXT     the whole seal is gone: how (in a pair: /lost inboard: TEXT)
/part          put another part on the list   /quit     leave; resume with the same command
A mark in one line:     blisters: 10 to 2, severe, photo carbon.jpg, note beside the port
Not there, or lost:     absent 3-5     lost 2     not looked at 7"""
_GAUGES = ("bar", "mbar", "psi", "kPa", "MPa")


class _Skip(Exception):
    """The topic is left unfinished."""


def asker(plain_prompts: bool = False) -> Ask:
    """Plain prompts unless both ends are a terminal that can edit a line."""
    able = sys.stdin.isatty() and sys.stdout.isatty() and os.environ.get("TERM", "dumb") not in ("", "dumb", "unknown")
    return _plain if plain_prompts or not able else _terminal()


def _plain(question: str, words: Words) -> str:
    sys.stdout.write(question)
    sys.stdout.flush()
    try:
        line = sys.stdin.readline()
    except KeyboardInterrupt:
        line = ""
    if not line:
        raise EOFError
    if not sys.stdin.isatty():
        sys.stdout.write("\n")
    return line.strip()


def _terminal() -> Ask:
    from prompt_toolkit import PromptSession
    from prompt_toolkit.application import get_app
    from prompt_toolkit.completion import FuzzyCompleter, WordCompleter
    from prompt_toolkit.filters import Condition
    from prompt_toolkit.key_binding import KeyBindings, KeyPressEvent
    from prompt_toolkit.output.vt100 import Vt100_Output

    keys = KeyBindings()

    @keys.add(MEANS, filter=Condition(lambda: not get_app().current_buffer.text))
    def show_standing(event: KeyPressEvent) -> None:
        event.app.exit(result=MEANS)

    @keys.add("tab")
    def complete(event: KeyPressEvent) -> None:
        buffer = event.current_buffer
        if buffer.complete_state:
            buffer.complete_next()
        else:
            buffer.start_completion(select_first=True)

    # asking the terminal for its cursor costs a round trip a question, so it is not asked
    output = Vt100_Output.from_pty(sys.stdout, term=os.environ.get("TERM"))
    output.enable_cpr = False
    session: PromptSession[str] = PromptSession(
        output=output, key_bindings=keys, complete_while_typing=False, reserve_space_for_menu=4
    )

    def ask(question: str, words: Words) -> str:
        meta = {word: f"= {term}" for word, term in words.items() if plain(word) != plain(term)}
        completer = FuzzyCompleter(WordCompleter(list(words), ignore_case=True, meta_dict=meta, sentence=True))
        try:
            return session.prompt(question, completer=completer).strip()
        except KeyboardInterrupt:
            raise EOFError from None

    return ask


class Dialogue:
    """One guided session. `run` returns when everything is asked or the person leaves."""

    def __init__(self, recorder: Recorder, ask: Ask, say: Callable[[str], None] = print):
        self.recorder, self._ask, self._say = recorder, ask, say
        self.knowledge = recorder.knowledge
        self.words = recorder.knowledge.vocabulary
        self.seen_from = ""
        self.topic: Topic | None = None
        self._read: tuple[State, Case] | None = None

    # ---- the walk -------------------------------------------------------------------------------------------

    def run(self) -> None:
        for line in self.recorder.told:
            self.say(line)
        case = self.case
        self.say(f"{case.name}: {len(case.parts)} parts, {len(case.observations)} observations, "
                 f"{len(case.measured)} readings on record. Type ? for help, /quit to leave.")  # fmt: skip
        try:
            for step in self.knowledge.arrangements.steps:
                if not self._reached(self._end_of(step)):
                    self._go_through(step)
            self.say("Everything is asked. See: diagnose explain")
        except EOFError:
            self.say(
                f"\nLeft. Everything acknowledged is on disk; go on with: diagnose record {self.recorder.case.name}"
            )

    def _go_through(self, step: Step) -> None:
        steps = self.knowledge.arrangements.steps
        self.say("")
        self.say(f"Step {steps.index(step) + 1} of {len(steps)}: {step.name}", bold=True)
        self.say(step.do)
        if not self._reached(self._start_of(step)):
            answer = self.ask("Enter to begin, p if this is past and can no longer be seen: ", {"p": "past"})
            if self.case.stage != step.stage:
                self.record({"set": ["stage"], "to": step.stage}, quiet=True)
            if answer.lower() in ("p", "past"):
                self.record({"reached": self._end_of(step)}, quiet=True)
                return
            self.record({"reached": self._start_of(step)}, quiet=True)
        while topic := next((t for t in self._topics(step) if not self._reached(t.id)), None):
            try:
                self._take(topic)
            except _Skip:
                self.say("left for later: it is asked again before this step ends")
            self.record({"reached": topic.id}, quiet=True)
        self._ask_what_will_be_lost(step)
        self.record({"reached": self._end_of(step)}, quiet=True)

    def _topics(self, step: Step) -> list[Topic]:
        return [t for t in walk.topics(self.case, self.knowledge) if t.step.stage == step.stage]

    def _reached(self, topic: str) -> bool:
        return topic in self.recorder.state.reached

    @staticmethod
    def _start_of(step: Step) -> str:
        return f"{step.stage} / begun"

    @staticmethod
    def _end_of(step: Step) -> str:
        return f"{step.stage} / done"

    def _take(self, topic: Topic) -> None:
        self.topic = topic
        if topic.asks:
            self._ask_figures(topic)
            return
        found = self._identified(topic) if topic.part else topic
        if found is None:
            return
        self.topic = topic = found
        self._heading(topic)
        self._look(topic)
        if topic.readings:
            self._measure(topic)

    def _ask_what_will_be_lost(self, step: Step) -> None:
        """Goes back to every part with something open that the end of the step destroys."""
        told = False
        for topic in self._topics(step):
            gone = walk.unanswered(self.case, topic, self.words, about_to_be_lost=True)
            if not gone:
                continue
            if not told:
                self.say("")
                self.say(f"Before you go on: {step.ends} This is still open:", bold=True)
                told = True
            self.topic = topic
            self._heading(topic, gone)
            question = "You see (number, word); a: none is there; l: lost; Enter: not looked at: "
            while gone and (answer := self.ask(question, self._features(topic))):
                if answer.lower() in ("a", "l"):
                    self._record_all(topic, gone, {"a": "absent", "l": "lost"}[answer.lower()])
                else:
                    self._saw(topic, answer)
                gone = [f for f in gone if f in walk.unanswered(self.case, topic, self.words)]
            if gone:
                self._record_all(topic, gone, "not looked at")

    # ---- figures and settings -------------------------------------------------------------------------------

    def _ask_figures(self, topic: Topic) -> None:
        for key in (
            "tag",
            "fluid",
            "rotation",
            "equipment.seen from",
            "index.rotating",
            "index.stationary",
            *topic.asks,
        ):
            path = path_of(key if key not in ("tag",) else "equipment.tag", "", self.words)
            if self.recorder.state.value(path) is None:
                self._ask_figure(key, path)

    def _ask_figure(self, key: str, path: list[str]) -> None:
        setting, reading = self.words.settings.get(key), self.words.readings.get(key)
        hint, words = "", {}
        if setting:
            words = {also: term for term, alsos in setting.terms.items() for also in (term, *alsos)}
            hint = "one of: " + ", ".join(setting.terms) if setting.single else "any of: " + ", ".join(setting.terms)
        elif reading:
            hint = reading.unit
        else:
            words, hint = {w: w for w in _CHOICES.get(key, ())}, ", ".join(_CHOICES.get(key, ()))
        shown = hint if len(hint) < 60 else "Tab shows the words"
        while answer := self.ask(f"{_TITLES.get(key, key)}{f' ({shown})' if shown else ''}: ", words):
            if setting and not setting.single:
                to: Any = [x.strip() for x in answer.split(",") if x.strip()]
            else:
                to = self._with_unit(answer, reading.unit) if reading else answer
            if self.record({"set": path, "to": to}):
                return

    def _with_unit(self, answer: str, spelling: str) -> str:
        """A bare number gets the unit asked for; a pressure is asked whether gauge or absolute."""
        written = str(with_unit(answer, spelling))
        if unit(spelling).kind == unit("bar").kind and any(written.endswith(f" {u}") for u in _GAUGES):
            which = self.ask("  gauge or absolute (g, a)? ", {"g": "gauge", "a": "absolute"})[:1].lower()
            written += f" {which}" if which in ("g", "a") else ""
        return written

    # ---- parts ----------------------------------------------------------------------------------------------

    def _identified(self, topic: Topic) -> Topic | None:
        """Asks once what a part is. Returns the topic as it stands after that, or None where the seal has no such part."""
        mark = f"part / {topic.part}"
        part = self.case.part(topic.part)
        if part is None or self._reached(mark):
            return topic
        self.say("")
        self.say(self._describe(part))
        answer = self.ask("Enter if so; m to mark, number or tag it; l if lost; x if this seal has none: ",
                          {"m": "mark", "l": "lost", "x": "none"})  # fmt: skip
        if answer.lower() == "l":
            how = self.ask("  how was it lost: ", {})
            record = self.recorder.state.part_record(part.item)
            assert record is not None
            if how and self.record({"add": "parts", "entry": {**record.entry, "lost": how}, "instead of": record.id}):
                return None
            return topic
        if answer.lower() == "x":
            record = self.recorder.state.part_record(part.item)
            assert record is not None
            self._drop_touches(part.item)
            self.record({"withdraw": record.id, "why": "this seal has none"})
            return None
        item = self._mark(part) if answer.lower() == "m" else part.item
        self.record({"reached": f"part / {item}"}, quiet=True)
        again = [t for t in self._topics(topic.step) if t.part == item]
        return again[0] if again else None

    def _drop_touches(self, item: str) -> None:
        for record in self.recorder.state.records:
            if record.place == "parts" and item in record.entry.get("touches", ()):
                rest = [t for t in record.entry["touches"] if t != item]
                entry = {k: v for k, v in record.entry.items() if k != "touches"} | ({"touches": rest} if rest else {})
                self.record({"add": "parts", "entry": entry, "instead of": record.id, "why": f"there is no part {item}"},
                            quiet=True)  # fmt: skip

    def _mark(self, part: Part) -> str:
        """Item number, tag, index mark and view of a part, what it is and touches. Returns its item number."""
        record = self.recorder.state.part_record(part.item)
        assert record is not None
        datum = self.case.index.get(part.group, "")
        while True:
            entry = dict(record.entry)
            for key, hint in _MARKS.items():
                old = entry.get(key, "")
                old = ", ".join(old) if isinstance(old, list) else old
                default = old or (datum if key == "index" else self.seen_from if key == "seen from" else "")
                words = {w: w for w in _CHOICES.get(key, ())} or (self._kinds() if key == "kind" else {})
                answer = self.ask(f"  {key}{hint} [{default or 'none'}]: ", words) or default
                if key == "touches":
                    entry |= {key: re.split(r"[,\s]+", answer)} if answer else {}
                elif answer:
                    entry[key] = answer
            self.seen_from = entry.get("seen from", self.seen_from)
            if entry == record.entry or self.record(
                {"add": "parts", "entry": entry, "instead of": record.id, "why": "identified at the bench"}
            ):
                return str(entry["item"])

    def _kinds(self) -> Words:
        return {also: kind for kind, k in self.words.kinds.items() for also in (kind, *k.also)}

    def _add_part(self) -> None:
        item = self.ask("  item number: ", {})
        kind = self.ask("  kind of part: ", self._kinds())
        if item and kind and self.record({"add": "parts", "entry": {"item": item, "kind": kind}}):
            part = self.case.part(item)
            assert part is not None
            self._mark(part)

    def _describe(self, part: Part) -> str:
        bits = [part.kind, part.position if part.position not in ("seal", "machine") else "", part.group]
        bits += [
            f"carries the {part.carries}"
            if part.carries == "nose"
            else f"the {part.carries} ring"
            if part.carries
            else ""
        ]
        bits += [f"tag {part.tag}" if part.tag else "", f"index: {part.index}" if part.index else ""]
        bits += [f"touches {', '.join(part.touches)}" if part.touches else ""]
        return f"Item {part.item}, {part.name}: {', '.join(b for b in bits if b)}"

    # ---- looking --------------------------------------------------------------------------------------------

    def _heading(self, topic: Topic, features: Iterable[str] = ()) -> None:
        part = self.case.part(topic.part)
        open_ones = list(features) or walk.unanswered(self.case, topic, self.words)
        self.say("")
        self.say(f"{part.item} {part.name}" if part else topic.kind.capitalize(), bold=True)
        if topic.how:
            self.say(topic.how)
        listed = [f"{topic.features.index(f) + 1} {f}" + ("!" if walk.is_lost_after(self.words, f, topic.step) else "")
                  for f in open_ones]  # fmt: skip
        if listed:
            self.say(("Look for (! is gone after this step): " if any("!" in x for x in listed) else "Look for: ")
                     + ", ".join(listed), hang=2)  # fmt: skip

    def _look(self, topic: Topic) -> None:
        while answer := self.ask("Seen (number or word, : details; Enter: nothing more): ", self._features(topic)):
            self._saw(topic, answer)
        open_ones = walk.unanswered(self.case, topic, self.words)
        if open_ones:
            self._not_there(topic, open_ones)

    def _saw(self, topic: Topic, answer: str) -> None:
        state = next((s for s in _STATES if answer.lower().startswith(s + " ")), "")
        if state:
            chosen = self._chosen(topic, topic.features, answer[len(state) :])
            if chosen:
                self._record_all(topic, chosen, _STATES[state])
                return
        several = self._chosen(topic, topic.features, answer) if ":" not in answer and answer != "all" else []
        if len(several) > 1:
            for feature in several:
                self._saw(topic, feature)
            return
        word, _, details = answer.partition(":")
        feature = self._feature(topic, word.strip())
        if not feature:
            return
        if not details and topic.part:
            sides = self.words.features[feature].sides
            details = self.ask(f"  where and how much (10 to 2, moderate{', ' + sides[0] if sides else ''}; Enter: not said): ",
                               {w: w for w in (*self.words.degrees, *sides, "all round", "one sector", "patches")})  # fmt: skip
        while (entry := self._details(details)) is None:
            details = self.ask("  where and how much: ", {})
        if entry.get("extent") and topic.part:
            self._index(topic.part)
        said = {"said": word.strip()} if plain(word) != feature and not word.strip().isdigit() else {}
        self.record({"add": "observations", "entry": {**topic.about(), "saw": feature, **entry}, **said})

    def _details(self, text: str) -> dict[str, Any] | None:
        """Extent, degree, side, photo and note out of one line; None, told, where a word fits none of them."""
        entry: dict[str, Any] = {}
        arcs: list[str] = []
        for bit in (b.strip() for b in text.split(",")):
            word = plain(bit)
            if not bit:
                continue
            if word in self.words.degrees:
                entry["degree"] = word
            elif word in self.words.sides:
                entry["side"] = word
            elif word in ("all round", "one sector", "patches"):
                arcs.append(word)
            elif word.startswith("photo "):
                try:
                    entry |= photo_entry(self.recorder.case, bit[6:].strip())
                except BadInput as error:
                    self._tell(error)
                    return None
            elif word.startswith("note "):
                entry["note"] = bit[5:].strip()
            else:
                try:
                    arc(word)
                    arcs.append(word)
                except BadClock:
                    near = nearest(word, [*self.words.degrees, *self.words.sides, "all round", "one sector", "patches"])
                    self.say(f"  {bit!r} is no clock position, degree or side"
                             + (f"; did you mean {', '.join(near)}?" if near else "; a remark is written: note TEXT"))  # fmt: skip
                    return None
        return entry | ({"extent": arcs[0] if len(arcs) == 1 else arcs} if arcs else {})

    def _index(self, item: str) -> None:
        """A clock position needs the mark it is counted from and the end it is seen from."""
        part, record = self.case.part(item), self.recorder.state.part_record(item)
        if part is None or record is None or (part.index and part.seen_from):
            return
        entry = dict(record.entry)
        datum = part.index or self.case.index.get(part.group, "")
        index = self.ask(f"  counted from which mark [{datum or 'not said'}]: ", {}) or datum
        view = self.ask(f"  seen from (driver end, impeller end) [{self.seen_from or 'not said'}]: ",
                        {w: w for w in _CHOICES["seen from"]}) or self.seen_from  # fmt: skip
        entry |= {k: v for k, v in (("index", index), ("seen from", view)) if v}
        if entry != record.entry and self.record(
            {"add": "parts", "entry": entry, "instead of": record.id, "why": "marked at the bench"}
        ):
            self.seen_from = view

    def _not_there(self, topic: Topic, features: Iterable[str]) -> None:
        question = "Looked for and not there (numbers, words, all; Enter: none): "
        while answer := self.ask(question, self._features(topic)):
            chosen = self._chosen(topic, features, answer)
            if chosen:
                self._record_all(topic, chosen, "absent")
                return
            self.say(f"  {answer!r} names none of them")

    def _chosen(self, topic: Topic, features: Iterable[str], answer: str) -> list[str]:
        """Features by number, range, word or all; empty where something in it is none of those."""
        known, chosen = list(features), []
        if answer.strip().lower() == "all":
            return [f for f in known if f in walk.unanswered(self.case, topic, self.words)]
        for bit in (b for b in re.split(r"[,;]\s*|\s+(?=\d)", answer.strip()) if b):
            low, dash, high = bit.partition("-")
            if low.strip().isdigit() and (not dash or high.strip().isdigit()):
                numbers = range(int(low), min(int(high or low), len(topic.features)) + 1)
                found = [topic.features[n - 1] for n in numbers if 0 < n <= len(topic.features)]
            else:
                term = self.words.find("feature", bit)
                found = [term] if term else []
            if not found:
                return []
            chosen += found
        return list(dict.fromkeys(chosen))

    def _record_all(self, topic: Topic, features: list[str], state: str) -> None:
        self.record(*({"add": "observations", "entry": {**topic.about(), state: f}} for f in features))

    def _features(self, topic: Topic) -> Words:
        fitting = [f for f in self.words.features.values() if walk.fits(self.words, topic.kind, f.on)]
        order = {f: i for i, f in enumerate(topic.features)}
        fitting.sort(key=lambda f: (order.get(f.name, len(order)), f.name))
        return {word: f.name for f in fitting for word in (f.name, *f.also)}

    def _feature(self, topic: Topic, word: str) -> str:
        """The feature meant, asking back where the word is only near one; "" where it is none."""
        if word.isdigit() and 0 < int(word) <= len(topic.features):
            return topic.features[int(word) - 1]
        table = {plain(k): v for k, v in self._features(topic).items()}
        if plain(word) in table:
            return table[plain(word)]
        near = list(dict.fromkeys(table[n] for n in nearest(word, table, 6)))
        if not near:
            elsewhere = self.words.find("feature", word)
            on = f"; it is recorded on: {', '.join(self.words.features[elsewhere].on)}" if elsewhere else ""
            self.say(f"  {word!r} is no feature of {topic.kind}{on}")
            return ""
        self.say("  did you mean: " + ", ".join(f"{i} {n}" for i, n in enumerate(near, 1)))
        answer = self.ask("  number (Enter: none of them): ", {})
        return near[int(answer) - 1] if answer.isdigit() and 0 < int(answer) <= len(near) else ""

    # ---- measuring ------------------------------------------------------------------------------------------

    def _measure(self, topic: Topic) -> None:
        terms = [self.words.readings[r] for r in topic.readings]
        listed = (
            f"{i} {t.name} ({t.unit or 'number'}{', several' if t.several else ''})" for i, t in enumerate(terms, 1)
        )
        self.say("To measure: " + ", ".join(listed), hang=2)
        fitting = [r for r in self.words.readings.values() if not r.section and walk.fits(self.words, topic.kind, r.on)]
        words = {word: r.name for r in fitting for word in (r.name, *r.also)}
        while answer := self.ask("Measured (number or word, : readings; Enter: nothing more): ", words):
            word, _, values = (x.strip() for x in answer.partition(":"))
            number = int(word) if word.isdigit() else 0
            reading = terms[number - 1].name if 0 < number <= len(terms) else self.words.find("reading", word)
            if reading not in words:
                near = nearest(word, words)
                hint = f"; did you mean {', '.join(near)}?" if near else ""
                self.say(f"  {word!r} is not measured on {topic.kind}{hint}")
                continue
            self._readings(topic, reading, values or self.ask(f"  {reading}: ", {}))

    def _readings(self, topic: Topic, reading: str, answer: str) -> None:
        term = self.words.readings[reading]
        written = [self._with_unit(x, term.unit) for x in split_readings(answer)]
        if not written:
            return
        entry: dict[str, Any] = {**topic.about(), "measured": reading, "readings": written}
        if term.several and len(written) > 2 and topic.part and "face" in self.words.lineage[topic.kind]:
            places = self.ask("  at clock positions (12 3 6 9; Enter: not noted): ", {})
            if places:
                entry["at"] = re.split(r"[,;\s]+", places)
                self._index(topic.part)
        self.record({"add": "measurements", "entry": entry})

    # ---- commands at any question -----------------------------------------------------------------------------

    def ask(self, question: str, words: Words) -> str:
        """One answer; help, the standing, corrections and leaving work at every question."""
        while True:
            answer = self._ask(question, words)
            command, _, rest = answer.partition(" ")
            if answer == MEANS:
                self._standing()
            elif answer == HELP:
                self._help()
            elif command == "/fix":
                self._fix(rest.strip())
            elif command == "/log":
                for line in self.recorder.lines[-10:]:
                    self.say(f"{line.number}  {sentence(line.what)}", hang=4)
            elif command == "/lost":
                self._lost(rest.strip())
            elif command == "/part":
                self._add_part()
            elif command == "/skip":
                raise _Skip
            elif command == "/quit":
                raise EOFError
            elif command.startswith("/"):
                self.say(f"  there is no command {command!r}; ? shows them")
            else:
                return answer

    def _lost(self, text: str) -> None:
        """The whole seal is gone, or one of a pair: nothing that needs it in hand is asked any more."""
        position, colon, how = (x.strip() for x in text.partition(":"))
        if not colon or position not in self.case.positions:
            position, how = "", text
        if not how:
            self.say("  write how it was lost: /lost scrapped before anyone looked")
            return
        self.record({"set": path_of("lost", position, self.words), "to": how})

    def _help(self) -> None:
        for line in _COMMANDS.splitlines():
            self._say(line)
        for feature in self.topic.features if self.topic else ():
            f = self.words.features[feature]
            self.say(f"{feature}: {f.means} {f.how}".strip(), hang=4)

    def _fix(self, id: str) -> None:
        record = self.recorder.state.record(id) or self.recorder.state.part_record(id)
        if record is None:
            self.say(f"  there is no record {id!r}; /log shows them")
            return
        self.say(f"  {record.id}: {sentence({'add': record.place, 'entry': record.entry})}")
        if record.place == "parts":
            part = self.case.part(record.entry["item"])
            assert part is not None
            self._mark(part)
            return
        answer = self.ask("  now (saw, absent, lost, not looked at, withdraw; a reading: the readings): ",
                          {w: w for w in ("saw", "absent", "lost", "not looked at", "withdraw")})  # fmt: skip
        why = self.ask("  why is it corrected: ", {}) if answer else ""
        if not answer or not why:
            self.say("  left as it is")
        elif answer == "withdraw":
            self.record({"withdraw": record.id, "why": why})
        elif record.place == "measurements":
            spelling = self.words.readings[record.entry["measured"]].unit
            written = [self._with_unit(x, spelling) for x in split_readings(answer)]
            entry = {k: v for k, v in record.entry.items() if k != "reading"} | {"readings": written}
            self.record({"add": "measurements", "entry": entry, "instead of": record.id, "why": why})
        else:
            states = ("saw", "absent", "lost", "not looked at")
            feature = next((record.entry[s] for s in states if s in record.entry), "")
            kept = {k: record.entry[k] for k in ("part", "on", "position", "face", "group") if k in record.entry}
            details = self._details(self.ask("  where and how much: ", {})) or {} if answer == "saw" else {}
            entry = {**kept, answer: feature, **details}
            self.record({"add": record.place, "entry": entry, "instead of": record.id, "why": why})

    # ---- what it means so far ---------------------------------------------------------------------------------

    @cached_property
    def _base(self) -> RuleBase:
        from diagnose.inference.rules import compile_rules
        from diagnose.inference.run import RuleBase

        return RuleBase(self.knowledge, compile_rules(self.knowledge))

    def _standing(self) -> None:
        for line in standing(self.case, self._base):
            self.say(line, hang=4)

    # ---- out and in -------------------------------------------------------------------------------------------

    @property
    def case(self) -> Case:
        if self._read is None or self._read[0] is not self.recorder.state:
            self._read = self.recorder.state, self.recorder.case_now()
        return self._read[1]

    def record(self, *whats: What, quiet: bool = False, sure: bool = False) -> bool:
        """Whether it is on record now; a refusal is told and nothing is recorded, a doubtful reading is asked again."""
        try:
            lines = self.recorder.accept(*whats, sure=sure)
        except BadInput as error:
            if all(p.code == DOUBTFUL for p in error.problems):
                odd = "; ".join(p.says for p in error.problems)
                so = self.ask(f"  {odd}. Is that so (y, Enter: no)? ", {})[:1].lower() == "y"
                return so and self.record(*whats, quiet=quiet, sure=True)
            self._tell(error)
            if any(p.code in ("disk", "view") for p in error.problems):
                raise
            return False
        if not quiet:
            told = ", ".join(str(x.number) for x in lines)
            self.say(f"  recorded ({told})" if lines else "  already on record")
        return True

    def _tell(self, error: BadInput) -> None:
        for p in error.problems:
            self.say(f"  {p.says}" + (f" ({p.way_out})" if p.way_out else ""), hang=4)

    def say(self, text: str, hang: int = 0, bold: bool = False) -> None:
        page = Page(min(shutil.get_terminal_size((80, 24)).columns, 100))
        indent = " " * (len(text) - len(text.lstrip(" ")))
        lines = textwrap.wrap(clean(text.strip()), page.width - 1, subsequent_indent=indent + " " * hang, initial_indent=indent,
                              break_on_hyphens=False) or [""]  # fmt: skip
        for line in lines:
            self._say(page.bold(line) if bold else line)


def standing(case: Case, base: RuleBase) -> list[str]:
    """The ranking so far and what would tell most next, in a few lines."""
    from diagnose.advice.plan import plan
    from diagnose.inference.run import infer
    from diagnose.judgement.judge import judge
    from diagnose.judgement.network import build

    net = build(base.knowledge)
    inference = infer(case, base)
    judgements = judge(inference, net)
    lines = []
    for judgement in judgements:
        lines.append(f"So far at the {judgement.position} seal:" if len(case.positions) > 1 else "So far:")
        for judged in judgement.causes[:5]:
            if judged.standing != "ruled out":
                lines.append(f"  {percent(judged.probability):>11}  {judged.cause} ({judged.standing})")
    steps = plan(inference, judgements, net, most=3).steps[:3]
    told = "; ".join(f"{s.name} ({s.bits:.2f} bit, {s.minutes:g} min)" for s in steps)
    return [*lines, f"Next best: {told}" if steps else "Nothing that is left would tell more."]


_MARKS = {
    "item": " number", "kind": " of part", "name": "", "tag": "", "group": "", "carries": "", "index": " mark",
    "seen from": "", "touches": " which items",
}  # fmt: skip
_CHOICES = {
    "rotation": ("clockwise", "counterclockwise"), "equipment.seen from": ("driver end", "impeller end"),
    "seen from": ("driver end", "impeller end"), "group": ("rotating", "stationary"), "carries": ("nose", "wide"),
}  # fmt: skip
_TITLES = {
    "equipment.seen from": "rotation seen from", "index.rotating": "index mark of the rotating parts",
    "index.stationary": "index mark of the stationary parts", "tag": "tag of the machine", "service": "what about the liquid",
    "machine": "kind of machine",
}  # fmt: skip
