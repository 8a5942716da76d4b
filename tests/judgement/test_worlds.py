"""Ways in which things may stand, against sums over every set, every state of the mechanisms and every finding."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
import scipy.stats

from diagnose.advice.outlook import Belief, outlook
from diagnose.judgement import worlds as module
from diagnose.judgement.network import Network
from diagnose.judgement.posterior import posterior
from diagnose.judgement.worlds import worlds
from tests.judgement.networks import by_hand, drawn, evidence, network


def joint(net: Network, states: dict[str, bool], off=()) -> dict[tuple, float]:
    """P(set and states of the mechanisms | evidence), one factor at a time."""
    found = {}
    for members in (s for k in range(4) for s in itertools.combinations(range(len(net.causes)), k)):
        for on in itertools.product((0, 1), repeat=len(net.mechanisms)):
            if any(on[m] for m in off):
                continue
            p = math.prod(net.prior[c] / (1 - net.prior[c]) for c in members)
            for m, there in enumerate(on):
                rest = (1 - net.leak[m]) * math.prod(net.to_mechanism.inhibition[m, c] for c in members)
                rest *= math.prod(net.between.inhibition[m, o] for o, at_work in enumerate(on) if at_work)
                p *= (1 - rest if there else rest) if m not in off else 1.0
            for f, there in states.items():
                read = rate(net, f, members, on)
                p *= read if there else 1 - read
            found[members, on] = p
    whole = sum(found.values())
    return {way: p / whole for way, p in found.items()}


def rate(net: Network, finding: str, members, on) -> float:
    """P(finding recorded as there | set, states)."""
    i, active = net.row[finding], [m for m, there in enumerate(on) if there]
    rest = (1 - net.background[i]) * math.prod(net.signs.inhibition[i, c] for c in members)
    rest *= math.prod(net.marks.inhibition[i, m] for m in active)
    held = math.prod(net.signs.suppression[i, c] for c in members) * math.prod(
        net.marks.suppression[i, m] for m in active
    )
    return float(net.mistaken[i] + (1 - net.missed[i] - net.mistaken[i]) * (1 - rest) * held)


def told(part: dict[tuple, float], net: Network, finding: str, by) -> float:
    """Mutual information in bits of a finding and what `by` makes of a way, by scipy's entropies."""
    table: dict[tuple, np.ndarray] = {}
    for way, p in part.items():
        there = rate(net, finding, *way)
        table[by(way)] = table.get(by(way), np.zeros(2)) + p * np.array([there, 1 - there])
    both = np.array([*table.values()])
    apart = scipy.stats.entropy(both.sum(0), base=2) + scipy.stats.entropy(both.sum(1), base=2)
    return float(apart - scipy.stats.entropy(both.ravel(), base=2))


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("off", [(), (1,)])
def test_on_small_networks_every_way_has_its_exact_probability(seed, off):
    net, states = drawn(seed)
    expected = joint(net, states, off)
    ways = worlds(posterior(net, evidence(net, states, off), every_set=True))
    found = {
        (tuple(np.flatnonzero(c).tolist()), tuple(int(x) for x in s)): w
        for c, s, w in zip(ways.members, ways.states, ways.weight.tolist(), strict=True)
    }
    assert set(found) <= set(expected) and ways.weight.sum() == pytest.approx(1, abs=1e-12)
    assert all(found.get(way, 0.0) == pytest.approx(p, abs=1e-12) for way, p in expected.items())


@pytest.mark.parametrize("seed", [0, 1, 3, 4, 5, 6])
def test_what_a_finding_tells_is_what_enumeration_says(seed):
    net, states = drawn(seed)
    states = {f: there for f, there in states.items() if f not in ("f0", "f3")}
    part = joint(net, states)
    belief = Belief(posterior(net, evidence(net, states), every_set=True))
    open_findings = [f for f in net.findings if f not in states]
    seen = outlook(belief, open_findings, lambda _: 0.25, mechanisms=0.2)
    assert open_findings and set(seen.findings) <= set(open_findings)
    for f in seen.findings:
        whole, causes = (told(part, net, f, by) for by in (lambda way: way, lambda way: way[0]))
        assert seen.whole[seen.row[f]] == pytest.approx(0.75 * whole, abs=1e-9)
        assert seen.bits[seen.row[f]] == pytest.approx(0.75 * (causes + 0.2 * (whole - causes)), rel=0.03, abs=1e-4)
        assert belief.chance(f) == pytest.approx(sum(p * rate(net, f, *way) for way, p in part.items()), abs=1e-9)


@pytest.mark.parametrize("seed", [0, 1, 3, 4, 5, 6])
def test_drawn_ways_keep_the_exact_marginals(seed, monkeypatch):
    net, states = drawn(seed, mechanisms=6)
    found = posterior(net, evidence(net, states), every_set=True)
    sets, mechanisms = by_hand(net, states)
    monkeypatch.setattr(module, "FEW", 0)
    ways = worlds(found)
    assert ways.weight.sum() == pytest.approx(1, abs=1e-9)
    assert np.abs(ways.weight @ ways.states - mechanisms).max() < 0.02
    shares = [sum(p for s, p in sets.items() if c in s) for c in range(len(net.causes))]
    assert np.abs(ways.weight @ ways.members - shares).max() < 0.02


def test_drawn_ways_are_the_same_for_the_same_record(monkeypatch):
    monkeypatch.setattr(module, "FEW", 0)
    net, states = drawn(3)
    one, other = (
        worlds(posterior(net, evidence(net, dict(reversed(told)))))
        for told in ([*states.items()], [*states.items()][::-1])
    )
    assert (one.states == other.states).all() and one.weight == pytest.approx(other.weight, abs=1e-12)


def test_marks_of_one_mechanism_tell_less_together_than_marks_of_two():
    """Two causes of two mechanisms each; the first two marks are of one mechanism, the third of another."""
    net = network(2, 2, 3, prior=0.2)
    net.to_mechanism.inhibition[:] = [[0.1, 1.0], [0.1, 1.0]]
    net.marks.inhibition[:] = [[0.1, 1.0], [0.1, 1.0], [1.0, 0.1]]
    belief = Belief(posterior(net, evidence(net, {}), every_set=True))
    one, again, other = ((belief.told({f: True}) @ belief.members)[0] for f in net.findings)
    assert one == pytest.approx(again) and one == pytest.approx(other)
    of_one, of_two = ((belief.told(dict.fromkeys(fs, True)) @ belief.members)[0] for fs in (("f0", "f1"), ("f0", "f2")))
    assert one < of_one < of_two
