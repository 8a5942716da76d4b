"""QR codes as drawings."""

from __future__ import annotations

import segno

from diagnose.views.drawings.markup import Markup, el

QUIET = 4
"""Modules that stay white round the code, as ISO/IEC 18004 asks for."""


MOST_NAME = 160
"""Signs of a case's name that a code holds, so that it stays coarse enough for a label."""


def named(name: str) -> str:
    """The name of a case as a code holds it."""
    return name if len(name) <= MOST_NAME else f"{name[: MOST_NAME - 1]}…"


def qr(text: str, millimetres: float) -> Markup:
    """A text as a square of the given width that is read without a network; error correction M. Raises ValueError where the text
    is too long for a code."""
    try:
        rows = segno.make_qr(text, error="m", boost_error=False).matrix
    except segno.DataOverflowError as error:
        raise ValueError(f"{len(text)} signs are too many for a QR code") from error
    side = len(rows) + 2 * QUIET
    runs = "".join(
        f"M{QUIET + x} {QUIET + y}h1v1h-1z" for y, row in enumerate(rows) for x, module in enumerate(row) if module
    )
    return el(
        "svg", el("title", "QR code: " + " ".join(text.split())), el("rect", width=side, height=side, fill="#fff"), el("path", d=runs, fill="#000"),
        viewBox=f"0 0 {side} {side}", width=f"{millimetres:g}mm", height=f"{millimetres:g}mm", role="img", shape_rendering="crispEdges", class_="qr",
    )  # fmt: skip
