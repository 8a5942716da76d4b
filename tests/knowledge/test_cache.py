"""The kept copy of a rule base: the same objects, never a stale or damaged one."""

from __future__ import annotations

import hashlib
import os
import shutil
import time
from pathlib import Path

import pytest

from diagnose.knowledge.cache import MADE_BY, _model_digest, decode, encode, open_knowledge
from diagnose.knowledge.reader import read_knowledge

SMALL = Path(__file__).parents[1] / "small" / "knowledge"


@pytest.fixture
def cache(tmp_path, monkeypatch):
    monkeypatch.setenv("DIAGNOSE_CACHE", str(tmp_path / "cache"))
    return tmp_path / "cache"


def test_decoded_is_what_was_encoded():
    knowledge = read_knowledge(SMALL)
    again = decode(encode(knowledge))
    assert again == knowledge
    name = next(iter(knowledge.findings))
    assert again.findings[name].where == knowledge.findings[name].where and again.findings[name].where.line > 0


def test_a_second_opening_reads_the_copy(cache, monkeypatch):
    first = open_knowledge(SMALL)
    monkeypatch.setattr("diagnose.knowledge.cache.read_knowledge", lambda *_: pytest.fail("parsed again"))
    assert open_knowledge(SMALL) == first


def test_a_changed_byte_in_any_file_is_read_anew(cache, tmp_path):
    folder = tmp_path / "knowledge"
    shutil.copytree(SMALL, folder)
    before = open_knowledge(folder)
    path = folder / "causes" / "bent-shaft.yaml"
    path.write_text(path.read_text("utf-8").replace("common: sometimes", "common: rarely"), "utf-8")
    after = open_knowledge(folder)
    assert (before.causes["bent shaft"].common, after.causes["bent shaft"].common) == ("sometimes", "rarely")
    assert before.digest != after.digest


@pytest.mark.parametrize(
    "damaged",
    [
        lambda whole: b"",
        lambda whole: b"{",
        lambda whole: b"[]",
        lambda whole: whole[: len(whole) // 2],
        lambda whole: whole.replace(b'"findings":{', b'"findings":{"more":1,'),
        lambda whole: whole.replace(b'.yaml",1,', b'.yaml","one",'),
        lambda whole: whole.partition(b"\n")[0] + b"\n" + b"[" * 100_000,
    ],
)
def test_a_damaged_copy_is_made_anew(cache, damaged):
    first = open_knowledge(SMALL)
    (path,) = cache.glob("*.json")
    whole = path.read_bytes()
    assert damaged(whole) != whole
    path.write_bytes(damaged(whole))
    assert open_knowledge(SMALL) == first
    assert path.read_bytes().partition(b"\n")[2] == encode(first)


def test_without_a_cache_folder_the_tool_goes_on(tmp_path, monkeypatch):
    blocked = tmp_path / "file"
    blocked.write_text("x", "utf-8")
    for value in ("off", str(blocked / "below")):
        monkeypatch.setenv("DIAGNOSE_CACHE", value)
        assert open_knowledge(SMALL).causes


@pytest.mark.parametrize("age", [0, 5])
def test_a_copy_with_another_number_in_it_is_not_believed(cache, tmp_path, age):
    folder = tmp_path / "knowledge"
    shutil.copytree(SMALL, folder)
    for path in folder.rglob("*.yaml"):
        os.utime(path, ns=(time.time_ns() - age * 10**9,) * 2)
    first = open_knowledge(folder)
    (path,) = cache.glob("*.json")
    head, _, encoded = path.read_bytes().partition(b"\n")
    poisoned = encoded.replace(b'"established":0.9', b'"established":0.0')
    assert decode(poisoned) != first
    path.write_bytes(head + b"\n" + poisoned)
    assert open_knowledge(folder) == first
    assert path.read_bytes().partition(b"\n")[2] == encoded


@pytest.mark.parametrize("others", ["may write it", "wrote it"])
def test_a_copy_that_somebody_else_could_have_written_is_not_believed(cache, monkeypatch, others):
    first = open_knowledge(SMALL)
    (path,) = cache.glob("*.json")
    head, _, encoded = path.read_bytes().partition(b"\n")
    forged = encoded.replace(b'"established":0.9', b'"established":0.0')
    was, now = (hashlib.sha256(x).hexdigest().encode() for x in (encoded, forged))
    path.write_bytes(head.replace(was, now) + b"\n" + forged)
    assert open_knowledge(SMALL) == decode(forged)  # what this user writes is this user's
    if others == "may write it":
        path.chmod(0o666)
    else:
        monkeypatch.setattr(os, "geteuid", lambda: path.stat().st_uid + 1)
    assert open_knowledge(SMALL) == first


@pytest.mark.parametrize("file", ["units.json", "units.py", "located.py"])
def test_another_table_of_units_or_reader_makes_another_copy(cache, tmp_path, monkeypatch, file):
    reading = tmp_path / "reading"
    shutil.copytree(MADE_BY[1], reading)
    monkeypatch.setattr("diagnose.knowledge.cache.MADE_BY", (MADE_BY[0], reading))
    _model_digest.cache_clear()
    try:
        before = _model_digest()
        (reading / file).write_bytes((reading / file).read_bytes() + b" ")
        _model_digest.cache_clear()
        assert _model_digest() != before
    finally:
        _model_digest.cache_clear()
