"""What is lost as a whole: no work that needs it in hand is planned, and it is named."""

from __future__ import annotations

import pytest

from diagnose.advice.plan import plan
from diagnose.advice.reach import Reach
from diagnose.casefile.reader import parse_case
from diagnose.inference.run import infer
from diagnose.judgement.judge import judge
from diagnose.reading.problems import Problems
from diagnose.views import next_steps
from diagnose.views.page import Page

CASE = """
case: a pair
seal: {arrangement: dual unpressurised SEAL}
parts:
  - {item: 1, name: Ring, kind: soft face, position: inboard PART}
  - {item: 2, name: Seat, kind: hard face, position: inboard OTHER}
  - {item: 3, name: Spring set, kind: multiple springs, position: inboard}
observations:
  - {saw: growing leak}
"""


@pytest.fixture(scope="module")
def planned(whole_base, whole_network):
    def make(seal: str = "", part: str = "", other: str = ""):
        problems = Problems()
        text = CASE.replace(" SEAL", seal).replace(" PART", part).replace(" OTHER", other)
        case = parse_case(text.encode(), "c.yaml", whole_base.knowledge, problems)
        problems.raise_errors()
        inference = infer(case, whole_base)
        judgements = judge(inference, whole_network)
        return inference, judgements, plan(judgements, most=999)

    return make


def in_hand(made, knowledge, position: str) -> set[str]:
    """Kinds that work planned at a position needs in hand, left out what people and logs are asked about."""
    kinds = {s.part for s in made.steps if position in s.positions} - {""}
    return {k for k in kinds if knowledge.vocabulary.kinds[k].place == "seal" and k not in knowledge.looks.asked}


@pytest.mark.slow
def test_nothing_of_a_lost_seal_is_asked_for_and_it_is_named(planned, whole_base):
    _, _, before = planned()
    assert in_hand(before, whole_base.knowledge, "inboard") and in_hand(before, whole_base.knowledge, "outboard")
    inference, judgements, made = planned(seal=", inboard: {lost: scrapped at once}")
    assert in_hand(made, whole_base.knowledge, "inboard") == set()
    assert in_hand(made, whole_base.knowledge, "outboard")
    assert made.steps, "people, logs and the machine can still be asked"
    text = next_steps.page(inference, judgements, made, None, True, Page(100)).text()
    assert "the inboard seal: scrapped at once" in text


@pytest.mark.slow
def test_lost_parts_are_not_asked_for_while_others_are(planned, whole_base):
    _, _, before = planned()
    gone = ", lost: fell into the sump"
    inference, judgements, made = planned(part=gone, other=gone)
    faces = {k for k, lineage in whole_base.knowledge.vocabulary.lineage.items() if "face" in lineage}
    assert in_hand(before, whole_base.knowledge, "inboard") & faces
    assert not in_hand(made, whole_base.knowledge, "inboard") & faces
    assert in_hand(made, whole_base.knowledge, "inboard") and in_hand(made, whole_base.knowledge, "outboard") & faces
    assert any("Ring (1): fell into the sump" in g.why and g.position == "inboard" for g in made.lost)
    text = next_steps.page(inference, judgements, made, None, True, Page(100)).text()
    assert "Ring (1): fell into the sump" in text and "Seat (2): fell into the sump" in text


@pytest.mark.slow
def test_one_part_of_a_kind_in_hand_or_not_on_the_list_is_enough(planned):
    inference, *_ = planned(part=", lost: fell into the sump")
    reach = Reach(inference, "inboard")
    assert reach.lost_with("soft face") and not reach.lost_with("face") and not reach.lost_with("hard face")
    assert not reach.lost_with("O-ring") and not Reach(inference, "outboard").lost_with("soft face")
    whole, *_ = planned(seal=", lost: scrapped")
    reach = Reach(whole, "outboard")
    assert reach.lost_with("soft face") and not reach.lost_with("shaft") and not reach.lost_with("leak")
