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
    assert "index mark of the stationary parts" in script.text and "seen from" not in script.text


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


@pytest.mark.slow
def test_parts_alike_are_acknowledged_part_by_part(case, knowledge):
    script = Script(*to_step(7), ("parts 4 O-ring @ Seen", "none"), stop_at="Step 8")
    session(case, knowledge, script)
    told = [t for t in script.told if "recorded r" in t and "absent hard" in t]
    assert [t.partition(": ")[2].split()[1] for t in told] == ["4", "10", "13"]


def test_where_a_sound_track_lies_is_not_asked(case, knowledge):
    script = Script(*to_step(7), (RING + "Seen", "3"), stop_at=END)
    (seen,) = session(case, knowledge, script).observations
    assert seen.feature == "full even track" and "where and how much" not in script.text


def test_on_schedule_said_of_the_history_is_how_the_seal_came_out_and_no_word_of_parts(case, knowledge):
    script = Script(("History @ Seen", "taken out on schedule"), stop_at="Step 2")
    case_now = session(case, knowledge, script)
    assert {o.state for o in case_now.observations} <= {"not looked at"} and case_now.not_understood == ()
    assert case_now.texts["history.removal"] == "sound"


def test_words_that_nothing_is_read_in_are_acknowledged_alone_and_a_record_by_its_number(case, knowledge):
    script = Script(
        *to_step(7), ("What differs", "part 2 tag A"), ("What differs", "part 2 tag B"),
        (RING + "Seen", "zorgle zumm"), (RING + "Seen", "wix wax"), stop_at=END,
    )  # fmt: skip
    session(case, knowledge, script)
    assert "in place of 1.2" not in script.text and re.search(r"tag B, in place of r\d+", script.text)
    assert "kept as said, not understood: part 1: wix wax" in script.text


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
        *to_step(5),
        (f"{ring} @ Seen", "springs full of resin, not moving"),
        ("number", "1"),
        ("which of these", "all"),
        stop_at="Step 6",
    )
    seen = [(o.part, o.feature) for o in session(case, knowledge, script).observations if o.state == "present"]
    assert sorted(seen) == [(springs, "hung up"), (springs, "polymer film")]


@pytest.mark.slow
def test_the_quick_pass_names_the_step_at_which_each_look_is_due(case, knowledge):
    script = Script(*to_step(3))
    session(case, knowledge, script, quick=True)
    looks = script.text.partition("looks that tell most")[2].split("\n\n")
    first_ring = next(i for i, text in enumerate(looks) if text.startswith("Look") and "part 1 Rotating ring" in text)
    assert "Before the bolts move" in looks[:first_ring]
    assert looks.count("Faces apart, nothing wiped or washed") == 1


@pytest.mark.parametrize(("typed", "features", "more"), [
    ("2 all round, severe; none", {"hot spots"}, {"degree": "severe"}), ("2 light", {"hot spots"}, {"degree": "light"}),
    ("2 5, light", {"hot spots", "one heavy sector"}, {"degree": "light"}),
    ("white polymer film, light", {"film"}, {"degree": "light"}),
])  # fmt: skip
def test_details_are_heard_without_a_colon(case, knowledge, typed, features, more):
    script = Script(*to_step(7), (RING + "Seen", typed), stop_at=END)
    now = session(case, knowledge, script)
    seen = [o for o in now.observations if o.part == "1" and o.state == "present"]
    assert {o.feature for o in seen} == features and not now.not_understood
    assert all(getattr(o, key) == value for o in seen for key, value in more.items())


def test_none_behind_what_was_not_taken_denies_nothing(case, knowledge):
    script = Script(*to_step(7), (RING + "Seen", "zorgle zumm; none"), stop_at=END)
    assert not session(case, knowledge, script).observations and "none is not taken yet" in " ".join(script.told)


def ring_card(knowledge, tmp_path, *answers, stop_at="Sliding"):
    """Answers at the step where both rings of each pair stand on a card."""
    case = tmp_path / "pair.yaml"
    with Recorder(case, knowledge, "ann") as r:
        r.start(usual_document("Pair", "dual pressurised", knowledge.arrangements.usual["dual pressurised"], ""))
    script = Script(("Where does the work stand", "4"), *(("Inboard rotating ring @ Seen", x) for x in answers[:1]),
                    *answers[1:], stop_at=stop_at)  # fmt: skip
    return session(case, knowledge, script), script


@pytest.mark.slow
def test_two_numbers_of_one_feature_are_that_feature_on_both(tmp_path, knowledge):
    now, _ = ring_card(knowledge, tmp_path, "1 8; none")
    stuck = {o.part for o in now.observations if (o.feature, o.state) == ("faces stuck together", "present")}
    assert stuck == {"1", "2"} and not now.not_understood


