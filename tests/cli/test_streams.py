"""Closed streams, and files that are wrong all through."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from diagnose.cli import main
from diagnose.cli.common import MOST_TOLD
from diagnose.reading.problems import MOST_HINTS, Problems, Where
from tests.support.commands import ended

pytestmark = pytest.mark.slow

ROOT = Path(__file__).parents[2]
SMALL = ROOT / "tests" / "small"


def shell(command: str, folder: Path) -> tuple[int, str]:
    env = {
        **os.environ,
        "PYTHONPATH": str(ROOT),
        "DIAGNOSE_KNOWLEDGE": str(SMALL / "knowledge"),
        "DIAGNOSE_CACHE": "off",
    }
    call = command.replace("diagnose", f"{sys.executable} -m diagnose", 1)
    done = subprocess.run(
        ["bash", "-c", call], cwd=folder, env=env, capture_output=True, text=True, timeout=60, check=False
    )
    return done.returncode, done.stdout + done.stderr


@pytest.mark.parametrize("closed", [">&-", "2>&-", "<&-", ">&- 2>&- <&-"])
@pytest.mark.parametrize(
    "words", ["explain a.yaml", "explain a.yaml --json", "trail a.yaml", "rules check", "report a.yaml -o r.html"]
)
def test_a_closed_stream_is_no_fault(tmp_path, closed, words):
    (tmp_path / "a.yaml").write_bytes((SMALL / "case.yaml").read_bytes())
    code, told = shell(f"diagnose {words} {closed}", tmp_path)
    assert code in (0, 1)
    assert "Traceback" not in told


def test_a_file_written_with_closed_streams_holds_the_result_alone(tmp_path):
    (tmp_path / "a.yaml").write_bytes((SMALL / "case.yaml").read_bytes())
    assert shell("diagnose trail a.yaml -o one.json", tmp_path)[0] == 0
    assert shell("diagnose trail a.yaml -o two.json >&- 2>&- <&-", tmp_path)[0] == 0
    assert (tmp_path / "one.json").read_bytes() == (tmp_path / "two.json").read_bytes()


def test_a_file_that_is_wrong_all_through_is_told_in_part_and_how_many_more(tmp_path):
    (tmp_path / "a.yaml").write_text("case: c\n" + "".join(f"key{i}: 1\n" for i in range(50_000)))
    code, told = shell("diagnose explain a.yaml", tmp_path)
    assert code == 2
    assert told.count("unknown-key") == MOST_TOLD
    assert told.endswith(f"50000 errors, the first {MOST_TOLD} of them told: mend these and look again\n")


def test_the_first_mistakes_of_a_file_are_given_the_nearest_words():
    problems = Problems()
    for i in range(MOST_HINTS):
        assert problems.near("bnet", ["bent"])
        problems.add(Where("f", i + 1), "code", "wrong")
    assert problems.near("bnet", ["bent"]) == ""


def test_an_interrupt_before_the_command_has_begun_ends_it_without_a_traceback(monkeypatch, capsys):
    def interrupted(_):
        raise KeyboardInterrupt

    monkeypatch.setattr(main, "commands", interrupted)
    assert ended(monkeypatch, capsys, "explain", "thin-record") == (130, "", "")
