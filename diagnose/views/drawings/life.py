"""The share of seals alive against time: steps with their band, a Weibull line, one panel a group."""

from __future__ import annotations

import math
from typing import Any

from diagnose.views.drawings.markup import Markup, el, join
from diagnose.views.drawings.shapes import curve, label, line, picture, steps

WIDTH, HEIGHT, LEFT, RIGHT, TOP, BOTTOM = 660.0, 220.0, 54.0, 624.0, 26.0, 180.0
STYLE = """
text{font:12px sans-serif;fill:#222} .title{font-weight:bold} .axis{stroke:#222;fill:none} .grid{stroke:#ddd}
.band{fill:#1f5f99;fill-opacity:.18;stroke:none} .steps{stroke:#1f5f99;stroke-width:2;fill:none}
.fit{stroke:#b4500f;stroke-width:1.5;stroke-dasharray:6 4;fill:none}
"""


def drawing(found: dict[str, Any]) -> str:
    """An SVG file of the groups of `diagnose library life` that enough seals failed in."""
    groups = [g for g in found["groups"] if not g["too few"]]
    longest = max((row[0] for g in groups for row in g["curve"]), default=1.0)
    panels = [el("g", _panel(g, longest), transform=f"translate(0 {i * HEIGHT:g})") for i, g in enumerate(groups)]
    few = [g["group"] for g in found["groups"] if g["too few"]]
    foot = 40.0 if few or not groups else 10.0
    height = HEIGHT * len(groups) + foot
    note = (
        label(12, height - 16, f"too few failures: {', '.join(few)}" if few else "no life is on record")
        if foot > 10
        else ""
    )
    says = "Share of seals alive against hours in service"
    svg = picture(WIDTH, height, says, Markup(f"<style>{STYLE}</style>"), panels, note).svg
    return svg.replace("<svg ", '<svg xmlns="http://www.w3.org/2000/svg" ', 1) + "\n"


def _panel(g: dict[str, Any], longest: float) -> Markup:
    ticks = steps(0.0, longest, 6)

    def x(hours: float) -> float:
        return LEFT + (RIGHT - LEFT) * min(hours / ticks[-1], 1.0)

    def y(share: float) -> float:
        return BOTTOM - (BOTTOM - TOP) * share

    parts: list[object] = [label(LEFT, 16, f"{g['group']}: {g['seals']} seals, {g['failed']} failed", "title")]
    for share in (0.0, 0.25, 0.5, 0.75, 1.0):
        parts += [
            line(LEFT, y(share), RIGHT, y(share), "grid"),
            label(LEFT - 6, y(share) + 4, f"{share:.0%}", "", "end"),
        ]
    for t in ticks:
        parts += [line(x(t), BOTTOM, x(t), BOTTOM + 5, "axis"), label(x(t), BOTTOM + 19, f"{t:g}", "", "middle")]
    parts.append(label(RIGHT, BOTTOM + 34, "h in service", "", "end"))
    rows = [(0.0, 1.0, 1.0, 1.0), *g["curve"]]
    low, high = ([(x(h), y(s)) for h, s in _steps(rows, k)] for k in (2, 3))
    w = g["weibull"]
    at = [ticks[-1] * i / 80 for i in range(81)] if w else []
    fitted = [(x(h), y(math.exp(-((h / w["scale"]) ** w["shape"])))) for h in at]
    parts += [
        el("path", d=curve(high + low[::-1], closed=True), class_="band"),
        el("path", d=curve([(x(h), y(s)) for h, s in _steps(rows, 1)]), class_="steps"),
        el("path", d=curve(fitted), class_="fit") if fitted else "",
        line(LEFT, TOP, LEFT, BOTTOM, "axis"), line(LEFT, BOTTOM, RIGHT, BOTTOM, "axis"),
    ]  # fmt: skip
    return join(parts)


def _steps(rows: list[Any], column: int) -> list[tuple[float, float]]:
    """The corners of a step line through (hours, ...) rows."""
    corners = [(rows[0][0], rows[0][column])]
    for row in rows[1:]:
        corners += [(row[0], corners[-1][1]), (row[0], row[column])]
    return corners
