"""Parts that are not round, or are seen from the side: springs, drive, bellows, shaft and sleeve, screws, the setting, a plain block."""

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
from diagnose.views.drawings.surfaces import Cylinder, Drawn, Plate


def spring(sketch: Sketch, side: str) -> Drawn:
    """Three springs standing on a plate; one large coil where it has unwound."""
    floor, top = 104.0, 26.0
    lines: list[Markup] = [ink([(12, floor), (148, floor)], HEAVY), *hatch(rectangle(12, floor, 136, 5), 4)]
    if sketch.shape == "unwound":
        coil = zigzag((80, floor), (80, 42), 26, 7)
        lines += [
            ink(coil[:-1], HEAVY),
            ink([coil[-2], (124, 30), (140, 20)], HEAVY),
            ink([(54, 42), (106, 36)], FINE, dash=DASHED),
            *turning((122, 40), 14, 20, 110),
        ]
        return Drawn(lines, Plate(40, 34, 80, 66))
    tops = {"unequal": (top, top + 22, top), "short": (top + 20,) * 3, "coil bound": (top + 34,) * 3}.get(
        sketch.shape, (top,) * 3
    )
    for i, x in enumerate((36.0, 80.0, 124.0)):
        gone = sketch.shape == "one missing" and i == 1
        coil = zigzag((x, floor), (x, tops[i]), 14, 13 if sketch.shape == "coil bound" else 9)
        width = FINE if sketch.shape == "thin" else HEAVY
        lines.append(ink(coil, MEDIUM if gone else width, dash=DASHED if gone else ""))
    if sketch.shape in ("unequal", "short"):
        lines += [
            ink([(14, top), (146, top)], MEDIUM, dash=DASHED),
            *arrow((80, top), (80, tops[1]), both=True, width=FINE),
        ]
    if sketch.shape == "coil bound":
        lines += [ink([(12, tops[0]), (148, tops[0])], HEAVY), *arrow((80, 22), (80, tops[0] - 3))]
    if sketch.shape == "broken":
        lines += [
            ink([(58, 66), (102, 58)], 8, colour="#fff"),
            ink([(62, 62), (70, 58), (76, 60)]),
            ink([(98, 66), (90, 70), (84, 66)]),
        ]
    return Drawn(lines, Plate(20, 30, 120, 70), sketch.shape == "broken")


def bellows(sketch: Sketch, side: str) -> Drawn:
    """Convolutions from the side, between two end rings."""
    lines: list[Markup] = []
    for way in (-1, 1):
        folds = [(34 + 92 * i / 16, 60 + way * (44.0 if i % 2 else 32.0)) for i in range(17)]
        lines.append(ink(folds, HEAVY))
    lines += [ink([(34 + 92 * i / 16, 16), (34 + 92 * i / 16, 104)], FINE) for i in range(1, 17, 2)]
    lines += [ink(rectangle(x, 22, 14, 76), HEAVY, True) for x in (20, 126)]
    if sketch.shape in ("split", "torn"):
        crack = zigzag((68, 40), (78, 84), 2.6, 7)
        lines += [ink(crack, 5, colour="#fff"), ink(crack, HEAVY)]
    if sketch.shape == "twisted":
        lines += [ink([(34, y), (60, y + 3), (100, y + 17), (126, y + 20)], MEDIUM) for y in (32, 48, 64)]
        lines += turning((133, 60), 14, 200, 340)
    return Drawn(lines, Plate(36, 34, 88, 52))


