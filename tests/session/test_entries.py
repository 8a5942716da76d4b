"""What was typed, as what it says."""

from __future__ import annotations

import pytest

from diagnose.session.entries import (
    Said,
    details,
    feature_and_details,
    listed,
    meant,
    numbers_choices,
    numbers_in,
    parted,
    state_and_list,
)

FEATURES = ["worn", "hard", "hot and hard", "blisters", "chips"]
SPELLED = {
    "worn": "worn",
    "hard": "hard",
    "hot and hard": "hot and hard",
    "blisters": "blisters",
    "chips": "chips",
    "bubbles": "blisters",
}
ENDS = {"driver end": "driver end", "impeller end": "impeller end"}
TURNS = {"clockwise": "clockwise", "cw": "clockwise", "counterclockwise": "counterclockwise"}
PLANS = {"none": "none", "plan 11": "plan 11", "plan 13": "plan 13", "plan 1": "plan 1"}


def test_a_range_names_every_number_in_it():
    assert numbers_in("1, 3-5 and 7 - 8") == {1, 3, 4, 5, 7, 8}


@pytest.mark.parametrize(("answer", "chosen"), [
    ("1", ["worn"]), ("1 3 and 5", ["worn", "hot and hard", "chips"]), ("1, 3 & 5", ["worn", "hot and hard", "chips"]),
    ("2-4", ["hard", "hot and hard", "blisters"]), ("2 - 4", ["hard", "hot and hard", "blisters"]), ("5 5", ["chips"]),
    ("worn and 2", ["worn", "hard"]), ("hot and hard, bubbles", ["hot and hard", "blisters"]), ("worn; chips", ["worn", "chips"]),
    ("6", []), ("0", []), ("4-2", []), ("1 9", []), ("worn and torn", []), ("", []), ("99999999999", []), ("worn,,chips", []),
])  # fmt: skip
def test_lists_of_features(answer, chosen):
    assert listed(answer, FEATURES, lambda w: SPELLED.get(w, "")) == chosen


@pytest.mark.parametrize(("answer", "said"), [
    ("absent 3-5", ("absent", "3-5")), ("Not there hard", ("absent", "hard")), ("lost all", ("lost", "all")), ("seen 2", ("saw", "2")),
    ("not looked at 7", ("not looked at", "7")), ("absent", ("x", "absent")), ("hard", ("x", "hard")),
])  # fmt: skip
def test_a_list_may_begin_with_its_state(answer, said):
    assert state_and_list(answer, "x") == said


@pytest.mark.parametrize(("answer", "spelled", "terms"), [
    ("cw", TURNS, ["clockwise"]), ("c", TURNS, ["clockwise", "counterclockwise"]), ("co", TURNS, ["counterclockwise"]), ("2", TURNS, ["counterclockwise"]),
    ("3", TURNS, []), ("de", ENDS, ["driver end"]), ("driver", ENDS, ["driver end"]), ("end", ENDS, ["driver end", "impeller end"]), ("1", ENDS, ["driver end"]),
    ("11", PLANS, ["plan 11"]), ("1", PLANS, ["plan 1"]), ("2", PLANS, []), ("plan 1", PLANS, ["plan 1"]), ("no", PLANS, ["none"]), ("x", PLANS, []),
])  # fmt: skip
def test_choices_by_number_beginning_and_initials(answer, spelled, terms):
    assert meant(answer, spelled) == terms


def test_every_detail_stands_for_itself(whole_base):
    words = whole_base.knowledge.vocabulary
    found = details("10 to 2, all rond, severe, photo a b.jpg, note by the port, 7 to 8", words)
    assert found.entry == {"extent": ["10 to 2", "7 to 8"], "degree": "severe", "note": "by the port"}
    assert found.photos == ["a b.jpg"] and found.odd == [("all rond", ["all round"])]


@pytest.mark.parametrize(
    ("said", "entry", "odd"),
    [
        ("heavy", {"degree": "severe"}, []),
        ("a bit", {"degree": "light"}, []),
        ("10 to 2, really bad", {"extent": "10 to 2", "degree": "severe"}, []),
        ("quite slight at the od", {"degree": "light", "side": "outer edge"}, []),
        ("noticeable, all over", {"degree": "moderate", "extent": "all round"}, []),
        ("very", {}, ["very"]),
        ("heavy, wobbly", {"degree": "severe"}, ["wobbly"]),
    ],
)
def test_how_much_and_where_are_read_as_people_say_them(said, entry, odd, whole_base):
    found = details(said, whole_base.knowledge.vocabulary)
    assert found.entry == entry and [text for text, _ in found.odd] == odd


