"""Tables of weights for the handbook, with bars to scale."""

from __future__ import annotations

from typing import Any

Data = dict[str, Any]
FULL_BAR = 110
"""Pixels of the longest bar of a table; the others are to scale."""


def weights_table(rows: str, head: str) -> str:
    return (
        f"<table class=weights><tr><th>{head}</th><th>Seen</th><th>When present</th><th>When absent</th></tr>{rows}</table>"
        if rows
        else ""
    )


def bars(row: Data, most: float) -> str:
    heads = {"if_present": "When present", "if_absent": "When absent"}
    return "".join(_bar(row[key], most, head) for key, head in heads.items())


def _bar(db: float, most: float, head: str) -> str:
    """A bar of weight to scale: filled for it, hollow against it; the number stands beside it."""
    width = round(abs(db) / most * FULL_BAR)
    kind = "for" if db > 0 else "against"
    return f'<td class=bar data-head="{head}"><span class="{kind}" style="width:{width}px"></span> {db:+.1f} dB</td>'
