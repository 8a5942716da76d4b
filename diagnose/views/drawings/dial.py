"""Marks round the clock: one dial for the parts of a group, and an O-ring with its section as measured."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from diagnose.views.drawings.markup import Drawing, Markup, el, number
from diagnose.views.drawings.shapes import (
    Arc,
    arc_path,
    box,
    curve,
    diamond,
    dot,
    label,
    line,
    picture,
    polar,
    sweep,
)

HUB, PITCH, GAP, RIM = 40.0, 15.0, 5.0, 30.0
BADGE = 6.5


@dataclass(frozen=True)
class Mark:
    """A numbered mark: arcs on the dial, a single place where start and end agree, or the whole turn where there are
    none. `weight` 1 to 3 is how heavy it is; `computed` marks come from readings, not from an eye."""

    number: int
    arcs: tuple[Arc, ...] = ()
    weight: int = 2
    computed: bool = False


@dataclass(frozen=True)
class Band:
    """One part on the dial."""

    label: str
    marks: tuple[Mark, ...]
    face: bool = False


def dial(says: str, bands: Sequence[Band], hub: str, turns: str = "", small: bool = False) -> Drawing:
    """Bands from the outside in. `turns`: clockwise or counterclockwise as drawn, or "" where it stands still."""
    laid = [(band, _tracks(band.marks)) for band in bands]
    depth = sum(len(tracks) for _, tracks in laid) * PITCH + GAP * len(laid)
    hub_radius = 22.0 if small else HUB
    outer = max(hub_radius + depth, 60.0 if small else 120.0)
    centre = outer + RIM
    parts: list[object] = [_clock(centre, outer)]
    r, turn = outer, 0
    for band, tracks in laid:
        inner = r - len(tracks) * PITCH
        parts.append(_ring(centre, r, inner, "band face" if band.face else "band"))
        for i, track in enumerate(tracks):
            for mark in track:
                turn += 1
                parts.append(_mark(centre, r - (i + 0.5) * PITCH, mark, 35.0 + 47.0 * turn))
        middle = (r + inner) / 2
        width = 6.0 * len(band.label) + 7
        parts += [
            box(centre - width - 3, centre - middle - 7, width, 14, "tag", 2),
            label(centre - width / 2 - 3, centre - middle + 4, band.label, "tag", "middle"),
        ]
        r = inner - GAP
    parts += _hub(centre, hub_radius, hub, turns)
    return picture(2 * centre, 2 * centre, says, parts, class_="dial")


def _tracks(marks: Sequence[Mark]) -> list[list[Mark]]:
    """Marks that do not reach each other share a track."""
    tracks: list[list[Mark]] = []
    for mark in sorted(marks, key=lambda m: (bool(m.arcs), m.number)):
        free = next((t for t in tracks if mark.arcs and all(_apart(mark, other) for other in t)), None)
        if free is None:
            tracks.append([mark])
        else:
            free.append(mark)
    return tracks or [[]]


def _apart(one: Mark, other: Mark) -> bool:
    if not one.arcs or not other.arcs:
        return False
    return all(
        (a[0] - b[0]) % 360 > sweep(b) + 20 and (b[0] - a[0]) % 360 > sweep(a) + 20
        for a in one.arcs
        for b in other.arcs
    )


def _clock(centre: float, outer: float) -> list[Markup]:
    parts = []
    for hour in range(12):
        x1, y1 = polar(centre, centre, outer + 2, hour * 30)
        x2, y2 = polar(centre, centre, outer + (9 if hour % 3 == 0 else 6), hour * 30)
        x, y = polar(centre, centre, outer + 19, hour * 30)
        parts.append(line(x1, y1, x2, y2, "tick"))
        parts.append(label(x, y + 4, hour or 12, "hour strong" if hour % 3 == 0 else "hour", "middle"))
    parts.append(line(centre, centre - outer - 9, centre, centre, "datum"))
    return parts


def _ring(centre: float, outer: float, inner: float, class_: str) -> Markup:
    return el(
        "path", class_=class_, fill_rule="evenodd",
        d=_circle(centre, outer) + _circle(centre, inner),
    )  # fmt: skip


def _circle(centre: float, r: float) -> str:
    return f"{arc_path(centre, centre, r, (0, 180))}{arc_path(centre, centre, r, (180, 360)).replace('M', 'L', 1)}Z"


def _mark(centre: float, r: float, mark: Mark, spare: float) -> list[Markup]:
    """The mark's arcs and its number; `spare` is where the number of a whole turn stands."""
    kind = f"mark w{mark.weight}" + (" computed" if mark.computed else "")
    if not mark.arcs:
        return [el("path", class_=kind, d=_circle(centre, r)), *_badge(*polar(centre, centre, r, spare % 360), mark)]
    parts: list[Markup] = []
    for arc in mark.arcs:
        if sweep(arc) < 2:
            x, y = polar(centre, centre, r, arc[0])
            parts.append(el("path", class_=f"place{' computed' if mark.computed else ''}", d=diamond(x, y, 6.5)))
        else:
            parts.append(el("path", class_=kind, d=arc_path(centre, centre, r, arc)))
    for arc in mark.arcs:
        long = sweep(arc) >= 2
        at = arc[0] + sweep(arc) / 2 if long else arc[0] + 15.0 * 57 / max(r, 30)
        parts += _badge(*polar(centre, centre, r, at), mark)
    return parts


