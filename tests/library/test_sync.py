"""The index says what the files say, whatever happened on the way."""

from __future__ import annotations

import contextlib
import os
import shutil
import sqlite3

import pytest

from diagnose.evaluation import batch
from diagnose.library import store as s
from diagnose.library import sync as module
from diagnose.library.like import like
from diagnose.library.sync import sync
from diagnose.reading.problems import BadInput
from tests.library import site
from tests.support.places import SMALL

KNOWLEDGE = SMALL / "knowledge"
pytestmark = pytest.mark.usefixtures("in_this_process")


def content(folder) -> str:
    with s.opened(folder) as store:
        return store.content()


def afresh(folder, tmp_path) -> str:
    copy = tmp_path / "copy"
    shutil.rmtree(copy, ignore_errors=True)
    shutil.copytree(folder, copy, ignore=shutil.ignore_patterns(".*"))
    sync(copy, KNOWLEDGE, 1)
    return content(copy)


def test_what_is_new_changed_and_gone_is_taken_up_and_the_rest_is_not_even_read(folder, tmp_path, monkeypatch):
    first = sync(folder, KNOWLEDGE, 1)
    assert (first.new, first.same) == (6, 0)
    site.write(folder, 0, site.case(1))
    site.write(folder, 8, site.case(8))
    (folder / "deep" / "c00003.yaml").unlink()
    read: list[str] = []
    real = module.read_bytes
    monkeypatch.setattr(
        module, "read_bytes", lambda path, name, problems: read.append(name) or real(path, name, problems)
    )
    done = sync(folder, KNOWLEDGE, 1)
    assert (done.new, done.changed, done.gone, done.same) == (1, 1, 1, 4)
    assert read == ["c00000.yaml", "c00008.yaml"]
    assert content(folder) == afresh(folder, tmp_path)


def test_a_file_that_was_only_touched_is_not_judged_again(folder):
    sync(folder, KNOWLEDGE, 1)
    before = content(folder)
    os.utime(folder / "c00000.yaml", (1, 1))
    assert sync(folder, KNOWLEDGE, 1).same == 6
    assert content(folder) == before


def test_another_rule_base_judges_everything_again(folder, tmp_path):
    sync(folder, KNOWLEDGE, 1)
    other = shutil.copytree(KNOWLEDGE, tmp_path / "knowledge")
    card = other / "causes" / "bent-shaft.yaml"
    card.write_text(card.read_text("utf-8").replace("common: sometimes", "common: rarely"), "utf-8")
    before = content(folder)
    done = sync(folder, other, 1)
    assert done.judged_again == 6
    assert content(folder) != before


def test_a_broken_case_is_told_each_time_and_gives_way_once_it_is_mended(folder, tmp_path):
    (folder / "c00000.yaml").write_text("case: [", "utf-8")
    for _ in range(2):
        assert list(sync(folder, KNOWLEDGE, 1).broken) == ["c00000.yaml"]
    site.write(folder, 0, site.case(0))
    done = sync(folder, KNOWLEDGE, 1)
    assert not done.broken
    assert content(folder) == afresh(folder, tmp_path)


def test_a_second_writer_is_told_to_wait_and_harms_nothing(folder):
    sync(folder, KNOWLEDGE, 1)
    before = content(folder)
    with s.written(folder), pytest.raises(BadInput, match="another process is syncing"):
        sync(folder, KNOWLEDGE, 1)
    assert content(folder) == before


def test_readers_go_on_while_a_transaction_is_under_way(folder):
    sync(folder, KNOWLEDGE, 1)
    before = content(folder)
    with s.written(folder) as store, store.transaction():
        store.db.execute("DELETE FROM file")
        assert content(folder) == before


@pytest.mark.slow
@pytest.mark.slow
def test_a_full_disk_keeps_what_was_done_before_and_the_next_run_does_the_rest(folder, tmp_path, monkeypatch):
    for i in range(10, 40):
        site.write(folder, i, {**site.case(i), "case": f"long {i} " * 300})
    monkeypatch.setattr(module, "A_BATCH", 4)
    connect = s._connect

    def nearly_full(path):
        db = connect(path)
        db.execute("PRAGMA max_page_count = 34")
        return db

    monkeypatch.setattr(s, "_connect", nearly_full)
    with pytest.raises(BadInput, match="disk is full"):
        sync(folder, KNOWLEDGE, 1)
    monkeypatch.setattr(s, "_connect", connect)
    done = sync(folder, KNOWLEDGE, 1)
    assert 0 < done.same < 36
    assert content(folder) == afresh(folder, tmp_path)


@pytest.mark.slow
def test_a_pool_and_a_cluster_give_the_index_that_one_process_gives(folder, tmp_path, monkeypatch):
    from dask.distributed import LocalCluster

    alone = afresh(folder, tmp_path)
    monkeypatch.setattr(module, "judged", batch.judged)
    sync(folder, KNOWLEDGE, 2)
    assert content(folder) == alone
    with LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=None) as cluster:
        assert sync(folder, KNOWLEDGE, 1, cluster=cluster.scheduler_address, afresh=True).new == 6
    assert content(folder) == alone


