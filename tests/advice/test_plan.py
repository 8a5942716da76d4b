"""The plan on whole cases: its order, what it never asks, what each result would do, and when it stops."""

from __future__ import annotations

import itertools
from types import SimpleNamespace

import numpy as np
import pytest

from diagnose.advice.outlook import Belief
from diagnose.advice.plan import LAST, NOW, Plan, _Open, _works, plan
from diagnose.advice.reach import Reach, stage_of
from diagnose.advice.stopping import COMPANY, NOTHING, OPEN, TOGETHER, Change, Stop, Worst, standing, stopping
from diagnose.inference.run import deduce, infer
from diagnose.judgement.judge import judge
from diagnose.judgement.network import Network
from diagnose.judgement.posterior import posterior
from diagnose.judgement.weights import Weights
from diagnose.knowledge.model import Knowledge, Looks
from diagnose.reading.entry import replace
from diagnose.views.stopping import says
from tests.judgement.networks import evidence, network
from tests.support.places import SCENARIOS, mostly_slow
from tests.support.reasoned import reasoned

NAMES = [p.stem for p in SCENARIOS]
BENCH = """
case: Seal on the bench
service: {fluid: water, is: [hot water]}
seal: {arrangement: single, design: pusher, soft face: carbon, hard face: silicon carbide, elastomer: EPDM}
observations:
  - {on: hard face, saw: radial cracks, extent: all round}
  - {saw: squeal}
"""


def planned(case, stage: str | None = None, most: int = 99, **options) -> tuple[Plan, Knowledge]:
    """The plan of a case, perhaps at another stage; without what each result would do, unless `most` is 0."""
    inference = case.inference
    options["most"] = most
    if stage is not None:
        inference = replace(inference, case=replace(inference.case, stage=stage))
    at = [replace(x, inference=inference) for x in case.judgements]
    return plan(at, **options), case.base.knowledge


SURE = ("established", "probable")
STAGES = ("", "while running", "before unbolting", "before washing", "before relapping")


# ---- order and reach ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", mostly_slow(NAMES))
def test_nothing_on_the_plan_is_lost_on_the_way(name, judged):
    """At every stage: nothing too late, what the next step destroys first, nothing after what spoils it."""
    case = judged(name)
    for stage in STAGES:
        made, knowledge = planned(case, stage)
        order = list(knowledge.vocabulary.stages)
        now = order.index(made.stage) if made.stage else -1
        last = [order.index(s.stage) if s.stage else len(order) for s in made.steps]
        assert all(at >= now for at in last)
        urgent = [s.when == NOW for s in made.steps]
        assert urgent == sorted(urgent, reverse=True)
        assert urgent == [
            made.stage != "" and s.stage == made.stage and not destructive(s, knowledge) for s in made.steps
        ]
        for i, step in enumerate(made.steps):
            spoils = knowledge.measurements[step.measurement].spoils if step.measurement else ""
            if spoils and order.index(spoils) >= now:
                assert all(at > order.index(spoils) or other is step or destructive(other, knowledge) or spoiling(other, knowledge)
                           for other, at in zip(made.steps[i:], last[i:], strict=True))  # fmt: skip
            if step.when == LAST:
                assert destructive(step, knowledge) or spoiling(step, knowledge)


def destructive(step, knowledge: Knowledge) -> bool:
    return bool(step.measurement) and knowledge.measurements[step.measurement].destructive


def spoiling(step, knowledge: Knowledge) -> bool:
    return bool(step.measurement) and bool(knowledge.measurements[step.measurement].spoils)


@pytest.mark.parametrize("name", mostly_slow(NAMES))
def test_only_what_is_open_is_asked_and_it_is_worth_its_while(name, judged):
    case = judged(name)
    made, knowledge = planned(case)
    for step in made.steps:
        for position in step.positions:
            known = case.inference.findings[position]
            assert step.findings and not (len(step.positions) == 1 and set(step.findings) & set(known))
        assert step.bits >= knowledge.looks.worth
        assert bool(step.measurement) != bool(step.look)
        if step.measurement:
            assert set(step.findings) <= set(knowledge.measurements[step.measurement].tells)
    decided = [(p, f) for s in made.steps for p in s.positions for f in s.findings]
    lost = {(g.position, g.finding) for g in made.lost}
    assert not lost & set(decided)


