"""What several findings and several pieces of work tell together, against enumeration, draws and exhaustive choice."""

from __future__ import annotations

import itertools
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from diagnose.advice.information import binary_entropy, entropy, gain, together, with_unknown
from diagnose.advice.outlook import Belief, Outlook, outlook
from diagnose.advice.valuation import Job, Valuation
from diagnose.judgement.posterior import posterior
from tests.judgement.networks import evidence, network
from tests.support.places import mostly_slow


def drawn(seed: int, findings: int, sets: int = 12, silent: float = 0.0) -> Outlook:
    draw = np.random.default_rng(seed)
    weight = draw.dirichlet(np.ones(sets))
    shown = np.clip(draw.beta(0.4, 0.8, size=(findings, sets)), 0.01, 0.99)
    names = tuple(f"f{i}" for i in range(findings))
    quiet = np.full(findings, silent)
    bits = (binary_entropy(shown @ weight) - binary_entropy(shown) @ weight) * (1 - quiet)
    return Outlook(SimpleNamespace(weight=weight), names, shown, binary_entropy(shown), quiet, bits, bits)


@pytest.mark.parametrize("seed", range(10))
def test_three_findings_are_reckoned_exactly_with_what_cannot_be_told(seed):
    seen = drawn(seed, 3, silent=0.1)
    told = Valuation([seen], [Job("all", 5.0, (seen.findings,))]).gain(0)
    every = together([with_unknown(seen.shown[[i]], seen.silent[[i]]) for i in range(3)])[0]
    assert told == pytest.approx(float(gain(seen.belief.weight, every)), abs=1e-9)


def test_what_findings_count_is_taken_at_the_share_that_they_keep_together():
    seen = drawn(1, 2)
    told = Valuation([seen], [Job("both", 5.0, (seen.findings,))]).gain(0)
    half = replace(seen, bits=seen.bits * [1.0, 0.5])
    counted = Valuation([half], [Job("both", 5.0, (seen.findings,))]).gain(0)
    assert told < seen.bits.sum() and counted / told == pytest.approx(half.bits.sum() / seen.bits.sum())


def test_marks_of_one_mechanism_tell_once():
    """Two marks of one mechanism on two jobs: the second job adds far less once the first is taken on; a mark of another
    mechanism of the same weight keeps more."""
    net = network(3, 2, 3, prior=0.2)
    net.to_mechanism.inhibition[:] = [[0.1, 1.0, 1.0], [1.0, 0.1, 1.0]]
    net.marks.inhibition[:] = [[0.05, 1.0], [0.05, 1.0], [1.0, 0.05]]
    seen = outlook(Belief(posterior(net, evidence(net, {}), every_set=True)), net.findings, lambda _: 0.0)
    assert seen.bits == pytest.approx([seen.bits[0]] * 3)
    alone, *after = [Valuation([seen], [Job(f, 5.0, ((f,),)) for f in net.findings]) for _ in range(3)]
    for valuation in after:
        valuation.take(0)
    assert after[0].gain(1) < 0.7 * alone.gain(1) and after[0].gain(2) > 0.9 * alone.gain(2)


def by_draws(seen: Outlook, rows: list[int], draws: int = 4000) -> float:
    draw = np.random.default_rng(5)
    weight = seen.belief.weight
    truth = draw.choice(len(weight), draws, p=weight)
    there = draw.random((draws, len(rows))) < seen.shown[rows][:, truth].T
    said = there @ np.log(seen.shown[rows]) + ~there @ np.log1p(-seen.shown[rows]) + np.log(weight)
    after = np.exp(said - said.max(axis=1, keepdims=True))
    return float(entropy(weight) - entropy(after / after.sum(axis=1, keepdims=True)).mean())


@pytest.mark.parametrize("name", mostly_slow(["condensate-pump-dry-start", "thin-record", "slurry-pump-two-causes"], 1))
def test_large_bundles_are_valued_as_draws_of_whole_outcomes_value_them(name, judged):
    case = judged(name)
    (judgement,) = case.judgements
    knowledge = case.base.knowledge
    unknown = [f for f in case.net.findings if f not in judgement.states]
    seen = outlook(Belief(judgement.found), unknown, lambda _: 0.0)
    cards = [m for m in knowledge.measurements.values() if sum(f in seen.row for f in m.tells) > 3]
    valuation = Valuation([seen], [Job(m.name, m.minutes, (m.tells,)) for m in cards])
    off = []
    for i in range(len(cards)):
        rows = valuation.tables[0].open(i, set())
        ours = valuation.gain(i)
        if ours >= 0.15 and not seen.silent[rows].any():
            off.append(abs(ours / by_draws(seen, rows) - 1))
    assert len(off) > 8
    assert np.median(off) < 0.05 and max(off) < 0.35


@pytest.mark.parametrize("seed", range(6))
def test_together_no_more_than_is_open_and_no_more_than_apart(seed):
    seen = drawn(seed, 24, sets=30)
    jobs = [Job(str(i), 5.0, (seen.findings[3 * i : 3 * i + 3],)) for i in range(8)]
    valuation = Valuation([seen], jobs)
    alone = sum(valuation.gain(j) for j in range(8))
    assert valuation.total(range(8)) <= alone + 1e-9
    assert valuation.total(range(8)) <= 1.15 * float(entropy(seen.belief.weight))
    assert sum(bits for _, bits in valuation.in_order(0.0)) <= 1.15 * float(entropy(seen.belief.weight))


@pytest.mark.parametrize("seed", range(8))
def test_the_budget_is_spent_nearly_as_well_as_by_trying_every_set(seed):
    draw = np.random.default_rng(100 + seed)
    seen = drawn(seed, 16, sets=20)
    minutes = draw.choice([2, 5, 10, 15, 20], 8)
    jobs = [Job(str(i), float(minutes[i]), (seen.findings[2 * i : 2 * i + 2],)) for i in range(8)]
    valuation = Valuation([seen], jobs)
    for budget in (10, 25, 40):
        chosen = valuation.best_within(budget, 0.0)
        assert sum(jobs[j].minutes for j in chosen) <= budget
        fits = [s for r in range(9) for s in itertools.combinations(range(8), r)
                if sum(jobs[j].minutes for j in s) <= budget]  # fmt: skip
        best = max(valuation.total(s) for s in fits)
        assert valuation.total(chosen) >= 0.93 * best


def test_work_that_decides_the_same_findings_is_planned_once():
    seen = drawn(4, 3)
    jobs = [Job("dear", 20.0, (seen.findings,)), Job("cheap", 5.0, (seen.findings,))]
    assert [jobs[j].name for j, _ in Valuation([seen], jobs).in_order(0.01)] == ["cheap"]


def test_hundreds_of_unlikely_outcomes_together_leave_weights_that_sum_to_one(whole_network):
    belief = Belief(posterior(whole_network, evidence(whole_network, {})))
    unlikely = {f: belief.chance(f) < 0.5 for f in whole_network.findings}
    weight = belief.told(unlikely)
    assert weight.sum() == pytest.approx(1.0) and (weight >= 0).all()
