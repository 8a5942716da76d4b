"""Figures given as states are computed with, unless the case gives them itself."""

from __future__ import annotations

from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]


@pytest.fixture
def margin(case_of, quantities_of):
    """A case from its text, and its vapour margin where there is one."""
    return lambda text: (case_of(text), quantities_of(text).get("vapour margin"))


GIVEN = "service: {vapour pressure: 1 bar a}\n"


def test_a_pressure_at_the_chamber_is_the_chamber_pressure(margin):
    case, found = margin(GIVEN + "states: [{at: seal chamber, pressure: 3 bar a}]")
    assert found.value == pytest.approx(2e5)
    assert case.states[0].id in {record for _, _, record in found.inputs}


def test_a_range_is_computed_with_from_end_to_end(margin):
    _, found = margin(GIVEN + "states: [{at: chamber, pressure: 3 to 5 bar a}]")
    assert (found.low, found.high) == (pytest.approx(2e5), pytest.approx(4e5))


def test_of_several_readings_the_last_counts(margin):
    _, found = margin(GIVEN + "states: [{at: chamber, pressure: [6 bar a, 4 bar a], when: [2026-03-01, 2026-03-05]}]")
    assert found.value == pytest.approx(3e5)


@pytest.mark.parametrize("state", [
    "{at: chamber, pressure: 3 bar a, when: standing}", "{at: chamber, pressure: more than 3 bar a}",
    "{at: chamber, pressure: 3 bar a, not: true}", "{at: discharge, pressure: 3 bar a}",
])  # fmt: skip
def test_what_does_not_tell_how_the_seal_ran_is_no_figure(state, margin):
    _, found = margin(GIVEN + f"states: [{state}]")
    assert found is None or found.value is None


def test_the_figure_of_the_case_goes_before(margin):
    _, found = margin(
        "service: {vapour pressure: 1 bar a, chamber pressure: 9 bar a}\nstates: [{at: chamber, pressure: 3 bar a}]"
    )
    assert found.value == pytest.approx(8e5)


@pytest.mark.parametrize("states, found", [
    ("[{at: machine, vibration: 6.8 mm/s}]", 6.8e-3),
    ("[{at: machine, vibration: 2 mm/s}, {at: bearing, vibration: 6.8 mm/s}]", 6.8e-3),
    ("[{at: driver, vibration: 6.8 mm/s}]", None),
])  # fmt: skip
def test_a_figure_is_taken_from_the_first_of_its_points(states, found, quantities_of):
    told = quantities_of(f"states: {states}").get("vibration velocity")
    assert (told and told.value) == (found and pytest.approx(found))


@pytest.mark.parametrize("states", [
    "[{at: machine, vibration: [9.8 mm/s, 2.4 mm/s]}]", "[{at: machine, vibration: 9.8 mm/s}, {at: machine, vibration: 2.4 mm/s}]",
    "[{at: machine, vibration: 2 mm/s, when: cold}, {at: machine, vibration: 9.8 mm/s, when: hot}]",
])  # fmt: skip
def test_of_several_vibrations_the_highest_counts(states, quantities_of):
    found = quantities_of(f"states: {states}")["vibration velocity"]
    assert (found.low, found.high) == (pytest.approx(9.8e-3), pytest.approx(9.8e-3))
