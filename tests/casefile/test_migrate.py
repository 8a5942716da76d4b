"""Old case files: read unchanged, carried over with nothing lost, and the same case before and after."""

from __future__ import annotations

from pathlib import Path

import pytest

from diagnose.casefile.journal import read_journal
from diagnose.casefile.migrate import carried_over
from diagnose.casefile.reader import parse_case
from diagnose.reading.problems import Problems

ROOT = Path(__file__).parents[2]
HEAD = "case: old\n"
OLD = {
    "a list in a line": HEAD + "history: {running hours: 900 h, is: [repeated failures, shutdown]}\n",
    "the only one in a line": HEAD + "history: {running hours: 900 h, is: [repeated failures]}\n",
    "alone": HEAD + "history: {is: repeated failures}\n",
    "a list of lines": HEAD
    + "history:\n  is:\n    - repeat failure   # said by the fitter\n    - shutdown\n  starts: 40\n",
    "the only line": HEAD + "history:\n  is:\n    - repeated failures\n  # what follows stays\n  starts: 40\n",
    "denied": HEAD + "history:\n  not is: [cycling]\n  is not: [repeated failures]\n",
    "beside observations": HEAD
    + "observations:\n    - {on: leak, saw: puffs}  # heard\nhistory: {is: [Repeated  Failures]}\n",
    "beside observations in a line": HEAD + "observations: [{on: leak, saw: puffs}]\nhistory: {is: [cycling]}\n",
    "two in a line": HEAD + "history: {is: [cycling], not is: [repeated failures], starts: 40}\n",
    "under a key with nothing": HEAD + "observations:   # none yet\nhistory: {is: [repeated failures]}\n",
    "under a key with null": HEAD
    + "observations: null\nhistory: {is: [repeated failures, cycling]}\nstage: before washing\n",
    "told already": HEAD + "observations: [{saw: repeat failures}]\nhistory: {is: [repeated failures]}\n",
}


def records(text: str, knowledge):
    problems = Problems()
    case = parse_case(text.encode(), "case.yaml", knowledge, problems)
    assert case is not None and not problems.found, [str(p) for p in problems.found]
    return case.observations, case.settings, case.measured


@pytest.mark.parametrize("text", OLD.values(), ids=list(OLD))
def test_the_case_is_the_same_and_no_old_term_is_left(text, knowledge):
    carried = carried_over(text, knowledge.vocabulary)
    assert carried.changes
    assert records(carried.text, knowledge) == records(text, knowledge)
    assert carried_over(carried.text, knowledge.vocabulary).changes == ()


@pytest.mark.parametrize("text", OLD.values(), ids=list(OLD))
def test_whatever_else_is_in_the_file_stays(text, knowledge):
    after = carried_over(text, knowledge.vocabulary).text
    for kept in (
        "# said by the fitter",
        "# what follows stays",
        "# heard",
        "running hours: 900 h",
        "shutdown",
        "starts: 40",
        "puffs",
    ):
        assert (kept in after) == (kept in text)


def test_what_was_changed_is_told_with_its_line(knowledge):
    changes = carried_over(OLD["denied"], knowledge.vocabulary).changes
    assert changes == (
        (3, "history: not cycling is written as the observation 'frequent starts', absent"),
        (4, "history: not repeated failures is written as the observation 'repeated short life', absent"),
    )


@pytest.mark.parametrize("path", sorted((ROOT / "scenarios").glob("*.yaml")), ids=lambda p: p.stem)
def test_the_scenarios_are_written_in_the_words_now_in_use(path, knowledge):
    text = path.read_text("utf-8")
    assert carried_over(text, knowledge.vocabulary).text == text


def test_the_command_keeps_a_copy_and_the_journal_says_why(tmp_path, knowledge):
    from typer.testing import CliRunner

    from diagnose.casefile.recorder import Recorder
    from diagnose.cli.main import commands

    file = tmp_path / "pump.yaml"
    with Recorder(file, knowledge, "someone") as recorder:
        recorder.start({"case": "pump", "invented": "true", "history": {"is": ["repeated failures", "shutdown"]}})
    before, journal = file.read_bytes(), tmp_path.joinpath("pump.yaml.journal").read_bytes()
    done = CliRunner().invoke(commands(), ["migrate", str(file), "--by", "someone else"])
    assert done.exit_code == 0, done.output
    assert "'repeated short life'" in done.output and "pump.yaml.before" in done.output
    assert tmp_path.joinpath("pump.yaml.before").read_bytes() == before
    assert tmp_path.joinpath("pump.yaml.journal.before").read_bytes() == journal
    lines = read_journal(tmp_path / "pump.yaml.journal").lines
    assert {line.what.get("why") for line in lines[2:]} == {"carried over to the words now in use"}
    assert carried_over(file.read_text("utf-8"), knowledge.vocabulary).changes == ()
    again = CliRunner().invoke(commands(), ["migrate", str(file)])
    assert again.exit_code == 0 and "nothing to change" in again.output
