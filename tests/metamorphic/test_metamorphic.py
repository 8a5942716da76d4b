"""Changes to a case or a rule base that must not change the answer, or must change it in a known way."""

from __future__ import annotations

import copy
import json
import random
from collections.abc import Iterator
from dataclasses import replace
from functools import lru_cache
from pathlib import Path

import numpy as np
import pytest
import yaml
from hypothesis import given, settings
from hypothesis import strategies as st

from diagnose.casefile.clock import place
from diagnose.casefile.reader import parse_case
from diagnose.inference.rules import compile_rules
from diagnose.inference.run import RuleBase, infer, load
from diagnose.judgement.diagnosis import Diagnosis
from diagnose.judgement.posterior import Evidence, Sums
from diagnose.knowledge.conditions import walk
from diagnose.knowledge.files import contents_of
from diagnose.knowledge.reader import build_knowledge
from diagnose.reading.problems import Problems
from diagnose.reading.units import amount, to_unit

pytestmark = pytest.mark.slow

ROOT = Path(__file__).resolve().parents[2]
SCENARIOS = sorted((ROOT / "scenarios").glob("*.yaml"))
RECORDS = ("parts", "observations", "measurements")
MOST = 10
"""Records left out of one scenario in turn; of a larger record so many are drawn."""
SWAP = {"inboard": "outboard", "outboard": "inboard"}
each_scenario = pytest.mark.parametrize("path", SCENARIOS, ids=lambda p: p.stem)


def document(path: Path) -> dict:
    return yaml.load(path.read_text("utf-8"), yaml.BaseLoader)


def read(case: dict, base: RuleBase):
    problems = Problems()
    found = parse_case(json.dumps(case, ensure_ascii=False).encode(), "c.yaml", base.knowledge, problems)
    assert not problems.errors(), [str(p) for p in problems.errors()]
    return found


def findings(case: dict, base: RuleBase) -> dict[str, dict[str, str]]:
    return {p: {n: d.state for n, d in ds.items()} for p, ds in infer(read(case, base), base).findings.items()}


def answer(case: dict, base: RuleBase) -> dict[str, dict[str, tuple[str, float]]]:
    """Standing and probability of every cause and mechanism at every position."""
    judgements = Diagnosis(read(case, base), base).judgements
    return {
        j.position: {x.name: (x.standing, round(x.probability, 9)) for x in (*j.causes, *j.mechanisms)}
        for j in judgements
    }


def based(contents: dict[str, bytes]) -> RuleBase:
    knowledge = build_knowledge(contents, "knowledge", problems := Problems())
    assert knowledge is not None and not problems.errors(), [str(p) for p in problems.errors()]
    return RuleBase(knowledge, compile_rules(knowledge))


@lru_cache(maxsize=64)
def unchanged(path: Path, base: RuleBase) -> dict[str, dict[str, tuple[str, float]]]:
    return answer(document(path), base)


@each_scenario
def test_the_order_of_records_and_keys_does_not_matter(path, whole_base):
    case = document(path)
    mixed = copy.deepcopy(case)
    mixer = random.Random(path.stem)
    for key in RECORDS:
        mixer.shuffle(mixed.get(key, []))
    keys = list(mixed)
    mixer.shuffle(keys)
    assert answer({k: mixed[k] for k in keys}, whole_base) == unchanged(path, whole_base)


@each_scenario
def test_renamed_item_numbers_change_only_names(path, whole_base):
    case = document(path)
    renamed = copy.deepcopy(case)
    names = {p["item"]: f"X{i}-{p['item']}" for i, p in enumerate(reversed(case.get("parts", [])))}

    def rename(item):
        return [names.get(x, x) for x in item] if isinstance(item, list) else names.get(item, item)

    for record in [r for key in RECORDS for r in renamed.get(key, [])]:
        for slot in ("item", "part", "touches"):
            if slot in record:
                record[slot] = rename(record[slot])
    assert answer(renamed, whole_base) == unchanged(path, whole_base)


def test_an_observation_that_no_rule_uses_changes_nothing():
    contents = contents_of(ROOT / "tests" / "small" / "knowledge")
    name = next(n for n in contents if contents[n].startswith(b"features:"))
    contents[name] = contents[name].replace(
        b"features:\n", b"features:\n  water spots: {means: Dried drops., on: [face], lost: before washing}\n"
    )
    base = based(contents)
    case = document(ROOT / "tests" / "small" / "case.yaml")
    more = copy.deepcopy(case)
    more["observations"].append({"part": "1", "saw": "water spots"})
    assert answer(more, base) == answer(case, base) and findings(more, base) == findings(case, base)


