"""What commands write never goes over a case, its journal, a photo or a rule base."""

from __future__ import annotations

import errno
import hashlib
import os
import shutil
from pathlib import Path

import pytest

from diagnose.cli.output import refuse_over_input, write
from diagnose.reading.problems import BadInput
from tests.support.commands import ended

SMALL = Path(__file__).parents[1] / "small" / "knowledge"
CASE = "case: Pump 3\nseal: {arrangement: single}\nobservations:\n  - {saw: bent, on: shaft, photo: a.jpg}\n"


@pytest.fixture
def diagnose(tmp_path, monkeypatch, capsys):
    """Runs a command in a folder that holds a rule base, a case with its journal, and a photo: (exit code, errors)."""
    shutil.copytree(SMALL, tmp_path / "rules")
    for name, text in (
        ("a.yaml", CASE),
        ("a.yaml.journal", "{}\n"),
        ("a.jpg", "light"),
        ("a.json", ""),
        ("old.svg", ""),
    ):
        (tmp_path / name).write_text(text)
    (tmp_path / "a.json").write_text('{"case": "Pump 3", "seal": {"arrangement": "single"}}')
    (tmp_path / "b.md").symlink_to("a.json")
    os.link(tmp_path / "a.json", tmp_path / "c.svg")
    (tmp_path / "d.svg").symlink_to("later.yaml.journal")
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("DIAGNOSE_KNOWLEDGE", "rules")

    def run(*words):
        code, _, err = ended(monkeypatch, capsys, *words)
        return code, err

    return run


def everything(folder: Path) -> dict[str, bytes]:
    return {str(p): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}


@pytest.mark.parametrize(
    "words",
    [
        ["trail", "a.yaml", "-o", "a.yaml"],
        ["trail", "a.yaml", "-o", "a.yaml.journal"],
        ["trail", "a.json", "-o", "./a.json"],
        ["trail", "a.yaml", "-o", "new.yaml.journal"],
        ["trail", "a.json", "-o", "a.jpg"],
        ["graph", "a.json", "-o", "a.json"],
        ["graph", "a.json", "-o", "c.svg"],
        ["graph", "a.json", "-o", "d.svg"],
        ["report", "a.json", "-o", "b.md"],
        ["trail", "a.json", "-o", "rules/words.yaml"],
        ["rules", "test", "--junit", "a.json"],
        ["rules", "schema", "-o", "."],
        ["trail", "a.yaml", "-o", "a.json"],
        ["rules", "test", "--junit", "a.yaml"],
        ["rules", "coverage", "--html", "a.yaml"],
        ["rules", "test", "--junit", "rules/causes/bent-shaft.yaml"],
        ["drill", "a.yaml", "--save", "a.yaml"],
    ],
)
def test_an_output_over_an_input_is_refused_and_nothing_changes(diagnose, tmp_path, words):
    before = everything(tmp_path)
    code, errors = diagnose(*words)
    assert code == 2 and "nothing is written" in errors and "name another file" in errors
    assert everything(tmp_path) == before


def test_an_earlier_result_is_written_anew(diagnose, tmp_path):
    code, errors = diagnose("graph", "a.yaml", "-o", "old.svg")
    assert (code, errors) == (0, "") and "<svg" in (tmp_path / "old.svg").read_text()
    code, errors = diagnose("rules", "test", "--junit", "new.xml")
    assert errors == "" and "<testsuite" in (tmp_path / "new.xml").read_text()


def test_an_earlier_result_stays_where_the_disk_is_full(tmp_path, monkeypatch):
    earlier = tmp_path / "earlier.html"
    earlier.write_bytes(b"earlier")

    def full(*_):
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(BadInput, match="No space left"):
        write(earlier, b"later")
    assert [p.read_bytes() for p in tmp_path.iterdir()] == [b"earlier"]


def test_a_result_goes_through_a_link_to_its_file_and_to_what_is_no_file(tmp_path):
    (tmp_path / "link").symlink_to(tmp_path / "file")
    (tmp_path / "file").write_bytes(b"earlier")
    write(tmp_path / "link", b"later")
    write(Path("/dev/null"), b"later")
    assert (tmp_path / "file").read_bytes() == b"later" and (tmp_path / "link").is_symlink()


def test_a_place_that_cannot_be_written_is_told(tmp_path):
    with pytest.raises(BadInput, match="cannot write: Is a directory"):
        write(tmp_path, b"x")
    refuse_over_input(None)
    refuse_over_input(tmp_path / "not there.html", [tmp_path])


def test_a_trail_is_verified_against_the_files_of_the_rule_base_and_not_their_kept_copy(
    diagnose, tmp_path, monkeypatch
):
    """A copy that was changed together with the digest in its head is believed; the certificate must not rest on it."""
    monkeypatch.setenv("DIAGNOSE_CACHE", str(tmp_path / "cache"))
    assert diagnose("trail", "a.yaml", "-o", "t.json")[0] == 0
    (copy,) = (tmp_path / "cache").glob("*.json")
    head, _, encoded = copy.read_bytes().partition(b"\n")
    forged = encoded.replace(b'"often":0.1,', b'"often":0.9,')
    assert forged != encoded
    was, now = (hashlib.sha256(x).hexdigest().encode() for x in (encoded, forged))
    copy.write_bytes(head.replace(was, now) + b"\n" + forged)
    assert diagnose("verify", "t.json")[0] == 0
    assert diagnose("trail", "a.yaml", "-o", "forged.json")[0] == 0
    assert diagnose("verify", "forged.json")[0] == 1
