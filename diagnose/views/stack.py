"""The parts of a case as they sat, for putting them together again: as text and as a picture."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from diagnose.casefile.cards import marking_of, takes_mark, unmarked
from diagnose.casefile.model import Case, Part
from diagnose.casefile.stack import Placed, Stack, stacks
from diagnose.casefile.wording import hours
from diagnose.knowledge.model import Knowledge
from diagnose.views.drawings.markup import Drawing, Markup, el
from diagnose.views.page import Page

WIDTH, HEIGHT, GAP, ROW = 176.0, 46.0, 44.0, 62.0


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
        out.say(", ".join(f"part {p.item} {p.name}" for p in bare) + ": each touches two others or more. Once they are separated, "
                "nobody knows how they sat. Mark them first.")  # fmt: skip
    out.heading("How to mark so that it stays")
    for how, items in ways_to_mark(case.parts, knowledge):
        out.say(how, hang=2, lead=f"{items}: ")
    return out


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
        at = f" at {hours(p.index_offset)} of the datum" if p.index_offset is not None else ""
        of = f" (datum of the {p.group} parts: {datum})" if datum and datum != p.index else ""
        return f"index: {p.index}{at}{of}" + (f", seen from the {p.seen_from}" if p.seen_from else "") + tag
    if not takes_mark(knowledge, p.kind):
        return f"takes no mark{tag}"
    return f"no index mark{tag}" if p.touches else tag.removeprefix("; ")


def ways_to_mark(parts: Iterable[Part], knowledge: Knowledge) -> list[tuple[str, str]]:
    """Each way of marking with the parts it goes for: (how, "parts 1, 2")."""
    ways: dict[str, list[str]] = {}
    for p in parts:
        if how := marking_of(knowledge, p.kind):
            ways.setdefault(how.how, []).append(p.item)
    return [(how, ("part " if len(items) == 1 else "parts ") + ", ".join(items)) for how, items in ways.items()]


# ---- the picture ------------------------------------------------------------------------------------------------


def drawing(case: Case, knowledge: Knowledge) -> Drawing:
    """Boxes from the faces back, rotating to the left and stationary to the right, with a line for every touch. A full dot is
    a part that has its mark, an open one that lacks it, none one that takes none."""
    places = _places(case)
    width = max((x for x, _ in places.values()), default=0.0) + WIDTH + 10
    height = max((y for _, y in places.values()), default=0.0) + HEIGHT + 34
    lines, boxes = [], []
    for p in case.parts:
        if p.item not in places:
            continue
        x, y = places[p.item]
        for other in p.touches:
            o = case.part(other)
            if o and o.item in places and case.parts.index(p) < case.parts.index(o):
                faces = bool(p.carries and o.carries)
                way = _way((x, y), places[o.item], x + WIDTH + GAP > width)
                lines.append(el("path", d=way, fill="none", stroke="#000", stroke_width=5.0 if faces else 1.0))
        boxes.append(_box(p, x, y, knowledge))
    key = (
        "full dot: marked; open dot: no mark yet; thick line: the faces; rotating to the left, stationary to the right"
    )
    legend = el("text", key, x=10.0, y=height - 8, font_size=11.0, font_family="sans-serif")
    svg = el("svg", el("title", f"{case.name}: the parts as they sat"), el("rect", width=width, height=height, fill="#fff"), lines, boxes,
             legend, xmlns="http://www.w3.org/2000/svg", viewBox=f"0 0 {width:g} {height:g}", width=width, height=height)  # fmt: skip
    return Drawing(svg, f"{case.name}: the parts as they sat, with what touches what.")


def _way(one: tuple[float, float], other: tuple[float, float], last: bool) -> str:
    """A line from box to box through the gaps between columns, as one behind another box would look like a touch of that."""
    (x, y), (u, v) = sorted((one, other))
    y, v = y + HEIGHT / 2, v + HEIGHT / 2
    if x < u:
        return f"M{x + WIDTH:g} {y:g}C{x + WIDTH + GAP:g} {y:g} {x + WIDTH:g} {v:g} {x + WIDTH + GAP:g} {v:g}H{u:g}"
    if v - y <= ROW:
        return f"M{x + WIDTH / 2:g} {y:g}V{v:g}"
    side, bow = (x, x - GAP * 0.8) if last else (x + WIDTH, x + WIDTH + GAP * 0.8)
    return f"M{side:g} {y:g}C{bow:g} {y:g} {bow:g} {v:g} {side:g} {v:g}"


def _places(case: Case) -> dict[str, tuple[float, float]]:
    """The corner of every box: a band of rows a seal position, a column for each step from the faces."""
    placed = [(s, x) for s in stacks(case) for x in s.parts]
    deepest = max((x.steps or 0 for s, x in placed if s.group == "rotating"), default=0)
    found: dict[str, tuple[float, float]] = {}
    top = 10.0
    for position in dict.fromkeys(s.position for s, _ in placed):
        rows: dict[int, int] = {}
        for stack, x in placed:
            if stack.position != position or (x.steps is None and not x.part.touches):
                continue
            steps = x.steps or 0
            column = deepest - steps if stack.group == "rotating" else deepest + 1 + steps
            found[x.part.item] = (10 + column * (WIDTH + GAP), top + rows.get(column, 0) * ROW)
            rows[column] = rows.get(column, 0) + 1
        top += max(rows.values(), default=0) * ROW
    return found


def _box(p: Part, x: float, y: float, knowledge: Knowledge) -> Markup:
    name = p.name if len(p.name) <= 28 else p.name[:27] + "…"
    parts = [
        el("rect", x=x, y=y, width=WIDTH, height=HEIGHT, fill="#fff", stroke="#000", stroke_width=3.0 if p.carries else 1.0,
           stroke_dasharray="4 3" if p.lost else None),
        el("text", p.item, x=x + 8, y=y + 19, font_size=15.0, font_weight="bold", font_family="sans-serif"),
        el("text", name, x=x + 8, y=y + 37, font_size=11.0, font_family="sans-serif"),
    ]  # fmt: skip
    if takes_mark(knowledge, p.kind):
        parts.append(
            el("circle", cx=x + WIDTH - 14, cy=y + 14, r=5.0, stroke="#000", fill="#000" if p.index else "#fff")
        )
    if p.index:
        parts.append(
            el(
                "text",
                p.index[:12],
                x=x + WIDTH - 24,
                y=y + 18,
                font_size=10.0,
                text_anchor="end",
                font_family="sans-serif",
            )
        )
    return el("g", *parts)
