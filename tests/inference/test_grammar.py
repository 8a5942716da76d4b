"""What combines: general and special words of marks, states and acts, held against each other on every path."""

from __future__ import annotations

import itertools
import random

import pytest

from diagnose.casefile.reader import parse_case
from diagnose.inference.match import evaluate, facts_of
from diagnose.inference.run import infer
from diagnose.reading.problems import Problems
from tests.support.grammar import grammar_base


@pytest.fixture(scope="module")
def base():
    return grammar_base()


def inference(text: str, base):
    problems = Problems()
    case = parse_case(("case: c\nseal: {arrangement: single}\n" + text).encode(), "case.yaml", base.knowledge, problems)
    assert case is not None and not problems.found, [str(p) for p in problems.found]
    return infer(case, base)


def found(text: str, base) -> set[str]:
    return {name for name, d in inference(text, base).findings["seal"].items() if d.state == "present"}


def truth(name: str, text: str, base) -> bool | None:
    """Whether the one premise of a finding's rule holds, is known not to, or is not known."""
    done = inference(text, base)
    (branch,) = [b for b in base.rules.branches if b.rule == name and b.conclusion.state == "present"]
    truths = [evaluate(p, facts_of(done), "seal").holds for p in branch.premises]
    return False if False in truths else None if None in truths else True


@pytest.mark.parametrize("record, expected", [
    ("{saw: radial cracks, on: hard face}", {"any damage", "any crack", "radial"}),
    ("{saw: crack, runs: radial, on: hard face}", {"any damage", "any crack", "radial"}),
    ("{saw: crack, on: hard face}", {"any damage", "any crack"}),
    ("{saw: crack, colour: blue, on: hard face}", {"any damage", "any crack", "blue crack"}),
    ("{saw: radial cracks, colour: blue, on: hard face}", {"any damage", "any crack", "radial", "blue crack"}),
    ("{saw: blisters, on: soft face}", {"any damage"}),
    ("{saw: deposit, made of: sugar, texture: sticky, on: hard face}", {"crystals", "sticky"}),
    ("{saw: deposit, made of: sugar, on: hard face}", {"crystals"}),
    ("{saw: deposit, made of: carbon, on: hard face}", set()),
    ("{absent: damage, on: hard face}", {"no crack", "no radial"}),
    ("{absent: crack, on: hard face}", {"no crack", "no radial"}),
    ("{absent: radial cracks, on: hard face}", {"no radial"}),
    ("{absent: crack, colour: blue, on: hard face}", set()),
    ("{saw: wet, on: gland}", set()),
    ("{saw: wet, on: gland, when: running}", set()),
    ("{saw: wet, on: gland, when: at the first start}", {"wet at the start"}),
    ("{absent: wet, on: gland}", {"dry at the start"}),
    ("{absent: wet, on: gland, when: at start}", {"dry at the start"}),
    ("{absent: wet, on: gland, when: standing}", set()),
])  # fmt: skip
def test_a_mark_is_its_general_words_and_a_general_word_not_there_is_none_of_its_special_ones(record, expected, base):
    assert found(f"observations: [{record}]", base) == expected


def test_the_general_word_alone_leaves_the_special_one_open(base):
    assert truth("radial", "observations: [{saw: crack, on: hard face}]", base) is None
    assert truth("radial", "observations: [{absent: crack, on: hard face}]", base) is False
    assert truth("radial", "observations: [{absent: damage, on: hard face}]", base) is False
    assert truth("any crack", "observations: [{absent: radial cracks, on: hard face}]", base) is None


