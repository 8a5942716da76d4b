"""An O-ring from above, and its section in the groove."""

from __future__ import annotations

import math

from diagnose.knowledge.sketches import Sketch
from diagnose.views.drawings.ink import (
    DASHED,
    FINE,
    HEAVY,
    MEDIUM,
    Point,
    arrow,
    circle_points,
    hatch,
    ink,
    ring,
    strokes,
    zigzag,
)
from diagnose.views.drawings.markup import Markup
from diagnose.views.drawings.shapes import polar
from diagnose.views.drawings.surfaces import Annulus, Drawn


def o_ring(sketch: Sketch, side: str) -> Drawn:
    """An O-ring from above and its section in the groove, pressed from the left."""
    centre, inner, outer = (46.0, 60.0), 27.0, 41.0
    lines: list[Markup] = []
    within, beyond = {"larger": (-3.0, 3.0), "smaller": (3.0, -3.0), "stretched": (6.0, 3.0)}.get(
        sketch.shape, (0.0, 0.0)
    )
    if beyond:
        lines += [ring(centre, r, FINE, DASHED) for r in (inner, outer)]
        inner, outer = inner + within, outer + beyond
    lines += [ring(centre, outer, HEAVY), ring(centre, inner, HEAVY)]
    if sketch.shape in ("flat both sides", "flat one side", "square"):
        lines += [ring(centre, 36.5, FINE), ring(centre, 31.5, FINE)]
    if sketch.shape == "twisted":
        lines += [
            strokes([[polar(*centre, inner + k * 1.4, u + k * 3.2) for k in range(11)] for u in range(0, 360, 30)])
        ]
    lines += _groove(sketch.shape)
    lines += _o_ring_cut(sketch.shape, side)
    return Drawn(lines, Annulus(centre, inner, outer, inner, outer), bool(beyond))


def _groove(shape: str) -> list[Markup]:
    """Two walls and a floor, the other part above; the gap lies to the right, away from the pressure."""
    floor = [(92.0, 36.0), (98.0, 36.0), (98.0, 84.0), (150.0, 84.0), (150.0, 40.0), (158.0, 40.0)]
    if shape == "out of the groove":
        return [ink(floor, MEDIUM)]
    roof = [(92.0, 35.0), (158.0, 35.0)]
    return [ink(floor, MEDIUM), ink(roof, MEDIUM), *hatch([(92, 28), (158, 28), (158, 35), (92, 35)], 3.5, 135, 0.4), *arrow((90, 60), (99, 60), width=FINE)]  # fmt: skip


def _section(shape: str, centre: Point, r: float) -> list[Point]:
    """The outline of the cord's section."""
    if shape == "square":

        def powered(c: float) -> float:
            return math.copysign(abs(c) ** 0.35, c)

        return [(centre[0] + r * powered(math.sin(t)), centre[1] - r * powered(math.cos(t))) for k in range(60) if (t := math.radians(k * 6)) is not None]  # fmt: skip
    points = circle_points(centre, r)[:-1]
    top, bottom = centre[1] - r * 0.72, centre[1] + r * (1.0 if shape == "flat one side" else 0.72)
    if shape.startswith("flat"):
        return [(x, min(max(y, top), bottom)) for x, y in points]
    if shape == "pinched":
        return [
            (x, centre[1] + (y - centre[1]) * (0.25 + 0.75 * min(abs(x - centre[0] - 6) / 12, 1))) for x, y in points
        ]
    return points


CENTRE, RADIUS = (126.0, 59.5), 23.5
"""The section as it lies in its groove."""


def _o_ring_cut(shape: str, side: str) -> list[Markup]:
    """The section in the groove; dashed where it was round or where it lay."""
    if shape in ("larger", "smaller", "stretched"):
        return _resized(CENTRE, *((25.5, 17.5) if shape == "larger" else (17.0, 23.5)))
    centre, r = {"wrong wall": ((118.0, 59.5), 19.0), "out of the groove": ((134.0, 26.0), RADIUS)}.get(
        shape, (CENTRE, RADIUS)
    )
    points = _section(shape, centre, r)
    round_still = (centre, points) == (CENTRE, _section("", CENTRE, RADIUS))
    lines = [] if round_still else [ring(CENTRE, RADIUS, FINE, DASHED)]
    lines += [*hatch(points, 3.4), ink(points, HEAVY, True)]
    return lines + (_pressed_out(shape, side) if shape in ("extruded", "nibbled") else _split(shape))


def _pressed_out(shape: str, side: str) -> list[Markup]:
    """The edge at the gap: drawn out to a lip, or bitten."""
    way, edge = (-1, 102.0) if side == "high-pressure side" else (1, 149.0)
    if shape == "extruded":
        lip = [(-12, 39.0), (-2, 36.0), (9, 36.0), (7, 39.4), (-3, 43.0), (-4, 52.0)]
        return [ink([(edge + way * x, y) for x, y in lip], 1.2, True, "#000")]
    bites = [(-12, 39.0), (-8, 42.5), (-5, 38.5), (-3.5, 45.0), (-1, 40.5), (-1.5, 49.0), (-6, 54.0)]
    crumb = [(edge + way * 3, 38.0), (edge + way * 6, 37.0)]
    return [ink([(edge + way * x, y) for x, y in bites], 1.2, True, "#fff"), ink(crumb, HEAVY)]


def _split(shape: str) -> list[Markup]:
    """What has parted in the section, or presses on it."""
    x, y = CENTRE
    if shape == "jacket split":
        ends = [
            ink([polar(x, y, RADIUS - 5, u), polar(x, y, RADIUS + 4, u + way)], HEAVY) for u, way in ((20, -4), (62, 4))
        ]
        return [ring(CENTRE, RADIUS - 5), ink(circle_points(CENTRE, RADIUS, 20, 62), 4.5, colour="#fff"), *ends]
    if shape == "split inside":
        return [
            ink(zigzag((x - 13, y + 3), (x + 12, y - 4), 2.5, 6), 2.6),
            ink(zigzag((x - 2, y), (x + 4, y + 13), 2, 4), HEAVY),
        ]
    if shape == "peeled":
        skin = [polar(x, y, RADIUS + out, u) for out, u in ((0, 320), (6, 340), (4, 358), (-3, 352))]
        bare = ink(circle_points(CENTRE, RADIUS, 315, 405), 4, colour="#fff")
        return [bare, ink(skin, HEAVY), ink(circle_points(CENTRE, RADIUS - 4, 320, 400))]
    return []


def _resized(centre: Point, r: float, new: float) -> list[Markup]:
    """The section as it is; dashed, as it was new."""
    low, high = 36.0, 83.0
    points = [(min(max(x, 99.0), 149.0), min(max(y, low), high)) for x, y in circle_points(centre, r)[:-1]]
    return [*hatch(points, 3.4), ink(points, HEAVY, True), ring(centre, new, MEDIUM, DASHED)]
