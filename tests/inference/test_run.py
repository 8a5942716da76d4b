"""From facts to findings: what is deduced, that order does not matter, and that CLIPS deduces the same."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from diagnose.casefile.reader import parse_case
from diagnose.inference.facts import case_facts, mark_relations, seal_positions
from diagnose.inference.rules import compile_rules, findings_in_order
from diagnose.inference.run import RuleBase, deduce, infer, load
from diagnose.knowledge.conditions import walk
from diagnose.knowledge.model import Caution, Condition, Prior
from diagnose.quantities.compute import compute
from diagnose.reading.entry import replace
from diagnose.reading.problems import Problems
from tests.inference import clips_twin
from tests.support.places import mostly_slow

HERE = Path(__file__).parent
ROOT = HERE.parents[1]
SMALL = ROOT / "tests" / "small"
SCENARIOS = sorted((ROOT / "scenarios").glob("*.yaml"))


@pytest.fixture(scope="module")
def base():
    return load(SMALL / "knowledge")


def case_of(text: str, base):
    problems = Problems()
    case = parse_case(text.encode(), "case.yaml", base.knowledge, problems)
    assert not problems.found, [str(p) for p in problems.found]
    return case


def states(text: str, base) -> dict[str, str]:
    result = infer(case_of("case: c\n" + text, base), base)
    (position,) = result.case.positions
    return {name: d.state for name, d in result.findings[position].items()}


def test_all_and_none_hold_together(base):
    hot = "observations: [{on: hard face, saw: radial cracks, extent: all round}]"
    assert states(hot, base)["hot all round"] == "present"
    broken = hot[:-1] + ", {on: hard face, saw: edge chips, degree: severe}]"
    assert "hot all round" not in states(broken, base)


def test_what_was_not_looked_for_is_unknown_and_what_was_is_absent(base):
    assert "hot all round" not in states("observations: [{on: soft face, absent: radial cracks}]", base)
    assert states("observations: [{on: hard face, absent: radial cracks}]", base)["hot all round"] == "absent"


def test_a_condition_on_a_kind_matches_everything_under_it(base):
    assert states("observations: [{on: soft face, saw: radial cracks}]", base)["cracked somewhere"] == "present"


def test_a_side_said_elsewhere_is_absence_of_this_side(base):
    seen = states("observations: [{on: soft face, saw: edge chips, side: inner edge}]", base)
    assert seen["chipped edges"] == "absent"
    assert "chipped edges" not in states("observations: [{on: soft face, saw: edge chips}]", base)


def test_a_number_that_cannot_decide_a_limit_is_unknown(base):
    for reading, state in (("0.02 mm", "absent"), ("0.06 mm", None), ("0.081 mm", None), ("0.12 mm", "present")):
        text = f"measurements: [{{on: shaft, measured: shaft runout, reading: {reading}, resolution: 0.01 mm}}]\n"
        text += "observations: [{on: shaft, absent: bent}]"
        assert states(text, base).get("shaft moves") == state, reading


MARKS = """
parts:
  - {item: 1, name: Seat, kind: hard face, group: stationary, index: top, seen from: driver end}
  - {item: 2, name: Port, kind: flush port, index: top, seen from: SEEN}
observations:
  - {part: 1, saw: wash mark, extent: at 4}
  - {part: 2, saw: port opening, extent: at AT}
"""


@pytest.mark.parametrize(
    ("seen", "at", "state"),
    [
        ("driver end", "4", "present"),
        ("driver end", "9", "absent"),
        ("impeller end", "8", "present"),
        ("impeller end", "4", "absent"),
    ],
)
def test_marks_are_compared_in_one_direction_of_view(base, seen, at, state):
    assert states(MARKS.replace("SEEN", seen).replace("AT", at), base)["washed at the port"] == state


def test_marks_on_a_part_without_direction_of_view_cannot_be_compared(base):
    text = MARKS.replace(", seen from: SEEN", "").replace("AT", "4")
    assert "washed at the port" not in states(text, base)


def test_a_finding_on_findings_keeps_both_supports(base):
    text = "observations: [{on: hard face, saw: radial cracks, extent: all round}, {on: O-ring, saw: hardened}]"
    result = infer(case_of("case: c\n" + text, base), base)
    assert result.findings["seal"]["hot and hard"].state == "present"
    assert result.leaves_of_finding("hot and hard", "seal") == {o.id for o in result.case.observations}


def test_a_need_known_not_to_hold_rules_a_cause_out(base):
    out = infer(case_of("case: c\nseal: {arrangement: single}", base), base).ruled_out["seal"]
    assert list(out) == ["barrier lost"] and "pressurised pair" in out["barrier lost"][0].branch.because
    assert not infer(case_of("case: c", base), base).ruled_out["seal"]


def test_a_record_of_the_machine_holds_at_both_seals_of_a_pair(base):
    text = "case: c\nseal: {arrangement: dual pressurised}\nobservations: [{on: shaft, saw: bent}]"
    found = infer(case_of(text, base), base).findings
    assert found["inboard"]["shaft moves"].state == found["outboard"]["shaft moves"].state == "present"


def test_a_record_of_one_seal_says_nothing_of_the_other(base):
    text = """case: c
