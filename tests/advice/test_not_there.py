"""Nothing is asked, planned or advised of what a record says is not there, cannot be, or what nobody said there is."""

from __future__ import annotations

import pytest

from diagnose.advice.actions import actions
from diagnose.advice.plan import plan
from diagnose.advice.reach import Reach
from diagnose.casefile.reader import parse_case
from diagnose.casefile.walk import not_fitted, not_known, not_there, topics, usual_document
from diagnose.casefile.writer import render
from diagnose.judgement.diagnosis import Diagnosis
from diagnose.knowledge.wording import question
from diagnose.reading.problems import Problems
from diagnose.session.quick import quick
from tests.support.commands import diagnose

BENCH = "before relapping"


def case_of(base, arrangement="single", without=(), **sections):
    """The usual parts of an arrangement but those of some item numbers."""
    usual = tuple(u for u in base.knowledge.arrangements.usual[arrangement] if u.item not in without)
    document = usual_document("x", arrangement, usual, "while running")
    for part in document.get("parts", ()):
        part["touches"] = [t for t in part.get("touches", ()) if t not in without]
    document |= {k: v for k, v in sections.items() if k != "seal"}
    document["seal"] |= sections.get("seal", {})
    problems = Problems()
    case = parse_case(render(document), "x", base.knowledge, problems)
    assert case is not None, problems
    return case


def asked(base, case):
    """What the plan asks for, of every way there is."""
    place = Diagnosis(case, base).judgements
    return [s.name for s in plan(place).steps]


def test_of_a_flush_line_struck_off_the_list_nothing_is_asked(whole_base):
    with_line, without = case_of(whole_base), case_of(whole_base, without=("16",))
    assert not_fitted(with_line, whole_base.knowledge) == frozenset()
    assert not_fitted(without, whole_base.knowledge) == {"flush line"}
    reach = Reach(Diagnosis(without, whole_base).judgements[0].inference, "seal")
    assert {"orifice", "cyclone", "strainer"} <= not_there(without, whole_base.knowledge, reach.out)
    for finding in ("flush lost", "flush path blocked"):
        assert reach.of(finding).state == "answered", finding
        assert Reach(Diagnosis(with_line, whole_base).judgements[0].inference, "seal").of(finding).state == "open"


def test_a_short_list_is_no_denial(whole_base):
    """Who lists only what is on the bench has not said that the rest was never there."""
    case = case_of(whole_base, without=tuple(str(i) for i in range(3, 17)))
    assert case.parts and not_fitted(case, whole_base.knowledge) == frozenset()


def test_whether_there_is_a_quench_is_asked_before_what_it_did(whole_base):
    knowledge, crystals = whole_base.knowledge, [{"on": "atmosphere side", "saw": "crystals", "degree": "severe"}]
    open_, known = (case_of(whole_base, observations=crystals, **x) for x in ({}, {"seal": {"plan": ["plan 62"]}}))
    none = case_of(whole_base, observations=crystals, seal={"plan": ["plan 11"]})
    assert "quench" in not_known(open_, knowledge) and not not_known(known, knowledge)
    assert "is there a quench?" in asked(whole_base, open_)
    assert "is there a quench?" not in asked(whole_base, known)
    assert not [name for name in asked(whole_base, none) if "quench" in name]
    kinds = [{t.kind for t in topics(case, knowledge)} for case in (open_, known, none)]
    assert ["quench" in k for k in kinds] == [False, True, False]


def test_a_fixed_ring_does_not_hang_up_and_a_ring_does_not_tear(whole_base):
    case = case_of(whole_base)
    rings = {t.part: set() for t in topics(case, whole_base.knowledge) if t.part in ("1", "2")}
    for t in topics(case, whole_base.knowledge):
        rings.get(t.part, set()).update(t.features)
    assert "hung up" in rings["1"] and "hung up" not in rings["2"]
    reach = Reach(Diagnosis(case, whole_base).judgements[0].inference, "seal")
    assert reach._seen("tear", "soft face", "").state == "answered"


@pytest.mark.parametrize(("service", "there"), [("strong alkali", False), ("water", True)])
def test_alkali_has_no_low_ph(whole_base, service, there):
    case = case_of(whole_base, service={"is": [service]})
    reach = Reach(Diagnosis(case, whole_base).judgements[0].inference, "seal")
    assert reach._cannot_be({"at": "product", "variable": "pH", "value": "low"}) != there


def test_a_tilt_cannot_be_seen_of_a_seal_in_pieces(whole_base):
    for stage, state in (("before separating the faces", "open"), (BENCH, "lost")):
        reach = Reach(Diagnosis(case_of(whole_base, stage=stage), whole_base).judgements[0].inference, "seal")
        assert reach._seen("tilted", "gland", "").state == state