@pytest.mark.parametrize("record, expected", [
    ("{at: flush line, temperature: high}", {"support hot", "flush hot", "named hot"}),
    ("{at: orifice, temperature: more than usual}", {"support hot", "flush hot", "named hot"}),
    ("{at: cooler out, temperature: high}", {"support hot"}),
    ("{at: flush line, temperature: hot, when: running}", {"support hot", "flush hot", "flush hot running", "named hot"}),
    ("{at: flush line, temperature: normal}", {"flush not hot"}),
    ("{at: flush line, temperature: high, not: true}", {"flush not hot"}),
    ("{at: support system, temperature: high, not: true}", {"flush not hot"}),
    ("{at: flush line, temperature: high, not: true, when: standing}", set()),
    ("{at: flush line, temperature: normal, when: standing}", set()),
    ("{at: flush line, temperature: rising}", set()),
    ("{at: flush line, temperature: 64 °C}", {"flush over sixty"}),
    ("{at: flush line, temperature: 62 to 70 °C}", {"flush over sixty"}),
    ("{at: flush line, temperature: 55 to 70 °C}", set()),
    ("{at: flush line, temperature: more than 140 °F}", set()),
    ("{at: flush line, temperature: more than 141 °F}", {"flush over sixty"}),
    ("{at: flush line, temperature: 70 °C, usual: 40 °C}", {"support hot", "flush hot", "flush over sixty", "named hot"}),
    ("{at: flush line, temperature: 70 °C, specified: at most 75 °C}", {"flush over sixty"}),
])  # fmt: skip
def test_a_state_says_what_it_says_of_every_point_above_it(record, expected, base):
    assert found(f"states: [{record}]", base) == expected


@pytest.mark.parametrize("record, expected", [
    ("{did: vented, to: seal chamber}", {"vented", "chamber vented"}),
    ("{did: vent, to: pot}", {"vented"}),
    ("{did: vent, not: true}", {"not vented", "named not vented"}),
    ("{did: vent, to: chamber, not: true}", {"not vented", "named not vented"}),
    ("{did: vent, to: pot, not: true}", set()),
    ("{did: grease, to: dynamic O-ring, with: petroleum jelly}", {"greased"}),
    ("{did: grease, to: dynamic O-ring, with: soapy water}", set()),
])  # fmt: skip
def test_an_act_is_done_to_what_it_is_done_to_and_denied_as_widely_as_it_is_denied(record, expected, base):
    assert found(f"acts: [{record}]", base) == expected


def test_a_feature_is_the_name_of_its_statement(base):
    assert {"support hot", "flush hot"} <= found("observations: [{saw: flush hot}]", base)
    assert "flush not hot" in found("observations: [{absent: flush hot}]", base)
    assert "not vented" in found("observations: [{saw: not vented, on: vent}]", base)


def test_an_act_says_the_setting_that_says_as_much(whole_base):
    def said(text: str) -> set[tuple[object, object]]:
        facts = [dict(f.slots) for f in inference(text, whole_base).facts if f.table == "setting"]
        return {(f["term"], f["holds"]) for f in facts if f["setting"] == "history"}

    assert said("acts: [{did: steamed out}]") == {("steam-out", True)}
    assert said("acts: [{did: wash, not: true}]") == {("steam-out", False), ("chemical cleaning", False)}
    assert said("acts: [{did: wash, with: water}]") == set()


def test_several_readings_in_time_move_as_they_move(base):
    def courses(values: str) -> tuple[str, ...]:
        return inference(f"states: [{{at: leak-off, flow: [{values}]}}]", base).case.states[0].values

    assert courses("5 mL/h, 12 mL/h, 30 mL/h") == ("rising",)
    assert courses("30 mL/h, 12 mL/h") == ("falling",)
    assert courses("5 mL/h, 12 mL/h, 4 mL/h") == ("swinging",)
    assert courses("5 mL/h, 5 mL/h") == ("steady",)
    assert courses("5 to 8 mL/h, 7 to 9 mL/h") == ("steady",)
    assert courses("12 mL/h") == courses("more than 12 mL/h, 30 mL/h") == ()


def test_for_every_word_of_every_hierarchy_special_says_general_and_not_the_other_way(base):
    grammar = base.knowledge.vocabulary.grammar
    for family, lineage in grammar.lineages.items():
        for word, line in lineage.items():
            for above in line[1:]:
                slots = (
                    {"variable": family.partition(":")[2], "value": word}
                    if family.startswith("value:")
                    else {family: word}
                )
                wider = {**slots, **({"value": above} if "value" in slots else {family: above})}
                assert grammar.implies(slots, wider) and not grammar.implies(wider, slots), (family, word, above)