seal: {arrangement: dual pressurised}
parts:
  - {item: 1, name: Seat, kind: hard face, position: inboard}
  - {item: 2, name: Seat, kind: hard face, position: outboard}
observations:
  - {part: 1, saw: radial cracks, extent: all round}
  - {part: 2, lost: radial cracks}
"""
    found = infer(case_of(text, base), base)
    assert found.findings["inboard"]["hot all round"].state == "present"
    assert "hot all round" not in found.findings["outboard"]
    assert {dict(f.slots)["state"] for f in found.facts if f.table == "seen"} == {"present"}


def test_a_measurement_of_one_seal_says_nothing_of_the_other(base):
    knowledge = base.knowledge
    whole = knowledge.findings["shaft moves"]
    tilted = replace(
        whole, when=replace(whole.when.parts[0], on="hard face", term="face runout", limit="", test="above", low=1e-5)
    )
    changed = replace(knowledge, findings={"shaft moves": tilted}, causes={}, cautions={})
    quantities = tuple(
        replace(q, name="face runout", position=p, kind="hard face", low=high, high=high, value=high)
        for q in compute(case_of(RUNOUT, base), knowledge)
        if q.name == "shaft runout"
        for p, high in (("inboard", 5e-5), ("outboard", 5e-6))
    )
    case = case_of("case: c\nseal: {arrangement: dual pressurised}", base)
    found = deduce(case, RuleBase(changed, compile_rules(changed)), quantities).findings
    assert found["inboard"]["shaft moves"].state == "present" and "shaft moves" not in found["outboard"]


RUNOUT = "case: c\nmeasurements: [{on: shaft, measured: shaft runout, reading: 0.02 mm}]"


@pytest.mark.parametrize(("degree", "state"), [("light", "present"), ("moderate", "present"), ("severe", None)])
def test_only_what_is_bad_enough_stands_against(base, degree, state):
    text = f"""observations:
  - {{on: hard face, saw: radial cracks, extent: all round}}
  - {{on: hard face, saw: edge chips, degree: {degree}}}"""
    assert states(text, base).get("hot all round") == state


def test_what_a_finding_denies_or_rests_on_comes_before_it(base, whole_base):
    for knowledge in (base.knowledge, whole_base.knowledge):
        order = [f.name for f in findings_in_order(knowledge)]
        assert sorted(order) == sorted(knowledge.findings)
        for finding in knowledge.findings.values():
            for c in (*walk(finding.when), *walk(finding.absent_when)):
                if "found" in c.form:
                    assert order.index(c.term) < order.index(finding.name), finding.name


@pytest.mark.parametrize(("first", "state"), [("", "present"), (", side: outer edge", None)])
def test_not_found_holds_only_where_nothing_says_so(base, first, state):
    """Z comes before what it denies by name, so that only the strata keep it from firing too soon."""
    knowledge = base.knowledge
    chipped = knowledge.findings["chipped edges"]
    both = Condition("all", parts=(Condition("saw", "edge chips"), Condition("not found", "chipped edges")))
    changed = replace(
        knowledge, findings={**knowledge.findings, "a": replace(chipped, name="a", id="a", when=both, absent_when=None)}
    )
    ready = RuleBase(changed, compile_rules(changed))
    case = case_of(f"case: c\nobservations: [{{on: soft face, saw: edge chips{first}}}]", base)
    found = infer(case, ready).findings["seal"]
    assert (found["a"].state if "a" in found else None) == state
    assert ("chipped edges" in found and found["chipped edges"].state == "present") == (state is None)


DUAL = "case: c\nseal: {arrangement: dual pressurised}\n"


@pytest.mark.parametrize(
    ("told", "inboard", "outboard"),
    [
        ({"ring hard": "present"}, "present", "present"),
        ({"ring hard@inboard": "absent"}, "absent", None),
        ({"ring hard@outboard": "present"}, None, "present"),
    ],
)
def test_a_finding_told_is_taken_as_given_where_it_is_told(base, told, inboard, outboard):
    found = deduce(case_of(DUAL, base), base, (), told)
    for position, state in (("inboard", inboard), ("outboard", outboard)):
        deduced = found.findings[position].get("ring hard")
        assert (deduced.state if deduced else None) == state
        if state:
            assert not deduced.firings
            assert found.leaves_of_finding("ring hard", position) == {f"f:ring hard@{position}"}


def test_a_finding_told_feeds_what_rests_on_it(base):
    case = case_of("case: c\nobservations: [{on: hard face, saw: radial cracks, extent: all round}]", base)
    assert "hot and hard" not in deduce(case, base, ()).findings["seal"]
    found = deduce(case, base, (), {"ring hard": "present"})
    assert found.findings["seal"]["hot and hard"].state == "present"
    assert found.leaves_of_finding("hot and hard", "seal") == {case.observations[0].id, "f:ring hard@seal"}


def test_present_outweighs_absent_and_both_are_kept(base):
    text = "case: c\nobservations: [{on: hard face, saw: radial cracks, extent: all round}, {on: soft face, absent: radial cracks}]"
    knowledge = base.knowledge
    heat = replace(
        knowledge.findings["hot all round"], absent_when=Condition("absent", "radial cracks", on="soft face")
    )
    changed = replace(knowledge, findings={"hot all round": heat}, causes={})
    case = case_of(text, base)
    found = infer(case, RuleBase(changed, compile_rules(changed))).findings["seal"]["hot all round"]
    assert found.state == "present"
    assert [f.branch.conclusion.state for f in found.firings] == ["present"]
    assert [f.branch.conclusion.state for f in found.against] == ["absent"]
    (only,) = (
        infer(
            case_of("case: c\nobservations: [{on: soft face, absent: radial cracks}]", base),
            RuleBase(changed, compile_rules(changed)),
        )
        .findings["seal"]
        .values()
    )
    assert (only.state, len(only.firings), only.against) == ("absent", 1, ())


def with_priors(base, usual: str, *changes: tuple[str, str]):
    """The small rule base with one cause, so common as `usual`, and settings that change it: (term of service, word)."""
    cause = replace(
        base.knowledge.causes["dry running"],
        common=usual,
        needs=(),
        common_when=tuple(Prior(Condition("setting", "service", value=term), word) for term, word in changes),
    )
    changed = replace(base.knowledge, causes={"dry running": cause})
    return RuleBase(changed, compile_rules(changed))


@pytest.mark.parametrize(
    ("usual", "one", "other", "strongest"),
    [
        ("sometimes", "often", "rarely", "rarely"),
        ("rarely", "sometimes", "often", "often"),
        ("often", "rarely", "sometimes", "rarely"),
        ("sometimes", "sometimes", "often", "often"),
    ],
)
def test_of_several_settings_the_one_that_changes_most_counts(base, usual, one, other, strongest):
    case = case_of("case: c\nservice: {is: [hot water, solids]}", base)
    for words in ((one, other), (other, one)):
        ready = with_priors(base, usual, *zip(("hot water", "solids"), words, strict=True))
        assert infer(case, ready).common["seal"]["dry running"].branch.conclusion.state == strongest


def test_cautions_are_told_apart_from_everything_else(base):
    hot = Condition("setting", "service", value="hot water")
    caution = Caution("scalds", "H2", "accepted", "1", "2026", ("s",), says="Hot water.", when=hot)
    changed = replace(with_priors(base, "often", ("hot water", "rarely")).knowledge, cautions={"scalds": caution})
    found = infer(case_of("case: c\nservice: {is: [hot water]}", base), RuleBase(changed, compile_rules(changed)))
    assert list(found.cautions) == ["scalds"] and found.cautions["scalds"][0].branch.because == "Hot water."
    assert list(found.common["seal"]) == ["dry running"] and not found.findings["seal"] and not found.ruled_out["seal"]


def test_drafts_are_left_out_unless_asked_for(tmp_path):
    folder = tmp_path / "knowledge"
    shutil.copytree(SMALL / "knowledge", folder)
    path = folder / "findings" / "hot-and-hard.yaml"
    path.write_text(path.read_text("utf-8").replace("status: accepted", "status: draft"), "utf-8")
    for drafts in (False, True):
        assert ("hot and hard" in load(folder, drafts).knowledge.findings) == drafts
    assert "hot and hard" not in load(folder).knowledge.findings


def rows(case, base, table: str, quantities=(), **wanted) -> list[dict]:
    facts = case_facts(case, base.knowledge, quantities, base.rules)
    all_rows = [{"id": f.id, **dict(f.slots)} for f in facts if f.table == table]
    return [r for r in all_rows if all(r[k] == v for k, v in wanted.items())]


def test_a_record_of_one_seal_is_at_the_other_for_its_pair_and_one_of_the_machine_is_not(base):
    text = (
        DUAL
        + """parts: [{item: 1, kind: hard face, position: inboard}]
