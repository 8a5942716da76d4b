"""The command that prints bench sheets and tags."""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from diagnose.cli.common import KnowledgeOption, case_path, open_base, open_case, refuse
from diagnose.cli.output import refuse_over_input, write

if TYPE_CHECKING:
    from diagnose.casefile.model import Case
    from diagnose.inference.run import RuleBase
    from diagnose.knowledge.model import Caution

ENDINGS = (".html", ".pdf")


def sheet(
    what: Annotated[
        str, typer.Argument(metavar="ARRANGEMENT|CASE", help="A case file, or an arrangement: single, dual …")
    ],
    output: Annotated[Path, typer.Option("-o", "--output", help="The file to write: .html or .pdf.")] = Path(
        "sheet.html"
    ),
    tags: Annotated[bool, typer.Option("--tags", help="Tags for the parts instead of the sheet.")] = False,
    key: Annotated[bool, typer.Option("--key", help="Add pages with sketches of what is looked for.")] = False,
    paper: Annotated[str, typer.Option("--paper", help="A4 or Letter; for tags also label, one a page.")] = "A4",
    label: Annotated[str, typer.Option("--label", help="Size of a label in mm: WIDTHxHEIGHT.")] = "70x37",
    knowledge: KnowledgeOption = None,
) -> None:
    """Print a bench sheet to fill in by hand, in order of dismantling, two sides a seal; or tags for the parts."""
    from diagnose.casefile.sheet import sheet as boxes
    from diagnose.views.report.printing import find_browser, pdf_of
    from diagnose.views.sheet.document import PAPERS
    from diagnose.views.sheet.pages import pages
    from diagnose.views.sheet.tags import LABEL
    from diagnose.views.sheet.tags import tags as made_tags

    ending = output.suffix.lower()
    if ending not in ENDINGS:
        raise refuse(f"a sheet cannot be written as {ending or output.name!r}", f"end the name in {', '.join(ENDINGS)}")
    size = next((p for p in (*PAPERS, *([LABEL] if tags else [])) if p.lower() == paper.lower()), "")
    if not size:
        raise refuse(f"{paper!r} is no paper here", f"one of: {', '.join((*PAPERS, LABEL + ' with --tags'))}")
    browser = find_browser() if ending == ".pdf" else ""
    base = open_base(knowledge)
    case = _case(what, base)
    refuse_over_input(output, [Path(what)])
    cautions, k = _cautions(case, base), base.knowledge
    if tags:
        try:
            raised = [c for c in cautions if not c.always]
            page = made_tags(case, raised or cautions, size, _label(label))
        except ValueError as error:
            way_out = (
                "list them: diagnose note CASE --add-part 1 --kind …" if "no part" in str(error) else "--label 70x37"
            )
            raise refuse(str(error), way_out) from error
    else:
        made = boxes(case, k)
        if not made.pages:
            raise refuse(
                "this rule base has no order of dismantling, so there is nothing to look for", "--knowledge DIR"
            )
        page = pages(made, case, k.vocabulary, cautions, size, key)
    write(output, pdf_of(page, browser) if browser else page.encode())


def _case(what: str, base: RuleBase) -> Case:
    """A case file's, or an empty one of an arrangement."""
    from diagnose.casefile.sheet import case_of

    if case_path(what).exists() or Path(what).suffix in (".yaml", ".yml", ".json"):
        return open_case(what, base)
    k = base.knowledge
    term = k.vocabulary.find("setting:arrangement", what)
    if term is None:
        known = k.vocabulary.settings["arrangement"].terms if "arrangement" in k.vocabulary.settings else {}
        raise refuse(f"{what!r} is no case file and no arrangement", f"one of: {', '.join(known)}" if known else "")
    return case_of(term, k)


def _cautions(case: Case, base: RuleBase) -> list[Caution]:
    """Those that this record raises first, then the standing ones."""
    from diagnose.advice.cautions import called_for
    from diagnose.judgement.diagnosis import Diagnosis

    return called_for(Diagnosis(case, base).inference, ())


def _label(text: str) -> tuple[float, float]:
    match = re.fullmatch(r"\s*(\d{1,3}(?:\.\d)?)\s*[x×]\s*(\d{1,3}(?:\.\d)?)\s*(?:mm\s*)?", text)
    if not match:
        raise refuse(f"{text!r} is no size of a label", "WIDTHxHEIGHT in mm: --label 70x37")
    return float(match[1]), float(match[2])
