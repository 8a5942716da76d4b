"""A command as it would run in a process of its own, without the seconds that a process takes to start."""

from __future__ import annotations

import contextlib
import io
import sys
from dataclasses import dataclass

import pytest
from typer.testing import CliRunner

from diagnose.cli import main
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


def ended(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, str, str]:
    """(exit code, output, errors) of the script itself, called with these words where it stands."""
    monkeypatch.setattr(sys, "argv", ["diagnose", *words])
    with pytest.raises(SystemExit) as end:
        main.run()
        raise SystemExit(0)
    out, err = capsys.readouterr()
    return end.value.code or 0, out, err
