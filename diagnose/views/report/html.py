"""The report as one HTML page that needs nothing from outside: style, script, drawings and photos are in it."""

from __future__ import annotations

import base64
import hashlib
import re
from collections.abc import Sequence
from importlib import resources

from diagnose.views.drawings.charts import hatch
from diagnose.views.drawings.markup import Drawing, Markup, el, join
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
    Section,
    Soft,
    Strong,
    Table,
    pieces,
)

END = "end-of-"
_IDS = re.compile(r' id="n-[^"]*"')


def page(report: Report, short: bool = False, paper: str = "", size: float = 1.0, appendix: bool = False) -> str:
    """The whole document; `short` is the summary alone. `paper` fixes the page size for printing, as CSS names it, `size` is
    how large everything after page one is printed; `appendix`: it is printed too."""
    sections = [(n, s) for n, s in report.numbered if appendix or not paper or not s.apart]
    style = _file("style.css") + (f"@page{{size:{paper}}}\n@page wide{{size:{paper} landscape}}\n" if paper else "")
    style += f"@media print{{.part{{zoom:{size:g}}}}}\n" if size != 1 else ""
    script = "" if short else _file("script.js")
    body = [hatch(), _summary(report, short)]
    if not short:
        body += [_contents(sections), *(_section(n, s) for n, s in sections)]
        body += [_ends([s for _, s in sections])] if paper else []
    inner = el("main", body, class_="short" if short else "whole" if appendix else None)
    foot = el("footer", "  ".join(f"{name} {digest[:16]}" for name, digest in report.digests))
    content = join(inner, foot, Markup(f"<script>{script}</script>") if script else None)
    styles = [style, *re.findall(r"<style>(.*?)</style>", content, re.S)]
    policy = (
        f"default-src 'none'; style-src {' '.join(map(_hash, styles))}; script-src {_hash(script) if script else chr(39) + 'none' + chr(39)}; "
        "img-src data:; base-uri 'none'; form-action 'none'"
    )
    head = el(
        "head", el("meta", charset="utf-8"), el("meta", http_equiv="Content-Security-Policy", content=policy),
        el("meta", name="viewport", content="width=device-width, initial-scale=1"),
        el("meta", name="color-scheme", content="light"), el("link", rel="icon", href="data:,"),
        el("title", f"{report.title}: {report.kind.lower()}"), Markup(f"<style>{style}</style>"),
    )  # fmt: skip
    return f"<!doctype html>\n{el('html', head, el('body', content), lang='en')}\n"


def _file(name: str) -> str:
    return resources.files("diagnose.views.report").joinpath(name).read_text("utf-8")


def _hash(content: str) -> str:
    """What a content security policy calls inline code."""
    return f"'sha256-{base64.b64encode(hashlib.sha256(content.encode()).digest()).decode()}'"


# ---- page one ------------------------------------------------------------------------------------------------------


def _summary(report: Report, short: bool) -> Markup:
    kind = f"{report.kind}{', one page' if short else ''}"
    invented = el("p", "Invented case, for demonstration", class_="invented") if report.invented else None
    facts = [
        el("dl", [el("div", el("dt", name), el("dd", value)) for name, value in rows], class_="facts")
        for rows in (report.facts, report.asked)
    ]
    doubts = [el("h3", "To be cleared up on the record"), _items(report.doubts)] if report.doubts else None
    last = el(
        "div",
        el("section", el("h3", "Take care"), _items(report.cautions), class_="care") if report.cautions else None,
        el("section", el("h3", "Still worth looking at"), _items(report.open)) if report.open else None,
        class_="last",
    )
    return el(
        "section", el("header", el("div", el("p", kind), invented, class_="kind"), el("h1", report.title)), facts,
        [_answer(a, short) for a in report.answers], doubts, last, _form(report.form) if report.form else None, id="summary", class_=f"summary {report.type}".rstrip(),
    )  # fmt: skip


def _form(form: Form) -> Markup:
    """Lines to fill in by hand."""
    rows = [el("tr", [el("td", x) for x in (do, "", "", "")]) for do in form.to_do]
    head = el("tr", [el("th", x, scope="col") for x in ("To be done", "Owner", "Due", "Done")])
    return el("section", el("table", el("thead", head), el("tbody", rows)), class_="form")


def _answer(answer: Answer, short: bool) -> Markup:
    named = answer.leaders or answer.also or answer.first
    none = None if named else el("p", "No cause could be named.", class_="verdict")
    first = el("p", answer.first, class_="verdict") if answer.first else None
    beside = answer.beside and el(
        "p",
        el("strong", ("Nearest: ", "Beside it: ", "Beside them: ")[min(len(answer.leaders) + len(answer.also), 2)]),
        _listed(answer.beside),
        class_="beside",
    )
    return el(
        "section", el("h2", answer.title), first,
        el("p", el("strong", "What happened: "), _line(answer.happened)) if answer.happened else None, none,
        [_leader(x, short) for x in answer.leaders],
        [el("h3", "Also at work"), _items(answer.also)] if answer.also else None,
        el("p", el("strong", "How sure: "), _line(answer.sure), class_="sure") if answer.sure else None, beside or None,
        [el("p", el("strong", "At odds: "), _line(x)) for x in answer.odds], class_="answer",
    )  # fmt: skip


def _listed(lines: Sequence[Line]) -> Markup:
    return join([[", " if i else None, el("span", _line(x), class_="nowrap")] for i, x in enumerate(lines)])


