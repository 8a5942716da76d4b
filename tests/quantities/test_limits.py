"""A quantity against one published value, against several that differ, and with an uncertainty across them."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from diagnose.knowledge.model import Limit, LimitValue
from diagnose.quantities.limits import judge_limit, limits_on
from diagnose.quantities.model import Quantity

NUMBERS = st.floats(-100, 100)


def number(low, high, value="middle"):
    middle = (low + high) / 2 if value == "middle" else value
    return Quantity("q", "size", "seal", "", "", "", "", low, high, middle, "", "mm", "", (), "")


def limit(sense, *values):
    return Limit("limit", "size", sense, tuple(LimitValue(v, str(v), f"source {v}") for v in values))


@pytest.mark.parametrize(
    ("sense", "values", "low", "high", "verdict"),
    [
        ("at most", (1.0,), 0.5, 0.9, "inside"),
        ("at most", (1.0,), 1.0, 1.0, "inside"),
        ("at most", (1.0,), 1.1, 1.2, "outside"),
        ("at most", (1.0,), 0.9, 1.1, "undecided"),
        ("at most", (1.0, 2.0), 1.4, 1.6, "between published limits"),
        ("at most", (1.0, 2.0), 0.9, 1.6, "undecided"),
        ("at most", (1.0, 2.0), 1.4, 2.1, "undecided"),
        ("at most", (2.0, 1.0), 2.1, 2.2, "outside"),
        ("at least", (1.4, 1.5), 1.5, 1.6, "inside"),
        ("at least", (1.4, 1.5), 1.45, 1.45, "between published limits"),
        ("at least", (1.4, 1.5), 1.3, 1.35, "outside"),
        ("at least", (1.4, 1.5), 1.35, 1.45, "undecided"),
    ],
)
def test_verdicts(sense, values, low, high, verdict):
    assert judge_limit(number(low, high), limit(sense, *values)) == verdict


def test_a_quantity_without_a_value_is_undecided():
    assert judge_limit(number(0, 0, None), limit("at most", 1.0)) == "undecided"


@given(NUMBERS, NUMBERS, NUMBERS, NUMBERS)
def test_at_least_is_at_most_seen_in_a_mirror(a, b, first, second):
    low, high = sorted((a, b))
    assert judge_limit(number(low, high), limit("at most", first, second)) == judge_limit(
        number(-high, -low), limit("at least", -first, -second)
    )


@given(NUMBERS, NUMBERS, NUMBERS, NUMBERS, st.floats(0, 10))
def test_more_uncertainty_never_turns_a_verdict_round(a, b, first, second, more):
    low, high = sorted((a, b))
    narrow = judge_limit(number(low, high), limit("at most", first, second))
    wide = judge_limit(number(low - more, high + more), limit("at most", first, second))
    assert wide in (narrow, "undecided")


def test_limits_on_a_quantity(knowledge):
    q = Quantity("q", "axial float", "machine", "", "", "", "", 0.2e-3, 0.2e-3, 0.2e-3, "", "mm", "", (), "")
    assert [(found.name, verdict) for found, verdict in limits_on(q, dict(knowledge.limits))] == [
        ("axial float", "between published limits"),
    ]


def test_every_published_value_of_a_limit_names_its_source(knowledge):
    for found in knowledge.limits.values():
        for value in found.values:
            assert value.source in knowledge.sources and value.note, found.name
