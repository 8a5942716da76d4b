"""Lives against published figures and against two other libraries."""

from __future__ import annotations

import numpy as np
import pytest

from diagnose.library import life as l
from diagnose.library.seals import Verdict
from tests.library import site

MERCAPTOPURINE = ([6, 6, 6, 7, 10, 13, 16, 22, 23], [6, 9, 10, 11, 17, 19, 20, 25, 32, 32, 34, 35])
PLACEBO = ([1, 1, 2, 2, 3, 4, 4, 5, 5, 8, 8, 8, 8, 11, 11, 12, 12, 15, 17, 22, 23], [])
"""Weeks of remission, ended and not, of E. J. Freireich et al., Blood 21, 1963, as printed in example 11.1 of Introductory
Biostatistics (seen on a page of that book) and as the package lifelines ships them."""
HANDBOOK = ([54, 187, 216, 240, 244, 335, 361, 373, 375, 386], [500] * 10)
"""NIST/SEMATECH e-Handbook of Statistical Methods, section 8.4.1.3 (seen): hours, ten units removed running."""


def lives(times: tuple[list[int], list[int]], **more) -> list[l.Life]:
    plain = {"by_dates": False, "cause": "", "fitted": "", "tag": "", "batch": "", "id": 0, **more}
    return [l.Life(float(t), failed, **plain) for failed, some in zip((True, False), times, strict=True) for t in some]


def test_weibull_agrees_with_the_worked_example_of_the_handbook():
    found = l.group("", lives(HANDBOOK)).weibull
    # as printed there: characteristic life 606.5280, shape 1.7208
    assert found.scale == pytest.approx(606.528, abs=0.002)
    assert found.shape == pytest.approx(1.7208, abs=0.0001)


def test_medians_and_the_log_rank_test_agree_with_published_output_of_r():
    # survfit and survdiff of R's package survival, as printed on two pages of teaching notes (seen): medians 23 and 8,
    # chi-square 16.8 on one degree of freedom, p 4.17e-05
    one, other = lives(MERCAPTOPURINE), lives(PLACEBO)
    assert (l.group("", one).median[0], l.group("", other).median[0]) == (23.0, 8.0)
    assert l.log_rank(one, other) == pytest.approx(4.17e-5, abs=0.01e-5)


@pytest.mark.slow
def test_the_data_are_those_that_a_package_ships():
    from lifelines.datasets import load_leukemia

    shipped = load_leukemia()
    for treated, (ended, going) in ((0, MERCAPTOPURINE), (1, PLACEBO)):
        ours = sorted([(t, 1) for t in ended] + [(t, 0) for t in going])
        theirs = shipped[shipped.Rx == treated]
        assert sorted(zip(theirs.t, theirs.status, strict=True)) == ours


@pytest.mark.parametrize("times", [MERCAPTOPURINE, PLACEBO, HANDBOOK])
def test_kaplan_meier_and_its_band_agree_with_another_library(times):
    from lifelines import KaplanMeierFitter

    found = lives(times)
    curve = l.group("", found).curve
    theirs = KaplanMeierFitter().fit([x.hours for x in found], [x.failed for x in found])
    alive = theirs.survival_function_at_times(curve.hours).to_numpy()
    band = theirs.confidence_interval_.loc[curve.hours].to_numpy()
    assert curve.alive == pytest.approx(alive)
    inner = (alive > 0) & (alive < 1)
    assert curve.low[inner] == pytest.approx(band[inner, 0])
    assert curve.high[inner] == pytest.approx(band[inner, 1])


def test_standard_errors_behind_the_band_agree_with_a_third_library():
    from statsmodels.duration.survfunc import SurvfuncRight, survdiff

    found, other = lives(MERCAPTOPURINE), lives(PLACEBO)
    theirs = SurvfuncRight([x.hours for x in found], [int(x.failed) for x in found])
    curve = l.group("", found).curve
    at = np.searchsorted(curve.hours, theirs.surv_times)
    assert curve.alive[at] == pytest.approx(theirs.surv_prob)
    both = [*found, *other]
    statistic, p = survdiff([x.hours for x in both], [int(x.failed) for x in both], [0] * len(found) + [1] * len(other))
    assert l.log_rank(found, other) == pytest.approx(p)
    assert statistic == pytest.approx(16.79, abs=0.01)


