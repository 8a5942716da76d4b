"""Kills the recorder at random moments and looks for every acknowledged answer.

    python -m tests.casefile.crash [KILLS] [SEED]

Each round forks a guided session on one case, answers its questions as fast as it asks them, every answer with a mark
of its own, and ends it with SIGKILL at a random moment: within the opening, or within what an answer sets off, after none
to four of them. Moments are parts of the time that an answer took before, so a slow machine is killed in the same places.
This process has read the rule base, so a forked session starts at once. Every other answer has a photo that lies elsewhere. In every
third round the session types a filled sheet back instead, as record --sheet FILE does, and is killed before, within or after its
lines. Then the journal must be one sound chain that holds every answer acknowledged so far, in this round and all before it, the
case file must show it once the case is opened, and every photo on record must lie beside the case, whole, by its digest. The sheet
is then given again: what was cut short is completed, and nothing of it stands there twice.
"""

from __future__ import annotations

import gc
import os
import random
import re
import select
import signal
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from diagnose.casefile import journal as j
from diagnose.casefile.photos import changed_photos
from diagnose.casefile.recorder import Recorder, look
from diagnose.casefile.sheet import case_of, sheet
from diagnose.casefile.walk import usual_document
from diagnose.knowledge.model import Knowledge
from diagnose.reading.problems import BadInput
from diagnose.session.dialogue import Dialogue
from diagnose.session.filled_sheet import FilledSheet
from diagnose.session.prompts import asker

ROUNDS_A_CASE = 20
ARRANGEMENT = "single"
LINES_A_SHEET = 8


@dataclass
class Figures:
    kills: int = 0
    answers: int = 0
    cut_off: int = 0
    behind: int = 0
    locks_left: int = 0
    unacknowledged_kept: int = 0
    photos: int = 0
    sheets: int = 0
    sheets_cut_short: int = 0

    def __str__(self) -> str:
        return (
            f"{self.kills} kills, {self.answers} answers acknowledged, {self.photos} of them with a photo, none lost; "
            f"{self.sheets} of the kills within a filled sheet, {self.sheets_cut_short} sheets cut short and completed, none doubled; {self.cut_off} lines found cut off, "
            f"{self.behind} times the case file was behind its journal, {self.locks_left} locks taken over, "
            f"{self.unacknowledged_kept} answers on disk though the kill came before they were acknowledged"
        )


def campaign(folder: Path, knowledge: Knowledge, kills: int, seed: int) -> Figures:
    """Raises AssertionError where an acknowledged answer is lost or the journal is not sound."""
    chance, figures = random.Random(seed), Figures()
    case, marks, pace, papers = folder / "none.yaml", [], Pace(), Papers(knowledge, chance)
    (folder / "phone").mkdir()
    for number in range(kills):
        if number % ROUNDS_A_CASE == 0:
            case, marks = folder / f"case{number}" / "case.yaml", []
            case.parent.mkdir()
            with Recorder(case, knowledge, "ann") as r:
                usual = knowledge.arrangements.usual[ARRANGEMENT]
                r.start(usual_document("Crash", ARRANGEMENT, usual, knowledge.vocabulary.stages[0]))
        paper = papers.filled(case, f"{number}-") if number % 3 == 2 else None
        if paper:
            acknowledged, said = _sheet_round(case, knowledge, chance, pace, paper)
        else:
            acknowledged, said = _round(case, knowledge, chance, pace, f"{number}-")
        marks += acknowledged
        _count_what_is_left(case, figures)
        with Recorder(case, knowledge, "ann") as r:
            on_record = _notes(r)
            _refuse_lost(r, number, marks)
            if paper:
                _give_again(r, paper, set(said) - set(on_record), figures)
                marks += set(said) - set(marks)
                _refuse_lost(r, number, marks)
            assert re.findall(r"note: ([\d-]+)", case.read_text()) == _notes(r)
        assert look(case).view == "same"
        figures.kills += 1
        figures.answers += len(acknowledged)
        figures.photos += sum(map(_has_photo, acknowledged))
        figures.unacknowledged_kept += len((set(said) - set(acknowledged)) & set(on_record))
    return figures


