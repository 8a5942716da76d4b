"""From conditions to premises: what each form comes to on rows of facts, and what is refused."""

from __future__ import annotations

from pathlib import Path

import pytest

from diagnose.inference.rules import Premise, TooWide, compile_rules, expand, pair_key
from diagnose.inference.run import load
from diagnose.knowledge.model import Condition
from diagnose.reading.entry import replace
from diagnose.reading.problems import BadInput

BASE = load(Path(__file__).parents[1] / "small" / "knowledge").knowledge
TERMS = [Condition("setting", f"setting {i}", value="on") for i in range(201)]


def any_of(n: int) -> Condition:
    return Condition("any", parts=tuple(TERMS[:n]))


def every(form: str, *parts: Condition) -> Condition:
    return Condition(form, parts=parts)


def holds(condition: Condition, *rows: dict) -> bool:
    """Whether some alternative of the condition holds on these rows, all of one table."""
    return any(
        all(any(p.allows(r) for r in rows) != p.negated for p in premises) for premises in expand(condition, BASE)
    )


def test_two_hundred_alternatives_are_taken_and_one_more_is_not():
    assert len(expand(any_of(200), BASE)) == 200
    with pytest.raises(TooWide, match="has 201 alternatives, more than 200"):
        expand(any_of(201), BASE)


@pytest.mark.parametrize(
    ("widths", "says"),
    [((10, 10, 10), "has 1000 alt"), ((10, 10, 10, 10), "has 10000 alt"), ((9,) * 12, "over a thousand million")],
)
def test_products_are_counted_before_they_are_made(widths, says):
    with pytest.raises(TooWide, match=says):
        expand(every("all", *map(any_of, widths)), BASE)


@pytest.mark.parametrize(("count", "of", "says"), [(12, 24, "has 2704156 alt"), (100, 201, "over a thousand million")])
def test_choices_are_counted_before_they_are_made(count, of, says):
    with pytest.raises(TooWide, match=says):
        expand(Condition("at least", count=count, parts=tuple(TERMS[:of])), BASE)


def test_choices_among_unequal_sets_are_all_counted():
    """Two of three sets of 1, 10 and 20: 10 + 20 + 200."""
    with pytest.raises(TooWide, match="has 230 alt"):
        expand(Condition("at least", count=2, parts=(TERMS[0], any_of(10), any_of(20))), BASE)
    assert (
        len(expand(Condition("at least", count=2, parts=(TERMS[200], any_of(10), every("any", *TERMS[10:25]))), BASE))
        == 175
    )


def test_a_condition_too_wide_is_an_error_at_its_place():
    wide = replace(BASE.findings["ring hard"], when=any_of(201))
    with pytest.raises(BadInput, match="201 alternatives"):
        compile_rules(replace(BASE, findings={"ring hard": wide}, causes={}))


def test_branches_of_a_rule_are_numbered_from_one():
    rule = replace(BASE.findings["ring hard"], when=any_of(3), absent_when=None)
    branches = compile_rules(replace(BASE, findings={"ring hard": rule}, causes={}, cautions={})).branches
    assert [b.number for b in branches] == [1, 2, 3] and branches[0].name == "found present ring hard 1"


@pytest.mark.parametrize(("count", "ways", "each"), [(1, 4, 1), (2, 6, 2), (3, 4, 3), (4, 1, 4)])
def test_at_least_so_many_is_every_choice_of_so_many(count, ways, each):
    alternatives = expand(Condition("at least", count=count, parts=tuple(TERMS[:4])), BASE)
    assert len(alternatives) == ways and {len(a) for a in alternatives} == {each}


def test_what_is_said_twice_counts_once():
    assert [len(a) for a in expand(every("all", TERMS[0], TERMS[0], TERMS[1]), BASE)] == [2]
    assert [len(a) for a in expand(every("all", TERMS[0], TERMS[0]), BASE)] == [1]
    assert len(expand(every("any", TERMS[0], TERMS[0], TERMS[1]), BASE)) == 2
    assert len(expand(every("any", TERMS[0], TERMS[0]), BASE)) == 1


