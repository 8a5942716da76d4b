"""Springs of a case: spread, outliers, load, count, working length."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from diagnose.quantities import springs
from diagnose.quantities.limits import judge_limit

LENGTHS = [25.4, 25.3, 25.5, 25.4, 25.4, 23.9, 25.3, 25.5]


def spring_set(lengths, more="", head=""):
    return f"{head}\nparts: [{{item: 1, kind: multiple springs}}]\nmeasurements:\n  - {{part: 1, measured: free length, unit: mm, readings: {lengths}, resolution: 0.05 mm{more}}}\n"


def test_the_worked_set_of_eight(quantities_of, knowledge):
    """Worked set (arithmetic on Grubbs 1969 and Rorabacher 1991): z -10.1, Q 0.875 > 0.526, G 2.450 > 2.127, pocket 6 out."""
    found = quantities_of(spring_set(LENGTHS))
    outlier = found["spring outlier"]
    assert (outlier.word, outlier.value) == ("yes", pytest.approx(2.450, abs=0.001))
    assert "spring 6 is out of the set" in outlier.notes
    assert any("2.127" in n for n in outlier.notes) and any("-10.1" in n for n in outlier.notes)
    table = knowledge.tables["outliers"]
    dixon = springs.dixon(LENGTHS, springs.critical_values(table, "dixon", "5 % two-sided"))
    assert (dixon.statistic, dixon.critical, dixon.outlying, dixon.place) == (pytest.approx(0.875), 0.526, True, 5)
    assert found["spring length spread"].value == pytest.approx(1.6 / 25.4)


def test_labels_name_the_pocket(quantities_of):
    text = spring_set(LENGTHS, more=", labels: [a, b, c, d, e, f, g, h]")
    assert "spring f is out of the set" in quantities_of(text)["spring outlier"].notes


@pytest.mark.parametrize(
    ("lengths", "word"),
    [([25.4, 25.3, 25.5, 25.4, 25.4, 25.5, 25.3, 25.5], "no"), ([25.4, 25.4, 25.4, 25.4, 25.4, 25.42], "no")],
)
def test_a_sound_set_has_no_outlier(quantities_of, lengths, word):
    """The second set's odd one lies within the calliper's step, whatever the test says."""
    assert quantities_of(spring_set(lengths))["spring outlier"].word == word


def test_two_springs_are_too_few_for_a_test(quantities_of):
    found = quantities_of(spring_set([25.4, 23.9]))
    assert "too few springs" in found["spring outlier"].problem
    assert found["spring length spread"].value > 0.05


def test_six_springs_warn_that_the_test_flags_too_often(quantities_of):
    assert any("flags too often" in n for n in quantities_of(spring_set(LENGTHS[:6]))["spring outlier"].notes)


@given(st.lists(st.floats(20, 30), min_size=3, max_size=10, unique=True), st.floats(0.001, 1000), st.floats(-10, 10))
def test_outlier_tests_do_not_care_for_unit_or_datum(lengths, factor, shift):
    wide = dict.fromkeys(range(3, 11), 0.5)
    for test in (springs.grubbs, springs.dixon):
        before, after = test(lengths, wide), test([factor * x + factor * shift for x in lengths], wide)
        assert after.statistic == pytest.approx(before.statistic, rel=1e-6, abs=1e-6)


@given(st.permutations(LENGTHS))
def test_the_order_of_the_springs_does_not_matter(lengths):
    critical = {8: 2.127}
    assert springs.grubbs(lengths, critical).statistic == pytest.approx(2.450, abs=0.001)
    assert lengths[springs.grubbs(lengths, critical).place] == 23.9


def test_load_lost_at_the_working_length(quantities_of):
    head = "seal: {new free length: 26 mm, spring length when set: 20 mm}"
    found = quantities_of(spring_set([25.4, 25.4, 25.4], head=head))["spring load loss"]
    assert found.value == pytest.approx(0.1)
    measured = """
seal: {new spring load: 20 N}
measurements: [{on: multiple springs, measured: spring load, unit: N, readings: [16, 16, 16]}]
"""
    assert quantities_of(measured)["spring load loss"].value == pytest.approx(0.2)


def test_rate_of_wire_and_coil(quantities_of):
    """Textbook formula (from memory): d 1.0, D 6.0, n 8 gives 5.68 N/mm."""
    text = """
measurements:
  - {on: spring, measured: wire diameter, reading: 1.0 mm}
  - {on: spring, measured: coil diameter, reading: 6.0 mm}
  - {on: spring, measured: active coils, reading: "8"}
"""
    assert quantities_of(text)["spring rate"].value == pytest.approx(5680, abs=5)


@pytest.mark.parametrize(("found", "broken", "lost"), [(8, 0, 0), (7, 0, 1), (7, 2, 3)])
def test_missing_and_broken_springs(quantities_of, knowledge, found, broken, lost):
    text = f"""
seal: {{springs fitted: 8 springs}}
measurements:
  - {{on: multiple springs, measured: springs found, reading: {found} springs}}
  - {{on: multiple springs, measured: springs broken, reading: {broken} springs}}
"""
    q = quantities_of(text)["springs broken or missing"]
    assert q.value == lost
    assert judge_limit(q, knowledge.limits["missing springs"]) == ("outside" if lost else "inside")


def test_more_springs_than_belong_is_a_mistake(quantities_of):
    text = (
        "seal: {springs fitted: 8 springs}\nmeasurements: [{on: spring, measured: springs found, reading: 9 springs}]"
    )
    assert "more springs" in quantities_of(text)["springs broken or missing"].problem


@pytest.mark.parametrize(
    ("found", "verdict"), [("42.0 mm", "outside"), ("41.0 mm", "between published limits"), ("40.3 mm", "inside")]
)
def test_working_length_too_long(quantities_of, knowledge, found, verdict):
    text = f"seal: {{specified working length: 40 mm}}\nmeasurements: [{{on: fit, measured: working length, reading: {found}, resolution: 0.1 mm}}]"
    q = quantities_of(text)["working length error"]
    assert judge_limit(q, knowledge.limits["working length too long"]) == verdict


def test_one_weak_spring_among_many_is_not_lost_in_the_mean(quantities_of):
    """Five springs of 26 mm and one that lost 29 % of its load: the mean of the six lost 5 % (arithmetic)."""
    head = "seal: {new free length: 26 mm, spring length when set: 20 mm}"
    found = quantities_of(spring_set([26, 26, 26, 26, 26, 24.26], head=head))["spring load loss"]
    assert found.value == pytest.approx(0.29)
    assert any("5%" in note for note in found.notes)
