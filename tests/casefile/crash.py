"""Kills the recorder at random moments and looks for every acknowledged answer.

    python -m tests.casefile.crash [KILLS] [SEED]

Each round forks a guided session on one case, answers its questions as fast as it asks them, every answer with a mark
of its own, and ends it with SIGKILL at a random moment: within the opening, or within what an answer sets off, after none
to four of them. Moments are parts of the time that an answer took before, so a slow machine is killed in the same places.
This process has read the rule base, so a forked session starts at once. Every other answer has a photo that lies elsewhere. Then the
journal must be one sound chain that holds every answer acknowledged so far, in this round and all before it, the case file must
show it once the case is opened, and every photo on record must lie beside the case, whole, by its digest.
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
from dataclasses import dataclass
from pathlib import Path

from diagnose.casefile import journal as j
from diagnose.casefile.photos import changed_photos
from diagnose.casefile.recorder import Recorder, look
from diagnose.casefile.walk import usual_document
from diagnose.knowledge.model import Knowledge
from diagnose.session.dialogue import Dialogue
from diagnose.session.prompts import asker

ROUNDS_A_CASE = 20


@dataclass
class Figures:
    kills: int = 0
    answers: int = 0
    cut_off: int = 0
    behind: int = 0
    locks_left: int = 0
    unacknowledged_kept: int = 0
    photos: int = 0

    def __str__(self) -> str:
        return (
            f"{self.kills} kills, {self.answers} answers acknowledged, {self.photos} of them with a photo, none lost; {self.cut_off} lines found cut off, "
            f"{self.behind} times the case file was behind its journal, {self.locks_left} locks taken over, "
            f"{self.unacknowledged_kept} answers on disk though the kill came before they were acknowledged"
        )


def campaign(folder: Path, knowledge: Knowledge, kills: int, seed: int) -> Figures:
    """Raises AssertionError where an acknowledged answer is lost or the journal is not sound."""
    chance, figures = random.Random(seed), Figures()
    case, marks, pace = folder / "none.yaml", [], Pace()
    (folder / "phone").mkdir()
    for number in range(kills):
        if number % ROUNDS_A_CASE == 0:
            case, marks = folder / f"case{number}" / "case.yaml", []
            case.parent.mkdir()
            with Recorder(case, knowledge, "ann") as r:
                usual = knowledge.arrangements.usual["single"]
                r.start(usual_document("Crash", "single", usual, knowledge.vocabulary.stages[0]))
        acknowledged, said = _round(case, knowledge, chance, pace, f"{number}-")
        marks += acknowledged
        _count_what_is_left(case, figures)
        with Recorder(case, knowledge, "ann") as r:
            seen = [x.entry for x in r.state.records if x.place == "observations"]
            on_record, with_photo = [x.get("note") for x in seen], {x.get("note") for x in seen if "photo" in x}
            wrong = changed_photos(case, r.state)
        lost = set(marks) - set(on_record)
        assert not lost, f"kill {number}: acknowledged and lost: {sorted(lost)}"
        unseen = {mark for mark in marks if _has_photo(mark)} - with_photo
        assert not wrong and not unseen, f"kill {number}: photos acknowledged and lost: {wrong or sorted(unseen)}"
        assert re.findall(r"note: ([\d-]+)", case.read_text()) == on_record
        assert look(case).view == "same"
        figures.kills += 1
        figures.answers += len(acknowledged)
        figures.photos += sum(map(_has_photo, acknowledged))
        figures.unacknowledged_kept += len((set(said) - set(acknowledged)) & set(on_record))
    return figures


def _has_photo(mark: str) -> bool:
    return mark.endswith(("1", "3", "5", "7", "9"))


def _answer(case: Path, mark: str) -> str:
    """A mark with a note of its own, and now and then with a photo that lies elsewhere."""
    if not _has_photo(mark):
        return f"1: note {mark}\n"
    photo = case.parent.parent / "phone" / f"{mark}.jpg"
    photo.write_bytes(b"\xff\xd8\xff\xe0" + mark.encode() * 20_000)
    return f"1: note {mark}, photo {photo}\n"


@dataclass
class Pace:
    """How long it last took, in seconds, to the first acknowledgement of a session and from one to the next."""

    first: float = 0.1
    next: float = 0.04


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
    to_child, answers = os.pipe()
    questions, from_child = os.pipe()
    child = os.fork()
    if child == 0:
        os.dup2(to_child, 0)
        os.dup2(from_child, 1)
        _session(case, knowledge)
    os.close(to_child)
    os.close(from_child)
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
    os.kill(child, signal.SIGKILL)
    _, status = os.waitpid(child, 0)
    assert os.WIFSIGNALED(status), f"the session ended before it was killed: {text}"
    os.close(answers)
    while rest := os.read(questions, 65536):
        text += rest.decode()
    os.close(questions)
    if len(acknowledged) < len(said) and re.search(r"recorded r\d+", text):
        acknowledged.append(said[-1])
    return acknowledged, said


def _session(case: Path, knowledge: Knowledge) -> None:
    """The child: a guided session on plain prompts until it is killed."""
    try:
        gc.freeze()
        with os.fdopen(0) as sys.stdin, os.fdopen(1, "w") as sys.stdout, Recorder(case, knowledge, "ann") as r:
            Dialogue(r, asker(True)).run()
    finally:
        os._exit(1)


if __name__ == "__main__":
    from diagnose.cli.common import shipped
    from diagnose.knowledge.cache import open_knowledge

    count, start = (int(x) for x in (*sys.argv[1:], *("200", "1")[len(sys.argv) - 1 :]))
    with tempfile.TemporaryDirectory() as place:
        began = time.monotonic()
        print(campaign(Path(place), open_knowledge(shipped("knowledge")), count, start))
        print(f"{time.monotonic() - began:.0f} s")
