"""Pipes, devices, endless files and names that are no UTF-8, wherever a command reads a file."""

from __future__ import annotations

import csv
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from diagnose.reading.files import read_file, shown_name
from diagnose.reading.problems import BadInput
from diagnose.training.progress import read_progress

pytestmark = pytest.mark.slow

ROOT = Path(__file__).parents[2]
SMALL = ROOT / "tests" / "small"
ODD = b"\xff\xfe.yaml"


@pytest.fixture
def diagnose(tmp_path):
    """Runs a command in a folder that holds a small rule base and a case: (exit code, output, errors). A command that
    waits or reads without end fails."""
    shutil.copytree(SMALL / "knowledge", tmp_path / "rules")
    shutil.copy(SMALL / "case.yaml", tmp_path / "a.yaml")
    env = {
        **os.environ,
        "PYTHONPATH": str(ROOT),
        "DIAGNOSE_KNOWLEDGE": "rules",
        "DIAGNOSE_CACHE": str(tmp_path / "cache"),
    }

    def run(*words: str | bytes) -> tuple[int, str, str]:
        call = [sys.executable, "-m", "diagnose", *words]
        done = subprocess.run(call, cwd=tmp_path, env=env, capture_output=True, timeout=60, check=False)
        return done.returncode, done.stdout.decode(), done.stderr.decode()

    return run


def make(path: Path, what: str) -> None:
    if what == "pipe":
        os.mkfifo(path)
    else:
        path.symlink_to("/dev/zero")


@pytest.mark.parametrize("what", ["pipe", "device"])
def test_what_is_no_ordinary_file_is_refused_at_once(diagnose, tmp_path, what):
    make(tmp_path / "odd.yaml", what)
    make(tmp_path / "a.yaml.photo.png", what)
    for words in (
        ["explain", "odd.yaml"],
        ["verify", "odd.yaml"],
        ["trail", "odd.yaml"],
        ["record", "odd.yaml", "--plain"],
        ["note", "a.yaml", "--saw", "bent", "--on", "shaft", "--photo", "a.yaml.photo.png"],
    ):
        code, _, errors = diagnose(*words)
        assert code == 2, words
        assert "Traceback" not in errors
        assert "no ordinary file" in errors or "not beside the case" in errors, (words, errors)


@pytest.mark.parametrize("what", ["pipe", "device"])
def test_a_journal_that_is_no_ordinary_file_is_refused(diagnose, tmp_path, what):
    make(tmp_path / "a.yaml.journal", what)
    code, _, errors = diagnose("journal", "a.yaml", "--check")
    assert (code, "no ordinary file" in errors) == (2, True), errors


@pytest.mark.parametrize("what", ["pipe", "device"])
def test_a_rule_base_with_such_a_file_is_refused_with_and_without_a_copy_of_it(diagnose, tmp_path, what):
    assert diagnose("explain", "a.yaml")[0] == 0
    make(tmp_path / "rules" / "causes" / "odd.yaml", what)
    for words in (["explain", "a.yaml"], ["explain", "a.yaml"], ["rules", "check"]):
        code, out, errors = diagnose(*words)
        assert code in (1, 2)
        assert "rules/causes/odd.yaml" in out + errors
        assert "no ordinary file" in out + errors


@pytest.mark.parametrize("what", ["pipe", "device"])
def test_a_copy_of_the_rule_base_that_is_no_ordinary_file_is_made_anew(diagnose, tmp_path, what):
    answer = diagnose("explain", "a.yaml")
    copies = list((tmp_path / "cache").glob("knowledge-*.json"))
    assert copies
    for copy in copies:
        copy.unlink()
        make(copy, what)
    assert diagnose("explain", "a.yaml") == answer


def test_a_name_that_is_no_utf8_is_a_case_like_any_other(diagnose, tmp_path):
    odd = os.path.join(os.fsencode(tmp_path), ODD)
    shutil.copy(tmp_path / "a.yaml", odd)
    code, out, _ = diagnose("explain", ODD)
    assert (code, out) == diagnose("explain", "a.yaml")[:2]
    for name in ("a.html", "a.md"):
        assert diagnose("report", ODD, "-o", name)[0] == 0
    assert diagnose("trail", ODD, "-o", "a.json")[0] == 0
    assert diagnose("verify", "a.json")[0] == 0
    code, _, errors = diagnose("batch", ".", "-o", "table.csv")
    assert (code, "Traceback" in errors) == (1, False)
    rows = list(csv.DictReader((tmp_path / "table.csv").open(encoding="utf-8")))
    assert {row["file"] for row in rows} >= {"a.yaml", "\\xff\\xfe.yaml"}


def test_a_rule_with_such_a_name_is_told_by_it(diagnose, tmp_path):
    some = next((tmp_path / "rules" / "causes").glob("*.yaml"))
    shutil.copy(some, os.path.join(os.fsencode(tmp_path / "rules" / "causes"), ODD))
    for words in (["explain", "a.yaml"], ["rules", "check"], ["rules", "check", "--format", "sarif"]):
        code, out, errors = diagnose(*words)
        assert code in (1, 2)
        assert "Traceback" not in errors
        assert "xff" in out + errors


def test_a_file_is_read_whole_up_to_a_limit(tmp_path):
    path = tmp_path / "f"
    path.write_bytes(b"x" * 3_000_000)
    assert len(read_file(path, 3_000_000)) == 3_000_000
    with pytest.raises(OSError, match="larger than 2,999,999 bytes"):
        read_file(path, 2_999_999)
    for missing in (tmp_path, tmp_path / "none"):
        with pytest.raises(OSError):
            read_file(missing, 10)


def test_names_are_shown_as_text():
    assert shown_name(Path(os.fsdecode(b"a/\xe9\xff.yaml"))) == "a/\\xe9\\xff.yaml"
    assert shown_name(Path("a/é.yaml")) == "a/é.yaml"


@pytest.mark.parametrize("make", [os.mkfifo, lambda path: path.symlink_to("/dev/zero"), Path.mkdir])
def test_progress_that_is_no_ordinary_file_is_not_waited_for(tmp_path, make):
    make(tmp_path / "odd")
    with pytest.raises(OSError, match=r"no ordinary file|directory"):
        read_progress(tmp_path / "odd")
    (tmp_path / "deep").write_text("[" * 100_000)
    with pytest.raises(BadInput):
        read_progress(tmp_path / "deep")


def test_progress_that_cannot_be_written_is_told_before_the_drill(diagnose, tmp_path):
    code, _, errors = diagnose("drill", str(SMALL / "case.yaml"), "--save", str(tmp_path / "nowhere" / "p.jsonl"))
    assert code == 2 and "your progress cannot be written here" in errors
