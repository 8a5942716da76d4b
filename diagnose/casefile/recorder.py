"""Records a case: every accepted answer is on disk in the journal before it is acknowledged; the case file is a view."""

from __future__ import annotations

import errno
import hashlib
import os
import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from diagnose.casefile import journal as j
from diagnose.casefile import model as m
from diagnose.casefile.answers import in_our_words, refuse_odd_signs
from diagnose.casefile.format import STATES
from diagnose.casefile.reader import ReadBefore, case_of, read_document
from diagnose.casefile.replay import Record, State, What, apply, begun, differences, replay
from diagnose.casefile.walk import doubts
from diagnose.casefile.writer import commented, put
from diagnose.knowledge.model import Knowledge
from diagnose.reading.files import read_file
from diagnose.reading.located import MOST_BYTES, can_be_read
from diagnose.reading.problems import BadInput, Problem, Problems, WayOut, Where
from diagnose.reading.terms import did_you_mean

HEADING = (
    "Written from the journal beside it, line {number} ({digest}).\nChange it with: diagnose record, diagnose note"
)
_HEADING = re.compile(rb"# Written from the journal beside it, line (\d+) \(([0-9a-f]{16})\)\.")

EDITED, EXCHANGED = "edited", "exchanged"
"""The codes of refusals because somebody changed the case file, or the journal, by other means."""
DOUBTFUL = "doubtful"
"""The code of the refusal that somebody who is sure may set aside."""


@dataclass(frozen=True)
class Opened:
    """A case file and its journal as found. `view`: same, behind (the journal knows more), ahead (the journal has lost
    lines), missing, or edited by hand."""

    journal: j.Journal
    state: State
    view: str
    base: State
    text: bytes


def look(case: Path) -> Opened:
    """Reads journal and case file and compares them, without a lock. Raises BadInput where the journal is broken."""
    found = j.read_journal(j.journal_path(case))
    if found.broken:
        raise BadInput([found.broken])
    try:
        text = read_file(case, MOST_BYTES) if case.exists() else b""
    except OSError as error:
        raise _unreadable(case, error) from error
    try:
        state = replay(found.lines)
        match = _HEADING.match(text)
        number = int(match.group(1)) if match and len(match.group(1)) < 10 else 0
        base = replay(found.lines[:number]) if 0 < number < len(found.lines) else state
    except ValueError as error:
        raise BadInput([Problem(Where(str(j.journal_path(case))), "journal-broken", str(error))]) from error
    if not case.exists():
        view = "missing"
    elif text == view_of(state, found.lines):
        view = "same"
    elif number > len(found.lines):
        view = "ahead"
    else:
        view = "behind" if text == view_of(base, found.lines[: number or None]) else "edited"
    return Opened(found, state, view, base, text)


def view_of(state: State, lines: tuple[j.Line, ...]) -> bytes:
    """The bytes of the case file after these journal lines."""
    return (
        commented(HEADING.format(number=lines[-1].number, digest=lines[-1].digest[:16]) if lines else "") + state.text
    )


def signature(case: Path) -> tuple[int, ...]:
    """What changes whenever a case file or its journal does."""
    found: list[int] = []
    for path in (j.journal_path(case), case):
        try:
            told = path.stat()
            found += [told.st_size, told.st_mtime_ns, told.st_ino]
        except FileNotFoundError:
            found.append(0)
    return tuple(found)