def test_one_number_written_two_ways_is_one_premise():
    ways = [
        Condition("quantity", "shaft runout", on="shaft", test="above", low=5e-5, written=w)
        for w in ("0.05 mm", "50 µm")
    ]
    assert [len(a) for a in expand(every("all", *ways), BASE)] == [1] and len(expand(every("any", *ways), BASE)) == 1


SAW = Condition("saw", "edge chips", on="face", same_part=True)
FOUND = Condition("found", "ring hard")


def test_none_denies_each_part_and_stands_behind_what_must_be_there():
    ((there, *denied),) = expand(every("all", every("none", every("any", SAW, TERMS[0]), FOUND), TERMS[1]), BASE)
    assert not there.negated and there.key == ("setting", "setting 1")
    assert [(p.table, p.negated, p.same_part) for p in denied] == [
        ("seen", True, False),
        ("setting", True, False),
        ("found", True, False),
    ]


def test_only_what_is_there_can_share_a_part():
    ((seen,),) = expand(SAW, BASE)
    assert seen.same_part and seen.key == ("seen", "edge chips")
    ((told, nowhere),) = expand(replace(SAW, form="absent"), BASE)
    assert told.same_part and nowhere.negated and not nowhere.same_part
    ((there, denied),) = expand(every("all", every("none", TERMS[0]), SAW), BASE)
    assert not there.negated and denied.negated, "a denial stands behind what must be there"


@pytest.mark.parametrize(
    "inner",
    [
        every("all", SAW, TERMS[0]),
        every("none", SAW),
        Condition("not found", "ring hard"),
        Condition("absent", "edge chips"),
        Condition("absent", "edge chips", degree="severe"),
        Condition("quantity", "shaft runout", test="between", low=1.0, high=2.0),
    ],
    ids=lambda c: f"{c.form} {c.degree}",
)
def test_what_cannot_be_denied_is_refused(inner):
    with pytest.raises(TooWide, match="cannot stand inside none"):
        expand(every("none", TERMS[0], inner), BASE)


def test_a_comparison_fails_on_a_value_of_another_type_and_on_none():
    number, word = (Premise("amount", ("amount", "wear"), (), c) for c in (("low", ">", 0.5), ("word", "!=", "worn")))
    assert [number.passes(v) for v in (0.6, 0.5, "", "high")] == [True, False, False, False]
    assert [word.passes(v) for v in ("sound", "worn", "", 0.6)] == [True, False, False, False]
    assert not number.negated and not number.same_part


@pytest.mark.parametrize(
    ("test", "spans"),
    [
        ("above", [False, False, False, True]),
        ("at most", [True, True, False, False]),
        ("below", [True, False, False, False]),
        ("at least", [False, False, True, True]),
        ("between", [False, False, True, False]),
        ("not between", [True, False, False, True]),
    ],
)
def test_a_number_holds_where_its_whole_span_does(test, spans):
    low, high = (1.0, 2.0) if "between" in test else (1.0, None)
    condition = Condition("quantity", "shaft runout", on="shaft", test=test, low=low, high=high)
    for (least, most), expected in zip([(0.5, 0.9), (0.5, 1.0), (1.0, 2.0), (2.1, 3.0)], spans, strict=True):
        row = {"quantity": "shaft runout", "on": "shaft", "low": least, "high": most, "word": ""}
        assert holds(condition, row) is expected, (least, most)


@pytest.mark.parametrize(
    ("test", "word", "expected"),
    [
        ("is", "worn", True),
        ("is", "sound", False),
        ("is not", "worn", False),
        ("is not", "sound", True),
        ("is", "", False),
        ("is not", "", False),
    ],
)
def test_a_word_is_or_is_not_where_there_is_one(test, word, expected):
    condition = Condition("quantity", "edge", test=test, value="worn")
    assert holds(condition, {"quantity": "edge", "own": True, "low": 0.0, "high": 0.0, "word": word}) is expected


