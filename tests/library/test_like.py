"""The nearest closed cases."""

from __future__ import annotations

import json
import math

import pytest

from diagnose.library import like as l
from tests.library import site

TELLS = json.dumps({"a": [0.1, 2.0], "b": [0.1, 1.0], "c": [0.5, 4.0], "d": [0.0, 0.0]})


def near(store, findings, **more):
    return [(n.seal.case, round(n.score, 6)) for n in l.like(store, findings, 10, **more)]


def closed(name, *findings, **more):
    return site.seal(case=name, findings=tuple(sorted(findings)), outcomes=(site.confirmed("x"),), **more)


def test_what_is_shared_counts_by_what_it_tells_and_what_is_contrary_against_it(shelf):
    store = shelf(
        closed("one", ("a", True)), closed("both", ("a", True), ("b", True)), closed("contrary", ("a", True), ("b", False)),
        closed("nothing told", ("d", True)), closed("the opposite", ("a", False)), tells=TELLS,
    )  # fmt: skip
    asked = {"a": True, "b": True, "d": True}
    assert near(store, asked) == [("both", 1.0), ("one", 0.666667), ("contrary", 0.333333)]


def test_only_confirmed_cases_of_the_site_itself_are_shown_and_not_the_one_that_is_asked_about(shelf):
    from diagnose.library.store import Entry, Held

    store = shelf(closed("this", ("a", True)), site.seal(case="open", findings=(("a", True),)), tells=TELLS)
    store.put([Entry("1", Held("", "", "", ""), (closed("theirs", ("a", True)),))], site="other")
    assert near(store, {"a": True}) == [("this", 1.0)]
    assert near(store, {"a": True}, apart="s00000.yaml") == []
    assert near(store, {"a": True}, site="other") == [("theirs", 1.0)]


def test_what_was_different_and_what_could_still_be_looked_for_is_told_heaviest_first(shelf):
    store = shelf(closed("it", ("a", True), ("b", False), ("c", True)), tells=TELLS)
    (n,) = l.like(store, {"a": True, "b": True}, 1)
    assert (n.shared, n.contrary, n.missing) == ((("a", True),), (("b", False),), ("c",))


def test_what_a_finding_tells_is_the_relative_entropy_of_causes_after_it(small_base):
    from diagnose.judgement.network import build

    net = build(small_base.knowledge)
    finding, f = "shaft moves", net.row["shaft moves"]
    prior = [*net.prior.tolist(), 1 - net.prior.sum()]
    chance = net.read(net.alone)[f].tolist()
    total = sum(p * c for p, c in zip(prior, chance, strict=True))
    by_hand = sum(p * c / total * math.log2(c / total) for p, c in zip(prior, chance, strict=True))
    assert l.bits(net)[finding][1] == pytest.approx(by_hand)
