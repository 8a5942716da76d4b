"""Bars, largest first, with the line of what they make together."""

from __future__ import annotations

from typing import Any

from diagnose.views.drawings.lettering import cut
from diagnose.views.drawings.markup import Markup, el
from diagnose.views.drawings.shapes import box, curve, dot, label, line, picture, steps

MOST, LEFT, RIGHT, TOP, PITCH = 20, 230.0, 560.0, 46.0, 22.0
STYLE = """
text{font:12px sans-serif;fill:#222} .title{font-weight:bold} .axis{stroke:#222;fill:none} .grid{stroke:#ddd}
.bar{fill:#1f5f99} .line{stroke:#b4500f;stroke-width:1.5;fill:none} .point{fill:#b4500f}
"""


def drawing(found: dict[str, Any]) -> str:
    """An SVG file of the parts of `diagnose library bad-actors`, the first twenty of them."""
    parts = found["parts"][:MOST]
    ticks = steps(0.0, max((p["amount"] for p in parts), default=1.0), 4)
    bottom = TOP + PITCH * len(parts)

    def x(amount: float) -> float:
        return LEFT + (RIGHT - LEFT) * amount / ticks[-1]

    by = {"tag": "machine", "cause": "root cause"}.get(found["by"], found["by"])
    measure = {"count": "failures", "hours": "hours lost"}.get(found["measure"], found["measure"])
    says = f"Failed cases by {by}: {measure}; line: share of it and all above"
    shapes: list[object] = [Markup(f"<style>{STYLE}</style>"), label(12, 18, says, "title")]
    for t in ticks:
        shapes += [line(x(t), TOP - 6, x(t), bottom, "grid"), label(x(t), TOP - 10, f"{t:g}", "", "middle")]
    line_points = []
    for i, p in enumerate(parts):
        y = TOP + PITCH * i
        shapes += [
            label(LEFT - 8, y + 15, cut(p["name"], LEFT - 20), "", "end"), box(LEFT, y + 3, x(p["amount"]) - LEFT, 16, "bar"),
            label(RIGHT + 12, y + 15, f"{p['amount']:g}, together {p['together']:.0%}"),
        ]  # fmt: skip
        line_points.append((LEFT + (RIGHT - LEFT) * p["together"], y + 11))
    if line_points:
        shapes += [el("path", d=curve(line_points), class_="line"), [dot(px, py, 3, "point") for px, py in line_points]]
    shapes.append(line(LEFT, TOP - 6, LEFT, bottom, "axis"))
    svg = picture(720, bottom + 14, says, shapes).svg
    return svg.replace("<svg ", '<svg xmlns="http://www.w3.org/2000/svg" ', 1) + "\n"
