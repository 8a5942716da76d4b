"""Drawings say and show what they are given."""

from __future__ import annotations

import math
import re

import pytest

from diagnose.views.drawings import charts, dial, shapes


@pytest.mark.parametrize(
    ("degrees", "x", "y"),
    [(0, 100, 50), (90, 150, 100), (180, 100, 150), (270, 50, 100), (30, 125, 100 - 50 * math.cos(math.pi / 6))],
)
def test_the_clock_runs_clockwise_from_the_top(degrees, x, y):
    assert shapes.polar(100, 100, 50, degrees) == pytest.approx((x, y))


def test_an_arc_over_twelve_is_short_and_one_over_six_is_long():
    over_twelve, rest = shapes.arc_path(0, 0, 10, (300, 60)), shapes.arc_path(0, 0, 10, (60, 300))
    assert " 0 0 1 " in over_twelve and " 0 1 1 " in rest


def badges(svg: str) -> dict[str, list[tuple[float, float]]]:
    """Places of the numbered badges of a drawing, by number."""
    found: dict[str, list[tuple[float, float]]] = {}
    for x, y, number in re.findall(
        r'<text x="([\d.]+)" y="([\d.]+)" class="badge" text-anchor="middle">(\d+)</text>', svg
    ):
        found.setdefault(number, []).append((float(x), float(y)))
    return found


def test_marks_stand_at_their_place_on_the_dial():
    bands = [dial.Band("1", (dial.Mark(1, ((80.0, 100.0),)), dial.Mark(2, ((260.0, 280.0),)), dial.Mark(3)), face=True)]
    drawn = dial.dial("two marks", bands, "turns", "clockwise")
    width = float(re.search(r'viewBox="0 0 ([\d.]+)', drawn.svg)[1])
    at = badges(drawn.svg)
    assert at["1"][0][0] > width / 2 > at["2"][0][0]
    assert at["1"][0][1] == pytest.approx(width / 2 + 3.2, abs=0.1) == at["2"][0][1]
    assert len(at["3"]) == 1


def test_marks_that_reach_each_other_get_tracks_of_their_own():
    def tracks(*marks):
        return len(dial._tracks(marks))

    one, near, far = dial.Mark(1, ((0.0, 60.0),)), dial.Mark(2, ((50.0, 90.0),)), dial.Mark(3, ((150.0, 200.0),))
    assert tracks(one, far) == 1 and tracks(one, near) == 2 and tracks(one, dial.Mark(4)) == 2


def test_a_flat_on_an_o_ring_is_drawn_nearer_to_the_middle():
    stations = [(float(a), 3.0 if a == 90 else 3.5, "") for a in range(0, 360, 30)]
    drawn = dial.ring("one flat", stations, (3.5, "new"), [])
    points = re.findall(r'<circle cx="([\d.]+)" cy="([\d.]+)" r="2.6" class="point">', drawn.svg)
    away = [math.hypot(float(x) - 165, float(y) - 165) for x, y in points]
    assert away[3] == min(away) == pytest.approx(away[0] - 14, abs=0.05)


def test_bars_are_in_proportion_and_speak_to_their_side():
    heavy, light = charts.weight_bar(20.0, 20.0), charts.weight_bar(-10.0, 20.0)

    def bar(svg):
        return re.search(r'<rect x="([\d.]+)" y="3" width="([\d.]+)" height="10" class="(\w+)">', svg).groups()

    assert bar(heavy.svg) == ("100", "96", "for") and bar(light.svg) == ("52", "48", "against")
    assert heavy.says == "+20.0 dB"


def test_spring_bars_start_at_zero():
    rows = [charts.Bar("1", 20.0, "20 mm"), charts.Bar("2", 10.0, "10 mm", short=True)]
    widths = re.findall(r'width="([\d.]+)" height="14"', charts.bars("springs", rows, (25.0, "new 25 mm")).svg)
    assert [float(w) for w in widths] == [240.0, 120.0]


def test_the_gauge_hatches_what_is_outside_every_limit_and_dots_what_lies_between():
    svg = charts.gauge(0.09, 0.085, 0.095, [0.075, 0.1, 0.25], at_most=True).svg
    assert svg.count('class="limit"') == 3 and svg.count('class="outside"') == svg.count('class="between"') == 1


@pytest.mark.parametrize(("low", "high"), [(0.0, 1.0), (-0.05, 0.2), (46.2, 55.9), (1e-6, 7e-6), (5.0, 5.0)])
def test_ticks_are_round_and_enclose_the_values(low, high):
    ticks = shapes.steps(low, high)
    assert (ticks[0] <= low + 1e-9 and ticks[-1] >= high - 1e-9 and 2 <= len(ticks) <= 9) or low == high
    step = ticks[1] - ticks[0] if len(ticks) > 1 else 1.0
    assert round(step / 10 ** math.floor(math.log10(step) + 1e-9), 6) in (1, 2, 2.5, 5)
