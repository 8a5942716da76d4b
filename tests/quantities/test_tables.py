"""Number tables that do not fit their shape: each mistake with its place."""

from __future__ import annotations

import pytest

from diagnose.knowledge.tables import SHAPES, read_tables
from diagnose.reading.located import read_text
from diagnose.reading.problems import BadInput, Problems

SOURCES = {"api-682"}


def mistakes(stem: str, text: str) -> list[str]:
    problems = Problems()
    node = read_text(text.encode(), f"tables/{stem}.yaml", problems)
    read_tables({f"tables/{stem}.yaml": node}, SOURCES, problems)
    return [str(p) for p in problems.sorted()]


@pytest.mark.parametrize(
    ("stem", "text", "said"),
    [
        ("machine", "design life: {at: 25000 h, source: api-682}", ""),
        ("machine", "design life: {at: 25000 mm, source: api-682}", "1:19: '25000 mm' is in the wrong kind of unit"),
        (
            "machine",
            "design life: {at: 25000 h, source: api-628}",
            "1:36: there is no source 'api-628' (did you mean: api-682?)",
        ),
        ("machine", "design life: {at: 25000 h}", "lacks the key 'source'"),
        (
            "machine",
            "design live: {at: 25000 h, source: api-682}",
            "has no key 'design live' (did you mean: design life?)",
        ),
        ("machine", "design life: 25000 h", "is a mapping of keys"),
        ("machin", "a: b", "no formula reads a table 'machin' (did you mean: machine?)"),
        (
            "kinematics",
            "track: {significant: 0.1 mm, rows: none}\npins: {by group: {rotating: a, stationary: b}, rows: [{arrangement: c, normal: ''}]}",
            "'rows' takes a list of values",
        ),
        (
            "kinematics",
            "track: {significant: 0.1 mm, rows: [{nose: a, width: b, shift: c, says: [d]}]}\npins: {by group: {rotating: a, stationary: b}, rows: [{arrangement: c, normal: d}]}",
            "'says' takes one value",
        ),
        (
            "outliers",
            "grubbs: {source: api-682, 5 % two-sided: {3: large}, 5 % one-sided: {3: 1}}\ndixon: {source: api-682, 10 % two-sided: {3: 1}, 5 % two-sided: {3: 1}, 1 % two-sided: {3: 1}}",
            "'3' must be a number, not 'large'",
        ),
        (
            "outliers",
            "grubbs: {source: api-682, 5 % two-sided: {three: 1}, 5 % one-sided: {3: 1}}\ndixon: {source: api-682, 10 % two-sided: {3: 1}, 5 % two-sided: {3: 1}, 1 % two-sided: {3: 1}}",
            "must be a number, not 'three'",
        ),
    ],
)
def test_a_table_that_does_not_fit(stem, text, said):
    found = mistakes(stem, text)
    assert (found == []) if not said else any(said in f for f in found), found


def test_every_table_that_ships_is_read_by_a_formula(knowledge):
    assert set(knowledge.tables) == set(SHAPES)


def test_a_case_that_needs_a_missing_table_is_told_which(knowledge, case_of):
    from diagnose.quantities.compute import compute
    from diagnose.reading.entry import replace

    case = case_of("service: {fluid: water, temperature: 80 °C, chamber pressure: 3 bar a}")
    with pytest.raises(BadInput, match=r"tables/fluids\.yaml.*needs this table"):
        compute(case, replace(knowledge, tables={}))
