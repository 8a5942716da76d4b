"""Tags to tie or stick to parts: number, name, place, index, hazard, and a code that tells the same without a network."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from diagnose.casefile.model import Case, Part
from diagnose.casefile.wording import index_mark
from diagnose.knowledge.model import Caution
from diagnose.views.drawings.lettering import text_width, wrap
from diagnose.views.drawings.markup import Markup, el
from diagnose.views.sheet.document import MARGIN, PAPERS, document
from diagnose.views.sheet.qr import named, qr

CODE, LEAST = 20.0, (60.0, 34.0)
"""Millimetres: side of the code, and the smallest label that has room for a tag."""
PAD, APART, CARE_PAD = 2.0, 0.5, 1.2
"""Millimetres: inside the edge of a label, below a text, inside the frame of the hazards."""
POINT, LEADING = 25.4 / 72, 1.12
NUMBER, NAME, CARE, CASE = 2.0, 1.25, 0.9, 0.93
"""Sizes of type against that of the index: item number, name, hazards, name of the case."""
BOLDER = 1.06
"""How much wider bold type is."""
BLANK = "m" * 8
"""What a mark that is written by hand takes."""
SIZES = {size: f"z{size * 10:.0f}" for size in (11.0, 10.0, 9.0, 8.5, 8.0, 7.5, 7.0, 6.5, 6.0, 5.5, 5.0, 4.5, 4.0)}
"""Sizes of type that are tried, in points, and the class of each."""
LABEL = "label"
"""The paper of a label printer, one tag a page."""


def tags(case: Case, hazards: Sequence[Caution], paper: str, label: tuple[float, float]) -> str:
    """A tag for every part that is in hand. `label`: width and height in millimetres; `paper`: a key of PAPERS with as many
    labels as go on it, or LABEL. Raises ValueError where there is no part, nothing goes on a label, or no label on the paper."""
    wide, high = label
    if wide < LEAST[0] or high < LEAST[1]:
        raise ValueError(f"a label of {wide:g} by {high:g} mm is too small for a tag")
    made = [_tag(case, p, hazards, label) for p in case.parts if not p.lost]
    if not made:
        raise ValueError("the case lists no part that is in hand")
    size = f".tag{{width:{wide:g}mm;height:{high:g}mm;padding:{PAD:g}mm}}" + "".join(
        f".{name}{{font-size:{points:g}pt}}" for points, name in SIZES.items()
    )
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


def _tag(case: Case, part: Part, hazards: Sequence[Caution], label: tuple[float, float]) -> Markup:
    told_already = len(case.positions) == 1 or part.position not in case.positions or part.position in part.name.lower()
    name = part.name + ("" if told_already else f", {part.position}")
    (of, index), care = _index(case, part), ", ".join(c.name for c in hazards)
    made = fitted(Told(part.item, name, index, f"Take care: {care}" if care else "", case.name), label)
    line = el("span", class_="line") if not index.partition(",")[0] else None
    told = el(
        "div", el("p", el("b", made.item, class_="item"), el("b", made.name), class_="name"),
        el("p", f"{of}: ", line, made.index, class_="index"),
        el("p", el("b", "Take care:"), made.care.removeprefix("Take care:"), class_="care") if care else None,
        el("p", made.case, class_="case"), class_=f"told {SIZES[made.size]}",
    )  # fmt: skip
    return el("div", told, qr(code_of(case, part), CODE), class_="tag")


def _index(case: Case, part: Part) -> tuple[str, str]:
    """What is said of its clock: its own mark, else the datum of its group; without either a line to write on."""
    if part.index:
        return "Index", index_mark(part)
    datum = case.index.get(part.group, "")
    return "Datum" if datum else "Index", datum + (f", seen from the {part.seen_from}" if part.seen_from else "")


@dataclass(frozen=True)
class Told:
    """What a tag says, and the size of its type in points."""

    item: str
    name: str
    index: str
    care: str
    case: str
    size: float = 0.0


def fitted(told: Told, label: tuple[float, float]) -> Told:
    """The texts at the largest size of type at which all of them go on the label. Where none lets them, the name of the case,
    which the code holds too, then those of the part and its mark end in an ellipsis; a hazard is never cut."""
    for size in SIZES:
        if _height(told, size, label) <= label[1] - 2 * PAD:
            return replace(told, size=size)
    least = min(SIZES)
    for at in ("case", "index", "name", "item"):
        while len(text := getattr(told, at)) > 24 and _height(told, least, label) > label[1] - 2 * PAD:
            shorter: dict[str, Any] = {at: f"{text[: max(23, len(text) * 9 // 10 - 1)].rstrip('… ')}…"}
            told = replace(told, **shorter)
    return replace(told, size=least)


def _height(told: Told, size: float, label: tuple[float, float]) -> float:
    """Millimetres that the texts take at a size, as `style.css` sets them."""
    wide, em = label[0] - 2 * PAD - CODE - 1, size * POINT
    item = min(text_width(told.item, em * NUMBER) * BOLDER + 2.8, 0.6 * wide)
    boxed = [(told.name, em * NAME, wide - item - 1.2), (told.index or BLANK, em, wide - text_width("Datum: ", em)),
             (told.care, em * CARE, wide - CARE_PAD), (told.case, em * CASE, wide)]  # fmt: skip
    lines = [len(wrap(text, room / BOLDER, at, 99)) * at * LEADING if text else 0.0 for text, at, room in boxed]
    lines[0] = max(lines[0], len(wrap(told.item, (item - 2.7) / BOLDER, em * NUMBER, 99)) * em * NUMBER * LEADING + 0.8)
    return sum(lines) + 4 * APART + (CARE_PAD if told.care else 0.0)