@pytest.mark.slow
def test_work_on_one_part_stands_together(judged):
    """Within what comes first, and from one stage to the next, a part that was put down is not picked up again."""
    made, _ = planned(judged("crude-pump-barrier-lost"))
    first = [(s.part, s.positions) for s in made.steps if s.when == NOW]
    assert len(first) > 4
    runs = [key for key, _ in itertools.groupby(first)]
    assert len(runs) == len(set(runs))


@pytest.mark.slow
@pytest.mark.slow
def test_a_cleaned_face_and_a_released_ring_are_named_and_not_asked_for(judged):
    text = (
        BENCH
        + "  - {on: soft face, lost: [embedded grit, embedded], note: wiped before anyone looked}\nstage: before relapping\n"
    )
    made, knowledge = planned(judged(text))
    gone = {g.finding: g.why for g in made.lost}
    assert gone["grit embedded in the soft face"] == "embedded grit: wiped before anyone looked"
    assert any("before washing" in why for why in gone.values())
    asked = {f for s in made.steps for f in s.findings}
    assert not asked & set(gone)
    early = set(knowledge.vocabulary.stages[:6])
    assert early >= {"before washing", "before removing the O-rings"}
    assert not [s.name for s in made.steps if s.stage in early]
    before, _ = planned(judged(BENCH + "stage: before washing\n"))
    assert not before.lost or all("washing" not in g.why for g in before.lost)
    assert {s.stage for s in before.steps} >= {"before washing", "before relapping"}


def test_what_is_gone_for_the_eye_is_not_measured_either(small_base):
    """The shaft was scrapped: neither is it looked at for a bend nor its runout measured."""
    text = "case: c\nseal: {arrangement: single}\nobservations:\n  - {on: O-ring, saw: hardened}\n"
    kept = reasoned(text, small_base)
    gone = reasoned(text + "  - {on: shaft, lost: bent, note: scrapped}\n", small_base)
    assert Reach(kept.inference, "seal").of("shaft moves").state == "open"
    assert Reach(gone.inference, "seal").of("shaft moves").why == "bent: scrapped"
    assert "runout by dial" in {s.measurement for s in planned(kept)[0].steps}
    assert "runout by dial" not in {s.measurement for s in planned(gone)[0].steps}
    assert [(g.finding, g.why) for g in planned(gone)[0].lost] == [("shaft moves", "bent: scrapped")]


def test_people_are_still_asked_what_can_no_longer_be_seen(judged):
    case = judged(BENCH + "stage: before relapping\n")
    reach = Reach(case.inference, "seal")
    assert case.base.knowledge.vocabulary.features["growing leak"].lost == "while running"
    assert reach.of("leak grows slowly").state == "open"
    assert reach.told_by("leak grows slowly") == ("leak and standstill history",)
    assert "spring pocket inspection" not in reach.measurements


def test_a_case_without_a_stage_is_where_its_record_says(judged):
    knowledge = judged(BENCH).base.knowledge
    assert stage_of(judged(BENCH).inference.case, knowledge) == "before separating the faces"
    rubbed = judged(BENCH + "  - {on: sleeve, saw: rub mark}\n")
    assert stage_of(rubbed.inference.case, knowledge) == "before washing"
    heard = judged("case: Heard\nseal: {arrangement: single}\nobservations: [{saw: squeal}]\n")
    assert stage_of(heard.inference.case, knowledge) == ""


def test_what_is_told_of_the_machine_does_not_show_the_seal_to_be_open(judged):
    """A check of the lines before anything is touched says that no port of the chamber is open."""
    checked = judged(BENCH.replace("observations:", "observations:\n  - {on: seal chamber, absent: port left open}"))
    assert stage_of(checked.inference.case, checked.base.knowledge) == stage_of(
        judged(BENCH).inference.case, checked.base.knowledge
    )


def test_what_perishes_early_or_was_only_told_does_not_show_the_seal_to_be_open(judged):
    """A ring standing out of its seat is seen before the bolts move; that an old part was fitted again is told."""
    still = "case: Still together\nseal: {arrangement: single}\nstage: before unbolting\nobservations:\n"
    for record in ("{on: hard face, absent: pushed out of its seat}", "{on: hard face, saw: old part used again}"):
        case = judged(f"{still}  - {record}\n")
        assert stage_of(case.inference.case, case.base.knowledge) == "before unbolting", record
    inside = judged(f"{still}  - {{on: hard face, absent: radial cracks}}\n")
    assert stage_of(inside.inference.case, inside.base.knowledge) == "before separating the faces"


