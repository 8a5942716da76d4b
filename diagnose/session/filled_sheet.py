"""A bench sheet typed back by the numbers of its boxes, as answers for the recorder."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from typing import Any

from diagnose.casefile.answers import by_seal, path_of, split_readings
from diagnose.casefile.journal import Line
from diagnose.casefile.model import Case
from diagnose.casefile.photos import photo_entry
from diagnose.casefile.reader import parse_case
from diagnose.casefile.recorder import Recorder
from diagnose.casefile.replay import State, What, apply
from diagnose.casefile.sheet import Box, Sheet, case_of, sheet
from diagnose.casefile.spoken import not_understood, records_of, removal_said
from diagnose.casefile.writer import render
from diagnose.knowledge.model import Knowledge
from diagnose.phrases.read import read
from diagnose.reading.entry import replace
from diagnose.reading.problems import BadInput, Does, Problem, Problems, WayOut, Where
from diagnose.reading.terms import plain
from diagnose.session.entries import ABSENT, SEEN, UNSEEN, details
from diagnose.session.figures import CHOICES

WRITTEN: Mapping[Does, str] = {"sure": "! behind it if it is so"}
"""What there is to do, as it is written on a sheet."""
MOVED = "by bench sheet "
"""Why a stage is on record that a sheet showed, before the code of the sheet."""
NOT_READ = ("box", "unit", "unknown-setting")
"""What is wrong with a value that can be kept in own words."""
_LINE = re.compile(
    r"\s*(?:box(?:es)?\s+)?(?:(?P<boxes>\d{1,4}(?:\s*[-–,]\s*\d{1,4})*)\s*[:;=]|(?P<one>\d{1,4})\s)\s*(?P<value>.*)",
    re.I,
)
_CODE = re.compile(r"\s*sheet\s*(?::\s*)?(?P<code>[0-9a-f]{6})\s*", re.I)


@dataclass(frozen=True)
class Typed:
    """One line: the boxes it names and what stands in them, with its place in the file; `sure`: a reading far off its
    nominal is so."""

    boxes: tuple[int, ...]
    value: str
    value_where: Where
    sure: bool = False


class FilledSheet:
    """Reads lines "BOX: value" against the sheet they were written on."""

    def __init__(self, recorder: Recorder, name: str):
        self.recorder, self.name = recorder, name
        self.filled: dict[int, Typed] = {}
        self.sheet = self._sheet_now()
        self.needs_code = any(str(line.what.get("why", "")).startswith(MOVED) for line in recorder.lines)

    def take(self, lines: Iterable[str], tell: Callable[[Line], None] = lambda _: None) -> tuple[Line, ...]:
        """Records a whole file; nothing of it while any line of it is wrong. Raises BadInput with everything that is.

        `tell` gets every line of the journal as soon as it is on disk.
        """
        problems, answers, earlier = Problems(), list[tuple[Typed, list[What]]](), list[What]()
        for number, text in enumerate(lines, 1):
            try:
                if typed := self.line(text, number):
                    whats = self._checked_line(typed, earlier)
                    answers.append((typed, whats))
                    self.filled |= dict.fromkeys(typed.boxes, typed)
                    earlier += whats
            except BadInput as error:
                for p in error.problems:
                    problems.add(p.where, p.code, p.says, p.way_out)
                if self.needs_code:
                    break  # no number says anything before it is known of which sheet it is
        problems.raise_errors()
        if answers:
            answers[-1][1].extend(self._counted_from(earlier))
        self._check_together(answers)
        recorded: list[Line] = []
        for typed, whats in answers:
            for line in self._checked(typed, whats, self.recorder.accept) or ():
                recorded.append(line)
                tell(line)
        return tuple(recorded)

    def _check_together(self, answers: Sequence[tuple[Typed, Sequence[What]]]) -> None:
        """Raises BadInput, at the line where it shows, where lines that are right alone contradict each other."""
        said: list[What] = []
        try:
            self.recorder.check(*(w for _, whats in answers for w in whats), sure=True)
        except BadInput:
            for typed, whats in answers:
                said += whats
                self._checked(replace(typed, sure=True), said, self.recorder.check)

    def take_one(self, text: str, number: int) -> tuple[Line, ...]:
        """Records one line. Raises BadInput, with nothing of it recorded, where it is wrong."""
        if not (typed := self.line(text, number)):
            return ()
        whats = self._checked_line(typed, ())
        lines = self._checked(typed, [*whats, *self._counted_from(whats)], self.recorder.accept)
        self.filled |= dict.fromkeys(typed.boxes, typed)
        return lines or ()

    def _checked_line(self, typed: Typed, earlier: Sequence[What]) -> list[What]:
        """What a line says, if it can be recorded. Raises BadInput, with the box in which its words can be kept."""
        self._refuse_twice(typed)
        try:
            whats = self.said(typed, earlier)
            self._checked(typed, whats, self.recorder.check)
        except BadInput as error:
            kept = self._other_box(typed) or self._own_words(self.sheet.boxes()[typed.boxes[0]], typed.value)
            raise BadInput(
                [
                    replace(p, way_out=f"{p.way_out}; or {kept}") if kept and p.code in NOT_READ else p
                    for p in error.problems
                ]
            ) from error
        return whats

    def _refuse_twice(self, typed: Typed) -> None:
        """Raises BadInput where a line before it says something else of one of the boxes; own words may go on."""
        known = self.sheet.boxes()
        for number in typed.boxes:
            before = self.filled.get(number)
            if before is None or known[number].what == "words" or plain(before.value) == plain(typed.value):
                continue
            several = f"; several readings stand in one line: {number}: {before.value.split()[0]} {typed.value}"
            raise _wrong(typed.value_where, "box-twice", f"box {number} is filled in twice: line {before.value_where.line} says {before.value!r}",
                         "leave the line that is right" + (several if known[number].what == "reading" else ""))  # fmt: skip

    def _other_box(self, typed: Typed) -> str:
        """The box of few answers that what was written is one of: how the seal came out is no history."""
        first = typed.value.partition(",")[0].strip()
        found = (b for b in self.sheet.boxes().values() if b.number not in typed.boxes and b.what == "figure"
                 and plain(first) in map(plain, CHOICES.get(b.term, ())))  # fmt: skip
        return next((f"write it into the box for it: {b.number}: {typed.value}" for b in found), "")

    def _own_words(self, box: Box, said: str) -> str:
        """Where what cannot be read or placed is kept: the words of the same part, else those of the machine, or of anybody."""
        words = [b for b in self.sheet.boxes().values() if b.what == "words"]
        same = next((b for b in words if (b.part, b.kind) == (box.part, box.kind)), None)
        found = same or next((b for b in words if not b.part and not box.part), None)
        if not said or box.what == "words" or not found:
            return ""
        return f"keep it in own words: {found.number}: {box.term.rpartition('.')[2]}, {said}"

    def _counted_from(self, said: Sequence[What]) -> list[What]:
        """The mark and the end that clock positions on the sheet are told by, for parts of which that is not on record."""
        case, found = self.recorder.case_now(), list[What]()
        items = [
            w["entry"].get("part", "")
            for w in said
            if w.get("add") == "observations" and re.search(r"\d", str(w["entry"].get("extent", "")))
        ]
        for item in dict.fromkeys(items):
            part, record = case.part(item), self.recorder.state.part_record(item)
            if not part or not record:
                continue
            missing = {
                "index": "" if part.index else self._value(["index", part.group], said),
                "seen from": "" if part.seen_from else self._value(["equipment", "seen from"], said),
            }
            if more := {k: v for k, v in missing.items() if v}:
                entry = {**record.entry, **more}
                found.append(
                    {"add": "parts", "entry": entry, "instead of": record.id, "why": "head of the bench sheet"}
                )
        return found

    def _value(self, path: list[str], said: Sequence[What]) -> Any:
        return next((w["to"] for w in reversed(said) if w.get("set") == path), self.recorder.state.value(path))

    def _checked(
        self, typed: Typed, whats: Sequence[What], act: Callable[..., tuple[Line, ...] | None]
    ) -> tuple[Line, ...] | None:
        """What the recorder makes of a line; what it refuses is told of the line."""
        try:
            return act(*whats, sure=typed.sure)
        except BadInput as error:
            told = [replace(p, where=typed.value_where, way_out=self._way_out(p.way_out)) for p in error.problems]
            raise BadInput(told) from error

    def _way_out(self, told: str | WayOut) -> str:
        """A way out that the recorder tells, in terms of a sheet."""
        if isinstance(told, str):
            return told
        note = f"diagnose note {self.recorder.case.name} … " if told.does in ("correct", "set") else ""
        return replace(told, before=told.before + note).typed(WRITTEN)

    def line(self, text: str, number: int) -> Typed | None:
        """One line; None for an empty one, a remark behind #, or the code of the sheet. Raises BadInput."""
        text = text.rstrip("\r\n")
        if not text.strip() or text.lstrip().startswith("#"):
            return None
        if code := _CODE.fullmatch(text):
            self._turn_to(code["code"].lower(), Where(self.name, number, code.start("code") + 1))
            return None
        return self._typed(text, number)

    def said(self, typed: Typed, earlier: Sequence[What] = ()) -> list[What]:
        """What a line says; `earlier`: what lines before it say that is not on record yet. Raises BadInput."""
        known, whats = self.sheet.boxes(), list[What]()
        for number in typed.boxes:
            whats += self._of_box(known[number], typed, [*earlier, *whats])
        return whats

    def move_on(self) -> tuple[Line, ...]:
        """Puts on record where the work now stands, by the last step at which the sheet says that something was looked at or measured
        on the seal; it never goes back. Numbers of a sheet printed afterwards are others, so that from then on each says its code."""
        knowledge, boxes = self.recorder.knowledge, self.sheet.boxes()
        stages, case = knowledge.vocabulary.stages, self.recorder.case_now()
        stage_of = {s.name: s.stage for s in knowledge.arrangements.steps}
        step_of = {
            b.number: stage_of.get(s.title, "") for page in self.sheet.pages for s in page.stages for b in s.boxes()
        }
        told = [n for n, typed in self.filled.items() if plain(typed.value.partition(",")[0]) not in UNSEEN]
        done = [step_of[n] for n in told if n in step_of and self._is_of_the_seal(case, boxes[n])]
        order = {"": -1} | {stage: i for i, stage in enumerate(stages)}
        now = max([case.stage, *done], key=order.__getitem__)
        if now == case.stage:
            return ()
        return self.recorder.accept({"set": ["stage"], "to": now, "why": f"{MOVED}{self.sheet.code}"})

    def _is_of_the_seal(self, case: Case, box: Box) -> bool:
        part = case.part(box.part)
        kind = self.recorder.knowledge.vocabulary.kinds.get(part.kind if part else box.kind)
        return box.what in ("feature", "reading") and kind is not None and kind.place == "seal"

    def _turn_to(self, code: str, where: Where) -> None:
        """Takes up the sheet of that code: of the case as it stands, as it stood at some time, or of its arrangement."""
        for found in self._sheets():
            if found.code == code:
                self.sheet, self.needs_code = found, False
                return
        raise _wrong(where, "sheet-code", f"no sheet of this case has the code {code}",
                     f"look at the foot of the paper: that of another seal goes into its own case; the sheet of this case as it stands is "
                     f"{self._sheet_now().code}; one printed with other rules is typed back with diagnose note")  # fmt: skip

    def _sheet_now(self) -> Sheet:
        return sheet(self.recorder.case_now(), self.recorder.knowledge)

    def _sheets(self) -> Iterator[Sheet]:
        yield self.sheet
        yield self._sheet_now()
        knowledge, case = self.recorder.knowledge, self.recorder.case_now()
        for s in case.settings:
            if s.setting == "arrangement" and s.holds:
                yield sheet(case_of(s.term, knowledge), knowledge)
        yield from _as_it_was(self.recorder.lines, knowledge)

    def _typed(self, text: str, number: int) -> Typed:
        match = _LINE.fullmatch(text)
        if not match:
            raise _wrong(
                Where(self.name, number, 1), "box", f"{text.strip()!r} is no BOX: value", "12: x, or 12-18: no"
            )
        boxes: list[int] = []
        for piece in re.split(r"\s*,\s*", match["boxes"] or match["one"]):
            low, _, high = re.sub(r"\s*[-–]\s*", "-", piece).partition("-")
            if "-" in high:
                raise _wrong(Where(self.name, number, 1), "box", f"{piece[:30]!r} is no range of boxes", "12-18: no")
            first, last = sorted((int(low), int(high or low)))
            boxes += range(first, last + 1)
        where = Where(self.name, number, match.start("boxes" if match["boxes"] else "one") + 1)
        if self.needs_code:
            raise _wrong(where, "sheet-code", "papers printed before and after the work went on have other numbers",
                         "the first line is the code at the foot of the paper: sheet: 1a2b3c")  # fmt: skip
        known = self.sheet.boxes()
        for box in boxes or [0]:
            if box not in known:
                raise _wrong(where, "box", f"this sheet has no box {box}", f"its boxes go from 1 to {len(known)}; its code is {self.sheet.code}")  # fmt: skip
        said = match["value"].rstrip()
        value = said.removesuffix("!").rstrip()
        return Typed(tuple(boxes), value, Where(self.name, number, match.start("value") + 1), value != said)

    def _of_box(self, box: Box, typed: Typed, earlier: Sequence[What]) -> list[What]:
        if not typed.value:
            raise _wrong(typed.value_where, "box", f"nothing is said of box {box.number}", "x, no, ?, or what was seen")
        if box.what == "words":
            return self._words(box, typed, earlier)
        if box.what != "feature" and plain(typed.value) in UNSEEN:
            return []
        if box.what == "figure":
            return self._figure(box, typed, earlier)
        if box.what == "reading":
            entry = {**box.about(), "measured": box.term, "readings": split_readings(typed.value)}
            return [{"add": "measurements", "entry": entry}]
        return self._mark(box, typed)

    def _mark(self, box: Box, typed: Typed) -> list[What]:
        """A mark with its details; photos beyond the first are remarks of their own."""
        first, _, rest = (x.strip() for x in typed.value.partition(","))
        state = next((s for s, words in (("saw", SEEN), ("absent", ABSENT), ("not looked at", UNSEEN)) if plain(first) in words or first in words), "")  # fmt: skip
        found = details(rest if state else typed.value, self.recorder.knowledge.vocabulary)
        if found.odd:
            odd, near = found.odd[0]
            way_out = f"did you mean {', '.join(near)}?" if near else "a remark is written: note TEXT"
            place = typed.value_where
            at = Where(place.file, place.line, place.column + max(typed.value.find(odd), 0))
            raise _wrong(at, "box", f"{odd!r} is no clock position, degree or side", way_out)
        pictures = [photo_entry(self.recorder.case, photo) for photo in found.photos]
        mark = {**box.about(), state or "saw": box.term, **found.entry, **(pictures[0] if pictures else {})}
        part = {"part": box.part} if box.part else {}
        more = [{"add": "remarks", "entry": {**part, **picture}} for picture in pictures[1:]]
        return [{"add": "observations", "entry": mark}, *more]

    def _words(self, box: Box, typed: Typed, earlier: Sequence[What]) -> list[What]:
        """What was written in own words, as it is read where that is sure; else kept as said."""
        if removal := removal_said(typed.value, {"part": box.part}):
            return removal
        vocabulary = self.recorder.knowledge.vocabulary
        readings = read(typed.value, vocabulary, box.kind)
        if readings and readings[0].sureness == "sure":
            with suppress(ValueError):  # a fact that has no one place in a case
                return records_of(readings[0], typed.value, self.recorder.state, vocabulary, box.about())
        what = not_understood(f"part {box.part}: {typed.value}" if box.part else typed.value, self.recorder.state)
        return [{**what, "to": list(dict.fromkeys([*self._before(what["set"], earlier), *what["to"]]))}]

    def _figure(self, box: Box, typed: Typed, earlier: Sequence[What]) -> list[What]:
        """What a box of the case says; what is added behind a comma to one of few answers is a remark."""
        vocabulary = self.recorder.knowledge.vocabulary
        path = path_of(box.term, "", vocabulary)
        if choices := CHOICES.get(box.term) or CHOICES.get(path[-1]):
            first, _, more = (x.strip() for x in typed.value.partition(","))
            meant = _meant(first, choices)
            if len(meant) != 1:
                raise _wrong(typed.value_where, "box", f"{typed.value!r} is none of what box {box.number} offers",
                             f"one of: {', '.join(dict.fromkeys(choices.values()))}")  # fmt: skip
            return [{"set": path, "to": meant.pop()}, *([{"add": "remarks", "entry": {"note": more}}] if more else [])]
        setting = vocabulary.settings.get(box.term)
        if path[0] in ("seal", "service") and (each := by_seal(typed.value, self.recorder.case_now().positions)):
            return [{"set": path_of(box.term, place, vocabulary), "to": to} for place, to in each.items()]
        if setting is None or setting.single:
            return [{"set": path, "to": typed.value}]
        known = self._before(path, earlier)
        said = [x for part in typed.value.split(",") if (x := part.strip()) and x not in known]
        return [{"set": path, "to": [*known, *said]}]

    def _before(self, path: list[str], earlier: Sequence[What]) -> list[Any]:
        """What stands at a path of the case by now, as a list."""
        found = next((w["to"] for w in reversed(earlier) if w.get("set") == path), self.recorder.state.value(path))
        return found if isinstance(found, list) else [found] if found else []


def _meant(said: str, choices: Mapping[str, str]) -> set[str]:
    """What of few answers is meant by one of its words or the begin of one."""
    return {value for word, value in choices.items() if word.startswith(plain(said))}


def _as_it_was(lines: Sequence[Line], knowledge: Knowledge) -> Iterator[Sheet]:
    """The sheets of a case as it stood after each line of its journal, latest first."""
    states = [State({})]
    for line in lines:
        states.append(apply(states[-1], line.number, line.what))
    for state in reversed(states[1:]):
        problems = Problems()
        case = parse_case(render(state.document()), "", knowledge, problems)
        if case is not None and not problems.errors():
            yield sheet(case, knowledge)


def _wrong(where: Where, code: str, says: str, way_out: str) -> BadInput:
    return BadInput([Problem(where, code, says, way_out)])
