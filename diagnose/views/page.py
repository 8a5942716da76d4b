"""Text for a terminal: wrapped to its width, bold where the terminal can show it, plain in a pipe."""

from __future__ import annotations

import os
import re
import shutil
import sys
import textwrap
from collections.abc import Sequence

from diagnose.reading.terms import printable

_OWN = re.compile(r"(\x1b\[[012]m)")


class Page:
    """Collects lines; nothing on it relies on colour alone."""

    def __init__(self, width: int | None = None, styled: bool | None = None):
        self.width = min(width or shutil.get_terminal_size((80, 24)).columns, 120)
        self.styled = sys.stdout.isatty() and "NO_COLOR" not in os.environ if styled is None else styled
        self.lines: list[str] = []

    def bold(self, text: str) -> str:
        return f"\x1b[1m{text}\x1b[0m" if self.styled else text

    def dim(self, text: str) -> str:
        return f"\x1b[2m{text}\x1b[0m" if self.styled else text

    def line(self, text: str = "") -> None:
        """One line as it is; only the page's own bold and dim pass as signs to the terminal."""
        own = _OWN.split(text)
        self.lines.append("".join(part if _OWN.fullmatch(part) else printable(part) for part in own))

    def heading(self, text: str) -> None:
        if self.lines:
            self.line()
        self.line(self.bold(text))

    def say(self, text: str, indent: int = 0, hang: int | None = None, lead: str = "") -> None:
        """Wrapped text; `lead` starts the first line, further lines hang under its end or at `hang`."""
        first = " " * indent + lead
        rest = " " * (len(first) if hang is None else hang)
        wrapped = textwrap.wrap(text, self.width, initial_indent=first, subsequent_indent=rest, break_long_words=True,
                                break_on_hyphens=False)  # fmt: skip
        for text in wrapped or [first.rstrip()]:
            self.line(text)

    def ends(self, left: str, right: str, bold: bool = False) -> None:
        """Left text and right text on one line, or two where they do not fit."""
        room = self.width - len(left) - len(right)
        text = left + " " * room + right if room >= 2 else left
        self.line(self.bold(text) if bold else text)
        if room < 2:
            self.line(" " * max(0, self.width - len(right)) + right)

    def table(self, rows: Sequence[tuple[str, ...]], widths: Sequence[int], indent: int = 2) -> None:
        """Rows of cells; a width of 0 takes what is left and wraps."""
        left = self.width - indent - sum(widths) - 2 * (len(widths) - 1)
        sizes = [w or max(left, 12) for w in widths]
        for row in rows:
            cells = [textwrap.wrap(c, w, break_on_hyphens=False) or [""] for c, w in zip(row, sizes, strict=True)]
            for i in range(max(map(len, cells))):
                parts = [(c[i] if i < len(c) else "").ljust(w) for c, w in zip(cells, sizes, strict=True)]
                self.line((" " * indent + "  ".join(parts)).rstrip())

    def text(self) -> str:
        return "\n".join(self.lines) + "\n"


def percent(p: float) -> str:
    """A probability as people read it; never 0 % or 100 %."""
    if p < 0.01:
        return "under 1 %"
    if p > 0.99:
        return "over 99 %"
    return f"{p:.0%}".replace("%", " %")


def signed(db: float) -> str:
    text = f"{db:+.1f}"
    return "0.0" if text in ("+0.0", "-0.0") else text