def drive(sketch: Sketch, side: str) -> Drawn:
    """A pin in its slot from above, turned to the right; beside it the pin from the side. The right flank drives."""
    shape = sketch.shape
    worn = {"driving flank": (1,), "wrong flank": (-1,), "both flanks": (-1, 1)}.get(shape, ())
    block: list[Point] = [(8.0, 30.0), (36.0, 30.0)]
    block += [
        *_flank(36, -1 in worn, -1),
        (36.0, 86.0),
        (64.0, 86.0),
        *list(reversed(_flank(64, 1 in worn, 1))),
        (64.0, 30.0),
        (92.0, 30.0),
        (92.0, 106.0),
        (8.0, 106.0),
    ]
    lines = [*hatch(block, 5, 45, 0.5), ink(block, HEAVY, True)]
    if shape != "not engaged":
        lines += _pin_above(worn)
    for way in worn:
        x = 50 + way * 14
        lines.append(ink([(x, 30), (x, 86)], FINE, dash=DASHED))
    lines += arrow((30, 18), (70, 18))
    return Drawn(lines + _pin_side(shape), Plate(119, 42, 14, 50), shape == "bent")


def _flank(x: float, worn: bool, way: int) -> list[Point]:
    """One wall of the slot from the mouth down, hollowed where it is worn."""
    return (
        [(x, 36.0), (x + way * 5.5, 46.0), (x + way * 6, 58.0), (x + way * 5.5, 66.0), (x, 76.0)]
        if worn
        else [(x, 56.0)]
    )


def _pin_above(worn: tuple[int, ...]) -> list[Markup]:
    points = circle_points((50, 57), 12.5)[:-1]
    flat = [
        (min(max(x, 41.0) if -1 in worn else x, 59.0) if 1 in worn else max(x, 41.0) if -1 in worn else x, y)
        for x, y in points
    ]
    return [ink(flat, HEAVY, True, "#fff"), *hatch(flat, 3, 135)]


def _pin_side(shape: str) -> list[Markup]:
    """The pin stands in its holder below and reaches into the ring above."""
    holder = rectangle(106, 88, 46, 20)
    lines = [*hatch(holder), ink(holder, HEAVY, True)]
    lift = -12.0 if shape == "too high" else 0.0
    ring_part = [
        (106.0, 66.0 + lift),
        (119.0, 66.0 + lift),
        (119.0, 40.0 + lift),
        (133.0, 40.0 + lift),
        (133.0, 66.0 + lift),
        (152.0, 66.0 + lift),
    ]
    lines += [ink([*ring_part, (152.0, 24.0 + lift), (106.0, 24.0 + lift)], HEAVY, True)]
    tip = {"not engaged": 70.0, "too high": 29.0, "sheared": 74.0}.get(shape, 46.0)
    if shape == "sheared":
        stump = [(120.5, 88.0), (120.5, 76.0), (124.0, 73.0), (127.0, 77.0), (131.5, 72.0), (131.5, 88.0)]
        lines += [
            ink(stump, HEAVY, True, "#fff"),
            ink([(120.5, 70), (124, 67), (127, 71), (131.5, 66), (131.5, 46), (120.5, 46)], MEDIUM, True, dash=DASHED),
        ]
        return lines
    pin = rectangle(120.5, tip, 11, 88 - tip)
    if shape == "bent":
        lines.append(ink(pin, FINE, True, dash=DASHED))
        pin = [
            (120.5, 88.0),
            (121.5, 76.0),
            (126.0, 62.0),
            (137.0, 48.0),
            (146.0, 55.0),
            (136.0, 67.0),
            (132.0, 78.0),
            (131.5, 88.0),
        ]
    lines += [ink(pin, HEAVY, True, "#fff")]
    if shape == "axial rub":
        lines += [*hatch(rectangle(120.5, 48, 11, 16), 2, 90), *arrow((142, 46), (142, 64), both=True, width=FINE)]
    if shape == "too high":
        lines += arrow((146, 82), (146, 56))
    return lines


