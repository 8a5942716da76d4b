"""The quantities of a case as a whole: order, identity, uncertainty, sources, speed, and bad numbers."""

from __future__ import annotations

import random
import re
import subprocess
import sys
from pathlib import Path

import pytest

from diagnose.casefile.reader import parse_case
from diagnose.quantities.compute import compute
from diagnose.quantities.model import AS_RECORDED, Quantity
from diagnose.reading.entry import replace
from diagnose.reading.problems import Problems
from diagnose.reading.units import unit

PACKAGE = Path(__file__).resolve().parents[2] / "diagnose" / "quantities"
RICH = """
equipment: {rotation: clockwise, seen from: driver end, speed: 2950 rpm, chamber bore: 100 mm}
service: {fluid: hot water, is: [hot water], temperature: 96 ± 2 °C, chamber pressure: 3.1 ± 0.2 bar a, flush flow: 4 L/min, viscosity: 0.3 mPa s}
seal: {arrangement: single, soft face: carbon, hard face: silicon carbide, elastomer: EPDM, nose outer diameter: 61.6 mm,
  nose inner diameter: 48.9 mm, balance diameter: 52.4 mm, spring force: 190 N, gland bolts: 4 bolts, specified working length: 40 mm}
index: {rotating: set screw 1, stationary: top dead centre}
parts:
  - {item: 1, kind: soft face, group: rotating, carries: nose, index: set screw 1, seen from: driver end}
  - {item: 2, kind: hard face, group: stationary, carries: wide, index: top dead centre, seen from: driver end}
  - {item: 3, kind: dynamic O-ring}
  - {item: 4, kind: multiple springs}
  - {item: 5, kind: anti-rotation pin, seen from: impeller end}
measurements:
  - {part: 2, measured: wear depth, unit: µm, readings: [120, 135, 140, 135, 120, 100, 80, 65, 60, 65, 80, 100],
     at: [12, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11], resolution: 1 µm}
  - {part: 2, measured: track width, unit: mm, readings: [5.3, 5.3, 5.35, 5.3], at: [12, 3, 6, 9], resolution: 0.05 mm}
  - {part: 1, measured: nose width, reading: 5.00 mm, resolution: 0.05 mm}
  - {part: 3, measured: new cross-section, reading: 3.53 mm}
  - {part: 3, measured: cross-section, reading: 3.02 mm, resolution: 0.01 mm}
  - {part: 3, measured: gland depth, reading: 2.82 mm}
  - {part: 4, measured: free length, unit: mm, readings: [25.4, 25.3, 25.5, 25.4, 25.4, 23.9, 25.3, 25.5], resolution: 0.05 mm}
  - {part: 5, measured: clockwise flank wear, reading: 0.2 mm}
  - {part: 5, measured: counterclockwise flank wear, reading: 0 mm}
  - {on: fit, measured: working length, reading: 41 mm}
  - {on: shaft, measured: shaft runout, unit: mm, readings: [0, 0.02, 0.04, 0.02], at: [12, 3, 6, 9], resolution: 0.01 mm}
history: {running hours: 216 h}
"""


def test_the_order_of_records_does_not_matter(knowledge, case_of):
    case = case_of(RICH)
    first = compute(case, knowledge)
    for seed in range(5):
        shuffled = list(case.measured)
        random.Random(seed).shuffle(shuffled)
        parts = list(case.parts)
        random.Random(seed).shuffle(parts)
        assert compute(replace(case, measured=tuple(shuffled), parts=tuple(parts)), knowledge) == first


def test_identities_are_made_from_content(quantities_of):
    found, again = quantities_of(RICH), quantities_of(RICH)
    assert {q.id for q in found.values()} == {q.id for q in again.values()}
    assert len({q.id for q in found.values()}) == len(found)
    other = quantities_of(RICH.replace("reading: 41 mm", "reading: 41.5 mm"))
    changed = {n for n in found if found[n].id != other[n].id}
    assert changed == {"working length error"}


