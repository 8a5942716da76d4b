"""A library of 100,000 invented cases: what each command takes in time and memory, each in a process of its own. By hand:
python -m tests.library.large [CASES] [JUDGED]

The case files are the shipped scenarios with other tags, dates, lives and outcomes. Only JUDGED of them are judged by a sync;
of the others the index is filled with what their scenario was judged to be, since judging all takes a quarter of an hour.
"""

from __future__ import annotations

import hashlib
import os
import random
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path
from typing import Any

from diagnose.casefile.writer import render
from diagnose.evaluation.batch import Work, judge_one
from diagnose.inference.run import RuleBase, load
from diagnose.library.like import tells
from diagnose.library.seals import Confirmed, Seal, seals
from diagnose.library.store import Entry, Held, index_path, written
from diagnose.library.sync import A_BATCH, _seen
from diagnose.reading.located import read_text
from diagnose.reading.problems import Problems
from tests.support.places import KNOWLEDGE, ROOT, SCENARIOS

SEED = 11
Made = tuple[dict[str, Any], Any]


def scenarios(base: RuleBase) -> list[tuple[dict[str, Any], tuple[Seal, ...]]]:
    """The document of each scenario with what it was judged to be."""
    found = []
    for path in SCENARIOS:
        data = path.read_bytes()
        node = read_text(data, path.name, Problems())
        assert node is not None
        rows = judge_one(Work(path.name, data), base, seals).rows
        if rows:
            found.append((node.plain(), rows))
    return found


def cases(base: RuleBase, many: int) -> Iterator[tuple[bytes, tuple[Seal, ...]]]:
    """The bytes of case files, and their seals as a sync would find them."""
    rng, known = random.Random(SEED), scenarios(base)
    for number in range(many):
        document, judged = rng.choice(known)
        fitted = date(2015, 1, 1) + timedelta(rng.randrange(3600))
        hours = round(rng.weibullvariate(12_000, 1.4)) + 1
        history = {"fitted": fitted.isoformat(), "removed": (fitted + timedelta(hours=hours)).isoformat(),
                   "running hours": f"{hours} h", "cost": str(rng.randrange(1, 50) * 100)}  # fmt: skip
        tag = f"P-{rng.randrange(many // 20 + 1):05}"
        root = judged[0].leading("cause")
        outcome = {"root": root.name, "by": "A", "how": "strip-down", "when": history["removed"], "changed": "a new seal"} \
            if root and rng.random() < 0.6 else None  # fmt: skip
        made = {
            **document, "case": f"Invented case {number}", "equipment": {**document.get("equipment", {}), "tag": tag},
            "history": history, **({"outcomes": [outcome]} if outcome else {}),
        }  # fmt: skip
        outcomes = (
            (Confirmed((outcome["root"],), (), False, "A", "strip-down", outcome["when"], ("a new seal",)),)
            if outcome
            else ()
        )
        yield render(made), tuple(
            replace(s, case=made["case"], tag=tag, fitted=history["fitted"], removed=history["removed"], hours=float(hours),
                    cost=float(history["cost"]), hours_lost=None, outcomes=outcomes) for s in judged
        )  # fmt: skip


def build(folder: Path, many: int) -> None:
    """Writes the files and fills the index."""
    base = load(KNOWLEDGE)
    digests: list[tuple[Path, str, tuple[Seal, ...]]] = []

    def keep(store: Any) -> None:
        time.sleep(1.1)
        store.put(
            Entry(str(p.relative_to(folder)), Held(digest, _seen(p), base.knowledge.digest, ""), found)
            for p, digest, found in digests
        )
        digests.clear()

    with written(folder) as store:
        for number, (data, found) in enumerate(cases(base, many)):
            path = folder / f"{number // 1000:03}" / f"c{number:06}.yaml"
            path.parent.mkdir(exist_ok=True)
            path.write_bytes(data)
            digests.append((path, hashlib.sha256(data).hexdigest(), found))
            if len(digests) == 10 * A_BATCH:
                keep(store)
        keep(store)
        store.tell(
            {"knowledge": base.knowledge.digest, "version": base.knowledge.version, "tells": tells(base.knowledge)}
        )


def timed(*words: str, folder: Path) -> None:
    """Runs a command and tells its seconds, those of processors, and the most memory of it and what it started."""
    code = ("import resource, sys; from diagnose.cli.main import run\n"
            "try: run()\n"
            "finally: print('PEAK', max(resource.getrusage(w).ru_maxrss for w in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)), file=sys.stderr)")  # fmt: skip
    begun, before = time.monotonic(), resource.getrusage(resource.RUSAGE_CHILDREN)
    done = subprocess.run(
        [sys.executable, "-c", code, "library", *words], cwd=ROOT, capture_output=True, text=True, check=False,
        env={**os.environ, "DIAGNOSE_LIBRARY": str(folder), "PYTHONPATH": str(ROOT)},
    )  # fmt: skip
    seconds, after = time.monotonic() - begun, resource.getrusage(resource.RUSAGE_CHILDREN)
    busy = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    peak = int(done.stderr.rpartition("PEAK ")[2] or 0) // 1024
    first = (done.stdout.splitlines() or [done.stderr])[0]
    print(
        f"{' '.join(words).replace(str(folder), 'DIR'):44} {seconds:7.1f} s, {busy:6.1f} s of a core, {peak:5} MiB  exit {done.returncode}  {first[:70]}",
        flush=True,
    )


def run(many: int, judged: int) -> None:
    with tempfile.TemporaryDirectory() as place:
        folder, few = Path(place) / "cases", Path(place) / "few"
        folder.mkdir()
        begun = time.monotonic()
        build(folder, many)
        size = index_path(folder).stat().st_size // 2**20
        print(f"{many} case files and an index of {size} MiB made in {time.monotonic() - begun:.0f} s", flush=True)
        timed("sync", str(folder), folder=folder)
        for i, path in enumerate(sorted(folder.rglob("*.yaml"))[:: max(many // 40, 1)]):
            path.write_bytes(path.read_bytes() + f"# looked at again {i}\n".encode())
        timed("sync", str(folder), folder=folder)
        for words in _questions(folder, Path(place)):
            timed(*words, folder=folder)
        few.mkdir()
        for path in sorted(folder.rglob("*.yaml"))[:judged]:
            (few / path.name).write_bytes(path.read_bytes())
        timed("sync", str(few), "--workers", "2", folder=few)
    print(f"most memory of making it: {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024} MiB")


def _questions(folder: Path, place: Path) -> Sequence[tuple[str, ...]]:
    return (
        ("machine", "P-00007"), ("life",), ("life", "--by", "cause"), ("life", "--by", "service"), ("life", "--change", "2020"),
        ("like", str(folder / "000" / "c000003.yaml")), ("rows",), ("calibration",), ("bad-actors",),
        ("export", "-o", str(place / "t.parquet")), ("share", "-o", str(place / "t.jsonl")),
    )  # fmt: skip


if __name__ == "__main__":
    run(*(int(x) for x in [*sys.argv[1:], *("100000", "100")[len(sys.argv) - 1 :]]))
