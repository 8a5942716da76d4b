"""The bench sheet as pages to print and write on: for the machine and for each seal a side to tick and one to write on, and a key
of sketches."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

from diagnose.advice.cautions import ABOVE_ALL
from diagnose.casefile.format import ENDS, REMOVALS, ROTATIONS
from diagnose.casefile.model import Case, Part
from diagnose.casefile.sheet import Box, Group, Page, Row, Sheet, Stage
from diagnose.knowledge.model import Caution, Vocabulary
from diagnose.views.drawings.lettering import cut, wrap
from diagnose.views.drawings.markup import Markup, el
from diagnose.views.drawings.sketches import sketch
from diagnose.views.sheet.dials import blank_dial
from diagnose.views.sheet.document import PAPERS, Paper, document
from diagnose.views.sheet.qr import named, qr


@dataclass(frozen=True)
class Side:
    """How a side of a leaf is ruled, in millimetres: columns, the room between them, and the heights of a row that are tried;
    `beside`: of boxes that share a row, and of a name beside them."""

    told: str
    columns: int
    gap: float
    roomiest: float
    tightest: float
    box: float
    beside: float


SIDES = {
    "looks": Side("what can be lost", 4, 3.0, 6.4, 5.4, 5.2, 0.5),
    "written": Side("measured and told", 3, 4.0, 10.0, 7.4, 18.2, 0.5),
}
"""A box to tick is at least 5 mm wide and high, one to write in 18 by 7: what a gloved hand and a pencil need."""
STEP, NAMES, DATA, DIALS, FOOT = 0.05, 17.0, 10.6, 31.0, 5.0
"""Millimetres: between heights that are tried; the names at the head, the line of marks, a row of dials, the foot."""
TYPE, SMALL, HEAD_TYPE = 2.35, 2.1, 2.47
"""Sizes of type: a row, what the end of a step destroys, the head."""
LINE, TITLE, RULE = 1.12, 3.1, 1.4
"""Of a size of type from line to line; millimetres of the title of a step or a group, and round it."""
DIALS_ACROSS, SKETCHES_ACROSS, SKETCH_HEIGHT, MOST_LINES = 7, 6, 28.4, 40
ASKS = {
    "index.rotating": ("12 o'clock of the rotating parts is the mark", ()),
    "index.stationary": ("12 o'clock of the stationary parts is the mark", ()),
    "equipment.seen from": ("clock and turning are seen from the", ENDS),
    "equipment.rotation": ("turns, seen from there", ROTATIONS),
}
"""What is asked of clock and turning, with what can be ringed."""
LABELS = {"service.fluid": "fluid", "history.removal": f"seal came out: {' / '.join(REMOVALS)}"}
"""Of what is asked of a case by the place where it stands."""
DATUM, SHORT = 43.0, 24
"""Millimetres that a mark on record has, and signs that go there in one line."""


@dataclass(frozen=True)
class Piece:
    """Something in a column: how many rows high it is, and millimetres besides; whether it must not stand last, and what is said
    again over it where it stands first."""

    markup: Markup
    rows: float = 0.0
    millimetres: float = 0.0
    leads: bool = False
    again: Piece | None = None

    def high(self, row: float) -> float:
        return self.rows * row + self.millimetres


@dataclass(frozen=True)
class Laid:
    """What goes on one piece of paper: a page, or what of it one piece has room for."""

    page: Page
    columns: Sequence[Sequence[Piece]]
    row: float
    first: bool


def pages(sheet: Sheet, case: Case, vocabulary: Vocabulary, cautions: Sequence[Caution], paper: str, key: bool) -> str:
    """The whole document; `paper` is a key of PAPERS, `key` adds the sketches of what is looked for."""
    size, asked = PAPERS[paper], sheet.boxes().values()
    sheet = replace(sheet, pages=tuple(p for p in sheet.pages if p.unanswered().stages))
    laid = [x for page in sheet.pages for x in laid_out(sheet, page, case, vocabulary, cautions, size)]
    made = [_page(sheet, laid, i, case, vocabulary, cautions, size) for i in range(len(laid))]
    rules = [f"@page{{size:{paper};margin:10mm}}", *_rules(size)]
    rules += [f".p{i} .row{{height:{x.row:.2f}mm}}" for i, x in enumerate(laid)]
    made += _key(sheet, asked, vocabulary, size) if key else []
    return document(f"Bench sheet {sheet.code}: {case.name}", made, "".join(rules), "sheets", size)


def _rules(size: Paper) -> Iterator[str]:
    """The measures above, as style."""
    for name, side in SIDES.items():
        wide = _wide(side, size)
        most = f"{wide:.2f}mm"
        yield f".{name} .columns{{gap:{side.gap:g}mm;font-size:{TYPE:g}mm}}.{name} .column{{flex:0 0 {most};width:{most}}}"
        yield f".{name} .cell{{width:{side.box:g}mm;margin-left:{side.beside:g}mm}}"
    for lines in range(MOST_LINES + 1):
        yield f".h{lines}{{height:{_lines_high(lines, TYPE):.2f}mm}}.s{lines}{{height:{_lines_high(lines, SMALL):.2f}mm}}"


def _lines_high(lines: int, size: float) -> float:
    return lines * size * LINE


def _wide(side: Side, size: Paper) -> float:
    return (size.width - (side.columns - 1) * side.gap) / side.columns


def laid_out(
    sheet: Sheet, page: Page, case: Case, vocabulary: Vocabulary, cautions: Sequence[Caution], size: Paper
) -> list[Laid]:
    """A page with the roomiest rows that let all of it onto one piece of paper, or on as many as it takes."""
    side = SIDES[page.side]
    rows = len(_dialled(page, case, vocabulary))
    room = size.height - _head_high(sheet, page, cautions, size) - FOOT - rows * DIALS
    pieces = list(_pieces(sheet, page, vocabulary, _wide(side, size)))
    row = side.roomiest
    while len(columns := _filled(pieces, row, room)) > side.columns and row > side.tightest:
        row -= STEP
    parted = [columns[i : i + side.columns] for i in range(0, len(columns), side.columns)]
    return [Laid(page, some, row, i == 0) for i, some in enumerate(parted)]


def _filled(pieces: Sequence[Piece], row: float, room: float) -> list[list[Piece]]:
    """Column after column; what leads into the next piece goes with it."""
    columns: list[list[Piece]] = [[]]
    used, i = 0.0, 0
    while i < len(pieces):
        end = i + 1
        while end < len(pieces) and pieces[end - 1].leads:
            end += 1
        high = sum(p.high(row) for p in pieces[i:end])
        if used + high > room and columns[-1]:
            again = pieces[i].again
            columns.append([again] if again else [])
            used = again.high(row) if again else 0.0
        columns[-1] += pieces[i:end]
        used, i = used + high, end
    return columns


def _pieces(sheet: Sheet, page: Page, vocabulary: Vocabulary, wide: float) -> Iterator[Piece]:
    if told := [
        f"{LABELS.get(box.term, box.term).partition(':')[0]}: {box.said}"
        for box in page.boxes()
        if box.what == "figure" and box.said
    ]:
        lines = wrap(f"On record: {'; '.join(told)}.", wide, TYPE, MOST_LINES)
        yield Piece(
            el("p", el("b", "On record:"), f" {'; '.join(told)}.", class_=f"known h{len(lines)}"),
            0.0,
            _lines_high(len(lines), TYPE) + RULE,
        )
    for stage in page.unanswered().stages:
        yield (begins := _stage(sheet, page, stage, wide))
        for group in stage.groups:
            head = _group(group, wide, SIDES[page.side])
            if group.title:
                yield head
            for row in group.rows:
                yield Piece(_row(row, vocabulary, SIDES[page.side]), 1.0, again=head if group.title else begins)


def _stage(sheet: Sheet, page: Page, stage: Stage, wide: float) -> Piece:
    told = stage.ends if page.side == "looks" else ""
    pointed = _overleaf(sheet, page, stage)
    paragraphs = [
        (el("p", x, class_=f"s{n}"), n) for x in (told, pointed) if x for n in [len(wrap(x, wide, SMALL, MOST_LINES))]
    ]
    title = len(wrap(stage.title, wide / 1.15, TYPE * 1.1, MOST_LINES))
    high = title * TITLE + sum(_lines_high(n, SMALL) for _, n in paragraphs) + RULE
    return Piece(
        el("div", el("h2", stage.title, class_=f"t{title}"), [p for p, _ in paragraphs], class_="stage"),
        0.0,
        high,
        True,
    )


def _overleaf(sheet: Sheet, page: Page, stage: Stage) -> str:
    """What of a step is measured on the other side, by the numbers of its boxes."""
    if page.side != "looks":
        return ""
    other = [
        s
        for p in sheet.pages
        if (p.position, p.side) == (page.position, "written")
        for s in p.stages
        if s.title == stage.title
    ]
    numbers = [b.number for s in other for b in s.boxes("reading") if not b.said]
    return f"Measure before its end: {_ranges(numbers)}, overleaf." if numbers else ""


def _ranges(numbers: Iterable[int]) -> str:
    """Box 3, or boxes 3 to 5, 8."""
    runs: list[list[int]] = []
    for n in numbers:
        if runs and runs[-1][1] == n - 1:
            runs[-1][1] = n
        else:
            runs.append([n, n])
    told = ", ".join(f"{a} to {b}" if b > a else f"{a}" for a, b in runs)
    return f"box {told}" if told.isdigit() else f"boxes {told}"


def _group(group: Group, wide: float, side: Side) -> Piece:
    heads = [el("span", head, class_="cell") for head in group.heads if head]
    room = wide - len(heads) * (side.box + side.beside)
    lines = wrap(group.title, room / 1.08, TYPE, 2)
    return Piece(
        el("h3", el("span", " ".join(lines), class_="term"), heads, class_=f"g{len(lines)}"),
        0.0,
        _lines_high(len(lines), TYPE) + RULE,
        True,
    )


def _row(row: Row, vocabulary: Vocabulary, side: Side) -> Markup:
    reading = vocabulary.readings.get(row.term) if row.what in ("reading", "figure") else None
    unit = reading.unit if reading else ""
    term = f"{row.term}, {unit}" if unit and unit not in row.term else LABELS.get(row.term, row.term)
    boxes = [_box(b, side) for b in row.boxes]
    kind = "tick" if row.what == "feature" else "write"
    return el(
        "div",
        el("span", el("b", "! ") if row.perishes else None, term, class_="term"),
        boxes,
        class_=f"row {kind} n{len(boxes)}",
    )


def _box(box: Box | None, side: Side) -> Markup:
    if box is None:
        return el("span", class_="cell none")
    if box.said:
        return el("span", cut(box.said, side.box, TYPE), class_="cell none")
    return el("span", box.number, class_="cell")


# ---- head and foot ----------------------------------------------------------------------------------------------


def _page(
    sheet: Sheet,
    laid: Sequence[Laid],
    at: int,
    case: Case,
    vocabulary: Vocabulary,
    cautions: Sequence[Caution],
    size: Paper,
) -> Markup:
    it = laid[at]
    grid = el(
        "div", [el("div", [p.markup for p in column], class_="column") for column in it.columns], class_="columns"
    )
    dials = _dials(it.page, case, vocabulary, size.width) if it.first else []
    foot = _foot(sheet, laid, at)
    return el(
        "section", _head(sheet, it.page, case, cautions, size), grid, dials, foot, class_=f"page p{at} {it.page.side}"
    )


def _with_data(sheet: Sheet, page: Page) -> bool:
    """Whether a page asks what clocks are counted from: the first one of the machine and of every seal."""
    return next(p for p in sheet.pages if p.position == page.position) is page


def _how(sheet: Sheet, page: Page) -> str:
    known = any(b.said and b.what != "figure" for b in page.boxes())
    on_record = " What is on record is left out or filled in." if known else ""
    if page.side == "written":
        return (
            "Write where the step says it; several readings of one thing go into one box. Room for words stands at the end: what no box "
            f"asks for, what you are not sure of, and where and how much of a mark.{on_record}"
        )
    return (
        "Strike through the number of what you see, ring the number of what you looked for and did not find; leave the others. "
        "Where and how much goes beside it or on the dial: 10 to 2, severe. ! is gone after its step. This side holds what can be lost; "
        f"what stays on the parts for good is asked for by diagnose record CASE once they are clean.{on_record}"
    )


def _care(sheet: Sheet, page: Page, cautions: Sequence[Caution]) -> tuple[str, str]:
    """The cautions by name; on the first page one of them in full as well."""
    full = page is sheet.pages[0] and cautions and len(cautions[0].says) < 240
    return f"Take care: {', '.join(c.name for c in cautions)}.", f"{f' {cautions[0].says}' if full else ''} {ABOVE_ALL}"


def _head_lines(sheet: Sheet, page: Page, cautions: Sequence[Caution], size: Paper) -> tuple[int, int]:
    """How many lines it takes to say how to fill the page in, and what to take care of."""
    bold, rest = _care(sheet, page, cautions)
    return len(wrap(_how(sheet, page), size.width, HEAD_TYPE, MOST_LINES)), len(
        wrap(bold + rest, size.width - 4, HEAD_TYPE, MOST_LINES)
    )


def _head_high(sheet: Sheet, page: Page, cautions: Sequence[Caution], size: Paper) -> float:
    lines = sum(_head_lines(sheet, page, cautions, size))
    return NAMES + (DATA if _with_data(sheet, page) else 0) + _lines_high(lines, HEAD_TYPE) + 4.0


def _head(sheet: Sheet, page: Page, case: Case, cautions: Sequence[Caution], size: Paper) -> Markup:
    what = f"{page.position} seal" if len(case.positions) > 1 else "the seal"
    arrangement = next((s.term for s in case.settings if s.setting == "arrangement" and s.holds), "")
    fields = [
        ("Machine", case.texts.get("equipment.tag", "")),
        ("Seal serial", case.texts.get("seal.serial", "")),
        ("Work order", case.texts.get("equipment.work order", "")),
        ("Date", ""),
        ("Name", ""),
    ]
    blanks = [el("span", el("i", name), el("b", value), class_="blank") for name, value in fields]
    title = el(
        "h1", f"Bench sheet: {what if page.position else 'machine and service'}, {SIDES[page.side].told}",
        el("small", f"{case.name}{f', {arrangement}' if arrangement not in case.name else ''}"),
    )  # fmt: skip
    bold, rest = _care(sheet, page, cautions)
    how, care = _head_lines(sheet, page, cautions, size)
    return el(
        "header", qr(f"case: {named(case.name)}\nsheet: {sheet.code}", 17), el("div", title, el("p", blanks, class_="blanks"), class_="names"),
        _data(sheet) if _with_data(sheet, page) else None,
        el("p", _how(sheet, page), class_=f"how c{how}"), el("p", el("strong", bold), rest, class_=f"care c{care}"),
    )  # fmt: skip


def _data(sheet: Sheet) -> Markup:
    """What the clock is counted from and the end it is seen from, and which way it turns: boxes, or what is on record."""
    made = []
    for box in sheet.data:
        asks, choices = ASKS[box.term]
        known = " ".join(wrap(box.said, DATUM, SMALL, 3))
        place = (
            el("b", known, class_="said long" if len(known) > SHORT else "said")
            if box.said
            else el("b", box.number, [el("i", x) for x in choices])
        )
        made.append(el("span", el("i", asks), place, class_="datum"))
    return el("div", made, class_="data")


def _foot(sheet: Sheet, laid: Sequence[Laid], at: int) -> Markup:
    numbers = [b.number for b in laid[at].page.boxes()]
    return el(
        "footer", f"Sheet {sheet.code}, page {at + 1} of {len(laid)}, boxes {numbers[0]} to {numbers[-1]}. Typed back: diagnose record CASE "
        f"--sheet FILE, in lines: “sheet: {sheet.code}”, “12: severe, 10 to 2”, “13: no”, “14: 25.4 mm”.",
    )  # fmt: skip


def _dialled(page: Page, case: Case, vocabulary: Vocabulary) -> list[list[Part]]:
    """What has a clock to draw on, in rows: face rings, then the sleeve and O-rings."""
    if page.side != "looks":
        return []
    items = dict.fromkeys(b.part for b in page.boxes() if b.part)
    parts = [p for item in items if (p := case.part(item))]
    order = ["face", "sleeve", "dynamic O-ring", "elastomer"]
    rank = {
        p.item: next((i for i, k in enumerate(order) if k in vocabulary.lineage[p.kind]), len(order)) for p in parts
    }
    chosen = [p for p in sorted(parts, key=lambda p: rank[p.item]) if rank[p.item] < len(order)]
    return [chosen[i : i + DIALS_ACROSS] for i in range(0, len(chosen), DIALS_ACROSS)]


def _dials(page: Page, case: Case, vocabulary: Vocabulary, wide: float) -> list[Markup]:
    made = []
    for row in _dialled(page, case, vocabulary):
        room = wide / len(row) - 1
        named_so = [" ".join(wrap(f"{p.item} {p.name}", room, SMALL, 2)).partition(" ") for p in row]
        clocks = [el("figure", blank_dial(), el("figcaption", el("b", n), f" {name}")) for n, _, name in named_so]
        made.append(el("div", clocks, class_="dials"))
    return made


def _key(sheet: Sheet, asked: Iterable[Box], vocabulary: Vocabulary, size: Paper) -> list[Markup]:
    """Sketches of what is looked for, with the first number it stands at."""
    first: dict[str, Box] = {}
    for box in asked:
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
