"""What somebody types who is new to the bench is taken as it was meant, and told back so that it is understood."""

from __future__ import annotations

import re

import pytest

from diagnose.casefile.recorder import Recorder
from diagnose.casefile.spoken import NOT_UNDERSTOOD
from diagnose.casefile.walk import usual_document
from diagnose.session.wording import acknowledged
from tests.session.script import Script, session, to_step

RING = "1 Rotating ring @ "
END = "2 Stationary ring"


def test_where_nothing_is_known_of_the_rotation_nobody_is_asked_from_which_end_it_was_seen(case, knowledge):
    script = Script(stop_at="Step 2")
    session(case, knowledge, script)
    assert "index mark of the stationary parts" in script.text and "rotation seen from" not in script.text


@pytest.mark.parametrize("typed", ["2, hot at start-up", "2: hot at start-up"])
def test_words_behind_a_number_leave_the_number_its_mark(case, knowledge, typed):
    script = Script(*to_step(7), (RING + "Seen", typed), ("instead of", "note hot at start-up"), stop_at=END)
    (seen,) = session(case, knowledge, script).observations
    assert (seen.feature, seen.note) == ("hot spots", "hot at start-up")


@pytest.mark.parametrize("typed", ["2, none", "none, 2", "2; none"])
def test_none_is_meant_of_what_else_there_is_wherever_it_stands(case, knowledge, typed):
    script = Script(*to_step(7), (RING + "Seen", typed), stop_at="2 Stationary")
    seen = [o for o in session(case, knowledge, script).observations if o.part == "1"]
    assert [o.feature for o in seen if o.state == "present"] == ["hot spots"] and len(seen) > 10


def test_parts_alike_are_acknowledged_part_by_part(case, knowledge):
    script = Script(*to_step(7), ("parts 4 O-ring @ Seen", "none"), stop_at="Step 8")
    session(case, knowledge, script)
    told = [t for t in script.told if "recorded r" in t and "absent hard" in t]
    assert [t.partition(": ")[2].split()[1] for t in told] == ["4", "10", "13"]


def test_where_a_sound_track_lies_is_not_asked(case, knowledge):
    script = Script(*to_step(7), (RING + "Seen", "3"), stop_at=END)
    (seen,) = session(case, knowledge, script).observations
    assert seen.feature == "full even track" and "where and how much" not in script.text


def test_a_general_word_of_parts_is_not_offered_for_the_history(case, knowledge):
    script = Script(("History @ Seen", "taken out on schedule"), ("number", "1"), stop_at="Step 2")
    case_now = session(case, knowledge, script)
    assert {o.state for o in case_now.observations} <= {"not looked at"} and case_now.not_understood == (
        "taken out on schedule",
    )


def test_words_that_nothing_is_read_in_are_acknowledged_alone_and_a_record_by_its_number(case, knowledge):
    script = Script(
        *to_step(7), ("What differs", "part 2 tag A"), ("What differs", "part 2 tag B"),
        (RING + "Seen", "zorgle zumm"), (RING + "Seen", "wix wax"), stop_at=END,
    )  # fmt: skip
    session(case, knowledge, script)
    assert "in place of 1.2" not in script.text and re.search(r"tag B, in place of r\d+", script.text)
    assert "kept as said, not understood: wix wax" in script.text and "zorgle zumm, wix wax" not in script.text


def test_words_kept_as_said_can_be_taken_away(case, knowledge):
    with Recorder(case, knowledge, "ann") as r:
        lines = r.accept({"set": [NOT_UNDERSTOOD], "to": ["zorgle"]})
        lines += r.accept({"set": [NOT_UNDERSTOOD], "to": None, "why": "a joke"})
        told = acknowledged(lines, r.case_now())
    assert "not understood: zorgle" in told[0] and "taken away" in told[1]


def test_what_is_none_of_the_answers_is_told_by_their_numbers(case, knowledge):
    script = Script(("Where does the work stand", "in a bucket"), stop_at="Step 2")
    session(case, knowledge, script)
    assert "'in a bucket' is none of the answers here: Enter, 1-8\n" in script.text


def test_what_differs_says_its_ways_again(case, knowledge):
    script = Script(*to_step(7), ("What differs", "no 11"), ("What differs", "5 is one big spring"), stop_at="Step 2")
    assert session(case, knowledge, script).part("11") is None
    assert "'5 is one big spring' is not taken" in script.text and script.text.count("part 2 tag T-9") == 2


@pytest.mark.slow
@pytest.mark.parametrize(("arrangement", "ring", "springs"), [
    ("single", "1 Rotating ring", "5"), ("dual pressurised", "21 Outboard rotating ring", "25"),
])  # fmt: skip
def test_what_is_said_of_the_springs_beside_a_ring_stands_on_those_springs(
    tmp_path, knowledge, arrangement, ring, springs
):
    case = tmp_path / "pair.yaml"
    with Recorder(case, knowledge, "ann") as r:
        r.start(usual_document("Resin pump", arrangement, knowledge.arrangements.usual[arrangement], "before washing"))
    script = Script(
        *to_step(5), (f"{ring} @ Seen", "springs full of resin, not moving"), ("number", "1"), stop_at="Step 6"
    )
    (seen,) = [o for o in session(case, knowledge, script).observations if o.state == "present"]
    assert (seen.part, seen.feature) == (springs, "polymer film")


@pytest.mark.slow
def test_the_quick_pass_names_the_step_at_which_each_look_is_due(case, knowledge):
    script = Script(*to_step(3))
    session(case, knowledge, script, quick=True)
    looks = script.text.partition("looks that tell most")[2].split("\n\n")
    first_ring = next(i for i, text in enumerate(looks) if text.startswith("Look") and "part 1 Rotating ring" in text)
    assert "Seal out, faces still together" in looks[:first_ring]
    assert looks.count("Faces apart, nothing wiped or washed") == 1
