"""The kept copy of a rule base: the same objects, never a stale or damaged one."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from diagnose.knowledge.cache import decode, encode, open_knowledge
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


@pytest.mark.parametrize("damaged", [
    lambda whole: b"", lambda whole: b"{", lambda whole: b"[]", lambda whole: whole[: len(whole) // 2],
    lambda whole: whole.replace(b'"findings":{', b'"findings":{"more":1,'), lambda whole: whole.replace(b'"line":1', b'"line":"one"'),
    lambda whole: whole.partition(b"\n")[0] + b"\n" + b"[" * 100_000,
])  # fmt: skip
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