def test_values_that_shut_each_other_out_do_so_both_ways_and_never_themselves(base):
    for variable in base.knowledge.vocabulary.grammar.variables.values():
        for one, other in itertools.product(variable.words, repeat=2):
            assert variable.contrary(one, other) == variable.contrary(other, one)
            assert not variable.contrary(one, one)
            if one in variable.lineage[other]:
                assert not variable.contrary(one, other)


@pytest.mark.parametrize("seed", range(12))
def test_order_of_the_record_changes_nothing(seed, base):
    draw = random.Random(seed)
    features = [
        n for n, f in base.knowledge.vocabulary.features.items() if base.knowledge.vocabulary.can_be_on(n, "hard face")
    ]
    seen = [f"{{saw: {n!r}, on: hard face}}" for n in draw.sample(features, 5)]
    variables = base.knowledge.vocabulary.grammar.variables
    points = list(base.knowledge.vocabulary.grammar.points)
    stood = [
        f"{{at: {draw.choice(points)}, {v.name}: {draw.choice(list(v.words))}}}"
        for v in draw.sample(list(variables.values()), 4)
    ]

    def state(observations: list[str], states: list[str]) -> object:
        done = inference(f"observations: [{', '.join(observations)}]\nstates: [{', '.join(states)}]", base)
        return done.facts, done.findings

    assert state(seen, stood) == state(seen[::-1], stood[::-1])


def test_more_on_record_never_takes_a_present_finding_away(base):
    """Absence is said, never concluded from silence: what a record raises stays raised beside any other mark."""
    alone = found("observations: [{saw: radial cracks, on: hard face}]", base)
    beside = found("observations: [{saw: radial cracks, on: hard face}, {absent: crack, on: soft face}]", base)
    assert alone <= beside


def written(table: str, slots, holds: bool) -> str:
    said = {k: v for k, v in slots.items() if k not in ("variable", "value")}
    said |= {slots["variable"]: slots["value"]} if table == "state" else {}
    return "{" + ", ".join(f"{k}: {v}" for k, v in said.items()) + ("}" if holds else ", not: true}")


@pytest.mark.slow
def test_every_statement_that_says_as_much_as_a_feature_raises_it_and_the_first_denied_denies_it(whole_base):
    words, asked = whole_base.knowledge.vocabulary, whole_base.rules.asked
    named = [n for n in words.named_statements if ("seen", n.feature.name) in asked]
    assert len(named) > 80

    def said(n, holds: bool) -> set[object]:
        done = inference(f"{n.table}s: [{written(n.table, n.slots, holds)}]", whole_base)
        return {
            dict(f.slots)["state"]
            for f in done.facts
            if f.table == "seen" and dict(f.slots)["feature"] == n.feature.name
        }

    for n in named:
        assert said(n, n.so) == {"present"}, (n.feature.name, n.slots)
        assert said(n, not n.so) == ({"absent"} if n.first else set()), (n.feature.name, n.slots)


def test_a_general_word_alone_is_evidence_of_its_own_and_a_special_one_takes_its_place(whole_base):
    def said(*marks: str) -> set[str]:
        done = inference("observations: [" + ", ".join(marks) + "]", whole_base).findings["seal"]
        general = (
            "face cracked in a way not said",
            "deposit of a kind not said",
            "rubber changed in hardness either way",
        )
        return {name for name in general if name in done and done[name].state == "present"}

    assert said("{saw: crack, on: hard face}", "{saw: deposit, on: sleeve}", "{saw: changed hardness, on: O-ring}") == {
        "face cracked in a way not said", "deposit of a kind not said", "rubber changed in hardness either way"}  # fmt: skip
    assert said("{saw: radial cracks, on: hard face}", "{saw: coke, on: sleeve}", "{saw: hard, on: O-ring}") == set()
    assert said("{saw: crack, runs: radial, on: hard face}") == said("{absent: crack, on: hard face}") == set()
