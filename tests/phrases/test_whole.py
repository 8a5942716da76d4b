"""What a phrase tells as a whole beside its clauses: that it is offered, in what place, and never as sure."""

from __future__ import annotations

import pytest

from diagnose.phrases.read import FITS_BETTER, read
from tests.support.shipped import whole_base

V = whole_base().knowledge.vocabulary


def offered(said: str, on: str) -> list[list[tuple[str, str, str]]]:
    return [[(s.term, s.state, s.more.get("value", "")) for s in r.statements] for r in read(said, V, on)]


@pytest.mark.parametrize("said, on, term", [
    ("shiny at 12 and 6, nowt in between", "mating ring", "two heavy spots"),
    ("contact heavy at ID, nothing at the OD", "rotating face", "heavy edge contact"),
])  # fmt: skip
def test_what_only_all_its_words_together_tell_is_among_three_and_not_sure(said, on, term):
    readings = read(said, V, on)[:3]
    assert any((s.term, s.state) == (term, "present") for r in readings for s in r.statements)
    assert all(r.sureness != "sure" for r in readings)


@pytest.mark.parametrize("said, on, general", [
    ("metal bellows cracked at first weld, drive end", "metal bellows", "crack"),
    ("orifice worn egg shape", "orifice", "wear"),
])  # fmt: skip
def test_the_general_mark_whose_word_is_said_is_offered_whatever_else_is(said, on, general):
    shown = [s for r in read(said, V, on) for s in r.statements]
    assert any(s.family == "feature" and general in V.form_lineage[s.term] and s.on == on for s in shown)


@pytest.mark.parametrize("said, on, first", [
    ("motor amps dropped from 80 to 40", "driver", ("load", "present", "falling")),
    ("carbon is not blistered", "soft face", ("blisters", "absent", "")),
    ("wide track", "face", ("track wider than the nose", "present", "")),
])  # fmt: skip
def test_what_the_words_or_a_figure_say_in_full_stays_first(said, on, first):
    assert offered(said, on)[0] == [first]


def test_only_the_first_reading_may_be_sure_and_the_others_say_that_another_fits_better():
    for said, on in (("carbon chipped, springs gunked up", ""), ("edges nibbled by something", "soft face")):
        first, *others = read(said, V, on)
        assert FITS_BETTER not in first.asks
        assert others and all(FITS_BETTER in r.asks and r.sureness != "sure" for r in others)


def test_what_is_of_another_part_stands_behind_what_is_of_the_part_said():
    assert read("cracks full of mud", V, "soft face")[0].statements[0].on == "soft face"


@pytest.mark.parametrize("said, on, term, state", [
    ("no marks except a dent at the edge", "sleeve", "dent", "present"),
    ("no corrosion on the springs", "spring", "corroded springs", "absent"),
    ("sleeve would not come off without the puller, galled", "sleeve", "galling", "present"),
])  # fmt: skip
def test_a_denial_reaches_no_farther_than_what_is_kept_out_of_it(said, on, term, state):
    found = [(s.term, s.state) for r in read(said, V, on)[:1] for s in r.statements]
    line = V.form_lineage
    assert [s for t, s in found if term in line.get(t, ()) or t in line[term]] == [state], found


@pytest.mark.parametrize("said, on, first, behind", [
    ("worn", "soft face", "wear", "heavy wear"), ("carbon worn", "soft face", "wear", "nose used up"),
    ("chipped", "soft face", "chip", "edge chips"), ("grooved", "mating ring", "groove", "concentric grooves"),
    ("coating cracked", "coated face", "crack", "crazed coating"),
])  # fmt: skip
def test_a_word_that_leaves_the_kind_open_is_no_stronger_one(said, on, first, behind):
    terms = [r.statements[0].term for r in read(said, V, on)]
    assert terms[0] == first and behind in terms


@pytest.mark.parametrize("said, on, first", [
    ("edge chipped", "soft face", "edge chips"), ("badly worn", "soft face", "heavy wear"),
    ("grooved like a record", "mating ring", "concentric grooves"),
])  # fmt: skip
def test_a_word_more_tells_the_kind(said, on, first):
    assert read(said, V, on)[0].statements[0].term == first
