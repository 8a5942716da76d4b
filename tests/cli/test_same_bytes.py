"""Same input, same bytes: in other processes, under other hash seeds, in another order of records."""

from __future__ import annotations

import json
import os
import random
import subprocess
import sys
from pathlib import Path

import pytest
import yaml

from tests.support.places import LARGE, ROOT, SCENARIOS

pytestmark = pytest.mark.slow
SEALS = ROOT / "scenarios" / "crude-pump-barrier-lost.yaml"
COMMANDS = {
    "explain": ["explain", SEALS, "--all", "--json"],
    "next": ["next", SEALS, "--json"],
    "fragile": ["fragile", ROOT / "scenarios" / "thin-record.yaml", "--json"],
    "trail": ["trail", SEALS],
    "report": ["report", SEALS, "-o", "OUT.html"],
    "graph": ["graph", LARGE, "-o", "OUT.svg", "--all"],
}


def said(words: list[object], seed: int, folder: Path) -> bytes:
    """What a command writes, to standard output or to its file."""
    made = [folder / w if isinstance(w, str) and w.startswith("OUT.") else w for w in words]
    environment = {**os.environ, "PYTHONHASHSEED": str(seed), "PYTHONPATH": str(ROOT), "COLUMNS": "100"}
    done = subprocess.run(
        [sys.executable, "-m", "diagnose", *map(str, made)], cwd=ROOT, env=environment, capture_output=True, check=False
    )
    assert done.returncode == 0, done.stderr.decode()
    files = [p for p in made if isinstance(p, Path) and p.stem == "OUT"]
    return files[0].read_bytes() if files else done.stdout


@pytest.mark.parametrize("command", COMMANDS)
def test_the_same_bytes_under_other_hash_seeds(command, tmp_path):
    one, two = (said(COMMANDS[command], seed, tmp_path) for seed in (0, 4242))
    assert one == two and len(one) > 500


def shuffled(path: Path, seed: int, folder: Path) -> Path:
    """The case with its parts, observations and measurements in another order."""
    case = yaml.load(path.read_text("utf-8"), yaml.BaseLoader)
    for key in ("parts", "observations", "measurements"):
        random.Random(seed).shuffle(case.get(key, []))
    changed = folder / path.name
    changed.write_text(yaml.dump(case, allow_unicode=True, sort_keys=False), "utf-8")
    return changed


@pytest.mark.parametrize("path", SCENARIOS[:4], ids=lambda p: p.stem)
def test_the_order_of_records_changes_no_answer(path, tmp_path):
    answers = []
    for seed in range(2):
        answer = json.loads(said(["explain", shuffled(path, seed, tmp_path), "--all", "--json"], seed, tmp_path))
        del answer["case"]["digest"]
        answers.append(json.dumps(answer))
    assert answers[0] == answers[1]
