"""Black lines on white for line drawings that must stay readable in grey print: outlines, arrows, hatching."""

from __future__ import annotations

import math
from collections.abc import Sequence

from diagnose.views.drawings.markup import Markup, el
from diagnose.views.drawings.shapes import curve, polar

Point = tuple[float, float]

FINE, MEDIUM, HEAVY = 0.6, 1.1, 2.0
DASHED = "3 2.4"


def ink(
    points: Sequence[Point],
    width: float = MEDIUM,
    closed: bool = False,
    fill: str = "",
    dash: str = "",
    colour: str = "",
) -> Markup:
    """A line through points; closed, it can be filled."""
    return _path(curve(list(points), closed), width, fill, dash, colour)


def strokes(lines: Sequence[Sequence[Point]], width: float = FINE) -> Markup:
    """Many lines as one; a single point makes a spot."""
    told = (curve([*line, line[0]] if len(line) == 1 else list(line)) for line in lines if line)
    return _path("".join(told), width)


def _path(told: str, width: float, fill: str = "", dash: str = "", colour: str = "") -> Markup:
    return el(
        "path", d=told, stroke_width=width if width != MEDIUM else None, fill=fill or None, stroke=colour or None,
        stroke_dasharray=dash or None,
    )  # fmt: skip


def blot(at: Point, r: float, fill: str = "#000", width: float = FINE) -> Markup:
    """A round spot or hole."""
    return el("circle", cx=at[0], cy=at[1], r=r, fill=fill, stroke_width=width)


def ring(at: Point, r: float, width: float = MEDIUM, dash: str = "", fill: str = "") -> Markup:
    return el("circle", cx=at[0], cy=at[1], r=r, fill=fill or None, stroke_width=width, stroke_dasharray=dash or None)


def sheet(*children: object) -> Markup:
    """Everything that is drawn with ink: what is not said otherwise is a black line of medium width without a fill."""
    return el(
        "g", children, fill="none", stroke="#000", stroke_width=MEDIUM, stroke_linejoin="round", stroke_linecap="round"
    )


def rectangle(x: float, y: float, w: float, h: float) -> list[Point]:
    return [(x, y), (x + w, y), (x + w, y + h), (x, y + h)]


def circle_points(at: Point, r: float, start: float = 0.0, end: float = 360.0, step: float = 6.0) -> list[Point]:
    """Points of an arc, degrees clockwise from the top."""
    n = max(int(abs(end - start) / step), 2)
    return [polar(*at, r, start + (end - start) * i / n) for i in range(n + 1)]


def arrow(tail: Point, tip: Point, both: bool = False, width: float = MEDIUM) -> list[Markup]:
    """A line with a head at its tip, or at both ends."""
    parts = [ink([tail, tip], width)]
    for a, b in ((tail, tip), (tip, tail))[: 1 + both]:
        way = math.atan2(b[1] - a[1], b[0] - a[0])
        wings = [(b[0] - 6 * math.cos(way + t), b[1] - 6 * math.sin(way + t)) for t in (-0.4, 0.4)]
        parts.append(ink([wings[0], b, wings[1]], FINE, True, "#000"))
    return parts


def turning(at: Point, r: float, start: float, end: float) -> list[Markup]:
    """An arrow along an arc."""
    points = circle_points(at, r, start, end)
    return [ink(points[:-1]), *arrow(points[-2], points[-1])]


def hatch(polygon: Sequence[Point], pitch: float = 4.0, degrees: float = 45.0, width: float = FINE) -> list[Markup]:
    """Parallel lines inside a polygon, as one path."""
    c, s = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
    turned = [(x * c + y * s, y * c - x * s) for x, y in polygon]
    lines: list[list[Point]] = []
    low, high = min(y for _, y in turned), max(y for _, y in turned)
    for i in range(int(low // pitch) + 1, int(high // pitch) + 1):
        y = i * pitch
        crossings = sorted(
            a[0] + (y - a[1]) / (b[1] - a[1]) * (b[0] - a[0])
            for a, b in zip(turned, [*turned[1:], turned[0]], strict=True)
            if (a[1] <= y) != (b[1] <= y)
        )
        for x1, x2 in zip(crossings[::2], crossings[1::2], strict=False):
            lines.append([(x1 * c - y * s, y * c + x1 * s), (x2 * c - y * s, y * c + x2 * s)])
    return [strokes(lines, width)] if lines else []


def zigzag(start: Point, end: Point, swing: float, turns: int) -> list[Point]:
    """A line that swings from side to side."""
    dx, dy = end[0] - start[0], end[1] - start[1]
    length = math.hypot(dx, dy) or 1.0
    points = [start]
    for i in range(turns):
        t, side = (i + 0.5) / turns, swing if i % 2 else -swing
        points.append((start[0] + dx * t - dy / length * side, start[1] + dy * t + dx / length * side))
    return [*points, end]
