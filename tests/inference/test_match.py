"""Premises tried one by one agree with what the engine fires, on every case and on random rule bases."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from diagnose.casefile.reader import parse_case, read_case
from diagnose.evaluation.score import cases_in
from diagnose.inference.match import attempt, evaluate, facts_of
from diagnose.inference.rules import TooWide, compile_rules, expand
from diagnose.inference.run import Inference, RuleBase, deduce, infer, load
from diagnose.knowledge.conditions import negate
from diagnose.knowledge.model import Condition, Finding
from diagnose.reading.entry import replace
from diagnose.reading.problems import BadInput, Problems
from tests.support.places import mostly_slow

ROOT = Path(__file__).parents[2]
SMALL = ROOT / "tests" / "small"
CASES = [*cases_in(ROOT / "scenarios"), *cases_in(ROOT / "tests" / "published")]
BASE = load(SMALL / "knowledge")
DEGREES, SIDES, EXTENTS = ("light", "moderate", "severe"), ("outer edge", "inner edge"), ("all round", "one sector")


def disagreements(inference: Inference) -> list[str]:
    """Branches that fired and were not matched, or the other way round, or on other facts."""
    facts = facts_of(inference)
    fired = {(f.branch, f.position): f.supports for f in inference.firings}
    wrong = []
    for branch in inference.base.rules.branches:
        for position in inference.case.positions:
            trial = attempt(branch, facts, position)
            supports = fired.get((branch, position))
            if trial.fires != (supports is not None):
                wrong.append(f"{branch.name} at {position}: match {trial.fires}, engine {supports is not None}")
            elif supports and tuple(v.ids for v in trial.verdicts) != supports:
                wrong.append(f"{branch.name} at {position}: rests on other facts")
    return wrong


def case_of(text: str, base: RuleBase):
    problems = Problems()
    case = parse_case(text.encode(), "case.yaml", base.knowledge, problems)
    assert case and not problems.found, [str(p) for p in problems.found]
    return case


def test_the_small_case():
    inference = infer(read_case(SMALL / "case.yaml", BASE.knowledge), BASE)
    assert inference.firings
    assert disagreements(inference) == []


@pytest.mark.parametrize("path", mostly_slow(CASES, 8), ids=lambda p: p.stem)
def test_every_case_of_the_library(path, whole_base):
    assert disagreements(infer(read_case(path, whole_base.knowledge), whole_base)) == []


@pytest.mark.parametrize(
    ("test", "low", "holds"),
    [
        ("above", 0.02e-3, True),
        ("above", 0.055e-3, None),
        ("above", 0.08e-3, False),
        ("at least", 0.055e-3, None),
        ("below", 0.08e-3, True),
        ("below", 0.055e-3, None),
        ("below", 0.02e-3, False),
        ("at most", 0.055e-3, None),
    ],
)
def test_a_number_across_a_bound_is_unknown_and_not_false(test, low, holds):
    case = case_of("case: c\nmeasurements: [{on: shaft, measured: shaft runout, reading: 0.055 ± 0.01 mm}]", BASE)
    condition = Condition("quantity", "shaft runout", on="shaft", test=test, low=low)
    ((premise,),) = expand(condition, BASE.knowledge)
    verdict = evaluate(premise, facts_of(infer(case, BASE)), "seal")
    assert verdict.holds is holds and verdict.ids


def test_a_finding_told_is_a_fact_like_one_deduced():
    case = case_of("case: c\nseal: {arrangement: dual pressurised}\nobservations: [{on: shaft, saw: bent}]", BASE)
    facts = facts_of(deduce(case, BASE, (), {"ring hard@inboard": "absent"}))
    told, moves = (facts.get(("found", f), []) for f in ("ring hard", "shaft moves"))
    assert {(r["state"], r["position"], r["other"]) for r in told} == {("absent", "inboard", "outboard")}
    assert {(r["state"], r["position"]) for r in moves} == {("present", "inboard"), ("present", "outboard")}
    condition = Condition("found", "ring hard")
    ((premise,),) = expand(condition, BASE.knowledge)
    assert [evaluate(premise, facts, p).holds for p in ("inboard", "outboard")] == [False, None]


MARKS = """case: c
parts:
  - {item: 1, kind: hard face, group: stationary, index: top, seen from: driver end}
  - {item: 2, kind: flush port, index: top, seen from: driver end}
