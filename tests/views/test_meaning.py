"""What a pattern means: features by the kind of part they are on, findings as fully as features."""

from __future__ import annotations

import pytest

from diagnose.reading.problems import BadInput
from diagnose.views.meaning import look_up, page
from diagnose.views.page import Page
from tests.support.reasoned import reasoned


@pytest.mark.parametrize(
    "said, on, feature",
    [
        ("twisted", "O-ring", "twisted in the groove"),
        ("twisted", "metal bellows", "bellows twisted"),
        ("blisters", "dynamic O-ring", "surface blisters"),
        ("blisters", "soft face", "blisters"),
        ("blisters", "", "blisters"),
    ],
)
def test_a_spelling_that_features_share_is_told_by_the_kind_of_part(whole_base, said, on, feature):
    assert look_up(whole_base, said, on)["pattern"] == feature
    if on:
        case = reasoned(f"case: Bench\nobservations: [{{on: {on}, saw: {said}}}]", whole_base).inference.case
        assert [o.feature for o in case.observations] == [feature]


@pytest.mark.parametrize(
    "asked, finding, lost",
    [
        ("springs broken", "springs broken", "never"),
        ("hardened O-ring", "O-ring hardened", "never"),
        ("leak in puffs", "leak in puffs", "while running"),
    ],
)
def test_a_finding_says_how_it_is_seen_until_when_and_how_often_each_cause_leaves_it(whole_base, asked, finding, lost):
    answer = look_up(whole_base, asked)
    assert (answer["pattern"], answer["lost"]) == (finding, lost) and answer["how"]
    knowledge = whole_base.knowledge
    words = knowledge.words.seen
    for row in (*answer["mechanisms"], *answer["causes"]):
        shown = [r["seen"] for r in row["leaves"]]
        assert shown == sorted(shown, key=lambda w: -words[w])
        assert all(words[r["seen"]] > words[knowledge.findings[r["finding"]].otherwise] for r in row["leaves"])
    assert any(r["finding"] == finding for row in (*answer["mechanisms"], *answer["causes"]) for r in row["leaves"])


def test_the_page_begins_with_a_line_for_each_mechanism_and_each_cause_likeliest_first(small_base):
    answer = look_up(small_base, "radial cracks")
    lines = page(answer, Page(80, False)).lines
    for level, title in (("mechanisms", "What it is left by"), ("causes", "What may have brought that about")):
        rows = answer[level]
        assert rows and [r["probability"] for r in rows] == sorted((r["probability"] for r in rows), reverse=True)
        at = lines.index(f"{title}, likeliest first") + 1
        assert at < 12 and [line.split("  ")[1] for line in lines[at : at + len(rows)]] == [r["name"] for r in rows]
    assert answer["mechanisms"][0]["name"] == "faces overheated"
    assert answer["causes"][0]["name"] == "dry running"
    assert lines.index("What it is left by, likeliest first") < lines.index("faces overheated")


def test_the_heading_has_the_word_that_was_asked_and_the_part(whole_base):
    answer = look_up(whole_base, "heat checks", "hard face")
    assert (answer["asked"], answer["pattern"], answer["on"]) == ("heat checks", "radial cracks", ["hard face"])


def test_a_whole_phrase_is_answered_on_its_parts_together(whole_base):
    answer = look_up(whole_base, "carbon chipped on the OD and springs gunked up")
    assert answer["read_as"]["text"] == "soft face: edge chips, outer edge; spring: clogged"
    assert {f["finding"] for f in answer["findings"]} >= {"springs clogged", "edge chips on a face"}
    assert 0 < answer["mechanisms"][0]["probability"] < 1


def test_a_phrase_that_is_not_understood_is_refused_with_a_way_out(whole_base):
    with pytest.raises(BadInput, match="not understood"):
        look_up(whole_base, "frobnicated widget of the third kind")


def test_a_state_of_the_machine_is_answered_like_the_feature_that_is_its_name(whole_base):
    answer = look_up(whole_base, "pot level falling")
    assert "level falling" in answer["pattern"] or "level falls" in answer["pattern"]
    assert answer["causes"]


@pytest.mark.slow
def test_a_general_word_that_fits_any_part_is_answered(whole_base):
    general = [f.name for f in whole_base.knowledge.vocabulary.features.values() if not f.on]
    assert {"crack", "deposit", "hard"} <= set(general)
    for name in general:
        assert look_up(whole_base, name)["means"], name
