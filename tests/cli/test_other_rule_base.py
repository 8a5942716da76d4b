"""A rule base of other seals or machines: nothing that the shipped one has is taken for granted."""

from __future__ import annotations

from pathlib import Path

import pytest

from diagnose.casefile.reader import parse_case
from diagnose.inference.run import load
from diagnose.reading.entry import replace
from diagnose.reading.problems import Problems
from tests.support.commands import diagnose, ended

SMALL = Path(__file__).parents[1] / "small"


def test_a_case_that_names_a_setting_the_base_has_not_is_told_so():
    base = load(SMALL / "knowledge").knowledge
    settings = {name: s for name, s in base.vocabulary.settings.items() if name != "arrangement"}
    other = replace(base, vocabulary=replace(base.vocabulary, settings=settings))
    problems = Problems()
    parse_case((SMALL / "case.yaml").read_bytes(), "case.yaml", other, problems)
    assert [(p.code, p.where.line) for p in problems.errors()] == [("unknown-key", 4)]


@pytest.mark.slow
@pytest.mark.slow
@pytest.mark.parametrize("words", [["rules", "coverage"], ["rules", "mutate", "--most", "100"]])
def test_the_shipped_scenarios_are_not_held_against_another_rule_base(monkeypatch, capsys, words):
    monkeypatch.setenv("DIAGNOSE_KNOWLEDGE", str(SMALL / "knowledge"))
    monkeypatch.setenv("DIAGNOSE_CACHE", "off")
    assert ended(monkeypatch, capsys, *words)[0] == 0


def test_a_rule_base_without_an_order_of_dismantling_cannot_lead_a_recording(tmp_path):
    case = tmp_path / "case.yaml"
    case.write_bytes((SMALL / "case.yaml").read_bytes())
    told = diagnose("record", str(case), "--plain", "--knowledge", str(SMALL / "knowledge"))
    assert told.returncode == 2 and "no order of dismantling" in told.stderr and "diagnose note" in told.stderr
    assert not (tmp_path / "case.yaml.journal").exists()
