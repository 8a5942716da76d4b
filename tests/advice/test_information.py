"""The planner's arithmetic against published worked examples, scipy and brute force."""

from __future__ import annotations

import itertools
import math
from types import SimpleNamespace

import numpy as np
import pytest
import scipy.stats
from hypothesis import given
from hypothesis import strategies as st

from diagnose.advice.information import binary_entropy, by_ratio, entropy, gain, together, with_unknown
from diagnose.advice.outlook import Outlook
from diagnose.advice.valuation import Job, Valuation


def normal(weights) -> np.ndarray:
    return np.array(weights) / np.sum(weights)


def probes(weight: np.ndarray, shown: dict[str, list[float]]) -> Outlook:
    """Alternatives and probes given to the planner as if they were ways and findings."""
    rows = np.array(list(shown.values()))
    bits = binary_entropy(rows @ weight) - binary_entropy(rows) @ weight
    return Outlook(
        SimpleNamespace(weight=weight), tuple(shown), rows, binary_entropy(rows), np.zeros(len(rows)), bits, bits
    )


# ---- J. de Kleer and B. C. Williams, Diagnosing multiple faults, Artificial Intelligence 32 (1987), 97-130 ------------
# The circuits are recalled from memory, the numbers are worked out here from the definitions by enumeration.


def polybox_candidates() -> tuple[np.ndarray, dict[str, list[float]]]:
    """Minimal diagnoses of three multipliers and two adders; inputs 3, 2, 2, 3, 3; F seen 10 and G seen 12.

    Found by trying every set of faulty parts: a set is a diagnosis where some values of X, Y and Z fit what is seen and
    every sound part. Failure prior 0.01 for each part.
    """
    a, b, c, d, e, f, g = 3, 2, 2, 3, 3, 10, 12
    parts = ("M1", "M2", "M3", "A1", "A2")
    fits: dict[frozenset[str], tuple[int, int, int]] = {}
    for size in range(len(parts) + 1):
        for bad in map(frozenset, itertools.combinations(parts, size)):
            if any(smaller < bad for smaller in fits):
                continue
            for x, y, z in itertools.product(range(13), repeat=3):
                sound = {"M1": x == a * c, "M2": y == b * d, "M3": z == c * e, "A1": f == x + y, "A2": g == y + z}
                if all(sound[p] for p in parts if p not in bad):
                    fits[bad] = (x, y, z)
                    break
    weight = normal([0.01 ** len(bad) * 0.99 ** (5 - len(bad)) for bad in fits])
    values = list(fits.values())
    expected = {"X": 6, "Y": 6, "Z": 6}
    shown = {name: [float(v[i] == expected[name]) for v in values] for i, name in enumerate(expected)}
    assert {frozenset(s) for s in fits} == {
        frozenset({"A1"}),
        frozenset({"M1"}),
        frozenset({"A2", "M2"}),
        frozenset({"M2", "M3"}),
    }
    return weight, shown


def test_polybox_the_best_probe_is_x():
    weight, shown = polybox_candidates()
    assert float(entropy(weight)) == pytest.approx(1.0808, abs=5e-5)
    told = {name: float(gain(weight, np.array([row, 1 - np.array(row)]))) for name, row in shown.items()}
    assert told == pytest.approx({"X": 0.9999, "Y": 0.0808, "Z": 0.0454}, abs=5e-5)
    jobs = [Job(name, 1.0, ((name,),)) for name in shown]
    order = Valuation([probes(weight, shown)], jobs).in_order(1e-3)
    assert jobs[order[0][0]].name == "X" and order[0][1] == pytest.approx(0.9999, abs=5e-5)


INVERTERS = [
    ({}, 2.1221, (0.8038, 0.9900, 0.8038), "b"),
    ({"D": 0.05}, 1.6993, (0.5304, 0.7911, 0.9319), "c"),
    ({"A": 0.025}, 2.0027, (0.9808, 0.9318, 0.6745), "a"),
]


@pytest.mark.parametrize(("likelier", "now", "gains", "best"), INVERTERS)
def test_four_inverters_in_a_row(likelier, now, gains, best):
    """The best probe is the middle one, and moves toward a part that fails more often."""
    prior = {k: likelier.get(k, 0.01) for k in "ABCD"}
    faulty = [set(s) for r in range(1, 5) for s in itertools.combinations("ABCD", r)]
    weight = normal([math.prod(prior[k] if k in s else 1 - prior[k] for k in "ABCD") for s in faulty])

    def shown(s: set[str], at: int) -> float:
        """Whether the point after `at` inverters is true: as fed or as seen at the end where all between are sound."""
        if not s & set("ABCD"[:at]):
            return float(at % 2 == 0)
        return float(at % 2 == 1) if not s & set("ABCD"[at:]) else 0.5

    rows = {point: [shown(s, at) for s in faulty] for at, point in enumerate("abc", 1)}
    assert float(entropy(weight)) == pytest.approx(now, abs=5e-5)
    found = [float(gain(weight, np.array([r, 1 - np.array(r)]))) for r in rows.values()]
    assert found == pytest.approx(gains, abs=5e-5)
    jobs = [Job(point, 1.0, ((point,),)) for point in rows]
    assert jobs[Valuation([probes(weight, rows)], jobs).in_order(1e-3)[0][0]].name == best


