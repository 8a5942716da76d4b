"""Nothing that the tool does at run time opens a connection or asks for an address."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

pytestmark = pytest.mark.slow

SMALL = Path(__file__).parents[1] / "small"
BLOCKED = """
import sys
def no_network(event, arguments):
    if event in ("socket.connect", "socket.getaddrinfo", "socket.gethostbyname", "socket.bind", "socket.sendto"):
        raise AssertionError(f"network used: {event} {arguments}")
sys.addaudithook(no_network)
if sys.argv[1] == "try":
    import socket
    socket.create_connection(("127.0.0.1", 9))
from diagnose.cli.main import run
run()
"""


def blocked(tmp_path: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    environment = {**os.environ, "DIAGNOSE_KNOWLEDGE": str(SMALL / "knowledge"), "DIAGNOSE_CACHE": "off"}
    return subprocess.run(
        [sys.executable, "-c", BLOCKED, *arguments],
        cwd=tmp_path,
        env=environment,
        capture_output=True,
        text=True,
        check=False,
        timeout=120,
    )


@pytest.mark.parametrize(
    "arguments",
    [
        ("explain", "CASE"),
        ("explain", "CASE", "--json"),
        ("next", "CASE"),
        ("meaning", "radial cracks"),
        ("terms",),
        ("why", "CASE", "dry running"),
        ("why-not", "CASE", "bent shaft"),
        ("fragile", "CASE"),
        ("trail", "CASE", "-o", "t.json"),
        ("graph", "CASE", "-o", "g.svg"),
        ("report", "CASE", "-o", "r.html"),
        ("batch", "CASES", "-o", "t.csv"),
        ("rules", "list"),
    ],
    ids=lambda a: a[0] + str(len(a)),
)
def test_no_command_uses_the_network(arguments, tmp_path):
    cases = tmp_path / "cases"
    cases.mkdir()
    (cases / "case.yaml").write_bytes((SMALL / "case.yaml").read_bytes())
    places = {"CASE": str(cases / "case.yaml"), "CASES": str(cases)}
    done = blocked(tmp_path, *(places.get(a, a) for a in arguments))
    assert done.returncode == 0 and "network used" not in done.stderr, done.stderr


def test_the_block_would_be_noticed(tmp_path):
    assert "network used" in blocked(tmp_path, "try").stderr