def test_a_measurement_comes_before_what_it_could_tell_is_gone(judged):
    """The card allows the barrier fluid to be sampled up to unbolting; that product is in it shows before a valve is moved."""
    case = judged(
        "case: Pot\nseal: {arrangement: dual}\nstage: before anything is touched\nobservations: [{saw: growing leak}]\n"
    )
    reach = Reach(case.inference, case.judgements[0].position)
    sample = case.base.knowledge.measurements["barrier fluid sample"]
    assert sample.stage == "before unbolting"
    assert reach.last_stage(sample, "product in the barrier fluid") == "before anything is touched"


def test_a_look_is_asked_for_where_a_measurement_would_come_too_late(judged):
    """The depth of the seat is measured once the faces are apart; that the pin holds the ring off it shows before unbolting."""
    case = judged(
        "case: Seat\nseal: {arrangement: single}\nstage: before unbolting\nobservations: [{saw: growing leak}]\n"
    )
    reach, knowledge = Reach(case.inference, "seal"), case.base.knowledge
    depth, finding = knowledge.measurements["seat depth at four clocks"], "anti-rotation pin too high"
    assert knowledge.vocabulary.features["pin too high"].lost == "before unbolting"
    assert knowledge.teardown.in_view["face"] == "before washing" and finding in depth.tells
    assert reach.last_stage(depth, finding) is None and depth.name not in reach.told_by(finding)
    assert reach.look(finding).asks == ("pin too high",)


@pytest.mark.slow
def test_marks_on_a_part_show_that_an_earlier_stage_is_past(judged):
    """What `start` wrote as the stage still stands in the file when the faces are noted."""
    running, later = (judged(BENCH + f"stage: {stage}\n") for stage in ("while running", "before relapping"))
    knowledge = running.base.knowledge
    assert stage_of(running.inference.case, knowledge) == "before separating the faces"
    assert stage_of(later.inference.case, knowledge) == "before relapping"
    made, _ = planned(running)
    assert made.steps and not any(s.stage == "while running" for s in made.steps)


def test_what_the_seal_does_not_have_is_not_asked_for(judged):
    listed = BENCH.replace("observations:", "parts:\n  - {item: 1, name: Ring, kind: soft face}\nobservations:")
    assert not Reach(judged(listed).inference, "seal").is_there("metal bellows")
    bellows = listed.replace("design: pusher", "design: metal bellows")
    assert Reach(judged(bellows).inference, "seal").is_there("metal bellows")
    assert Reach(judged(BENCH).inference, "seal").is_there("metal bellows")
    for finding in ("both pairs of faces hurt alike", "inner faces hurt while outer faces are sound"):
        assert Reach(judged(BENCH).inference, "seal").of(finding).state == "answered"


def test_what_is_already_answered_is_not_asked_again(small_base):
    case = reasoned("case: c\nseal: {arrangement: single}\nobservations: [{on: O-ring, saw: hardened}]\n", small_base)
    reach = Reach(case.inference, "seal")
    assert reach.of("hot and hard").state == "open" and reach.of("cracked somewhere").state == "open"
    more = reasoned(
        "case: c\nseal: {arrangement: single}\nobservations: [{on: hard face, absent: radial cracks}]\n"
        "measurements: [{on: shaft, measured: shaft runout, reading: 0.05 mm, resolution: 0.5 mm}]\n", small_base,
    )  # fmt: skip
    reach = Reach(more.inference, "seal")
    assert reach.of("hot and hard").state == "answered"
    assert reach.of("shaft moves").state == "open"
    look = reach.look("shaft moves")
    assert look is None or look.asks == ("bent",)


@pytest.mark.slow
def test_both_seals_of_a_pair_are_planned_and_the_machine_is_worked_on_once(judged):
    case = judged("bladder-flat-barrier-low")
    made, knowledge = planned(case)
    kinds = knowledge.vocabulary.kinds
    assert {s.positions for s in made.steps} >= {("inboard",), ("outboard",)}
    shared = [s for s in made.steps if s.part and kinds[s.part].place == "machine"]
    assert shared and len({s.name for s in shared}) == len(shared)
    only = plan(case.judgements[:1])
    assert {p for s in only.steps for p in s.positions} == {"inboard"}