@pytest.mark.slow
@pytest.mark.parametrize(("which", "on"), [("1 8", {"1", "2"}), ("", set())])
def test_a_word_that_fits_several_parts_is_asked_for_its_parts(tmp_path, knowledge, which, on):
    now, script = ring_card(knowledge, tmp_path, "faces stuck together; none", ("numbers (all", which))
    stuck = {o.part for o in now.observations if (o.feature, o.state) == ("faces stuck together", "present")}
    assert stuck == on and ("none is not taken yet" in script.text) == (not on)


def test_back_at_the_details_of_a_mark_leaves_that_mark_out(case, knowledge):
    script = Script(
        *to_step(7), (RING + "Seen", "2"), ("where and how much", "back"), (RING + "Seen", "blisters"), stop_at=END
    )
    (seen,) = session(case, knowledge, script).observations
    assert seen.feature == "blisters" and "left out, nothing of it is on record" in script.text


@pytest.mark.parametrize(("then", "note"), [("", "hot at start-up"), ("none", "")])
def test_words_that_are_no_detail_stay_as_a_remark(case, knowledge, then, note):
    script = Script(*to_step(7), (RING + "Seen", "2: severe, hot at start-up"), ("instead of", then), stop_at=END)
    (seen,) = session(case, knowledge, script).observations
    assert (seen.degree, seen.note) == ("severe", note)


@pytest.mark.parametrize("typed", ["part 5 broken", "spring 5 broken"])
def test_words_of_a_part_that_is_not_asked_about_here_stand_on_it(case, knowledge, typed):
    script = Script(*to_step(7), (RING + "Seen", typed), stop_at=END)
    (seen,) = session(case, knowledge, script).observations
    assert (seen.part, seen.feature) == ("5", "broken")


def test_a_part_is_called_by_its_name_and_number(case, knowledge):
    script = Script(*to_step(7), ("parts 7 Drive pins @ Seen", "pin 7 worn on the driving flank"), stop_at="9 Sleeve")
    (seen,) = [o for o in session(case, knowledge, script).observations if o.state == "present"]
    assert (seen.part, seen.which) == ("7", ())


@pytest.mark.parametrize("nothing", ["don't know", "not known"])
def test_a_figure_nobody_knows_is_left_open(case, knowledge, nothing):
    script = Script(("fluid", nothing), ("vapour pressure", nothing), ("chamber pressure", "6 bar g"), stop_at="Step 2")
    now = session(case, knowledge, script)
    assert "service.fluid" not in now.texts and [x.what for x in now.measured] == ["chamber pressure"]


def test_a_figure_that_is_asked_again_can_be_taken_away(case, knowledge):
    script = Script(("fluid", "water"), ("how the seal came out", "back"), ("fluid [water; withdraw]", "withdraw"), ("why is it", "another pump"),
                    stop_at="Step 2")  # fmt: skip
    assert "service.fluid" not in session(case, knowledge, script).texts and "fluid taken away" in script.text


def test_a_near_term_is_taken_where_it_is_meant(case, knowledge):
    script = Script(("what about the fluid", "pollymerising"), ("'pollymerising' is no term", "y"), stop_at="Step 2")
    now = session(case, knowledge, script)
    assert [s.term for s in now.settings if s.setting == "service"] == ["polymerising"]


def test_a_choice_is_read_as_a_phrase_before_its_letters_count(case, knowledge):
    script = Script(("what about the fluid", "sets when cold; it is poisonous"), stop_at="Step 2")
    now = session(case, knowledge, script)
    assert {s.term for s in now.settings if s.setting == "service"} == {"molten", "toxic"}
    assert "read as: molten" in script.text


def test_a_denied_choice_is_told_and_not_taken(case, knowledge):
    script = Script(("what about the fluid", "no solids"), ("what about the fluid", "clean"), stop_at="Step 2")
    now = session(case, knowledge, script)
    assert [s.term for s in now.settings if s.setting == "service"] == ["clean"]
    assert "'no solids' is read as: not abrasive solids" in script.text


@pytest.mark.slow
def test_at_the_menu_no_means_nothing_else(case, knowledge):
    session(case, knowledge, Script(*to_step(8)))
    script = Script(("What else", "n"))
    assert not session(case, knowledge, script).remarks and script.told[-1].startswith("Left.")


def test_low_flow_and_reverse_rotation_are_asked_once(case, knowledge):
    script = Script(stop_at="Step 2")
    session(case, knowledge, script)
    assert script.text.count("low flow") == script.text.count("reverse rotation") == 1


@pytest.mark.parametrize(("typed", "ended"), [("taken out on schedule", "sound"), ("2", "sound"), ("failed", "failed")])
def test_that_a_seal_came_out_on_schedule_is_asked_and_is_no_failure(case, knowledge, typed, ended):
    script = Script(("how the seal came out (1 failed, 2 sound, 3 still running)", typed), stop_at="Step 2")
    assert session(case, knowledge, script).texts["history.removal"] == ended


