"""What drawings are put together from. Angles are degrees clockwise from the top; lengths are SVG units."""

from __future__ import annotations

import math

from diagnose.views.drawings.markup import Drawing, Markup, el, number

Arc = tuple[float, float]


def picture(width: float, height: float, says: str, *children: object, class_: str = "") -> Drawing:
    """A drawing of the given size; what it says is its title."""
    svg = el(
        "svg", el("title", says), children, viewBox=f"0 0 {number(width)} {number(height)}", width=width, height=height,
        role="img", class_=f"drawing {class_}".strip(),
    )  # fmt: skip
    return Drawing(svg, says)


def line(x1: float, y1: float, x2: float, y2: float, class_: str = "rule") -> Markup:
    return el("path", d=f"M{number(x1)} {number(y1)}L{number(x2)} {number(y2)}", class_=class_)


def label(x: float, y: float, words: object, class_: str = "", anchor: str = "") -> Markup:
    return el("text", words, x=float(x), y=float(y), class_=class_ or None, text_anchor=anchor or None)


def box(x: float, y: float, w: float, h: float, class_: str, rx: float = 0.0) -> Markup:
    return el("rect", x=float(x), y=float(y), width=float(max(w, 0.0)), height=float(h), rx=rx or None, class_=class_)


def dot(x: float, y: float, r: float, class_: str) -> Markup:
    return el("circle", cx=float(x), cy=float(y), r=float(r), class_=class_)


def polar(cx: float, cy: float, r: float, degrees: float) -> tuple[float, float]:
    angle = math.radians(degrees)
    return cx + r * math.sin(angle), cy - r * math.cos(angle)


def sweep(arc: Arc) -> float:
    return (arc[1] - arc[0]) % 360.0


def arc_path(cx: float, cy: float, r: float, arc: Arc) -> str:
    """Path data along an arc, clockwise."""
    (x1, y1), (x2, y2) = polar(cx, cy, r, arc[0]), polar(cx, cy, r, arc[1])
    large = int(sweep(arc) > 180)
    return f"M{number(x1)} {number(y1)}A{number(r)} {number(r)} 0 {large} 1 {number(x2)} {number(y2)}"


def curve(points: list[tuple[float, float]], closed: bool = False) -> str:
    """Path data through points."""
    told = "L".join(f"{number(x)} {number(y)}" for x, y in points)
    return f"M{told}" + ("Z" if closed else "")


def diamond(x: float, y: float, r: float) -> str:
    return curve([(x, y - r), (x + r, y), (x, y + r), (x - r, y)], closed=True)


def steps(low: float, high: float, about: int = 5) -> list[float]:
    """Round numbers from at or below `low` to at or above `high`, some `about` of them."""
    span = max(high - low, abs(high) * 1e-6, 1e-12)
    rough = span / about
    power = 10.0 ** math.floor(math.log10(rough))
    step = next(m * power for m in (1, 2, 2.5, 5, 10) if m * power >= rough * 0.999)
    first = math.floor(low / step + 1e-9)
    last = math.ceil(high / step - 1e-9)
    return [round(i * step, 12) for i in range(first, last + 1)]
