"""Standing, what counts, and verdicts shared by two seals."""

from __future__ import annotations

import pytest

from diagnose.casefile.reader import parse_case
from diagnose.judgement.chains import leaders
from diagnose.judgement.counting import counting
from diagnose.judgement.diagnosis import Diagnosis
from diagnose.judgement.judge import judge_at, standing
from diagnose.judgement.posterior import WIDE_ENOUGH
from diagnose.judgement.weights import decibans
from diagnose.knowledge.model import Words
from diagnose.reading.problems import Problems
from diagnose.views.explanation import LEAST_MOVED, happened, left_out_told

WORDS = Words({}, {}, 0.95, 0.60, 0.10, 2, 3.0, 10.0, 0.5)


def diagnosed(text: str, base) -> Diagnosis:
    problems = Problems()
    case = parse_case(text.encode(), "case.yaml", base.knowledge, problems)
    assert case is not None and not problems.errors(), [str(p) for p in problems.found]
    return Diagnosis(case, base)


@pytest.mark.parametrize(("probability", "lines", "lowest", "word"), [
    (0.95, 2, 0.0, "established"), (0.949, 2, 0.0, "probable"), (0.99, 1, 0.0, "probable"),
    (0.99, 2, -10.0, "probable"), (0.99, 2, -9.9, "established"), (0.60, 0, 0.0, "probable"), (0.599, 0, 0.0, "possible"),
    (0.10, 0, 0.0, "possible"), (0.099, 5, 0.0, "unlikely"),
])  # fmt: skip
def test_a_standing_begins_exactly_at_its_threshold(probability, lines, lowest, word):
    assert standing(WORDS, probability, lines, lowest) == word


def test_decibans_are_ten_times_the_logarithm_of_the_ratio():
    """I. J. Good's unit: a ratio of ten is ten decibans."""
    assert decibans(10) == pytest.approx(10) and decibans(0.5) == pytest.approx(-3.0103, abs=1e-4)


ROUND = """
case: Cracked ring
observations:
  - {on: hard face, saw: radial cracks, extent: EXTENT}
"""


def test_a_record_that_makes_two_findings_counts_once_for_the_more_special(whole_base):
    d = diagnosed(ROUND.replace("EXTENT", "all round"), whole_base)
    states, through = counting(d.inference, d.net, "seal")
    assert states["face ran hot all round"] is True and "heat checks on a face" not in states
    assert through["heat checks on a face"] == "face ran hot all round"


def test_two_records_of_one_mechanism_both_count(whole_base):
    text = ROUND.replace("EXTENT", "all round") + "  - {on: sound, saw: squeal}\n"
    d = diagnosed(text, whole_base)
    states, _ = counting(d.inference, d.net, "seal")
    assert states["face ran hot all round"] and states["squeal"]


def test_a_mark_on_one_ring_silences_nothing_on_another(whole_base):
    """Two O-rings, each with a crack of its own kind: what one says of its mechanism stands."""
    one = """
case: Two rings
parts: [{item: 1, kind: O-ring}, {item: 2, kind: O-ring}]
observations:
  - {part: 1, saw: cracks on the hot side}
"""
    alone, both = (
        diagnosed(t, whole_base).at("seal") for t in (one, one + "  - {part: 2, saw: cracks across the stretch}\n")
    )
    hot = next(f for f, there in alone.counted.items() if there and f == "O-ring cracked on its hot side")
    assert hot in both.counted
    baked = "O-ring heated from the faces"
    assert both.of(baked).probability > 0.8 * alone.of(baked).probability


def test_few_observations_give_a_modest_answer(whole_base):
    """Two notes, blisters and edge chips, establish nothing."""
    d = diagnosed("case: Two notes\nobservations:\n  - {on: soft face, saw: [blisters, edge chips]}\n", whole_base)
    (found,) = d.judgements
    assert not [j.name for j in (*found.causes, *found.mechanisms) if j.standing == "established"]


def test_what_the_record_says_nothing_of_stands_at_its_prior(whole_base):
    (found,) = diagnosed("case: Nothing on record\n", whole_base).judgements
    assert found.none_of_these == pytest.approx(found.net.none_of_these, rel=0.1)
    assert all(j.probability == pytest.approx(j.prior, abs=0.01) for j in found.causes if j.standing != "ruled out")


PAIR = """
case: Pair
seal: {arrangement: dual pressurised}
parts:
  - {item: 1, kind: soft face, position: inboard}
  - {item: 11, kind: soft face, position: outboard}
observations:
  - {on: barrier system, saw: barrier pressure low}
  - {on: barrier fluid, saw: product in the barrier}
  - {part: 1, saw: [scored face, concentric grooves]}
  - {part: 11, absent: [scored face, radial cracks]}
"""


