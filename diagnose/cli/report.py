"""The command that writes a report: HTML, Markdown or, through a headless Chromium, PDF."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from diagnose.cli.common import CaseArgument, KnowledgeOption, case_path, open_base, open_case, refuse
from diagnose.cli.output import refuse_over_input, write

if TYPE_CHECKING:
    from diagnose.casefile.model import Case
    from diagnose.inference.run import RuleBase
    from diagnose.views.report.blocks import Report

PAPERS = ("A4", "Letter")
ENDINGS = (".html", ".md", ".pdf")
MOST_STEPS = 10


def report(
    case: CaseArgument,
    output: Annotated[Path, typer.Option("-o", "--output", help="The file to write: .html, .md or .pdf.")] = Path(
        "report.html"
    ),
    pdf: Annotated[bool, typer.Option("--pdf", help="Print to PDF through a headless Chromium.")] = False,
    markdown: Annotated[bool, typer.Option("--markdown", help="Write Markdown.")] = False,
    short: Annotated[bool, typer.Option("--short", help="One page: the summary alone.")] = False,
    appendix: Annotated[
        bool,
        typer.Option("--appendix", help="Print the appendix too: every finding weighed, every reading, the graph."),
    ] = False,
    paper: Annotated[str, typer.Option("--paper", help="Page of the PDF: A4 or Letter.")] = "A4",
    knowledge: KnowledgeOption = None,
) -> None:
    """Write the report of a case: one file that opens without a network and prints well."""
    from diagnose.views.report import html
    from diagnose.views.report import markdown as text
    from diagnose.views.report.printing import find_browser, fitted

    if output.suffix.lower() not in ENDINGS:
        raise refuse(
            f"a report cannot be written as {output.suffix or output.name!r}", f"end the name in {', '.join(ENDINGS)}"
        )
    pdf, markdown = pdf or output.suffix.lower() == ".pdf", markdown or output.suffix.lower() == ".md"
    if pdf and markdown:
        raise refuse(
            "a report is PDF or Markdown, not both", "leave one of --pdf and --markdown, and the file's ending to match"
        )
    sizes = [p for p in PAPERS if p.lower() == paper.lower()]
    if not sizes:
        raise refuse(f"{paper!r} is no paper size", f"one of: {', '.join(PAPERS)}")
    if output.suffix.lower() == ".html" and (pdf or markdown):
        output = output.with_suffix(".pdf" if pdf else ".md")
    refuse_over_input(output, [case_path(case)])
    browser = find_browser() if pdf else ""
    base = open_base(knowledge)
    told = made(case_path(case), open_case(case, base), base)
    if pdf:
        data = fitted(lambda size: html.page(told, short, sizes[0], size, appendix), browser)
    else:
        data = (text.page(told, short) if markdown else html.page(told, short, appendix=appendix)).encode()
    write(output, data)


def made(path: Path, case: Case, base: RuleBase) -> Report:
    """The report of a case, as blocks."""
    from diagnose.advice.plan import plan
    from diagnose.judgement.diagnosis import Diagnosis
    from diagnose.trail.custody import beside
    from diagnose.trail.graph import build
    from diagnose.views.report.content import report
    from diagnose.views.report.photos import read_photos
    from diagnose.views.report.told import Material

    diagnosis = Diagnosis(case, base)
    inference, judgements = diagnosis.inference, diagnosis.judgements
    graph, planned = build(diagnosis), plan(judgements, most=MOST_STEPS)
    return report(
        Material(
            inference,
            judgements,
            graph,
            planned,
            _version(),
            read_photos(case, path),
            beside(path).says,
            _earlier(path, case),
        )
    )


def _earlier(path: Path, case: Case) -> dict[str, Any]:
    """What came before on the machine, where the case lies in a library that can be read."""
    from diagnose.library.store import library_of, opened
    from diagnose.reading.problems import BadInput

    tag, folder = case.texts.get("equipment.tag", ""), library_of(path)
    if not tag or folder is None:
        return {}
    from diagnose.library.history import document, history

    try:
        with opened(folder) as store:
            return document(
                history(store, tag, apart=os.path.relpath(os.path.realpath(path), os.path.realpath(folder)))
            )
    except BadInput:
        return {}


def _version() -> str:
    from importlib.metadata import version

    return version("diagnose")
