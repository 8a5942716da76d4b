"""What does not go together on record is told, with both entries, and what does is not."""

from __future__ import annotations

import pytest

from diagnose.casefile.reader import parse_case, read_case
from diagnose.inference.at_odds import Odds
from diagnose.inference.run import infer
from diagnose.reading.problems import Problems
from diagnose.views.at_odds import told
from tests.support.places import ROOT

HEAD = """case: a
seal: {arrangement: single%s}
parts:
  - {item: 1, kind: rotating soft face, name: Rotating ring, carries: nose}
  - {item: 2, kind: stationary hard face, name: Stationary ring, carries: wide}
  - {item: 5, kind: multiple springs, name: Springs}
"""
WIDTHS = "measurements:\n  - {part: 2, measured: track width, readings: [%s mm]}\n  - {part: 1, measured: nose width, readings: [4.0 mm]}\n"


@pytest.fixture(scope="module")
def said(whole_base):
    odds = Odds(whole_base.knowledge)

    def of(seal: str, text: str) -> list[str]:
        problems = Problems()
        case = parse_case((HEAD % seal + text).encode(), "c.yaml", whole_base.knowledge, problems)
        problems.raise_errors()
        return [told(odd, case, whole_base.knowledge) for odd in odds.of(case)]

    return of


@pytest.mark.parametrize(
    ("seal", "text", "one", "other"),
    [
        ("", "observations: [{on: leak, absent: leak}]\nmeasurements: [{on: leak, measured: leak rate, readings: [12 drops/min]}]\n",
         "leak rate on leak: 36 mL/h", "not there: leak"),
        ("", "observations: [{on: machine, absent: ran hot}]\nstates: [{at: gland, temperature: [60 °C, 90 °C]}]\n",
         "temperature 60 °C, 90 °C (rising)", "not there: ran hot"),
        ("", "states: [{at: gland, temperature: [60 °C, 90 °C]}, {at: gland, temperature: rising, not: true}]\n", "(rising)", "not rising"),
        ("", "acts: [{did: vent, to: chamber}, {did: vent, to: chamber, not: true}]\n", "vent chamber", "not done: vent chamber"),
        (", springs: single coil", "", "springs: single coil", "part 5 Springs (multiple springs)"),
        (", springs: single coil", "measurements: [{part: 5, measured: springs found, readings: [8]}]\n",
         "springs found on multiple springs 5: 8 springs", "springs: single coil"),
        (", springs fitted: 1", "measurements: [{part: 5, measured: springs found, readings: [8]}]\n", "springs fitted: 1", "springs found"),
        (", springs fitted: 1", "observations: [{part: 5, saw: broken, of: 10, note: 8 of 10}]\n", "(of 10)", "springs fitted: 1"),
        ("", "service: {barrier pressure: 5 bar g}\n", "barrier pressure: 5 bar g", "arrangement: single"),
        (", plan: plan 53A", "", "arrangement: single", "plan: plan 53A"),
        ("", WIDTHS % "4.0" + "observations: [{part: 2, saw: track wider than the nose}]\n", "track width", "track wider than the nose"),
        ("", WIDTHS % "4.6" + "observations: [{part: 2, saw: track narrower than the nose}]\n", "track width", "track narrower than the nose"),
        ("", WIDTHS % "4.6" + "observations: [{part: 2, absent: track wider than the nose}]\n", "track width", "not there: track wider than the nose"),
        ("", "observations: [{part: 2, saw: track narrower than the nose}, {part: 2, saw: track wider than the nose}]\n", "narrower", "wider"),
        ("", "measurements: [{part: 1, measured: track width, readings: [5.1 mm]}]\n", "track width on rotating soft face 1",
         "part 1 Rotating ring (rotating soft face, carries the nose)"),
        ("", "observations: [{on: leak, saw: leak when hot}, {on: leak, saw: leak stops when hot}]\n", "leak when hot", "leak stops when hot"),
        ("", "observations: [{on: leak, saw: leak running and standing}, {on: leak, saw: leak only when running}]\n",
         "leak running and standing", "leak only when running"),
        ("", "observations: [{on: history, saw: failed within hours}, {on: history, saw: failed within months}]\n",
         "failed within hours", "failed within months"),
        ("", "history: {running hours: 3 months}\nobservations: [{on: history, saw: failed within hours}]\n",
         "running hours", "failed within hours"),
        ("", "observations: [{on: leak, saw: growing leak}, {on: history, saw: failed at start-up}]\n", "growing leak", "failed at start-up"),
        ("", "observations: [{on: history, saw: leak from the first start}, {on: history, saw: failed after years}]\n",
         "leak from the first start", "failed after years"),
        ("", "measurements: [{on: leak, measured: leak rate, readings: [600 mL/h]}, {on: leak, measured: leak rate running, readings: [40 mL/h]}, "
         "{on: leak, measured: leak rate standing, readings: [0 mL/h]}]\n", "leak rate on leak: 600 mL/h", "leak rate standing on leak: 0 mL/h"),
        (", plan: [plan 53B, plan 54]", "", "plan: plan 53B", "plan: plan 54"),
        ("", "observations: [{part: 2, saw: one heavy sector}, {part: 2, absent: uneven track}]\n", "one heavy sector", "not there: uneven track"),
        ("", "observations: [{part: 1, saw: track off centre}]\n", "track off centre", "carries the nose"),
        ("", "observations: [{on: shaft, absent: shaft runs out}]\nmeasurements: [{on: shaft, measured: shaft runout, readings: [0.4 mm]}]\n",
         "shaft runout", "not there: shaft runs out"),
    ],
)  # fmt: skip
def test_both_sides_are_told(said, seal, text, one, other):
    found = said(seal, text)
    assert [x for x in found if one in x and other in x and "does not go with" in x], found


