"""Judgement against exact inference: enumeration over all sets, pgmpy, and worked networks."""

from __future__ import annotations

import itertools
import math
import warnings
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from diagnose.inference.run import load
from diagnose.judgement.network import Network, build, over_sets, posterior, shown_by_sets, subsets


def network(prior, background, shown):
    prior, background, shown = (np.array(x, float) for x in (prior, background, shown))
    causes = tuple(f"c{i}" for i in range(len(prior)))
    findings = tuple(f"f{i}" for i in range(len(background)))
    return Network(causes, findings, prior, background, shown)


def by_hand(net, states, prior, most):
    """P(set | findings) by the formulas of the design, in plain Python."""
    weight = {}
    for size in range(most + 1):
        for chosen in itertools.combinations(range(len(net.causes)), size):
            p = math.prod(prior[i] if i in chosen else 1 - prior[i] for i in range(len(net.causes)))
            for name, present in states.items():
                f = net.findings.index(name)
                b = net.background[f]
                on = 1 - (1 - b) * math.prod((1 - net.shown[f, c]) / (1 - b) for c in chosen if net.shown[f, c] >= b)
                on *= math.prod(net.shown[f, c] / b for c in chosen if net.shown[f, c] < b)
                p *= on if present else 1 - on
            weight[chosen] = p
    total = sum(weight.values())
    return {s: w / total for s, w in weight.items()}


rates = st.floats(0.002, 0.98)


@st.composite
def cases(draw, most_causes=6):
    n, m = draw(st.integers(1, most_causes)), draw(st.integers(1, 6))
    prior = draw(st.lists(st.floats(0.001, 0.4), min_size=n, max_size=n))
    background = draw(st.lists(st.floats(0.002, 0.6), min_size=m, max_size=m))
    shown = [[draw(st.one_of(st.just(b), rates)) for _ in range(n)] for b in background]
    states = {f"f{i}": draw(st.booleans()) for i in range(m) if draw(st.booleans())}
    return network(prior, background, shown), states


@given(cases())
@settings(max_examples=150, deadline=None)
def test_posterior_equals_the_sum_over_all_sets(case):
    net, states = case
    found = posterior(net, states, net.prior, range(len(net.causes)))
    truth = by_hand(net, states, net.prior, 3)
    for i, cause in enumerate(net.causes):
        expected = sum(p for s, p in truth.items() if i in s)
        assert found.share[i] == pytest.approx(expected, abs=1e-9), cause
    assert found.none == pytest.approx(truth[()], abs=1e-9)
    for i in range(len(found.sets)):
        chosen = tuple(int(found.active[k]) for k in found.sets[i] if k < len(found.active))
        assert found.exactly[i] == pytest.approx(truth[tuple(sorted(chosen))], abs=1e-9)


# with more than three causes the sets left out compete and the property holds only nearly
@given(cases(most_causes=3))
@settings(max_examples=100, deadline=None)
def test_a_lone_present_finding_never_lowers_its_cause_and_a_lone_absent_one_never_raises_it(case):
    net, _ = case
    nothing = posterior(net, {}, net.prior, range(len(net.causes))).share
    for f, finding in enumerate(net.findings):
        for present in (True, False):
            share = posterior(net, {finding: present}, net.prior, range(len(net.causes))).share
            for c in range(len(net.causes)):
                if net.shown[f, c] > net.background[f]:
                    change = share[c] - nothing[c]
                    assert change >= -1e-9 if present else change <= 1e-9


def test_one_cause_alone_gives_back_the_word_on_its_card():
    net = network([0.2], [0.05, 0.3], [[0.8], [0.01]])
    for f, p in (("f0", 0.8), ("f1", 0.01)):
        found = posterior(net, {f: True}, net.prior, [0])
        odds = found.exactly[1] / found.exactly[0]
        assert odds == pytest.approx(0.25 * p / net.background[net.row[f]])


def test_worked_three_cause_network():
    """Two-layer noisy-OR network worked twice, by enumeration and by quickscore (Heckerman 1989), figures computed."""
    leak = [0.01, 0.02, 0.05, 0.01]
    strength = [[0.8, 0.6, 0], [0, 0.9, 0.4], [0.5, 0, 0.3], [0, 0.7, 0]]
    shown = [[1 - (1 - b) * (1 - q) for q in row] for b, row in zip(leak, strength, strict=True)]
    net = network([0.10, 0.05, 0.20], leak, shown)
    table = {
        ("", "3"): (0.1000, 0.0155, 0.2000),
        ("0", ""): (0.6934, 0.2728, 0.2000),
        ("01", ""): (0.3137, 0.7762, 0.3480),
        ("01", "3"): (0.5145, 0.5099, 0.5159),
        ("012", "3"): (0.8402, 0.2288, 0.7774),
    }
    for (present, absent), expected in table.items():
        states = {f"f{i}": True for i in present} | {f"f{i}": False for i in absent}
        found = posterior(net, states, net.prior, [0, 1, 2])
        assert np.round(found.share, 4).tolist() == pytest.approx(expected, abs=6e-5)


