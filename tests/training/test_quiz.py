"""The quiz as a dialogue through a pipe."""

from __future__ import annotations

import json

import pytest

from diagnose.casefile.reader import read_case
from diagnose.inference.run import load
from diagnose.training.quiz import known_so_far, pieces
from tests.support.places import SMALL
from tests.support.workshop import call, copied_base


@pytest.fixture
def place(tmp_path):
    folder = copied_base(tmp_path)
    cases = tmp_path / "cases"
    cases.mkdir()
    text = (SMALL / "case.yaml").read_text()
    (cases / "one.yaml").write_text(text + "expected: {cause: dry running}\n")
    return folder, cases


def test_every_record_is_in_one_piece_and_figures_are_known_from_the_start(place):
    folder, cases = place
    base = load(folder)
    case = read_case(cases / "one.yaml", base.knowledge)
    found = pieces(case)
    assert sorted(o.id for p in found for o in p.observations) == [o.id for o in case.observations]
    assert [p.name for p in found][:1] == ["Seat (2)"]
    assert known_so_far(case, []).observations == ()
    assert known_so_far(case, found) == case


def test_a_trainee_looks_answers_and_sees_the_way_of_the_tool(place, tmp_path):
    folder, cases = place
    given = "seat\ndry\n1\n\n\nfaces overheat\ndry runing\n"
    code, said = call("quiz", cases / "one.yaml", "--knowledge", folder, "--save", tmp_path / "log.jsonl", given=given)
    assert code == 0
    assert "radial cracks on Seat (2) (moderate) all round" in said
    assert "(dry running)" in said and said.rstrip().endswith("Right.")
    assert "you looked at Seat (2) and thought of dry running" in said
    (row,) = map(json.loads, (tmp_path / "log.jsonl").read_text().splitlines())
    assert (
        row["right"]
        and row["answer"] == row["tool"]["root"] == "dry running"
        and row["mechanism"] == "faces overheated"
        and len(row["steps"]) == 2
    )


def test_only_what_lies_there_can_be_looked_at(place):
    folder, cases = place
    given = "dry running\nbent\n99\nseat 2\n\n\n"
    said = call("quiz", cases / "one.yaml", "--knowledge", folder, given=given)[1]
    assert said.count("(nothing here is called so:") == 3
    assert said.index("(Seat (2))") > said.rindex("(nothing here is called so:")


def test_the_tool_asks_only_for_what_the_case_has_a_result_of(place):
    """The small case has no dial reading, and yet runout by dial would tell most."""
    folder, cases = place
    said = call("quiz", cases / "one.yaml", "--knowledge", folder, given="seat\n\n\n\n")[1]
    assert "you looked at Seat (2)" in said and "runout by dial" not in said


def test_every_line_of_the_quiz_fits_the_terminal(place, monkeypatch):
    monkeypatch.setenv("COLUMNS", "80")
    folder, cases = place
    long = (cases / "one.yaml").read_text() + "about: " + "a seal that leaked and was taken out " * 8 + "\n"
    (cases / "one.yaml").write_text(long)
    said = call("quiz", cases / "one.yaml", "--knowledge", folder, given="\n\n")[1]
    assert "taken out a seal" in " ".join(said.split()) and max(map(len, said.splitlines())) <= 80


def test_what_is_not_yet_looked_at_is_not_shown(place):
    folder, cases = place
    said = call("quiz", cases / "one.yaml", "--knowledge", folder, given="\n\n")[1]
    assert "radial cracks on Seat" not in said
    assert "No answer given." in said


def test_a_wrong_answer_is_told_and_nothing_is_kept_unless_asked(place, tmp_path):
    folder, cases = place
    before = sorted(tmp_path.rglob("*"))
    said = call("quiz", "--cases", cases, "--knowledge", folder, given="\nrings knock\nbent shaft\n")[1]
    assert (
        "You said bent shaft. Told apart by: The shaft runs out." in " ".join(said.split())
        and "Not this time." in said
        and "The case says: the cause dry running." in said
    )
    assert sorted(tmp_path.rglob("*")) == before


def test_the_end_of_the_answers_ends_the_quiz(place):
    folder, cases = place
    (cases / "two.yaml").write_text((cases / "one.yaml").read_text())
    code, said = call("quiz", "--cases", cases, "--knowledge", folder, given="")
    assert code == 0 and said.count("What is the cause?") == 1