def test_what_the_machine_suffers_from_has_one_verdict_at_both_seals(whole_base):
    pair = diagnosed(PAIR, whole_base)
    inner, outer = pair.judgements
    cards = {**whole_base.knowledge.causes, **whole_base.knowledge.mechanisms}
    shared = {n for n, card in cards.items() if card.scope == "machine"}
    assert {"barrier pressure too low", "vibration"} <= shared
    told = {j.name: (j.standing, j.probability, j.told_at) for j in (*inner.causes, *inner.mechanisms)}
    every = (*outer.causes, *outer.mechanisms)
    assert all((j.standing, j.probability, j.told_at) == told[j.name] for j in every if j.name in shared)
    assert all(j.told_at == x.position for x in (inner, outer) for j in x.causes if j.name not in shared)
    name = "barrier pressure too low"
    own = {x: judge_at(pair.inference, pair.net, x).of(name).probability for x in ("inboard", "outboard")}
    assert inner.of(name).told_at == max(own, key=own.__getitem__)


def test_hurt_inner_faces_speak_for_the_inner_seal_only(whole_base):
    case = diagnosed(PAIR, whole_base).inference
    finding = "inner faces hurt while outer faces are sound"
    assert case.findings["inboard"][finding].state == "present"
    assert finding not in case.findings["outboard"]


SOUND = """
case: Sound seal, taken out with most of its nose left (invented)
service: {fluid: water, is: [water, clean], temperature: 55 °C, chamber pressure: 4 bar}
seal: {arrangement: single, design: pusher, springs: multiple, soft face: carbon, hard face: silicon carbide, elastomer: EPDM, new nose height: 3.2 mm}
parts:
  - {item: 1, kind: soft face, group: rotating, carries: nose}
  - {item: 2, kind: hard face, group: stationary, carries: wide}
  - {item: 3, kind: dynamic O-ring, group: rotating}
observations:
  - {on: leak, LEAK: leak}
  - {part: 1, absent: [blisters, edge chips, scored face]}
  - {part: 2, absent: [radial cracks, scored face]}
  - {part: 2, saw: full even track}
  - {part: 3, absent: [hard, swollen, cracked rubber]}
measurements:
  - {part: 1, measured: nose height left, reading: 2.4 mm}
history: {running hours: 16000 h, design life: 25000 h}
"""


def test_a_seal_taken_out_sound_did_not_fail_of_anything(whole_base):
    case = diagnosed(SOUND.replace("LEAK", "absent"), whole_base)
    (found,) = case.judgements
    assert case.inference.findings["seal"]["did not leak"].state == "present"
    assert "failed after years" not in case.inference.findings["seal"]
    assert {j.standing for j in found.causes} <= {"unlikely", "ruled out"} and found.none_of_these > 0.5


def test_hours_tell_the_age_at_which_a_leaking_seal_failed(whole_base):
    case = diagnosed(SOUND.replace("LEAK", "saw"), whole_base)
    assert case.inference.findings["seal"]["failed after years"].state == "present"


@pytest.mark.slow
def test_a_record_too_long_for_one_sum_leaves_out_what_tells_least_and_says_so(whole_base):
    """Every feature of the vocabulary looked for and not there, on every kind that can show it."""
    vocabulary = whole_base.knowledge.vocabulary
    marks = {on: [n for n, f in vocabulary.features.items() if on in f.on and not f.form] for on in vocabulary.kinds}
    lines = [f"  - {{on: {on}, absent: [{', '.join(map(repr, names))}]}}" for on, names in marks.items() if names]
    found = diagnosed("case: Nothing there\nobservations:\n" + "\n".join(lines) + "\n", whole_base).at("seal")
    assert found.left_out and not any(found.states[f] for f in found.left_out)
    assert found.found.sums.plan.widest <= WIDE_ENOUGH
    told = left_out_told(found)
    heaviest = max((abs(found.unweighed(j.name)) for j in (*leaders(found), *happened(found))), default=0.0)
    assert (told != "") == (heaviest >= LEAST_MOVED) and (not told or f"{heaviest:.1f} dB" in told)


def test_what_the_likeliest_cause_begins_leads_before_what_follows_from_it(whole_base):
    """Dry running and the overheated faces that follow from it are as sure; what happened first is told first. Both are shown."""
    text = "case: Ran dry\nobservations:\n  - {on: hard face, saw: radial cracks, extent: all round}\n  - {on: history, saw: dry spell}\n"
    (found,) = diagnosed(text, whole_base).judgements
    dry, hot = found.of("dry running"), found.of("faces overheated")
    first = found.causes[0].card
    assert {x.mechanism for x in first.brings_about} & {"dry running"} and found.begun["dry running"] > 0.5
    assert dry.told / (dry.probability * dry.weight) == pytest.approx(1 + dry.probability * found.begun["dry running"])
    assert hot.told == pytest.approx(
        hot.probability * hot.weight * (1 + hot.probability * found.begun.get("faces overheated", 0))
    )
    assert dry.rank < hot.rank
