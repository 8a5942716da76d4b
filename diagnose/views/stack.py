"""The parts of a case as they sat, for putting them together again: as text and as a picture."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from diagnose.casefile.cards import is_apart, marking_of, takes_mark, unmarked
from diagnose.casefile.model import Case, Part
from diagnose.casefile.stack import Placed, Stack, stacks
from diagnose.casefile.wording import index_mark
from diagnose.knowledge.model import Knowledge
from diagnose.views.drawings.lettering import wrap
from diagnose.views.drawings.markup import Drawing, Markup, el
from diagnose.views.page import Page

WIDTH, GAP, BETWEEN, EDGE = 176.0, 44.0, 16.0, 10.0
"""A box and the room beside it and below it; the edge of the picture."""
NAME, MARK, KEY = 11.0, 10.0, 11.0
"""Sizes of type: a part's name, its index mark, the key to the picture."""
FACE = "Liberation Sans, Arial, Helvetica, sans-serif"
MOST_LINES = 4


def page(case: Case, knowledge: Knowledge, out: Page) -> Page:
    """What touched what, in the drawn order; marks and what they are counted from; pockets and slots; how to mark."""
    out.heading(f"{case.name}: the parts as they sat")
    out.say("Each side from the faces back; what lies deeper is drawn in.")
    for stack in stacks(case):
        out.heading(_title(stack, case))
        for placed in stack.parts:
            _part(placed, case, knowledge, out)
    bare = unmarked(case, knowledge)
    if bare:
        out.heading("Without a mark yet")
        apart = [p for p in bare if is_apart(case, knowledge, p)]
        if still := [p for p in bare if p not in apart]:
            out.say(f"{_named(still)}: each touches two others or more. Once they are separated, nobody knows how they sat. "
                    "Mark them first.")  # fmt: skip
        if apart:
            out.say(f"{_named(apart)}: separated by now, so how they sat is known from what they touch only.")
    out.heading("How to mark so that it stays")
    for how, items in ways_to_mark(case.parts, knowledge):
        out.say(how, hang=2, lead=f"{items}: ")
    return out


def _named(parts: Sequence[Part]) -> str:
    return ", ".join(f"part {p.item} {p.name}" for p in parts)


def _title(stack: Stack, case: Case) -> str:
    where = (
        ""
        if stack.position == "seal"
        else {"machine": "shared", "": "of either seal"}.get(stack.position, stack.position)
    )
    side = {"": "without a side"}.get(stack.group, stack.group)
    return f"{where}, {side}".strip(", ").capitalize()


def _part(placed: Placed, case: Case, knowledge: Knowledge, out: Page) -> None:
    p, indent = placed.part, "  " * (1 + min(placed.steps or 0, 4))
    carries = {"nose": ", carries the nose", "wide": ", the wider face"}.get(p.carries, "")
    out.say(
        f"part {p.item} {p.name} ({p.kind}{carries})" + (f", lost: {p.lost}" if p.lost else ""),
        hang=len(indent) + 2,
        lead=indent,
    )
    for line in told(p, case, knowledge):
        out.say(line, hang=len(indent) + 4, lead=indent + "  ")


def told(p: Part, case: Case, knowledge: Knowledge) -> Iterator[str]:
    """What is on record of how a part sat, a line each."""
    touched = [o for other in p.touches if (o := case.part(other))]
    if touched:
        yield "touches " + ", ".join(f"{o.item} {o.name}" for o in touched)
    if p.towards:
        yield f"points to the {p.towards}"
    if mark := mark_of(p, case, knowledge):
        yield mark
    if p.sat_in:
        yield "; ".join(f"{thing} in {place}" for thing, place in p.sat_in)
    for x in case.measured:
        if x.part == p.item and (x.labels or (len(x.readings) > 1 and not x.around)):
            names = x.labels or [str(i) for i in range(1, len(x.readings) + 1)]
            yield f"{x.what} in that order: " + ", ".join(
                f"{n}: {r.written}" for n, r in zip(names, x.readings, strict=False)
            )


