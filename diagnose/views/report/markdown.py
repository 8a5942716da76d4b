"""The report as Markdown. Text from the case is escaped, so that none of it becomes markup."""

from __future__ import annotations

import re
from collections.abc import Sequence

from diagnose.views.drawings.markup import Drawing, plain
from diagnose.views.report.blocks import (
    Answer,
    Cite,
    Figure,
    Figures,
    Form,
    Graph,
    Heading,
    Items,
    Leader,
    Line,
    Paragraph,
    Picture,
    Piece,
    Proof,
    Report,
    Soft,
    Strong,
    Table,
    pieces,
)

_SPECIAL = re.compile(r"([\\`*_\[\]<>|#~])")


def page(report: Report, short: bool = False) -> str:
    """The whole document; `short` is the summary alone."""
    parts = [f"# {_text(report.title)}"]
    if report.invented:
        parts.append("Invented case, for demonstration.")
    parts.append(
        "\n".join(f"- {_text(name)}: {_text(value) or '____'}" for name, value in (*report.facts, *report.asked))
    )
    parts += [_answer(a) for a in report.answers]
    if report.doubts:
        parts += ["## To be cleared up on the record", _items(report.doubts)]
    if report.cautions:
        parts += ["## Take care", _items(report.cautions)]
    if report.open:
        parts += ["## Still worth looking at", _items(report.open)]
    if report.form:
        parts += ["## To be done", _form(report.form)]
    for number, s in [] if short else report.numbered:
        parts += [f"## {number} {_text(s.title)}", *(_block(b) for b in s.blocks)]
    parts.append("  \n".join(f"{_text(name)} {_text(digest)}" for name, digest in report.digests))
    return "\n\n".join(p for p in parts if p) + "\n"


def _form(form: Form) -> str:
    rows = [f"| {_text(do)} | | | |" for do in form.to_do]
    return "\n".join(["| To be done | Owner | Due | Done |", "|---|---|---|---|", *rows])


def _answer(a: Answer) -> str:
    parts = [f"## {a.title}"]
    parts += [f"**{_text(a.first)}**"] if a.first else []
    parts += [f"What happened: {_line(a.happened)}"] if a.happened else []
    parts += [_leader(x) for x in a.leaders] or ([] if a.also or a.first else ["No cause could be named."])
    parts += ["Also at work:\n\n" + _items(a.also)] if a.also else []
    parts += [f"How sure: {_line(a.sure)}"] if a.sure else []
    parts += [f"{'Beside it' if a.leaders else 'Nearest'}:\n{_items(a.beside)}"] if a.beside else []
    parts += [f"At odds: {_line(x)}" for x in a.odds]
    return "\n\n".join(parts)


def _leader(x: Leader) -> str:
    parts = [f"**{_text(x.standing)}, {_text(x.shown)}: {_text(x.cause)}.** {_text(x.means)}"]
    parts += [_text(" → ".join(x.chain))] if x.chain else []
    for title, lines in (("Why", x.why), ("Against", x.against), ("What to change", x.change)):
        if lines:
            parts.append(f"{title}:\n\n{_items(lines, numbered=title == 'What to change')}")
    return "\n\n".join(parts)


def _block(block: object) -> str:
    match block:
        case Paragraph(line, _):
            return _line(line)
        case Items(lines, numbered, _):
            return _items(lines, numbered)
        case Heading(text):
            return f"### {_text(text)}"
        case Table():
            return _table(block)
        case Figure(drawing, caption, beside, _):
            return "\n\n".join(
                [f"{_line(caption)}", *(_block(b) for b in beside)]
                if beside
                else [f"{_line(caption)} {_text(drawing.says)}"]
            )
        case Figures(figures):
            return "\n\n".join(_block(f) for f in figures)
        case Picture(_, _, caption):
            return f"Photo {_line(caption)}"
        case Graph(drawing, _, _):
            return _text(drawing.says) + ". See the HTML report for the picture."
    raise TypeError(f"{type(block).__name__} is no block of a report")


def _items(lines: Sequence[Line], numbered: bool = False) -> str:
    return "\n".join(f"{f'{i}.' if numbered else '-'} {_line(x)}" for i, x in enumerate(lines, 1))


def _table(t: Table) -> str:
    kept = [i for i, (_, role) in enumerate(t.columns) if role != "drawing"]
    head = "| " + " | ".join(_text(t.columns[i][0]) or " " for i in kept) + " |"
    rule = "|" + "|".join("---:" if t.columns[i][1] == "number" else "---" for i in kept) + "|"
    cells = [[_cell(row[i]) for i in kept] for row in t.rows]
    rows = ["| " + " | ".join(c or " " for c in row) + " |" for row in cells if any(row)]
    return "\n".join([*([_text(t.caption), ""] if t.caption else []), head, rule, *rows])


def _line(line: Line) -> str:
    """A paragraph or list item; what would start a list at its beginning is escaped."""
    return re.sub(r"^([-+]|\d+(?=[.)]))", lambda m: m[1] + "\\" if m[1].isdecimal() else "\\" + m[1], _cell(line))


def _cell(line: Line) -> str:
    return "".join(_piece(p) for p in pieces(line)).strip()


def _piece(piece: Piece) -> str:
    match piece:
        case Strong(text):
            bare = text.strip()
            return f"**{_text(bare)}**{' ' if text.endswith(' ') else ''}" if bare else ""
        case Cite(numbers):
            return "".join(f"\\[{n}\\]" for n in numbers)
        case Soft(text) | Proof(text, _):
            return _text(text)
        case Drawing(_, says):
            return _text(says)
    return _text(piece)


def _text(value: object) -> str:
    """On one line, with everything escaped that Markdown or HTML would take for markup."""
    told = _SPECIAL.sub(r"\\\1", re.sub(r"\s+", " ", plain(value)))
    return told.replace("\\<", "&lt;").replace("\\>", "&gt;")
