"""Pin flanks: the truth table row by row, from both viewing ends; evenness of screws."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from diagnose.quantities import drive

OTHER = {"clockwise": "counterclockwise", "counterclockwise": "clockwise"}
ENDS = ("driver end", "impeller end")

# Kinematics: (arrangement, shaft seen from the driver end, flank that bears, side of the pin on which the wall is touched)
ROWS = [
    ("shaft pin in ring slot", "clockwise", "clockwise", "clockwise"),
    ("shaft pin in ring slot", "counterclockwise", "counterclockwise", "counterclockwise"),
    ("ring pin in collar slot", "clockwise", "counterclockwise", "counterclockwise"),
    ("ring pin in collar slot", "counterclockwise", "clockwise", "clockwise"),
    ("gland pin in stationary slot", "clockwise", "counterclockwise", "counterclockwise"),
    ("gland pin in stationary slot", "counterclockwise", "clockwise", "clockwise"),
]


def seen(direction: str, end: str) -> str:
    return direction if end == "driver end" else OTHER[direction]


@pytest.mark.parametrize("pin_end", ENDS)
@pytest.mark.parametrize("shaft_end", ENDS)
@pytest.mark.parametrize(("arrangement", "shaft", "pin", "wall"), ROWS)
def test_truth_table_of_flanks(knowledge, arrangement, shaft, pin, wall, shaft_end, pin_end):
    rows = knowledge.tables["kinematics"]["pins"]["rows"]
    for touched in (pin, wall):
        word = drive.flank(seen(touched, pin_end), pin_end, seen(shaft, shaft_end), shaft_end)
        assert drive.torque(rows, arrangement, word) == "normal"
        wrong = drive.flank(seen(OTHER[touched], pin_end), pin_end, seen(shaft, shaft_end), shaft_end)
        assert drive.torque(rows, arrangement, wrong) == "reversed"
    assert drive.torque(rows, arrangement, "both") == "both"


CASE = """
equipment: {{rotation: {shaft}, seen from: {shaft_end}}}
parts:
  - {{item: 1, kind: {kind}, group: {group}, seen from: {pin_end}}}
measurements:
  - {{part: 1, measured: clockwise flank wear, reading: {clockwise} mm, resolution: 0.02 mm}}
  - {{part: 1, measured: counterclockwise flank wear, reading: {other} mm, resolution: 0.02 mm}}
"""


@pytest.mark.parametrize("pin_end", ENDS)
@pytest.mark.parametrize("shaft_end", ENDS)
@pytest.mark.parametrize(("arrangement", "shaft", "pin", "wall"), [r for r in ROWS if "collar" not in r[0]])
def test_flank_of_a_case(quantities_of, arrangement, shaft, pin, wall, shaft_end, pin_end):
    kind, group = ("drive pin", "rotating") if arrangement.startswith("shaft") else ("anti-rotation pin", "stationary")
    worn = {seen(pin, pin_end): 0.3, OTHER[seen(pin, pin_end)]: 0.0}
    text = CASE.format(
        shaft=seen(shaft, shaft_end),
        shaft_end=shaft_end,
        kind=kind,
        group=group,
        pin_end=pin_end,
        clockwise=worn["clockwise"],
        other=worn["counterclockwise"],
    )
    found = quantities_of(text)
    assert found["drive flank"].word == "normal"
    assert found["pin flank"].word == ("with rotation" if group == "rotating" else "against rotation")
    assert found["drive flank"].notes == (f"taken as: {arrangement}",)


PIN = {
    "shaft": "clockwise",
    "shaft_end": "driver end",
    "kind": "drive pin",
    "group": "rotating",
    "pin_end": "driver end",
}


@pytest.mark.parametrize(
    ("clockwise", "other", "word"), [(0.3, 0.25, "both"), (0.3, 0.02, "with rotation"), (0.0, 0.3, "against rotation")]
)
def test_both_flanks_count_only_when_the_lesser_is_really_worn(quantities_of, clockwise, other, word):
    assert quantities_of(CASE.format(**PIN, clockwise=clockwise, other=other))["pin flank"].word == word


@pytest.mark.parametrize(
    ("change", "because"),
    [
        ({"clockwise": 0.0, "other": 0.0}, "neither flank"),
        ({"clockwise": 0.005, "other": 0.0}, "neither flank"),
    ],
)
def test_what_the_flanks_cannot_tell(quantities_of, change, because):
    assert because in quantities_of(CASE.format(**PIN, **change))["pin flank"].problem


def test_flanks_need_rotation_and_viewing_end(quantities_of):
    text = CASE.format(**PIN, clockwise=0.3, other=0)
    assert "rotation is not on record" in quantities_of("\n".join(text.splitlines()[2:]))["pin flank"].problem
    assert (
        "from which end"
        in quantities_of(text.replace("rotating, seen from: driver end", "rotating"))["pin flank"].problem
    )


@given(st.sampled_from(list(OTHER)), st.sampled_from(ENDS), st.sampled_from(list(OTHER)), st.sampled_from(ENDS))
def test_looking_at_both_from_the_other_end_changes_nothing(worn, end, rotation, rotation_end):
    flip = {ENDS[0]: ENDS[1], ENDS[1]: ENDS[0]}
    assert drive.flank(worn, end, rotation, rotation_end) == drive.flank(
        OTHER[worn], flip[end], OTHER[rotation], flip[rotation_end]
    )


def test_uneven_screws(quantities_of):
    text = """
measurements:
  - {on: set screw, measured: set screw bite, unit: mm, readings: [0.4, 0.3, 0.1], resolution: 0.02 mm}
  - {on: set screw, measured: set screw torque, unit: N m, readings: [9]}
"""
    found = quantities_of(text)
    bite = found["set screw bite spread"]
    assert bite.value == pytest.approx(0.3 / (0.8 / 3))
    assert (bite.low, bite.high) == (pytest.approx(0.28 / (0.8 / 3)), pytest.approx(0.32 / (0.8 / 3)))
    assert "two or more" in found["set screw torque spread"].problem