def mark_of(p: Part, case: Case, knowledge: Knowledge) -> str:
    """Its index mark with what it is counted from, its tag, or that it has none or takes none."""
    tag = f"; tag {p.tag}" if p.tag else ""
    datum = case.index.get(p.group, "")
    if p.index:
        of = f" (datum of the {p.group} parts: {datum})" if datum and datum != p.index else ""
        return f"index: {index_mark(p)}{of}{tag}"
    of = f" (datum of the {p.group} parts: {datum})" if datum else ""
    if not takes_mark(knowledge, p.kind):
        return f"takes no mark{of}{tag}"
    return f"no index mark of its own{of}{tag}" if p.touches else tag.removeprefix("; ")


def ways_to_mark(parts: Iterable[Part], knowledge: Knowledge) -> list[tuple[str, str]]:
    """Each way of marking with the parts it goes for: (how, "parts 1, 2")."""
    ways: dict[str, list[str]] = {}
    for p in parts:
        if how := marking_of(knowledge, p.kind):
            ways.setdefault(how.how, []).append(p.item)
    return [(how, ("part " if len(items) == 1 else "parts ") + ", ".join(items)) for how, items in ways.items()]


# ---- the picture ------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Label:
    """What stands in the box of a part, in lines that are no wider than it."""

    name: tuple[str, ...]
    mark: tuple[str, ...]

    @property
    def height(self) -> float:
        return 22 + len(self.name) * (NAME + 2) + len(self.mark) * (MARK + 2) + 8


def drawing(case: Case, knowledge: Knowledge) -> Drawing:
    """Boxes from the faces back, rotating to the left and stationary to the right, with a line for every touch. A full dot is
    a part that has its mark, an open one that lacks it, none one that takes none."""
    labels = {p.item: _label(p, case) for p in case.parts}
    places = _places(case, labels)
    high = {item: labels[item].height for item in places}
    width = max((x for x, _ in places.values()), default=0.0) + WIDTH + EDGE
    below = max((y + high[item] for item, (_, y) in places.items()), default=0.0)
    lines, boxes = [], []
    for p in case.parts:
        if p.item not in places:
            continue
        x, y = places[p.item]
        for other in p.touches:
            o = case.part(other)
            if o and o.item in places and case.parts.index(p) < case.parts.index(o):
                faces = bool(p.carries and o.carries)
                way = _way((x, y, high[p.item]), (*places[o.item], high[o.item]), x + WIDTH + GAP > width)
                lines.append(el("path", d=way, fill="none", stroke="#000", stroke_width=5.0 if faces else 1.0))
        boxes.append(_box(p, x, y, labels[p.item], knowledge))
    key, height = _key(case, knowledge, places, width, below + BETWEEN)
    svg = el("svg", el("title", f"{case.name}: the parts as they sat"), el("rect", width=width, height=height, fill="#fff"), lines, boxes,
             key, xmlns="http://www.w3.org/2000/svg", viewBox=f"0 0 {width:g} {height:g}", width=width, height=height, style="max-width:100%;height:auto")  # fmt: skip
    return Drawing(svg, f"{case.name}: the parts as they sat, with what touches what.")


def _label(p: Part, case: Case) -> _Label:
    mark = f"index: {index_mark(p)}" if p.index else ""
    room = WIDTH - 16
    return _Label(
        tuple(wrap(p.name, room, NAME, MOST_LINES)), tuple(wrap(mark, room, MARK, MOST_LINES)) if mark else ()
    )