class Recorder:
    """One session on one case, used as a context: the lock is held inside it. `told` collects what opening found.

    A case file that was edited by hand is refused unless `edited`, which is for adopting or undoing those edits. Another
    session is waited for `patience` seconds.
    """

    def __init__(
        self, case: Path, knowledge: Knowledge, who: str, clock: j.Clock = j.now, edited: bool = False,
        patience: float = 0.0,
    ):  # fmt: skip
        self.case, self.knowledge, self.who, self.clock = Path(os.path.realpath(case)), knowledge, who, clock
        self.journal = j.journal_path(self.case)
        self.lines: tuple[j.Line, ...] = ()
        self.state = State({})
        self.told: list[str] = []
        self._pending: list[What] = []
        self._tail = b""
        self._size = 0
        self._shown: bytes | None = None
        self._left: tuple[int, ...] = ()
        self._edited, self._patience = edited, patience
        self._readings: list[tuple[State, m.Case | None, list[Problem]]] = []
        self._before = ReadBefore()
        self._lock = j.Lock(self.case, who, clock())

    def __enter__(self) -> Recorder:
        try:
            self._lock.take(self._patience)
        except OSError as error:
            raise _refused(self.case, error) from error
        try:
            if self._lock.taken_over:
                self.told.append(self._lock.taken_over)
            if page := j.held(self.case, j.SHOWS):
                self.told.append(
                    f"a page on this case is open: {page}; what is tapped there waits until this session is left"
                )
            self._open()
        except BaseException:
            self._lock.free()
            raise
        return self

    def __exit__(self, *_: object) -> None:
        self._lock.free()

    # ---- opening --------------------------------------------------------------------------------------------

    def _open(self) -> None:
        if self._is_as_left():
            return
        if self.journal.exists() and self.journal.stat().st_size:
            found = look(self.case)
            if found.view in ("edited", "ahead") and not self._edited:
                raise BadInput([edited_problem(self.case, found)])
            self.lines, self.state, self._tail = found.journal.lines, found.state, found.journal.tail
            self._size, self._shown = found.journal.size, found.text if found.view != "missing" else None
            if self._tail:
                text = "".join(c for c in self._tail.decode(errors="replace") if c.isprintable())
                self.told.append(f"an answer that was never acknowledged was cut off and is set aside: {text[:120]}")
                self._pending = [{"cut off": text[:2000]}]
            if self._edited:
                return
            if self._tail:
                self._write([], self.state)
            elif found.view != "same":
                self.told.append("the case file was behind its journal and has been brought up to date")
                self._show()
        elif self.case.exists():
            self._pending = [self._from_file()]
            if _HEADING.match(self._shown or b""):
                self.told.append("the journal that this case file was written from is not beside it; a new one begins")
            self.state = apply(State({}), 1, self._pending[0])

    def _is_as_left(self) -> bool:
        """Whether journal and case file are those that this session has shown last."""
        return self._left != () and self._left == signature(self.case) and not self._pending and not self._edited

    def _from_file(self) -> What:
        data, node = read_document(self.case, self.knowledge)
        self._shown = data
        return {"start": node.plain(), "text": data.decode("utf-8-sig")}

    # ---- recording ------------------------------------------------------------------------------------------

    def start(self, document: Mapping[str, Any]) -> None:
        """Begins a case that does not exist yet. Raises BadInput."""
        if self.case.exists() or self.lines:
            raise _call(self.case, "this case exists already", "diagnose record adds to it")
        self._write_checked([{"start": dict(document)}])

    def accept(self, *whats: What, sure: bool = False) -> tuple[j.Line, ...]:
        """Puts answers on disk and returns their journal lines; what is on record already makes no line.

        Raises BadInput, with nothing recorded, where an answer does not fit the vocabulary or the case, corrects
        without saying why, makes a reading doubtful while nobody says that it is `sure`, or cannot be put on disk.
        """
        fresh = [w for w in map(self._prepared, whats) if w is not None]
        return self._write_checked(fresh, sure) if fresh else ()

    def check(self, *whats: What, sure: bool = False) -> None:
        """Raises BadInput where `accept` would, and records nothing."""
        fresh = [w for w in map(self._prepared, whats) if w is not None]
        if fresh:
            self._with(fresh, sure)

    def case_now(self) -> m.Case:
        """The case as recorded so far. Raises BadInput."""
        case, errors = self._reading_of(self.state)
        if errors or case is None:
            raise BadInput(errors)
        return case

    def bytes_now(self) -> bytes:
        return view_of(self.state, self.lines)

    def adopt(self, why: str) -> tuple[j.Line, ...]:
        """Takes the hand edits of the case file over as journal lines. Raises BadInput where they cannot be read."""
        found = self._edits()
        self._shown = found.text
        changes = differences(found.base, begun(self._from_file()["start"]))
        lines = [{"edited": found.text.decode("utf-8-sig")}, *({**c, "why": why} for c in changes)]
        return self._write_checked(lines)

    def restore(self) -> Path:
        """Puts the recorded case back; the edited file is kept beside it. Raises BadInput."""
        found = self._edits()
        kept = _free_name(self.case, "edited")
        try:
            put(kept, found.text)
        except OSError as error:
            raise _refused(self.case, error) from error
        self._show()
        return kept

    def _edits(self) -> Opened:
        found = look(self.case)
        if found.view not in ("edited", "ahead"):
            raise _call(self.case, "the case file was not edited by hand", "diagnose journal --check")
        return found

    def _prepared(self, what: What) -> What | None:
        what = in_our_words(what, self.knowledge.vocabulary)
        if "set" in what:
            return self._prepared_setting(what)
        if "reached" in what:
            return None if what["reached"] in self.state.reached else what
        if "withdraw" in what or "instead of" in what:
            id = what["withdraw"] if "withdraw" in what else what["instead of"]
            if self.state.record(id) is None:
                known = [r.id for r in self.state.records]
                raise _call(
                    self.case, f"there is no record {id!r}", did_you_mean(id, known) or WayOut("look records up")
                )
            if not what.get("why") and not self._only_adds(what):
                raise _call(self.case, f"a correction of {id} says why", "--why TEXT")
            return what
        entry = what["entry"]
        place = [r for r in self.state.records if r.place == what["add"]]
        if any(r.entry == entry for r in place):
            return None
        if read := self.read_before(entry):
            shown = ", ".join(map(str, read.entry.get("readings") or [read.entry.get("reading")]))
            raise _call(
                self.case, f"{entry['measured']} takes one reading, and {shown} is on record there (record {read.id})",
                WayOut("correct", read.id, "to correct it: "),
            )  # fmt: skip
        earlier = next((r for r in place if _same_look(r.entry, entry)), None)
        if earlier is None:
            return what
        if "not looked at" in earlier.entry:
            return {**what, "instead of": earlier.id, "why": "looked at now"}
        says = next(STATES[s] for s in STATES if s in earlier.entry)
        raise _call(
            self.case, f"{_feature(entry)!r} is on record there as {says} (record {earlier.id})",
            WayOut("correct", earlier.id, "to correct it: "),
        )  # fmt: skip

    def read_before(self, entry: Mapping[str, Any]) -> Record | None:
        """The record of the same reading in the same place, where one is all that it takes: a second one corrects it."""
        reading = self.knowledge.vocabulary.readings.get(str(entry.get("measured", "")))
        if reading is None or reading.several:
            return None
        place = ("measured", "part", "on", "position", "group", "at", "labels")
        return next((r for r in self.state.records if all(r.entry.get(k) == entry.get(k) for k in place)), None)

    def _only_adds(self, what: What) -> bool:
        """Whether a record is only told in more detail, which needs no reason."""
        old = self.state.record(what.get("instead of", ""))
        return old is not None and all(what["entry"].get(k) == v for k, v in old.entry.items())

    def _prepared_setting(self, what: What) -> What | None:
        old, new = self.state.value(what["set"]), what["to"]
        if old == new:
            return None
        kept = isinstance(old, list) and isinstance(new, list) and all(x in new for x in old)
        if old is not None and not kept and what["set"] != ["stage"] and not what.get("why"):
            shown = ", ".join(map(str, old)) if isinstance(old, list) else old
            raise _call(self.case, f"{' '.join(what['set'])} is on record as {shown!r}",
                        WayOut("set", what["set"][-1], "to correct it: "))  # fmt: skip
        return what

    def _write_checked(self, whats: list[What], sure: bool = True) -> tuple[j.Line, ...]:
        return self._write(whats, self._with(whats, sure))

    def _with(self, whats: list[What], sure: bool) -> State:
        """The case with these answers. Raises BadInput where it could not be read, or where a reading is doubtful."""
        after, known = self.state, len(self.lines) + len(self._pending)
        try:
            refuse_odd_signs(whats)
            for number, what in enumerate(whats, known + 1):
                after = apply(after, number, what)
            old, wrong_before = self._reading_of(self.state) if self.state.head else (None, [])
            case, wrong = self._reading_of(after)
        except (ValueError, UnicodeError) as error:
            raise _call(self.case, f"this cannot be recorded: {error}") from error
        told = {(p.code, p.says) for p in wrong_before}
        fresh = [p for p in wrong if (p.code, p.says) not in told]
        if fresh:
            raise BadInput(fresh)
        if not sure and case:
            before_it = doubts(old, self.knowledge) if old else {}
            odd = [text for key, text in doubts(case, self.knowledge).items() if key not in before_it]
            if odd:
                raise BadInput(Problem(Where(self.case.name, 0, 0), DOUBTFUL, text, WayOut("sure")) for text in odd)
        return after

    def _reading_of(self, state: State) -> tuple[m.Case | None, list[Problem]]:
        """The case that a state amounts to and what is wrong with it; the same state is read once. What was recorded before
        is not read from its text again: a writer's text reads back unchanged."""
        for known, case, wrong in self._readings:
            if known is state:
                return case, wrong
        problems, name, text = Problems(), str(self.case), state.text
        read = None
        if can_be_read(text, name, problems):
            digest = hashlib.sha256(text).hexdigest()
            read = case_of(state.node, name, digest, self.knowledge, problems, self._before)
        wrong = [p.at(Where(self.case.name, 0, 0)) for p in problems.errors()]
        self._readings = [*self._readings[-1:], (state, read, wrong)]
        return read, wrong

    def _write(self, whats: list[What], after: State) -> tuple[j.Line, ...]:
        """Journal first, synced, then the view. Raises BadInput, with nothing written, where either was changed meanwhile."""
        self._refuse_meddling()
        whats = [*self._pending, *whats]
        lines: list[j.Line] = []
        before = self.lines[-1].digest if self.lines else ""
        for number, what in enumerate(whats, len(self.lines) + 1):
            lines.append(j.make_line(number, before, what, self.who, self.clock()))
            before = lines[-1].digest
        try:
            if self._tail:
                j.cut_tail(self.journal, self._tail)
                self._size, self._tail = self._size - len(self._tail), b""
            self._size = j.append(self.journal, lines)
        except OSError as error:
            raise _refused(self.case, error) from error
        fresh = tuple(lines[len(self._pending) :])
        self.lines, self.state, self._pending, self._tail = (*self.lines, *lines), after, [], b""
        self._show()
        return fresh

    def _refuse_meddling(self) -> None:
        """Raises BadInput where the journal or the case file is no longer as this session left it; both sides are kept."""
        end = (self.lines[-1].text() + "\n").encode() + self._tail if self.lines else b""
        try:
            sound = j.stands(self.journal, self._size, end)
            text = read_file(self.case, MOST_BYTES) if self.case.exists() else None
        except OSError as error:
            raise _refused(self.case, error) from error
        if not sound:
            raise BadInput([self._exchanged()])
        if text is not None and text != self._shown and not (self.lines and text == self.bytes_now()):
            raise BadInput([edited_problem(self.case, None)])

    def _exchanged(self) -> Problem:
        """Keeps the journal as this session knows it beside the one that is there now, and tells of both."""
        kept, name = _free_name(self.journal, "kept"), self.journal.name
        says = f"{name} was removed, cut or exchanged while this session was open: nothing was recorded"
        way_out = (f"the journal as this session knows it is kept as {kept.name}: put the right one in place as {name}, "
                   f"then: diagnose journal {self.case.name} --check")  # fmt: skip
        try:
            put(kept, "".join(line.text() + "\n" for line in self.lines).encode())
        except OSError as error:
            way_out = f"and the journal as this session knows it cannot be kept beside it: {_reason(error)}"
        return Problem(Where(str(self.case), 0, 0), EXCHANGED, says, way_out)

    def _show(self) -> None:
        try:
            put(self.case, self.bytes_now())
            self._shown, self._left = self.bytes_now(), signature(self.case)
        except OSError as error:
            says = (
                f"the answer is safe in {self.journal.name}, but the case file could not be written: {_reason(error)}"
            )
            raise BadInput([Problem(Where(str(self.case), 0, 0), "view", says, _way_out(error))]) from error


