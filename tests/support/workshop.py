"""The small rule base in a place of its own, with tests beside its rules."""

from __future__ import annotations

import shutil
from pathlib import Path

from typer.testing import CliRunner

from diagnose.cli.main import commands
from diagnose.reading.problems import BadInput
from tests.support.places import SMALL

RULE_TESTS = {
    "findings/hot-all-round.test.yaml": """\
- test: Cracks right round say that it ran hot
  given: [{saw: radial cracks, on: hard face, extent: all round}]
  finds: [hot all round]
- test: Cracks in one sector do not
  given each:
    - {saw: radial cracks, on: hard face, extent: one sector}
    - {saw: radial cracks, on: soft face, extent: all round}
    - [{saw: radial cracks, on: hard face, extent: all round}, {saw: edge chips, on: hard face, degree: severe}]
  does not find: [hot all round]
- test: A face looked over and not cracked did not
  given: [{absent: radial cracks, on: hard face}]
  finds absent: [hot all round]
""",
    "causes/dry-running.test.yaml": """\
- test: Dry running leads on heat and a hard ring
  given: [{found: [hot all round, ring hard]}]
  leads: dry running
- test: What it weighs
  given each: [{found: [hot all round, ring hard]}]
  speaks for: {dry running: +16.4 dB}
- test: How common it is
  given: []
  common: {dry running: often}
""",
}


def copied_base(place: Path) -> Path:
    """A copy of the small rule base with a few tests."""
    folder = place / "knowledge"
    shutil.copytree(SMALL / "knowledge", folder)
    for name, text in RULE_TESTS.items():
        (folder / name).write_text(text)
    return folder


def call(*words: object, given: str | None = None) -> tuple[int, str]:
    """(exit code, what was printed) of `diagnose rules …`; a refused call counts as 2."""
    result = CliRunner().invoke(commands("rules"), ["rules", *map(str, words)], input=given)
    if isinstance(result.exception, BadInput):
        return 2, result.output + str(result.exception)
    if result.exception and not isinstance(result.exception, SystemExit):
        raise result.exception
    return result.exit_code, result.output