def sleeve(sketch: Sketch, side: str) -> Drawn:
    """A sleeve or shaft from the side."""
    shape, left, right, middle, r = sketch.shape, 18.0, 138.0, 60.0, 36.0
    neck = {"undersize": 6.0, "grooved": 4.0}.get(shape, 0.0)
    a, b = (56.0, 104.0) if shape == "undersize" else (72.0, 84.0)
    lines: list[Markup] = []
    for way in (-1, 1):
        y = middle + way * r
        edge = (
            [(left, y), (a, y), (a + neck, y - way * neck), (b - neck, y - way * neck), (b, y), (right, y)]
            if neck
            else [(left, y), (right, y)]
        )
        lines.append(ink(edge, HEAVY))
        if neck:
            lines.append(ink([(a, y), (b, y)], FINE, dash=DASHED))
    lines += [
        ink(
            [(x + 5 * math.sin(math.radians(t)), middle - r * math.cos(math.radians(t))) for t in range(0, 181, 10)],
            HEAVY,
        )
        for x in (left, right)
    ]
    lines.append(
        ink(
            [(left - 5 * math.sin(math.radians(t)), middle - r * math.cos(math.radians(t))) for t in range(0, 181, 10)],
            FINE,
        )
    )
    lines.append(ink([(6, middle), (154, middle)], FINE, dash="8 2 2 2"))
    if shape == "sharp edge":
        lines += [
            ink(rectangle(86, 42, 40, 18), HEAVY + 1, True),
            *arrow((66, 30), (83, 41)),
            *arrow((144, 78), (129, 63)),
        ]
    return Drawn(lines, Cylinder(left + 10, right - 10, middle, r))


def shaft(sketch: Sketch, side: str) -> Drawn:
    """The shaft from the side with the way it moves."""
    shape, left, right, middle, r = sketch.shape, 10.0, 134.0, 62.0, 15.0
    points = rectangle(left, middle - r, right - left, 2 * r)
    lines = [ink(points, HEAVY, True), ink([(2, middle), (146, middle)], FINE, dash="8 2 2 2")]
    if shape == "bent shaft":
        bow = [(left + 124 * t / 20, middle - 22 * math.sin(math.pi * t / 20)) for t in range(21)]
        lines = [
            ink([(x, y - r) for x, y in bow] + [(x, y + r) for x, y in reversed(bow)], HEAVY, True),
            ink(rectangle(left, middle - r, 124, 2 * r), FINE, True, dash=DASHED),
        ]
    if shape == "broken":
        crack = zigzag((66, middle - r - 3), (74, middle + r + 3), 3, 5)
        lines += [ink(crack, 8, colour="#fff"), *(ink([(x + dx, y) for x, y in crack], HEAVY) for dx in (-4, 4))]
    if shape == "runs out":
        lines += [
            ink(rectangle(left, middle - r - 7, right - left, 2 * r), FINE, True, dash=DASHED),
            *turning((144, 62), 11, 200, 510),
        ]
    if shape == "lifts":
        lines += [
            ink(rectangle(left, middle - r - 9, right - left, 2 * r), FINE, True, dash=DASHED),
            *arrow((72, 112), (72, 80)),
        ]
    if shape == "floats":
        lines += [
            ink(rectangle(left + 12, middle - r, right - left, 2 * r), FINE, True, dash=DASHED),
            *arrow((50, 32), (98, 32), both=True),
        ]
    if shape == "moves":
        lines += [*arrow((72, 22), (72, 44), both=True), *arrow((46, 94), (98, 94), both=True)]
    return Drawn(lines, Cylinder(left + 8, right - 8, middle, r), shape == "broken")