def test_every_quantity_shows_formula_inputs_and_a_known_source(knowledge, quantities_of):
    records = {m.id for m in _case(RICH, knowledge).measured}
    found = quantities_of(RICH)
    ids = records | {q.id for q in found.values()}
    for name, q in found.items():
        assert q.formula and q.inputs, name
        assert q.source in knowledge.sources or q.source == AS_RECORDED, name
        assert all(record in ids or record == "" for _, _, record in q.inputs), name
        assert q.unit == knowledge.vocabulary.quantities[q.name].unit
        if q.value is not None:
            assert q.low <= q.value <= q.high, name


def _case(text, knowledge):
    return parse_case(("case: c\n" + text).encode(), "case.yaml", knowledge, Problems())


def test_sources_and_names_in_the_code_exist_in_the_rule_base(knowledge):
    """Every quantity that the code can make stands in the vocabulary, and every reading it asks for."""
    text = "".join(p.read_text("utf-8") for p in sorted(PACKAGE.glob("*.py")))
    made = set(re.findall(r'(?:work_out|result)\(\s*"([^"]+)"', text))
    assert made and made <= set(knowledge.vocabulary.quantities)
    asked = set(re.findall(r'(?:bench\.one|bench\.near|bench\.records|bench\.every)\(\s*"([^"]+)"', text))
    assert asked and asked <= set(knowledge.vocabulary.readings)


def test_every_quantity_of_the_vocabulary_is_made_somewhere(knowledge):
    text = "".join(p.read_text("utf-8") for p in sorted(PACKAGE.glob("*.py")))
    for name, term in knowledge.vocabulary.quantities.items():
        if term.formula or name in knowledge.vocabulary.readings:
            continue
        assert f'"{name}"' in text or name in ("coupling offset share of limit", "coupling angle share of limit"), name


def test_every_reading_is_used(knowledge):
    text = "".join(p.read_text("utf-8") for p in sorted(PACKAGE.parent.rglob("*.py")))
    taken = {reading for term in knowledge.vocabulary.quantities.values() for reading in (term.takes or (term.name,))}
    unused = {name for name in knowledge.vocabulary.readings if f'"{name}"' not in text} - taken
    assert not unused


def test_units_of_the_vocabulary_are_of_the_right_kind(knowledge):
    """A quantity named as a reading has a unit of the same kind; every limit's value was read in its quantity's unit."""
    for name, q in knowledge.vocabulary.quantities.items():
        if name in knowledge.vocabulary.readings:
            assert unit(q.unit).kind == unit(knowledge.vocabulary.readings[name].unit).kind, name


@pytest.mark.parametrize(("written", "low", "high"), [("3.1 bar a", 0.0, 0.0), ("3.1 ± 0.2 bar a", 0.2e5, 0.2e5)])
def test_the_uncertainty_written_in_the_case_is_carried(quantities_of, written, low, high):
    q = quantities_of(f"service: {{vapour pressure: 1 bar a, chamber pressure: {written}}}")["vapour margin"]
    assert (q.value - q.low, q.high - q.value) == (pytest.approx(low, abs=1e-6), pytest.approx(high, abs=1e-6))


def test_half_the_smallest_step_of_the_instrument_is_carried(quantities_of):
    q = quantities_of("measurements: [{on: shaft, measured: axial float, reading: 0.20 mm, resolution: 0.02 mm}]")[
        "axial float"
    ]
    assert (q.low, q.high) == (pytest.approx(0.19e-3), pytest.approx(0.21e-3))


def test_two_records_of_one_reading_span_both(quantities_of):
    text = """
measurements:
  - {on: shaft, measured: axial float, reading: 0.20 mm}
  - {on: shaft, measured: axial float, reading: 0.30 mm}
"""
    q = quantities_of(text)["axial float"]
    assert (q.low, q.value, q.high) == (pytest.approx(0.2e-3), pytest.approx(0.25e-3), pytest.approx(0.3e-3))
    assert len(q.inputs) == 2


def test_figures_of_one_position_go_before_those_of_the_machine(quantities_of):
    text = """
service: {temperature: 40 °C, inboard: {temperature: 90 °C}}
seal: {arrangement: dual unpressurised, elastomer: HNBR}
"""
    found = quantities_of(text)
    assert found["elastomer temperature margin at inboard"].value == pytest.approx(60)
    assert found["elastomer temperature margin at outboard"].value == pytest.approx(110)