observations: [{part: 1, saw: radial cracks, degree: moderate}, {on: shaft, saw: bent}]"""
    )
    case = case_of(text, base)
    cracks = rows(case, base, "seen", feature="radial cracks")
    assert {(r["on"], r["own"], r["position"], r["other"], r["part"], r["rank"]) for r in cracks} == {
        ("hard face", True, "inboard", "outboard", "1", 2)
    }
    bent = rows(case, base, "seen", feature="bent")
    assert {(r["position"], r["other"], r["rank"]) for r in bent} == {("inboard", "", 0), ("outboard", "", 0)}
    assert {r["part"] for r in bent} == {case.observations[1].id}
    assert seal_positions(case) == [("inboard", "outboard"), ("outboard", "inboard")]
    assert seal_positions(case_of("case: c", base)) == [("seal", "")]


def test_a_part_is_known_under_the_kinds_that_rules_name(base):
    knowledge = base.knowledge
    edge = replace(
        knowledge.findings["chipped edges"], when=Condition("saw", "edge chips", on="face"), absent_when=None
    )
    changed = replace(knowledge, findings={"chipped edges": edge}, causes={})
    case = case_of("case: c\nobservations: [{on: soft face, saw: edge chips}]", base)
    (only,) = rows(case, RuleBase(changed, compile_rules(changed)), "seen")
    assert (only["on"], only["own"]) == ("face", False)


def test_where_one_term_holds_the_others_of_a_single_setting_do_not(base):
    told = rows(case_of(DUAL + "service: {is: [hot water]}", base), base, "setting", position="inboard")
    assert {(r["term"], r["holds"]) for r in told} == {
        ("dual pressurised", True),
        ("single", False),
        ("hot water", True),
    }
    denied = rows(case_of("case: c\nservice: {is not: [hot water]}", base), base, "setting")
    assert [(r["term"], r["holds"]) for r in denied] == [("hot water", False)]


def test_a_quantity_is_a_fact_where_there_is_a_number_or_a_word(base):
    case = case_of(RUNOUT, base)
    (runout,) = (q for q in compute(case, base.knowledge) if q.name == "shaft runout")
    word = replace(runout, id="q-word", value=None, word="worn")
    nothing = replace(runout, id="q-none", value=None, word="", problem="no reading")
    quantities = (runout, word, nothing)
    knowledge = base.knowledge
    worn = replace(knowledge.findings["ring hard"], when=Condition("quantity", "shaft runout", test="is", value="worn"))
    changed = replace(
        knowledge, findings={"ring hard": worn, "shaft moves": knowledge.findings["shaft moves"]}, causes={}
    )
    ready = RuleBase(changed, compile_rules(changed))
    assert [r["id"] for r in rows(case, ready, "amount", quantities)] == sorted([runout.id, "q-word"])
    assert {r["verdict"] for r in rows(case, ready, "limit", (runout,))} == {"inside"}
    assert {r["part"] for r in rows(case, ready, "limit", (runout,))} == {runout.id}
    assert {r["part"] for r in rows(case, ready, "limit", (replace(runout, part="7"),))} == {"7"}
    assert deduce(case, ready, quantities).findings["seal"]["ring hard"].state == "present"
    assert "ring hard" not in deduce(case, ready, (runout, nothing)).findings["seal"]


def test_a_finding_of_a_quantity_rests_on_its_readings_and_without_any_on_itself(base):
    case = case_of(RUNOUT.replace("0.02", "0.2"), base)
    (runout,) = (q for q in compute(case, base.knowledge) if q.name == "shaft runout")
    assert infer(case, base).leaves_of_finding("shaft moves", "seal") == {case.measured[0].id}
    assumed = replace(runout, inputs=(("runout", "0.2 mm", ""),))
    assert deduce(case, base, (assumed,)).leaves_of_finding("shaft moves", "seal") == {runout.id}


def test_each_two_marks_that_rules_compare_are_told_once(base):
    text = (
        DUAL
        + """parts:
  - {item: 1, kind: hard face, group: stationary, position: inboard, index: top, seen from: driver end}
  - {item: 2, kind: flush port, position: inboard, index: top, seen from: driver end}
