"""Parts that are round: face ring, gasket, bush, bearing, impeller and gland, from above and, where it tells more, cut."""

from __future__ import annotations

import math
from collections.abc import Sequence

from diagnose.knowledge.sketches import Sketch, Track
from diagnose.views.drawings.ink import (
    DASHED,
    FINE,
    HEAVY,
    MEDIUM,
    Point,
    arrow,
    blot,
    circle_points,
    hatch,
    ink,
    rectangle,
    ring,
    turning,
    zigzag,
)
from diagnose.views.drawings.markup import Markup
from diagnose.views.drawings.shapes import polar
from diagnose.views.drawings.surfaces import Annulus, Drawn, Plate

NOSE = 11.0
"""Width of the nose as drawn."""
CUT_FACES = (
    "backwards",
    "bonded",
    "coned",
    "dirt below",
    "tilted",
    "not flat",
    "pushed out",
    "raised",
    "sunk",
    "used up",
    "worn down",
)


def face(sketch: Sketch, side: str) -> Drawn:
    """A face ring from above with its track; cut beside it where the shape shows there."""
    cut = sketch.shape in CUT_FACES
    centre = (56.0 if cut else 80.0, 60.0)
    rim, bore, middle = 52.0, 25.0, 39.5
    lines = [ring(centre, rim, HEAVY), ring(centre, bore, HEAVY)]
    track = sketch.track or Track()
    half = NOSE / 2 * track.width
    where = (centre[0] + track.offset * NOSE, centre[1])
    surface = Annulus(where, middle - half, middle + half, bore, rim)
    if sketch.track:
        lines += _contact(surface, track, side)
    else:
        lines += [ring(centre, middle - NOSE / 2, FINE), ring(centre, middle + NOSE / 2, FINE)]
    if track.nose or track.offset:
        lines += [
            ring(
                centre,
                middle + way * (NOSE / 2 + (0.8 if track.width == 1 and not track.offset else 0)),
                MEDIUM,
                DASHED,
            )
            for way in (-1, 1)
        ]
    if sketch.shape == "in pieces":
        for _i, clock in enumerate((35.0, 150.0, 275.0)):
            a, b = polar(*centre, bore - 1, clock), polar(*centre, rim + 1, clock + 9)
            broken = zigzag(a, b, 2.4, 5)
            lines += [ink(broken, 6, colour="#fff"), *(ink([(x + dx, y + dy) for x, y in broken], MEDIUM)
                      for dx, dy in [(polar(0, 0, 3, clock + way * 90)) for way in (-1, 1)])]  # fmt: skip
    if cut:
        lines += _face_cut(sketch.shape, side)
    return Drawn(lines, surface, sketch.shape == "tilted")


def _contact(surface: Annulus, track: Track, side: str) -> list[Markup]:
    """The track as lines round the ring: the closer, the heavier the contact."""
    lines, levels = [], 9
    for i in range(levels):
        across = i / (levels - 1)
        edge = i in (0, levels - 1)
        near = across if side == "outer edge" else 1 - across
        width = 0.25 + 1.7 * near**2 if track.fades else FINE
        drawn: list[Point] = []
        for clock in range(0, 361, 3):
            if _touched(track, clock, i, levels, edge):
                drawn.append(surface.at(clock, across))
                continue
            lines += [ink(drawn, width)] if len(drawn) > 1 else []
            drawn = []
        lines += [ink(drawn, width)] if len(drawn) > 1 else []
    for hour in track.bare:
        lines += [
            ink([surface.at(hour * 30 + way * track.extent / 2, v) for v in (-0.1, 1.1)], FINE) for way in (-1, 1)
        ]
    for hour in track.heavy:
        border = [surface.at(hour * 30 + track.extent * (k / 12 - 0.5), v) for v, ks in ((0.0, range(13)), (1.0, range(12, -1, -1))) for k in ks]  # fmt: skip
        lines += hatch(border, 1.6, 20, 0.8)
    return lines


