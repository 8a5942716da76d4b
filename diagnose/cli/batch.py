"""The command that judges many cases."""

from __future__ import annotations

import os
import sys
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from diagnose.cli.common import KnowledgeOption, refuse, say, shipped
from diagnose.cli.progress import Progress
from diagnose.reading.figures import count
from diagnose.reading.terms import printable

if TYPE_CHECKING:
    from diagnose.evaluation.batch import Table


def batch(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="A folder of case files, with its subfolders.")],
    output: Annotated[
        Path, typer.Option("-o", "--output", help="The table to write: .csv, .jsonl or .parquet.")
    ] = Path("table.csv"),
    resume: Annotated[
        bool, typer.Option("--resume", help="Keep what the table has for the same case and rule base.")
    ] = False,
    workers: Annotated[int, typer.Option("--workers", help="Processes; 0 for one a core.", min=0, max=256)] = 0,
    scheduler: Annotated[
        str, typer.Option("--scheduler", metavar="ADDRESS", help="A Dask scheduler to hand the work to.")
    ] = "",
    time_limit: Annotated[
        float,
        typer.Option(
            "--time-limit",
            metavar="SECONDS",
            help="Leave a case that computes for longer; 0 for no limit. A cluster has none.",
            min=0,
        ),
    ] = 60.0,
    knowledge: KnowledgeOption = None,
) -> None:
    """Judge every case of a folder and write a table: a row for each seal position."""
    from diagnose.evaluation import batch as many
    from diagnose.evaluation.score import cases_in
    from diagnose.knowledge.cache import open_knowledge

    if not folder.is_dir():
        raise refuse(f"there is no folder {str(folder)!r}", "name a folder of case files")
    if output.suffix not in many.FORMS:
        raise refuse(f"no table of the kind {output.suffix!r} can be written", f"kinds: {', '.join(many.FORMS)}")
    _needs("pyarrow", "parquet", output.suffix == ".parquet")
    _needs("distributed", "cluster", bool(scheduler))
    base = (knowledge or shipped("knowledge")).resolve()
    digest = open_knowledge(base).digest
    progress = output.with_name(f".{output.name}.progress")
    table = many.Table()
    todo = many.works(folder, cases_in(folder), table)
    if resume:
        kept = many.known(output, progress, digest)
        table.rows |= {w.name: kept[w.name, w.digest] for w in todo if (w.name, w.digest) in kept}
        todo = [work for work in todo if work.name not in table.rows]
    else:
        progress.unlink(missing_ok=True)
    bar = Progress(len(todo))
    try:
        many.run(todo, base, table, workers or os.cpu_count() or 1, progress, bar.more, scheduler, time_limit)
        many.write(output, table.in_order())
        progress.unlink(missing_ok=True)
    except OSError as error:
        raise refuse(
            f"the table cannot be written: {error.strerror or error}",
            "make room or choose another place, then run again with --resume",
        ) from error
    finally:
        bar.end()
    told = f"{count(len(table.rows), 'case')} in {output}"
    say(f"{told}, {len(todo)} judged now" if resume else told)
    _tell_broken(table)


def _needs(module: str, extra: str, asked: bool) -> None:
    """Raises BadInput where something is asked for that an extra brings and is not installed."""
    if asked and find_spec(module) is None:
        raise refuse(f"this needs {module}, which is not installed", f"pip install 'diagnose[{extra}]'")


def _tell_broken(table: Table) -> None:
    """What is wrong with the cases that cannot be read; then the command ends with 1."""
    for name in sorted(table.broken):
        for problem in table.broken[name]:
            print(printable(problem), file=sys.stderr)
    if table.broken:
        print(f"{len(table.broken)} of {len(table.rows) + len(table.broken)} cases are broken", file=sys.stderr)
        raise typer.Exit(1)