@pytest.mark.parametrize("times", [MERCAPTOPURINE, PLACEBO, HANDBOOK])
def test_weibull_and_its_standard_errors_agree_with_another_library(times):
    from lifelines import WeibullFitter

    found = lives(times)
    ours = l.group("", found).weibull
    theirs = WeibullFitter().fit([x.hours for x in found], [x.failed for x in found]).summary
    for name, value, interval in (
        ("lambda_", ours.scale, ours.scale_interval),
        ("rho_", ours.shape, ours.shape_interval),
    ):
        assert value == pytest.approx(theirs.loc[name, "coef"], rel=1e-4)
        # theirs is symmetric in the parameter, ours in its logarithm: the same error to first order
        error = np.log(interval[1] / interval[0]) / (2 * 1.959964) * value
        assert error == pytest.approx(theirs.loc[name, "se(coef)"], rel=1e-3)


def test_few_failures_give_no_life():
    few = l.group("", lives(([10, 20, 30, 40], [50] * 100)))
    assert (few.failed, few.curve, few.weibull, few.median) == (4, None, None, (None, None, None))
    assert l.log_rank(lives(([10, 20, 30, 40], [])), lives(PLACEBO)) is None


def test_a_seal_that_still_runs_lives_to_the_last_date_on_record(shelf):
    store = shelf(
        site.seal(hours=None, fitted="2025-01-01", removed="2025-01-11"),
        site.seal(hours=None, fitted="2025-01-01", removal="still running"),
        site.seal(hours=50.0, removal="sound"), site.seal(hours=None), site.seal(hours=None, fitted="2025-01-05"),
    )  # fmt: skip
    assert [(x.hours, x.failed, x.by_dates) for x in l.lives(store)] == [
        (240, True, True),
        (240, False, True),
        (50, False, False),
    ]


def test_for_one_cause_seals_that_failed_of_another_count_as_taken_out(shelf):
    unsure = (Verdict("cause", "a", "possible", 0.3),)
    store = shelf(
        site.seal(hours=10.0, outcomes=(site.confirmed("a"),)), site.seal(hours=20.0, outcomes=(site.confirmed("b"),)),
        site.seal(hours=30.0, removal="sound"), site.seal(hours=40.0, verdicts=unsure),
    )  # fmt: skip
    groups = l.by_cause(l.lives(store), 9)
    assert {c: [x.failed for x in found] for c, found in groups.items()} == {
        "a": [True, False, False, False], "b": [False, True, False, False], "not known": [False, False, False, True],
    }  # fmt: skip
    assert list(l.by_cause(l.lives(store), 1)) == ["a"]


def test_groups_are_by_machine_batch_or_setting(shelf):
    store = shelf(
        site.seal(tag="P-1", batch="B1", settings=(("service", "clean"), ("service", "water"))),
        site.seal(tag="P-2", settings=(("service", "water"),)),
    )  # fmt: skip
    found = l.lives(store)
    sizes = {by: {g: len(x) for g, x in l.grouped(store, found, by).items()} for by in ("tag", "batch", "service")}
    assert sizes == {"tag": {"P-1": 1, "P-2": 1}, "batch": {"B1": 1}, "service": {"clean": 1, "water": 2}}


def test_a_change_parts_seals_by_the_day_they_were_fitted(shelf):
    store = shelf(site.seal(fitted="2025-03-01"), site.seal(fitted="2025-04"), site.seal())
    parts = l.parted(l.lives(store), "2025-04-01")
    assert {g: len(found) for g, found in parts.items()} == {"fitted before 2025-04-01": 1, "fitted from 2025-04-01": 1}


def test_failures_all_at_one_time_have_a_curve_and_no_weibull_line(shelf):
    alike = l.group("", lives(([100] * 6, [])))
    assert alike.median[0] == 100
    assert alike.weibull is None
    assert l.log_rank(lives(([100] * 6, [])), lives(([100] * 6, []))) is None


def test_many_groups_at_once_have_the_chances_that_the_test_of_two_groups_gives():
    rng = np.random.default_rng(3)
    groups = {
        str(i): lives((np.ceil(rng.exponential(30 + 9 * i, 40)).tolist(), np.ceil(rng.exponential(40, 15)).tolist()))
        for i in range(6)
    }
    groups = {g: [l.replace(x, id=100 * int(g) + i) for i, x in enumerate(found)] for g, found in groups.items()}
    at_once = l.against_the_others(groups | {"few": groups["0"][:4]})
    assert at_once.pop("few") is None
    for name, p in at_once.items():
        rest = [x for other, found in groups.items() if other != name for x in found]
        assert p == pytest.approx(l.log_rank(groups[name], rest))


def test_a_seal_in_two_groups_is_never_held_against_itself():
    both, one, other = (
        [l.replace(x, id=k + i) for i, x in enumerate(lives(([5, 9, 14, 20, 31, 33], [])))] for k in (0, 100, 200)
    )
    chances = l.against_the_others({"a": both + one, "b": both + other})
    assert chances["a"] == pytest.approx(l.log_rank(both + one, other))
