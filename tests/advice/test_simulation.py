"""Seals as they are drawn for tests/benchmarks/simulate_plan.py, which compares the plan with other orders."""

from __future__ import annotations

import numpy as np
import pytest

from tests.advice.simulation import AT_START, Bench

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def bench(whole_base, whole_network):
    return Bench(whole_base.knowledge, whole_network, "before washing")


def test_seals_are_drawn_from_the_network(bench):
    net = bench.net
    seals = [bench.seal(seed) for seed in range(400)]
    none = np.prod(1 - net.prior)
    share = np.array([sum(i in s.causes for s in seals) for i in range(len(net.causes))]) / len(seals)
    assert np.abs(share - net.prior / (1 - none)).max() < 4 * np.sqrt(net.prior.max() / (1 - none) / len(seals))
    assert all(s.causes for s in seals)
    for s in seals[:50]:
        assert len(s.start) <= AT_START and all(s.there[net.row[f]] for f in s.start)
    by_hand = np.zeros(len(net.findings))
    for s in seals:
        members = np.zeros((1, len(net.causes)), bool)
        members[0, list(s.causes)] = True
        by_hand += net.read(net.expected(net.forward(members), members))[:, 0]
    seen = np.mean([s.there for s in seals], axis=0)
    assert np.abs(seen - by_hand / len(seals)).max() < 4.5 * 0.5 / np.sqrt(len(seals))


def test_the_checklist_follows_the_order_of_dismantling(bench):
    stages = bench.knowledge.vocabulary.stages
    order = [bench.cards[i].stage for i in bench.checklist()]
    staged = [stages.index(s) for s in order if s in stages]
    assert staged == sorted(staged) and len(order) == len(bench.cards)


def test_a_seal_is_drawn_the_same_every_time(bench):
    one, again = bench.seal(0), bench.seal(0)
    assert one.causes == again.causes and one.start == again.start and (one.there == again.there).all()