observations:
  - {part: 1, saw: wash mark, extent: at 4}
  - {part: 2, saw: port opening, extent: at 9}
"""
    )
    case = case_of(text, base)
    (told,) = mark_relations(case, base.knowledge, base.rules)
    assert (told.position, told.word) == ("inboard", "apart")
    (fact,) = rows(case, base, "marks")
    assert (fact["relation"], fact["position"], fact["other"]) == ("apart", "inboard", "")
    all_round = case_of(text.replace("extent: at 4", "extent: all round"), base)
    assert not mark_relations(all_round, base.knowledge, base.rules), "what goes all round has no place"
    placeless = case_of(text.replace(", extent: at 4", ""), base)
    (told,) = mark_relations(placeless, base.knowledge, base.rules)
    assert told.problem and not rows(placeless, base, "marks"), "no place on record is told, and no rule sees it"
    gone = case_of(text.replace("saw: wash mark, extent: at 4", "absent: wash mark"), base)
    assert not mark_relations(gone, base.knowledge, base.rules)
    ring = case_of(text.replace("kind: hard face", "kind: O-ring"), base)
    assert not mark_relations(ring, base.knowledge, base.rules), "the rule asks for marks on faces"


def test_marks_of_one_feature_are_compared_with_each_other_and_not_with_themselves(base):
    mark = Condition("saw", "wash mark")
    twice = Condition("marks", value="apart", parts=(mark, mark))
    changed = replace(
        base.knowledge,
        causes={},
        findings={
            "washed at the port": replace(base.knowledge.findings["washed at the port"], when=twice, absent_when=None)
        },
    )
    ready = RuleBase(changed, compile_rules(changed))
    text = """case: c
