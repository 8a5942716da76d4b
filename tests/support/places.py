"""Where the files lie that tests read."""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
KNOWLEDGE = ROOT / "knowledge"
SMALL = ROOT / "tests" / "small"
"""A rule base of a few cards, and a case for it."""
SCENARIOS = sorted((ROOT / "scenarios").glob("*.yaml"))
LARGE = ROOT / "scenarios" / "shaft-runout-large-record.yaml"
PUBLISHED = sorted(
    p for p in (ROOT / "tests" / "published").rglob("*.yaml") if re.search("^case:", p.read_text("utf-8"), re.M)
)


PLAIN = "condensate-pump-dry-start"
"""The scenario of one seal and a short record, which is soonest reasoned about."""


def mostly_slow(items: Sequence[Path | str], quick: int = 1) -> list:
    """Parameters of which only a few belong to a quick run: the plain scenario where it is among them, then the first."""
    soonest = sorted(items, key=lambda x: getattr(x, "stem", x) != PLAIN)
    return [*soonest[:quick], *(pytest.param(x, marks=pytest.mark.slow) for x in soonest[quick:])]
