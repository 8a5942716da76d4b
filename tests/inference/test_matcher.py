"""Our matcher against experta's own: the same activations after every change, the same firings on every case."""

from __future__ import annotations

import itertools
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from diagnose.casefile.reader import read_case
from diagnose.inference.engine import Found, Reasoner
from diagnose.inference.experta_shim import AND, AS, MATCH, NOT, Fact, KnowledgeEngine, P, Rule
from diagnose.inference.facts import make, seal_positions
from diagnose.inference.matcher import IndexedMatcher
from diagnose.inference.rules import KEY_SLOT, Branch, Conclusion, Premise
from diagnose.inference.run import infer
from diagnose.reading.problems import Where
from tests.inference import stock
from tests.support.places import mostly_slow

ROOT = Path(__file__).resolve().parents[2]
SCENARIOS = sorted((ROOT / "scenarios").glob("*.yaml"))


class A(Fact):
    pass


class B(Fact):
    pass


values = st.integers(0, 2)
slots = st.one_of(
    values,
    st.sampled_from(["x", "y"]).map(lambda n: getattr(MATCH, n)),
    st.just("test"),
    st.just("left out"),
)


@st.composite
def patterns(draw):
    given_slots = {}
    for slot in ("p", "q"):
        value = draw(slots)
        if value == "test":
            value = P(lambda v: v > 0)
        if not isinstance(value, str):
            given_slots[slot] = value
    return draw(st.sampled_from([A, B])), given_slots, draw(st.booleans())


@st.composite
def rules(draw):
    wanted = draw(st.lists(patterns(), min_size=1, max_size=3))
    parts = []
    for i, (kind, given_slots, denied) in enumerate(wanted):
        pattern = kind(**given_slots)
        parts.append(NOT(pattern) if denied and i else getattr(AS, f"f{i}") << pattern)
    # experta binds a variable of a denied pattern only from patterns before it
    parts.sort(key=lambda p: isinstance(p, NOT))
    return parts


def engine(rule_parts, matcher=None):
    made = {f"r{i}": Rule(AND(*parts), salience=i)(lambda self, **bound: None) for i, parts in enumerate(rule_parts)}
    if matcher:
        made["__matcher__"] = matcher
    return type("Engine", (KnowledgeEngine,), made)()


def snapshot(live):
    return sorted(
        (a.rule.salience, sorted(tuple(sorted((k, v) for k, v in f.items() if k in ("p", "q"))) for f in a.facts))
        for a in live
    )


steps = st.lists(
    st.one_of(
        st.tuples(st.just("declare"), st.sampled_from([A, B]), values, values),
        st.tuples(st.just("retract"), st.integers(0, 9), st.just(0), st.just(0)),
        st.tuples(st.just("reset"), st.just(0), st.just(0), st.just(0)),
    ),
    max_size=12,
)


@pytest.mark.slow
@given(st.lists(rules(), min_size=1, max_size=4), steps)
@settings(max_examples=150, deadline=None)
def test_the_same_activations_as_the_stock_matcher_after_every_change(rule_parts, changes):
    stock_engine, ours = engine(rule_parts), engine(rule_parts, IndexedMatcher)
    for e in (stock_engine, ours):
        e.reset()
    for what, kind, p, q in changes:
        for e in (stock_engine, ours):
            if what == "declare":
                e.declare(kind(p=p, q=q))
            elif what == "reset":
                e.reset()
            else:
                ids = list(e.facts)[1:]
                if ids:
                    e.retract(ids[kind % len(ids)])
        assert snapshot(stock_engine.agenda.activations) == snapshot(ours.agenda.activations), (what, kind, p, q)


def test_a_variable_twice_in_a_denied_pattern_stands_for_one_value():
    rule = [[A(p=0, q=1), NOT(A(p=MATCH.x, q=MATCH.x))]]
    stock_engine, ours = engine(rule), engine(rule, IndexedMatcher)
    for e in (stock_engine, ours):
        e.reset()
        e.declare(A(p=0, q=1))
        assert len(e.agenda.activations) == 1
        e.declare(A(p=1, q=1))
        assert not e.agenda.activations


def test_what_the_matcher_does_not_take_is_refused():
    for bad in (NOT(A(p=1), B(p=1)), A(p=~MATCH.x), NOT(NOT(A(p=1)))):
        with pytest.raises(TypeError):
            engine([[bad]], IndexedMatcher)


@pytest.mark.parametrize("path", mostly_slow(SCENARIOS, 4), ids=lambda p: p.stem)
def test_the_same_firings_as_plain_experta_on_every_scenario(path, whole_base):
    case = read_case(path, whole_base.knowledge)
    inference = infer(case, whole_base)
    touched = whole_base.reasoner.candidates([_row(f) for f in inference.facts])
    branches = [whole_base.rules.branches[i] for i in touched]
    theirs = stock.run(branches, list(inference.facts), seal_positions(case))
    assert set(theirs) == set(inference.firings) and theirs


