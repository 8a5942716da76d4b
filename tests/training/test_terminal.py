"""A drill at a terminal: what is typed, what it says, and that scores fall from the plan to the worst order."""

from __future__ import annotations

import json

import pytest
from typer.testing import CliRunner

from diagnose.cli.main import commands
from diagnose.reading.problems import BadInput
from tests.support.places import ROOT, SMALL
from tests.training.drills import played, ways_of
from tests.training.terminal_drills import three


def drill(*words: object, given: str = "") -> tuple[int, str]:
    result = CliRunner().invoke(commands(), ["drill", *map(str, words), "--plain"], input=given)
    if isinstance(result.exception, BadInput):
        return 2, result.output + str(result.exception)
    return result.exit_code, result.output


@pytest.fixture
def small(monkeypatch):
    monkeypatch.setenv("COLUMNS", "80")
    return [SMALL / "case.yaml", "--knowledge", SMALL / "knowledge"]


ANSWERED = "seat\nrecord\ntime\nanswer\nfaces overheated\n80\ndry running\n90\n"


def test_a_drill_tells_what_it_was_what_was_missed_and_what_it_is_worth(small, tmp_path):
    code, said = drill(*small, "--save", tmp_path / "mine.jsonl", given=ANSWERED)
    assert code == 0
    text = " ".join(said.split())
    assert "Why: dry running" in text and "you said dry running: right" in text
    assert "There and never seen" in said and "leak when standing" in said
    assert "Brier score 0.01 for the cause, 0.04 for the mechanism" in text
    assert max(map(len, said.splitlines())) <= 80
    (row,) = map(json.loads, (tmp_path / "mine.jsonl").read_text().splitlines())
    assert row["right"] == {"root": True, "mechanism": True} and row["brier"] == [0.01, 0.04]


def test_nothing_is_kept_unless_asked_and_another_file_is_not_written_to(small, tmp_path):
    before = sorted(tmp_path.rglob("*"))
    drill(*small, given=ANSWERED)
    assert sorted(tmp_path.rglob("*")) == before
    other = tmp_path / "notes.txt"
    other.write_text("dear diary\n")
    code, said = drill(*small, "--save", other, given=ANSWERED)
    assert code == 2 and "no drill that was done" in said and other.read_text() == "dear diary\n"


def test_the_end_of_the_input_ends_the_drill(small):
    assert drill(*small, given="seat\n")[0] == 0
    assert drill(*small, given="leave\n")[0] == 0


@pytest.mark.slow
def test_a_gentle_drill_warns_before_evidence_is_lost():
    path = ROOT / "scenarios" / "sound-on-schedule.yaml"
    said = drill(path, "--gentle", given="drain\ny\nunbolt\npart the faces\ny\nwash\nn\ntime\nleave\n")[1]
    assert "Careful: something that is there" in said and "Nothing was done." in said


@pytest.mark.slow
def test_scores_fall_from_the_plan_over_the_checklist_to_the_worst_order(whole_base, tmp_path):
    path = ROOT / "scenarios" / "sound-on-schedule.yaml"
    told = three(path, whole_base, tmp_path)
    assert told["plan"]["total"] > told["checklist"]["total"] > told["worst"]["total"]
    assert told["plan"]["kept"] == told["checklist"]["kept"] == 1 >= told["worst"]["kept"]


@pytest.mark.slow
def test_the_terminal_does_what_the_engine_does(whole_base, tmp_path):
    from diagnose.training.heard import Ear
    from tests.training.drills import hidden_of
    from tests.training.terminal_drills import lost_of, play, truth_of, typed

    path = ROOT / "scenarios" / "sound-on-schedule.yaml"
    hidden = hidden_of(path, whole_base)
    acts = ways_of(hidden)["worst"]
    lines = [typed(a) for a in acts]
    told = play(path, lines, truth_of(hidden).first, tmp_path)
    assert told["minutes"] == played(hidden, map(Ear(hidden).hear, lines)).minutes
    assert [x["what"] for x in told["lost"]] == lost_of(hidden, lines) != []
