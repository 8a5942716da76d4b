"""Standing, lines of evidence and what is left unexplained, on small worked cases."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from diagnose.judgement.judge import decibans, judge
from diagnose.judgement.network import Network, posterior
from tests.support.reasoned import reasoned

WORDS = SimpleNamespace(
    common={"often": 0.1, "rarely": 0.01}, seen={"often": 0.5}, established=0.95, probable=0.60, possible=0.10,
    lines_needed=2, line_counts_from=3.0, decisive=10.0,
)  # fmt: skip


def net_of(shown: list[list[float]], background: float | list[float] = 0.05, prior: float = 0.1) -> Network:
    table = np.array(shown)
    base = np.full(len(table), background) if isinstance(background, float) else np.array(background)
    causes = tuple(f"c{i}" for i in range(table.shape[1]))
    return Network(causes, tuple(f"f{i}" for i in range(len(table))), np.full(len(causes), prior), base, table)


def judged(net, states, lines=None, leaves=None, common=None, ruled_out=None, **words):
    """The judgement of findings given as {number: present}; `lines` and `leaves` by number, `words` other than usual."""
    lines, leaves = lines or {}, leaves or {}
    words = SimpleNamespace(**{**vars(WORDS), **words})
    findings = {f: SimpleNamespace(line=lines.get(i, f)) for i, f in enumerate(net.findings)}
    causes = {
        c: SimpleNamespace(
            common="often",
            leaves=[SimpleNamespace(finding=f) for f, p, b in zip(net.findings, net.shown[:, k], net.background, strict=True) if p != b],
        )
        for k, c in enumerate(net.causes)
    }  # fmt: skip
    inference = SimpleNamespace(
        base=SimpleNamespace(knowledge=SimpleNamespace(words=words, findings=findings, causes=causes)),
        case=SimpleNamespace(positions=("seal",)), ruled_out={"seal": ruled_out or {}},
        findings={"seal": {f"f{i}": SimpleNamespace(state="present" if s else "absent") for i, s in states.items()}},
        common={"seal": common or {}},
        leaves_of_finding=lambda f, _: frozenset(leaves.get(int(f[1:]), {f})),
    )  # fmt: skip
    (result,) = judge(inference, net)
    return result


STRONG = net_of([[0.95, 0.05], [0.95, 0.05], [0.95, 0.05], [0.05, 0.95]])


def test_established_takes_probability_and_two_independent_lines():
    assert judged(STRONG, {0: True, 1: True}).of("c0").standing == "established"
    assert judged(STRONG, {0: True}).of("c0").standing == "probable"
    same_line = judged(STRONG, {0: True, 1: True, 2: True}, lines={0: "a", 1: "a", 2: "a"})
    assert same_line.of("c0").standing == "probable" and same_line.of("c0").lines_for == ("a",)
    one_record = judged(STRONG, {0: True, 1: True, 2: True}, leaves={i: {"r"} for i in range(3)})
    assert one_record.of("c0").probability > 0.99 and one_record.of("c0").standing == "probable"
    two_records = judged(STRONG, {0: True, 1: True, 2: True}, leaves={0: {"r"}, 1: {"r"}, 2: {"r", "s"}})
    assert two_records.of("c0").standing == "established" and two_records.of("c0").lines_for == ("f0", "f2")


def test_something_decisive_against_keeps_a_cause_from_being_established():
    shown = [[0.95], [0.95], [0.95], [0.93]]
    net = net_of(shown, [0.01, 0.01, 0.01, 0.2])
    kept = judged(net, {0: True, 1: True, 2: True, 3: False}).of("c0")
    assert decibans(0.07 / 0.8) == pytest.approx(-10.58, abs=0.01)
    assert kept.probability > 0.99 and len(kept.lines_for) == 3 and kept.standing == "probable"
    milder = net_of([*shown[:3], [0.91]], [0.01, 0.01, 0.01, 0.2])
    assert judged(milder, {0: True, 1: True, 2: True, 3: False}).of("c0").standing == "established"


def test_a_line_speaks_from_three_decibans():
    net = net_of([[0.95], [0.95], [0.19]], [0.01, 0.01, 0.1])
    assert judged(net, {0: True, 2: True}).of("c0").lines_for == ("f0",)
    net = net_of([[0.95], [0.95], [0.21]], [0.01, 0.01, 0.1])
    assert judged(net, {0: True, 2: True}).of("c0").lines_for == ("f0", "f2")


@pytest.mark.parametrize(
    ("prior", "standing"), [(0.62, "probable"), (0.58, "possible"), (0.11, "possible"), (0.09, "unlikely")]
)
def test_thresholds_between_the_words(prior, standing):
    assert judged(net_of([[0.3]], prior=prior), {}).of("c0").standing == standing


@pytest.mark.parametrize(
    ("beyond", "standing", "below"),
    [((), "established", "probable"), (("established",), "probable", "possible"),
     (("established", "probable"), "possible", "unlikely")],
)  # fmt: skip
def test_a_standing_begins_exactly_at_its_threshold(beyond, standing, below):
    reached = judged(STRONG, {0: True, 1: True}).of("c0").probability
    for threshold, expected in ((reached, standing), (float(np.nextafter(reached, 1)), below)):
        words = {**dict.fromkeys(beyond, 2.0), standing: threshold}
        assert judged(STRONG, {0: True, 1: True}, **words).of("c0").standing == expected


def test_what_weighs_exactly_the_decisive_weight_is_decisive():
    net = net_of([[0.95], [0.95], [0.95], [0.05]], [0.01, 0.01, 0.01, 0.5])
    assert net.if_present[3, 0] == -WORDS.decisive
    states = dict.fromkeys(range(4), True)
    assert judged(net, states).of("c0").standing == "probable"
    assert judged(net, states, decisive=10.001).of("c0").standing == "established"


def test_a_line_that_weighs_exactly_enough_speaks():
    weight = float(STRONG.if_present[0, 0])
    assert judged(STRONG, {0: True}, line_counts_from=weight).of("c0").lines_for == ("f0",)
    assert judged(STRONG, {0: True}, line_counts_from=float(np.nextafter(weight, 99))).of("c0").lines_for == ()


def test_of_equals_on_a_line_the_first_by_name_counts():
    told = judged(net_of([[0.9], [0.9]]), {0: True, 1: True}, lines={0: "a", 1: "a"})
    assert dict(told.counted) == {"f0": True}


def test_causes_alike_are_ranked_by_name():
    told = judged(net_of([[0.9, 0.9, 0.9]]), {0: True}, ruled_out={"c0": (SimpleNamespace(branch=SimpleNamespace(because="")),)})
    assert [j.cause for j in told.causes] == ["c1", "c2", "c0"]


def test_no_more_than_eight_sets_lead_and_none_that_cannot_be():
    alike = judged(net_of([[0.9] * 4]), {0: True}).sets
    assert len(alike) == 8 and [s.causes for s in alike[:4]] == [("c0",), ("c1",), ("c2",), ("c3",)]
    one = judged(net_of([[0.9, 0.9]]), {0: True}, ruled_out={"c1": (SimpleNamespace(branch=SimpleNamespace(because="")),)})
    assert [s.causes for s in one.sets] == [("c0",), ()]


@pytest.mark.parametrize(("often", "left"), [(0.5, ()), (0.51, ("f1",))])
def test_what_is_seen_as_much_as_often_needs_no_explanation(often, left):
    net = net_of([[0.95], [0.5]], [0.01, 0.5])
    assert judged(net, {0: True, 1: True}, seen={"often": often}).unexplained == left


def test_a_cause_ruled_out_takes_no_part_and_says_why():
    because = SimpleNamespace(branch=SimpleNamespace(because="no such seal"))
    out = judged(STRONG, {0: True, 1: True}, ruled_out={"c0": (because,)})
    assert (
        out.of("c0").standing == "ruled out"
        and out.of("c0").probability == 0
        and out.of("c0").because == ("no such seal",)
    )
    assert out.causes[-1].cause == "c0"


def test_a_setting_moves_the_prior_and_is_shown():
    firing = SimpleNamespace(branch=SimpleNamespace(conclusion=SimpleNamespace(state="rarely")))
    moved = judged(STRONG, {}, common={"c0": firing})
    assert moved.of("c0").prior == pytest.approx(decibans(0.01 / 0.99))
    assert moved.of("c0").base_prior == pytest.approx(decibans(0.1 / 0.9))
    assert moved.of("c0").probability == pytest.approx(0.01, abs=1e-9)


def test_on_a_line_the_heaviest_counts_and_what_is_there_before_what_is_not():
    net = net_of([[0.5, 0.05], [0.9, 0.05], [0.99, 0.05]])
    told = judged(net, {0: True, 1: True, 2: False}, lines={0: "a", 1: "a", 2: "a"})
    assert dict(told.counted) == {"f1": True} and set(told.through.values()) == {"f1"}
    by_name = {e.finding: e for e in told.of("c0").evidence}
    assert by_name["f0"].through == "f1" and by_name["f1"].through == "" and by_name["f2"].through == "f1"
    assert told.of("c0").weight == pytest.approx(decibans(0.9 / 0.05))
    absent = judged(net, {1: False, 2: False}, lines={1: "a", 2: "a"})
    assert dict(absent.counted) == {"f2": False}


def test_evidence_is_listed_recorded_first_and_heaviest_first():
    net = net_of([[0.5], [0.9], [0.3], [0.9]])
    told = judged(net, {0: True, 1: True, 2: False}).of("c0")
    assert [e.finding for e in told.evidence] == ["f1", "f0", "f2", "f3"]
    assert [e.state for e in told.evidence] == ["present", "present", "absent", "unrecorded"]
    assert told.evidence[2].weight == pytest.approx(decibans(0.7 / 0.95)) and told.evidence[3].weight == 0
    assert told.alone == pytest.approx(told.prior + sum(e.weight for e in told.evidence))


def test_sets_are_the_leading_ones_in_order_and_the_first_explains():
    net = net_of([[0.95, 0.05, 0.05], [0.05, 0.95, 0.05], [0.05, 0.05, 0.06]])
    told = judged(net, {0: True, 1: True, 2: True})
    found = posterior(net, {"f0": True, "f1": True, "f2": True}, net.prior, range(3))
    assert [s.probability for s in told.sets] == sorted(found.exactly.tolist(), reverse=True)[:8]
    assert told.explanation.causes == ("c0", "c1")
    assert told.unexplained == ("f2",)
    common = net_of([[0.95, 0.01], [0.6, 0.6]], [0.01, 0.6])
    assert judged(common, {0: True, 1: True}).unexplained == (), "what is seen often needs no explanation"


def test_few_observations_give_a_modest_answer():
    net = net_of([[0.95, 0.9, 0.85]], 0.05)
    assert {c.standing for c in judged(net, {0: True}).causes} <= {"possible", "probable"}


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
    inner, outer = reasoned(PAIR, whole_base).judgements
    shared = {n for n, card in whole_base.knowledge.causes.items() if card.scope == "machine"}
    assert {"barrier pressure too low", "vibration"} <= shared
    told = {j.cause: (j.standing, j.probability, j.told_at) for j in inner.causes}
    assert all((j.standing, j.probability, j.told_at) == told[j.cause] for j in outer.causes if j.cause in shared)
    assert all(j.told_at == x.position for x in (inner, outer) for j in x.causes if j.cause not in shared)
    assert inner.of("barrier pressure too low").told_at == "inboard"


def test_hurt_inner_faces_speak_for_the_inner_seal_only(whole_base):
    case = reasoned(PAIR, whole_base).inference
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
    case = reasoned(SOUND.replace("LEAK", "absent"), whole_base)
    (found,) = case.judgements
    assert case.inference.findings["seal"]["did not leak"].state == "present"
    assert "failed after years" not in case.inference.findings["seal"]
    assert {j.standing for j in found.causes} <= {"unlikely", "ruled out"} and found.none_of_these > 0.5


def test_hours_tell_the_age_at_which_a_leaking_seal_failed(whole_base):
    case = reasoned(SOUND.replace("LEAK", "saw"), whole_base)
    assert case.inference.findings["seal"]["failed after years"].state == "present"