@pytest.mark.slow
def test_rules_left_unbuilt_could_not_have_fired(whole_base):
    path = SCENARIOS[0]
    inference = infer(read_case(path, whole_base.knowledge), whole_base)
    every = Reasoner(whole_base.rules.branches)
    every.build()
    assert every.run(inference.facts, seal_positions(inference.case)) == inference.firings


def _row(fact):
    from diagnose.inference.engine import TABLES

    return TABLES[fact.table](id=fact.id, **dict(fact.slots))


features, kinds = ["u", "v", "w"], ["face", "ring"]


@st.composite
def rule_bases(draw):
    """Branches in strata: a branch may rest on findings of smaller number."""
    result = []
    for number in range(draw(st.integers(1, 6))):
        premises = []
        for _ in range(draw(st.integers(1, 3))):
            at = draw(st.sampled_from(["", "", "other", "any", "inboard"]))
            denied = draw(st.booleans())
            if number and draw(st.booleans()):
                finding = f"n{draw(st.integers(0, number - 1))}"
                premises.append(premise("found", None, denied, at, finding=finding, state="present"))
            else:
                equals = {
                    "feature": draw(st.sampled_from(features)),
                    "on": draw(st.sampled_from(kinds)),
                    "state": draw(st.sampled_from(["present", "absent"])),
                }
                compare = ("rank", ">=", 1) if draw(st.booleans()) else None
                premises.append(premise("seen", compare, denied, at, not denied and draw(st.booleans()), **equals))
        ordered = tuple(sorted(dict.fromkeys(premises), key=lambda p: p.negated))
        result.append(
            Branch(
                f"n{number}",
                f"N{number}",
                1,
                ordered,
                Conclusion("found", f"n{number}", "present"),
                Where("made", number + 1),
            )
        )
    return result


@st.composite
def records(draw):
    facts = []
    for i in range(draw(st.integers(0, 6))):
        position = draw(st.sampled_from(["inboard", "outboard"]))
        other = "outboard" if position == "inboard" else "inboard"
        facts.append(
            make(
                "seen",
                f"o{i}",
                state=draw(st.sampled_from(["present", "absent"])),
                feature=draw(st.sampled_from(features)),
                on=draw(st.sampled_from(kinds)),
                own=True,
                part=draw(st.sampled_from(["1", "2"])),
                group="",
                face="",
                extent="",
                rank=draw(st.integers(0, 2)),
                side="",
                position=position,
                other=other,
            )
        )
    return facts


PLACES = [("inboard", "outboard"), ("outboard", "inboard")]


@pytest.mark.slow
@given(rule_bases(), records(), st.randoms(use_true_random=False))
@settings(max_examples=60, deadline=None)
def test_the_same_firings_as_plain_experta_on_random_rule_bases(branches, facts, mixer):
    theirs = set(stock.run(branches, facts, PLACES))
    assert set(Reasoner(branches).run(facts, PLACES)) == theirs
    mixer.shuffle(facts)
    again = Reasoner(branches)
    again.build()
    assert set(again.run(facts, PLACES)) == theirs
    assert set(again.run(facts, PLACES)) == theirs, "a second case finds nothing of the first"


@pytest.mark.slow
def test_a_case_leaves_nothing_behind_for_the_next(whole_base):
    cases = [read_case(p, whole_base.knowledge) for p in SCENARIOS[:4]]
    alone = {c.digest: infer(c, whole_base).firings for c in cases}
    for order in itertools.islice(itertools.permutations(cases), 5):
        for case in order:
            assert infer(case, whole_base).firings == alone[case.digest]


def premise(table: str, compare=None, negated=False, at="", same_part=False, **equals) -> Premise:
    key = table, equals[KEY_SLOT[table]]
    return Premise(table, key, tuple(sorted(equals.items())), compare, negated, at, same_part)


def branch(name: str, *premises: Premise, kind: str = "found") -> Branch:
    return Branch(name, name.upper(), 1, premises, Conclusion(kind, name, "present"), Where("made", 1))


def seen(id: str, feature: str, **slots):
    usual = {"state": "present", "on": "face", "part": "1", "rank": 0, "position": "inboard", "other": "outboard"}
    return make("seen", id, feature=feature, **{**usual, **slots})


