"""What a library keeps of a case, read from its file."""

from __future__ import annotations

import pytest

from diagnose.evaluation.batch import Work, judge_one
from diagnose.library.seals import Confirmed, seals

PAIR = """
case: An invented pump with a pair
invented: true
equipment: {tag: P-7, machine: [overhung pump]}
service: {is: [hot water]}
seal: {arrangement: dual pressurised, batch: B-3, inboard: {soft face: carbon}}
observations: [{on: seal, saw: normal wear, position: inboard}]
history: {running hours: 216 h, fitted: 2026-01-10, removed: 2026-03-02, cost: 4200, hours lost: 6 h}
outcomes:
  - {root: shaft runout, position: inboard, by: A, how: measurement, when: 2026-05-01, changed: [a straight shaft]}
  - {root: pipe strain, position: inboard, by: B, how: strip-down, when: 2026-03-05}
"""


@pytest.fixture(scope="module")
def pair(whole_base):
    done = judge_one(Work("pair.yaml", PAIR.encode()), whole_base, seals)
    assert not done.problems
    return done.rows


def test_figures_dates_and_settings_are_those_of_the_file(pair):
    inboard, outboard = pair
    assert (inboard.tag, inboard.batch, inboard.fitted, inboard.removed) == ("P-7", "B-3", "2026-01-10", "2026-03-02")
    assert (inboard.hours, inboard.cost, inboard.hours_lost) == (216.0, 4200.0, 6.0)
    assert ("soft face", "carbon") in inboard.settings
    assert ("soft face", "carbon") not in outboard.settings
    assert ("service", "hot water") in outboard.settings


def test_outcomes_stand_in_the_order_of_their_days_and_the_last_counts(pair):
    assert [o.roots for o in pair[0].outcomes] == [("pipe strain",), ("shaft runout",)]
    assert pair[0].confirmed == Confirmed(
        ("shaft runout",), (), False, "A", "measurement", "2026-05-01", ("a straight shaft",)
    )


def test_the_other_seal_of_a_pair_came_out_sound(pair):
    assert [s.removal for s in pair] == ["failed", "sound"]
    assert pair[1].confirmed is None


def test_what_leads_is_first_and_what_is_unlikely_is_left_out(pair):
    for kind in ("cause", "mechanism"):
        kept = [v for v in pair[0].verdicts if v.kind == kind]
        assert kept[0] == pair[0].leading(kind)
        assert all(v.probability >= 0.01 for v in kept[1:])


@pytest.mark.parametrize(
    ("was", "wrong", "told"),
    [
        ("fitted: 2026-01-10", "fitted: 2026-13-01", "pair.yaml:8:41: '2026-13-01' is no date"),
        ("cost: 4200", "removal: gone", "pair.yaml:8:83: 'gone' is no end of a seal's time in service"),
        ("cost: 4200", "cost: -5", "pair.yaml:8:80: '-5' is not possible for 'cost'"),
    ],
)
def test_wrong_dates_ends_and_costs_are_told_at_their_place(whole_base, was, wrong, told):
    (problem,) = judge_one(Work("pair.yaml", PAIR.replace(was, wrong).encode()), whole_base, seals).problems
    assert problem.startswith(told)
