"""Journals whose lines are chained but say nothing a recorder says, cases held by a session, names that are no text."""

from __future__ import annotations

import fcntl
import os
import shutil
from datetime import UTC, datetime
from pathlib import Path

import pytest

from diagnose.casefile.journal import make_line, read_journal
from diagnose.reading.terms import HIDDEN
from tests.support.commands import ended

SMALL = Path(__file__).parents[1] / "small"
OLD = "case: old\nseal: {arrangement: single}\nhistory: {is: [repeated failures]}\n"


@pytest.fixture
def diagnose(tmp_path, monkeypatch, capsys):
    """Runs a command in a folder of its own; returns (exit code, output and errors)."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("DIAGNOSE_BY", "ann")

    def run(*words):
        code, out, err = ended(monkeypatch, capsys, *words)
        return code, out + err

    return run


@pytest.mark.parametrize(
    "what", [{"add": 3}, {"add": "observations", "entry": []}, {"set": 3, "to": {}}], ids=["bare", "list", "number"]
)
def test_a_chained_line_that_says_nothing_is_told(diagnose, what):
    diagnose("start", "a.yaml", "--arrangement", "single")
    (first,) = read_journal(Path("a.yaml.journal")).lines
    with open("a.yaml.journal", "a") as file:
        file.write(make_line(2, first.digest, what, "x", datetime.now(UTC)).text() + "\n")
    code, said = diagnose("journal", "a.yaml")
    assert code == 2 and "a.yaml.journal" in said and "unbroken copy" in said


def test_a_name_that_is_no_text_is_refused(diagnose):
    diagnose("start", "a.yaml", "--arrangement", "single")
    code, said = diagnose("note", "a.yaml", "--saw", "squeal", "--by", "\udcff")
    assert code == 2 and "--by NAME" in said


def test_a_lost_journal_is_told_when_a_new_one_begins(diagnose):
    diagnose("start", "a.yaml", "--arrangement", "single")
    Path("a.yaml.journal").write_bytes(b"")
    code, said = diagnose("note", "a.yaml", "--saw", "squeal")
    assert code == 0 and "a new one begins" in said


def test_a_case_that_a_session_holds_is_not_carried_over(diagnose):
    Path("o.yaml").write_text(OLD)
    with open("o.yaml.lock", "w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        code, said = diagnose("migrate", "o.yaml")
    assert (code, Path("o.yaml").read_text()) == (2, OLD) and "is recording this case" in said


def test_carrying_over_through_a_link_changes_the_file_it_names(diagnose):
    Path("o.yaml").write_text(OLD)
    os.symlink("o.yaml", "link.yaml")
    assert diagnose("migrate", "link.yaml")[0] == 0
    assert Path("link.yaml").is_symlink()
    assert "repeated short life" in Path("o.yaml").read_text()
    assert Path("o.yaml.before").read_text() == OLD


def test_a_rule_base_without_causes_still_explains(diagnose, tmp_path):
    shutil.copytree(SMALL / "knowledge", tmp_path / "rules", ignore=shutil.ignore_patterns("causes"))
    code, said = diagnose("explain", str(SMALL / "case.yaml"), "--knowledge", "rules")
    assert code == 0 and "faces overheated" in said


@pytest.mark.parametrize(
    "words", [["trail", str(SMALL / "case.yaml"), "-o", "{}.json"], ["rules", "schema", "-o", "{}"]]
)
def test_a_file_name_that_could_steer_the_terminal_is_told_without_that(diagnose, words):
    name = "two\u202e\x1b[31m"
    code, said = diagnose(*(w.format(name) for w in words), "--knowledge", str(SMALL / "knowledge"))
    assert code == 0 and "two" in said and not HIDDEN.search(said)
