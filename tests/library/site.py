"""Case files of an invented site, and seals as a library keeps them, made from a seed."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from diagnose.casefile.writer import render
from diagnose.library.seals import Confirmed, Seal, Verdict

TAGS = ("P-101", "P-102", "P-103", "P-104")


def seal(**more: Any) -> Seal:
    """A seal that failed after 100 h and was never closed, changed as asked."""
    plain: dict[str, Any] = {
        "case": "An invented seal", "position": "seal", "tag": "P-101", "batch": "", "fitted": "", "removed": "",
        "removal": "failed", "hours": 100.0, "cost": None, "hours_lost": None, "none_of_these": 0.1, "settings": (),
        "findings": (), "verdicts": (Verdict("cause", "dry running", "probable", 0.7),), "outcomes": (),
    }  # fmt: skip
    return Seal(**{**plain, **more})


def confirmed(*roots: str, mechanisms: tuple[str, ...] = (), how: str = "strip-down", day: str = "2026-01-05", by: str = "A", changed: tuple[str, ...] = ()) -> Confirmed:  # fmt: skip
    return Confirmed(roots, mechanisms, False, by, how, day, changed)


def case(number: int, tag: str = "P-101", **history: Any) -> dict[str, Any]:
    """A case document for the small rule base of tests/small."""
    return {
        "case": f"Invented case {number}", "invented": "true", "equipment": {"tag": tag},
        "history": {"fitted": f"2025-{number % 9 + 1:02}-01", **history},
        "parts": [{"item": "1", "name": "Carbon", "kind": "soft face", "group": "rotating"}],
        "observations": [{"on": "shaft", "saw" if number % 2 else "absent": "bent"}, {"part": "1", "saw": "edge chips", "side": "outer edge"}],
    }  # fmt: skip


def write(folder: Path, number: int, document: dict[str, Any]) -> Path:
    path = folder / f"c{number:05}.yaml"
    path.write_bytes(render(document))
    return path
