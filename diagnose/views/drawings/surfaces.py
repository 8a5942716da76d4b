"""Marks on the surface of a part: lines, dots, areas and chips, placed by clock and by how far across, wherever they lie."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Protocol

from diagnose.knowledge.sketches import Stroke
from diagnose.reading.entry import replace
from diagnose.views.drawings.ink import DASHED, FINE, HEAVY, MEDIUM, Point, blot, hatch, ink, ring, strokes
from diagnose.views.drawings.markup import Markup
from diagnose.views.drawings.shapes import polar

GOLDEN = 137.508
"""Degrees; steps of it spread points evenly without any order that shows."""


class Surface(Protocol):
    """Where a place of a part is drawn. `inner` and `outer`: how far across its edges are, the track or groove being 0 to 1."""

    @property
    def inner(self) -> float: ...

    @property
    def outer(self) -> float: ...

    def at(self, clock: float, across: float) -> Point:
        """`clock` in degrees."""
        ...


@dataclass(frozen=True)
class Annulus:
    """A ring seen from above: track from radius `low` to `high`, the ring itself from `bore` to `rim`."""

    centre: Point
    low: float
    high: float
    bore: float
    rim: float

    @property
    def inner(self) -> float:
        return (self.bore - self.low) / (self.high - self.low)

    @property
    def outer(self) -> float:
        return (self.rim - self.low) / (self.high - self.low)

    def at(self, clock: float, across: float) -> Point:
        return polar(*self.centre, self.low + across * (self.high - self.low), clock)


def _turn(clock: float) -> float:
    """Degrees from 0 to 360; a mark near the end of a surface that does not close stays at that end."""
    return max(0.0, clock) if clock <= 360 else clock % 360.0


@dataclass(frozen=True)
class Cylinder:
    """A shaft or sleeve from the side: the clock runs over the half that is seen, across runs along the axis."""

    left: float
    right: float
    middle: float
    radius: float
    inner: float = 0.0
    outer: float = 1.0

    def at(self, clock: float, across: float) -> Point:
        y = -math.cos(math.radians(_turn(clock) / 2)) * self.radius
        bulge = 4.0 * math.sqrt(max(0.0, 1 - (y / self.radius) ** 2))
        return self.left + across * (self.right - self.left) + bulge, self.middle + y


@dataclass(frozen=True)
class Plate:
    """A plain surface: the clock runs from left to right, across from below to above."""

    x: float
    y: float
    width: float
    height: float
    inner: float = 0.0
    outer: float = 1.0

    def at(self, clock: float, across: float) -> Point:
        return self.x + _turn(clock) / 360.0 * self.width, self.y + (1 - across) * self.height


@dataclass(frozen=True)
class Drawn:
    """The lines of a part and the surface that marks are drawn on; `posed`: a shape that all parts can have is drawn already."""

    lines: list[Markup]
    surface: Surface
    posed: bool = False


def draw(surface: Surface, stroke: Stroke) -> list[Markup]:
    """A stroke of a sketch on a surface; what would lie beyond its edges is left out."""
    if stroke.across:
        stroke = replace(stroke, across=tuple(min(max(v, surface.inner), surface.outer) for v in stroke.across))
    if stroke.draw == "lines":
        return _LINES[stroke.kind](surface, stroke)
    return {"dots": _dots, "area": _area, "chips": _chips}[stroke.draw](surface, stroke)


def _band(stroke: Stroke, low: float = 0.0, high: float = 1.0) -> tuple[float, float]:
    return (stroke.across[0], stroke.across[-1]) if stroke.across else (low, high)


def _places(stroke: Stroke, usual: int, extent: float = 40.0) -> list[float]:
    """Degrees on the clock: evenly all round, or about each hour named."""
    count = stroke.count or usual
    if not stroke.at:
        return [11 + i * 360 / count for i in range(count)]
    each, wide = max(count // len(stroke.at), 1), stroke.extent or extent
    return [h * 30 + (wide * ((i + 0.5) / each - 0.5) if each > 1 else 0.0) for h in stroke.at for i in range(each)]


def _spans(stroke: Stroke, usual: float = 40.0) -> list[tuple[float, float]]:
    """From and to, in degrees: all round, or about each hour named."""
    half = (stroke.extent or usual) / 2
    return [(h * 30 - half, h * 30 + half) for h in stroke.at] or [(0.0, 359.9)]


def _along(surface: Surface, start: float, end: float, across: float) -> list[Point]:
    n = max(int(abs(end - start) / 5), 2)
    return [surface.at(start + (end - start) * i / n, across) for i in range(n + 1)]


def _shake(i: int) -> float:
    """From -1 to 1, without any order that shows."""
    return math.sin(i * 12.9898) * math.cos(i * 4.1414)


def _crack(
    surface: Surface, clock: float, low: float, high: float, seed: int, slant: float = 0.0, shake: float = 1.6
) -> list[Point]:
    n = 5
    return [
        surface.at(
            clock + slant * i / n + (shake * _shake(seed * 7 + i) if 0 < i < n else 0.0), low + (high - low) * i / n
        )
        for i in range(n + 1)
    ]


def _across(surface: Surface, stroke: Stroke) -> list[Markup]:
    low, high = _band(stroke)
    return [ink(_crack(surface, u, low, high, i), MEDIUM) for i, u in enumerate(_places(stroke, 12))]


def _lines_along(surface: Surface, stroke: Stroke) -> list[Markup]:
    low, high = _band(stroke, 0.12, 0.88)
    n = stroke.count or 4
    levels = [low + (high - low) * (i / (n - 1) if n > 1 else 0.5) for i in range(n)]
    return [
        ink(_along(surface, a, b, v), MEDIUM if i % 2 else FINE)
        for i, v in enumerate(levels)
        for a, b in _spans(stroke)
    ]


def _slanting(surface: Surface, stroke: Stroke) -> list[Markup]:
    low, high = _band(stroke)
    return [ink(_crack(surface, u, low, high, i, 14, 0.4), MEDIUM) for i, u in enumerate(_places(stroke, 12))]


def _through(surface: Surface, stroke: Stroke) -> list[Markup]:
    low, high = _band(stroke, surface.inner, surface.outer)
    return [ink(_crack(surface, u, low, high, i, 0, 4), HEAVY) for i, u in enumerate(_places(stroke, 1))]


def _spiral(surface: Surface, stroke: Stroke) -> list[Markup]:
    low, high = _band(stroke, 0.05, 0.95)
    turns = stroke.count or 2
    n = 72 * turns
    points = [surface.at(360.0 * turns * i / n, low + (high - low) * i / n) for i in range(n + 1)]
    breaks = [0, *(i for i in range(1, n + 1) if math.dist(points[i], points[i - 1]) > 20), n + 1]
    return [ink(points[a:b], MEDIUM) for a, b in itertools.pairwise(breaks)]


def _branched(surface: Surface, stroke: Stroke) -> list[Markup]:
    low, high = _band(stroke)
    middle, parts = (low + high) / 2, []
    for i, u in enumerate(_places(stroke, 4)):
        parts.append(ink(_crack(surface, u, low, high, i), MEDIUM))
        for side in (-1, 1):
            start = low + (middle - low) * (0.7 + 0.2 * side)
            parts.append(ink(_crack(surface, u, start, high, i + 9, side * 11, 1.0), FINE))
            parts.append(ink(_crack(surface, u + side * 5.5, (start + high) / 2, high, i + 5, side * 12, 0.5), FINE))
    return parts


def _network(surface: Surface, stroke: Stroke) -> list[Markup]:
    low, high = _band(stroke)
    places = _places(stroke, 30, 80)
    step = math.dist(surface.at(0, high), surface.at(360 / len(places), high))
    rows = min(max(round(math.dist(surface.at(0, low), surface.at(0, high)) / step * 1.4), 2), 9)
    pitch = (high - low) / rows
    nodes = [
        [
            surface.at(
                u + 90 / len(places) * _shake(i * 5 + j),
                low + pitch * (j + (0.3 * _shake(i + j * 3) if 0 < j < rows else 0)),
            )
            for j in range(rows + 1)
        ]
        for i, u in enumerate(places)
    ]
    columns = [c[j : j + 2] for i, c in enumerate(nodes) for j in range(rows) if (i + j) % 2 == 0 or rows == 2]
    links = [[a[j], b[j]] for a, b in itertools.pairwise(nodes) for j in range(1, rows)]
    return [strokes([*columns, *links], 0.8)]


def _comet(surface: Surface, stroke: Stroke) -> list[Markup]:
    low, high = _band(stroke, 0.2, 0.8)
    parts = []
    for i, u in enumerate(_places(stroke, 9)):
        v = low + (high - low) * (i * 0.618 % 1)
        tail = _along(surface, u, u + 16, v)
        parts += [blot(tail[0], 1.6), *(ink(tail[k:], 1.8 - 0.5 * k) for k in range(min(3, len(tail) - 1)))]
    return parts


def _outward(surface: Surface, stroke: Stroke) -> list[Markup]:
    low, high = _band(stroke)
    parts = []
    for i, u in enumerate(_places(stroke, 10)):
        crack = _crack(surface, u, low, high, i)
        parts += [ink(crack, FINE), ink(crack[:4]), ink(crack[:2], HEAVY)]
    return parts


_LINES: dict[str, Callable[[Surface, Stroke], list[Markup]]] = {
    "across": _across, "along": _lines_along, "branched": _branched, "comet": _comet, "network": _network, "outward": _outward,
    "slanting": _slanting, "spiral": _spiral, "through": _through,
}  # fmt: skip


def _scattered(stroke: Stroke, usual: int) -> list[tuple[float, float]]:
    """Clock and across of single things."""
    count = stroke.count or usual
    low, high = _band(stroke, 0.12, 0.88)
    spans = _spans(stroke, 60)
    result = []
    for i in range(count):
        start, end = spans[i % len(spans)]
        t = (i * 0.7548776662 + 0.13) % 1 if stroke.at else (i * GOLDEN / 360) % 1
        v = min(max((i * 0.5698402909 + 0.31) % 1 + 0.12 * _shake(i), 0), 1)
        result.append((start + (end - start) * (t + 0.04 * _shake(i + 3)), low + (high - low) * v))
    return result


def _dots(surface: Surface, stroke: Stroke) -> list[Markup]:
    usual = {"blisters": 7, "craters": 7, "drops": 4, "crystals": 16, "fibres": 7, "lint": 1}.get(stroke.kind, 40)
    return [m for i, (u, v) in enumerate(_scattered(stroke, usual)) for m in _thing(stroke.kind, surface.at(u, v), i)]


def _thing(kind: str, at: Point, i: int) -> list[Markup]:
    """One spot, blister, crater, crystal, drop, fibre or grain."""
    x, y = at
    if kind == "blisters":
        return [blot(at, 3.6, "#fff", MEDIUM), ink([(x - 1.8, y - 0.4), (x - 1, y - 1.7), (x + 0.4, y - 2)], FINE)]
    if kind == "craters":
        rim = [polar(x, y, 3.2 + 0.9 * _shake(i * 11 + k), k * 45) for k in range(8)]
        return [ink(rim, MEDIUM, True, "#fff"), *hatch(rim, 1.6)]
    if kind == "crystals":
        r = 2.2 + 0.9 * _shake(i)
        return [
            ink([(x - r, y + r), (x, y - r), (x + r, y + r * 0.6)], FINE, True, "#fff"),
            ink([(x, y - r), (x, y + r * 0.8)], FINE),
        ]
    if kind == "drops":
        return [
            ink(
                [(x, y - 5), (x + 2.6, y + 0.6), (x + 1.6, y + 3), (x - 1.6, y + 3), (x - 2.6, y + 0.6)],
                FINE,
                True,
                "#fff",
            )
        ]
    if kind in ("fibres", "lint"):
        long = 9 if kind == "lint" else 6
        return [ink([polar(x, y, long, 40 * i + 70), (x + 1.5, y - 2), polar(x, y, long, 40 * i + 250)], MEDIUM)]
    if kind == "holes":
        return [ring(at, 3.0)]
    if kind == "grains":
        return [ink([polar(x, y, 1.5, 50 * i + k * 120) for k in range(3)], FINE, True, "#000")]
    return [blot(at, 0.8 + 0.3 * (i % 3))]


def _border(surface: Surface, span: tuple[float, float], low: float, high: float) -> list[Point]:
    """The border of an area: a whole band, or a patch with round ends."""
    if span[1] - span[0] > 359:
        return [*_along(surface, *span, high), *reversed(_along(surface, *span, low))]
    middle, half, n = (low + high) / 2, (high - low) / 2, 24
    edge = [(k / n * 2 - 1, (1 - abs(k / n * 2 - 1) ** 3) ** 0.5) for k in range(n + 1)]
    turned = [(t, way * w) for way, row in ((1, edge), (-1, edge[::-1])) for t, w in row]
    return [
        surface.at((span[0] + span[1]) / 2 + t * (span[1] - span[0]) / 2, middle + half * w * (1 + 0.1 * _shake(i)))
        for i, (t, w) in enumerate(turned)
    ]


def _area(surface: Surface, stroke: Stroke) -> list[Markup]:
    low, high = _band(stroke)
    parts: list[Markup] = []
    for span in _spans(stroke, 70):
        border = _border(surface, span, low, high)
        parts += _fill(surface, stroke.kind, span, (low, high), border)
        if stroke.at:
            parts.append(ink(border, FINE, True))
    return parts


def _fill(
    surface: Surface, kind: str, span: tuple[float, float], band: tuple[float, float], border: Sequence[Point]
) -> list[Markup]:
    if kind == "hatched":
        return hatch(border, 3.2)
    if kind == "cross-hatched":
        return [*hatch(border, 3.2), *hatch(border, 3.2, 135)]
    if kind == "dark":
        return hatch(border, 1.5, 20, 0.9)
    if kind == "shiny":
        glints = (0.1, 0.13, 0.16, 0.19, 0.6, 0.63, 0.66, 0.69)
        return [strokes([_crack(surface, span[0] + (span[1] - span[0]) * s, *band, 0, 8, 0) for s in glints], 0.9)]
    wide = abs(span[1] - span[0])
    count = max(int(wide / 360 * 240 * min(abs(band[1] - band[0]), 1.4)), 12)
    spots: list[list[Point]] = []
    for i in range(count):
        across = i * 0.5698402909 % 1
        near = 1.0 if wide > 359 else (1 - abs(2 * across - 1) ** 3) ** 0.5
        along = 0.5 + ((i * 0.7548776662 + 0.05 * _shake(i)) % 1 - 0.5) * near
        x, y = surface.at(span[0] + wide * along, band[0] + (band[1] - band[0]) * across)
        spots.append([(x - 1.4, y + 0.8), (x, y - 0.8), (x + 1.4, y + 0.8)] if kind == "rough" else [(x, y)])
    return [strokes(spots, FINE if kind == "rough" else 1.2)]


def _chips(surface: Surface, stroke: Stroke) -> list[Markup]:
    """Pieces out of an edge, hatched as a break is."""
    parts = []
    edges = {"inner": (surface.inner,), "outer": (surface.outer,), "both": (surface.inner, surface.outer)}[stroke.kind]
    for side, edge in enumerate(edges):
        inwards = 1 if edge == surface.inner else -1
        depth = abs(surface.outer - surface.inner) * 0.16
        for i, u in enumerate(_places(stroke, 6)):
            u, half = u + 23 * side, 6 + 1.5 * _shake(i)
            bite = [(-half, 0.0), (-half * 0.6, 0.7), (-half * 0.1, 1.0), (half * 0.5, 0.6), (half, 0.0)]
            points = [surface.at(u + du, edge + inwards * depth * dv) for du, dv in bite]
            rim = _along(surface, u - half, u + half, edge)
            parts += [ink(rim, 3.0, colour="#fff"), ink(points), ink(rim, FINE, dash=DASHED), *hatch(points, 1.6)]
    return parts
