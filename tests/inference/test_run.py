"""From facts to findings: what is deduced, that order does not matter, and that CLIPS deduces the same."""

from __future__ import annotations

import json
import os
import random
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest

from diagnose.casefile.reader import parse_case
from diagnose.inference.facts import seats
from diagnose.inference.rules import compile_rules, findings_in_order
from diagnose.inference.run import RuleBase, deduce, infer, load
from diagnose.knowledge.conditions import walk
from diagnose.knowledge.model import Condition
from diagnose.quantities.compute import compute
from diagnose.reading.problems import Problems
from tests.inference import clips_twin

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
    tilted = replace(whole, when=replace(whole.when.parts[0], on="hard face", term="face runout", limit="", test="above", low=1e-5))
    changed = replace(knowledge, findings={"shaft moves": tilted}, causes={}, cautions={})
    quantities = tuple(
        replace(q, name="face runout", position=p, kind="hard face", low=high, high=high, value=high)
        for q in compute(case_of(RUNOUT, base), knowledge) if q.name == "shaft runout"
        for p, high in (("inboard", 5e-5), ("outboard", 5e-6))
    )  # fmt: skip
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
    changed = replace(knowledge, findings={**knowledge.findings, "a": replace(chipped, name="a", id="a", when=both, absent_when=None)})
    ready = RuleBase(changed, compile_rules(changed))
    case = case_of(f"case: c\nobservations: [{{on: soft face, saw: edge chips{first}}}]", base)
    found = infer(case, ready).findings["seal"]
    assert (found["a"].state if "a" in found else None) == state
    assert ("chipped edges" in found and found["chipped edges"].state == "present") == (state is None)


PRINT = """
import json, sys
from pathlib import Path
from diagnose.casefile.reader import parse_case
from diagnose.inference.run import infer, load
from diagnose.judgement.judge import judge
from diagnose.judgement.network import build
from diagnose.advice.plan import plan
from diagnose.reading.problems import Problems
from diagnose.views.explanation import document
base = load(Path(sys.argv[1])); net = build(base.knowledge)
out = []
for name in sys.argv[2:]:
    i = infer(parse_case(Path(name).read_bytes(), "case.yaml", base.knowledge, Problems()), base)
    d = document(i, judge(i, net), plan(i, judge(i, net), net), True); d["case"]["digest"] = ""
    out.append(d)
print(json.dumps(out))
"""


def shuffled(path: Path, seed: int, folder: Path) -> Path:
    """The case with its parts, observations and measurements in another order."""
    import yaml

    case = yaml.load(path.read_text("utf-8"), yaml.BaseLoader)
    mixer = random.Random(seed)
    for key in ("parts", "observations", "measurements"):
        mixer.shuffle(case.get(key, []))
    changed = folder / path.name
    changed.write_text(yaml.dump(case, allow_unicode=True, sort_keys=False), "utf-8")
    return changed


def test_same_bytes_under_other_hash_seeds_and_orders_of_record(tmp_path):
    knowledge = ROOT / "knowledge" if SCENARIOS else SMALL / "knowledge"
    paths = SCENARIOS[:4] or [SMALL / "case.yaml"]
    printed = set()
    for seed in range(3):
        folder = tmp_path / str(seed)
        folder.mkdir()
        names = [str(shuffled(p, seed, folder)) for p in paths]
        done = subprocess.run(
            [sys.executable, "-c", PRINT, str(knowledge), *names], capture_output=True, text=True, check=False,
            env={**os.environ, "PYTHONHASHSEED": str(seed)},
        )  # fmt: skip
        assert done.returncode == 0, done.stderr
        printed.add(done.stdout)
    assert len(printed) == 1
    assert len(json.loads(printed.pop())) == len(paths)


def same_as_clips(case, base):
    result = infer(case, base)
    ours = {
        (b.conclusion.name, b.conclusion.state, f.position)
        for f in result.firings
        if (b := f.branch).conclusion.kind == "found"
    }
    return ours, clips_twin.deduce(list(base.rules.branches), list(result.facts), seats(case))


def test_clips_deduces_the_same_on_the_small_case(base):
    from diagnose.casefile.reader import read_case

    ours, theirs = same_as_clips(read_case(SMALL / "case.yaml", base.knowledge), base)
    assert ours == theirs and ours


@pytest.mark.parametrize("path", SCENARIOS, ids=lambda p: p.stem)
def test_clips_deduces_the_same_on_every_scenario(path, whole_base):
    from diagnose.casefile.reader import read_case

    ours, theirs = same_as_clips(read_case(path, whole_base.knowledge), whole_base)
    assert ours == theirs and ours
