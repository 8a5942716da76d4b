"""What goes against what is on record beside it is asked back; what a sound seal shows is asked once of parts without damage."""

from __future__ import annotations

import pytest

from diagnose.casefile.journal import journal_path, read_journal
from tests.session.script import Script, session, to_step

RING, OTHER = "1 Rotating ring @ Seen", "2 Stationary ring @ Seen"


def states(case, feature: str) -> dict[str, str]:
    return {o.part: o.state for o in case.observations if o.feature == feature}


@pytest.mark.parametrize(("answer", "state"), [("y", "present"), ("", "absent")])
def test_what_lies_between_two_faces_is_asked_back_where_one_denies_it(case, knowledge, answer, state):
    script = Script(*to_step(5), (RING, "crystals between the faces: all round"), (OTHER, "none"),
                    ("there as well", answer), stop_at="3 Sliding O-ring")  # fmt: skip
    assert states(session(case, knowledge, script), "crystals between the faces") == {"1": "present", "2": state}
    assert not script.answers


@pytest.mark.parametrize(("answer", "state"), [("y", "present"), ("", "absent")])
def test_what_one_face_shows_is_asked_back_of_the_one_that_was_said_to_lack_it(case, knowledge, answer, state):
    script = Script(*to_step(5), (RING, "none"), (OTHER, "crystals between the faces"), ("there as well", answer),
                    stop_at="3 Sliding O-ring")  # fmt: skip
    assert states(session(case, knowledge, script), "crystals between the faces") == {"1": state, "2": "present"}
    corrected = [x for x in read_journal(journal_path(case)).lines if x.what.get("why") == "seen on part 2 as well"]
    assert len(corrected) == (answer == "y")


def test_a_ring_that_hangs_is_asked_back_at_its_o_ring_and_not_at_the_other_ring(case, knowledge):
    script = Script(*to_step(5), (RING, "hung up"), (OTHER, "none"), ("3 Sliding O-ring @ Seen", "none"),
                    ("there as well", "y"), stop_at="9 Sleeve")  # fmt: skip
    assert states(session(case, knowledge, script), "hung up") == {"1": "present", "3": "present"}
    assert script.text.count("hung up is on record") == 1


@pytest.mark.parametrize(("answer", "state"), [("y", "present"), ("", "absent")])
def test_what_is_on_record_as_not_there_is_asked_back_when_it_is_seen(case, knowledge, answer, state):
    script = Script(*to_step(7), (RING, "none"), (OTHER, "part 1 blisters"), ("there after all", answer),
                    stop_at="3 Sliding O-ring")  # fmt: skip
    assert states(session(case, knowledge, script), "blisters") == {"1": state}
    assert "--instead-of" not in script.text


@pytest.mark.parametrize(
    ("answer", "ages"), [("y", {"failed within months", "failed within minutes"}), ("", {"failed within months"})]
)
def test_a_second_age_at_failure_is_asked_back(case, knowledge, answer, ages):
    script = Script(("History @ Seen", "5; 1"), ("failed within minutes as well", answer), stop_at="Step 2")
    assert {o.feature for o in session(case, knowledge, script).observations if o.state == "present"} == ages


@pytest.mark.slow
def test_a_seal_without_damage_is_asked_once_what_a_sound_one_shows(case, knowledge):
    sound = ("No damage is on record on these; parts 1 Rotating ring, 2 Stationary ring @ Seen", "1 2")
    script = Script(*to_step(7), (RING, "none"), (OTHER, "none"), sound)
    now = session(case, knowledge, script)
    assert states(now, "full even track") == states(now, "little or no wear") == {"1": "present", "2": "present"}
    assert "full even track" not in script.text.partition("Before you go on")[2].partition("No damage is on record")[0]


@pytest.mark.slow
@pytest.mark.slow
def test_none_says_that_a_sound_seal_does_not_show_it_either(case, knowledge):
    script = Script(*to_step(7), (RING, "none"), (OTHER, "none"), ("No damage is on record @ Seen", "none"))
    assert states(session(case, knowledge, script), "full even track") == {"1": "absent", "2": "absent"}


@pytest.mark.slow
def test_a_ring_with_damage_or_that_nobody_looked_at_is_not_asked_what_a_sound_one_shows(case, knowledge):
    script = Script(*to_step(7), (RING, "blisters; none"))
    now = session(case, knowledge, script)
    assert "No damage is on record" not in script.text and states(now, "full even track") == {"2": "not looked at"}
