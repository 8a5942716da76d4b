"""What the plan saves, on a few drawn seals: pytest -o addopts= tests/benchmarks/test_simulated_plan.py. A seal takes the
plan about ten seconds of processor time, so this runs by hand."""

from __future__ import annotations

import pytest

from tests.advice.simulation import ORDERS, Bench

SEALS = 12


@pytest.fixture(scope="module")
def runs(whole_base, whole_network):
    bench = Bench(whole_base.knowledge, whole_network, "before washing")
    seals = [bench.seal(seed) for seed in range(SEALS)]
    return {order: [bench.run(seal, order) for seal in seals] for order in ORDERS}


def test_the_plan_needs_at_most_three_fifths_of_the_minutes_of_the_checklist(runs):
    minutes = {order: sum(r.minutes for r in rs) for order, rs in runs.items()}
    right = {order: sum(r.right for r in rs) for order, rs in runs.items()}
    assert minutes["plan"] <= 0.6 * minutes["checklist"]
    assert minutes["plan"] <= 0.6 * minutes["random"]
    assert right["plan"] >= right["checklist"] - 1 and right["plan"] >= 0.8 * SEALS


def test_a_seal_is_taken_apart_by_the_plan_the_same_every_time(whole_base, whole_network):
    bench = Bench(whole_base.knowledge, whole_network, "before washing")
    run = bench.run(bench.seal(0), "plan")
    assert run == bench.run(bench.seal(0), "plan") and run.works
