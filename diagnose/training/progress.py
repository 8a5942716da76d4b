"""A trainee's own file of drills done: one JSON line a drill, kept only where they ask for it."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from diagnose.reading.files import read_file
from diagnose.reading.problems import BadInput, Problem, Where
from diagnose.training.debrief import Debrief
from diagnose.training.scoring import POINTS
from diagnose.views.page import Page

LAST = 5
MOST_BYTES = 10_000_000


def entry(name: str, d: Debrief) -> dict[str, Any]:
    """A drill done, as plain data."""
    s = d.score
    return {
        "drill": name, "total": round(s.total, 1), "points": {k: round(v, 1) for k, v in s.points.items()}, "hints": s.hints,
        "minutes": d.bench.minutes, "plan_minutes": d.plan.minutes, "kept": round(s.kept, 3),
        "answer": {"root": d.answer.root, "mechanism": d.answer.mechanism, "root_confidence": d.answer.root_confidence,
                   "mechanism_confidence": d.answer.mechanism_confidence},
        "right": {"root": s.right[0], "mechanism": s.right[1]}, "brier": [round(b, 4) for b in s.brier],
        "lost": [{"by": lost.act, "what": [text for _, text in lost.losses]} for lost in d.lost],
    }  # fmt: skip


def read_progress(path: Path) -> list[dict[str, Any]]:
    """The drills of a file; none where it is not there yet. Raises BadInput where it is something else,
    OSError where it is no ordinary file."""
    if not path.exists():
        return []
    rows = []
    for number, line in enumerate(read_file(path, MOST_BYTES).decode("utf-8", "replace").splitlines(), 1):
        try:
            row = json.loads(line)
            rows.append(
                {"drill": str(row["drill"]), "total": float(row["total"]), "brier": [float(b) for b in row["brier"]]}
            )
        except (ValueError, TypeError, KeyError, RecursionError):
            problem = Problem(
                Where(str(path), number, 1),
                "no-progress",
                "this line is no drill that was done",
                "name another file with --save",
            )
            raise BadInput([problem]) from None
    return rows


def progress(rows: Sequence[dict[str, Any]], page: Page) -> Page:
    """How the drills went, the last few by name."""
    page.heading(f"Your drills so far: {len(rows)}")
    for n, row in list(enumerate(rows, 1))[-LAST:]:
        page.ends(f"  {n}. {row['drill']}", f"{row['total']:.0f} of 100")
    brier = [b for row in rows for b in row["brier"]]
    mean = sum(row["total"] for row in rows) / len(rows)
    page.say(f"On average {mean:.0f} of {sum(POINTS.values())}; Brier score of your confidence {sum(brier) / len(brier):.2f} (0 is best, "
             "0.25 is what 50 % sure of everything earns).", 2)  # fmt: skip
    return page
