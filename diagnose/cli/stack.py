"""The command that shows how the parts sat together."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from diagnose.cli.common import CaseArgument, KnowledgeOption, case_path, open_base, open_case
from diagnose.cli.output import write


def parts(
    case: CaseArgument,
    output: Annotated[
        Path | None, typer.Option("--output", "-o", help="Draw the picture into this SVG file.", show_default=False)
    ] = None,
    knowledge: KnowledgeOption = None,
) -> None:
    """Show how the parts sat: what touched what, index marks, pockets and slots, and how to mark what has none."""
    from diagnose.views import stack
    from diagnose.views.page import Page

    base = open_base(knowledge)
    record = open_case(case, base)
    if output:
        write(output, stack.drawing(record, base.knowledge).svg.encode(), [case_path(case)])
    else:
        typer.echo(stack.page(record, base.knowledge, Page()).text(), nl=False)
