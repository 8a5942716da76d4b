"""Clock positions: two viewing ends, indices, and the relation of two marks."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from diagnose.casefile.model import Part
from diagnose.quantities import clock

ANGLES = st.floats(0, 359.99, allow_nan=False)
ARCS = st.tuples(ANGLES, ANGLES).filter(lambda a: clock.width(a) < 170)
HEAD = """
index: {rotating: set screw 1, stationary: top dead centre}
parts:
  - {item: 1, kind: mating ring, group: stationary, index: top dead centre, seen from: driver end}
  - {item: 2, kind: seal chamber, group: stationary, index: top dead centre, seen from: impeller end}
  - {item: 3, kind: soft face, group: rotating, index: set screw 1, seen from: driver end}
  - {item: 4, kind: sleeve, group: rotating, index: paint mark, index at: 90°, seen from: driver end}
  - {item: 5, kind: collar, group: rotating, index: scribed line, seen from: driver end}
  - {item: 6, kind: hard face, group: stationary, index: top dead centre}
  - {item: 7, kind: hard face, group: stationary}
  - {item: 8, kind: drive pin, group: rotating, index: scribed line, seen from: impeller end}
  - {item: 9, kind: face}
observations:
"""
MARK = "  - {{part: {part}, saw: {feature}, extent: {extent}}}\n"


def relation(case_of, first, second):
    """The relation of two marks given as (part, extent)."""
    case = case_of(
        HEAD
        + "".join(
            MARK.format(part=p, feature="drive worn" if p == 8 else "rub mark", extent=e) for p, e in (first, second)
        )
    )
    marks = {o.part: o for o in case.observations}
    if first[0] == second[0]:
        one, other = sorted(case.observations, key=lambda o: o.extent.arcs)
        return clock.relation(case, one, other)
    forth = clock.relation(case, marks[str(first[0])], marks[str(second[0])])
    back = clock.relation(case, marks[str(second[0])], marks[str(first[0])])
    assert forth.split(":")[0] == back.split(":")[0], "the order of the marks must not matter"
    return forth


@pytest.mark.parametrize(
    ("first", "second", "said"),
    [
        ((1, "at 3"), (2, "at 9"), "same place"),  # seen from the other end 9 is 3
        ((1, "at 3"), (2, "at 3"), "opposite"),
        ((1, "at 12"), (2, "at 12"), "same place"),  # 12 stays 12 from both ends
        ((1, "90°"), (2, "250°"), "same place"),  # 250 is 110 from the driver end, 20 away
        ((1, "90°"), (2, "248°"), "apart"),  # 22 away
        ((1, "10 to 2"), (2, "at 1"), "same place"),  # 1 is 11 from the driver end, inside the arc
        ((1, "10 to 2"), (2, "at 6"), "opposite"),
        ((3, "at 12"), (4, "at 9"), "same place"),  # the paint mark stands at 3 o'clock of the set screw
        ((3, "at 12"), (4, "at 3"), "opposite"),
        ((5, "at 2"), (8, "at 10"), "same place"),  # one scribed line over both parts, seen from two ends
        ((1, "at 1"), (1, "at 7"), "opposite"),  # one part needs neither index nor view
        ((9, "at 1"), (9, "at 1:30"), "same place"),
    ],
)
def test_relation_of_marks(case_of, first, second, said):
    assert relation(case_of, first, second) == said


@pytest.mark.parametrize(
    ("first", "second", "because"),
    [
        ((1, "at 3"), (3, "at 3"), "agree only for damage made at rest"),
        ((1, "at 3"), (6, "at 3"), "from which end"),
        ((1, "at 3"), (7, "at 3"), "was not indexed"),
        ((3, "at 3"), (5, "at 3"), "not tied to the datum"),
        ((1, "at 3"), (2, "all round"), "no clock position"),
        ((1, "at 3"), (9, "at 3"), "whether"),
        ((1, "1 to 9"), (2, "1 to 9"), "more than half way round"),
    ],
)
def test_what_cannot_be_known_says_why(case_of, first, second, because):
    said = relation(case_of, first, second)
    assert said.startswith("unknown: ") and because in said


def test_a_mark_on_no_numbered_part_has_no_index(case_of):
    case = case_of(HEAD + "  - {part: 1, saw: rub mark, extent: at 3}\n  - {on: sleeve, saw: rub mark, extent: at 3}\n")
    assert "no numbered part" in clock.relation(case, *case.observations)


def test_offset_between_marks_runs_clockwise_from_the_driver_end(case_of):
    case = case_of(HEAD + "  - {part: 1, saw: rub mark, extent: at 1}\n  - {part: 2, saw: rub mark, extent: at 9}\n")
    first, second = sorted(case.observations, key=lambda o: o.part)
    assert clock.offset_between(case, first, second) == pytest.approx(60)  # 1 o'clock to 3 o'clock
    assert clock.offset_between(case, second, first) == pytest.approx(300)


def test_machine_angle_of_an_index_elsewhere():
    part = Part("4", "Sleeve", "sleeve", "seal", "rotating", "paint mark", "impeller end", index_offset=90.0)
    assert clock.machine_angle(part, 30.0) == pytest.approx(60.0)  # 330 seen from the driver end, then 90 on
    with pytest.raises(clock.UnknownAngle, match="not tied"):
        clock.machine_angle(
            Part("4", "Sleeve", "sleeve", "seal", "rotating", "paint mark", "driver end"),
            30.0,
            {"rotating": "set screw 1"},
        )


@given(ANGLES)
def test_looking_from_the_other_end_twice_is_looking_once(angle):
    assert clock.difference(clock.other_end(clock.other_end(angle)), angle) < 1e-9


@given(st.lists(ARCS, min_size=1, max_size=3), st.lists(ARCS, min_size=1, max_size=3))
def test_two_marks_seen_from_the_other_end_keep_their_relation(first, second):
    a, b = tuple(first), tuple(second)
    said = clock.compare(a, b)
    assert clock.compare(b, a) == said
    mirrored = clock.compare(tuple(map(clock.mirrored, a)), tuple(map(clock.mirrored, b)))
    assert mirrored == said or _on_the_edge(a, b)


@given(st.lists(ARCS, min_size=1, max_size=3), st.lists(ARCS, min_size=1, max_size=3), ANGLES)
def test_moving_the_index_of_both_keeps_the_relation(first, second, turn):
    def turned(arcs):
        return tuple(((a + turn) % 360, (b + turn) % 360) for a, b in arcs)

    a, b = tuple(first), tuple(second)
    assert clock.compare(turned(a), turned(b)) == clock.compare(a, b) or _on_the_edge(a, b)


def _on_the_edge(first, second):
    """True where rounding may tip a comparison: a place 20 degrees off to within a millionth, or arcs of one width."""
    for a in first:
        for b in second:
            narrow, wide = sorted((a, b), key=clock.width)
            places = (clock.centre(narrow), clock.centre(narrow) + 180)
            if any(abs(clock.distance(p % 360, wide) - clock.SAME_PLACE) < 1e-6 for p in places):
                return True
            if abs(clock.width(a) - clock.width(b)) < 1e-6:
                return True
    return False


def test_marks_in_several_places_are_offset_by_what_makes_their_relation(case_of):
    def offset(first, second):
        text = HEAD + "".join(
            MARK.format(part=1, feature=f, extent=e) for f, e in (("rub mark", first), ("impact mark", second))
        )
        one, other = (
            next(o for o in case_of(text).observations if o.feature == f) for f in ("rub mark", "impact mark")
        )
        return clock.offset_between(case_of(text), one, other)

    assert offset("at 12", "[at 5, at 12]") == 0
    assert offset("at 12", "[at 3, at 6]") == 180
    assert offset("at 1", "at 4") == 90


def test_every_part_that_keeps_two_marks_from_being_compared_is_named(case_of):
    assert relation(case_of, (6, "at 3"), (7, "at 3")).count("(6)") == 1
    assert "(7) was not indexed" in relation(case_of, (6, "at 3"), (7, "at 3"))