def _refuse_lost(recorder: Recorder, number: int, marks: list[str]) -> None:
    lost = set(marks) - set(_notes(recorder))
    assert not lost, f"kill {number}: acknowledged and lost: {sorted(lost)}"
    unseen = set(filter(_has_photo, marks)) - {x.get("note") for x in _seen(recorder) if "photo" in x}
    wrong = changed_photos(recorder.case, recorder.state)
    assert not wrong and not unseen, f"kill {number}: photos acknowledged and lost: {wrong or sorted(unseen)}"


def _seen(recorder: Recorder) -> list[dict]:
    return [x.entry for x in recorder.state.records if x.place == "observations"]


def _notes(recorder: Recorder) -> list[str]:
    return [x.get("note") for x in _seen(recorder)]


@dataclass
class Paper:
    """A filled sheet: its lines, with a mark in the note of each box."""

    lines: list[str]
    marks: list[str]


class Papers:
    """Fills the sheet that a single seal is printed, with marks of which none rules out another."""

    def __init__(self, knowledge: Knowledge, chance: random.Random):
        self.chance, self.sheet = chance, sheet(case_of(ARRANGEMENT, knowledge), knowledge)
        features = knowledge.vocabulary.features
        self.either_or = {x for f in features.values() if f.gone or f.excludes for x in (f.name, *f.excludes)}

    def filled(self, case: Path, mark: str) -> Paper:
        boxes = [n for n, b in self.sheet.boxes().items() if b.what == "feature" and b.term not in self.either_or]
        marks = [f"{mark}{i}" for i in range(LINES_A_SHEET)]
        said = zip(self.chance.sample(boxes, LINES_A_SHEET), marks, strict=True)
        lines = [f"{box}: x, {_details(case, m)}" for box, m in said]
        return Paper([f"sheet: {self.sheet.code}", *lines], marks)


def _give_again(recorder: Recorder, paper: Paper, missing: set[str], figures: Figures) -> None:
    added = FilledSheet(recorder, "paper.txt").take(paper.lines)
    assert {line.what["entry"]["note"] for line in added} == missing and len(added) == len(missing)
    assert FilledSheet(recorder, "paper.txt").take(paper.lines) == ()
    assert len(set(_notes(recorder))) == len(_notes(recorder))
    figures.sheets += 1
    figures.sheets_cut_short += 0 < len(missing) < len(paper.marks)


def _has_photo(mark: str) -> bool:
    return mark.endswith(("1", "3", "5", "7", "9"))


def _answer(case: Path, mark: str) -> str:
    """A mark with a note of its own, and now and then with a photo that lies elsewhere."""
    return f"1: {_details(case, mark)}\n"


def _details(case: Path, mark: str) -> str:
    if not _has_photo(mark):
        return f"note {mark}"
    photo = case.parent.parent / "phone" / f"{mark}.jpg"
    photo.write_bytes(b"\xff\xd8\xff\xe0" + mark.encode() * 20_000)
    return f"note {mark}, photo {photo}"


@dataclass
class Pace:
    """How long it last took, in seconds, to the first acknowledgement of a session and from one to the next; of a filled
    sheet alike."""

    first: float = 0.1
    next: float = 0.04
    sheet_first: float = 0.4
    sheet_next: float = 0.04


def _count_what_is_left(case: Path, figures: Figures) -> None:
    figures.locks_left += case.with_name(case.name + ".lock").exists()
    found = j.read_journal(j.journal_path(case))
    assert found.broken is None, found.broken
    figures.cut_off += bool(found.tail)
    opened = look(case)
    assert opened.view in ("same", "behind"), opened.view
    figures.behind += opened.view == "behind"