def test_plans_that_an_arrangement_cannot_have_are_not_offered(whole_base):
    from diagnose.casefile.walk import left_out

    offered = {}
    plans = set(whole_base.knowledge.vocabulary.settings["plan"].terms)
    for arrangement in ("single", "dual pressurised", "dual unpressurised", "dry gas"):
        out = left_out(case_of(whole_base, arrangement), whole_base.knowledge)
        offered[arrangement] = plans - {t for x in out for t in x.terms.get("plan", ())}
    assert {"plan 11", "plan 62"} <= offered["single"] and not {"plan 53A", "plan 54", "plan 76"} & offered["single"]
    assert {"plan 53B", "plan 54"} <= offered["dual pressurised"] and "plan 52" not in offered["dual pressurised"]
    assert {"plan 52", "plan 76"} <= offered["dual unpressurised"] and "plan 53A" not in offered["dual unpressurised"]
    assert "plan 11" not in offered["dry gas"] and "plan 72" in offered["dry gas"]


def test_the_quick_looks_at_a_gas_seal_are_those_of_a_gas_seal(whole_base):
    marks = {c.feature for card in quick(case_of(whole_base, "dry gas"), whole_base) for c in card.choices}
    assert {"lift grooves packed", "lift-off faces rubbed", "seal gas dirty", "reverse rotation"} <= marks
    assert not {"full even track", "air drawn in", "track as wide as the nose"} & marks
    liquid = {c.feature for card in quick(case_of(whole_base), whole_base) for c in card.choices}
    assert "full even track" in liquid and not {"lift grooves packed", "seal gas dirty"} & liquid


def test_advice_leaves_out_what_is_not_fitted_and_begins_with_the_remedy_of_what_was_found(whole_base):
    seen = [{"on": "barrier fluid", "saw": "product in the barrier"}, {"on": "accumulator", "saw": "accumulator flat"},
            {"on": "barrier system", "saw": "barrier pressure low"}]  # fmt: skip
    pot = {u.item for u in whole_base.knowledge.arrangements.usual["dual pressurised"] if u.kind == "pot"}
    said = {}
    for without in ((), tuple(pot)):
        case = case_of(whole_base, "dual pressurised", without=without, observations=seen, seal={"plan": ["plan 53B"]})
        said[bool(without)] = [a.do for a in actions(Diagnosis(case, whole_base).judgements)]
    flush = "Flush the pot until the barrier fluid stays clean."
    assert pot and flush in said[False] and flush not in said[True]
    assert "charge the accumulator" in said[True][0]
    assert not [do for do in said[True] if "dual seal" in do]


def test_a_design_that_the_liquid_attacks_is_told_and_changed_beside_what_leads(whole_base):
    """A sign of a cause's own that the explanation leaves unexplained keeps it on the short list, and its change with it."""
    seen = [{"on": "atmosphere side", "saw": "crystals", "degree": "severe"}, {"part": "5", "saw": "clogged"},
            {"part": "3", "saw": "deposit beside the O-ring"}, {"part": "1", "saw": "hung up"}]  # fmt: skip
    materials = {"soft face": "antimony carbon", "hard face": "reaction-bonded silicon carbide"}
    case = case_of(whole_base, observations=seen, seal=materials, service={"is": ["strong alkali", "crystallising"]})
    (judgement,) = Diagnosis(case, whole_base).judgements
    cause = "face material unsuited to the liquid"
    told = {j.name for j in judgement.also_told} | set(judgement.explanation.causes)
    assert judgement.of(cause).standing != "unlikely" and cause in told
    assert any("Choose the pair for the liquid" in a.do for a in actions([judgement]))


def test_the_charge_of_an_accumulator_is_asked_where_the_plan_has_one(whole_base):
    for plan_, there in (("plan 53B", True), ("plan 53A", False)):
        found = topics(case_of(whole_base, "dual pressurised", seal={"plan": [plan_]}), whole_base.knowledge)
        asked_of = {r for t in found if t.kind == "accumulator" for r in t.readings}
        assert asked_of == ({"accumulator precharge", "specified precharge"} if there else set())


def test_an_act_is_asked_for_in_english(whole_base):
    from diagnose.knowledge.model import Condition

    run_dry = Condition("act", term="run dry", such=(("to", "machine"),))
    assert question(run_dry) == "machine, run dry: did this happen?"


@pytest.mark.parametrize("name", ["heating-pump-flat-rings", "hydrotested-pump-two-spots"])
def test_the_report_says_the_same_next_work_as_explain(name, tmp_path):
    """Whichever page is read, the first pieces of work on it are the same."""
    told = diagnose("explain", name).stdout.partition("What to look at next")[2]
    first = [x.split(". ", 1)[1] for x in told.splitlines() if x.startswith(("  1. ", "  2. "))]
    diagnose("report", name, "--short", "--output", str(tmp_path / "page.md"))
    page = (tmp_path / "page.md").read_text()
    names = [x.split("  ")[0].partition("?")[0].partition(": ")[0] for x in first]
    assert len(names) == 2 and all(name in page for name in names), (names, page)


def test_a_single_seal_on_liquid_is_asked_nothing_of_gas_seals(whole_base):
    rubbed = [{"on": "face", "saw": "lift-off faces rubbed"}, {"on": "soft face", "saw": "wear", "degree": "severe"}]
    case = case_of(whole_base, service={"fluid": "hot water", "is": ["hot water"]}, observations=rubbed)
    reach = Reach(Diagnosis(case, whole_base).judgements[0].inference, "seal")
    assert reach.of("lift-off faces rubbed").state == "answered"
    assert not [x for x in asked(whole_base, case) if "film" in x]