def _feature(entry: Mapping[str, Any]) -> str:
    return next((str(entry[s]) for s in STATES if s in entry), "")


def _same_look(old: Mapping[str, Any], new: Mapping[str, Any]) -> bool:
    """Whether both say something of one feature in one place, and not the same of it."""
    if not _feature(new) or _feature(old) != _feature(new):
        return False
    if any(old.get(k) != new.get(k) for k in ("part", "on", "position", "group", "face", "side")):
        return False
    states = ({s for s in STATES if s in old}, {s for s in STATES if s in new})
    return states[0] != states[1]


# ---- refusals -------------------------------------------------------------------------------------------------


def _free_name(path: Path, ending: str) -> Path:
    names = [f"{path.name}.{ending}", *(f"{path.name}.{ending}-{i}" for i in range(2, 1000))]
    return next(p for p in map(path.with_name, names) if not p.exists())


def _call(case: Path, says: str, way_out: str | WayOut = "") -> BadInput:
    return BadInput([Problem(Where(case.name, 0, 0), "record", says, way_out)])


def edited_problem(case: Path, found: Opened | None) -> Problem:
    """`found` at opening; None where the edit was made under an open session."""
    says = "the case file was edited by hand: it differs from its journal"
    if found is None:
        says = "the case file was edited by hand while this session was open: nothing was recorded, and the edits stand"
    elif found.view == "ahead":
        says = f"the journal ends at line {len(found.journal.lines)}, but the case file was written after a later one"
    way_out = f"keep the edits: diagnose journal {case.name} --adopt --why TEXT; put the recorded case back: --restore"
    return Problem(Where(str(case), 0, 0), EDITED, says, way_out)


def _reason(error: OSError) -> str:
    return (error.strerror or "the disk refuses").lower()


def _way_out(error: OSError) -> str:
    return (
        "free some space, then go on: diagnose record" if error.errno == errno.ENOSPC else "check the folder's rights"
    )


def _refused(case: Path, error: OSError) -> BadInput:
    says = f"nothing was recorded: {_reason(error)}; every answer acknowledged before is safe"
    return BadInput([Problem(Where(str(case), 0, 0), "disk", says, _way_out(error))])


def _unreadable(case: Path, error: OSError) -> BadInput:
    return BadInput([Problem(Where(str(case), 0, 0), "unreadable", f"the case file cannot be read: {_reason(error)}")])
