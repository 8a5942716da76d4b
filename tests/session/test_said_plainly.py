"""What is typed as people say it: lists, exceptions, corrections by name, a figure with its view, a step gone through again."""

from __future__ import annotations

import pytest

from diagnose.casefile.recorder import Recorder
from diagnose.session.entries import parted
from tests.session.script import NOON, Script, session, to_step

RING = "part 1 Rotating ring @ Seen"


def test_the_examples_of_the_parts_list_are_taken(case, knowledge):
    answers = ("none 16: not fitted", "withdraw 15", "lost 6-8: swept away", "")
    script = Script(*(("What differs", x) for x in answers), stop_at="Step 1")
    parts = {p.item: p.lost for p in session(case, knowledge, script).parts}
    assert "16" not in parts and "15" not in parts
    assert [item for item, how in parts.items() if how] == ["6", "7", "8"]


def test_one_of_what_was_kept_as_said_is_withdrawn_alone(case, knowledge):
    script = Script(
        *to_step(5),
        (RING, "zorgle zumm"),
        (RING, "wix wax"),
        stop_at="part 2 Stationary ring\nLook",
    )
    session(case, knowledge, script)
    with Recorder(case, knowledge, "ann", lambda: NOON) as r:
        number = next(x.number for x in r.lines if "set" in x.what and str(x.what["to"]).endswith("wix wax']"))
    again = Script(("", f"/fix r{number}"), ("now", "withdraw"), ("why", "not so"), stop_at="Step 6")
    assert session(case, knowledge, again).not_understood == ("part 1: zorgle zumm",)


def test_a_mark_is_corrected_by_its_name_and_how_the_seal_came_out_too(case, knowledge):
    script = Script(
        *to_step(5), (RING, "heat tint: all round"), (RING, "/fix heat tint"), ("now", "withdraw"), ("why", "soot"),
        (RING, "/fix removal"), ("now", "failed"), ("why", "told"), stop_at="part 2 Stationary ring\nLook",
    )  # fmt: skip
    now = session(case, knowledge, script)
    assert not [o for o in now.observations if o.state == "present"] and now.texts["history.removal"] == "failed"


def test_the_end_a_rotation_is_seen_from_and_what_stands_behind_a_term_are_kept(case, knowledge):
    script = Script(
        ("how the seal", "failed, leaking at the sleeve side"), ("rotation", "cw seen from the motor"), stop_at="Step 2"
    )
    now = session(case, knowledge, script)
    assert now.texts["equipment.seen from"] == "driver end" and now.texts["equipment.rotation"] == "clockwise"
    assert [r.note for r in now.remarks] == ["leaking at the sleeve side"]


def test_going_through_an_earlier_step_does_not_turn_the_work_back(case, knowledge):
    stage = knowledge.arrangements.steps[4].stage
    with Recorder(case, knowledge, "ann", lambda: NOON) as r:
        r.accept({"set": ["stage"], "to": stage})
    script = Script(("Where does", "1"), stop_at="Step 1")
    session(case, knowledge, script)
    with Recorder(case, knowledge, "ann", lambda: NOON) as r:
        r.accept({"set": ["stage"], "to": stage})
    assert session(case, knowledge, Script(stop_at="Step 2")).stage == stage


def test_index_marks_that_parts_are_marked_in_line_with_are_asked_where_nobody_said_them(case, knowledge):
    script = Script(
        *to_step(4),
        ("Marked in line", "all"),
        ("index mark of the rotating parts (keyway; Enter", "keyway"),
        stop_at="Step 5",
    )
    now = session(case, knowledge, script)
    assert now.index["rotating"] == "keyway" and "still owed" in script.text and "stationary" not in now.index


def test_a_reading_is_taken_where_its_part_is_no_longer_asked_about(case, knowledge):
    script = Script(*to_step(5), ("part 9 Sleeve @ Seen", "springs found: 7"), stop_at="Step 6")
    assert [(x.what, x.part) for x in session(case, knowledge, script).measured] == [("springs found", "5")]


@pytest.mark.parametrize("answer", ["absent all but 13 18", "all but 13 18 absent"])
def test_all_but_some_marks_are_absent(answer):
    assert [(s.state, s.text) for s in parted(answer, {"1": "Rotating ring"})] == [("saw", "13 18"), ("absent", "all")]