def _leader(x: Leader, short: bool) -> Markup:
    """One cause: what, how sure, why, what to change."""
    chain = el(
        "p", [[el("span", " → ", class_="arrow") if i else None, c] for i, c in enumerate(x.chain)], class_="chain"
    )
    name = x.cause if short else _piece(Proof(x.cause, x.node))
    return el(
        "article",
        el("div", el("div", el("p", el("span", x.standing, class_=f"standing {x.standing.replace(' ', '-')}"), " ", el("strong", name), class_="verdict"),
                     el("p", x.means, class_="means"), class_="what"), x.chance.svg, class_="top"),
        chain if x.chain else None,
        el("div",
           el("div", el("h3", "Why"), _items(x.why),
              [el("h4", "Against"), _items(x.against)] if x.against else None, class_="why"),
           el("div", el("h3", "What to change"), _items(x.change, numbered=True), class_="change") if x.change else None,
           class_="halves"),
        class_="leader",
    )  # fmt: skip


# ---- sections ------------------------------------------------------------------------------------------------------


def _contents(sections: Sequence[tuple[str, Section]]) -> Markup:
    rows = [el("li", el("a", el("span", n), s.title, href=f"#{s.id}")) for n, s in sections]
    return el("nav", el("ol", rows), aria_label="Contents")


def _section(number: str, s: Section) -> Markup:
    return el(
        "section",
        el("h2", el("span", number, class_="number"), " ", s.title),
        [_block(b) for b in s.blocks],
        None if _proofs(s) else _end(s.id),
        id=s.id,
        class_="part apart" if s.apart else "part",
    )


def _proofs(s: Section) -> Sequence[Figure]:
    """The proofs of a graph, which end the section each for itself."""
    return [f for b in s.blocks if isinstance(b, Graph) for f in b.printed]


def _end(id: str) -> Markup:
    """What a PDF knows the end of a piece by."""
    return el("a", id=f"{END}{id}")


def _ends(sections: Sequence[Section]) -> Markup:
    """Links to where every piece begins and ends, unseen: a browser writes into a PDF only the places that are linked to."""
    names = [n for s in sections for n in ([f"proof-{i}" for i, _ in enumerate(_proofs(s), 1)] or [s.id])]
    return el("p", [[el("a", href=f"#{n}"), el("a", href=f"#{END}{n}")] for n in names], hidden=True)


def _block(block: object) -> Markup:
    match block:
        case Paragraph(line, role):
            return el("p", _line(line), class_=role or None)
        case Items(lines, numbered, role):
            return _items(lines, numbered, role)
        case Heading(text):
            return el("h3", text)
        case Table():
            return _table(block)
        case Figure():
            return _figure(block)
        case Figures(figures):
            return el("div", [_figure(f) for f in figures], class_="figures")
        case Picture(data, kind, caption, over):
            source = f"data:{kind};base64,{base64.b64encode(data).decode()}"
            return el(
                "figure",
                el("div", el("img", src=source, alt="", loading="lazy"), over.svg if over else None, class_="shown"),
                el("figcaption", _line(caption)),
                class_="photo",
            )
        case Graph():
            return _graph(block)
    raise TypeError(f"{type(block).__name__} is no block of a report")


def _graph(g: Graph) -> Markup:
    """The graph to look into on screen, and the proofs of the leading causes for paper."""
    screen = el("div", g.drawing.svg, class_="canvas", tabindex=0, role="group", aria_label=g.drawing.says)
    paper = [
        el(
            "figure",
            el("figcaption", _line(f.caption)),
            Markup(_IDS.sub("", f.drawing.svg)),
            _end(f"proof-{i}"),
            id=f"proof-{i}",
            class_=f.role or None,
        )
        for i, f in enumerate(g.printed, 1)
    ]
    return join(
        el(
            "figure",
            el("figcaption", _line(g.caption)),
            screen,
            el("p", "Nothing is lit.", class_="lit-now", aria_live="polite"),
            class_="graph",
        ),
        el("div", paper, class_="on-paper", aria_hidden="true"),
    )


def _figure(f: Figure) -> Markup:
    beside = el("div", [_block(b) for b in f.beside], class_="beside-figure") if f.beside else None
    return el(
        "figure",
        el("div", f.drawing.svg, beside, class_="with"),
        el("figcaption", _line(f.caption)),
        class_=f.role or None,
    )


def _items(lines: Sequence[Line], numbered: bool = False, role: str = "") -> Markup:
    return el("ol" if numbered else "ul", [el("li", _line(x)) for x in lines], class_=role or None)


def _table(t: Table) -> Markup:
    head = el("thead", el("tr", [el("th", name, scope="col", class_=role or None) for name, role in t.columns]))
    roles = [role for _, role in t.columns]
    rows = [
        el("tr", [el("td", _line(cell), class_=role or None) for cell, role in zip(row, roles, strict=True)],
           class_="strong" if i in t.strong else None)
        for i, row in enumerate(t.rows)
    ]  # fmt: skip
    caption = el("caption", t.caption) if t.caption else None
    return el("div", el("table", caption, head, el("tbody", rows)), class_="table")


def _line(line: Line) -> Markup:
    return join([_piece(p) for p in pieces(line)])


def _piece(piece: Piece) -> Markup:
    match piece:
        case Strong(text):
            return el("strong", text) if text else Markup("")
        case Soft(text):
            return el("span", text, class_="soft") if text else Markup("")
        case Cite(numbers):
            return join([el("a", f"[{n}]", href="#sources", class_="cite") for n in numbers])
        case Proof(text, node):
            return el("a", text, href="#reasoning", data_proof=node, class_="proof")
        case Drawing(svg, _):
            return svg
    return join(piece)