def _badge(x: float, y: float, mark: Mark) -> list[Markup]:
    return [dot(x, y, BADGE, "badge"), label(x, y + 3.2, mark.number, "badge", "middle")]


def _hub(centre: float, r: float, words: str, turns: str) -> list[Markup]:
    parts = [label(centre, centre + (12 if turns else 3), words, "hub", "middle")]
    if turns:
        arc = (300.0, 60.0)
        radius = r - 14
        end, back = (60.0, 52.0) if turns == "clockwise" else (300.0, 308.0)
        tip = polar(centre, centre + 8, radius, end + (8 if turns == "clockwise" else -8))
        wings = [polar(centre, centre + 8, radius + d, back) for d in (-4.5, 4.5)]
        parts += [
            el("path", class_="turn", d=arc_path(centre, centre + 8, radius, arc)),
            el("path", class_="head", d=curve([tip, *wings], closed=True)),
        ]
    return parts


def ring(
    says: str, stations: Sequence[tuple[float, float, str]], reference: tuple[float, str] | None, marks: Sequence[Mark]
) -> Drawing:
    """An O-ring's section round the clock: (place, value, as shown); differences are drawn enlarged, the largest as
    14 units of the 24 that a new section has. `reference` is the section when new. Marks lie inside the ring."""
    centre, inner, thick = 165.0, 62.0, 24.0
    values = [v for _, v, _ in stations]
    base = reference[0] if reference else max(values, default=0.0)
    most = max((abs(v - base) for v in values), default=0.0) or 1.0
    parts: list[object] = [_clock(centre, 104.0)]

    def radius(value: float) -> float:
        return inner + thick + (value - base) * 14.0 / most

    if stations:
        around = sorted(stations)
        outline = [polar(centre, centre, radius(_between(around, a)), a) for a in range(0, 360, 3)]
        parts.append(el("path", class_="rubber", fill_rule="evenodd", d=curve(outline, True) + _circle(centre, inner)))
        parts += [dot(*polar(centre, centre, radius(v), a), 2.6, "point") for a, v, _ in around]
    else:
        parts.append(_ring(centre, inner + thick, inner, "rubber"))
    if reference:
        parts.append(el("path", class_="reference", d=_circle(centre, inner + thick)))
    for i, mark in enumerate(marks):
        parts.append(_mark(centre, inner - 10 - (i % 3) * 14, mark, 35.0 + 47.0 * i))
    for a, _, shown in stations:
        x, y = polar(centre, centre, 145.0, a)
        parts.append(label(x, y + 3.5, shown, "reading", "middle"))
    return picture(2 * centre, 2 * centre, says, parts, class_="dial o-ring")


def _between(around: Sequence[tuple[float, float, str]], angle: float) -> float:
    """The value at an angle, straight between neighbouring stations."""
    for (a, v, _), (b, w, _) in zip(around, [*around[1:], around[0]], strict=True):
        reach = (b - a) % 360 or 360.0
        if (angle - a) % 360 <= reach:
            return v + (w - v) * ((angle - a) % 360) / reach
    return around[0][1]


def clock_over(arcs: Sequence[Arc]) -> Drawing:
    """A thin clock to lay over a photo, with the places of its marks; black within white, to be seen on any picture."""
    middle, r, parts = 50.0, 44.0, list[Markup]()
    for width, colour in ((1.3, "#fff"), (0.5, "#000")):
        ticks = [f"M{number(x1)} {number(y1)}L{number(x2)} {number(y2)}" for hour in range(12)
                 for x1, y1 in [polar(middle, middle, r - (3 if hour % 3 else 5), hour * 30)]
                 for x2, y2 in [polar(middle, middle, r, hour * 30)]]  # fmt: skip
        circle = el("circle", cx=middle, cy=middle, r=r)
        marks = [
            el(
                "path",
                d=arc_path(middle, middle, r + 2.6, (a, b if sweep((a, b)) >= 2 else a + 3)),
                stroke_width=width * 2.4,
            )
            for a, b in arcs
        ]
        parts.append(
            el("g", circle, el("path", d="".join(ticks)), marks, fill="none", stroke=colour, stroke_width=width)
        )
    for hour in (12, 3, 6, 9):
        x, y = polar(middle, middle, r - 8.5, hour * 30)
        parts.append(el("text", hour, x=x, y=y + 1.8, text_anchor="middle", font_size=5, fill="#000", stroke="#fff", stroke_width=0.9,
                        paint_order="stroke", font_family="sans-serif"))  # fmt: skip
    svg = el("svg", el("title", "clock over the photo"), parts, viewBox="0 0 100 100", role="img", class_="over")
    return Drawing(svg, "clock over the photo")