def test_candidates_are_the_branches_whose_premises_could_all_be_met():
    u, v = (premise("seen", feature=f, state="present") for f in "uv")
    first = premise("found", finding="first", state="present")
    reasoner = Reasoner(
        [
            branch("first", u),
            branch("second", first, v),
            branch("third", premise("found", finding="second", state="present")),
            branch("worse", premise("seen", ("rank", ">=", 2), feature="u")),
            branch("unless", premise("seen", negated=True, feature="w")),
            branch("caution", first, kind="caution"),
            branch("of caution", premise("found", finding="caution", state="present")),
        ]
    )

    def candidates(*facts) -> list[str]:
        return [reasoner.branches[i].rule for i in reasoner.candidates([_row(f) for f in facts])]

    assert candidates() == ["unless"]
    assert candidates(seen("o1", "u"), seen("o2", "u", position="outboard")) == ["first", "unless", "caution"]
    assert candidates(seen("o1", "u"), seen("o2", "v")) == ["first", "second", "third", "unless", "caution"]
    assert candidates(seen("o1", "u", rank=2)) == ["first", "worse", "unless", "caution"]
    assert candidates(seen("o1", "u", state="absent"), seen("o2", "v")) == ["unless"]


def test_rules_are_built_when_a_case_first_can_use_them():
    reasoner = Reasoner([branch("a", premise("seen", feature="u")), branch("b", premise("seen", feature="v"))])
    assert [f.branch.rule for f in reasoner.run([seen("o1", "v")], PLACES)] == ["b"] and reasoner.built == {1}
    both = reasoner.run([seen("o1", "v"), seen("o2", "u")], PLACES)
    assert [f.branch.rule for f in both] == ["a", "b"] and reasoner.built == {0, 1}
    assert [f.supports for f in both] == [(("o2",),), (("o1",),)]


def test_a_finding_that_two_rules_say_is_one_fact_for_each_state_and_place():
    branches = [branch("a", premise("seen", feature=f, at="any")) for f in "uv"]
    reasoner = Reasoner(branches)
    firings = reasoner.run([seen("o1", "u"), seen("o2", "v")], PLACES)
    found = [f["id"] for f in reasoner.engine.facts.values() if isinstance(f, Found)]
    assert len(firings) == 4 and sorted(found) == ["f:a@inboard", "f:a@outboard"]


def test_the_same_premise_twice_needs_one_fact_and_leaves_when_it_does():
    ours, stock_engine = (engine([[AS.f << A(p=1), AS.g << A(p=1), NOT(B(q=2))]], m) for m in (IndexedMatcher, None))
    for e in (ours, stock_engine):
        e.reset()
        one = e.declare(A(p=1))
        assert len(e.agenda.activations) == 1
        two = e.declare(A(p=1, q=1))
        assert len(e.agenda.activations) == 4
        barrier = e.declare(B(q=2))
        assert not e.agenda.activations
        e.retract(barrier)
        assert len(e.agenda.activations) == 4
        e.retract(one)
        assert len(e.agenda.activations) == 1
        e.retract(two)
        assert not e.agenda.activations
        e.declare(A(p=1))
        assert len(e.agenda.activations) == 1


@pytest.mark.parametrize(
    ("at", "places"),
    [
        ("", ["inboard"]),
        ("other", ["outboard"]),
        ("inboard", ["inboard", "outboard"]),
        ("outboard", []),
        ("any", ["inboard", "outboard"]),
    ],
)
def test_a_premise_looks_where_its_at_says(at, places):
    there = Reasoner([branch("a", premise("seen", at=at, feature="u"))]).run([seen("o1", "u")], PLACES)
    assert [f.position for f in there] == places
    denied = Reasoner([branch("a", premise("seen", negated=True, at=at, feature="u"))]).run([seen("o1", "u")], PLACES)
    assert [f.position for f in denied] == [p for p, _ in PLACES if p not in places]


@pytest.mark.parametrize(("part", "fires"), [("1", True), ("2", False)])
def test_premises_that_share_a_part_hold_on_one_part_only(part, fires):
    both = branch("a", premise("seen", same_part=True, feature="u"), premise("seen", same_part=True, feature="v"))
    fired = Reasoner([both]).run([seen("o1", "u"), seen("o2", "v", part=part)], PLACES)
    assert [f.supports for f in fired] == ([(("o1",), ("o2",))] if fires else [])


def test_a_comparison_is_part_of_the_pattern_and_findings_are_at_their_place():
    rules = [
        branch("a", premise("seen", ("rank", ">=", 2), feature="u")),
        branch("b", premise("found", at="other", finding="a")),
    ]
    fired = Reasoner(rules).run([seen("o1", "u", rank=2), seen("o2", "u", rank=1)], PLACES)
    assert [(f.branch.rule, f.position, f.supports) for f in fired] == [
        ("a", "inboard", (("o1",),)),
        ("b", "outboard", (("f:a@inboard",),)),
    ]