def _round(
    case: Path, knowledge: Knowledge, chance: random.Random, pace: Pace, mark: str
) -> tuple[list[str], list[str]]:
    """One session, killed; the marks that were acknowledged, and those that were sent."""
    child, answers, questions = _forked(lambda r: Dialogue(r, asker(True)).run(), case, knowledge)
    said: list[str] = []
    acknowledged: list[str] = []
    text = ""
    after, part = chance.randint(0, 4), chance.uniform(0, 1.3)
    last = time.monotonic()
    ends = last + part * pace.first if after == 0 else last + 60
    while (left := ends - time.monotonic()) > 0:
        ready, _, _ = select.select([questions], [], [], left)
        if not ready or not (written := os.read(questions, 65536)):
            break
        text += written.decode()
        if not text.rstrip(" ").endswith((":", "?")):
            continue
        if said and len(acknowledged) < len(said):
            assert re.search(r"recorded r\d+", text), text
            acknowledged.append(said[-1])
            now = time.monotonic()
            if len(acknowledged) == 1:
                pace.first = now - last
            else:
                pace.next = now - last
            last = now
            if len(acknowledged) == after:
                ends = now + part * pace.next
        if text.rstrip().split("\n")[-1].startswith("Seen"):
            said.append(f"{mark}{len(said)}")
            os.write(answers, _answer(case, said[-1]).encode())
        else:
            os.write(answers, b"\n")
        text = ""
    text += _killed(child, answers, questions)
    if len(acknowledged) < len(said) and re.search(r"recorded r\d+", text):
        acknowledged.append(said[-1])
    return acknowledged, said


def _sheet_round(
    case: Path, knowledge: Knowledge, chance: random.Random, pace: Pace, paper: Paper
) -> tuple[list[str], list[str]]:
    """One filled sheet, killed after some of its lines; the marks that were acknowledged, and those that stand on it."""

    def take(recorder: Recorder) -> None:
        FilledSheet(recorder, "paper.txt").take(paper.lines, lambda x: print(x.what["entry"]["note"], flush=True))
        time.sleep(60)  # all is done: the kill comes

    child, answers, questions = _forked(take, case, knowledge)
    after, part, text = chance.randint(0, len(paper.marks)), chance.uniform(0, 1.3), ""
    last = time.monotonic()
    ends = last + part * pace.sheet_first if after == 0 else last + 60
    while (left := ends - time.monotonic()) > 0:
        ready, _, _ = select.select([questions], [], [], left)
        if not ready or not (written := os.read(questions, 65536)):
            break
        text, now = text + written.decode(), time.monotonic()
        told = text.count("\n")
        if told == 1:
            pace.sheet_first = now - last
        elif told:
            pace.sheet_next = now - last
        last = now
        if told >= after > 0:
            ends, after = now + part * pace.sheet_next, 0
    text += _killed(child, answers, questions)
    return text.splitlines(), paper.marks


def _forked(talk: Callable[[Recorder], None], case: Path, knowledge: Knowledge) -> tuple[int, int, int]:
    """A session in a process of its own: its number, the end that it is answered at, and the end that it is heard at."""
    to_child, answers = os.pipe()
    questions, from_child = os.pipe()
    child = os.fork()
    if child == 0:
        try:
            gc.freeze()
            os.dup2(to_child, 0)
            os.dup2(from_child, 1)
            with os.fdopen(0) as sys.stdin, os.fdopen(1, "w") as sys.stdout, Recorder(case, knowledge, "ann") as r:
                talk(r)
        except BadInput as error:
            print(*error.problems, sep="\n", file=sys.stderr)
        finally:
            os._exit(1)
    os.close(to_child)
    os.close(from_child)
    return child, answers, questions


def _killed(child: int, answers: int, questions: int) -> str:
    """What the session had written and nobody had read when it was killed."""
    os.kill(child, signal.SIGKILL)
    _, status = os.waitpid(child, 0)
    text = ""
    while rest := os.read(questions, 65536):
        text += rest.decode()
    os.close(answers)
    os.close(questions)
    assert os.WIFSIGNALED(status), f"the session ended before it was killed: {text}"
    return text


if __name__ == "__main__":
    from diagnose.cli.common import shipped
    from diagnose.knowledge.cache import open_knowledge

    count, start = (int(x) for x in (*sys.argv[1:], *("200", "1")[len(sys.argv) - 1 :]))
    with tempfile.TemporaryDirectory() as place:
        began = time.monotonic()
        print(campaign(Path(place), open_knowledge(shipped("knowledge")), count, start))
        print(f"{time.monotonic() - began:.0f} s")