def test_a_chain_of_four_suspects_with_and_without_costs():
    """Worked from the definition: probes after the first, second and third of four suspects."""
    split = np.array([[1, 0, 0, 0], [1, 1, 0, 0], [1, 1, 1, 0]], float)
    for weight, wanted in (([1, 1, 1, 1], (0.8113, 1.0, 0.8113)), ([1, 2, 3, 4], (0.4690, 0.8813, 0.9710))):
        told = [float(gain(normal(weight), np.array([row, 1 - row]))) for row in split]
        assert told == pytest.approx(wanted, abs=5e-5)
    assert by_ratio(told, [1, 4, 2]) == [2, 0, 1]


def test_a_test_that_errs():
    """Prior 0.3, sensitivity 0.9, specificity 0.8 (worked from Bayes' rule)."""
    assert float(gain(np.array([0.3, 0.7]), np.array([[0.9, 0.2], [0.1, 0.8]]))) == pytest.approx(0.3305, abs=5e-5)


# ---- scipy --------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("seed", range(20))
def test_entropy_and_mutual_information_as_scipy_has_them(seed):
    draw = np.random.default_rng(seed)
    weight = draw.dirichlet(np.ones(9))
    outcomes = draw.dirichlet(np.ones(4), size=9).T
    assert float(entropy(weight)) == pytest.approx(scipy.stats.entropy(weight, base=2), abs=1e-12)
    joint = outcomes * weight
    apart = scipy.stats.entropy(joint.sum(0), base=2) + scipy.stats.entropy(joint.sum(1), base=2)
    assert float(gain(weight, outcomes)) == pytest.approx(apart - scipy.stats.entropy(joint.ravel(), base=2), abs=1e-12)
    against = scipy.stats.entropy(joint.ravel(), np.outer(joint.sum(1), joint.sum(0)).ravel(), base=2)
    assert float(gain(weight, outcomes)) == pytest.approx(against, abs=1e-12)


@given(st.lists(st.floats(0.01, 1), min_size=2, max_size=6), st.integers(0, 2**32 - 1), st.integers(2, 5))
def test_a_gain_lies_between_nothing_and_what_is_open(weights, seed, outcomes):
    weight = normal(weights)
    table = np.random.default_rng(seed).dirichlet(np.ones(outcomes), size=len(weight)).T
    told = float(gain(weight, table))
    assert -1e-12 <= told <= min(float(entropy(weight)), math.log2(outcomes)) + 1e-9
    expected = sum(
        p * scipy.stats.entropy(row * weight / p, weight, base=2) for row, p in zip(table, table @ weight, strict=True)
    )
    assert told == pytest.approx(expected, abs=1e-9)


def test_what_cannot_be_told_tells_nothing():
    weight, shown = np.array([0.5, 0.5]), np.array([[0.9, 0.1]])
    whole = float(gain(weight, with_unknown(shown, np.zeros(1)))[0])
    assert float(gain(weight, with_unknown(shown, np.array([0.25])))[0]) == pytest.approx(0.75 * whole)
    assert float(gain(weight, with_unknown(shown, np.ones(1)))[0]) == pytest.approx(0.0, abs=1e-12)


def test_joint_outcomes_are_every_combination():
    draw = np.random.default_rng(3)
    one, other = (
        draw.dirichlet(np.ones(3), size=(1, 5)).swapaxes(1, 2),
        draw.dirichlet(np.ones(2), size=(1, 5)).swapaxes(1, 2),
    )
    joint = together([one, other])
    assert joint.shape == (1, 6, 5)
    for k, (i, j) in enumerate(itertools.product(range(3), range(2))):
        assert joint[0, k] == pytest.approx(one[0, i] * other[0, j])


# ---- J. B. Kadane and H. A. Simon 1977; D. Heckerman, J. Breese and K. Rommelse, CACM 38(3) 1995 (from memory) --------------


def expected_cost(order, p, cost, repair=None) -> float:
    """A single fault; each part is looked at in turn until it is found, then mended."""
    left, total = 1.0, 0.0
    for i in order:
        total += left * cost[i] + (p[i] * repair[i] if repair else 0.0)
        left -= p[i]
    return total


def test_probability_over_cost_is_the_cheapest_order_of_the_worked_case():
    p, cost = (0.5, 0.3, 0.2), (10, 3, 1)
    every = {o: round(expected_cost(o, p, cost), 4) for o in itertools.permutations(range(3))}
    assert every == {(0, 1, 2): 11.7, (0, 2, 1): 11.4, (1, 0, 2): 10.2, (1, 2, 0): 8.7, (2, 0, 1): 9.9, (2, 1, 0): 8.4}
    assert tuple(by_ratio(p, cost)) == (2, 1, 0) == min(every, key=every.__getitem__)
    mended = {o: expected_cost(o, p, cost, (40, 10, 5)) for o in every}
    assert {o: round(mended[o] - every[o], 9) for o in every} == dict.fromkeys(every, 24.0)


@given(st.lists(st.tuples(st.floats(0.01, 1), st.floats(0.1, 20)), min_size=1, max_size=6))
def test_probability_over_cost_is_never_beaten(parts):
    p, cost = normal([x for x, _ in parts]), [c for _, c in parts]
    ours = expected_cost(by_ratio(p.tolist(), cost), p, cost)
    best = min(expected_cost(o, p, cost) for o in itertools.permutations(range(len(parts))))
    assert ours == pytest.approx(best, rel=1e-9)
