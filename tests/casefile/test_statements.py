"""What can be put on record beyond a mark on a part: qualifiers, states, acts, arrangements; and what is refused."""

from __future__ import annotations

from pathlib import Path

import pytest

from diagnose.casefile.reader import parse_case
from diagnose.casefile.wording import describe, describe_act, describe_state
from diagnose.reading.problems import Problems

ROOT = Path(__file__).parents[2]
PINS = "parts: [{item: 7, kind: drive pin, name: Drive pins}]\n"


def read(text: str, knowledge):
    problems = Problems()
    case = parse_case(("case: c\n" + text).encode(), "case.yaml", knowledge, problems)
    return case, [f"{p.where.line}:{p.where.column} {p.code}: {p.says} ({p.way_out})" for p in problems.found]


def case_of(text: str, knowledge):
    case, problems = read(text, knowledge)
    assert not problems, problems
    return case


@pytest.mark.parametrize("entry, said", [
    ("{saw: wear, part: 7, which: pin 2, of: 4}", "wear on Drive pins (7) (pin 2 of 4)"),
    ("{saw: wear, part: 7, which: [pin 2, pin 3], of: 4}", "wear on Drive pins (7) (pin 2, pin 3 of 4)"),
    ("{saw: wear, part: 7, of: 4}", "wear on Drive pins (7) (of 4)"),
    ("{saw: stain, colour: blued, part: 7, when: as found}", "stain on Drive pins (7) (colour blue) (as received)"),
    ("{saw: deposit, texture: gooey, made of: tar, on: face}", "sticky residue on face (made of tar)"),
    ("{absent: deposit, on: sleeve, when: after cleaning}", "looked for, not there: deposit on sleeve (after washing)"),
    ("{saw: crack, runs: radially, on: hard face}", "radial cracks on hard face"),
    ("{saw: crack, runs: spiral, on: hard face}", "crack on hard face (runs spiral)"),
])  # fmt: skip
def test_a_mark_is_told_with_all_that_was_said_of_it(entry, said, knowledge):
    case = case_of(PINS + f"observations: [{entry}]", knowledge)
    assert describe(case.observations[0], case) == said


def test_before_and_after_washing_do_not_contradict_each_other(knowledge):
    both = "observations: [{saw: deposit, on: sleeve, when: before washing}, {absent: deposit, on: sleeve, when: after washing}]"
    assert len(case_of(both, knowledge).observations) == 2


def test_a_general_word_denied_contradicts_a_special_one_seen(knowledge):
    _, problems = read("observations: [{saw: radial cracks, on: face}, {absent: crack, on: face}]", knowledge)
    assert len(problems) == 1 and "says-both: 'crack' is recorded absent and 'radial cracks' present" in problems[0]
    _, problems = read("observations: [{absent: radial cracks, on: face}, {saw: crack, on: face}]", knowledge)
    assert problems == []


@pytest.mark.parametrize("entry, said", [
    ("{at: flush pipe, temp: 60 °C}", ""),
    ("{at: gland plate, temperature: cool, when: running}", "gland: temperature low (running)"),
    ("{at: suction, pressure: hunting}", "suction: pressure swinging"),
    ("{at: leak-off, leakage: [12 mL/h, 5 mL/h], when: [2026-03-02, 2026-03-09]}", "leak-off: leakage 12 mL/h, 5 mL/h (falling) (2026-03-02, 2026-03-09)"),
    ("{at: pot, level: low, not: true}", "pot: level not low"),
    ("{at: pot vent, passage: plugged}", "pot vent: passage blocked"),
    ("{at: chamber, pressure: 2 to 3 bar g, specified: 5 bar g}", "chamber: pressure 2 to 3 bar g (less than specified)"),
    ("{at: gas panel filter, dp: over 1 bar}", "gas panel filter: differential pressure over 1 bar"),
    ("{at: product, pH: 4.5}", "product: pH 4.5"),
    ("{at: barrier circuit, tan: 1.2 mg/g}", "barrier circuit: acid number 1.2 mg/g"),
    ("{at: secondary vent, flow: rising, when: 3 h after start}", "secondary vent: flow rising (3 h after start)"),
])  # fmt: skip
def test_a_state_is_told_as_it_was_read(entry, said, knowledge):
    case, problems = read(f"states: [{entry}]", knowledge)
    assert [describe_state(s) for s in case.states] == ([said] if said else [])
    assert bool(problems) == (not said)


