"""What the writer writes, the reader gives back; a file is replaced whole or not at all."""

from __future__ import annotations

import os

import pytest
from hypothesis import given
from hypothesis import strategies as st

from diagnose.casefile.writer import put, render
from diagnose.reading.located import read_text
from diagnose.reading.problems import Problems

texts = st.text(st.characters(exclude_categories=["Cs", "Cc"]), max_size=15) | st.sampled_from(
    [
        "null",
        "~",
        "",
        "yes",
        "1:30",
        "- x",
        "a: b",
        "a #b",
        "[x]",
        "{",
        "&a",
        "*a",
        "!t",
        "%",
        "@",
        "`",
        "?",
        "|",
        ">",
        "line\nbreak",
        "tab\t",
        "10 to 2",
        "96 °C",
        " lead",
        "trail ",
        "'",
        '"',
        "\\",
        "\u2028",
        "\ufeff",
        "\u00a0",
        "😀",
    ]
)
entries = st.dictionaries(texts, texts | st.lists(texts, max_size=3), max_size=4)
documents = st.dictionaries(texts, texts | entries | st.lists(entries, min_size=1, max_size=3), max_size=5)


@given(documents)
def test_a_document_reads_back_unchanged(document):
    problems = Problems()
    node = read_text(render(document, "a heading"), "x.yaml", problems)
    if document:
        assert problems.found == []
        assert node.plain() == document


def test_it_looks_as_people_write_it():
    document = {
        "case": "Pump 3",
        "service": {"temperature": "96 °C", "is": ["hot water"]},
        "observations": [{"part": "1", "saw": "blisters", "extent": "10 to 2"}],
    }
    assert render(document).decode() == (
        "case: Pump 3\nservice:\n  temperature: 96 °C\n  is: [hot water]\n"
        "observations:\n  - {part: 1, saw: blisters, extent: 10 to 2}\n"
    )


@pytest.mark.parametrize("fails", ["fsync", "replace", "open"])
def test_a_failed_replacement_leaves_the_old_file_and_no_litter(tmp_path, monkeypatch, fails):
    path = tmp_path / "case.yaml"
    path.write_bytes(b"old")
    monkeypatch.setattr(os, fails, _refuse)
    with pytest.raises(OSError, match="No space"):
        put(path, b"new")
    monkeypatch.undo()
    assert path.read_bytes() == b"old"
    assert [p.name for p in tmp_path.iterdir()] == ["case.yaml"]


def _refuse(*_, **__):
    raise OSError(28, "No space left on device")


def test_permissions_of_the_file_stay(tmp_path):
    path = tmp_path / "case.yaml"
    path.write_bytes(b"old")
    path.chmod(0o640)
    put(path, b"new")
    assert (path.read_bytes(), path.stat().st_mode & 0o777) == (b"new", 0o640)
