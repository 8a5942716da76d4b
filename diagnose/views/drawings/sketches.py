"""Line drawings of marks, from what the vocabulary says of them: black on white, no colour, the same in grey print."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from diagnose.knowledge.sketches import SHAPES, Sketch, Stroke, sketch_of
from diagnose.knowledge.vocabulary import Vocabulary
from diagnose.reading.entry import replace
from diagnose.views.drawings import o_rings, pieces, rings, surfaces
from diagnose.views.drawings.ink import DASHED, arrow, ink, sheet, turning, zigzag
from diagnose.views.drawings.markup import Drawing, Markup, el
from diagnose.views.drawings.shapes import Arc, sweep

WIDTH, HEIGHT = 160.0, 120.0

PARTS: dict[str, Callable[[Sketch, str], surfaces.Drawn]] = {
    "face": rings.face, "o-ring": o_rings.o_ring, "gasket": rings.gasket, "bush": rings.bush, "bearing": rings.bearing,
    "impeller": rings.impeller, "gland": rings.gland, "spring": pieces.spring, "bellows": pieces.bellows, "drive": pieces.drive,
    "sleeve": pieces.sleeve, "shaft": pieces.shaft, "screw": pieces.screw, "setting": pieces.setting, "block": pieces.block,
}  # fmt: skip
RUNS = {
    "radial": "across", "axial": "across", "concentric": "along", "round the circumference": "along", "spiral": "spiral",
    "slanting": "slanting", "right through": "through", "outward": "outward", "in a network": "network", "branched": "branched",
    "across the stretch": "across", "in the direction of turning": "comet", "against the direction of turning": "comet", "parallel": "along",
}  # fmt: skip
"""The lines that a mark is drawn with, by which way it is said to run."""


def sketch(
    vocabulary: Vocabulary,
    name: str,
    on: str = "",
    size: float = 160.0,
    runs: str = "",
    side: str = "",
    arcs: Sequence[Arc] = (),
) -> Drawing | None:
    """A drawing, `size` wide and three quarters as high, of a feature or form on a kind of part (or the one it is usual on);
    None where it cannot be drawn, see why_not_drawn. `runs`, `side` and `arcs` (degrees) as a record has them.

    Raises KeyError where the vocabulary has no such feature or form.
    """
    drawing, told = sketch_of(vocabulary, name, on)
    if not drawing:
        return None
    marks = tuple(_as_said(m, runs, side, arcs) for m in told.marks)
    if runs and not any(m.draw == "lines" for m in marks) and name in vocabulary.forms:
        marks += (Stroke("lines", RUNS[runs]),)
    drawn = PARTS[drawing](replace(told, marks=marks), side or "outer edge")
    lines = [*drawn.lines, *(line for m in marks for line in surfaces.draw(drawn.surface, m))]
    shaped = told.shape in SHAPES["any"] and not drawn.posed
    says = f"Sketch: {name}{f' on {on}' if on else ''}"
    svg = el(
        "svg", el("title", says), sheet(_posed(told.shape, lines) if shaped else lines), xmlns="http://www.w3.org/2000/svg",
        viewBox="0 0 160 120", width=float(size), height=float(size * HEIGHT / WIDTH), role="img", class_="sketch",
    )  # fmt: skip
    return Drawing(svg, says)


def why_not_drawn(vocabulary: Vocabulary, name: str, on: str = "") -> str:
    """Why there is no drawing of a feature or form; "" where there is one. Raises KeyError for an unknown name."""
    drawing, told = sketch_of(vocabulary, name, on)
    return "" if drawing else told.why_not


def _as_said(mark: Stroke, runs: str, side: str, arcs: Sequence[Arc]) -> Stroke:
    """A mark drawn as a record says it: the way it runs, the edge, the clock."""
    kind = RUNS[runs] if runs and mark.draw == "lines" else mark.kind
    if side and mark.draw == "chips":
        kind = side.split()[0] if side.split()[0] in ("inner", "outer", "both") else kind
    if not arcs:
        return replace(mark, kind=kind)
    widest = max(sweep(a) for a in arcs)
    at = tuple((a[0] + sweep(a) / 2) % 360 / 30 for a in arcs)
    return replace(mark, kind=kind, at=at, extent=max(widest, 20.0))


def _group(lines: Sequence[Markup], transform: str) -> Markup:
    return el("g", lines, transform=transform)


def _ghost(lines: Sequence[Markup]) -> Markup:
    """The part as it should be, faint and dashed."""
    return el("g", lines, stroke_dasharray=DASHED, opacity="0.45")


def _posed(shape: str, lines: Sequence[Markup]) -> list[Markup]:
    """A part out of shape, place or hold, in a way that every part can be."""
    if shape == "missing":
        return [_ghost(lines), ink([(40, 100), (120, 20)], 1.6)]
    if shape == "broken":
        crack = zigzag((70, 2), (92, 118), 4, 11)
        return [
            *lines,
            ink(crack, 6, colour="#fff"),
            *(ink([(x + dx, y) for x, y in crack], 1.6) for dx in (-3.4, 3.4)),
        ]
    if shape == "loose":
        return [*lines, *arrow((4, 10), (24, 10), both=True), *arrow((136, 10), (156, 10), both=True)]
    if shape == "stuck":
        return [*lines, *arrow((124, 14), (150, 14)), ink([(132, 5), (143, 23)], 2), ink([(143, 5), (132, 23)], 2)]
    if shape == "turned":
        return [*lines, *turning((80, 60), 57, 320, 400)]
    moves = {
        "bent": "translate(14 0) skewX(-9) translate(4 0)", "larger": "translate(-9.6 -7.2) scale(1.12)",
        "moved": "translate(12 8)", "smaller": "translate(14.4 10.8) scale(0.82)", "tilted": "rotate(11 80 60)",
    }  # fmt: skip
    return [_ghost(lines), _group(lines, moves[shape])]
