"""The command that shows how a probability is made."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from diagnose.cli.common import KnowledgeOption, open_base
from diagnose.cli.output import write
from diagnose.cli.rules_common import app


@app.command("sum")
def worked(
    output: Annotated[
        Path | None, typer.Option("-o", "--output", help="The file to write, Markdown.", show_default=False)
    ] = None,
    knowledge: KnowledgeOption = None,
) -> None:
    """Write one page on how a probability is made: one sum from record to posterior, to be followed with a calculator."""
    from diagnose.views.worked_example import page

    write(output, page(open_base(knowledge)).encode())