def _touched(track: Track, clock: float, i: int, levels: int, edge: bool) -> bool:
    near = [abs((clock - h * 30 + 180) % 360 - 180) for h in track.bare]
    if any(d < track.extent / 2 for d in near):
        return False
    if track.light:
        return edge or (i == levels // 2 and clock // 12 % 2 == 0)
    return edge or not track.heavy or i % 4 == 0


LEFT, RIGHT, TOP, DEEP = 117.0, 155.0, 52.0, 86.0
INNER, OUTER, TIP = 128.0, 144.0, 40.0
"""The cut of a face ring as drawn: its bore to the left; the nose stands from TOP to TIP between INNER and OUTER."""


def _ring_cut(nose: Sequence[Point]) -> list[Point]:
    """The outline of the cut with what stands on it or is sunk into it."""
    return [(LEFT, DEEP), (LEFT, TOP), *nose, (RIGHT, TOP), (RIGHT, DEEP)]


def _solid(points: Sequence[Point], pitch: float = 4.0, degrees: float = 45.0) -> list[Markup]:
    return [*hatch(points, pitch, degrees), ink(points, HEAVY, True)]


def _shifted(points: Sequence[Point], down: float) -> list[Point]:
    return [(x, y + down) for x, y in points]


NOSE_CUT: list[Point] = [(INNER, TOP), (INNER, TIP), (OUTER, TIP), (OUTER, TOP)]


def _face_cut(shape: str, side: str) -> list[Markup]:
    """The ring cut through on one side; the nose looks up, dashed where it is worn."""
    lost = ink(NOSE_CUT, FINE, dash=DASHED)
    whole = _ring_cut(NOSE_CUT)
    if shape == "coned":
        low, high = (TIP + 9, TIP) if side == "inner edge" else (TIP, TIP + 9)
        return [lost, *_solid(_ring_cut([(INNER, TOP), (INNER, low), (OUTER, high), (OUTER, TOP)]))]
    if shape == "used up":
        return [lost, *_solid(_ring_cut([]))]
    if shape == "worn down":
        return [lost, *_solid(_ring_cut([(x, max(y, 47.0)) for x, y in NOSE_CUT]))]
    if shape == "sunk":
        worn = [(INNER, TOP), (INNER, TOP + 6), (OUTER, TOP + 6), (OUTER, TOP)]
        return [ink([(LEFT, TOP), (RIGHT, TOP)], FINE, dash=DASHED), *_solid(_ring_cut(worn))]
    if shape == "backwards":
        return [*_solid([(x, 126 - y) for x, y in whole]), *turning((136, 63), 30, 330, 390)]
    if shape == "bonded":
        between = rectangle(124, 35, 24, 6)
        other = rectangle(LEFT, 10, RIGHT - LEFT, 26)
        return [*_solid(whole), *_solid(other, 4, 135), *hatch(between, 1.3, 90), ink(between, MEDIUM, True)]
    return _face_placed(shape, whole)


def _face_placed(shape: str, whole: list[Point]) -> list[Markup]:
    """The ring out of its place or out of flat, from the side."""
    if shape == "tilted":
        upright = rectangle(126, 24, 18, 72)
        leant = [
            (136 + (x - 136) * 0.978 - (y - 60) * 0.208, 60 + (x - 136) * 0.208 + (y - 60) * 0.978) for x, y in upright
        ]
        axis = ink([(108, 60), (158, 60)], FINE, dash="8 2 2 2")
        return [ink(upright, MEDIUM, True, dash=DASHED), axis, *_solid(leant)]
    if shape == "not flat":
        wave = [(LEFT + i, 57.5 + 3.5 * math.cos(i / 38 * 2 * math.pi)) for i in range(39)]
        edge = rectangle(LEFT - 2, 50, RIGHT - LEFT + 4, 4)
        return [ink(edge, FINE, True), *_solid([*wave, (RIGHT, 80.0), (LEFT, 80.0)])]
    pocket = [(LEFT - 3, 70.0), (LEFT - 3, 104.0), (RIGHT + 3, 104.0), (RIGHT + 3, 70.0)]
    grains = [[polar(119 + 5.2 * k, 96 + k % 3, 2.4, 50 * k + t) for t in (0, 120, 240)] for k in range(7)]
    below = [ink(g, FINE, True, "#000") for g in grains] if shape == "dirt below" else arrow((136, 101), (136, 90))
    return [*_solid(_shifted(whole, 2)), ink(pocket, HEAVY), *below]


def gasket(sketch: Sketch, side: str) -> Drawn:
    """A flat gasket with its bolt holes."""
    centre = (80.0, 60.0)
    lines = [
        ring(centre, 52, HEAVY),
        ring(centre, 30, HEAVY),
        *(ring(polar(*centre, 45, u), 3.4) for u in (45, 135, 225, 315)),
    ]
    if sketch.shape == "doubled":
        lines += [ring((85.0, 64.0), r, MEDIUM, DASHED) for r in (52, 30)]
    if sketch.shape == "blown":
        gap = [
            polar(*centre, r, u)
            for r, u in ((54, 78), (46, 84), (40, 80), (28, 86), (28, 104), (38, 100), (45, 106), (54, 102))
        ]
        lines += [
            ink(gap, 1.2, True, "#fff", colour="#fff"),
            ink(gap[:4], MEDIUM),
            ink(gap[4:], MEDIUM),
            *arrow((112, 60), (152, 60)),
        ]
    return Drawn(lines, Annulus(centre, 31, 41, 30, 52))


def bush(sketch: Sketch, side: str) -> Drawn:
    """A ring that runs close round a shaft: bush, wear ring, retainer, holder."""
    centre = (80.0, 60.0)
    lines = [
        ring(centre, 52, HEAVY),
        ring(centre, 31, HEAVY),
        ring(centre, 27),
        *hatch(circle_points(centre, 27), 5, 45, 0.4),
    ]
    return Drawn(lines, Annulus(centre, 32, 51, 31, 52))


def bearing(sketch: Sketch, side: str) -> Drawn:
    """A ball bearing from the side."""
    centre = (80.0, 60.0)
    lines = [ring(centre, r, w) for r, w in ((53, HEAVY), (44, MEDIUM), (28, MEDIUM), (19, HEAVY))]
    lines += [ring(polar(*centre, 36, u), 7) for u in range(0, 360, 40)]
    return Drawn(lines, Annulus(centre, 44, 53, 19, 53))


def impeller(sketch: Sketch, side: str) -> Drawn:
    """An impeller seen from its eye."""
    centre = (80.0, 60.0)
    lines = [ring(centre, 53, HEAVY), ring(centre, 20), ring(centre, 8, HEAVY)]
    for u in range(0, 360, 60):
        lines.append(ink([polar(*centre, 20 + 33 * k / 10, u - 6.5 * k) for k in range(11)], HEAVY))
        r = {"inlets": 23.0, "tips": 49.0}.get(sketch.shape)
        if r:
            k = (r - 20) / 3.3
            lines += [
                blot(polar(*centre, r + dr, u - 6.5 * k + du), 1.1)
                for dr, du in ((0, 4), (2.4, 6), (-1.4, 8), (1, 11), (3, 13), (-2, 14))
            ]
    if sketch.shape == "nut":
        lines += [ink([polar(*centre, 12, k * 60) for k in range(6)], HEAVY, True), *turning(centre, 16.5, 300, 400)]
    return Drawn(lines, Annulus(centre, 22, 52, 8, 53))


def gland(sketch: Sketch, side: str) -> Drawn:
    """A gland plate with four bolts round the shaft; from the side where a gap or a tilt is to be seen."""
    if sketch.shape in ("gap", "off square"):
        return _gland_side(sketch.shape)
    centre, shaft = (80.0, 60.0), (80.0, 60.0)
    if sketch.shape in ("hits shaft", "off centre"):
        shaft = (80.0, 66.0 if sketch.shape == "hits shaft" else 64.0)
    lines = [
        ring(centre, 53, HEAVY),
        ring(centre, 22),
        ring(shaft, 16, HEAVY),
        *hatch(circle_points(shaft, 16), 5, 45, 0.4),
    ]
    lines += [ring(polar(*centre, 43, u), 5, HEAVY if sketch.shape == "bolts" else MEDIUM) for u in (45, 135, 225, 315)]
    if sketch.shape == "bolts":
        lines += [
            ink([polar(*polar(*centre, 43, u), 5, 60 * k) for k in range(6)], MEDIUM, True) for u in (45, 135, 225, 315)
        ]
    if sketch.shape == "hits shaft":
        lines += [blot((80, 82), 2.4), *arrow((80, 112), (80, 85))]
    if sketch.shape == "off centre":
        lines += [
            ink([(x + dx, y + dy) for dx, dy in ends], FINE)
            for x, y in (centre, shaft)
            for ends in (((-9, 0), (9, 0)), ((0, -9), (0, 9)))
        ]
    if sketch.shape in ("port", "port blocked"):
        port = rectangle(75, 4, 10, 34)
        lines += [ink(port, HEAVY, True, "#fff"), *(hatch(port, 1.6) if sketch.shape == "port blocked" else [])]
    if sketch.shape in ("clip", "clip scrape"):
        clip = rectangle(70, 36, 20, 14)
        lines += [*(hatch(clip, 1.8, 90)), *([ink(clip, HEAVY, True)] if sketch.shape == "clip" else [])]
    return Drawn(lines, Annulus(centre, 24, 52, 22, 53))


def _gland_side(shape: str) -> Drawn:
    """Gland to the right of the chamber, the shaft across."""
    chamber = rectangle(20, 8, 44, 104)
    gland_plate = (
        [(74.0, 8.0), (102.0, 8.0), (96.0, 112.0), (68.0, 112.0)] if shape == "gap" else rectangle(68, 8, 28, 104)
    )
    if shape == "off square":
        chamber = [(20.0, 8.0), (58.0, 8.0), (66.0, 112.0), (20.0, 112.0)]
    lines = [*hatch(chamber, 5, 45, 0.4), ink(chamber, HEAVY, True), ink(gland_plate, HEAVY, True)]
    lines += [ink(rectangle(4, 46, 148, 28), MEDIUM, True, "#fff"), ink([(0, 60), (156, 60)], FINE, dash="8 2 2 2")]
    if shape == "gap":
        lines += [*arrow((66, 18), (73, 18), both=True, width=FINE), *arrow((124, 20), (106, 20))]
    else:
        lines += [ink([(66, 8), (66, 112)], MEDIUM, dash=DASHED)]
    return Drawn(lines, Plate(66, 10, 8, 100))
