"""The machine: indicator readings, squareness, alignment at a speed, life; leak and its conventions."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from diagnose.quantities import leakage, machine
from diagnose.quantities.limits import judge_limit


@given(st.lists(st.floats(-1, 1), min_size=3, max_size=12), st.floats(-5, 5))
def test_a_full_reading_does_not_care_where_the_dial_is_zeroed(readings, zero):
    assert machine.full_reading([r + zero for r in readings]) == pytest.approx(machine.full_reading(readings), abs=1e-9)


SWEEP = "equipment: {{chamber bore: 100 mm}}\nmeasurements: [{{on: {on}, measured: {what}, unit: mm, readings: {readings}, at: [12, 3, 6, 9], resolution: 0.01 mm}}]"


def test_runout_from_stations_round_the_clock(quantities_of, knowledge):
    found = quantities_of(SWEEP.format(on="shaft", what="shaft runout", readings=[0, 0.04, 0.08, 0.03]))["shaft runout"]
    assert (found.value, found.low, found.high) == (
        pytest.approx(0.08e-3),
        pytest.approx(0.07e-3),
        pytest.approx(0.09e-3),
    )
    assert judge_limit(found, knowledge.limits["shaft runout"]) == "outside"
    assert judge_limit(found, knowledge.limits["gross shaft runout"]) == "undecided", "0.07 to 0.09 spans 0.076 mm"
    assert found.position == "machine" and "180°" in found.notes[0]


def test_runout_by_the_diameter_of_the_shaft(quantities_of, knowledge):
    """Trade article: 0.001 in per in; 0.035 mm is too much at 30 mm where 0.05 mm would pass it."""
    text = "equipment: {{shaft diameter: {} mm}}\nmeasurements: [{{on: shaft, measured: shaft runout, reading: 0.035 mm, resolution: 0.002 mm}}]"
    for diameter, verdict in ((30, "outside"), (60, "inside")):
        found = quantities_of(text.format(diameter))["shaft runout per diameter"]
        assert found.value == pytest.approx(0.035 / diameter)
        assert judge_limit(found, knowledge.limits["shaft runout per diameter"]) == verdict


def test_readings_without_stations_are_full_readings(quantities_of):
    text = "measurements: [{on: shaft, measured: shaft runout, unit: mm, readings: [0.03, 0.05]}]"
    found = quantities_of(text)["shaft runout"]
    assert (found.low, found.value, found.high) == (
        pytest.approx(0.03e-3),
        pytest.approx(0.04e-3),
        pytest.approx(0.05e-3),
    )


@pytest.mark.parametrize(
    ("readings", "verdict"),
    [([0, 0.01, 0.02, 0.01], "inside"), ([0, 0.05, 0.10, 0.05], "outside"), ([0, 0.03, 0.05, 0.02], "undecided")],
)
def test_squareness_of_the_chamber_face(quantities_of, knowledge, readings, verdict):
    """Seal-chamber requirement sheet: 0.0005 mm/mm, 0.05 mm at a bore of 100 mm."""
    found = quantities_of(SWEEP.format(on="seal chamber", what="chamber face runout", readings=readings))
    square = found["chamber face squareness"]
    assert square.value == pytest.approx(max(readings) / 100)
    assert judge_limit(square, knowledge.limits["chamber face squareness"]) == verdict


def test_the_diameter_swept_goes_before_the_bore(quantities_of):
    text = SWEEP.format(on="seal chamber", what="chamber face runout", readings=[0, 0, 0.04, 0])
    swept = text[:-1] + ", {on: seal chamber, measured: swept diameter, reading: 160 mm}]"
    assert quantities_of(swept)["chamber face squareness"].value == pytest.approx(0.00025)


def test_register_and_gland_gap(quantities_of, knowledge):
    found = quantities_of(SWEEP.format(on="gland", what="register runout", readings=[0, 0.1, 0.2, 0.1]))
    assert judge_limit(found["register concentricity"], knowledge.limits["register concentricity"]) == "outside"
    gap = quantities_of(SWEEP.format(on="gland", what="gland gap", readings=[3.0, 3.1, 3.2, 3.1]))["gland gap spread"]
    assert gap.value == pytest.approx(0.2e-3)


def test_runout_that_goes_with_the_coupling(quantities_of, knowledge):
    text = """
measurements:
  - {on: shaft, measured: shaft runout, reading: 0.09 mm, resolution: 0.01 mm}
  - {on: shaft, measured: uncoupled shaft runout, reading: 0.02 mm, resolution: 0.01 mm}
