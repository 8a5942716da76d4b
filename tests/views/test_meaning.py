"""What a pattern means: features by the kind of part they are on, findings as fully as features."""

from __future__ import annotations

import pytest

from diagnose.views.meaning import look_up
from tests.advice.conftest import judged_text


@pytest.mark.parametrize("said, on, feature", [
    ("twisted", "O-ring", "twisted in the groove"), ("twisted", "metal bellows", "bellows twisted"),
    ("blisters", "dynamic O-ring", "surface blisters"), ("blisters", "soft face", "blisters"), ("blisters", "", "blisters"),
])  # fmt: skip
def test_a_spelling_that_features_share_is_told_by_the_kind_of_part(whole_base, whole_network, said, on, feature):
    assert look_up(whole_base, whole_network, said, on)["pattern"] == feature
    if on:
        case = judged_text(f"case: Bench\nobservations: [{{on: {on}, saw: {said}}}]", whole_base).inference.case
        assert [o.feature for o in case.observations] == [feature]


@pytest.mark.parametrize("asked, finding, lost", [
    ("springs broken", "springs broken", "never"), ("hardened O-ring", "O-ring hardened", "never"),
    ("leak in puffs", "leak in puffs", "while running"),
])  # fmt: skip
def test_a_finding_says_how_it_is_seen_until_when_and_how_often_each_cause_leaves_it(whole_base, whole_network, asked, finding, lost):
    answer = look_up(whole_base, whole_network, asked)
    assert (answer["pattern"], answer["lost"]) == (finding, lost) and answer["how"]
    words = whole_base.knowledge.words.seen
    shown = [row["leaves"][0]["seen"] for row in answer["causes"]]
    assert shown and shown == sorted(shown, key=lambda w: -words[w])


def test_the_heading_has_the_word_that_was_asked_and_the_part(whole_base, whole_network):
    answer = look_up(whole_base, whole_network, "heat checks", "hard face")
    assert (answer["asked"], answer["pattern"], answer["on"]) == ("heat checks", "radial cracks", ["hard face"])
