"""A report shows what was confirmed beside what was concluded, and through whose hands the parts went."""

from __future__ import annotations

import shutil

from tests.support.commands import diagnose
from tests.support.places import SMALL


def test_conclusion_and_outcome_stand_side_by_side_in_the_report(tmp_path, closing_rules):
    file, report = tmp_path / "case.yaml", tmp_path / "report.md"
    shutil.copy(SMALL / "case.yaml", file)
    assert diagnose("report", str(file), "-o", str(report), **closing_rules).returncode == 0
    assert "Conclusion and outcome" not in report.read_text("utf-8") and "This case has no journal" in report.read_text(
        "utf-8"
    )
    for words in (
        ("close", str(file), "--root", "dry running", "--how", "laboratory", "--changed", "vent line fitted", "--by", "Ben"),
        ("close", str(file), "--none-of-these", "--said", "a valve shut by a contractor", "--how", "lab", "--by", "Cleo"),
        ("custody", str(file), "--did", "receive", "--from", "the site", "--bag", "B-17", "--by", "Anna", "--when", "2026-03-12"),
    ):  # fmt: skip
        done = diagnose(*words, **closing_rules)
        assert done.returncode == 0, done.stderr
    assert diagnose("report", str(file), "-o", str(report), **closing_rules).returncode == 0
    text = report.read_text("utf-8")
    (row,) = [line for line in text.splitlines() if "vent line fitted" in line]
    assert (
        "dry running (probable, 71 %)" in row
        and "dry running: number 1, probable, 71 %" in row
        and "laboratory, Ben" in row
    )
    (other,) = [line for line in text.splitlines() if "a valve shut by a contractor" in line]
    assert "none of the causes that the rule base knows" in other and "none of the causes: 29 %" in other
    assert "2026-03-12 receive by Anna from the site, bag B-17" in text and "Journal of 4 lines, head " in text