@pytest.mark.parametrize(("test", "verdict"), [("outside limit", "outside"), ("within limit", "inside")])
def test_a_limit_holds_by_its_verdict(test, verdict):
    condition = Condition("quantity", "shaft runout", on="shaft", test=test, limit="shaft runout")
    for told in ("outside", "inside", "unknown"):
        row = {"quantity": "shaft runout", "on": "shaft", "limit": "shaft runout", "verdict": told}
        assert holds(condition, row) is (told == verdict)


def row(state: str = "present", rank: int = 0, extent: str = "", side: str = "") -> dict:
    return {"feature": "edge chips", "on": "face", "state": state, "rank": rank, "extent": extent, "side": side}


@pytest.mark.parametrize(
    ("qualifier", "expected"),
    [
        ({"degree": "moderate"}, [False, True, True, False, False]),
        ({"extent": "patches"}, [False, False, False, True, False]),
        ({"side": "inner edge"}, [False, False, False, False, True]),
        ({}, [True, True, True, True, True]),
    ],
)
def test_seen_so_and_no_less(qualifier, expected):
    rows = [row(rank=1), row(rank=2), row(rank=3), row(extent="patches"), row(side="inner edge")]
    assert [holds(Condition("saw", "edge chips", on="face", **qualifier), r) for r in rows] == expected


@pytest.mark.parametrize(
    ("qualifier", "here", "elsewhere", "unsaid"),
    [
        ({"degree": "moderate"}, {"rank": 2}, {"rank": 1}, {}),
        ({"extent": "patches"}, {"extent": "patches"}, {"extent": "all round"}, {}),
        ({"side": "inner edge"}, {"side": "inner edge"}, {"side": "outer edge"}, {}),
    ],
)
def test_absent_so_is_absent_or_known_to_be_otherwise(qualifier, here, elsewhere, unsaid):
    absent = Condition("absent", "edge chips", on="face", **qualifier)
    assert holds(absent, row("absent")) and not holds(absent)
    assert not holds(absent, row(**here)) and not holds(absent, row(**here), row(**elsewhere))
    assert holds(absent, row(**elsewhere)) and not holds(absent, row(**unsaid))
    assert not holds(absent, row(**elsewhere), row(**unsaid)), "the one of which it is not said may be so"
    assert not holds(absent, row("absent"), row(**here)), "seen on another part"


def test_a_condition_without_a_part_takes_the_kind_as_recorded():
    ((bare,),), ((named,),) = (expand(Condition("saw", "edge chips", on=on), BASE) for on in ("", "face"))
    assert dict(bare.equals)["own"] is True and "on" not in dict(bare.equals)
    assert dict(named.equals)["on"] == "face" and "own" not in dict(named.equals)


def test_settings_hold_or_are_known_not_to():
    for form, told in (("setting", True), ("not setting", False)):
        condition = Condition(form, "service", value="solids")
        for is_so in (True, False):
            assert holds(condition, {"setting": "service", "term": "solids", "holds": is_so}) is (told == is_so)


def test_pairs_of_marks_go_by_feature_and_part():
    pairs = [
        Condition("marks", parts=(Condition("saw", "wash mark", on=on), Condition("saw", "port opening")))
        for on in ("face", "O-ring", "")
    ]
    assert [pair_key(p) for p in pairs] == [
        f"wash mark on {on} & port opening on any part" for on in ("face", "O-ring", "any part")
    ]


def test_kinds_of_part_are_asked_by_the_term_that_names_them():
    rules = compile_rules(BASE)
    assert rules.asked["seen", "radial cracks"] == {"", "hard face"}
    assert rules.asked["seen", "hardened"] == {"O-ring"}
    assert list(rules.marks) == ["wash mark on face & port opening on flush port"]
    assert all(p.table == "marks" or p.key[1] not in rules.marks for p in rules.premises)
