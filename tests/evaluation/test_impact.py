"""Two versions of a rule base over a library of cases."""

from __future__ import annotations

import json
import os
import shutil
import subprocess

import pytest

from diagnose.evaluation.impact import card_changes, effect, next_version, versions
from diagnose.inference.run import load
from tests.support.places import SMALL
from tests.support.workshop import call, copied_base

CASE = """
case: {name}
observations:
  - {{saw: leak when standing}}
  - {{on: O-ring, {ring}: hardened}}
  - {{on: shaft, {shaft}: bent}}
expected: {{cause: {cause}}}
"""


@pytest.fixture
def two(tmp_path):
    """The small rule base, a copy of it, and three cases."""
    old = copied_base(tmp_path / "old")
    new = tmp_path / "new" / "knowledge"
    shutil.copytree(old, new)
    cases = tmp_path / "cases"
    cases.mkdir()
    (cases / "bent.yaml").write_text(CASE.format(name="Bent", ring="absent", shaft="saw", cause="bent shaft"))
    (cases / "true.yaml").write_text(CASE.format(name="True", ring="saw", shaft="absent", cause="dry running"))
    shutil.copy(SMALL / "case.yaml", cases / "small.yaml")
    return old, new, cases


def change(folder, name, old, new):
    path = folder / name
    text = path.read_text()
    assert old in text
    path.write_text(text.replace(old, new))


def run(two, *more):
    old, new, cases = two
    code, said = call("impact", old, new, "--cases", cases, "--json", *more)
    return code, json.loads(said)


@pytest.mark.slow
def test_the_same_rules_change_nothing(two):
    code, result = run(two)
    assert code == 0 and result["same"] == result["cases"] == 3
    assert (result["changes"], result["rules"], result["effect"]) == ([], [], "none")
    assert result["proposed_version"] == "0.0.0"


@pytest.mark.slow
def test_wording_changes_no_answer(two):
    change(two[1], "findings/ring-hard.yaml", "reads: ring hard", "reads: The ring is hard.")
    _, result = run(two)
    assert result["same"] == 3 and result["effect"] == "wording"
    assert result["changelog"] == ["- wording of finding ring hard: reads"]


@pytest.mark.slow
@pytest.mark.slow
def test_a_changed_word_that_turns_a_case_is_told_with_its_rule(two):
    change(two[1], "causes/bent-shaft.yaml", "seen: always", "seen: very rarely")
    code, result = run(two, "--most", 0)
    assert code == 1
    (turned,) = [c for c in result["changes"] if c["kind"] == "leading"]
    assert turned["case"].endswith("bent.yaml") and turned["right"] == "no longer as expected"
    assert turned["old"].startswith("bent shaft (") and not turned["new"].startswith("bent shaft (")
    assert any("shaft moves" in line and "[bent shaft: changed leaves]" in line for line in turned["through"])
    assert result["effect"] == "answer" and result["proposed_version"] == "1.0.0"
    assert "- changed cause bent shaft: shaft moves always -> very rarely" in result["changelog"]
    assert run(two)[0] == 0


@pytest.mark.slow
def test_a_ledger_of_what_does_not_lead_is_no_change(two):
    """In the case of the bent shaft the ring is not hard, and what hardens rings is not what leads."""
    change(two[1], "mechanisms/ring-baked.yaml", "seen: almost always", "seen: usually")
    _, result = run(two)
    assert result["changes"] and all(c["through"] for c in result["changes"])
    assert not [c for c in result["changes"] if c["case"].endswith("bent.yaml")]


@pytest.mark.slow
def test_a_changed_standing_changes_the_answer_as_a_changed_leader_does(two):
    change(two[1], "words.yaml", "probable: 0.60", "probable: 0.949")
    code, result = run(two, "--most", 0)
    kinds = {c["kind"] for c in result["changes"]}
    assert code == 1 and kinds == {"standing"} and result["answers"] == len(result["changes"])
    assert result["effect"] == "answer" and result["proposed_version"] == "1.0.0"
    assert any("(probable" in line and "(possible" in line for line in result["changelog"])
    assert run(two, "--most", result["answers"])[0] == 0


