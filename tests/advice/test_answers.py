"""The plan and the actions as they are shown: JSON by its schema, the commands, the first screen, and the time it takes."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from dataclasses import replace

import jsonschema
import pytest

from diagnose.advice.actions import actions
from diagnose.advice.plan import plan
from diagnose.knowledge.model import Action
from diagnose.knowledge.reader import FIELDS
from diagnose.views import explanation, next_steps
from diagnose.views.page import Page
from tests.support.places import ROOT, SCENARIOS, mostly_slow

NAMES = [p.stem for p in SCENARIOS]
LARGEST = max(SCENARIOS, key=lambda p: p.stat().st_size)


SCHEMA = json.loads((ROOT / "diagnose" / "views" / "next_steps.schema.json").read_text("utf-8"))


def check(document: object, part: str = "") -> None:
    """A whole plan, or one of the things it is made of, against the schema."""
    schema = {"$ref": f"#/$defs/{part}", "$defs": SCHEMA["$defs"]} if part else SCHEMA
    jsonschema.Draft202012Validator(schema).validate(json.loads(json.dumps(document)))


@pytest.mark.parametrize("name", mostly_slow(NAMES))
def test_both_answers_keep_to_their_schema(name, judged):
    case = judged(name)
    made = plan(case.judgements, minutes=30)
    check(next_steps.document(case.inference, case.judgements, made, 30.0))
    short = plan(case.judgements, most=5)
    answer = explanation.document(case.inference, case.judgements, short, True)
    assert 0 < len(answer["next"]) <= 5
    check(answer["stop"], "stop")
    for key, part in (("next", "step"), ("lost", "lost"), ("for_the_record", "step"), ("actions", "action")):
        for item in answer[key]:
            check(item, part)


@pytest.mark.parametrize("name", mostly_slow(NAMES))
def test_every_step_says_what_how_with_what_and_why(name, judged):
    case = judged(name)
    knowledge = case.base.knowledge
    made = plan(case.judgements, most=99)
    for step in made.steps:
        told = next_steps.step_json(step, knowledge)
        assert told["why"] and told["how"] and told["minutes"] > 0
        if told["measurement"]:
            assert told["instrument"] and told["sources"]
            assert (told["limit"] is None) == bool(told["no_limit"])
        if told["limit"]:
            assert all(v["source"] for v in told["limit"]["values"])


@pytest.mark.parametrize("name", mostly_slow(NAMES))
def test_the_first_screen_stays_short(name, judged):
    case = judged(name)
    made = plan(case.judgements, most=5)
    page = Page(80, False)
    next_steps.short_steps(case.inference, made, page)
    raised = [case.base.knowledge.cautions[name] for name in sorted(case.inference.cautions)]
    next_steps.short_actions(actions(case.judgements), raised, len(case.judgements) > 1, False, page)
    assert all(len(line) <= 80 for line in page.lines)
    steps = [line for line in page.lines if line[:4].strip(" 1234567890") == "."]
    assert len(steps) == min(3, made.count)
    assert len(page.lines) <= 30


# ---- actions -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", mostly_slow(NAMES))
def test_actions_go_from_operation_to_material_and_each_is_tied_to_a_leading_cause(name, judged):
    case = judged(name)
    knowledge = case.base.knowledge
    found = actions(case.judgements)
    leading = {(c, x.position) for x in case.judgements for c in x.explanation.causes
               if x.of(c).standing in ("established", "probable", "possible")}  # fmt: skip
    assert [FIELDS.index(a.field) for a in found] == sorted(FIELDS.index(a.field) for a in found)
    assert {(t.cause, t.position) for a in found for t in a.tied} == leading
    assert {a.do for a in found} == {t.do for c, _ in leading for t in knowledge.causes[c].then}
    assert all(a.worked_if for a in found)


def test_what_two_cards_say_alike_is_said_once(judged):
    case = judged("slurry-pump-two-causes")
    knowledge = case.base.knowledge
    (judgement,) = case.judgements
    first, second = judgement.explanation.causes[:2]
    causes = dict(knowledge.causes)
    causes[first] = replace(causes[first], then=(Action("Flush it clean.", "operation", "Swab clean."),))
    causes[second] = replace(causes[second], then=(Action("flush it  clean", "operation", "Strainer clean."),
                                                   Action("Chamfer the edge.", "design", "No nick."),))  # fmt: skip
    found = actions(case.judgements, replace(knowledge, causes=causes))
    assert [a.field for a in found] == ["operation", "design"]
    assert set(found[0].causes) == {first, second} and set(found[0].worked_if) == {"Swab clean.", "Strainer clean."}


def test_where_nothing_is_even_possible_there_is_nothing_to_change(judged):
    case = judged("thin-record")
    assert actions(case.judgements) == ()


# ---- the command -------------------------------------------------------------------------------------------------------


def run(*words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "diagnose", *words], capture_output=True, text=True, check=False, cwd=ROOT,
        env={**os.environ, "COLUMNS": "80"},
    )  # fmt: skip


def test_next_prints_the_plan():
    done = run("next", "condensate-pump-dry-start", "--budget", "0.5h")
    assert done.returncode == 0, done.stderr
    assert "of the 30 min given" in done.stdout and "When to stop" in done.stdout and "Take care" in done.stdout
    told = json.loads(run("next", "condensate-pump-dry-start", "--budget", "30min", "--json").stdout)
    check(told)
    assert told["budget"] == 30 and 0 < told["minutes"] <= 30 and told["stage"] == "before washing"


@pytest.mark.parametrize("budget", ["20", "2 bar", "-5min", "0min", "1e9h", "soon", ""])
def test_a_time_that_is_none_is_told(budget):
    done = run("next", "thin-record", f"--budget={budget}")
    if not budget:
        assert done.returncode == 0
        return
    assert done.returncode == 2 and "--budget" in done.stderr and "Traceback" not in done.stderr


def test_a_position_that_the_case_has_not_is_told():
    done = run("next", "thin-record", "--position", "inboard")
    assert done.returncode == 2 and "its positions: seal" in done.stderr