def test_parts_of_one_kind_are_kept_apart(quantities_of):
    text = """
parts: [{item: 1, kind: dynamic O-ring}, {item: 2, kind: sleeve O-ring}]
measurements:
  - {part: 1, measured: face side hardness, reading: 90 Shore A}
  - {part: 1, measured: far side hardness, reading: 75 Shore A}
  - {part: 2, measured: face side hardness, reading: 75 Shore A}
  - {part: 2, measured: far side hardness, reading: 75 Shore A}
"""
    found = quantities_of(text)
    assert (found["hardness gradient at seal 1"].value, found["hardness gradient at seal 2"].value) == (15, 0)


def test_a_case_without_readings_has_no_quantities(quantities_of):
    assert quantities_of("seal: {arrangement: single}") == {}


def test_a_rule_base_that_names_few_quantities_gets_only_those(knowledge, case_of):
    few = replace(knowledge.vocabulary, quantities={"axial float": knowledge.vocabulary.quantities["axial float"]})
    text = "service: {temperature: 80 °C, chamber pressure: 3 bar a}\nmeasurements: [{on: shaft, measured: axial float, reading: 0.2 mm}]"
    found = compute(case_of(text), replace(knowledge, vocabulary=few, tables={}))
    assert [q.name for q in found] == ["axial float"]


def test_numpy_and_coolprop_are_not_loaded_before_they_are_needed():
    code = "import sys, diagnose.quantities.compute; print(sorted({'numpy', 'CoolProp', 'pint', 'scipy'} & set(sys.modules)))"
    out = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=PACKAGE.parents[1]
    )
    assert out.stdout.strip() == "[]"


BAD = [
    ("seal: {nose outer diameter: -60 mm}", "is not possible for 'nose outer diameter'", "allowed: 3 mm to 2000 mm"),
    (
        "seal: {nose outer diameter: 60 bar}",
        "is in the wrong kind of unit for 'nose outer diameter'",
        "write it like 12 mm",
    ),
    ("service: {chamber pressure: -1 bar}", "is not possible for 'chamber pressure'", "allowed: 0 bar to 700 bar"),
    ("service: {temperature: -300 °C}", "is not possible for 'temperature'", "allowed: -273 °C to 1000 °C"),
    (
        "measurements: [{on: spring, measured: free length, reading: 0 mm}]",
        "is not possible for 'free length'",
        "allowed: 1 mm to 500 mm",
    ),
    (
        "measurements: [{on: O-ring, measured: hardness, reading: 130 Shore A}]",
        "is not possible for 'hardness'",
        "allowed: 5 Shore A to 100 Shore A",
    ),
    ("measurements: [{on: O-ring, measured: hardness, reading: 70 mm}]", "wrong kind of unit", "Shore A"),
    (
        "measurements: [{on: face, measured: wear depth, unit: µm, readings: [1, 2], at: [14, 3]}]",
        "14 is no clock position",
        "12, 1, 2",
    ),
    (
        "measurements: [{on: face, measured: wear depth, unit: µm, readings: [1, 2], at: [12]}]",
        "2 readings but 1 clock positions",
        "one each",
    ),
    (
        "measurements: [{on: coupling, measured: free length, reading: 25 mm}]",
        "is not measured on 'coupling'",
        "spring",
    ),
]


@pytest.mark.parametrize(("text", "says", "way_out"), BAD)
def test_bad_numbers_are_mistakes_with_a_place(knowledge, text, says, way_out):
    problems = Problems()
    parse_case(("case: c\n" + text).encode(), "case.yaml", knowledge, problems)
    said = [str(p) for p in problems.errors()]
    assert any(says in s and way_out in s for s in said), said
    assert all(re.match(r"case\.yaml:2:\d+: ", s) for s in said)


def test_every_term_says_what_it_means_and_every_reading_its_bounds(knowledge):
    for term in (*knowledge.vocabulary.readings.values(), *knowledge.vocabulary.quantities.values()):
        assert term.means.endswith("."), term.name
    for reading in knowledge.vocabulary.readings.values():
        assert bool(reading.on) != bool(reading.section), reading.name
        assert reading.least and reading.most, reading.name


def test_quantities_are_immutable(quantities_of):
    q = quantities_of(RICH)["balance ratio"]
    with pytest.raises(AttributeError):
        q.value = 1.0  # type: ignore[misc]
    assert isinstance(q, Quantity)
