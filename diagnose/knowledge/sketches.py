"""How a mark is drawn: what of a line drawing a word of the vocabulary asks for. Kinds of part say which drawing is theirs."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import TYPE_CHECKING

from diagnose.reading.entry import Entry
from diagnose.reading.located import Node, only_keys

if TYPE_CHECKING:
    from diagnose.knowledge.card_reader import CardReader
    from diagnose.knowledge.vocabulary import Vocabulary

SHAPES: Mapping[str, tuple[str, ...]] = {
    "any": ("bent", "broken", "larger", "loose", "missing", "moved", "smaller", "stuck", "tilted", "turned"),
    "face": ("backwards", "bonded", "coned", "dirt below", "in pieces", "not flat", "pushed out", "sunk", "used up", "worn down"),
    "o-ring": ("extruded", "flat both sides", "flat one side", "jacket split", "nibbled", "out of the groove", "peeled", "pinched", "round", "split inside", "square", "stretched", "twisted", "wrong wall"),
    "spring": ("coil bound", "one missing", "short", "thin", "unequal", "unwound"),
    "drive": ("axial rub", "both flanks", "driving flank", "not engaged", "sheared", "too high", "wrong flank"),
    "bellows": ("split", "torn", "twisted"),
    "sleeve": ("grooved", "sharp edge", "undersize"),
    "screw": ("flat points", "hard surface", "several sets", "smeared", "unequal bite"),
    "gland": ("bolts", "clip", "clip scrape", "gap", "hits shaft", "off centre", "off square", "port", "port blocked"),
    "gasket": ("blown", "doubled"),
    "setting": ("fits wrongly", "long", "mark", "pressed too far", "short"),
    "shaft": ("bent shaft", "floats", "lifts", "moves", "runs out"),
    "bearing": (),
    "impeller": ("inlets", "nut", "tips"),
    "bush": (),
    "block": (),
}  # fmt: skip
"""The drawings, and the shapes that each can take beside sound; those of `any` can be had of all."""

LINES = ("across", "along", "branched", "comet", "network", "outward", "slanting", "spiral", "through")
DOTS = ("blisters", "craters", "crystals", "drops", "fibres", "grains", "holes", "lint", "pits")
AREAS = ("cross-hatched", "dark", "hatched", "rough", "shiny", "stippled")
EDGES = ("both", "inner", "outer")
STROKES: Mapping[str, tuple[str, ...]] = {"lines": LINES, "dots": DOTS, "area": AREAS, "chips": EDGES}


class Stroke(Entry, frozen=True):
    """Something on the surface of a part: `draw` (lines, dots, area or chips) of a kind. `at`: hours on the clock, none for
    all round; `extent`: degrees at each of them; `across`: from 0, the inner edge of the track or groove, to 1, the outer."""

    draw: str
    kind: str
    count: int = 0
    at: tuple[float, ...] = ()
    extent: float = 0.0
    across: tuple[float, ...] = ()


class Track(Entry, frozen=True):
    """Where the faces touched. `width` and `offset` in widths of the nose; `heavy` and `bare`: hours on the clock where
    contact was heavy or none, `extent` degrees at each; `light`: no more than light contact elsewhere; `fades`: contact
    heavy at one edge, fading to the other; `nose`: the edges of the nose are drawn beside it."""

    width: float = 1.0
    offset: float = 0.0
    heavy: tuple[float, ...] = ()
    bare: tuple[float, ...] = ()
    extent: float = 60.0
    light: bool = False
    fades: bool = False
    nose: bool = False


class Sketch(Entry, frozen=True):
    """What is drawn of a mark; `why_not` says why nothing can be. `on`: the kind of part where none is said."""

    shape: str = ""
    track: Track | None = None
    marks: tuple[Stroke, ...] = ()
    on: str = ""
    why_not: str = ""


def sketch_of(vocabulary: Vocabulary, name: str, on: str = "") -> tuple[str, Sketch]:
    """The drawing (a key of SHAPES) and what is drawn on it for a feature or form, on a kind of part or that on which it is
    usual; "" and a reason where it cannot be drawn. A feature without a sketch is drawn as the form that it is; a shape that the drawing of
    that kind cannot take is drawn on the usual kind."""
    feature = vocabulary.features[name]
    found = next((s for n in vocabulary.form_lineage[name] if (s := vocabulary.features[n].sketch)), None)
    usual = found.on if found else ""
    kind = on or (usual if feature.sketch else "") or (*feature.on, usual or "face")[0]
    line = [vocabulary.kinds[k] for k in vocabulary.lineage.get(kind, ())]
    if found and found.why_not:
        return "", found
    drawing = next((k.drawing for k in line if k.drawing or k.not_drawn), "")
    if found and drawing:
        known = found.shape in ("", *SHAPES["any"], *SHAPES[drawing]) and (found.track is None or drawing == "face")
        return (drawing, found) if known or kind == usual else sketch_of(vocabulary, name, usual or "face")
    return "", Sketch(why_not=next((k.not_drawn for k in line if k.not_drawn), ""))


def read_sketch(reader: CardReader, node: Node, kinds: Mapping[str, object]) -> Sketch | None:
    """The sketch of a feature or form; mistakes are added to the reader's problems."""
    told = node.get("sketch")
    if told is None:
        return None
    if not told.is_map:
        reader.say(told.where, "mapping", "a sketch is a mapping of keys", "sketch: {shape: …, marks: […]}")
        return None
    only_keys(told, ["shape", "track", "marks", "on", "none"], "a sketch", reader.problems)
    why_not = reader.text(told, "none")
    if why_not and len(list(told.items())) > 1:
        reader.say(
            told.where, "sketch", "a mark that cannot be drawn has nothing else to its sketch", "none: WHY, alone"
        )
    shapes = sorted({s for names in SHAPES.values() for s in names})
    marks = told.get("marks")
    return Sketch(
        reader.word(told, "shape", shapes, "shape", False), _track(reader, told.get("track")),
        tuple(s for x in (marks.each() if marks else ()) if (s := _stroke(reader, x))),
        reader.word(told, "on", kinds, "kind", False), why_not,
    )  # fmt: skip