def test_a_plain_look_is_a_question_in_the_plan_and_in_the_stopping_line(judged):
    case = judged(BENCH)
    works = _works(case.inference, [_Open(j) for j in case.judgements])
    assert {w.name for w in works if w.look} and all(w.name.endswith("?") for w in works if w.look)
    assert {w.name for w in works if w.measurement} <= set(case.base.knowledge.measurements)
    change = Change("seal", "flush lost", "probable", "possible", 0.4)
    for work, told in (("orifice blocked?", 'the answer to "orifice blocked?"'), ("bearing lift", "bearing lift")):
        stop = Stop(OPEN, ("flush lost",), 1, 1, 0.02, work, change)
        assert says(stop) == f"Not settled: {told} could move flush lost from probable to possible (chance 40 %)."


# ---- budget ------------------------------------------------------------------------------------------------------------


@pytest.mark.slow
@pytest.mark.parametrize("minutes", [5, 20, 60])
def test_a_budget_is_kept_and_more_time_tells_more(minutes, judged):
    case = judged("thin-record")
    made, _ = planned(case, minutes=minutes)
    more, _ = planned(case, minutes=2 * minutes)
    assert 0 < made.minutes <= minutes
    assert sum(s.minutes for s in made.steps) == made.minutes
    assert sum(s.bits for s in more.steps) > sum(s.bits for s in made.steps)


def test_no_time_no_work(judged):
    made, _ = planned(judged("thin-record"), minutes=1)
    assert made.steps == () and made.minutes == 0


# ---- results -----------------------------------------------------------------------------------------------------------


def redone(case, made: Plan):
    """Each result of the first steps with the judgement of the case when it is put on record, where nothing rests on it."""
    (before,) = case.judgements
    for result in [r for s in made.steps[:6] for r in s.results]:
        told = {result.finding: "present" if result.there else "absent"}
        (after,) = judge(deduce(case.inference.case, case.base, case.inference.quantities, told), case.net)
        if set(after.counted) ^ set(before.counted) == {result.finding}:
            yield result, before, after


def test_on_a_small_rule_base_a_result_does_just_what_the_plan_says(small_base):
    base = replace(small_base, knowledge=replace(small_base.knowledge, looks=Looks(worth=1e-6)))
    case = small("0", base)
    done = [*redone(case, planned(case, most=0)[0])]
    assert len(done) >= 8
    for result, before, after in done:
        now, then = (posterior(case.net, x.found.evidence, every_set=True) for x in (before, after))
        for shift in result.shifts:
            at = case.net.column[shift.cause]
            assert (shift.before, shift.after) == pytest.approx((now.share[at], then.share[at]), abs=1e-9)
        assert result.after == then.causes_of(int(then.leading[0]))


@pytest.mark.parametrize(
    "name", mostly_slow(["sound-on-schedule", "condensate-pump-dry-start", "transfer-pump-tilted-gland"], 1)
)
def test_a_result_does_nearly_what_the_plan_says_where_ways_are_drawn(name, judged):
    done = [*redone(judged(name), planned(judged(name), most=0)[0])]
    moved = [(r.chance, s, b.of(s.cause), a.of(s.cause)) for r, b, a in done for s in r.shifts]
    assert len(moved) >= 12
    assert all(s.before == b.probability for _, s, b, _ in moved), "a cause has one figure wherever it is told"
    assert max(abs(s.after - a.probability) for chance, s, _, a in moved if chance > 0.1) < 0.14
    assert np.mean([abs(s.after - a.probability) for _, s, _, a in moved]) < 0.03


@pytest.mark.slow
def test_chances_of_the_results_add_up_and_bits_are_their_mean(judged):
    made, _ = planned(judged("sound-on-schedule"), most=0)
    for step in made.steps:
        for there, not_there in zip(step.results[::2], step.results[1::2], strict=True):
            assert there.there and not not_there.there and there.finding == not_there.finding
            assert there.chance + not_there.chance == pytest.approx(1)
            assert 0 <= step.cannot_tell < 1


# ---- stopping ----------------------------------------------------------------------------------------------------------

RECORDS = [
    "{on: hard face, saw: radial cracks, extent: all round}",
    "{on: O-ring, saw: hardened}",
    "{on: soft face, absent: edge chips}",
    "{saw: leak when standing}",
    "{on: shaft, absent: bent}",
    "{on: soft face, absent: radial cracks}",
]
TRUE_SHAFT = "measurements: [{on: shaft, measured: shaft runout, reading: 0.02 mm, resolution: 0.001 mm}]"