@pytest.mark.parametrize(("answer", "parted"), [
    ("blisters 10 to 2, severe", ("blisters", "10 to 2, severe")), ("blisters: 10 to 2", ("blisters", "10 to 2")), ("hot and hard severe", ("hot and hard", "severe")),
    ("hot and hard", ("hot and hard", "")), ("1 10 to 2", ("1 10 to 2", "")), ("blisters nowhere", ("blisters nowhere", "")), ("blisters a bit", ("blisters", "a bit")), ("3: severe", ("3", "severe")),
])  # fmt: skip
def test_a_mark_and_its_details_need_no_colon(answer, parted, whole_base):
    assert feature_and_details(answer, lambda w: SPELLED.get(w, ""), whole_base.knowledge.vocabulary) == parted


RINGS = {"4": "O-ring of the stationary ring", "10": "O-ring under the sleeve", "13": "O-ring of the gland"}


@pytest.mark.parametrize(
    ("answer", "text", "but"),
    [
        ("all but the one under the sleeve: pinched", "pinched", ("10",)),
        ("all but the one under the sleeve are hard", "hard", ("10",)),
        ("every O-ring except item 4 twisted, light", "twisted, light", ("4",)),
        ("pinched on all except 13", "pinched", ("13",)),
        ("2 apart from the gland one", "2", ("13",)),
        ("all O-rings bar 4 and 10 are swollen", "swollen", ("4", "10")),
        ("hard all round except part 13", "hard all round", ("13",)),
        ("all but the lower one: pinched", "pinched", ("the lower one",)),
        ("all except 13", "all", ("13",)),
        ("pinched but sleeve clean", "pinched but sleeve clean", ()),
        ("swollen but not soft", "swollen but not soft", ()),
        ("3 but 13", "3 but 13", ()),
    ],
)
def test_parts_are_left_out_by_number_or_as_they_are_called(answer, text, but):
    assert parted(answer, RINGS) == [Said("", "saw", text, but)]


@pytest.mark.parametrize("typed", ["²", "9" * 5000, "½"])
def test_a_sign_or_a_number_beyond_all_lists_is_no_choice(typed):
    assert meant(typed, {"soft": "soft", "hard": "hard"}) == []
    assert numbers_choices(["soft", f"plan {'9' * 5000}"])


@pytest.mark.parametrize(
    ("answer", "denied"),
    [
        ("8: no", "8"),
        ("4 8: n", "4 8"),
        ("1 absent", "1"),
        ("no 2", "2"),
        ("none 3, 5", "3, 5"),
        ("hard: not there", "hard"),
    ],
)
def test_a_denial_behind_a_number_is_not_there(answer, denied):
    """As a filled sheet writes it; taken for a detail it would put the mark on record as seen."""
    assert parted(answer) == [Said("", "absent", denied)]


@pytest.mark.parametrize("answer", ["3: 10 to 2, severe", "14: 4.0 4.1", "no wear", "3 none", "8: no, 3"])
def test_what_is_no_denial_of_a_number_stays(answer):
    assert all(said.state == "saw" for said in parted(answer))


@pytest.mark.parametrize(("answer", "said"), [
    ("parts 4 10, 13: none", [Said("4", "absent", "all"), Said("10", "absent", "all"), Said("13", "absent", "all")]),
    ("parts 4 and 10 none", [Said("4", "absent", "all"), Said("10", "absent", "all")]),
    ("parts 4 10: 3, light", [Said("4", "saw", "3, light"), Said("10", "saw", "3, light")]),
    ("1 except part 10", [Said("", "saw", "1", ("10",))]), ("1 but not on parts 10 13: light", [Said("", "saw", "1: light", ("10", "13"))]),
    ("all but part 10: 1", [Said("", "saw", "1", ("10",))]), ("none except part 10", [Said("", "absent", "all", ("10",))]),
    ("none but 22: light", [Said("", "saw", "22: light"), Said("", "absent", "all")]),
    ("parts stuck together", [Said("", "saw", "parts stuck together")]),
])  # fmt: skip
def test_parts_and_marks_are_told_apart_in_one_line(answer, said):
    assert parted(answer) == said
