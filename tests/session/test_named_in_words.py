"""The part that somebody's words name wins over the part on the screen; what was said or kept as said is not denied after it."""

from __future__ import annotations

import pytest

from diagnose.casefile.named import parts_named
from diagnose.casefile.recorder import Recorder
from diagnose.casefile.walk import usual_document
from diagnose.session.entries import parted, with_choices_apart
from tests.session.script import NOON, Script, session, to_step
from tests.support.commands import diagnose

SLEEVE = "part 9 Sleeve @ "
CRUST = "white crust on the sleeve under the o-ring, atmosphere side"


@pytest.fixture
def pair(tmp_path, knowledge):
    path = tmp_path / "p9.yaml"
    name = "dual pressurised"
    with Recorder(path, knowledge, "ann", lambda: NOON) as r:
        r.start(usual_document("Pair", name, knowledge.arrangements.usual[name], knowledge.arrangements.steps[0].stage))
    return path


def seen(case):
    return [(o.part, o.position, o.feature) for o in case.observations if o.state == "present"]


@pytest.mark.parametrize(
    ("phrase", "items"),
    [
        ("inboard sliding O-ring seated on the wrong wall", ["3"]),
        ("sliding O-ring of the inboard seal hard", ["3"]),
        ("sliding O-ring hard", ["3", "23"]),
        ("leak under the sleeve", []),
        ("set screw marks on the sleeve", ["9"]),
        ("track wide on part 22", ["22"]),
    ],
)
def test_words_name_a_part_by_its_name_its_seal_or_its_number(pair, knowledge, phrase, items):
    with Recorder(pair, knowledge, "ann", lambda: NOON) as r:
        assert [p.item for p in parts_named(phrase, r.case_now(), knowledge.vocabulary)] == items


def test_the_part_named_wins_over_the_part_asked_about_and_the_choices_show_it(pair, knowledge):
    phrase = "inboard sliding O-ring seated on the wrong wall"
    outboard = "part 21 Outboard rotating ring @ "
    script = Script(*to_step(5), (outboard + "Seen", phrase), (outboard + "number", "1"), stop_at="Step 6")
    assert seen(session(pair, knowledge, script)) == [("3", "inboard", "seated on the wrong wall")]
    assert "1\xa0part 3" in script.text or "1 part 3 Inboard sliding O-ring: seated" in " ".join(script.text.split())


def test_a_note_in_own_words_goes_to_the_part_they_name(pair, knowledge):
    diagnose("note", str(pair), "--said", "inboard sliding O-ring seated on the wrong wall", "--sure")
    with Recorder(pair, knowledge, "ann", lambda: NOON) as r:
        assert seen(r.case_now()) == [("3", "inboard", "seated on the wrong wall")]


def test_clock_and_colour_said_stay_and_words_not_read_are_told(case, knowledge):
    ring = "part 2 Stationary ring @ "
    words = "black oily sludge in the spiral grooves of the rotating ring from 2 to 6"
    script = Script(*to_step(5), (ring + "Seen", words), (ring + "number", "2"), stop_at="Step 6")
    (mark,) = [o for o in session(case, knowledge, script).observations if o.state == "present"]
    assert (mark.part, mark.feature, dict(mark.such)["colour"]) == ("1", "lift grooves packed", "black")
    assert mark.extent.arcs and "not read, and on record only as said: grooves" in script.text


@pytest.mark.parametrize("answer", ["", "none", "2"])
def test_nothing_is_denied_while_words_kept_as_said_may_be_it(case, knowledge, answer):
    script = Script(
        *to_step(5),
        (SLEEVE + "Seen", CRUST),
        (SLEEVE + "Seen", "none"),
        (SLEEVE + "which of the list", answer),
        stop_at="Step 6",
    )
    now = session(case, knowledge, script)
    denied = {o.feature for o in now.observations if o.state == "absent" and o.part == "9"}
    assert now.not_understood == (f"part 9: {CRUST}",)
    assert ("deposit beside the O-ring" in denied) == (answer == "none") and ("heat tint" in denied) == (answer != "")
    assert (("9", "seal", "deposit beside the O-ring") in seen(now)) == (answer == "2")


MACHINE = "Look 2 of 10: Machine @ "


