"""Figures given as states are computed with, unless the case gives them itself."""

from __future__ import annotations

from pathlib import Path

import pytest

from diagnose.casefile.reader import parse_case
from diagnose.knowledge.cache import open_knowledge
from diagnose.quantities.compute import compute
from diagnose.reading.problems import Problems

ROOT = Path(__file__).parents[2]


@pytest.fixture(scope="module")
def knowledge():
    return open_knowledge(ROOT / "knowledge")


def margin(text: str, knowledge):
    problems = Problems()
    case = parse_case(("case: c\n" + text).encode(), "case.yaml", knowledge, problems)
    assert case is not None and not problems.found, [str(p) for p in problems.found]
    return case, {q.name: q for q in compute(case, knowledge)}.get("vapour margin")


GIVEN = "service: {vapour pressure: 1 bar a}\n"


def test_a_pressure_at_the_chamber_is_the_chamber_pressure(knowledge):
    case, found = margin(GIVEN + "states: [{at: seal chamber, pressure: 3 bar a}]", knowledge)
    assert found.value == pytest.approx(2e5)
    assert case.states[0].id in {record for _, _, record in found.inputs}


def test_a_range_is_computed_with_from_end_to_end(knowledge):
    _, found = margin(GIVEN + "states: [{at: chamber, pressure: 3 to 5 bar a}]", knowledge)
    assert (found.low, found.high) == (pytest.approx(2e5), pytest.approx(4e5))


def test_of_several_readings_the_last_counts(knowledge):
    _, found = margin(
        GIVEN + "states: [{at: chamber, pressure: [6 bar a, 4 bar a], when: [2026-03-01, 2026-03-05]}]", knowledge
    )
    assert found.value == pytest.approx(3e5)


@pytest.mark.parametrize("state", [
    "{at: chamber, pressure: 3 bar a, when: standing}", "{at: chamber, pressure: more than 3 bar a}",
    "{at: chamber, pressure: 3 bar a, not: true}", "{at: discharge, pressure: 3 bar a}",
])  # fmt: skip
def test_what_does_not_tell_how_the_seal_ran_is_no_figure(state, knowledge):
    _, found = margin(GIVEN + f"states: [{state}]", knowledge)
    assert found is None or found.value is None


def test_the_figure_of_the_case_goes_before(knowledge):
    _, found = margin(
        "service: {vapour pressure: 1 bar a, chamber pressure: 9 bar a}\nstates: [{at: chamber, pressure: 3 bar a}]",
        knowledge,
    )
    assert found.value == pytest.approx(8e5)
