"""The plan and the actions as they are shown: JSON by its schema, the commands, the first screen, and the time it takes."""

from __future__ import annotations

import json
import re

import jsonschema
import pytest

from diagnose.advice.actions import CHANGE, REPAIR, actions
from diagnose.advice.plan import plan
from diagnose.inference.rules import compile_rules
from diagnose.judgement.diagnosis import Diagnosis
from diagnose.knowledge.explained import FIELDS
from diagnose.knowledge.model import Action, Condition
from diagnose.knowledge.teardown import seen_from
from diagnose.knowledge.wording import question
from diagnose.reading.entry import replace
from diagnose.reading.terms import plain
from diagnose.views import explanation_data, next_steps
from diagnose.views.page import Page
from tests.knowledge.test_arrangements import usual_case
from tests.support.commands import diagnose
from tests.support.places import ROOT, SCENARIOS, SMALL, mostly_slow
from tests.support.reasoned import reasoned

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
    answer = explanation_data.document(case.inference, case.judgements, short, True)
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
def test_what_to_change_comes_before_what_to_repair_each_tied_to_what_is_judged(name, judged):
    case = judged(name)
    found = actions(case.judgements)
    leading = {(c, x.position) for x in case.judgements for c in x.explanation.causes
               if x.of(c).standing in ("established", "probable", "possible")}  # fmt: skip
    leading |= {(j.name, x.position) for x in case.judgements for j in x.also_told}
    happened = {
        (j.name, x.position) for x in case.judgements for j in x.mechanisms if j.standing in ("established", "probable")
    }
    kinds = [a.kind for a in found]
    assert kinds == sorted(kinds, key=(CHANGE, REPAIR).index)
    for kind, may in ((CHANGE, leading), (REPAIR, happened)):
        of_kind = [a for a in found if a.kind == kind]
        places = [(not a.for_what_was_found, FIELDS.index(a.field)) for a in of_kind]
        assert places == sorted(places)
        assert {(t.name, t.position) for a in of_kind for t in a.tied} <= may
    said = {plain(a.do.rstrip(".")) for a in found}
    for x in case.judgements:
        for name in {n for n, p in leading | happened if p == x.position}:
            for number, action in enumerate(x.of(name).card.then):
                contradicted = (name, number) in x.inference.contradicted[x.position]
                assert contradicted or plain(action.do.rstrip(".")) in said


SMALL_CASE = (SMALL / "case.yaml").read_text("utf-8")


def advised(base, then: dict[str, tuple[Action, ...]], case: str = SMALL_CASE):
    """The actions on a small case, in whose leading cause and mechanisms these stand in place of theirs."""
    k = base.knowledge
    causes, mechanisms = (
        {n: replace(c, then=then.get(n, c.then)) for n, c in cards.items()} for cards in (k.causes, k.mechanisms)
    )
    base = replace(base, knowledge=replace(k, causes=causes, mechanisms=mechanisms))
    return actions(reasoned(case, replace(base, rules=compile_rules(base.knowledge))).judgements)


def test_what_two_cards_say_alike_is_said_once_and_first_as_a_change(small_base):
    found = advised(small_base, {
        "dry running": (Action("Keep it cool.", "operation", "Swab clean."),),
        "faces overheated": (Action("keep it  cool", "operation", "Dry."), Action("Renew the pair.", "maintenance", "No crack.")),
        "ring baked": (Action("renew the pair.", "maintenance", "No nick."),),
    })  # fmt: skip
    assert [(a.kind, a.do, a.names) for a in found] == [
        (CHANGE, "Keep it cool.", ("dry running",)), (REPAIR, "Renew the pair.", ("faces overheated", "ring baked"))
    ]  # fmt: skip
    assert found[1].worked_if == ("No crack.", "No nick.")


@pytest.mark.parametrize("record, advised_so", [
    ("absent: bent", False), ("saw: bent", True), ("not looked at: bent", True),
])  # fmt: skip
def test_an_action_that_the_record_contradicts_is_not_advised(small_base, record, advised_so):
    straighten = Action("Straighten the shaft.", "maintenance", unless=Condition("absent", "bent", on="shaft"))
    case = SMALL_CASE.split("measurements:")[0] + f"  - {{on: shaft, {record}}}\n"
    found = advised(small_base, {"faces overheated": (straighten,)}, case)
    assert ("Straighten the shaft." in [a.do for a in found]) is advised_so


QUENCHED = """case: Coked
service: {is: [hot oil]}
seal: {arrangement: single, design: metal bellows, elastomer: FFKM, plan: [plan 62]}
observations:
  - {on: atmosphere side, saw: coke}
  - {on: soft face, absent: blisters}
"""