@pytest.mark.parametrize(
    ("answer", "present", "denied"),
    [
        ("1; inboard carbon: all round", {"vibration"}, set()),
        ("1", {"vibration"}, {"broadband vibration"}),
        ("in a bucket", set(), set()),
    ],
)
def test_a_none_denies_nothing_that_kept_words_may_name_and_a_line_typed_meanwhile_is_read(
    pair, knowledge, answer, present, denied
):
    script = Script(
        (MACHINE + "Seen", "vibrated badly, at running speed"),
        (MACHINE + "Seen", "none"),
        (MACHINE + "which of the list", ""),
        (MACHINE + "Seen", "none"),
        (MACHINE + "which of the list", answer),
        stop_at="Look 3",
    )
    now = session(pair, knowledge, script, quick=True)
    states = {s: {o.feature for o in now.observations if o.state == s} for s in ("present", "absent")}
    assert states == {"present": present, "absent": denied}
    assert ("inboard carbon: all round" in now.not_understood) == (";" in answer)
    assert ("not denied, as the words kept as said may name it: axial vibration" in script.text) == (answer == "1")


def test_none_does_not_deny_what_was_said_with_another_mark(case, knowledge):
    springs = "part 5 Springs @ "
    script = Script(
        *to_step(5), (springs + "Seen", "5: white, crystalline"), (springs + "Seen", "none"), stop_at="Step 6"
    )
    denied = {o.feature for o in session(case, knowledge, script).observations if o.state == "absent" and o.part == "5"}
    assert "crystals" not in denied and "painted springs" in denied


@pytest.mark.parametrize(
    ("answer", "entries"),
    [
        ("1: all round, 34, 24", [("", "saw", "1: all round"), ("", "saw", "34"), ("", "saw", "24")]),
        ("1: severe, 3", [("", "saw", "1: severe, 3")]),
        ("10, absent 1 2 7", [("", "saw", "10"), ("", "absent", "1 2 7")]),
        ("part 2 1: all round, 14", [("2", "saw", "1: all round"), ("2", "saw", "14")]),
        ("41: 20, 21", [("", "saw", "41: 20, 21")]),
        ("7 on part 2, hard", [("2", "saw", "7: hard")]),
        ("none, only 7 springs came out", [("", "saw", "only 7 springs came out")]),
    ],
)
def test_a_number_of_the_list_behind_a_comma_is_a_choice(answer, entries):
    assert [(s.item, s.state, s.text) for s in parted(with_choices_apart(answer, 40))] == entries


@pytest.mark.parametrize("answer", ["8 and 1, not reverse rotation", "not reverse rotation; 8 and 1"])
def test_numbers_and_words_on_one_line_are_taken_each_by_itself(case, knowledge, answer):
    script = Script(("History @ Seen", answer), stop_at="Step 2")
    states = {o.feature: o.state for o in session(case, knowledge, script).observations}
    assert states["failed within minutes"] == states["failed at start-up"] == "present"
    assert states["reverse rotation"] == "absent"


@pytest.mark.parametrize(
    ("answers", "present", "denied"),
    [
        (["2", "nothing else"], 1, True),
        (["2; rest clean"], 1, True),
        (["2, none of the others"], 1, True),
        (["2, no more"], 1, False),
        (["2", "no more"], 1, False),
        (["no more"], 0, False),
    ],
)
def test_what_else_there_is_is_denied_or_left_in_other_words(case, knowledge, answers, present, denied):
    ring = "1 Rotating ring @ "
    script = Script(*to_step(7), *[(ring + "Seen", x) for x in answers], stop_at="2 Stationary")
    now = session(case, knowledge, script)
    states = [o.state for o in now.observations if o.part == "1"]
    assert states.count("present") == present and ("absent" in states) == denied and not now.not_understood


def test_none_leaves_a_look_at_which_nothing_is_left_to_deny(case, knowledge):
    ring = "part 1 Rotating ring @ Seen"
    again = ("part 2 Stationary ring @ Seen", "back")
    script = Script(*to_step(7), *[again] * 2, *[(ring, "none")] * 5, stop_at="parts 4 O-ring")
    session(case, knowledge, script)
    assert script.answers == [(ring, "none")] * 2
