"""What is still to be looked at: in order, never after it is gone, and nothing that this seal does not have."""

from __future__ import annotations

import pytest

from diagnose.casefile.cards import cards, due, left_of, unmarked
from diagnose.casefile.format import ALONE
from diagnose.casefile.reader import parse_case
from diagnose.casefile.walk import last_stage, left_out, usual_document
from diagnose.casefile.writer import render
from diagnose.reading.entry import replace
from diagnose.reading.problems import Problems


def case_of(knowledge, arrangement, **more):
    document = usual_document("x", arrangement, knowledge.arrangements.usual[arrangement], more.pop("stage", ""))
    for key, value in more.items():
        document[key] = {**document.get(key, {}), **value} if isinstance(value, dict) else value
    problems = Problems()
    case = parse_case(render(document), "x", knowledge, problems)
    assert problems.found == []
    return case


def everything(knowledge, arrangement, **more):
    """The seal with everything around it that any plan has."""
    plans = list(knowledge.vocabulary.settings["plan"].terms)
    return case_of(knowledge, arrangement, seal={"arrangement": arrangement, "plan": plans}, **more)


@pytest.mark.slow
def test_no_look_comes_after_what_it_looks_for_is_gone_wherever_recording_begins(whole_base):
    """All looks at all parts of all arrangements, begun at each stage, with the machine and without."""
    knowledge, asked = whole_base.knowledge, 0
    stages, features = knowledge.vocabulary.stages, knowledge.vocabulary.features
    for arrangement in knowledge.arrangements.usual:
        case = everything(knowledge, arrangement)
        out = left_out(case, knowledge)
        for begun, stage in enumerate(stages):
            for alone in (False, True):
                reached_so_far = 0
                for card in cards(replace(case, alone=alone), knowledge, (), stage):
                    at = stages.index(card.step.stage)
                    assert at >= reached_so_far, "cards come in the order of the steps"
                    reached_so_far = at
                    for choice in card.choices:
                        kind = choice.topics[0].kind
                        lost, asked = last_stage(knowledge, out, choice.feature, kind), asked + 1
                        end = stages.index(lost) if lost in stages else len(stages)
                        assert end >= max(at, begun) or features[choice.feature].lasting, (
                            arrangement,
                            stage,
                            choice.feature,
                        )
                        assert choice.perishes == (end == at)
                    for name, _ in card.readings:
                        lost = knowledge.vocabulary.readings[name].lost
                        assert lost not in stages or stages.index(lost) >= max(at, begun), (arrangement, stage, name)
    assert asked > 10_000


def test_every_look_of_a_topic_stands_on_one_card_and_only_once(knowledge):
    from diagnose.casefile.walk import topics

    for arrangement in knowledge.arrangements.usual:
        case = everything(knowledge, arrangement)
        on_cards = [(t.id, c.feature) for card in cards(case, knowledge) for c in card.choices for t in c.topics]
        assert len(on_cards) == len(set(on_cards))
        assert set(on_cards) == {(t.id, f) for t in topics(case, knowledge) for f in t.features}


def test_a_single_seal_under_plan_11_is_not_asked_about_systems_it_has_not(knowledge):
    case = case_of(knowledge, "single", seal={"arrangement": "single", "plan": ["plan 11"]})
    kinds = {t.kind for card in cards(case, knowledge) for t in card.topics}
    assert "orifice" in kinds and not kinds & {"cooler", "strainer", "quench", "accumulator", "pot", "barrier system"}


def test_the_seal_alone_is_not_asked_about_its_machine(knowledge):
    case = case_of(knowledge, "single", **{"at hand": ALONE})
    kinds = {t.kind for card in cards(case, knowledge) for t in card.topics}
    assert {"leak", "history", "sleeve"} <= kinds
    assert not kinds & {"shaft", "bearing", "impeller", "coupling", "flush line", "seal chamber"}
    readings = {name for card in cards(case, knowledge) for name, _ in card.readings}
    assert "sleeve groove depth" in readings and not readings & {"shaft runout", "vibration velocity"}


def test_static_rings_stand_together_and_faces_alone(knowledge):
    found = [
        t.part
        for card in cards(case_of(knowledge, "single"), knowledge)
        for b in card.blocks()
        for t in b
        if len(b) > 1
    ]
    assert {"4", "10", "13"} <= set(found) and not {"1", "2", "3"} & set(found)


def test_what_is_answered_is_due_no_more(knowledge):
    seen = [{"part": "1", "saw": "blisters"}, {"part": "4", "absent": "hard"}]
    case = case_of(knowledge, "single", stage="before relapping", observations=seen)
    found = due(case, knowledge)
    assert found[0].step.stage in knowledge.vocabulary.stages
    ring, statics = (next(c for c in found if c.topics[0].id == f"before relapping / part {x}") for x in ("1", "4"))
    assert "blisters" not in [c.feature for c in ring.choices]
    assert [t.part for c in statics.choices if c.feature == "hard" for t in c.topics] == ["10", "13"]


def test_only_what_the_end_of_the_step_destroys_is_left_where_that_is_asked(knowledge):
    case = case_of(knowledge, "single")
    card = next(c for c in cards(case, knowledge) if c.id == "before washing / part 1")
    left = left_of(case, knowledge, card, perishing=True)
    assert left and all(c.perishes for c in left.choices) and not left.readings


def test_a_part_that_touches_two_others_and_can_take_a_mark_is_named_until_it_has_one(knowledge):
    case = case_of(knowledge, "single")
    items = [p.item for p in unmarked(case, knowledge)]
    assert {"1", "2", "9", "12"} <= set(items) and not {"3", "4", "10", "13", "5", "16"} & set(items)
    document = usual_document("x", "single", knowledge.arrangements.usual["single"], "")
    document["parts"][0]["index"] = "paint dot"
    marked = parse_case(render(document), "x", knowledge, Problems())
    assert "1" not in [p.item for p in unmarked(marked, knowledge)]


def test_nothing_is_asked_twice_of_one_part_or_kind(knowledge):
    for arrangement in knowledge.arrangements.usual:
        cards_of_it = cards(everything(knowledge, arrangement), knowledge)
        asked = [(t.part or t.kind, c.feature) for card in cards_of_it for c in card.choices for t in c.topics]
        assert [x for x in asked if asked.count(x) > 1] == []
