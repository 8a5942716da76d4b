"""Editor schemas of how marks are drawn."""

from __future__ import annotations

from diagnose.authoring.schemas.parts import NUMBER, TEXT, YES, Schema, keys, listed, said, some, words
from diagnose.knowledge.sketches import SHAPES, STROKES


def kind() -> dict[str, Schema]:
    """What a kind of part says of its drawing."""
    return {
        "drawing": said(words([d for d in SHAPES if d != "any"]), "The line drawing of such a part."),
        "not drawn": said(TEXT, "Why there is no drawing of it."),
    }


def sketch(part: Schema) -> Schema:
    """The sketch of a feature or form; `part` is the schema of a kind of part."""
    placed = {"count": NUMBER, "at": said(some(NUMBER), "Hours on the clock."), "extent": said(NUMBER, "Degrees at each."),
              "across": said(some(NUMBER), "From the inner edge, 0, to the outer, 1.")}  # fmt: skip
    mark = {"anyOf": [keys({draw: words(kinds), **placed}, (draw,)) for draw, kinds in STROKES.items()]}
    track = {"width": NUMBER, "offset": NUMBER, "heavy": some(NUMBER), "bare": some(NUMBER), "extent": NUMBER, "light": YES,
             "fades": YES, "nose": YES}  # fmt: skip
    shapes = sorted({s for names in SHAPES.values() for s in names})
    return keys({
        "none": said(TEXT, "Why it cannot be drawn."), "shape": words(shapes), "track": keys(track), "marks": listed(mark),
        "on": said(part, "The kind of part it is drawn on where none is said."),
    })  # fmt: skip