@pytest.mark.parametrize(
    ("seal", "text"),
    [
        ("", "observations: [{on: leak, absent: leak}]\nmeasurements: [{on: leak, measured: leak rate, readings: [0 drops/min]}]\n"),
        ("", "observations: [{on: leak, absent: puffs}]\nmeasurements: [{on: leak, measured: leak rate, readings: [12 drops/min]}]\n"),
        ("", "states: [{at: gland, temperature: rising, when: before the leak}, {at: gland, temperature: falling, not: true}]\n"),
        (", springs: multiple, springs fitted: 10", "observations: [{part: 5, saw: broken, of: 10, note: 8 of 10}]\n"),
        (", springs fitted: 10", "measurements: [{part: 5, measured: springs found, readings: [8]}]\n"),
        ("", WIDTHS % "4.6" + "observations: [{part: 2, saw: track wider than the nose}]\n"),
        ("", "observations: [{part: 2, saw: track narrower than the nose}, {part: 1, saw: full even track}]\n"),
        (", plan: [plan 11, plan 62]", ""),
        ("", "history: {running hours: 20 h}\nobservations: [{on: history, saw: failed within hours}]\n"),
        ("", "observations: [{on: leak, saw: growing leak}, {on: history, saw: failed within weeks}]\n"),
        ("", "measurements: [{on: leak, measured: leak rate, readings: [40 mL/h]}, {on: leak, measured: leak rate running, readings: [40 mL/h]}, "
         "{on: leak, measured: leak rate standing, readings: [0 mL/h]}]\n"),
    ],
)  # fmt: skip
def test_what_goes_together_is_not_told(said, seal, text):
    assert said(seal, text) == []


def test_the_order_of_the_record_changes_nothing(said):
    lines = [
        "  - {part: 2, saw: track wider than the nose}\n",
        "  - {part: 2, saw: track narrower than the nose}\n",
        "  - {on: leak, absent: leak}\n",
    ]
    assert said("", "observations:\n" + "".join(lines)) == said("", "observations:\n" + "".join(reversed(lines))) != []


def test_no_shipped_scenario_is_at_odds_with_itself(whole_base):
    odds = Odds(whole_base.knowledge)
    cases = [read_case(path, whole_base.knowledge) for path in sorted((ROOT / "scenarios").glob("*.yaml"))]
    assert cases and [case.name for case in cases if odds.of(case)] == []


def test_a_wide_track_on_the_nose_says_of_neither_ring_that_it_runs_off_the_axis(whole_base):
    """A nose leaves its track on the other ring; recorded on itself it can only be asked back."""
    for widths, mark in (("1", "saw: track wider than the nose"), ("2", "")):
        text = f"measurements:\n  - {{part: {widths}, measured: track width, readings: [5.1 mm]}}\n  - {{part: 1, measured: nose width, readings: [4.2 mm]}}\n"
        text += f"observations: [{{part: 1, {mark}}}]\n" if mark else ""
        problems = Problems()
        case = parse_case((HEAD % "" + text).encode(), "c.yaml", whole_base.knowledge, problems)
        problems.raise_errors()
        found = infer(case, whole_base).findings["seal"]
        sides = {
            f
            for f in ("wide track from a rotating nose", "wide track from a stationary nose")
            if f in found and found[f].state == "present"
        }
        assert sides == (set() if widths == "1" else {"wide track from a rotating nose"})
