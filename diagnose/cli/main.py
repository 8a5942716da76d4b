"""The command line: parse, call, show. Exit 0 done, 1 a check found something, 2 the input or the call is wrong."""

from __future__ import annotations

import sys
from collections.abc import Callable

import typer

from diagnose.cli import advice, answers, bench, reasoning, report, rules
from diagnose.cli.common import tell
from diagnose.reading.problems import BadInput

app = typer.Typer(
    name="diagnose",
    help="From the marks on a failed mechanical seal to its probable root causes, with the reasoning shown.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)
COMMANDS: list[Callable[..., None]] = [
    answers.explain,
    advice.next,
    answers.meaning,
    answers.quantities,
    answers.terms,
    answers.score,
    bench.start,
    bench.record,
    bench.note,
    bench.journal,
    reasoning.why,
    reasoning.why_not,
    reasoning.what_if,
    reasoning.fragile,
    reasoning.graph,
    reasoning.trail,
    reasoning.verify,
    reasoning.compare,
    report.report,
]
for command in COMMANDS:
    app.command()(command)
app.add_typer(rules.app)


def run() -> None:
    """The console entry point."""
    try:
        app()
    except BadInput as error:
        tell(error)
        sys.exit(2)
    except BrokenPipeError:
        sys.stderr.close()
        sys.exit(0)


if __name__ == "__main__":
    run()
