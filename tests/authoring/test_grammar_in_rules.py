"""Rules on forms with qualifiers, states and acts: the workshop can draft tests for them, turn them round and tell them apart."""

from __future__ import annotations

import pytest

from diagnose.authoring.drafts import Draft
from diagnose.authoring.logic import check
from diagnose.authoring.mutants import changes
from diagnose.authoring.rule_test_files import written
from diagnose.authoring.rule_test_reader import parse_tests
from diagnose.authoring.rule_test_runner import Workshop, run_tests
from diagnose.authoring.witness import Witness
from diagnose.knowledge.wording import phrase
from diagnose.reading.problems import Problems
from tests.support.grammar import CONDITIONS, grammar_base

BASE = grammar_base()
FOUND = [b for b in BASE.rules.branches if b.conclusion.kind == "found"]


@pytest.mark.parametrize("branch", FOUND, ids=lambda b: b.name)
def test_records_that_make_a_rule_hold_are_drafted_and_make_it_hold(branch):
    fragment = Witness(BASE.knowledge).of(branch.premises)
    key = "finds" if branch.conclusion.state == "present" else "finds absent"
    text = written([Draft(branch.name, [fragment], {key: [branch.rule]}, fragment.at)])
    problems = Problems()
    (test,) = parse_tests(text.encode(), "x", "finding", branch.rule, BASE.knowledge, problems)
    assert not problems.found, (text, [str(p) for p in problems.found])
    assert not run_tests(Workshop(BASE), [test])[0].failures, text


@pytest.mark.parametrize("name", CONDITIONS)
def test_every_condition_can_be_changed_into_one_that_reads_otherwise(name):
    when = BASE.knowledge.findings[name].when
    others = [new for _, _, new, _ in changes(when, BASE.knowledge)]
    assert others and phrase(when) not in others


def test_the_workshop_says_what_a_rule_asks_for():
    said = {name: phrase(f.when) for name, f in BASE.knowledge.findings.items()}
    assert said["blue crack"] == "crack (colour blue) on face"
    assert said["flush hot running"] == "flush line: temperature high running"
    assert said["flush over sixty"] == "flush line: temperature above 60 °C"
    assert said["not vented"] == "not done: vent chamber"
    assert said["greased"] == "grease O-ring with grease"


def test_a_denial_of_the_special_covers_that_of_the_general_and_not_the_other_way_round():
    """Whoever vented nothing did not vent the chamber; whoever did not vent the chamber may have vented the line."""
    base = grammar_base({"not vented": "{any: [{not act: {did: vent}}, {not act: {did: vent, to: chamber}}]}"})
    (shadowed,) = [p.says for p in check(base.knowledge) if p.code == "shadowed"]
    assert shadowed == "another alternative holds whenever this does: not done: vent"