parts:
  - {item: 1, kind: hard face, group: stationary, index: top, seen from: driver end}
  - {item: 2, kind: O-ring, group: stationary, index: top, seen from: driver end}
observations: [{part: 1, saw: wash mark, extent: at 4}"""
    one, two = case_of(text + "]", base), case_of(text + ", {part: 2, saw: wash mark, extent: at 9}]", base)
    assert not mark_relations(one, changed, ready.rules) and not infer(one, ready).findings["seal"]
    (told,) = mark_relations(two, changed, ready.rules)
    assert told.word == "apart" and infer(two, ready).findings["seal"]["washed at the port"].state == "present"


def same_as_clips(case, base):
    result = infer(case, base)
    ours = {
        (b.conclusion.name, b.conclusion.state, f.position)
        for f in result.firings
        if (b := f.branch).conclusion.kind == "found"
    }
    return ours, clips_twin.deduce(list(base.rules.branches), list(result.facts), seal_positions(case))


def test_clips_deduces_the_same_on_the_small_case(base):
    from diagnose.casefile.reader import read_case

    ours, theirs = same_as_clips(read_case(SMALL / "case.yaml", base.knowledge), base)
    assert ours == theirs and ours


@pytest.mark.parametrize("path", mostly_slow(SCENARIOS, 1), ids=lambda p: p.stem)
def test_clips_deduces_the_same_on_every_scenario(path, whole_base):
    from diagnose.casefile.reader import read_case

    ours, theirs = same_as_clips(read_case(path, whole_base.knowledge), whole_base)
    assert ours == theirs and ours
