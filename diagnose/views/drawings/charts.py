"""Plain charts: weights, chances, springs, readings round the clock, numbers against limits, dates."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from diagnose.views.drawings.markup import Drawing, Markup, el
from diagnose.views.drawings.shapes import box, curve, diamond, dot, label, line, picture, steps


def weight_bar(weight: float, most: float) -> Drawing:
    """A weight in dB from the middle line: solid to the right for, hatched to the left against."""
    width, height, half = 200.0, 16.0, 96.0
    grid = [g for g in range(-100, 101, 10) if abs(g) <= most]
    length = min(abs(weight) / most, 1.0) * half
    bar = box(100 if weight > 0 else 100 - length, 3, length, 10, "for" if weight > 0 else "against")
    return picture(
        width, height, f"{weight:+.1f} dB", [line(100 + g / most * half, 0, 100 + g / most * half, height, "grid") for g in grid],
        bar if length else "", line(100, 0, 100, height, "zero"), class_="bar",
    )  # fmt: skip


def reach_bar(absent: float, present: float, most: float) -> Drawing:
    """What looking could do: from the weight if it is not there to the weight if it is."""
    low, high = sorted((absent, present))
    x1, x2 = (100 + max(-1.0, min(1.0, v / most)) * 96 for v in (low, high))
    return picture(
        200, 16, f"{present:+.1f} dB if there, {absent:+.1f} dB if not", line(100, 0, 100, 16, "zero"),
        box(x1, 5, x2 - x1, 6, "open"), class_="bar",
    )  # fmt: skip


def weight_axis(most: float) -> Drawing:
    step = 10 if most <= 20 else 20
    ticks = [g for g in range(-100, 101, step) if abs(g) <= most * 0.95]
    return picture(
        200, 14, "scale in dB, against to the left, for to the right",
        [label(100 + g / most * 96, 11, f"{g:+d}" if g else "0", "axis", "middle") for g in ticks], class_="bar",
    )  # fmt: skip


def chance(p: float, shown: str, levels: Sequence[tuple[float, str]]) -> Drawing:
    """A probability on a line from 0 to 1 with the levels from which a word is used."""
    width, left, right, y = 280.0, 8.0, 272.0, 26.0

    def x(value: float) -> float:
        return left + (right - left) * value

    parts: list[object] = [line(left, y, right, y, "axis")]
    for level, word in levels:
        parts += [line(x(level), y - 5, x(level), y + 5, "tick")]
        parts.append(label(min(x(level), right), y + 17, word, "axis", "end" if level > 0.9 else "middle"))
    parts += [
        box(left, y - 3, x(p) - left, 6, "for"), el("path", d=diamond(x(p), y, 7), class_="pointer"),
        label(min(max(x(p), 30.0), right - 30), y - 12, shown, "strong", "middle"),
    ]  # fmt: skip
    return picture(width, 48, f"probability {shown}", parts, class_="chance")


@dataclass(frozen=True)
class Bar:
    name: str
    value: float
    shown: str
    short: bool = False
    note: str = ""


def bars(says: str, rows: Sequence[Bar], reference: tuple[float, str] | None) -> Drawing:
    """Bars from zero, side by side from the top down, with a dashed line at the reference; short ones are hatched."""
    left, full, pitch = 60.0, 300.0, 20.0
    most = max([r.value for r in rows] + ([reference[0]] if reference else [])) or 1.0
    height = pitch * len(rows) + 34
    parts: list[object] = []
    for i, row in enumerate(rows):
        y = 22 + i * pitch
        parts += [
            label(left - 8, y + 11, row.name, "", "end"),
            box(left, y, full * row.value / most, 14, "against" if row.short else "for"),
            label(left + full + 10, y + 11, f"{row.shown}{'  ' + row.note if row.note else ''}", "strong" if row.short else ""),
        ]  # fmt: skip
    if reference:
        x = left + full * reference[0] / most
        parts += [
            line(x, 16, x, height - 10, "reference"),
            label(x, 11, reference[1], "axis", "end" if x > 200 else "middle"),
        ]
    parts.append(line(left, 18, left, height - 10, "axis"))
    return picture(520, height, says, parts, class_="bars")


Point = tuple[float, float, float]
"""Degrees, value, half-width of its uncertainty."""


def round_the_clock(
    says: str,
    points: Sequence[Point],
    fit: Callable[[float], float] | None,
    mean: float | None,
    shown: Callable[[float], str],
) -> Drawing:
    """Readings against the clock from 12 to 12 with the fitted curve; 12 stands at both ends."""
    width, height, left, right, top, bottom = 400.0, 210.0, 58.0, 378.0, 12.0, 168.0
    lows, highs = [v - h for _, v, h in points], [v + h for _, v, h in points]
    fitted = [(float(a), fit(float(a))) for a in range(0, 361, 4)] if fit else []
    ticks = steps(min(lows + [v for _, v in fitted]), max(highs + [v for _, v in fitted]), 5)

    def x(degrees: float) -> float:
        return left + (right - left) * degrees / 360

    def y(value: float) -> float:
        return bottom - (bottom - top) * (value - ticks[0]) / ((ticks[-1] - ticks[0]) or 1.0)

    parts: list[object] = []
    for t in ticks:
        parts += [line(left, y(t), right, y(t), "grid"), label(left - 7, y(t) + 4, shown(t), "axis", "end")]
    for hour in range(0, 13):
        at = x(hour * 30)
        parts += [line(at, bottom, at, bottom + (6 if hour % 3 == 0 else 4), "tick"),
                  label(at, bottom + 19, hour % 12 or 12, "hour strong" if hour % 3 == 0 else "hour", "middle")]  # fmt: skip
    parts += [line(left, top, left, bottom, "axis"), line(left, bottom, right, bottom, "axis")]
    if mean is not None:
        parts += [line(left, y(mean), right, y(mean), "reference"), label(right + 3, y(mean) + 3, "mean", "axis")]
    if fitted:
        parts.append(el("path", class_="fit", d=curve([(x(a), y(v)) for a, v in fitted])))
    for degrees, value, half in points:
        for at in (degrees % 360, 360.0) if degrees % 360 == 0 else (degrees % 360,):
            if half > 0:
                parts.append(line(x(at), y(value - half), x(at), y(value + half), "whisker"))
            parts.append(dot(x(at), y(value), 3.4, "point"))
    parts.append(label((left + right) / 2, height - 4, "position on the clock", "axis", "middle"))
    return picture(width + 20, height, says, parts, class_="chart")


def gauge(value: float, low: float, high: float, limits: Sequence[float], at_most: bool) -> Drawing:
    """A number with its uncertainty against limits: hatched is outside all of them, dotted between them."""
    width, left, right, y = 150.0, 4.0, 146.0, 12.0
    ends = [value, low, high, *limits]
    bottom, top = min([*ends, 0.0]), max([*ends, 0.0])
    span = (top - bottom) or 1.0
    bottom, top = bottom - (0.12 * span if bottom < 0 else 0.0), top + 0.15 * span

    def x(v: float) -> float:
        return left + (right - left) * (v - bottom) / (top - bottom)

    near, far = min(limits), max(limits)
    beyond = (x(far), right) if at_most else (left, x(near))
    parts: list[object] = [box(beyond[0], 4, beyond[1] - beyond[0], 16, "outside")]
    if far > near:
        parts.append(box(x(near), 4, x(far) - x(near), 16, "between"))
    parts += [line(left, y, right, y, "grid"), [line(x(v), 3, x(v), 21, "limit") for v in limits]]
    if high > low:
        parts.append(line(x(low), y, x(high), y, "whisker wide"))
    parts.append(el("path", d=diamond(x(value), y, 5), class_="pointer"))
    return picture(width, 24, "", parts, class_="gauge")


def timeline(says: str, days: Sequence[tuple[int, int]], first: str, last: str) -> Drawing:
    """Numbered events (number, day) on a line to scale."""
    width, left, right, y = 640.0, 20.0, 620.0, 34.0
    start, end = min(d for _, d in days), max(d for _, d in days)
    span = (end - start) or 1
    parts: list[object] = [line(left, y, right, y, "axis")]
    taken: list[tuple[float, int]] = []
    for number, day in days:
        x = left + (right - left) * (day - start) / span
        row = next(r for r in range(9) if all(abs(x - other) > 17 or r != at for other, at in taken))
        taken.append((x, row))
        at = y - 14 if row == 0 else y + 16 + (row - 1) * 15
        parts += [line(x, y, x, at + (4 if row == 0 else -6), "tick"), dot(x, y, 3, "point"),
                  dot(x, at, 6.5, "badge"), label(x, at + 3.2, number, "badge", "middle")]  # fmt: skip
    deep = max((row for _, row in taken), default=0)
    foot = y + 22 + 15 * deep
    parts += [label(left, foot, first, "axis"), label(right, foot, last, "axis", "end")]
    return picture(width, foot + 6, says, parts, class_="timeline")


def hatch() -> Markup:
    """The patterns that the drawings of a page share."""
    patterns = (
        el("pattern", el("path", d="M0 6L6 0M-1 1L1 -1M5 7L7 5", class_="hatch-against"), id="hatch-against",
           width=6, height=6, patternUnits="userSpaceOnUse"),
        el("pattern", el("path", d="M0 5L5 0M-1 1L1 -1M4 6L6 4", class_="hatch-outside"), id="hatch-outside",
           width=5, height=5, patternUnits="userSpaceOnUse"),
        el("pattern", el("circle", cx=2, cy=2, r=0.8, class_="hatch-between"), id="hatch-between", width=4, height=4,
           patternUnits="userSpaceOnUse"),
    )  # fmt: skip
    return el("svg", el("defs", patterns), class_="patterns", width=0, height=0, aria_hidden="true")


def scale_of(weights: Sequence[float]) -> float:
    """dB at the end of a ledger's bars: the heaviest weight, rounded up to ten."""
    return max(10.0, 10.0 * math.ceil(max((abs(w) for w in weights), default=0.0) / 10))
