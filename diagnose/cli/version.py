"""The option that tells the versions of tool and rule base."""

from __future__ import annotations

from typing import Annotated

import typer


def _tell(asked: bool) -> None:
    if asked:
        from importlib.metadata import version

        from diagnose.cli.common import shipped
        from diagnose.knowledge.cache import open_knowledge

        base = open_knowledge(shipped("knowledge"))
        typer.echo(f"diagnose {version('diagnose')}, rule base {base.version} ({base.digest[:16]})")
        raise typer.Exit


def options(
    version: Annotated[
        bool, typer.Option("--version", callback=_tell, is_eager=True, help="Tell the versions of tool and rule base.")
    ] = False,
) -> None:
    return