def _stroke(reader: CardReader, node: Node) -> Stroke | None:
    only_keys(node, [*STROKES, "count", "at", "extent", "across"], "a mark of a sketch", reader.problems)
    draw = next((key for key, _ in node.items() if key in STROKES), "")
    if not draw:
        reader.say(node.where, "sketch", "the mark of a sketch says not what is drawn", f"one of: {', '.join(STROKES)}")
        return None
    return Stroke(
        draw, reader.word(node, draw, STROKES[draw], draw), int(_number(reader, node, "count", 0)), _numbers(reader, node, "at"),
        _number(reader, node, "extent", 0), _numbers(reader, node, "across"),
    )  # fmt: skip


def _track(reader: CardReader, node: Node | None) -> Track | None:
    if node is None:
        return None
    only_keys(
        node, ["width", "offset", "heavy", "bare", "extent", "light", "fades", "nose"], "a track", reader.problems
    )
    width = _number(reader, node, "width", 1)
    if width <= 0:
        reader.say(node.where, "sketch", "a track has a width above 0", "width: 1")
    return Track(
        max(width, 0.1), _number(reader, node, "offset", 0), _numbers(reader, node, "heavy"),
        _numbers(reader, node, "bare"), _number(reader, node, "extent", 60), reader.text(node, "light") == "true",
        reader.text(node, "fades") == "true", reader.text(node, "nose") == "true",
    )  # fmt: skip


def _number(reader: CardReader, node: Node, key: str, otherwise: float) -> float:
    found = _numbers(reader, node, key)
    return found[0] if found else otherwise


def _numbers(reader: CardReader, node: Node, key: str) -> tuple[float, ...]:
    value, numbers = node.get(key), []
    for item in value.each() if value else ():
        if re.fullmatch(r"-?\d{1,3}(\.\d{1,3})?", item.text()):
            numbers.append(float(item.text()))
        else:
            reader.say(item.where, "number", f"{item.text()!r} is no number from -999 to 999", f"{key}: 3")
    return tuple(numbers)


def read_drawing(reader: CardReader, node: Node) -> tuple[str, str]:
    """The drawing of a kind of part, and why there is none."""
    return reader.word(node, "drawing", [d for d in SHAPES if d != "any"], "drawing", False), reader.text(
        node, "not drawn"
    )
