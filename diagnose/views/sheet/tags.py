"""Tags to tie or stick to parts: number, name, place, index, hazard, and a code that tells the same without a network."""

from __future__ import annotations

from collections.abc import Sequence

from diagnose.casefile.model import Case, Part
from diagnose.knowledge.model import Caution
from diagnose.views.drawings.markup import Markup, el
from diagnose.views.report.told import hours
from diagnose.views.sheet.document import MARGIN, PAPERS, document
from diagnose.views.sheet.qr import named, qr

CODE, LEAST = 20.0, (60.0, 34.0)
"""Millimetres: side of the code, and the smallest label that has room for a tag."""
LABEL = "label"
"""The paper of a label printer, one tag a page."""


def tags(case: Case, hazards: Sequence[Caution], paper: str, label: tuple[float, float]) -> str:
    """A tag for every part that is in hand. `label`: width and height in millimetres; `paper`: a key of PAPERS with as many
    labels as go on it, or LABEL. Raises ValueError where there is no part, nothing goes on a label, or no label on the paper."""
    wide, high = label
    if wide < LEAST[0] or high < LEAST[1]:
        raise ValueError(f"a label of {wide:g} by {high:g} mm is too small for a tag")
    made = [_tag(case, p, hazards) for p in case.parts if not p.lost]
    if not made:
        raise ValueError("the case lists no part that is in hand")
    size = f".tag{{width:{wide:g}mm;height:{high:g}mm}}"
    if paper == LABEL:
        page = f"@page{{size:{wide:g}mm {high:g}mm;margin:0}}{size}"
        return document(f"Tags: {case.name}", [el("section", t, class_="one") for t in made], page, "tags")
    room = PAPERS[paper]
    across, down = int((room.width + 2 * MARGIN) // wide), int((room.height + 2 * MARGIN) // high)
    if not across or not down:
        raise ValueError(f"a label of {wide:g} by {high:g} mm is larger than {paper}")
    each = across * down
    grids = [el("section", made[i : i + each], class_="labels") for i in range(0, len(made), each)]
    top = (room.height + 2 * MARGIN - down * high) / 2
    page = (
        f"@page{{size:{paper};margin:0}}{size}.labels{{grid-template-columns:repeat({across},{wide:g}mm);"
        f"grid-auto-rows:{high:g}mm;padding-top:{top:.2f}mm;height:{room.height + 2 * MARGIN:.1f}mm}}"
    )
    return document(f"Tags: {case.name}", grids, page, "tags")


def code_of(case: Case, part: Part) -> str:
    """What the code of a tag holds: lines that people and programs read alike."""
    position = f"\nposition: {part.position}" if len(case.positions) > 1 else ""
    return f"case: {named(case.name)}\nitem: {part.item}{position}"


def _tag(case: Case, part: Part, hazards: Sequence[Caution]) -> Markup:
    told_already = len(case.positions) == 1 or part.position not in case.positions or part.position in part.name.lower()
    position = "" if told_already else f", {part.position}"
    names = ", ".join(c.name for c in hazards)
    told = el(
        "div", el("p", el("b", part.item, class_="item"), el("b", f"{part.name}{position}", class_="long" if len(part.name + position) > 28 else None), class_="name"),
        el("p", "Index: ", _index(case, part), class_="index"),
        el("p", el("b", "Take care: "), names, class_="care") if names else None,
        el("p", case.name, class_="case"), class_="told",
    )  # fmt: skip
    return el("div", told, qr(code_of(case, part), CODE), class_="tag")


def _index(case: Case, part: Part) -> str | Markup:
    """The mark its clock is counted from; a line to write on where none is on record."""
    mark = part.index or case.index.get(part.group, "")
    seen = f", seen from the {part.seen_from}" if part.seen_from else ""
    at = f" at {hours(part.index_offset)}" if part.index_offset is not None else ""
    return f"{mark}{at}{seen}" if mark else el("span", class_="line")
