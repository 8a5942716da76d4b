"""The command that serves the bench page."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from diagnose.cli.bench import knowledge_of
from diagnose.cli.common import KnowledgeOption, refuse, shipped


def page(
    target: Annotated[Path, typer.Argument(metavar="CASE|FOLDER", help="A case file, or a folder of them.")],
    lan: Annotated[
        bool, typer.Option("--lan", help="Let tablets on this network in, each with a key, over TLS.")
    ] = False,
    port: Annotated[int, typer.Option("--port", min=0, max=65535, help="0: any that is free.")] = 8440,
    knowledge: KnowledgeOption = None,
) -> None:
    """Record and read a case in a browser: on this machine, or on tablets at the bench."""
    from diagnose.casefile.journal import journal_path

    if not target.exists() and not journal_path(target).exists():
        raise refuse(f"there is no case or folder {str(target)!r}", f"diagnose start {target} --arrangement single")
    try:
        from diagnose.page import run
    except ModuleNotFoundError as error:
        raise refuse(f"the page needs {error.name}", "pip install 'diagnose[page]'") from error
    base = knowledge_of(knowledge)
    run.serve(
        target,
        base,
        knowledge or shipped("knowledge"),
        run.own_address() if lan else run.LOOPBACK,
        port,
        lan,
        typer.echo,
    )