def _key(
    case: Case, knowledge: Knowledge, places: Iterable[str], width: float, top: float
) -> tuple[list[Markup], float]:
    """What the signs mean, as far as they are drawn, and which parts are not; with the height of the picture."""
    drawn = [p for p in case.parts if p.item in places]
    dots = {bool(p.index) for p in drawn if takes_mark(knowledge, p.kind)}
    told = [
        *(["full dot: marked"] if True in dots else []), *(["open dot: no mark yet"] if False in dots else []),
        *(["broken line round a part: lost"] if any(p.lost for p in drawn) else []),
        "thick line: the faces", "rotating to the left, stationary to the right",
    ]  # fmt: skip
    missing = [p.item for p in case.parts if p.item not in places]
    if missing:
        told.append(f"not drawn, as nothing says what they touch: {', '.join(missing)}")
    lines = wrap("; ".join(told), width - 2 * EDGE, KEY, len(case.parts) + MOST_LINES)
    made = [_text(line, EDGE, top + KEY + i * (KEY + 3), KEY) for i, line in enumerate(lines)]
    return made, top + len(lines) * (KEY + 3) + EDGE


def _way(one: tuple[float, float, float], other: tuple[float, float, float], last: bool) -> str:
    """A line from box to box through the gaps between columns, as one behind another box would look like a touch of that.
    A box is its corner and its height."""
    (x, y, h), (u, v, k) = sorted((one, other))
    if x == u and v - (y + h) <= BETWEEN:
        return f"M{x + WIDTH / 2:g} {y + h / 2:g}V{v + k / 2:g}"
    y, v = y + h / 2, v + k / 2
    if x < u:
        return f"M{x + WIDTH:g} {y:g}C{x + WIDTH + GAP:g} {y:g} {x + WIDTH:g} {v:g} {x + WIDTH + GAP:g} {v:g}H{u:g}"
    side, bow = (x, x - GAP * 0.8) if last else (x + WIDTH, x + WIDTH + GAP * 0.8)
    return f"M{side:g} {y:g}C{bow:g} {y:g} {bow:g} {v:g} {side:g} {v:g}"


def _places(case: Case, labels: Mapping[str, _Label]) -> dict[str, tuple[float, float]]:
    """The corner of every box: a band of rows a seal position, a column for each step from the faces."""
    placed = [(s, x) for s in stacks(case) for x in s.parts]
    deepest = max((x.steps or 0 for s, x in placed if s.group == "rotating"), default=0)
    found: dict[str, tuple[float, float]] = {}
    top = EDGE
    for position in dict.fromkeys(s.position for s, _ in placed):
        foot: dict[int, float] = {}
        for stack, x in placed:
            if stack.position != position or (x.steps is None and not x.part.touches):
                continue
            steps = x.steps or 0
            column = deepest - steps if stack.group == "rotating" else deepest + 1 + steps
            at = foot.get(column, top)
            found[x.part.item] = (EDGE + column * (WIDTH + GAP), at)
            foot[column] = at + labels[x.part.item].height + BETWEEN
        top = max(foot.values(), default=top)
    return found


def _box(p: Part, x: float, y: float, label: _Label, knowledge: Knowledge) -> Markup:
    parts = [
        el("rect", x=x, y=y, width=WIDTH, height=label.height, fill="#fff", stroke="#000", stroke_width=3.0 if p.carries else 1.0,
           stroke_dasharray="4 3" if p.lost else None),
        _text(wrap(p.item, WIDTH - 40, 15.0, 1)[0], x + 8, y + 19, 15.0, bold=True),
    ]  # fmt: skip
    if takes_mark(knowledge, p.kind):
        parts.append(
            el("circle", cx=x + WIDTH - 14, cy=y + 14, r=5.0, stroke="#000", fill="#000" if p.index else "#fff")
        )
    at = y + 22
    for size, lines in ((NAME, label.name), (MARK, label.mark)):
        for line in lines:
            at += size + 2
            parts.append(_text(line, x + 8, at, size))
    return el("g", *parts)


def _text(text: str, x: float, y: float, size: float, bold: bool = False) -> Markup:
    return el("text", text, x=x, y=y, font_size=size, font_weight="bold" if bold else None, font_family=FACE)