def test_a_failed_transaction_leaves_nothing_behind(shelf):
    store = shelf(site.seal())
    before = store.content()
    with pytest.raises(sqlite3.Error):
        store.put([s.Entry("a.yaml", s.Held("", "", "", ""), (site.seal(hours=object()),))])
    assert store.content() == before


@pytest.mark.parametrize("damage", [b"no database at all, but long enough to look like one " * 99, b""])
def test_a_damaged_index_is_made_anew_from_the_files(folder, tmp_path, damage):
    sync(folder, KNOWLEDGE, 1)
    s.remove(s.index_path(folder))
    s.index_path(folder).write_bytes(damage)
    assert sync(folder, KNOWLEDGE, 1).new == 6
    assert content(folder) == afresh(folder, tmp_path)


def test_an_index_whose_words_are_no_text_is_told_and_made_anew(folder, tmp_path):
    sync(folder, KNOWLEDGE, 1)
    path = s.index_path(folder)
    with contextlib.closing(sqlite3.connect(path)) as db:
        db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    path.write_bytes(path.read_bytes().replace(b"CREATE TABLE seal", b"CREATE TABLE sea\xb0"))
    with pytest.raises(BadInput, match="index cannot be read"), s.opened(folder):
        pass
    assert sync(folder, KNOWLEDGE, 1).new == 6
    assert content(folder) == afresh(folder, tmp_path)


def test_a_seal_comes_back_as_it_was_put_in(shelf):
    one = site.seal(
        tag="P-7", batch="B1", hours=None, cost=12.5, settings=(("service", "clean"), ("service", "water")),
        findings=(("a", True), ("b", False)), outcomes=(site.confirmed("x", "y", mechanisms=("z",), changed=("w",)),),
    )  # fmt: skip
    assert [found for _, _, found in shelf(one).seals()] == [one]


def test_a_folder_without_an_index_says_how_to_make_one(tmp_path):
    with pytest.raises(BadInput, match=r"there is no library here \(diagnose library sync"), s.opened(tmp_path):
        pass


@pytest.mark.parametrize(
    "damage", ["DELETE FROM word", "UPDATE seal SET outcomes = 'x'", "UPDATE seal SET outcomes = '[1]'"]
)
def test_an_index_whose_tables_do_not_fit_together_is_told_as_one(folder, damage):
    sync(folder, KNOWLEDGE, 1)
    with sqlite3.connect(s.index_path(folder)) as db:
        db.execute(damage)
    with pytest.raises(BadInput, match="cannot be read") as told, s.opened(folder) as store:
        list(store.seals())
    assert "--afresh" in told.value.problems[0].way_out


@pytest.mark.parametrize("column", ["hours = 'x'", "tag = x'ff'", "root_probability = 'x'", "none_of_these = NULL"])
def test_the_index_takes_no_value_of_another_kind(folder, column):
    sync(folder, KNOWLEDGE, 1)
    with sqlite3.connect(s.index_path(folder)) as db, pytest.raises(sqlite3.IntegrityError):
        db.execute(f"UPDATE seal SET {column}")


def test_an_index_with_other_tables_is_told_and_made_anew(folder, tmp_path):
    sync(folder, KNOWLEDGE, 1)
    with sqlite3.connect(s.index_path(folder)) as db:
        db.executescript("DROP TABLE verdict; CREATE TABLE verdict (seal, rank, kind, name, standing, probability)")
    with pytest.raises(BadInput, match="another version"), s.opened(folder):
        pass
    assert sync(folder, KNOWLEDGE, 1).new == 6
    assert content(folder) == afresh(folder, tmp_path)


@pytest.mark.parametrize("tells", ["x", "[]", '{"a": 1}', '{"a": ["x", 2]}'])
def test_what_findings_tell_is_told_as_damaged_where_it_is_none(folder, tells):
    sync(folder, KNOWLEDGE, 1)
    with sqlite3.connect(s.index_path(folder)) as db:
        db.execute("UPDATE about SET value = ? WHERE key = 'tells'", (tells,))
    with pytest.raises(BadInput, match="cannot be read"), s.opened(folder) as store:
        like(store, {"a": True}, 5)


def test_an_index_in_a_folder_without_rights_to_write_is_read_as_it_stands(folder, monkeypatch):
    sync(folder, KNOWLEDGE, 1)
    before = content(folder)
    monkeypatch.setattr(s.os, "access", lambda *_: False)
    with s.opened(folder) as store:
        assert store.content() == before
        with pytest.raises(sqlite3.OperationalError, match="readonly"):
            store.tell({"key": "value"})
    assert sorted(p.name for p in folder.glob(".diagnose*")) == [s.LOCK, s.INDEX]
    log = s.index_path(folder).with_name(s.INDEX + "-wal")
    log.write_bytes(b"what a crash has left")
    with s.opened(folder) as store:
        assert store.content() == before
    assert not log.exists()
