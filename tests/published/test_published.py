"""The rule base on what others published: cases, patterns and symptom tables, each with its source in its file."""

from __future__ import annotations

from pathlib import Path

import pytest

from diagnose.authoring.agreement import by_table, read_rows
from diagnose.authoring.score import score, score_folder
from diagnose.casefile.model import Observation, lone
from diagnose.inference.run import infer
from diagnose.judgement.judge import judge
from diagnose.reading.problems import Problems

HERE = Path(__file__).parent
SCENARIOS = HERE.parents[1] / "scenarios"


@pytest.fixture(scope="module")
def scored(whole_base):
    result, problems = score_folder(HERE, whole_base)
    assert not problems, [str(p) for p in problems]
    return result


def test_detailed_entries_have_the_right_leading_cause(scored):
    result = score(scored)
    assert result["detailed"]["n"] >= 50
    assert result["detailed"]["top1"] >= 0.85


def test_the_source_s_cause_is_among_the_first_three(scored):
    assert score(scored)["top3"] >= 0.92


def test_nothing_established_is_wrong(scored):
    assert score(scored)["established_wrong"] == 0


def test_what_is_said_and_what_is_right_agree(scored):
    assert score(scored)["ece"] <= 0.10


def test_every_miss_is_listed_with_its_reason(scored):
    told = (HERE / "README.md").read_text("utf-8")
    misses = {Path(m["case"]).name[:3] for m in score(scored)["misses"]}
    assert misses == {m for m in misses if f"| {m} |" in told}


def test_symptom_tables_bring_the_causes_they_list(whole_base, whole_network):
    problems = Problems()
    rows = read_rows(HERE / "symptoms.yaml", whole_base, whole_network, problems)
    assert not problems.found, [str(p) for p in problems.found]
    tables = by_table(rows)
    assert len(tables) >= 4 and len(rows) >= 50
    assert sum(r.among_first for r in rows) / len(rows) >= 0.90
    assert sum(r.recalled for r in rows) / len(rows) >= 0.75


def test_one_observation_alone_never_establishes_anything(whole_base, whole_network):
    vocabulary = whole_base.knowledge.vocabulary
    for feature in vocabulary.features.values():
        for kind in feature.on:
            known = vocabulary.kinds[kind]
            position = "machine" if known.place == "machine" else "seal"
            o = Observation("o1", feature.name, "present", kind, position, group=known.group)
            (judgement,) = judge(infer(lone(o), whole_base), whole_network)
            assert [j.cause for j in judgement.causes if j.standing == "established"] == [], (feature.name, kind)


def test_scenarios_lead_with_what_they_show(whole_base):
    result, problems = score_folder(SCENARIOS, whole_base)
    figures = score(result)
    assert not problems and figures["n"] >= 8
    assert figures["misses"] == [] and figures["established_wrong"] == 0 and figures["not_ruled_out"] == []
