"""What several findings and several pieces of work tell together, against enumeration, draws and exhaustive choice."""

from __future__ import annotations

import itertools
from types import SimpleNamespace

import numpy as np
import pytest

from diagnose.advice.information import doubt, entropy, gain, together, with_unknown
from diagnose.advice.outlook import MOST_CAUSES, Belief, Outlook, outlook
from diagnose.advice.valuation import Job, Valuation
from diagnose.judgement.judge import priors_at


def drawn(seed: int, findings: int, sets: int = 12, silent: float = 0.0, lines: int = 0) -> Outlook:
    draw = np.random.default_rng(seed)
    weight = draw.dirichlet(np.ones(sets))
    shown = np.clip(draw.beta(0.4, 0.8, size=(findings, sets)), 0.01, 0.99)
    names = tuple(f"f{i}" for i in range(findings))
    belief = SimpleNamespace(weight=weight, lines={n: f"l{i % lines}" if lines else n for i, n in enumerate(names)})
    quiet = np.full(findings, silent)
    bits = (doubt(shown @ weight) - doubt(shown) @ weight) * (1 - quiet)
    return Outlook(belief, names, shown, doubt(shown), quiet, bits)


@pytest.mark.parametrize("seed", range(10))
def test_three_findings_are_reckoned_exactly_with_what_cannot_be_told(seed):
    seen = drawn(seed, 3, silent=0.1)
    told = Valuation([seen], [Job("all", 5.0, (seen.findings,))]).gain(0)
    every = together([with_unknown(seen.shown[[i]], seen.silent[[i]]) for i in range(3)])[0]
    assert told == pytest.approx(float(gain(seen.belief.weight, every)), abs=1e-9)


def test_findings_of_one_line_count_once():
    seen = drawn(1, 4, lines=1)
    told = Valuation([seen], [Job("all", 5.0, (seen.findings,))]).gain(0)
    assert told == pytest.approx(float(seen.bits.max()))


def by_draws(seen: Outlook, rows: list[int], draws: int = 4000) -> float:
    draw = np.random.default_rng(5)
    weight = seen.belief.weight
    truth = draw.choice(len(weight), draws, p=weight)
    there = draw.random((draws, len(rows))) < seen.shown[rows][:, truth].T
    said = there @ np.log(seen.shown[rows]) + ~there @ np.log1p(-seen.shown[rows]) + np.log(weight)
    after = np.exp(said - said.max(axis=1, keepdims=True))
    return float(entropy(weight) - entropy(after / after.sum(axis=1, keepdims=True)).mean())


@pytest.mark.parametrize("name", ["thin-record", "condensate-pump-dry-start", "slurry-pump-two-causes"])
@pytest.mark.slow
def test_large_bundles_are_valued_as_draws_of_whole_outcomes_value_them(name, judged):
    case = judged(name)
    (judgement,) = case.judgements
    knowledge, net = case.base.knowledge, case.net
    likely = [net.column[j.cause] for j in judgement.causes if j.standing != "ruled out"][:MOST_CAUSES]
    lines = {n: f.line for n, f in knowledge.findings.items()}
    belief = Belief(
        net, likely, priors_at(case.inference, net, judgement.position), judgement.counted, lines
    ).heaviest()
    unknown = [f for f in net.findings if f not in case.inference.findings[judgement.position]]
    seen = outlook(belief, unknown, lambda _: 0.0)
    cards = [m for m in knowledge.measurements.values() if sum(f in seen.row for f in m.tells) > 3]
    valuation = Valuation([seen], [Job(m.name, m.minutes, (m.tells,)) for m in cards])
    off = []
    for i in range(len(cards)):
        rows = valuation.tables[0].one_a_line(i, set())
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
        fits = [
            s
            for r in range(9)
            for s in itertools.combinations(range(8), r)
            if sum(jobs[j].minutes for j in s) <= budget
        ]
        best = max(valuation.total(s) for s in fits)
        assert valuation.total(chosen) >= 0.93 * best


def test_work_that_decides_the_same_findings_is_planned_once():
    seen = drawn(4, 3)
    jobs = [Job("dear", 20.0, (seen.findings,)), Job("cheap", 5.0, (seen.findings,))]
    assert [jobs[j].name for j, _ in Valuation([seen], jobs).in_order(0.01)] == ["cheap"]
