"""A case file or a journal that changes under an open session: found before anything is written, nothing lost."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from diagnose.casefile.journal import Lock, journal_path, now, read_journal
from diagnose.casefile.recorder import Recorder, look
from diagnose.knowledge.reader import read_knowledge
from diagnose.reading.problems import BadInput

ROOT = Path(__file__).parents[2]
SMALL = ROOT / "tests" / "small" / "knowledge"
START = {
    "case": "Pump 3",
    "seal": {"arrangement": "single"},
    "parts": [{"item": "1", "name": "Carbon", "kind": "soft face"}, {"item": "2", "name": "Seat", "kind": "hard face"}],
}


@pytest.fixture(scope="module")
def knowledge():
    return read_knowledge(SMALL)


@pytest.fixture
def case(tmp_path, knowledge):
    path = tmp_path / "pump.yaml"
    with Recorder(path, knowledge, "ann") as r:
        r.start(START)
    return path


def saw(feature, **more):
    return {"add": "observations", "entry": {"part": "2", "saw": feature, **more}}


def test_a_hand_edit_under_an_open_session_is_found_and_both_sides_stay(case, knowledge):
    with Recorder(case, knowledge, "ann") as r:
        r.accept(saw("radial cracks"))
        edited = case.read_text() + "about: my long edit\n"
        case.write_text(edited)
        journal = journal_path(case).read_bytes()
        with pytest.raises(BadInput, match=r"edited by hand while this session was open.*--adopt"):
            r.accept(saw("edge chips"))
        assert (case.read_text(), journal_path(case).read_bytes()) == (edited, journal)
        r.adopt("looked it up")
        r.accept(saw("edge chips"))
        now_ = r.case_now()
    assert now_.about == "my long edit" and {o.feature for o in now_.observations} == {"radial cracks", "edge chips"}
    assert look(case).view == "same"


def test_a_case_file_that_was_only_removed_comes_back_with_the_next_answer(case, knowledge):
    with Recorder(case, knowledge, "ann") as r:
        case.unlink()
        r.accept(saw("radial cracks"))
    assert look(case).view == "same" and "radial cracks" in case.read_text()


def test_a_hand_edit_while_an_existing_file_gets_its_first_answer_is_found(tmp_path, knowledge):
    path = tmp_path / "old.yaml"
    path.write_text("case: Old\nseal: {arrangement: single}\n")
    with Recorder(path, knowledge, "ann") as r:
        path.write_text("case: Older\nseal: {arrangement: single}\n")
        with pytest.raises(BadInput, match="edited by hand"):
            r.accept({"set": ["about"], "to": "x"})
    assert not journal_path(path).exists() and "Older" in path.read_text()


@pytest.mark.parametrize(
    "meddle",
    [
        lambda j, older: j.unlink(),
        lambda j, older: j.write_bytes(older),
        lambda j, older: j.write_bytes(j.read_bytes()[:-40]),
        lambda j, older: j.write_bytes(j.read_bytes() + b"{"),
        lambda j, older: j.write_bytes(b"x" * len(j.read_bytes())),
    ],
)
def test_a_journal_exchanged_under_an_open_session_is_found_and_both_are_kept(case, knowledge, meddle):
    journal = journal_path(case)
    older = journal.read_bytes()
    with Recorder(case, knowledge, "ann") as r:
        r.accept(saw("radial cracks"))
        known, shown = journal.read_bytes(), case.read_bytes()
        meddle(journal, older)
        there = journal.read_bytes() if journal.exists() else None
        for _ in range(2):
            with pytest.raises(BadInput, match=r"removed, cut or exchanged .* kept as pump.yaml.journal.kept"):
                r.accept(saw("edge chips"))
    kept = case.with_name("pump.yaml.journal.kept")
    assert kept.read_bytes() == known and case.read_bytes() == shown
    assert (journal.read_bytes() if journal.exists() else None) == there
    os.replace(kept, journal)
    with Recorder(case, knowledge, "ann") as r:
        r.accept(saw("edge chips"))
    assert read_journal(journal).broken is None and look(case).view == "same"


def test_a_second_try_after_a_cut_off_answer_cuts_nothing_more(case, knowledge, monkeypatch):
    journal = journal_path(case)
    with Recorder(case, knowledge, "ann") as r:
        r.accept(saw("radial cracks"))
    sound = journal.read_bytes()
    journal.write_bytes(sound + b'{"number":3')

    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("diagnose.casefile.journal.append", full)
    with Recorder(case, knowledge, "ann", edited=True) as r:
        for _ in range(2):
            with pytest.raises(BadInput, match="no space left"):
                r.accept(saw("edge chips"))
    assert journal.read_bytes() == sound


@pytest.mark.slow
def test_notes_made_at_once_wait_for_each_other(case):
    env = {**os.environ, "DIAGNOSE_KNOWLEDGE": str(SMALL), "DIAGNOSE_BY": "ann"}
    call = [sys.executable, "-m", "diagnose", "note", str(case), "--on", "shaft", "--saw", "bent", "--note"]
    running = [subprocess.Popen([*call, f"number {i}"], env=env, cwd=ROOT, stderr=subprocess.PIPE) for i in range(3)]
    assert [(p.communicate()[1], p.returncode) for p in running] == [(b"", 0)] * 3
    assert len(read_journal(journal_path(case)).lines) == 4


def test_a_lock_that_is_held_is_waited_for_only_so_long(case):
    first, second = Lock(case, "ann", now()), Lock(case, "bob", now())
    first.take()
    try:
        with pytest.raises(BadInput, match="ann on"):
            second.take(patience=0.12)
    finally:
        first.free()
    second.take(patience=0.12)
    second.free()