def small(chosen: str, base):
    """A case of the small rule base from the numbers of its records; m for the measured shaft."""
    lines = "".join(f"  - {RECORDS[int(k)]}\n" for k in chosen if k != "m")
    observed = f"observations:\n{lines}" if lines else ""
    measured = TRUE_SHAFT if "m" in chosen else ""
    return reasoned(f"case: c\nseal: {{arrangement: single}}\n{observed}{measured}\n", base)


def stands(case, told: dict[str, bool]) -> dict[str, str]:
    """The standing of every cause and mechanism with findings told, judged anew."""
    states = {f: "present" if there else "absent" for f, there in told.items()}
    (x,) = judge(deduce(case.inference.case, case.base, case.inference.quantities, states), case.net)
    return {j.name: j.standing for j in (*x.causes, *x.mechanisms)}


ALIKE = [("", TOGETHER), ("0", OPEN), ("1", OPEN), ("01", OPEN), ("02", OPEN), ("03m", OPEN), ("012", OPEN), ("124m", OPEN),
         ("014m", NOTHING), ("0124m", NOTHING), ("01345m", NOTHING), ("012345m", NOTHING)]  # fmt: skip


@pytest.mark.parametrize(("records", "state"), ALIKE)
def test_the_stopping_line_agrees_with_trying_every_outcome(records, state, small_base):
    """On the small rule base every outcome of every piece of work is put on record and judged, singly and together."""
    knowledge = replace(small_base.knowledge, looks=Looks(reckoned=1e-6))
    case = small(records, replace(small_base, knowledge=knowledge))
    made = plan(case.judgements)
    (x,) = case.judgements
    first, *others = x.mechanisms
    answer = [*x.causes, first, *(j for j in others if j.standing == "established")]
    now = {j.name: j.standing for j in answer if j.standing in SURE}
    causes = [j.name for j in x.causes]
    reach = Reach(case.inference, "seal")
    known = case.inference.findings["seal"]
    open_findings = [f for f in case.net.findings if f not in known and reach.of(f).state == "open"
                     and (case.net.marks.speaks[case.net.row[f]].any() or case.net.signs.speaks[case.net.row[f]].any())
                     and (reach.told_by(f) or reach.look(f))]  # fmt: skip
    works: dict[tuple, list[str]] = {}
    for f in open_findings:
        for key in reach.told_by(f) or ((reach.look(f).asks, reach.look(f).part),):
            works.setdefault((key,), []).append(f)

    def after(findings):
        for states in itertools.product((True, False), repeat=len(findings)):
            yield stands(case, dict(zip(findings, states, strict=True)))

    def joins(then):
        return {c for c in causes if then[c] in SURE} - set(now)

    def grave(then):
        return any(then[name] != standing for name, standing in now.items()) or (
            not set(causes) & set(now) and joins(then)
        )

    singly = any(grave(then) for fs in works.values() for then in after(fs))
    company = any(joins(then) for fs in works.values() for then in after(fs))
    together = any(grave(then) for then in after(open_findings))
    expected = OPEN if singly else COMPANY if company else TOGETHER if together else NOTHING
    assert made.stop.state == expected == state, (made.stop, now)
    assert says(made.stop) and made.stop.stands == tuple(now)
    if expected == OPEN:
        assert made.stop.change.before != made.stop.change.after and made.stop.change.chance >= 1e-6
    else:
        assert made.stop.findings == len(open_findings)


def two_causes() -> Network:
    """Two causes that leave a mark, the first nearly always; and two weak findings that the second leaves."""
    return of_two([[0.95, 0.3], [0.2, 0.5], [0.2, 0.5]])


def of_two(shown) -> Network:
    """Two causes whose direct signs are shown so often beside a background of 0.02 and, of the others, 0.2; read without
    mistake."""
    net = network(2, 0, 3, missed=0.0, mistaken=0.0)
    net.prior[:], net.background[:] = [0.15, 0.1], [0.02, 0.2, 0.2]
    net.signs.inhibition[:] = (1 - np.array(shown)) / (1 - net.background[:, None])
    return replace(net, causes=("one", "other"), findings=("mark", "hint", "trace"))


def told_of(net: Network, states: dict[str, bool]):
    return posterior(net, evidence(net, states), every_set=True)


def stands_alone(name: str, probability: float, at) -> SimpleNamespace:
    """A cause that one mark speaks for."""
    return SimpleNamespace(name=name, kind="cause", position="seal", told_at="seal", standing="probable",
                           probability=probability, lines_for=("mark",), evidence=(), at=SimpleNamespace(weights=Weights(at)))  # fmt: skip


