"""The command that carries case files over to the words now in use."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Annotated

import typer

from diagnose.cli.bench import ByOption, knowledge_of, recorder_of
from diagnose.cli.common import KnowledgeOption, refuse, say
from diagnose.knowledge.model import Knowledge


def migrate(
    files: Annotated[list[Path], typer.Argument(metavar="FILE…", help="Case files; the journal of each goes with it.")],
    by: ByOption = "",
    knowledge: KnowledgeOption = None,
) -> None:
    """Carry case files with old terms over to the words now in use. The file as it was stays beside it as FILE.before."""
    base = knowledge_of(knowledge)
    for file in files:
        for line in _carry(file, base, by):
            say(line)


def _carry(file: Path, knowledge: Knowledge, by: str) -> list[str]:
    """What was done with one file, a line each. Raises BadInput where it cannot be read or was edited by hand."""
    from diagnose.casefile.journal import journal_path
    from diagnose.casefile.migrate import carried_over
    from diagnose.casefile.reader import parse_case, read_case
    from diagnose.casefile.recorder import look
    from diagnose.casefile.writer import put
    from diagnose.reading.problems import Problems

    before = read_case(file, knowledge)
    shown, file = file, Path(os.path.realpath(file))
    data = file.read_bytes()
    carried = carried_over(data.decode("utf-8-sig"), knowledge.vocabulary)
    if not carried.changes:
        return [f"{shown}: nothing to change"]
    problems = Problems()
    after = parse_case(carried.text.encode(), str(shown), knowledge, problems)
    problems.raise_errors()
    if after is None or (after.observations, after.settings, after.measured) != (
        before.observations,
        before.settings,
        before.measured,
    ):
        raise refuse(
            f"{shown} would read otherwise afterwards: nothing is changed", "write it in the words now in use by hand"
        )
    journal = journal_path(file)
    with recorder_of(file, knowledge, by, edited=True) as recorder:
        if file.read_bytes() != data or (journal.exists() and look(file).view != "same"):
            raise refuse(
                f"{shown} was edited by hand: nothing is changed", f"diagnose journal {shown} --adopt --why TEXT"
            )
        kept = [_kept(path) for path in (file, *([journal] if journal.exists() else []))]
        put(file, carried.text.encode())
        if journal.exists():
            recorder.adopt("carried over to the words now in use")
    lines = [f"{shown}:{line}: {says}" for line, says in carried.changes]
    return [*lines, f"as it was: {', '.join(str(k) for k in kept)}"]


def _kept(path: Path) -> Path:
    """A copy of a file beside it."""
    from diagnose.casefile.writer import put

    names = (path.with_name(f"{path.name}.before{'' if i == 1 else f'-{i}'}") for i in range(1, 1000))
    copy = next(name for name in names if not name.exists())
    put(copy, path.read_bytes())
    return copy
