"""The rule base on what others published: cases, patterns and symptom tables, each with its source in its file."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import pytest
from typer.testing import CliRunner

from diagnose.cli.main import commands
from diagnose.evaluation.agreement import by_table, read_rows
from diagnose.evaluation.score import cases_in, score, score_all
from diagnose.reading.problems import BadInput, Problems

pytestmark = pytest.mark.slow

HERE = Path(__file__).parent
SCENARIOS = HERE.parents[1] / "scenarios"


@pytest.fixture(scope="module")
def scored(whole_base):
    result, silent, problems = score_all(cases_in(HERE), whole_base)
    assert silent == 0
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


def test_every_miss_is_listed_with_its_leading_cause_and_reason(scored):
    rows = [line.split(" | ") for line in (HERE / "README.md").read_text("utf-8").split("## Misses")[1].splitlines()]
    told = {row[0].strip("| "): row[1] for row in rows if len(row) == 4 and row[0].strip("| ").isdigit()}
    assert told == {Path(m["case"]).name[:3]: m["leading"] for m in score(scored)["misses"]}


def test_the_figures_that_are_told_are_those_that_are_computed(scored):
    """Every figure of the README's table and of this folder's, as `diagnose score` gives it."""
    result = score(scored)
    stated = result["stated"]

    def share(of: dict, key: str) -> str:
        low, high = of[f"{key}_interval"]
        return f"{of[key]:.1%} ({low:.1%} to {high:.1%})"

    readme = (HERE.parents[1] / "README.md").read_text("utf-8")
    for row in (
        f"| entries | {result['n']} |",
        f"| leading cause right | {share(result, 'top1')} |",
        f"| … of the {result['detailed']['n']} entries with three or more records | {share(result['detailed'], 'top1')} |",
        f"| right cause among the first three | {share(result, 'top3')} |",
        f"of the {stated['n']} entries that state one | {share(stated, 'top1')} |",
        f"| … of their {stated['detailed']['n']} with three or more records | {share(stated['detailed'], 'top1')} |",
        f"| … among the first three | {share(stated, 'top3')} |",
        f"| established and wrong | {result['established_wrong']} |",
        f"the cause it states | {stated['established_other']} |",
        f"| log loss, Brier score | {result['log_loss']:.2f}, {result['brier']:.3f} |",
        f"one of k listed causes counts 1/k | {result['ece']:.3f} |",
        f"any listed cause counts in full | {result['ece_any_listed']:.3f} |",
    ):
        assert row in readme, row
    here = (HERE / "README.md").read_text("utf-8")
    numbers = [int(Path(s.path).name[:3]) for s in scored]
    happened = [s for s, n in zip(scored, numbers, strict=True) if n <= 32 or n == 87 or 103 <= n <= 127]
    groups = {
        "all": scored,
        "three records or more": [s for s in scored if s.records >= 3],
        "cases": happened,
        "patterns": [s for s in scored if s not in happened],
    }
    for name, group in groups.items():
        assert _row(name, score(group)) in here, name
        assert _row(f"stricter: {name}", score(group)["stated"]) in here, name
    for figure in (result["ece"], result["ece_any_listed"], result["brier"]):
        assert f"{figure:.3f}" in here


def _row(name: str, of: dict) -> str:
    cells = [
        f"{round(of[k] * of['n'])}, {100 * of[k]:.3g} % | {_interval(*of[f'{k}_interval'])}" for k in ("top1", "top3")
    ]
    return f"| {name} | {of['n']} | {' | '.join(cells)} |"


def _interval(low: float, high: float) -> str:
    return f"{100 * low:.1f} to {100 * high:.3g} %"


def test_both_pages_tell_the_same_of_the_halves():
    both = [(HERE.parents[1] / "README.md").read_text("utf-8"), (HERE / "README.md").read_text("utf-8")]
    told = [re.search(r"calibration error (?:is )?([0-9.]+ to [0-9.]+),\s+(?:mean )?([0-9.]+)", text) for text in both]
    assert told[0] and told[1] and told[0].groups() == told[1].groups()


def test_a_folder_without_expectations_is_refused(tmp_path):
    (tmp_path / "a.yaml").write_text("case: A\nobservations: [{saw: leak when standing}]\n")
    with pytest.raises(BadInput, match="no case has an expected: block"):
        call(tmp_path)
    with pytest.raises(BadInput, match="there is no case to score"):
        call(SCENARIOS.parent / "diagnose")


def test_cases_without_expectations_are_told_beside_the_others(tmp_path):
    (tmp_path / "a.yaml").write_text("case: A\nobservations: [{saw: leak when standing}]\n")
    shutil.copy(SCENARIOS / "thin-record.yaml", tmp_path)
    assert "left out, as they have no expected: 1" in call(tmp_path)


def test_score_says_which_cases_the_reliability_leaves_out():
    told = " ".join(call(SCENARIOS).split())
    assert "The 2 cases that expect none of these have no cause to be right about and are not counted here" in told


def test_hidden_folders_and_environments_are_not_searched(tmp_path):
    for place in ("deep", ".git", "venv/lib"):
        (tmp_path / place).mkdir(parents=True)
        (tmp_path / place / "a.yaml").write_text("case: A\n")
    (tmp_path / "venv" / "pyvenv.cfg").write_text("")
    assert cases_in(tmp_path) == [tmp_path / "deep" / "a.yaml"]


def call(folder: Path) -> str:
    result = CliRunner().invoke(commands("score"), ["score", str(folder)])
    if result.exception:
        raise result.exception
    return result.output


def test_symptom_tables_bring_the_causes_they_list(whole_base, whole_network):
    problems = Problems()
    rows = read_rows(HERE / "symptoms.yaml", whole_base, whole_network, problems)
    assert not problems.found, [str(p) for p in problems.found]
    tables = by_table(rows)
    assert len(tables) >= 4 and len(rows) >= 50
    assert sum(r.among_first for r in rows) / len(rows) >= 0.90
    assert sum(r.recalled for r in rows) / len(rows) >= 0.75


def test_scenarios_lead_with_what_they_show(whole_base):
    result, _, problems = score_all(cases_in(SCENARIOS), whole_base)
    figures = score(result)
    assert not problems and figures["n"] >= 8
    assert figures["misses"] == [] and figures["established_wrong"] == 0 and figures["not_ruled_out"] == []