@each_scenario
def test_what_nobody_looked_at_says_nothing(path, whole_base):
    words = whole_base.knowledge.vocabulary
    looked = document(path)
    said = [o.get("saw") or o.get("absent") or o.get("lost") or o.get("not looked at") for o in looked["observations"]]
    seen = {f for x in said for f in (x if isinstance(x, list) else [x])}
    free = [name for name, feature in words.features.items() if feature.on and not feature.form and name not in seen]
    for name in random.Random(path.stem).sample(free, 10):
        looked["observations"].append({"on": words.features[name].on[0], "not looked at": name})
    assert answer(looked, whole_base) == unchanged(path, whole_base)


def turned(extent, degrees: float):
    """An extent so many degrees further round, clockwise as its part is seen."""
    if isinstance(extent, list):
        return [turned(e, degrees) for e in extent]
    words = extent.split()

    def further(text: str) -> str:
        return f"{(place(text) + degrees) % 360:g}°"

    return " ".join(further(w) if w[0].isdigit() else w for w in words)


@each_scenario
def test_turning_the_index_of_every_part_by_one_angle_changes_no_finding(path, whole_base):
    case = document(path)
    kept = [m for m in case.pop("measurements", []) if not isinstance(m.get("at"), list)]
    case |= {"measurements": kept} if kept else {}
    backwards = {p["item"] for p in case.get("parts", []) if p.get("seen from") == "impeller end"}
    for hours in (1, 5):
        other = copy.deepcopy(case)
        for o in other.get("observations", []):
            if "extent" in o:
                o["extent"] = turned(o["extent"], -30.0 * hours if o.get("part") in backwards else 30.0 * hours)
        assert findings(other, whole_base) == findings(case, whole_base)


UNITS = {"mm": "in", "°C": "K", "bar": "kPa", "h": "min", "m": "ft", "N": "lbf", "µm": "µin", "rpm": "1/min"}


def in_other_units(value):
    if isinstance(value, list):
        return [in_other_units(v) for v in value]
    _, _, spelling = value.partition(" ")
    if spelling not in UNITS or "±" in value:
        return value
    return f"{to_unit(amount(value).value, UNITS[spelling]):.12g} {UNITS[spelling]}"


@each_scenario
def test_the_unit_of_input_does_not_matter(path, whole_base):
    case = document(path)
    other = copy.deepcopy(case)
    for m in other.get("measurements", []):
        for slot in ("reading", "readings", "resolution"):
            if slot in m and "unit" not in m:
                m[slot] = in_other_units(m[slot])
    for section in ("equipment", "service", "seal", "history"):
        for key, value in other.get(section, {}).items():
            if key in whole_base.knowledge.vocabulary.readings:
                other[section][key] = in_other_units(value)
    assert other != case or not case.get("measurements")
    assert findings(other, whole_base) == findings(case, whole_base)


def swapped(case: dict) -> dict:
    other = copy.deepcopy(case)
    for record in [r for key in RECORDS for r in other.get(key, [])]:
        if record.get("position") in SWAP:
            record["position"] = SWAP[record["position"]]
    for section in ("seal", "service"):
        inner = other.get(section, {})
        pair = {SWAP[k]: inner.pop(k) for k in list(inner) if k in SWAP}
        inner.update(pair)
    other.pop("expected", None)
    return other


def test_swapping_inboard_and_outboard_swaps_the_answer(whole_base):
    """For the findings whose rules, and the rules below them, name neither seat, in words or through a quantity:
    formulas know that the product stands at the inboard seal."""
    findings_of = whole_base.knowledge.findings
    free: dict[str, bool] = {}

    def is_free(name: str) -> bool:
        if name not in free:
            f = findings_of[name]
            conditions = [*walk(f.when), *walk(f.absent_when)]
            free[name] = not any(c.at in SWAP or c.form == "quantity" for c in conditions) and all(
                is_free(c.term) for c in conditions if "found" in c.form
            )
        return free[name]

    duals = [p for p in SCENARIOS if document(p).get("seal", {}).get("arrangement", "").startswith("dual")]
    compared = 0
    for path in duals:
        before, after = findings(document(path), whole_base), findings(swapped(document(path)), whole_base)
        for position, states in before.items():
            kept = {n: s for n, s in states.items() if is_free(n)}
            assert kept == {n: s for n, s in after[SWAP[position]].items() if is_free(n)}, path.stem
            compared += len(kept)
    assert duals and compared > 20