def test_a_quench_on_record_as_running_is_not_asked_to_be_put_on(judged):
    """The actions of the cards that ask for a quench, by whether the record has it running."""
    asking = [
        (name, i)
        for name, card in judged(QUENCHED).base.knowledge.causes.items()
        for i, a in enumerate(card.then)
        if a.unless and "quench" in a.do
    ]
    assert {name for name, _ in asking} >= {"quench lost", "product crystallises or cokes in air"}
    running = judged(QUENCHED + "  - {on: quench, absent: quench lost}\n").inference.contradicted["seal"]
    off = judged(QUENCHED + "  - {on: quench, saw: quench lost}\n").inference.contradicted["seal"]
    assert running >= {x for x in asking if x[0] in ("quench lost", "product crystallises or cokes in air")}
    assert not off & set(asking)


def test_where_no_cause_is_even_possible_nothing_is_to_be_changed(judged):
    case = judged("thin-record")
    assert {a.kind for a in actions(case.judgements)} <= {"repair"}


# ---- the command -------------------------------------------------------------------------------------------------------


@pytest.mark.slow
def test_next_prints_the_plan():
    done = diagnose("next", "condensate-pump-dry-start", "--budget", "0.5h")
    assert done.returncode == 0, done.stderr
    assert "of the 30 min given" in done.stdout and "When to stop" in done.stdout and "Take care" in done.stdout
    told = json.loads(diagnose("next", "condensate-pump-dry-start", "--budget", "30min", "--json").stdout)
    assert json.loads(diagnose("next", "condensate-pump-dry-start", "--budget", "30", "--json").stdout) == told
    check(told)
    assert told["budget"] == 30 and 0 < told["minutes"] <= 30 and told["stage"] == "before washing"


@pytest.mark.parametrize("case", ["thin-record", "condensate-pump-dry-start"])
def test_next_shows_first_what_to_do_now_and_all_the_rest_by_name(case):
    told, everything = (diagnose("next", case, *more).stdout for more in ((), ("--all",)))
    numbered = [re.findall(r"^  \d+\. .*", text, re.M) for text in (told, everything)]
    assert numbered[0] == numbered[1] and len(told.splitlines()) <= 90 < len(everything.splitlines())
    assert told.count("     how:") == min(5, len(numbered[0])) and "     limit:" not in told and "--all adds" in told
    assert everything.count("     how:") == len(numbered[0]) and "     limit:" in everything
    first = told.split("\n  5. ")[0] if "\n  5. " in told else told
    assert len(first.splitlines()) <= 45, "what a person does now is on the first screen"


def test_nothing_is_planned_before_its_part_is_in_view_in_any_arrangement(whole_base):
    """What must be done at a stage never waits for work on a part that comes into view only later."""
    knowledge, pairs = whole_base.knowledge, 0
    stages = knowledge.vocabulary.stages
    for arrangement in knowledge.arrangements.usual:
        case = usual_case(knowledge, arrangement, stage=stages[0])
        steps = plan(Diagnosis(case, whole_base).judgements).steps
        for place, step in enumerate(steps):
            first = seen_from(knowledge.teardown, knowledge.vocabulary, step.part, step.stage)
            late = [s.name for s in steps[place:] if s.stage in stages and stages.index(s.stage) < first]
            assert not late, (arrangement, step.name)
            pairs += first > 0
    assert pairs > 20


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        (Condition("saw", term="orifice blocked", on="orifice"), "orifice blocked?"),
        (Condition("absent", term="tilted", on="stationary face"), "stationary face: tilted?"),
        (Condition("saw", term="stain", on="face", such=(("colour", "blue"),)), "face: stain, colour blue?"),
        (Condition("not state", term="pressure", value="low", such=(("at", "suction"),)), "suction: pressure low?"),
        (Condition("act", term="vent", such=(("to", "chamber"), ("when", "before the start"))), "chamber, vent before the start: did this happen?"),
        (Condition("setting", term="held by", value="clamp"), "held by: clamp?"),
    ],
)  # fmt: skip
def test_a_plain_look_is_put_as_a_question(asked, said):
    assert question(asked) == said


@pytest.mark.parametrize("budget", ["2 bar", "-5min", "0min", "1e9h", "soon", ""])
def test_a_time_that_is_none_is_told(budget):
    done = diagnose("next", "thin-record", f"--budget={budget}")
    if not budget:
        assert done.returncode == 0
        return
    assert done.returncode == 2 and "--budget" in done.stderr and "Traceback" not in done.stderr


def test_a_position_that_the_case_has_not_is_told():
    done = diagnose("next", "thin-record", "--position", "inboard")
    assert done.returncode == 2 and "its positions: seal" in done.stderr


@pytest.mark.parametrize(("mark", "charged"), [("saw", True), ("absent", False)])
def test_an_accumulator_that_was_found_flat_is_to_be_charged_and_no_other_is(whole_base, mark, charged):
    case = f"""case: flat
seal: {{arrangement: dual pressurised, plan: [plan 53B]}}
observations: [{{on: accumulator, {mark}: accumulator flat}}, {{on: barrier system, saw: barrier pressure low}}]
"""
    told = [
        a.do for a in actions(reasoned(case, whole_base).judgements) if a.field == "maintenance" and a.kind == CHANGE
    ]
    assert [("charge the accumulator" in do, "mend regulator" in do) for do in told] == [(charged, not charged)]
