"""Records on real disks that fill up and turn read-only: python -m tests.casefile.disk [ROUNDS] [SEED]   (as root)

Each round mounts a memory disk of a few pages, fills part of it, and records until the disk refuses. What was
acknowledged must be there, in a sound chain; with the filling gone recording goes on; read-only, the next answer is
refused and nothing changes.
"""

from __future__ import annotations

import os
import random
import subprocess
import sys
import tempfile
from pathlib import Path

from diagnose.casefile import journal as j
from diagnose.casefile.recorder import Recorder, look
from diagnose.knowledge.model import Knowledge
from diagnose.knowledge.reader import read_knowledge
from diagnose.reading.problems import BadInput

SMALL = Path(__file__).parents[1] / "small" / "knowledge"
PAGE = 4096
START = {
    "case": "Disk",
    "seal": {"arrangement": "single"},
    "parts": [{"item": "2", "name": "Seat", "kind": "hard face"}],
}


def record(case: Path, knowledge: Knowledge, marks: list[str], most: int) -> str:
    """Accepts marked answers until `most` are in or one is refused; the refusal in words. Opening may be refused too."""
    try:
        with Recorder(case, knowledge, "ann") as r:
            for _ in range(most):
                mark = f"number {len(marks)}"
                r.accept({"add": "observations", "entry": {"part": "2", "saw": "radial cracks", "note": mark}})
                marks.append(mark)
    except BadInput as error:
        return " ".join(p.says for p in error.problems)
    return ""


def check(case: Path, marks: list[str]) -> None:
    found = j.read_journal(j.journal_path(case))
    kept = [x.what["entry"]["note"] for x in found.lines if "add" in x.what]
    assert (found.broken, found.tail) == (None, b""), found.broken
    # an answer may be in the journal though the case file could not follow, and so was not acknowledged
    assert [m for m in kept if m in marks] == marks and len(kept) - len(marks) <= 1, (kept[-3:], marks[-3:])
    marks[:] = kept


def round_of(folder: Path, knowledge: Knowledge, chance: random.Random) -> tuple[int, int]:
    """(answers acknowledged, refusals) on one disk."""
    pages = chance.randrange(6, 40)
    subprocess.run(["mount", "-t", "tmpfs", "-o", f"size={pages * PAGE}", "tmpfs", folder], check=True)
    try:
        case, filling, marks, refused = folder / "pump.yaml", folder / "filling", [], 0
        with Recorder(case, knowledge, "ann") as r:
            r.start(START)
        for _ in range(3):
            filling.write_bytes(b"")
            room = os.statvfs(folder).f_bavail
            filling.write_bytes(b"x" * PAGE * chance.randrange(max(room, 1)))
            told = record(case, knowledge, marks, 400)
            refused += bool(told)
            assert not told or "no space left" in told.lower(), told
            check(case, marks)
            filling.unlink()
            before = j.journal_path(case).read_bytes()
            # the case file is written anew beside the old one
            if os.statvfs(folder).f_bavail * PAGE > case.stat().st_size + 4 * PAGE:
                assert not record(case, knowledge, marks, 1)
                check(case, marks)
                assert look(case).view == "same" and j.journal_path(case).read_bytes().startswith(before)
        before = j.journal_path(case).read_bytes()
        subprocess.run(["mount", "-o", "remount,ro", folder], check=True)
        told = record(case, knowledge, marks, 1)
        assert "read-only" in told.lower(), told
        assert j.journal_path(case).read_bytes() == before
        return len(marks), refused + 1
    finally:
        subprocess.run(["umount", folder], check=True)


def main(rounds: int, seed: int) -> None:
    knowledge, chance = read_knowledge(SMALL), random.Random(seed)
    with tempfile.TemporaryDirectory() as folder:
        done = [round_of(Path(folder), knowledge, chance) for _ in range(rounds)]
    print(
        f"{rounds} disks, {sum(a for a, _ in done)} answers acknowledged, none lost; {sum(r for _, r in done)} refusals"
    )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 50, int(sys.argv[2]) if len(sys.argv) > 2 else 1)