@pytest.mark.parametrize(
    ("works", "reckoned", "state"),
    [
        ([("hint",)], 1e-6, NOTHING),
        ([("hint",), ("trace",)], 1e-6, TOGETHER),
        ([("hint", "trace")], 1e-6, OPEN),
        ([("hint", "trace")], 0.2, TOGETHER),
    ],
)
def test_two_hints_together_can_do_what_neither_can_alone(works, reckoned, state, small_base):
    """Explaining away: both hints make the second cause likely, and so the first less needed for the mark."""
    net, words = two_causes(), small_base.knowledge.words
    found = told_of(net, {"mark": True})
    belief, one = Belief(found), stands_alone("one", 0.778, found)
    stop = stopping(
        {"seal": Worst(belief, [one], words, reckoned)}, [(" ".join(w), {"seal": w}) for w in works], reckoned
    )
    assert stop.state == state
    shares = {told: told_of(net, {"mark": True, **dict.fromkeys(told, True)}).share
              for told in [("hint",), ("trace",), ("hint", "trace")]}  # fmt: skip
    assert all((share[0] >= words.probable) == (len(told) == 1) for told, share in shares.items())
    if state in (OPEN, TOGETHER):
        assert (stop.change.name, stop.change.before, stop.change.after) == ("one", "probable", "possible")
    if state == OPEN:
        there = belief.shown(["hint", "trace"])
        assert stop.change.chance == pytest.approx(float(there.prod(axis=0) @ belief.weight))


@pytest.mark.slow
@pytest.mark.slow
def test_a_shared_verdict_is_tried_where_it_was_told(judged):
    """A cause of the machine stands at both seals by the evidence of one: no outcome at the other unsettles it."""
    case = judged("crude-pump-barrier-lost")
    shared = {
        (j.position, j.name) for x in case.judgements for j in (*x.causes, *x.mechanisms) if j.told_at != j.position
    }
    assert shared
    stop = planned(case)[0].stop
    assert stop.change is None or (stop.change.position, stop.change.name) not in shared


def test_a_cause_that_could_join_is_company(small_base):
    found, words = told_of(of_two([[0.95, 0.02], [0.2, 0.9], [0.2, 0.9]]), {"mark": True}), small_base.knowledge.words
    belief, one = Belief(found), stands_alone("one", 0.8, found)
    stop = stopping({"seal": Worst(belief, [one], words, 0.02)}, [("look", {"seal": ("hint", "trace")})], 0.02)
    assert (stop.state, stop.stands, stop.change.name, stop.change.after) == (COMPANY, ("one",), "other", "probable")
    assert "one would stand" in says(stop) and "other" in says(stop)


def test_the_likely_outcomes_of_work_are_all_that_are_likely(judged):
    """Against every outcome, one by one, by the product of the findings' rates over the ways."""
    case = judged("transfer-pump-tilted-gland")
    (x,) = case.judgements
    belief = Belief(x.found)
    worst = Worst(belief, [], case.base.knowledge.words, 0.02)
    for findings in itertools.islice(itertools.combinations(sorted(belief.net.findings)[::37], 4), 60):
        shown = belief.shown(findings)
        expected = {}
        for states in itertools.product((True, False), repeat=4):
            rates = np.where(np.array(states)[:, None], shown, 1 - shown)
            chance = float(rates.prod(axis=0) @ belief.weight)
            if chance >= 0.02:
                expected[states] = pytest.approx(chance)
        assert {tuple(told[f] for f in findings): c for told, _, c in worst.outcomes(findings)} == expected


@pytest.mark.slow
def test_the_words_of_a_standing_are_those_of_the_judgement(judged):
    for name in NAMES[:5]:
        case = judged(name)
        words = case.base.knowledge.words
        for x in case.judgements:
            for j in (*x.causes, *x.mechanisms):
                if j.standing != "ruled out":
                    lowest = min(
                        (e.weight for e in j.evidence if e.state != "unrecorded" and not e.through), default=0.0
                    )
                    assert standing(words, j.probability, len(j.lines_for), lowest) == j.standing


@pytest.mark.slow
def test_the_order_of_the_record_does_not_matter(judged):
    case = judged("transfer-pump-tilted-gland")
    shuffled = replace(case.inference.case, observations=case.inference.case.observations[::-1])
    again = infer(shuffled, case.base)
    assert plan(judge(again, case.net), most=99) == planned(case)[0]