def test_explaining_away():
    """Two causes of one effect: .3748 given the effect, .1388 when the other cause is certain (computed)."""
    net = network([0.1, 0.1], [0.1], [[1 - 0.9 * 0.2, 1 - 0.9 * 0.4]])
    found = posterior(net, {"f0": True}, net.prior, [0, 1])
    assert found.share[0] == pytest.approx(0.3748, abs=5e-5)
    both, second = found.exactly[3], found.share[1]
    assert both / second == pytest.approx(0.1388, abs=5e-5)
    absent = posterior(net, {"f0": False}, net.prior, [0, 1])
    assert absent.exactly[3] / absent.share[1] == pytest.approx(absent.share[0], abs=1e-9)


@pytest.mark.slow
def test_against_pgmpy():
    """Exact inference by a general-purpose library on the same small networks, producing and preventing rows."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        from pgmpy.factors.discrete import TabularCPD
        from pgmpy.inference import VariableElimination
        from pgmpy.models import DiscreteBayesianNetwork

    rng = np.random.default_rng(11)
    for _ in range(6):
        n, m = 3, 4
        prior = rng.uniform(0.02, 0.3, n)
        background = rng.uniform(0.02, 0.5, m)
        shown = np.where(rng.random((m, n)) < 0.3, background[:, None], rng.uniform(0.01, 0.97, (m, n)))
        net = network(prior, background, shown)
        model = DiscreteBayesianNetwork([(c, f) for c in net.causes for f in net.findings])
        cpds = [TabularCPD(c, 2, [[1 - p], [p]]) for c, p in zip(net.causes, prior, strict=True)]
        for f in range(m):
            on = []
            for chosen in itertools.product((0, 1), repeat=n):
                b = background[f]
                p = 1 - (1 - b) * math.prod(
                    (1 - shown[f, c]) / (1 - b) for c in range(n) if chosen[c] and shown[f, c] >= b
                )
                p *= math.prod(shown[f, c] / b for c in range(n) if chosen[c] and shown[f, c] < b)
                on.append(p)
            cpds.append(TabularCPD(net.findings[f], 2, [[1 - p for p in on], on], list(net.causes), [2] * n))
        model.add_cpds(*cpds)
        states = {f: bool(rng.integers(2)) for f in net.findings[:3]}
        exact = VariableElimination(model)
        found = posterior(net, states, prior, range(n))
        for i, cause in enumerate(net.causes):
            answer = exact.query([cause], evidence={f: int(s) for f, s in states.items()}, show_progress=False)
            assert found.share[i] == pytest.approx(answer.values[1], abs=1e-9)


def test_causes_that_no_finding_speaks_of_keep_their_prior_odds():
    net = network([0.1, 0.2, 0.05, 0.3], [0.05], [[0.9, 0.05, 0.05, 0.05]])
    alone = posterior(net, {"f0": True}, net.prior, range(4))
    truth = by_hand(net, {"f0": True}, net.prior, 3)
    assert len(alone.active) == 1
    assert alone.share.tolist() == pytest.approx([sum(p for s, p in truth.items() if i in s) for i in range(4)])


@pytest.mark.parametrize("n", [0, 1, 2, 3, 7])
def test_subsets_are_all_sets_of_at_most_three(n):
    every = [c for size in range(4) for c in itertools.combinations(range(n), size)]
    assert subsets(n).tolist() == [[*c, *[n] * (3 - len(c))] for c in every]


def test_a_cause_that_is_not_allowed_has_no_share():
    net = network([0.1, 0.2], [0.05], [[0.9, 0.8]])
    found = posterior(net, {"f0": True}, net.prior, [1])
    assert found.share[0] == 0 and found.share[1] > 0.5


def test_what_a_set_shows_is_what_its_members_leave():
    net = network(
        [0.1] * 4, [0.05, 0.3, 0.2, 0.5],
        [[0.8, 0.05, 0.6, 0.4], [0.01, 0.5, 0.3, 0.1], [0.7, 0.3, 0.2, 0.9], [0.1, 0.2, 0.3, 0.05]],
    )  # fmt: skip
    sets = subsets(4)
    assert over_sets(np.array([[2.0, 3.0, 5.0, 7.0]]), sets)[0].tolist() == [
        math.prod((2, 3, 5, 7)[k] for k in row if k < 4) for row in sets.tolist()
    ]
    shown = shown_by_sets(net.background, net.keep, net.hold, sets)
    for i, row in enumerate(sets.tolist()):
        for f, b in enumerate(net.background):
            alone = [float(net.shown[f, k]) for k in row if k < 4]
            expected = 1 - (1 - b) * math.prod((1 - p) / (1 - b) for p in alone if p >= b)
            assert shown[f, i] == pytest.approx(expected * math.prod(p / b for p in alone if p < b))


@pytest.mark.parametrize("which", ["neither", "cause", "finding"])
def test_rows_on_trial_count_for_part_of_their_weight(which):
    knowledge = load(Path(__file__).parents[1] / "small" / "knowledge").knowledge
    cause, finding = knowledge.causes["bent shaft"], knowledge.findings["shaft moves"]
    knowledge = replace(
        knowledge,
        causes={**knowledge.causes, "bent shaft": replace(cause, status="trial" if which == "cause" else "accepted")},
        findings={**knowledge.findings, "shaft moves": replace(finding, status="trial" if which == "finding" else "accepted")},
    )  # fmt: skip
    net = build(knowledge)
    shown = net.shown[net.row["shaft moves"], net.column["bent shaft"]]
    assert shown == pytest.approx(0.98 if which == "neither" else 0.05 * (0.98 / 0.05) ** 0.5)
    assert net.shown[net.row["hot and hard"]].tolist() == [0.05] * len(net.causes)
