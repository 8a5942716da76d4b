"""What is said of a seal that shows no damage, and of a cause that both seals of a pair share."""

from __future__ import annotations

from types import SimpleNamespace

import pytest

from diagnose.advice.plan import plan
from diagnose.casefile.reader import parse_case
from diagnose.judgement.chains import leaders
from diagnose.judgement.diagnosis import Diagnosis
from diagnose.judgement.judge import CauseSet
from diagnose.reading.problems import Problems
from diagnose.views.leading import not_named, of_their_own, shared, sound_but, unaccounted, undamaged, why_is_open
from diagnose.views.stopping import says

PAIR = """
case: Pair
seal: {{arrangement: dual pressurised}}
parts:
  - {{item: 1, kind: soft face, position: inboard}}
  - {{item: 11, kind: soft face, position: outboard}}
observations:
  - {{on: barrier system, saw: barrier pressure low}}
  - {{on: barrier fluid, saw: product in the barrier}}
  - {{part: 1, saw: [scored face, concentric grooves]}}
{}
"""


def diagnosed(text: str, base) -> Diagnosis:
    problems = Problems()
    case = parse_case(text.encode(), "case.yaml", base.knowledge, problems)
    assert case is not None and not problems.errors(), problems.found
    return Diagnosis(case, base)


@pytest.mark.parametrize("outboard, said", [
    ("  - {part: 11, absent: [scored face, radial cracks]}", True),
    ("  - {part: 11, saw: full even track}", True),
    ("  - {part: 11, absent: scored face}\n  - {part: 11, saw: edge chips}", False),
    ("  - {part: 11, lost: scored face}", False),
    ("", False),
])  # fmt: skip
def test_a_seal_is_said_undamaged_when_it_was_looked_at_and_nothing_was_found(whole_base, outboard, said):
    case = diagnosed(PAIR.format(outboard), whole_base)
    inner, outer = case.judgements
    assert bool(undamaged(case.inference, outer)) is said
    assert not undamaged(case.inference, inner)


def test_a_cause_of_the_machine_is_said_to_be_shared_only_where_there_are_two_seals(whole_base):
    inner, outer = diagnosed(PAIR.format(""), whole_base).judgements
    low = "barrier pressure too low"
    said = sorted(shared(x.of(low), True) for x in (inner, outer))
    assert said[0] == "One verdict for both seals." and said[1].endswith("seal shows it best.")
    assert not shared(inner.of(low), False) and not shared(inner.of("installation damage of an O-ring"), True)


def test_a_mechanism_without_a_cause_that_brings_it_is_said_to_be_open(whole_base):
    """The joint of the gland leaks, and nothing on record or in the rule base says why."""
    seen = "case: Marks\nseal: {arrangement: single}\nobservations:\n  - {on: shaft, saw: bent}\n"
    at = diagnosed(seen, whole_base).at("seal")
    assert all(j.kind == "mechanism" for j in unaccounted(at))
    assert bool(why_is_open(at)) == bool(unaccounted(at))
    assert all(j.kind == "cause" for j in leaders(at))


def test_a_cause_that_stands_above_the_likeliest_explanation_is_not_denied():
    """No cause leads alone, yet one counts in many explanations."""
    of = [SimpleNamespace(probability=0.13, standing="possible")]
    text = not_named(SimpleNamespace(causes=of, explanation=CauseSet((), 0.08), none_of_these=0.08))
    assert (
        "better supported than none" not in text
        and "The likeliest single explanation is none of these causes, with 8 %" in text
    )
    of[0].probability = 0.05
    assert "better supported than none of them (8 %)" in not_named(
        SimpleNamespace(causes=of, explanation=CauseSet((), 0.08), none_of_these=0.08)
    )


def test_a_cause_that_only_a_likelier_one_s_evidence_speaks_for_is_not_told_beside_it():
    first, same, other = (SimpleNamespace(name=n, lines_for=lines) for n, lines in
                          (("first", ("hot", "hard")), ("same", ("hot",)), ("other", ("hot", "bent"))))  # fmt: skip
    assert of_their_own([first, same, other]) == [first, other]
    bare = SimpleNamespace(name="bare", lines_for=())
    assert of_their_own([bare, SimpleNamespace(name="none", lines_for=())]) == [bare]


SOUND = """
case: Sound
seal: {arrangement: single, springs: multiple, springs fitted: 10}
parts:
  - {item: 1, kind: rotating soft face, carries: nose}
  - {item: 2, kind: stationary hard face, carries: wide}
  - {item: 4, kind: multiple springs}
observations: [{part: 1, saw: full even track}]
history: {removal: sound}
"""
EIGHT = "measurements: [{part: 4, measured: springs found, readings: [8]}]\n"


def test_a_seal_taken_out_sound_needs_no_look_and_one_with_a_fault_on_record_is_told_of_it(whole_base):
    clean, odd = diagnosed(SOUND, whole_base), diagnosed(SOUND + EIGHT, whole_base)
    assert not sound_but(clean.at("seal")) and sound_but(odd.at("seal")) == (
        "Recorded as taken out sound, but on record as well: spring missing."
    )
    planned, other = plan(clean.judgements), plan(odd.judgements)
    assert not planned.steps and "taken out sound and nothing on record is amiss" in says(planned.stop)
    assert other.steps and "taken out sound" not in says(other.stop)
    failed = diagnosed(SOUND.replace("removal: sound", "removal: failed") + EIGHT, whole_base)
    assert not sound_but(failed.at("seal"))
    assert plan(diagnosed(SOUND.replace("removal: sound", "removal: failed"), whole_base).judgements).steps