@pytest.mark.parametrize("entry, said", [
    ("{did: vented, to: stuffing box, not: true, when: prior to start-up}", "not done: vent chamber (before the start)"),
    ("{did: greased, to: O-rings, with: silicone grease}", "grease O-ring with silicone grease"),
    ("{did: closed in, to: discharge valve}", "shut a valve discharge valve"),
])  # fmt: skip
def test_an_act_is_told_as_it_was_read(entry, said, knowledge):
    assert [describe_act(a) for a in case_of(f"acts: [{entry}]", knowledge).acts] == [said]


@pytest.mark.parametrize("text, expected", [
    ("observations: [{saw: wear, part: 7, which: pin 5, of: 4}]", "2:53 of: pin 5 cannot be among 4"),
    ("observations: [{saw: wear, part: 7, which: pin 5, of: ²}]", "'²' is no number of parts"),
    (f"observations: [{{saw: wear, part: 7, which: pin {'9' * 5000}, of: 4}}]", "cannot be among 4"),
    (f"observations: [{{saw: wear, part: 7, which: pin 1, of: {'0' * 5000}}}]", "is no number of parts"),
    ("observations: [{saw: crack, on: face, runs: radail}]", "'radail' is no word for 'runs' of the vocabulary (did you mean: radial"),
    ("states: [{at: flsh line, temperature: high}]", "'flsh line' is no point of the vocabulary (did you mean: flush line"),
    ("states: [{at: flush line, temperature: hihg}]", "'hihg' is no word for 'temperature' (did you mean: high"),
    ("states: [{at: flush line, temperature: 60 bar}]", "'60 bar' is in the wrong kind of unit"),
    ("states: [{at: flush line, temperature: 70 to 60 °C}]", "the lower end comes first"),
    ("states: [{at: flush line, temperature: high, flow: low}]", "a state says one thing of one point"),
    ("states: [{temperature: high}]", "a state says one thing of one point"),
    ("states: [{at: flush line, temperature: high, when: sometime}]", "'sometime' is no moment of the vocabulary and no time"),
    ("states: [{at: pot, level: [low, high], when: [running, standing, hot]}]", "2 values but 3 moments"),
    ("acts: [{to: chamber}]", "an act says what was done"),
    ("acts: [{did: vnet}]", "'vnet' is no act of the vocabulary"),
    ("acts: [{did: vent, to: moon}]", "'moon' is no point, part or substance of the vocabulary"),
])  # fmt: skip
def test_what_cannot_be_read_is_told_with_the_way_out(text, expected, knowledge):
    _, problems = read((PINS if "part: 7" in text else "") + text, knowledge)
    said = problems[0].replace("3:", "2:", 1) if "part: 7" in text else problems[0]
    assert len(problems) == 1 and expected.partition(": ")[2 if expected[0].isdigit() else 0] in said, problems


def test_ranges_are_computed_with(knowledge):
    case = case_of(
        "parts: [{item: 2, kind: hard face}]\nmeasurements: [{measured: track width, part: 2, readings: [4 to 4.4 mm]}]",
        knowledge,
    )
    reading = case.measured[0].readings[0]
    assert (round(reading.value, 6), round(reading.spread, 6)) == (0.0042, 0.0002)


@pytest.mark.parametrize("arrangement, positions", [
    ("single", ("seal",)), ("tandem", ("inboard", "outboard")), ("triple", ("inboard", "middle", "outboard")),
])  # fmt: skip
def test_a_gas_seal_can_stand_alone_in_tandem_or_in_three_stages(arrangement, positions, knowledge):
    case = case_of(f"seal: {{arrangement: {arrangement}, film: gas, separation seal: carbon rings}}\n"
                   f"observations: [{{saw: groove, on: carbide mating ring, position: {positions[-1]}}}]", knowledge)  # fmt: skip
    assert case.positions == positions and case.observations[0].position == positions[-1]


@pytest.mark.parametrize("kind, also", [
    ("carbide seat", {"mating ring", "carbide face", "hard face", "stationary face"}), ("PTFE wedge", {"secondary seal"}),
    ("solid PTFE ring", {"secondary seal"}), ("split face", {"face"}), ("carbon seat", {"mating ring", "soft face"}),
])  # fmt: skip
def test_a_ring_can_be_two_things_at_once(kind, also, knowledge):
    words = knowledge.vocabulary
    assert also <= set(words.lineage[words.find("kind", kind)])


def test_words_that_nobody_could_place_are_kept(knowledge):
    case = case_of("said, not understood: [it looked like a bad day, 'smelt of, well, pears']", knowledge)
    assert case.not_understood == ("it looked like a bad day", "smelt of, well, pears")
