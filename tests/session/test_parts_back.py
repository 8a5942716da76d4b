"""A part that was said to be lost, or not there, can be had back; going back goes to what was asked."""

from __future__ import annotations

import pytest

from diagnose.casefile.journal import journal_path, read_journal
from tests.session.script import Script, session, to_step

RING = "1 Rotating ring @ Seen"
SLIDING = "3 Sliding O-ring @ Seen"


def last_number(case) -> str:
    """Of the last record of a part."""
    return [str(x.number) for x in read_journal(journal_path(case)).lines if x.what.get("add") == "parts"][-1]


@pytest.mark.parametrize(("answer", "lost"), [("y", "eaten by the dog"), ("", ""), ("no", "")])
def test_a_part_with_marks_on_record_is_lost_only_where_that_is_confirmed(case, knowledge, answer, lost):
    script = Script(
        *to_step(6), ("3 Sliding O-ring @ Seen", "1: all round"), ("3 Sliding O-ring @ Seen", "/lost part 3: eaten by the dog"),
        ("what is on record stays", answer), stop_at="parts 4",
    )  # fmt: skip
    now = session(case, knowledge, script)
    assert not script.answers and "part 3 (1 on record)" in script.text and now.part("3").lost == lost


@pytest.mark.parametrize("said", ["/found part 3", "/found 3", "/fix part 4"])
def test_a_lost_part_is_found_again(case, knowledge, said):
    gone = Script(*to_step(6), ("What differs", "lost 3, 4: eaten by the dog"), stop_at="part 5")
    session(case, knowledge, gone)
    script = Script(("Seen", said), ("change", "lost none"), stop_at="part 8")
    now = session(case, knowledge, script)
    there, still = ("4", "3") if "4" in said else ("3", "4")
    assert not now.part(there).lost and now.part(still).lost == "eaten by the dog"


@pytest.mark.parametrize("said", ["/fix {}", "/fix part 3"])
def test_the_last_change_of_a_part_is_taken_back(case, knowledge, said):
    session(
        case,
        knowledge,
        Script(*to_step(7), ("What differs", "part 3 tag T-3; lost 3: eaten by the dog"), stop_at="part 1"),
    )
    script = Script(
        (RING, said.format(last_number(case))),
        ("change", "withdraw"),
        ("why is it", "was in the bag"),
        stop_at="part 2",
    )
    part = session(case, knowledge, script).part("3")
    assert (part.lost, part.tag) == ("", "T-3") and not script.answers


def test_a_key_of_a_part_is_taken_away(case, knowledge):
    session(
        case,
        knowledge,
        Script(*to_step(7), ("What differs", "part 3 tag T-3"), ("What differs", "part 3 tag none"), stop_at="part 1"),
    )
    assert not session(case, knowledge, Script(stop_at="part 1")).part("3").tag


@pytest.mark.parametrize("back", [("found 12",), ("more gland",)])
def test_a_part_taken_off_the_list_comes_back_as_it_was(case, knowledge, back):
    before = {p.item: p for p in knowledge.arrangements.usual["single"]}
    gone = Script(
        *to_step(7), ("What differs", "none 12, 13"), *(("What differs", b) for b in back), ("item number", "12"), stop_at="part 1"
    )  # fmt: skip
    now = session(case, knowledge, gone)
    assert now.part("13") is None and now.part("12").name == "Gland"
    assert now.part("12").touches == tuple(t for t in before["12"].touches if t != "13")
    for item in ("2", "4", "11", "14", "15"):
        assert now.part(item).touches == tuple(t for t in before[item].touches if t != "13")


def test_another_part_gets_a_free_number_and_the_word_it_was_called(case, knowledge):
    script = Script(
        *to_step(7),
        ("What differs", "none 16"),
        ("What differs", "more snap ring"),
        ("item number [17]", ""),
        stop_at="part 1",
    )
    part = session(case, knowledge, script).part("17")
    assert (part.name, part.kind) == ("Snap ring", "retainer") and not script.answers


def test_back_leaves_out_a_part_that_was_lost_since(case, knowledge):
    script = Script(
        *to_step(7), ("2 Stationary ring @ Seen", "/lost part 1: swept away"), ("2 Stationary ring @ Seen", "1: all round"),
        ("3 Sliding O-ring @ Seen", "/back"), ("2 Stationary ring @ Seen", "/back"), stop_at="parts 4",
    )  # fmt: skip
    session(case, knowledge, script)
    assert not script.answers and "1 Rotating ring" not in script.text.rpartition("swept away")[2]


def test_back_passes_over_a_figure_that_was_never_asked(case, knowledge):
    script = Script(("index mark of the rotating", "/back"), ("rotation (", "clockwise"), stop_at="kind of machine")
    now = session(case, knowledge, script)
    assert now.texts["equipment.rotation"] == "clockwise" and "index marks seen from" not in script.text


def test_back_in_the_quick_looks_asks_the_look_before_again(case, knowledge):
    script = Script(*to_step(7), ("Look 1 of @ Seen", "none"), ("Look 2 of @ Seen", "/back"), stop_at="Look 3")
    session(case, knowledge, script, quick=True)
    assert script.text.count("Look 1 of") == 2 and "left open" not in script.text
    assert "on record: " in script.text.rpartition("Look 1 of")[2]


def test_help_at_the_first_question_tells_what_the_stages_are(case, knowledge):
    script = Script(("Where does the work stand", "?"), stop_at="What differs")
    session(case, knowledge, script)
    told = " ".join(script.text.split())
    for step in knowledge.arrangements.steps:
        assert f"{step.name}: {step.do}" in told
