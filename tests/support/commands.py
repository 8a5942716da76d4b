"""A command as it would run in a process of its own, without the seconds that a process takes to start."""

from __future__ import annotations

import contextlib
import io
from dataclasses import dataclass

from typer.testing import CliRunner

from diagnose.cli.common import tell
from diagnose.cli.main import commands
from diagnose.reading.problems import BadInput


@dataclass(frozen=True)
class Done:
    returncode: int
    stdout: str
    stderr: str


def diagnose(*words: str, **env: str) -> Done:
    """What `diagnose WORDS` prints, 80 wide where `env` does not say otherwise, called from the root folder."""
    with contextlib.chdir("/"):
        result = CliRunner().invoke(commands(words[0]), list(words), env={"COLUMNS": "80", **env})
    if isinstance(result.exception, BadInput):
        told = io.StringIO()
        with contextlib.redirect_stderr(told):
            tell(result.exception)
        return Done(2, result.stdout, result.stderr + told.getvalue())
    if result.exception and not isinstance(result.exception, SystemExit):
        raise result.exception
    return Done(result.exit_code, result.stdout, result.stderr)
