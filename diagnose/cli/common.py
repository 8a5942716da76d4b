"""What every command shares: where the rule base and the cases are, and how errors are told."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from diagnose.reading.files import read_file
from diagnose.reading.problems import BadInput, Problem, Where
from diagnose.reading.terms import escaped, printable

if TYPE_CHECKING:
    from diagnose.casefile.model import Case
    from diagnose.inference.run import RuleBase

MOST_BYTES = 2_000_000
MOST_TOLD = 100
PACKAGE = Path(__file__).resolve().parents[1]
KnowledgeOption = Annotated[
    Path | None,
    typer.Option("--knowledge", envvar="DIAGNOSE_KNOWLEDGE", help="Another rule base folder.", show_default=False),
]
DraftsOption = Annotated[bool, typer.Option("--with-drafts", help="Run draft rules too.")]
JsonOption = Annotated[bool, typer.Option("--json", help="Print JSON for machines.")]
CaseArgument = Annotated[str, typer.Argument(metavar="CASE", help="A case file, or the name of a shipped scenario.")]


def shipped(name: str) -> Path:
    """A folder that travels with the tool: inside the wheel when installed, beside the package in a checkout."""
    inside = PACKAGE / "shipped" / name
    return inside if inside.is_dir() else PACKAGE.parent / name


def open_base(folder: Path | None, drafts: bool = False, kept: bool = True) -> RuleBase:
    from diagnose.inference.run import load, settle

    base = load(folder or shipped("knowledge"), drafts, kept)
    settle()
    return base


def case_path(name: str) -> Path:
    path = Path(name)
    if not path.exists() and path.name == name:
        scenario = shipped("scenarios") / f"{path.stem}.yaml"
        if scenario.is_file():
            return scenario
    return path


def open_case(name: str, base: RuleBase) -> Case:
    from diagnose.casefile.reader import read_case
    from diagnose.reading.terms import did_you_mean

    path = case_path(name)
    if not path.exists() and path.name == name:
        names = sorted(p.stem for p in shipped("scenarios").glob("*.yaml"))
        way_out = did_you_mean(path.stem, names) or f"name a file, or a shipped scenario: {', '.join(names)}"
        raise BadInput([Problem(Where(name), "file-missing", "there is no such file or scenario", way_out)])
    return read_case(path, base.knowledge)


def refuse(says: str, way_out: str = "", what: str = "diagnose", code: str = "call") -> BadInput:
    """A wrong call, as an error to raise."""
    return BadInput([Problem(Where(what, 0, 0), code, says, way_out)])


def tell(error: BadInput) -> None:
    """Every problem on standard error, each with its line and a caret where the file can be read again."""
    shown: dict[str, list[str]] = {}
    for p in error.problems[:MOST_TOLD]:
        if p.where.line == 0:
            print(printable(f"{p.where.file}: {p.told()}"), file=sys.stderr)
            continue
        print(printable(str(p)), file=sys.stderr)
        line = _line(p.where, shown)
        if line:
            print(*p.pointed(line), sep="\n", file=sys.stderr)
    n = len(error.problems)
    if n > 1:
        rest = f", the first {MOST_TOLD} of them told: mend these and look again" if n > MOST_TOLD else ""
        print(f"{n} errors{rest}", file=sys.stderr)


def _line(where: Where, shown: dict[str, list[str]]) -> str:
    if where.file not in shown:
        path = Path(where.file)
        try:
            shown[where.file] = read_file(path, MOST_BYTES).decode("utf-8", errors="replace").splitlines()
        except OSError:
            shown[where.file] = []
    lines = shown[where.file]
    text = lines[where.line - 1] if where.line <= len(lines) else ""
    return text


def say(text: str) -> None:
    """A line of output; what a file name or a text in it could do to a terminal is taken out."""
    typer.echo(printable(text))


def print_json(value: Any) -> None:
    sys.stdout.write(escaped(json.dumps(value, ensure_ascii=False, indent=2, sort_keys=False)) + "\n")
