"""A clock to draw on."""

from __future__ import annotations

from diagnose.views.drawings.ink import FINE, MEDIUM, ink, ring, sheet
from diagnose.views.drawings.markup import Markup, el
from diagnose.views.drawings.shapes import polar

SIDE = 120.0


def blank_dial() -> Markup:
    """Two circles with the hours; 12 is the index mark."""
    middle = (SIDE / 2, SIDE / 2)
    ticks = [ink([polar(*middle, 44, h * 30), polar(*middle, 48 if h % 3 else 51, h * 30)], MEDIUM) for h in range(12)]
    hours = [
        el("text", h or 12, x=x, y=y + 3.4, text_anchor="middle", font_size=9.5, font_family="sans-serif")
        for h in range(12)
        for x, y in [polar(*middle, 55, h * 30)]
    ]
    circles = [ring(middle, 44, MEDIUM), ring(middle, 33, FINE), ring(middle, 22, MEDIUM)]
    return el("svg", sheet(circles, ticks), hours, viewBox=f"0 0 {SIDE:g} {SIDE:g}", role="img", class_="dial")