observations: [{part: 1, saw: wash mark, extent: at 4}, {part: 2, saw: port openingAT}]
"""


@pytest.mark.parametrize(
    ("at", "holds", "lacks"),
    [(", extent: at 4", True, False), (", extent: at 10", False, False), ("", None, True)],
)
def test_two_marks_are_where_they_should_be_or_elsewhere_or_their_place_is_lacking(at, holds, lacks):
    case = case_of(MARKS.replace("AT", at), BASE)
    ((premise,),) = expand(BASE.knowledge.findings["washed at the port"].when, BASE.knowledge)
    verdict = evaluate(premise, facts_of(infer(case, BASE)), "seal")
    assert verdict.holds is holds and bool(verdict.lack) == lacks
    (row,) = verdict.ids
    assert set(row.split("+")) == {o.id for o in case.observations}


@pytest.mark.parametrize(("chipped", "parts"), [(("1",), {"1"}), (("2",), None), (("1", "2"), {"1"})])
def test_what_must_share_a_part_counts_on_that_part_only(chipped, parts):
    both = Condition(
        "all", parts=tuple(Condition("saw", f, on="face", same_part=True) for f in ("radial cracks", "edge chips"))
    )
    base = small_base([both])
    chips = "".join(f", {{part: {p}, saw: edge chips}}" for p in chipped)
    text = f"case: c\nparts: [{{item: 1, kind: soft face}}, {{item: 2, kind: hard face}}]\nobservations: [{{part: 1, saw: radial cracks}}{chips}]"
    inference = infer(case_of(text, base), base)
    trial = attempt(base.rules.branches[0], facts_of(inference), "seal")
    assert trial.fires is trial.joined is bool(parts) is bool(inference.firings)
    assert all(v.holds for v in trial.verdicts)
    counted = {o.id for o in inference.case.observations if not parts or o.part in parts}
    assert {i for v in trial.verdicts for i in v.ids} == counted


# ---- random rule bases -----------------------------------------------------------------------------------------------

seen = st.builds(
    Condition,
    st.sampled_from(["saw", "absent"]),
    st.just("edge chips"),
    on=st.sampled_from(["", "face", "soft face"]),
    group=st.sampled_from(["", "", "rotating"]),
    at=st.sampled_from(["", "", "other", "inboard", "any"]),
    extent=st.sampled_from(["", "", *EXTENTS]),
    degree=st.sampled_from(["", "", *DEGREES]),
    side=st.sampled_from(["", "", *SIDES]),
)
term = st.builds(
    Condition,
    st.sampled_from(["setting", "not setting"]),
    st.just("service"),
    value=st.sampled_from(["hot water", "solids"]),
)
amount = st.builds(
    Condition,
    st.just("quantity"),
    st.just("shaft runout"),
    on=st.just("shaft"),
    test=st.sampled_from(["above", "below", "at most", "at least", "outside limit", "within limit"]),
    limit=st.just("shaft runout"),
    low=st.sampled_from([0.02e-3, 0.05e-3, 0.08e-3]),
)
found = st.builds(
    Condition, st.sampled_from(["found", "found absent", "not found"]), st.sampled_from(["finding 0", "finding 1"])
)
leaf = st.one_of(seen, term, amount)
records = st.lists(
    st.fixed_dictionaries(
        {
            "state": st.sampled_from(["saw", "absent"]),
            "part": st.sampled_from(["1", "2", "3"]),
            "extent": st.sampled_from(["", *EXTENTS]),
            "degree": st.sampled_from(["", *DEGREES]),
            "side": st.sampled_from(["", *SIDES]),
        }
    ),
    max_size=4,
)
PARTS = """
case: random
seal: {arrangement: dual pressurised}
parts:
  - {item: 1, kind: soft face, group: rotating, position: inboard}
  - {item: 2, kind: hard face, group: stationary, position: inboard}
  - {item: 3, kind: soft face, group: rotating, position: outboard}
