"""The bench sheet as pages to print and write on: one for the machine, one for each seal, and a key of sketches."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from diagnose.advice.cautions import ABOVE_ALL
from diagnose.casefile.model import Case
from diagnose.casefile.sheet import Box, Group, Page, Row, Sheet, Stage
from diagnose.knowledge.model import Caution, Vocabulary
from diagnose.views.drawings.markup import Markup, el
from diagnose.views.drawings.sketches import sketch
from diagnose.views.sheet.dials import blank_dial
from diagnose.views.sheet.document import PAPERS, Paper, document
from diagnose.views.sheet.qr import named, qr

COLUMNS, GAP = 3, 4.0
HEAD, FOOT, DIALS = 35.0, 5.0, 31.0
ROOMIEST, TIGHTEST, STEP = 5.2, 2.9, 0.05
"""Millimetres: between columns; the head of a page, its foot, a row of dials; heights of a row that are tried."""
MOST_DIALS, SKETCHES_ACROSS, SKETCH_HEIGHT = 6, 6, 28.4
FONT, SMALL, SIGN = 0.64, 0.84, 0.46
"""Of the height of a row: the type, and of that the small type and the width of a sign, on the careful side."""


@dataclass(frozen=True)
class Piece:
    """Something in a column: how many rows high it is, whether it must not stand last, and what is said again over it where
    it stands first."""

    markup: Markup
    rows: float
    leads: bool = False
    again: Piece | None = None


def pages(sheet: Sheet, case: Case, vocabulary: Vocabulary, cautions: Sequence[Caution], paper: str, key: bool) -> str:
    """The whole document; `paper` is a key of PAPERS, `key` adds the sketches of what is looked for."""
    size = PAPERS[paper]
    made, rules = [], [f"@page{{size:{paper};margin:10mm}}"]
    for i in range(len(sheet.pages)):
        page, height = _page(sheet, i, case, vocabulary, cautions, size)
        made.append(page)
        rules.append(_heights(i, height))
    made += _key(sheet, vocabulary, size) if key else []
    return document(f"Bench sheet {sheet.code}: {case.name}", made, "".join(rules), "sheets", size)


def _heights(at: int, row: float) -> str:
    """The style of a page whose rows are so high, in millimetres."""
    stages = "".join(f".p{at} .stage.s{n}{{height:{row * (1.4 + 0.8 * n):.2f}mm}}" for n in range(8))
    return f".p{at} .columns{{font-size:{row * FONT:.2f}mm}}.p{at} .row{{height:{row:.2f}mm}}.p{at} h3{{height:{row * 1.1:.2f}mm}}{stages}"


def _page(
    sheet: Sheet, at: int, case: Case, vocabulary: Vocabulary, cautions: Sequence[Caution], size: Paper
) -> tuple[Markup, float]:
    page = sheet.pages[at]
    dials = _dials(page, case, vocabulary)
    room = size.height - HEAD - FOOT - (DIALS if dials else 0)
    columns, height = fitted(page, vocabulary, room, (size.width - (COLUMNS - 1) * GAP) / COLUMNS)
    grid = el("div", [el("div", [p.markup for p in column], class_="column") for column in columns], class_="columns")
    head, foot = _head(sheet, at, case, cautions), _foot(sheet, at, page)
    return el("section", head, grid, dials, foot, class_=f"page p{at}"), height


def fitted(page: Page, vocabulary: Vocabulary, room: float, wide: float) -> tuple[list[list[Piece]], float]:
    """The page in columns of a height and width, with the roomiest rows that let all of it onto the page."""
    height = ROOMIEST
    while True:
        signs = int(wide / (height * FONT * SMALL * SIGN))
        columns = _filled(list(_pieces(page, vocabulary, signs)), room / height)
        if len(columns) <= COLUMNS or height <= TIGHTEST:
            return columns, height
        height -= STEP


def _filled(pieces: Sequence[Piece], rows: float) -> list[list[Piece]]:
    """Column after column; what leads into the next piece goes with it."""
    columns: list[list[Piece]] = [[]]
    used, i = 0.0, 0
    while i < len(pieces):
        end = i + 1
        while end < len(pieces) and pieces[end - 1].leads:
            end += 1
        high = sum(p.rows for p in pieces[i:end])
        if used + high > rows and columns[-1]:
            again = pieces[i].again
            columns.append([again] if again else [])
            used = again.rows if again else 0.0
        columns[-1] += pieces[i:end]
        used, i = used + high, end
    return columns


def _pieces(page: Page, vocabulary: Vocabulary, signs: int) -> Iterator[Piece]:
    for stage in page.stages:
        yield _stage(stage, signs)
        for group in stage.groups:
            head = _group(group)
            yield head
            for row in group.rows:
                yield Piece(_row(row, vocabulary), 1.0, again=head)


def _stage(stage: Stage, signs: int) -> Piece:
    ends = stage.step.ends
    lines = -(-len(ends) // signs)
    told = el("p", ends, class_="ends") if ends else None
    return Piece(el("div", el("h2", stage.step.name), told, class_=f"stage s{lines}"), 1.4 + 0.8 * lines, True)


def _group(group: Group) -> Piece:
    heads = [el("span", head, class_="cell") for head in group.heads]
    return Piece(el("h3", el("span", group.title, class_="term"), heads), 1.1, True)


def _row(row: Row, vocabulary: Vocabulary) -> Markup:
    kind = {"feature": "tick", "words": "write", "figure": "write"}.get(row.what, "read")
    unit = vocabulary.readings[row.term].unit if row.term in vocabulary.readings else ""
    term = f"{row.term}, {unit}" if unit and unit not in row.term else row.term
    boxes = [_box(b) for b in row.boxes]
    return el(
        "div",
        el("span", el("b", "! ") if row.perishes else None, term, class_="term"),
        boxes,
        class_=f"row {kind} n{len(boxes)}",
    )


def _box(box: Box | None) -> Markup:
    return el("span", box.number if box else "", class_="cell" if box else "cell none")


def _head(sheet: Sheet, at: int, case: Case, cautions: Sequence[Caution]) -> Markup:
    page = sheet.pages[at]
    what = f"{page.position} seal" if len(case.positions) > 1 else "the seal"
    arrangement = next((s.term for s in case.settings if s.setting == "arrangement" and s.holds), "")
    tag = case.texts.get("equipment.tag", "")
    fields = [("Machine", tag), ("Seal serial", ""), ("Work order", ""), ("Date", ""), ("Name", "")]
    blanks = [el("span", el("i", name), el("b", value), class_="blank") for name, value in fields]
    told = f"Bench sheet: {what if page.position else 'machine, service and what is told'}"
    title = el("h1", told, el("small", f"{case.name}{f', {arrangement}' if arrangement else ''}"))
    how = (
        "Strike through the number of what you see, ring the number of what you looked for and did not find; leave the others. "
        "Where and how much goes on the line or the dial: 10 to 2, severe. ! is gone after its step."
    )
    return el(
        "header", qr(f"case: {named(case.name)}\nsheet: {sheet.code}", 17), el("div", title, el("p", blanks, class_="blanks"), class_="names"),
        el("p", how, class_="how"), _care(cautions, at == 0),
    )  # fmt: skip


def _care(cautions: Sequence[Caution], full: bool) -> Markup:
    """The cautions by name; on the first page one of them in full as well."""
    names = ", ".join(c.name for c in cautions)
    first = f" {cautions[0].says}" if full and cautions and len(cautions[0].says) < 240 else ""
    return el("p", el("strong", f"Take care: {names}."), f"{first} {ABOVE_ALL}", class_="care")


def _foot(sheet: Sheet, at: int, page: Page) -> Markup:
    numbers = [b.number for b in page.boxes()]
    return el(
        "footer", f"Sheet {sheet.code}, page {at + 1} of {len(sheet.pages)}, boxes {numbers[0]} to {numbers[-1]}. "
        "Typed back: diagnose record CASE --sheet FILE, a line for each box: 12: severe, 10 to 2   13: no   14: 25.4 mm",
    )  # fmt: skip


def _dials(page: Page, case: Case, vocabulary: Vocabulary) -> Markup | None:
    """A clock to draw on for each face ring, then for O-rings and the sleeve, as far as they go."""
    items = dict.fromkeys(b.part for b in page.boxes() if b.part)
    parts = [p for item in items if (p := case.part(item)) and page.position]
    order = ["face", "sleeve", "dynamic O-ring", "elastomer"]
    rank = {
        p.item: next((i for i, k in enumerate(order) if k in vocabulary.lineage[p.kind]), len(order)) for p in parts
    }
    chosen = [p for p in sorted(parts, key=lambda p: rank[p.item]) if rank[p.item] < len(order)][:MOST_DIALS]
    if not chosen:
        return None
    return el(
        "div", [el("figure", blank_dial(), el("figcaption", f"{p.item} {p.name}")) for p in chosen], class_="dials"
    )


def _key(sheet: Sheet, vocabulary: Vocabulary, size: Paper) -> list[Markup]:
    """Sketches of what is looked for, with the first number it stands at."""
    first: dict[str, Box] = {}
    for box in sheet.boxes().values():
        if box.what == "feature":
            first.setdefault(box.term, box)
    drawn = [
        el("figure", d.svg, el("figcaption", el("b", box.number), f" {term}"))
        for term, box in first.items()
        if (d := sketch(vocabulary, term, box.kind))
    ]
    each = SKETCHES_ACROSS * int((size.height - 10) / SKETCH_HEIGHT)
    return [
        el("section", el("h1", "Sketches of what is looked for ", el("small", f"sheet {sheet.code}")), el("div", drawn[i : i + each], class_="key"), class_="page")
        for i in range(0, len(drawn), each)
    ]  # fmt: skip