@pytest.mark.parametrize(("typed", "seen"), [
    ("1: light; part 10: none; part 13 1: moderate", {"4": "light", "13": "moderate"}),
    ("1: light; part 10 1: severe", {"4": "light", "10": "severe", "13": "light"}),
    ("1: light, except part 10", {"4": "light", "13": "light"}), ("parts 4 13: 1, light", {"4": "light", "13": "light"}),
])  # fmt: skip
def test_what_one_line_says_of_one_part_is_an_exception_to_what_it_says_of_all(case, knowledge, typed, seen):
    script = Script(*to_step(7), ("parts 4 O-ring @ Seen", typed), stop_at="part 5 ")
    now = session(case, knowledge, script)
    found = sorted((int(o.part), o.degree) for o in now.observations if o.state == "present")
    assert found == sorted((int(part), degree) for part, degree in seen.items()), script.text[-3000:]


def test_back_out_of_a_look_that_was_gone_back_to_puts_nothing_on_record(case, knowledge):
    script = Script(*to_step(5), ("Look again", "2"), ("2 Stationary ring @ Seen", "back"), ("Look again", "back"), ("Seen", "back"),
                    stop_at="Step 6")  # fmt: skip
    session(case, knowledge, script)
    assert script.text.count("Look again") >= 2
    told = script.text.split("Look again")
    assert all("as not looked at" not in x for x in told[:-1]) and "as not looked at" in told[-1]


def test_back_at_what_a_phrase_means_tells_the_phrase_that_is_left_out(case, knowledge):
    script = Script(*to_step(7), (RING + "Seen", "blistring"), ("number (Enter", "back"), stop_at=END)
    assert not [o for o in session(case, knowledge, script).observations if o.state == "present"]
    assert "nothing of it is on record: blistring" in script.text


@pytest.mark.parametrize(("typed", "asked"), [("1.1 1.2 1.1", False), ("5.2 5.2 5.1", True)])
def test_a_nose_that_wore_down_is_no_doubt_and_one_higher_than_new_is(case, knowledge, typed, asked):
    script = Script(("new nose height", "3"), *to_step(7), (RING + "Seen", f"nose height: {typed}"), stop_at=END)
    now = session(case, knowledge, script)
    assert ("Is that so" in script.text) == asked
    assert bool([x for x in now.measured if x.what == "nose height"]) == (not asked)


def test_what_stands_behind_a_semicolon_at_the_details_of_a_mark_is_none_of_them(case, knowledge):
    script = Script(*to_step(7), (RING + "Seen", "2"), ("where and how much", "all round, light; 1"), stop_at=END)
    (seen,) = session(case, knowledge, script).observations
    assert (seen.extent.word, seen.degree, seen.note) == (
        "all round",
        "light",
        "",
    ) and "'1' is not taken here" in script.text


def test_a_bare_number_beside_all_round_is_asked_about(case, knowledge):
    script = Script(*to_step(7), (RING + "Seen", "2: 2 all round"), ("instead of", "none"), stop_at=END)
    (seen,) = session(case, knowledge, script).observations
    assert (seen.extent.word, seen.extent.arcs) == ("all round", ()) and "'2 beside all round'" in script.text


@pytest.mark.parametrize(("then", "on"), [("", True), ("y", False)])
def test_no_at_one_fact_leaves_the_next_to_be_asked_unless_no_more_is_known(case, knowledge, then, on):
    script = Script(("tag of the machine", "no"), ("is no more of these known", then), stop_at="Step 2")
    session(case, knowledge, script)
    assert ("how the seal came out" in script.text) == on


def test_a_sentence_is_no_item_number(case, knowledge):
    script = Script(
        ("What differs", "more snap ring"),
        ("item number", "part 43 name Accumulator"),
        ("item number", "43"),
        stop_at="Step 2",
    )
    now = session(case, knowledge, script)
    assert now.part("43").kind == "retainer" and "is no item number" in script.text


@pytest.mark.parametrize(
    ("which", "on_record"),
    [("2", {"soft": "present"}), ("all", {"hard": "absent", "soft": "present"}), ("", {}), ("none", {})],
)
def test_of_several_things_a_choice_says_all_and_takes_those_that_are_meant(case, knowledge, which, on_record):
    script = Script(
        *to_step(7), (RING + "Seen", "O-ring not hard, it is soft and springy"), ("number", "1"), ("which of these", which), stop_at=END
    )  # fmt: skip
    now = session(case, knowledge, script)
    assert {o.feature: o.state for o in now.observations if o.feature in ("hard", "soft", "slides freely")} == on_record
    told = " ".join(script.text.split())
    assert "that is: 1 O-ring: looked for and not there, hard; 2 O-ring: soft" in told
    assert "O-ring: looked for and not there, hard and O-ring: soft" in told
