"""Mistakes in a case file: each told with its place and the way out, all in one run."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from diagnose.casefile.reader import parse_case
from diagnose.inference.run import load
from diagnose.reading.problems import Problems

SMALL = Path(__file__).parents[1] / "small"


@pytest.fixture(scope="module")
def knowledge():
    return load(SMALL / "knowledge").knowledge


def problems_of(text: str | bytes, knowledge) -> list[tuple[str, int, int, str]]:
    problems = Problems()
    parse_case(text.encode() if isinstance(text, str) else text, "c.yaml", knowledge, problems)
    return [(p.code, p.where.line, p.where.column, p.way_out) for p in problems.sorted()]


FIVE = """case: five mistakes
servise: {fluid: water}
parts:
  - {item: 1, name: Seat, kind: hart face, group: stationary}
observations:
  - {part: 1, saw: heat cheks}
  - {part: 7, saw: radial cracks, extent: at 14}
measurements:
  - {on: shaft, measured: shaft runout, reading: 3 bar}
"""


def test_every_mistake_is_told_at_once_with_the_nearest_right_word(knowledge):
    found = problems_of(FIVE, knowledge)
    assert [(code, line, column) for code, line, column, _ in found] == [
        ("unknown-key", 2, 1),
        ("unknown-kind", 4, 33),
        ("unknown-feature", 6, 20),
        ("unknown-item", 7, 12),
        ("clock", 7, 43),
        ("unit", 9, 50),
    ]
    told = {code: way_out for code, _, _, way_out in found}
    assert "service" in told["unknown-key"] and "hard face" in told["unknown-kind"]
    assert "heat checks" in told["unknown-feature"] and "mm" in told["unit"]


@pytest.mark.slow
def test_the_command_tells_them_and_exits_with_2(tmp_path):
    path = tmp_path / "five.yaml"
    path.write_text(FIVE, "utf-8")
    done = subprocess.run(
        [sys.executable, "-m", "diagnose", "explain", str(path), "--knowledge", str(SMALL / "knowledge")],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 2 and done.stdout == ""
    for place in (
        "five.yaml:2:1:",
        "five.yaml:4:33:",
        "five.yaml:6:20:",
        "five.yaml:7:12:",
        "five.yaml:7:43:",
        "five.yaml:9:50:",
    ):
        assert place in done.stderr
    assert "Traceback" not in done.stderr


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("", "empty"),
        ("- a list", "mapping"),
        ("case: a\ncase: b", "duplicate-key"),
        ("case: [", "yaml"),
        ("case: *x", "yaml"),
        ("case: &x a\nabout: *x", "alias"),
        ("case: !!python/object:os.system x", "tag"),
        ("case: !mine x", "tag"),
        (b"case: \xff\xfe", "not-utf8"),
        ("case: a\x1b[31m", "control-character"),
        ("case: " + "[" * 100, "too-deep"),
        ("? [a]\n: b\ncase: c", "key"),
        ("case: a\nparts: 3", "list"),
        ("case: a\nparts: [3]", "mapping"),
        ("case: a\nparts: [{item: 1, kind: face}, {item: 1, kind: face}]", "item-twice"),
        ("case: a\nparts: [{item: 1, kind: face, position: inboard}]", "position"),
        ("case: a\nobservations: [{saw: radial cracks, absent: edge chips, on: face}]", "observation"),
        ("case: a\nobservations: [{saw: wash mark}]", "no-part"),
        ("case: a\nobservations: [{saw: hardened, on: spring}]", "wrong-part"),
        ("case: a\nobservations: [{saw: bent, on: shaft}, {absent: bent, on: shaft}]", "says-both"),
        ("case: a\nobservations: [{saw: bent, on: shaft, photo: ../../etc/passwd}]", "photo"),
        ("case: a\nobservations: [{saw: bent, on: shaft, degree: huge}]", "unknown-word"),
        ("case: a\nmeasurements: [{on: shaft, measured: shaft runout, reading: -1 mm}]", "out-of-range"),
        ("case: a\nmeasurements: [{on: shaft, measured: shaft runout, readings: [1 mm, 2 mm]}]", "one-reading"),
        ("case: a\nmeasurements: [{on: shaft, measured: shaft runout, reading: 1 mm, at: [1, 2]}]", "at-count"),
        ("case: a\nmeasurements: [{on: shaft, measured: shaft runout, reading: nan mm}]", "unit"),
        ("case: a\nmeasurements: [{on: shaft, measured: shaft runout, reading: 1e999 mm}]", "unit"),
        ("case: a\nmeasurements: [{on: shaft, measured: shaft runout}]", "missing-key"),
        ("about: a", "missing-key"),
        ("case: a\nseal: {arrangement: [single, dual pressurised]}", "one-term"),
        ("case: a\nexpected: {cause: gremlins}", "unknown-cause"),
        ("case: a\nstage: asleep", "unknown-word"),
        ("case: a\nmeasurements: [{on: shaft, measured: shaft runout, reading: 1 mm, resolution: -1 mm}]", "unit"),
        ("case: a\nmeasurements: [{on: shaft, measured: shaft runout, reading: 1 mm, resolution: 0 mm}]", "unit"),
        ("case: a\nmeasurements: [{on: shaft, measured: shaft runout, reading: 1 mm, at: []}]", "empty-list"),
        ("case: a\nobservations: [{on: face, saw: []}]", "empty-list"),
        ("case: a\nobservations: [{on: face, saw: }]", "observation"),
        ("case: a\nobservations: [{on: face, saw: radial cracks, extent: []}]", "empty-list"),
        ("case: a\nparts: []", "empty-list"),
        ("case: a\nparts: [{item: 1, kind: face, lost: }]", "lost"),
        ("case: a\nseal: {lost: }", "lost"),
        ("case: a\nseal: {lost: [x]}", "text"),
        ("case: a\nservice: {is: []}", "empty-list"),
    ],
)
def test_each_mistake_has_its_code(text, code, knowledge):
    found = problems_of(text, knowledge)
    assert code in [c for c, *_ in found], found


@pytest.mark.parametrize("day", ["2026", "2026-03", "2026-03-02", "2024-02-29"])
def test_a_date_is_a_year_a_month_or_a_day(day, knowledge):
    assert problems_of(f"case: a\nhistory: {{events: [{{date: {day}, what: started}}]}}", knowledge) == []


@pytest.mark.parametrize(
    "day", ["2026-13-40", "2026-02-29", "31.02.2026", "gestern", "0000", "2026-3-2", "2026-03-02x"]
)
def test_no_other_text_is_a_date(day, knowledge):
    found = problems_of(f"case: a\nhistory: {{events: [{{date: {day}, what: started}}]}}", knowledge)
    assert [(code, line, column) for code, line, column, _ in found] == [("date", 2, 27)]


@pytest.mark.parametrize(
    ("day", "ways"),
    [("12/11/2026", "2026-11-12 or 2026-12-11"), ("31.10.2026", "2026-10-31"), ("5-5-2026", "2026-05-05")],
)
def test_a_date_with_the_year_last_is_asked_about(day, ways, knowledge):
    problems = Problems()
    parse_case(
        f"case: a\nhistory: {{events: [{{date: {day}, what: started}}]}}".encode(), "a.yaml", knowledge, problems
    )
    assert [p.way_out for p in problems.found] == [f"write {ways}"]


def test_figures_that_contradict_each_other_are_refused():
    from diagnose.knowledge.cache import open_knowledge

    shipped = open_knowledge(Path(__file__).parents[2] / "knowledge")

    def codes(more: str) -> list[str]:
        return [c for c, *_ in problems_of(f"case: a\nseal: {{arrangement: single, {more}}}", shipped)]

    assert codes("nose outer diameter: 50 mm, nose inner diameter: 4.2 cm, balance diameter: 45 mm") == []
    assert codes("nose outer diameter: 50 mm, nose inner diameter: 6 cm") == ["contradiction"]
    low = "nose outer diameter: 50 mm, nose inner diameter: 42 mm, balance diameter: 40 mm"
    assert codes(low) == ["contradiction"] and codes(low + ", balance: unbalanced") == []
    assert codes("nose outer diameter: 50 mm, balance diameter: 90 mm") == ["contradiction"]


def test_a_number_without_a_unit_is_told_so(knowledge):
    problems = Problems()
    parse_case(b"case: a\nmeasurements: [{on: shaft, measured: shaft runout, reading: 3}]", "c", knowledge, problems)
    assert [p.says for p in problems.sorted()] == ["'3' has no unit; 'shaft runout' is a number with one"]


def test_a_bomb_of_aliases_is_refused_quickly(knowledge):
    text = "a: &a [x, x]\n" + "".join(
        f"{chr(98 + i)}: &{chr(98 + i)} [*{chr(97 + i)}, *{chr(97 + i)}]\n" for i in range(20)
    )
    assert "alias" in [c for c, *_ in problems_of(text, knowledge)]


def test_a_file_over_the_sane_size_is_refused(knowledge):
    assert [c for c, *_ in problems_of("case: " + "x" * 2_100_000, knowledge)] == ["file-too-large"]


def test_units_and_synonyms_do_not_matter(knowledge):
    def read(observation: str, reading: str):
        text = f"case: a\nobservations: [{observation}]\nmeasurements: [{{on: shaft, measured: shaft runout, reading: {reading}}}]"
        return parse_case(text.encode(), "c", knowledge, Problems())

    one = read("{on: soft face, saw: radial cracks}", "1.27 mm")
    other = read("{on: Carbon  Ring, saw: Heat Checks}", "0.05 in")
    assert [o.id for o in one.observations] == [o.id for o in other.observations]
    assert one.measured[0].readings[0].value == pytest.approx(other.measured[0].readings[0].value)


def test_arcs_become_extents(knowledge):
    def extent(text: str):
        case = parse_case(
            f"case: a\nobservations: [{{on: face, saw: radial cracks, extent: {text}}}]".encode(),
            "c",
            knowledge,
            Problems(),
        )
        return case.observations[0].extent

    assert extent("10 to 2").word == "one sector" and extent("10 to 2").arcs == ((300.0, 60.0),)
    assert extent("[2 to 4, at 9]").word == "patches"
    assert extent("12 to 11:30").word == "all round" == extent("all round").word
    assert extent("300° to 30°").arcs == ((300.0, 30.0),) and extent("105°").arcs == ((105.0, 105.0),)


def test_a_resolution_in_degrees_is_a_step_and_not_a_temperature():
    from diagnose.reading.units import step

    assert step("0.5 °C").value == pytest.approx(0.5) and step("0.1 bar g").value == pytest.approx(1e4)


def test_a_decimal_comma_in_braces_is_one_mistake_with_its_way_out(knowledge):
    text = "case: a\nmeasurements: [{on: shaft, measured: shaft runout, reading: 0,2 mm, instrument: dial}]"
    assert problems_of(text, knowledge) == [("decimal-comma", 2, 61, "write 0.2 mm or put it in quotes")]
    assert problems_of(text.replace("0,2 mm", "'0,2 mm'"), knowledge) == []
    listed = problems_of(text.replace("reading: 0,2 mm", "readings: [0,2 mm]"), knowledge)
    assert any("decimal comma" in way_out for *_, way_out in listed)


def test_a_decimal_comma_is_a_point_on_the_clock_too():
    from diagnose.casefile.clock import arc

    assert arc("90,5° to 120,5°") == arc("90.5° to 120.5°") == (90.5, 120.5)


def test_a_folder_is_told_from_a_missing_file(tmp_path, knowledge):
    from diagnose.casefile.reader import read_case
    from diagnose.reading.problems import BadInput

    for path, code in ((tmp_path, "file-folder"), (tmp_path / "no.yaml", "file-missing")):
        with pytest.raises(BadInput) as refused:
            read_case(path, knowledge)
        assert [p.code for p in refused.value.problems] == [code]


def test_item_numbers_are_in_the_order_in_which_people_count_however_long(knowledge):
    items = ["10", "2", "a2", "007", "9" * 5000, "a10", "²"]
    parts = "".join(f"  - {{item: '{i}', name: Seat, kind: hard face, group: stationary}}\n" for i in items)
    problems = Problems()
    case = parse_case(f"case: many\nparts:\n{parts}".encode(), "c.yaml", knowledge, problems)
    assert not problems.errors()
    assert [p.item for p in case.parts] == ["2", "007", "10", "9" * 5000, "a2", "a10", "²"]
