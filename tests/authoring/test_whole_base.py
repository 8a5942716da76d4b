"""The rule base that ships: free of errors, tested, covered, and hard to break unnoticed."""

from __future__ import annotations

from pathlib import Path

import pytest

from diagnose.authoring import check
from diagnose.authoring.checks.idle import undated_sources
from diagnose.authoring.coverage import Coverage
from diagnose.authoring.mutants import mutants
from diagnose.authoring.mutation import Hunt, trials
from diagnose.authoring.rule_test_files import drafted
from diagnose.authoring.rule_test_reader import KINDS, read_tests
from diagnose.authoring.rule_test_runner import Workshop, run_tests
from diagnose.reading.entry import replace
from diagnose.reading.problems import Problems

pytestmark = pytest.mark.slow

KNOWLEDGE = Path(__file__).resolve().parents[2] / "knowledge"
EVERY, APART = 6, 16
"""Every so many-th card of each kind (APART) and mutant of those cards (about EVERY) is tried here; `diagnose rules mutate` and `test --drafted` try all."""


def sampled(knowledge):
    """Some cards of every kind, spread over the base."""
    return [
        (kind, card) for section, kind in KINDS.items() for card in list(getattr(knowledge, section).values())[::APART]
    ]


@pytest.fixture(scope="module")
def outcomes(whole_base):
    """Of the rule tests beside the cards and of what can be drafted from the cards."""
    problems, workshop = Problems(), Workshop(whole_base)
    tests = read_tests(KNOWLEDGE, whole_base.knowledge, problems)
    assert problems.found == [] and tests
    return run_tests(workshop, [*tests, *drafted(workshop, sampled(whole_base.knowledge))])


def test_check_finds_no_error():
    report = check.examine(KNOWLEDGE)
    assert [str(p) for p in report.problems if p.level == "error"] == []


def test_every_rule_test_holds(outcomes):
    wrong = [
        (o.test.where.file, o.test.name, o.failures[0].expected, o.failures[0].found) for o in outcomes if o.failures
    ]
    assert wrong == []


def test_a_card_can_be_tested_and_a_finding_for_each_answer(outcomes, whole_base):
    tested = {(o.test.kind, o.test.rule) for o in outcomes}
    assert {(kind, card.name) for kind, card in sampled(whole_base.knowledge)} <= tested
    shown = {f for o in outcomes for key, f in o.test.findings if key == "finds" and o.test.rule == f}
    silent = {f for o in outcomes for key, f in o.test.findings if key != "finds" and o.test.rule == f}
    assert shown & silent >= {card.name for kind, card in sampled(whole_base.knowledge) if kind == "finding"}


def test_conditions_are_covered(outcomes, whole_base):
    counted = Coverage(whole_base.knowledge)
    for o in outcomes:
        counted.add(o.inference)
    chosen = {(kind, card.name) for kind, card in sampled(whole_base.knowledge)}
    rules = [r for r in counted.document()["by_rule"] if (r["kind"], r["rule"]) in chosen]
    assert len(rules) > 30
    assert sum(r["covered"] for r in rules) >= 0.95 * sum(r["ways"] for r in rules)


def test_few_changes_survive(outcomes, whole_base):
    hunt = Hunt(Workshop(whole_base), trials(outcomes))
    chosen = {(kind, card.name) for kind, card in sampled(whole_base.knowledge)}
    tried = [m for i, m in enumerate(mutants(whole_base.knowledge)) if i % EVERY == 0 and (m.kind, m.rule) in chosen]
    survived = [str(m) for m in tried if not hunt.notices(m)]
    assert len(tried) > 100
    assert len(survived) * 10 <= len(tried), survived


def test_what_needs_only_the_rotor_in_its_bearings_is_never_lost_by_opening_the_seal(whole_base):
    """Bare chamber face and register can be reached only once the gland is off; runout, lift and float stay."""
    knowledge = whole_base.knowledge
    for name in ("face runout of the chamber", "register concentricity of the chamber", "shaft runout at the chamber",
                 "bearing lift", "axial float by push and pull"):  # fmt: skip
        assert knowledge.measurements[name].stage == "never"
    for name in ("chamber not square", "chamber not concentric", "shaft runs out", "shaft lifts", "shaft floats"):
        assert knowledge.vocabulary.features[name].lost == "never"
    asked = {
        look.on: step.stage
        for step in knowledge.arrangements.steps
        for look in step.looks
        if "chamber not square" in look.features
    }
    assert asked == {"seal chamber": "before washing"}


def test_a_source_without_year_or_edition_is_told_of(whole_base):
    knowledge = whole_base.knowledge
    assert not list(undated_sources(knowledge))
    bare = {k: replace(s, seen="excerpt") for k, s in knowledge.sources.items()}
    told = [p.says for p in undated_sources(replace(knowledge, sources=bare))]
    assert "the source 'wear-pattern-page' has neither year nor edition" in told
    assert not [t for t in told if "'lebeck-1991'" in t or "'common-practice'" in t or "'api-rp-686'" in t]