"""
    found = quantities_of(text)["runout change when uncoupled"]
    assert found.value == pytest.approx(0.07e-3)
    assert judge_limit(found, knowledge.limits["runout change when uncoupled"]) == "outside"


@pytest.mark.parametrize(
    ("movement", "verdict"), [(0.05, "inside"), (0.12, "between published limits"), (0.30, "outside")]
)
def test_axial_float_between_limits_that_conflict(quantities_of, knowledge, movement, verdict):
    """Trade texts print 0.075, 0.10, 0.13 and 0.25 mm."""
    found = quantities_of(f"measurements: [{{on: shaft, measured: axial float, reading: {movement} mm}}]")[
        "axial float"
    ]
    assert judge_limit(found, knowledge.limits["axial float"]) == verdict


@pytest.mark.parametrize(("mil", "verdict"), [(1.0, "inside"), (1.75, "undecided"), (2.5, "outside")])
def test_alignment_between_two_tables_is_undecided(quantities_of, knowledge, mil, verdict):
    """At 3600 rpm one instrument manual accepts 1.5 mil, the other 2 mil."""
    text = f"equipment: {{speed: 3600 rpm}}\nmeasurements: [{{on: coupling, measured: coupling offset, reading: {mil * 0.0254} mm}}]"
    found = quantities_of(text)["coupling offset share of limit"]
    assert judge_limit(found, knowledge.limits["coupling offset"]) == verdict
    assert "the published tables differ" in found.notes


def test_alignment_needs_the_speed(quantities_of):
    text = "measurements: [{on: coupling, measured: coupling angle, reading: 0.4 mm/m}]"
    assert "speed is not on record" in quantities_of(text)["coupling angle share of limit"].problem


def test_life_against_the_standard_where_no_design_life_is_given(quantities_of):
    assert quantities_of("history: {running hours: 5000 h}")["life share"].value == pytest.approx(0.2)
    assert quantities_of("history: {running hours: 5000 h, design life: 10000 h}")["life share"].value == pytest.approx(
        0.5
    )


def test_starts_are_told_by_the_hours_between_them(quantities_of):
    assert quantities_of("history: {running hours: 300 h, starts: 900 starts}")["hours a start"].value == pytest.approx(
        1200
    )
    assert (
        "never started" in quantities_of("history: {running hours: 300 h, starts: 0 starts}")["hours a start"].problem
    )
    assert "hours a start" not in quantities_of("history: {running hours: 300 h}")


def test_plain_readings_become_quantities(quantities_of):
    text = """
measurements:
  - {on: machine, measured: vibration velocity, unit: mm/s, readings: [4.4, 4.8], resolution: 0.1 mm/s}
  - {on: piping, measured: flange movement, reading: 1.2 mm}
  - {on: bearing, measured: bearing lift, reading: 0.08 mm}
  - {on: orifice, measured: orifice bore, reading: 2 mm}
history: {starts: 40 starts, time to first leak: 30 h}
"""
    found = quantities_of(text)
    assert (found["vibration velocity"].low, found["vibration velocity"].high) == (
        pytest.approx(4.75e-3),
        pytest.approx(4.85e-3),
    )
    assert found["flange movement"].value == pytest.approx(1.2e-3)
    assert found["bearing lift"].kind == "bearing"
    assert found["starts"].value == 40


# ---- leak ---------------------------------------------------------------------------------------------------


def test_drops_of_a_leak(quantities_of):
    found = quantities_of(
        "service: {density: 600 kg/m³}\nmeasurements: [{on: leak, measured: leak rate, reading: 40 drops/min}]"
    )
    assert found["leak rate"].value * 3.6e9 == pytest.approx(120)
    assert found["leak mass rate"].value * 3.6e6 == pytest.approx(72)
    assert any("20 drops" in n for n in found["leak rate"].notes)


def test_a_leak_in_millilitres_needs_no_drop_convention(quantities_of):
    assert quantities_of("measurements: [{on: leak, measured: leak rate, reading: 12 mL/h}]")["leak rate"].notes == ()


def test_leaks_more_at_rest(quantities_of):
    text = """
measurements:
  - {on: leak, measured: leak rate standing, reading: 30 mL/h}
  - {on: leak, measured: leak rate running, reading: 5 mL/h}
"""
    assert quantities_of(text)["leak change when running"].value * 3.6e9 == pytest.approx(-25)


@given(st.floats(0.1e-6, 20e-6), st.floats(1e5, 5e6), st.floats(1e-4, 1e-1))
def test_the_gap_for_a_leak_turns_the_film_formula_round(gap, pressure, viscosity):
    flow = math.pi * gap**3 * pressure / (6 * viscosity * math.log(0.0308 / 0.02445))
    assert leakage.gap_for_leak(flow, pressure, viscosity, 0.0308, 0.02445) == pytest.approx(gap)


def test_gap_of_a_case(quantities_of):
    text = """
service: {chamber pressure: 10 bar g, viscosity: 0.3 mPa s}
seal: {nose outer diameter: 61.6 mm, nose inner diameter: 48.9 mm}
measurements: [{on: leak, measured: leak rate, reading: 27.2 mL/h}]
"""
    assert quantities_of(text)["gap for the leak"].value == pytest.approx(1e-6, rel=0.005)
