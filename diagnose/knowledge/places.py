"""Where the things of a rule base stand in their files."""

from __future__ import annotations

from dataclasses import field
from typing import Any

from diagnose.reading.problems import Where

NOWHERE = Where("")


def placed() -> Any:
    """Where a thing stands in its file; it never takes part in comparisons."""
    return field(default=NOWHERE, compare=False, repr=False)