def screw(sketch: Sketch, side: str) -> Drawn:
    """A set screw on the shaft from the side, and beside it the mark of its point from above."""
    shape = sketch.shape
    shaft_body = rectangle(8, 80, 84, 28)
    lines = [*hatch(shaft_body, 2 if shape == "hard surface" else 5), ink(shaft_body, HEAVY, True)]
    screws = (
        ((30.0, 12.0), (70.0, 2.0))
        if shape == "unequal bite"
        else ((50.0, -1.0 if shape in ("flat points", "hard surface") else 6.0),)
    )
    for x, bite in screws:
        tip = 80 + bite
        point = (
            [(x - 10, tip - 8), (x - 8, tip), (x + 8, tip), (x + 10, tip - 8)]
            if shape == "flat points"
            else [(x - 10, tip - 13), (x, tip), (x + 10, tip - 13)]
        )
        body = [(x - 10.0, 20.0), *point, (x + 10.0, 20.0)]
        lines += [
            ink(body, HEAVY, True, "#fff"),
            *(ink([(x - 10, y), (x + 10, y + 3)], FINE) for y in range(24, 60, 5)),
        ]
    if shape == "flat points":
        lines.append(ink([(42, 79), (50, 92), (58, 79)], FINE, dash=DASHED))
    spots: list[Point] = [(126.0, 60.0)]
    if shape == "several sets":
        spots += [(116.0, 42.0), (138.0, 76.0)]
    if shape == "unequal bite":
        spots = [(126.0, 34.0), (126.0, 86.0)]
    for i, spot in enumerate(spots):
        lines += [ring(spot, 8 if i == 0 else 5 if shape == "unequal bite" else 8, HEAVY), blot(spot, 2)]
    if shape == "smeared":
        lines += [ink([(132, 54 + k * 4), (154, 56 + k * 2.4)], MEDIUM) for k in range(4)]
    if shape in ("flat points", "hard surface"):
        lines += [ring(spots[0], 11, FINE, DASHED)]
    return Drawn(lines, Plate(104, 26, 46, 68))


def setting(sketch: Sketch, side: str) -> Drawn:
    """The seal between collar and gland, its working length marked below; dashed: as the drawing has it."""
    shape = sketch.shape
    end = {"short": 92.0, "long": 126.0, "pressed too far": 96.0}.get(shape, 110.0)
    lines = [ink(rectangle(4, 52, 150, 20), MEDIUM, True), ink([(0, 62), (158, 62)], FINE, dash="8 2 2 2")]
    collar, plate = rectangle(18, 26, 18, 72), rectangle(end, 14, 14, 96)
    lines += [ink(collar, HEAVY, True, "#fff"), *hatch(collar), ink(plate, HEAVY, True, "#fff"), *hatch(plate, 4, 135)]
    lines += [ink(zigzag((36, y), (end - 22, y), 7, 9), MEDIUM) for y in (38, 86)]
    lines += [
        ink(rectangle(end - 22, 30, 11, 64), HEAVY, True, "#fff"),
        ink(rectangle(end - 11, 34, 11, 56), HEAVY, True, "#fff"),
    ]
    if shape in ("short", "long", "pressed too far"):
        lines += [
            ink([(110, 8), (110, 118)], MEDIUM, dash=DASHED),
            *arrow((36, 112), (end, 112), both=True, width=FINE),
        ]
    if shape == "pressed too far":
        lines += arrow((154, 30), (end + 16, 30))
    if shape == "mark":
        lines += [ink([(140, 48), (140, 76)], HEAVY + 1, dash=DASHED), *arrow((140, 30), (140, 45))]
    if shape == "fits wrongly":
        lines += [ink([(end - 24, 24), (end + 2, 100)], HEAVY), ink([(end + 2, 24), (end - 24, 100)], HEAVY)]
    return Drawn(lines, Plate(end - 22, 30, 22, 64))


def block(sketch: Sketch, side: str) -> Drawn:
    """A plain part of no certain shape."""
    front, depth = rectangle(22, 34, 96, 72), 22.0
    lines = [
        ink(front, HEAVY, True),
        ink([(22, 34), (22 + depth, 34 - depth), (118 + depth, 34 - depth), (118, 34)], HEAVY),
    ]
    lines.append(ink([(118 + depth, 34 - depth), (118 + depth, 106 - depth), (118, 106)], HEAVY))
    return Drawn(lines, Plate(28, 40, 84, 60))
