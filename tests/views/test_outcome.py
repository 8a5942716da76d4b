"""A report shows what was confirmed beside what was concluded, and through whose hands the parts went."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from tests.support.commands import diagnose
from tests.support.places import ROOT


@pytest.fixture
def file(tmp_path: Path) -> Path:
    path = tmp_path / "case.yaml"
    shutil.copy(ROOT / "scenarios" / "condensate-pump-dry-start.yaml", path)
    return path


def test_conclusion_and_outcome_stand_side_by_side_in_the_report(file):
    for words in (
        ("close", str(file), "--root", "gas not vented", "--how", "strip-down", "--changed", "vent line fitted", "--when", "2026-06-20"),
        ("close", str(file), "--none-of-these", "--said", "a valve shut by a contractor", "--how", "laboratory", "--by", "Cleo"),
        ("custody", str(file), "--did", "receive", "--from", "the site", "--bag", "B-17", "--by", "Anna", "--when", "2026-03-12"),
    ):  # fmt: skip
        assert diagnose(*words).returncode == 0
    report = file.with_name("report.md")
    assert diagnose("report", str(file), "-o", str(report)).returncode == 0
    text = report.read_text("utf-8")
    (row,) = [line for line in text.splitlines() if "strip-down" in line]
    assert (
        "gas not vented (established" in row
        and "gas not vented: number 1, established" in row
        and "vent line fitted" in row
    )
    (other,) = [line for line in text.splitlines() if "a valve shut by a contractor" in line]
    assert "none of the causes that the rule base knows" in other and "laboratory, Cleo" in other
    assert "2026-03-12 receive by Anna from the site, bag B-17" in text and "Journal of 4 lines, head " in text


def test_a_report_of_an_open_case_has_no_outcome(file):
    report = file.with_name("report.md")
    assert diagnose("report", str(file), "-o", str(report)).returncode == 0
    text = report.read_text("utf-8")
    assert "Conclusion and outcome" not in text and "This case has no journal" in text
