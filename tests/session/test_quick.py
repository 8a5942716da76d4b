"""The ten looks that tell most are about ten different things."""

from __future__ import annotations

import pytest

from diagnose.casefile.reader import parse_case
from diagnose.casefile.walk import usual_document
from diagnose.casefile.writer import render
from diagnose.reading.problems import Problems
from diagnose.session.quick import MOST, quick

STAGE = "while running"


def looks(whole_base, arrangement, stage=STAGE, **sections):
    usual = whole_base.knowledge.arrangements.usual[arrangement]
    document = usual_document("x", arrangement, usual, stage) | sections
    case = parse_case(render(document), "x", whole_base.knowledge, Problems())
    return quick(case, whole_base)


@pytest.mark.parametrize("arrangement", ["single", "dry gas"])
def test_ten_looks_are_at_ten_things_and_no_trifle_is_among_them(whole_base, arrangement):
    cards = looks(whole_base, arrangement)
    things = [(card.step.stage, frozenset(t.part or t.kind for t in card.topics)) for card in cards]
    assert len(cards) == MOST == len(set(things))
    rings = [parts for _, parts in things if parts & {"1", "2"}]
    assert rings == [frozenset({"1", "2"})] * len(rings) and len(rings) <= 3, "a pair of rings is one look at a step"
    assert {"leak", "history", "9"} <= {x for _, parts in things for x in parts}
    assert not {"foreign particle", "finger mark"} & {c.feature for card in cards for c in card.choices}


def test_a_look_that_decides_what_another_decides_gives_way(whole_base):
    """Where the faces were looked at already, what else tells comes in for them."""
    faces = [c.feature for card in looks(whole_base, "single") for c in card.choices
             if {"1", "2"} & {t.part for t in c.topics}]  # fmt: skip
    seen = [{"part": p, "absent": f} for p in ("1", "2") for f in dict.fromkeys(faces)
            if whole_base.knowledge.vocabulary.fits("soft face" if p == "1" else "hard face", whole_base.knowledge.vocabulary.features[f].on)]  # fmt: skip
    cards = looks(whole_base, "single", observations=seen)
    things = {t.part or t.kind for card in cards for t in card.topics}
    assert len(cards) == MOST and len(things - {"1", "2"}) >= 9


def test_of_what_one_must_be_so_all_is_asked_or_none(whole_base):
    cards = looks(whole_base, "single")
    asked = {c.feature for card in cards for c in card.choices}
    for features in whole_base.knowledge.arrangements.one_of.values():
        assert not asked & set(features) or set(features) <= asked


def test_looks_stand_in_the_order_of_dismantling(whole_base):
    cards = looks(whole_base, "dual pressurised", "before washing")
    stages = [whole_base.knowledge.vocabulary.stages.index(card.step.stage) for card in cards]
    assert stages == sorted(stages) and {"21", "22"} in [{t.part for t in card.topics} for card in cards]
