"""A machine's seals in order, whether a change helped, and what came back."""

from __future__ import annotations

from diagnose.library.history import history
from diagnose.library.seals import Verdict
from tests.library import site


def test_seals_stand_in_order_with_what_was_changed_before_each_and_whether_it_helped(shelf):
    store = shelf(
        site.seal(hours=None, fitted="2025-03-01", removal="still running"),
        site.seal(hours=300.0, removed="2025-03-01", outcomes=(site.confirmed("b", changed=("a filter",)),)),
        site.seal(hours=100.0, removed="2025-01-01", outcomes=(site.confirmed("a", changed=("a vent line",)),)),
        site.seal(hours=200.0, removed="2025-02-01", outcomes=(site.confirmed("a"),)),
        site.seal(tag="P-102", hours=5.0, removed="2025-01-15"),
    )  # fmt: skip
    told = [(x.hours, x.root, x.change, x.after) for x in history(store, "P-101").seals]
    assert told == [
        (100.0, "a", (), ""),
        (200.0, "a", ("a vent line",), "longer"),
        (300.0, "b", (), "longer"),
        (None, "", ("a filter",), ""),
    ]


def test_a_life_cut_short_is_never_called_shorter(shelf):
    first = site.seal(hours=100.0, removed="2025-01-01")
    for removal, hours, told in (
        ("sound", 50.0, ""), ("sound", 150.0, "longer"), ("still running", 150.0, "longer already"), ("failed", 50.0, "shorter"),
    ):  # fmt: skip
        store = shelf(first, site.seal(hours=hours, removed="2025-02-01", removal=removal), name=f"{removal}{hours}")
        assert history(store, "P-101").seals[1].after == told


def test_the_seals_of_a_pair_are_each_held_against_the_one_in_their_own_place(shelf):
    store = shelf(
        site.seal(position="inboard", hours=100.0, removed="2025-01-01"),
        site.seal(position="outboard", hours=900.0, removed="2025-01-01"),
        site.seal(position="inboard", hours=200.0, removed="2025-02-01"),
    )
    assert history(store, "P-101").seals[2].after == "longer"


def test_what_came_back_counts_confirmed_causes_and_what_the_tool_was_sure_of(shelf):
    sure, unsure = (Verdict("cause", "a", standing, 0.7) for standing in ("probable", "possible"))
    store = shelf(
        site.seal(outcomes=(site.confirmed("a"),)), site.seal(verdicts=(sure,)), site.seal(verdicts=(unsure,)),
        site.seal(verdicts=(sure,), outcomes=(site.confirmed("b"),)), site.seal(verdicts=(sure,), removal="sound"),
    )  # fmt: skip
    (repeat,) = history(store, "P-101").repeats
    assert (repeat.name, len(repeat.files), repeat.confirmed) == ("a", 2, 1)


def test_two_seals_of_one_case_are_no_repeat(shelf, tmp_path):
    from diagnose.library.store import Entry, Held

    store = shelf()
    both = tuple(site.seal(position=p, outcomes=(site.confirmed("a"),)) for p in ("inboard", "outboard"))
    store.put([Entry("one.yaml", Held("", "", "", ""), both)])
    assert history(store, "P-101").repeats == ()


def test_a_cause_of_both_seals_of_two_cases_came_back_once_and_is_confirmed_twice(shelf):
    from diagnose.library.store import Entry, Held

    store = shelf()
    both = tuple(site.seal(position=p, outcomes=(site.confirmed("a"),)) for p in ("inboard", "outboard"))
    store.put([Entry(f"{i}.yaml", Held("", "", "", ""), both) for i in range(2)])
    (repeat,) = history(store, "P-101").repeats
    assert (len(repeat.files), repeat.confirmed) == (2, 2)