"""


def written(rows, runout: float | None, service: str) -> str:
    lines = [PARTS + "observations:"] if rows else [PARTS]
    told: set[str] = set()
    for row in rows:
        key = row["part"]
        if key in told and not row["extent"]:
            continue
        told.add(key)
        more = "".join(f", {k}: {row[k]}" for k in ("extent", "degree", "side") if row[k])
        lines.append(f"  - {{part: {row['part']}, {row['state']}: edge chips{more}}}")
    if runout is not None:
        lines.append(f"measurements: [{{on: shaft, measured: shaft runout, reading: {runout} ± 0.01 mm}}]")
    if service:
        lines.append(f"service: {{{service}}}")
    return "\n".join(lines) + "\n"


cases = st.builds(
    written,
    records,
    st.sampled_from([None, 0.01, 0.055, 0.2]),
    st.sampled_from(["", "is: [hot water]", "is not: [hot water]"]),
)


def rule(name: str, when: Condition) -> Finding:
    return Finding(
        name,
        name,
        "accepted",
        "1",
        "2026",
        ("s",),
        reads=name,
        otherwise="rarely",
        when=when,
        absent_when=negate(when),
    )


def small_base(conditions: list[Condition]) -> RuleBase | None:
    findings = {f"finding {i}": rule(f"finding {i}", c) for i, c in enumerate(conditions)}
    knowledge = replace(BASE.knowledge, findings=findings, causes={})
    try:
        return RuleBase(knowledge, compile_rules(knowledge))
    except BadInput:
        return None


tree = st.recursive(
    leaf,
    lambda inner: st.one_of(
        st.builds(
            lambda ps, form: Condition(form, parts=tuple(ps)),
            st.lists(inner, min_size=1, max_size=3),
            st.sampled_from(["all", "any"]),
        ),
        st.builds(
            lambda ps: Condition("none", parts=tuple(ps)),
            st.lists(st.one_of(term, amount, seen.map(lambda c: replace(c, form="saw"))), min_size=1, max_size=2),
        ),
        st.builds(lambda ps: Condition("at least", count=2, parts=tuple(ps)), st.lists(inner, min_size=2, max_size=3)),
    ),
    max_leaves=4,
)
tied = st.builds(
    lambda a, b: Condition(
        "all", parts=(replace(a, form="saw", same_part=True), replace(b, form="saw", same_part=True))
    ),
    seen,
    seen,
)


@pytest.mark.slow
@settings(max_examples=120, deadline=None)
@given(st.lists(st.one_of(tree, tied), min_size=1, max_size=2), found, cases)
def test_random_rules_on_random_cases(conditions, above, text):
    base = small_base(
        [*conditions, *([above] if above.term in [f"finding {i}" for i in range(len(conditions))] else [])]
    )
    if base is None:
        return
    try:
        case = case_of(text, base)
    except AssertionError:
        return
    assert disagreements(infer(case, base)) == []


@pytest.mark.slow
@settings(max_examples=150, deadline=None)
@given(st.one_of(leaf), cases)
def test_false_is_where_the_opposite_is_deduced_and_unknown_where_neither_is(condition, text):
    """The engine deduces a finding absent exactly where its one premise is false."""
    if condition.form == "absent":
        condition = replace(condition, form="saw")
    base = small_base([condition])
    if base is None:
        return
    try:
        case = case_of(text, base)
        premises = expand(condition, base.knowledge)
    except (AssertionError, TooWide):
        return
    inference = infer(case, base)
    facts = facts_of(inference)
    for position in case.positions:
        deduced = inference.findings[position].get("finding 0")
        verdict = evaluate(premises[0][0], facts, position).holds
        expected = None if deduced is None else deduced.state == "present"
        assert verdict is expected, (position, condition, text)
