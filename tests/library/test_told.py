"""Calibration at home, bad actors, and what leaves the site."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest

from diagnose.library import actors, export, pool
from diagnose.library import calibration as cal
from diagnose.library.seals import Verdict
from diagnose.reading.problems import BadInput
from tests.library import site


def said(name, probability, *outcomes, standing="probable", **more):
    return site.seal(verdicts=(Verdict("cause", name, standing, probability),), outcomes=outcomes, **more)


def test_what_the_tool_said_is_held_against_the_last_outcome_by_year_and_analyst(shelf):
    store = shelf(
        said("a", 0.9, site.confirmed("a", day="2025-02-01", by="A")), said("a", 0.6, site.confirmed("b", day="2025-03-01", by="B")),
        said("b", 0.8, site.confirmed("b", day="2026-03-01", by="B")), said("b", 0.99),
    )  # fmt: skip
    level = cal.document(cal.said(store))["levels"]["cause"]
    assert {y: (f["right"], f["n"]) for y, f in level["year"].items()} == {"2025": (1, 2), "2026": (1, 1)}
    assert {b: (f["right"], f["n"]) for b, f in level["by"].items()} == {"A": (1, 1), "B": (1, 2)}
    assert level["all"]["expected right"] == pytest.approx(2.3)


def test_a_pair_of_which_the_same_was_said_and_confirmed_counts_once(shelf):
    from diagnose.library.store import Entry, Held

    store = shelf()
    pair = tuple(said("a", 0.9, site.confirmed("a"), position=p) for p in ("inboard", "outboard"))
    store.put([Entry("pair.yaml", Held("", "", "", ""), pair)])
    assert [s.right for s in cal.said(store)] == [True]


def test_who_overruled_the_tool_and_who_was_right(shelf):
    first, later = "2025-01-01", "2025-06-01"
    store = shelf(
        said("a", 0.7, site.confirmed("b", day=first), site.confirmed("a", day=later, how="laboratory")),
        said("a", 0.7, site.confirmed("b", day=first)),
        said("a", 0.7, site.confirmed("a", day=first)),
        said("a", 0.05, site.confirmed("b", day=first), standing="unlikely"),
    )
    told = [(o["file"], o["right"]) for o in cal.document(cal.said(store))["overruled"]]
    assert told == [("s00000.yaml", "the tool"), ("s00001.yaml", "whoever overruled it")]


def test_a_case_counts_once_in_pareto_whatever_its_seals(shelf):
    from diagnose.library.store import Entry, Held

    store = shelf(
        site.seal(tag="P-1", cost=10.0),
        site.seal(tag="P-2", cost=30.0),
        site.seal(tag="P-1", cost=5.0, removal="sound"),
    )
    pair = tuple(site.seal(tag="P-3", position=p, cost=60.0, hours_lost=2.0) for p in ("inboard", "outboard"))
    store.put([Entry("pair.yaml", Held("", "", "", ""), pair)])
    parts = actors.pareto(store, "tag", "cost")
    assert [(p.name, p.cases, p.amount, round(p.together, 2)) for p in parts] == [
        ("P-3", 1, 60.0, 0.6), ("P-2", 1, 30.0, 0.9), ("P-1", 1, 10.0, 1.0),
    ]  # fmt: skip
    assert [p.amount for p in actors.pareto(store, "tag", "hours")] == [2.0, 0.0, 0.0]


def test_the_cause_is_the_confirmed_one_or_what_the_tool_was_sure_of(shelf):
    store = shelf(
        said("a", 0.7), said("a", 0.7, site.confirmed("b")), said("a", 0.3, standing="possible"),
        said("a", 0.7, replace(site.confirmed(), none_of_these=True)), said("a", 0.7, site.confirmed(mechanisms=("m",))),
    )  # fmt: skip
    found = {p.name: p.cases for p in actors.pareto(store, "cause", "count")}
    assert found == {"a": 2, "b": 1, "not known": 1, "none of these": 1}


def test_months_count_by_the_field_of_the_first_action(shelf, small_base):
    store = shelf(
        site.seal(removed="2025-03-04", outcomes=(site.confirmed("dry running"),)),
        site.seal(removed="2025-03", outcomes=(site.confirmed("bent shaft"),)), site.seal(removed="2025"),
    )  # fmt: skip
    assert actors.by_month(store, small_base.knowledge) == {"2025-03": {"operation": 1, "not known": 1}}


# ---- leaving the site, and coming in ------------------------------------------------------------------------

SECRETS = ("P-101", "B-SECRET", "A. Body", "a new vent line", "An invented seal", "2025-03-04")


def secret():
    return site.seal(
        batch="B-SECRET", removed="2025-03-04", fitted="2024-11-30", findings=(("shaft moves", True),),
        settings=(("service", "hot water"),),
        outcomes=(site.confirmed("dry running", by="A. Body", changed=("a new vent line",), day="2025-03-04"),),
    )  # fmt: skip


def given(store) -> bytes:
    return b"".join(pool.shared(store))


def test_what_is_shared_has_no_tags_names_batches_days_or_free_text(shelf):
    text = given(shelf(secret(), secret(), site.seal(tag="P-999"), site.seal(tag=""))).decode()
    assert not [s for s in (*SECRETS, "P-999", "s00000") if s in text]
    lines = [json.loads(line) for line in text.splitlines()[1:]]
    assert sorted(x["tag"] for x in lines) == ["", "machine 1", "machine 1", "machine 2"]
    assert {x["removed"] for x in lines} == {"", "2025-03"}


def test_imported_seals_stand_apart_and_survive_a_new_index(shelf, small_base, tmp_path):
    theirs = tmp_path / "theirs.jsonl"
    theirs.write_bytes(given(shelf(secret(), name="theirs")))
    home = tmp_path / "home"
    store = shelf(site.seal(tag="P-1"), name="home")
    assert pool.bring_in(home, theirs, "north", small_base.knowledge) == (1, ["strip-down"])
    pool.take_in(store, home / pool.SHARED, small_base.knowledge)
    assert [(where, s.tag) for where, _, s in store.seals()] == [("", "P-1"), ("north", "machine 1")]
    before = store.content()
    pool.take_in(store, home / pool.SHARED, small_base.knowledge)
    assert store.content() == before
    (home / pool.SHARED / "north.jsonl").unlink()
    pool.take_in(store, home / pool.SHARED, small_base.knowledge)
    assert [where for where, _, _ in store.seals()] == [""]


@pytest.mark.parametrize(
    ("line", "told"),
    [(0, "this is no line"), (1, "this is no line"), (None, "is empty")],
    ids=["head", "seal", "empty"],
)
def test_a_file_that_no_library_wrote_is_refused_whole(shelf, small_base, tmp_path, line, told):
    lines = given(shelf(secret())).splitlines(keepends=True)
    if line is not None:
        lines[line] = b'{"case": 1}\n'
    file = tmp_path / "theirs.jsonl"
    file.write_bytes(b"".join(lines) if line is not None else b"")
    with pytest.raises(BadInput, match=told):
        pool.bring_in(tmp_path, file, "north", small_base.knowledge)
    assert not (tmp_path / pool.SHARED).exists()


@pytest.mark.parametrize(
    ("key", "change"),
    [("findings", lambda v: [*v, [v[0][0], not v[0][1]]]), ("settings", lambda v: [*v, v[0]]), ("hours", lambda _: -1.0),
     ("none_of_these", lambda _: 1.5)],
    ids=["a finding twice", "a setting twice", "hours below nothing", "no probability"],
)  # fmt: skip
def test_a_seal_that_the_index_could_not_hold_is_refused_before_it_is_taken_in(
    shelf, small_base, tmp_path, key, change
):
    head, seal = given(shelf(secret())).splitlines()
    told = json.loads(seal)
    file = tmp_path / "theirs.jsonl"
    file.write_bytes(head + b"\n" + json.dumps({**told, key: change(told[key])}).encode() + b"\n")
    with pytest.raises(BadInput, match="no line of a shared library"):
        pool.bring_in(tmp_path, file, "north", small_base.knowledge)


def test_seals_read_back_from_parquet_are_those_of_the_lines(shelf, tmp_path):
    import pyarrow.parquet as pq

    store = shelf(secret(), site.seal(hours=None), *(site.seal(case=str(i)) for i in range(5)))
    table, lines = tmp_path / "t.parquet", tmp_path / "t.jsonl"
    assert export.write(store, table) == export.write(store, lines) == 7
    assert pq.read_table(table).to_pylist() == [json.loads(line) for line in lines.read_text("utf-8").splitlines()]