def with_one_record_less(case: dict) -> Iterator[tuple[str, dict]]:
    """The case without one observation, one feature of a list, one measurement or one of its readings, each in turn."""
    for key, inner in (("observations", ("saw", "absent")), ("measurements", ("readings",))):
        for i, record in enumerate(case.get(key, [])):
            less = copy.deepcopy(case)
            del less[key][i]
            if not less[key]:
                del less[key]
            yield f"{key} {record}", less
            for slot in inner:
                listed = record.get(slot)
                for n in range(len(listed)) if isinstance(listed, list) and len(listed) > 1 else ():
                    less = copy.deepcopy(case)
                    for beside in (slot, "at", "labels") if slot == "readings" else (slot,):
                        if isinstance(record.get(beside), list):
                            del less[key][i][beside][n]
                    yield f"{key} {record}: {slot} {listed[n]}", less


@each_scenario
def test_without_one_record_no_established_cause_gives_way_to_another(path, whole_base):
    case = document(path)

    def established(document: dict) -> dict[str, set[str]]:
        judgements = Diagnosis(read(document, whole_base), whole_base).judgements
        return {j.position: {c.name for c in j.causes if c.standing == "established"} for j in judgements}

    whole = established(case)
    every = list(with_one_record_less(case))
    assert len(every) >= len(case["observations"])
    for missing, less in random.Random(path.stem).sample(every, min(len(every), MOST)):
        for position, causes in established(less).items():
            lost, come = whole[position] - causes, causes - whole[position]
            assert not (lost and come), (missing, position, lost, come)


def test_the_order_of_files_and_of_keys_in_them_does_not_matter():
    contents = contents_of(ROOT / "tests" / "small" / "knowledge")
    case = document(ROOT / "tests" / "small" / "case.yaml")
    results = []
    for seed in range(3):
        mixer = random.Random(seed)
        names = sorted(contents)
        mixer.shuffle(names)
        other = {}
        for name in names:
            card = yaml.load(contents[name], yaml.BaseLoader)
            keys = list(card)
            mixer.shuffle(keys)
            other[name] = yaml.dump({k: card[k] for k in keys}, allow_unicode=True, sort_keys=False).encode()
        base = based(other)
        results.append((answer(case, base), findings(case, base)))
    assert results[0] == results[1] == results[2]


@given(st.randoms(use_true_random=False))
@settings(max_examples=15, deadline=None)
def test_the_order_of_branches_does_not_matter(mixer):
    base = small()
    branches = list(base.rules.branches)
    found = [b for b in branches if b.conclusion.kind == "found"]
    strata = sorted(found, key=lambda b: any(p.table == "found" for p in b.premises))
    low = [b for b in strata if not any(p.table == "found" for p in b.premises)]
    mixer.shuffle(low)
    mixed = [*low, *strata[len(low) :], *(b for b in branches if b.conclusion.kind != "found")]
    other = RuleBase(base.knowledge, replace(base.rules, branches=tuple(mixed)))
    case = document(ROOT / "tests" / "small" / "case.yaml")
    assert answer(case, other) == answer(case, base) and findings(case, other) == findings(case, base)


SMALL: list[RuleBase] = []


def small() -> RuleBase:
    if not SMALL:
        SMALL.append(load(ROOT / "tests" / "small" / "knowledge"))
    return SMALL[0]


def test_alone_a_present_finding_speaks_for_what_leaves_it_and_an_absent_one_against_it(whole_network):
    """Exact: the chance of each mechanism under every single cause and none, by one finding there and not there, and the
    odds of each cause; for the findings against which nothing speaks. Answers of questions are left to their own tests."""
    net = whole_network
    members = np.concatenate([np.zeros((1, len(net.causes)), bool), np.eye(len(net.causes), dtype=bool)])
    tried = 0
    for row, finding in enumerate(net.findings):
        leave, bear = np.flatnonzero(net.marks.inhibition[row] < 1), np.flatnonzero(net.speaking[row])
        held = (net.marks.suppression[row] < 1).any() or (net.signs.suppression[row] < 1).any()
        if finding in net.question_of or held or not len(bear):
            continue
        present, absent = (
            Sums(net, Evidence({finding: s}, net.prior, tuple(range(len(net.causes))))) for s in (True, False)
        )
        gain, loss = present.likelihood(members), absent.likelihood(members)
        assert (gain[1:][bear] > gain[0]).all() and (loss[1:][bear] < loss[0]).all(), finding
        if len(leave):
            assert (present.mechanisms(members)[leave] > absent.mechanisms(members)[leave]).all(), finding
        tried += 1
    assert tried > len(net.findings) / 2
