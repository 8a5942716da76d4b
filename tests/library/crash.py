"""Syncs a library in processes that are killed (SIGKILL, with the pool they started) at random moments while its files
change, and says whether the index then equals one built afresh. By hand: python -m tests.library.crash [KILLS] [SEED]
"""

from __future__ import annotations

import os
import random
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from diagnose.library.store import opened
from diagnose.library.sync import sync
from tests.library import site
from tests.support.places import ROOT, SMALL

KNOWLEDGE = SMALL / "knowledge"
CASES = 300


def content(folder: Path) -> str:
    with opened(folder) as store:
        return store.content()


def change(folder: Path, rng: random.Random) -> None:
    """Some files new, some changed, some gone."""
    for _ in range(40):
        number = rng.randrange(CASES)
        path = folder / f"c{number:05}.yaml"
        if path.exists() and rng.random() < 0.2:
            path.unlink()
        else:
            site.write(folder, number, site.case(rng.randrange(CASES), removed=f"2026-0{rng.randrange(1, 10)}-01"))


def killed(folder: Path, seconds: float) -> bool:
    """One sync, killed after so many seconds unless it is done before; whether it was killed."""
    process = subprocess.Popen(
        [sys.executable, "-m", "tests.library.crash", "sync", str(folder)], cwd=ROOT, start_new_session=True,
        stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
    )  # fmt: skip
    try:
        process.wait(seconds)
        return False
    except subprocess.TimeoutExpired:
        os.killpg(process.pid, signal.SIGKILL)
        process.wait()
        return True


def run(kills: int, seed: int) -> dict[str, int]:
    """How many runs were killed, ended by themselves, and left an index that could not be read or was not right in the end."""
    rng = random.Random(seed)
    told = {
        "killed": 0,
        "ended": 0,
        "unreadable": 0,
        "transactions of killed runs kept": 0,
        "unlike one built afresh": 0,
    }
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place) / "cases"
        folder.mkdir()
        change(folder, rng)
        sync(folder, KNOWLEDGE, 1)
        change(folder, rng)
        begun = time.monotonic()
        killed(folder, 600.0)
        whole = time.monotonic() - begun
        while told["killed"] < kills:
            before = content(folder)
            change(folder, rng)
            was_killed = killed(folder, rng.uniform(0.4, 1.0) * whole)
            told["killed" if was_killed else "ended"] += 1
            try:
                told["transactions of killed runs kept"] += was_killed and content(folder) != before
            except Exception:
                told["unreadable"] += 1
            if told["killed"] % 20 == 0:
                told["unlike one built afresh"] += _differs(folder, Path(place) / "afresh")
        told["unlike one built afresh"] += _differs(folder, Path(place) / "afresh")
    return told


def _differs(folder: Path, copy: Path) -> bool:
    sync(folder, KNOWLEDGE, 1)
    shutil.rmtree(copy, ignore_errors=True)
    shutil.copytree(folder, copy, ignore=shutil.ignore_patterns(".*"))
    sync(copy, KNOWLEDGE, 1)
    return content(folder) != content(copy)


if __name__ == "__main__":
    if sys.argv[1:2] == ["sync"]:
        from diagnose.library import sync as module

        # small transactions, so that many kills fall between two of them
        module.A_BATCH = 8
        sync(Path(sys.argv[2]), KNOWLEDGE, 1)
    else:
        kills, seed = (int(x) for x in [*sys.argv[1:], *("200", "1")[len(sys.argv) - 1 :]])
        print(run(kills, seed))