@pytest.mark.slow
def test_a_changed_condition_is_told_by_the_finding_that_differs(two):
    change(two[1], "findings/ring-hard.yaml", "on: O-ring", "on: O-ring, degree: severe")
    _, result = run(two)
    through = [line for c in result["changes"] for line in c["through"]]
    assert any(line.startswith("finding ring hard (seal): present -> open [ring hard: changed") for line in through)


@pytest.mark.slow
def test_new_and_retired_cards_are_told(two):
    old, new, _ = two
    change(new, "findings/leaks-standing.yaml", "status: accepted", "status: retired\nreplaced by: leaks at rest")
    text = (old / "findings/leaks-standing.yaml").read_text()
    (new / "findings/leaks-at-rest.yaml").write_text(
        text.replace("leaks standing", "leaks at rest").replace("F5", "F95")
    )
    for cause in ("barrier-lost", "bent-shaft"):
        change(new, f"causes/{cause}.yaml", "finding: leaks standing", "finding: leaks at rest")
    _, result = run(two)
    assert "- new finding: leaks at rest" in result["changelog"]
    assert "- retired finding: leaks standing, in its place leaks at rest" in result["changelog"]
    assert {c["kind"] for c in result["changes"]} == {"ledger"}


@pytest.mark.slow
@pytest.mark.slow
def test_a_revision_stands_for_a_folder(two, tmp_path, monkeypatch):
    old, new, cases = two
    place = tmp_path / "repository"
    shutil.copytree(old, place / "knowledge")
    (place / ".gitattributes").write_text("* filter=own\n")
    git = ["git", "-c", "user.name=a", "-c", "user.email=a@example.org", "-c", "commit.gpgsign=false"]
    for words in (["init", "-q"], ["add", "."], ["commit", "-q", "-m", "First"]):
        subprocess.run([*git, *words], cwd=place, check=True, env={**os.environ, "GIT_CONFIG_GLOBAL": "/dev/null"})
    monkeypatch.chdir(place)
    change(new, "causes/bent-shaft.yaml", "seen: always", "seen: very rarely")
    code, said = call("impact", "HEAD", new, "--cases", cases, "--json")
    assert code == 0 and json.loads(said)["changed"]["leading"] == 1
    ran = tmp_path / "ran"
    subprocess.run(["git", "config", "filter.own.smudge", f"touch {ran}; cat"], cwd=place, check=True)
    with versions("HEAD", inside="knowledge") as (folder,):
        assert (folder / "words.yaml").is_file() and not ran.exists()
    for bad in ("no-such-revision", "--output=x"):
        code, said = (
            call("impact", "HEAD", "--cases", cases, "--", bad)
            if bad.startswith("-")
            else call("impact", bad, new, "--cases", cases)
        )
        assert code == 2, said


@pytest.mark.slow
def test_a_case_that_one_side_cannot_read_is_told_and_the_rest_go_on(two):
    old, new, cases = two
    change(new, "vocabulary/features.yaml", "  bent: {means: Out of straight., on: [shaft], lost: never}\n", "")
    change(new, "findings/shaft-moves.yaml", "    - {saw: bent, on: shaft}\n", "")
    code, said = call("impact", old, new, "--cases", cases)
    assert code == 2 and "unknown-feature" in said and "3 cases" in said


def test_the_version_moves_by_effect():
    assert [next_version("1.4.2", e) for e in ("wording", "rule", "answer", "none")] == [
        "1.4.3",
        "1.5.0",
        "2.0.0",
        "1.4.2",
    ]
    assert next_version("1", "rule") == "1.1.0"
    assert effect([], []) == "none"


def test_card_changes_name_their_parts(two):
    old, new, _ = two
    change(new, "causes/dry-running.yaml", "common: often", "common: rarely")
    (changed,) = card_changes(load(old).knowledge, load(new).knowledge)
    assert (changed.name, changed.how, changed.parts) == ("dry running", "changed", ("common",))
