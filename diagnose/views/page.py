"""Text for a terminal: wrapped to its width, bold where the terminal can show it, plain in a pipe."""

from __future__ import annotations

import os
import re
import shutil
import sys
import textwrap
from collections.abc import Sequence

from diagnose.reading.terms import printable

_BOUND = "\u00a0%"
_OWN = re.compile(r"(\x1b\[[012]m)")


def _wanted() -> bool:
    """Whether standard output is a terminal that shows bold and is asked to."""
    return sys.stdout.isatty() and "NO_COLOR" not in os.environ and os.environ.get("TERM") != "dumb"


class Page:
    """Collects lines; nothing on it relies on colour alone."""

    def __init__(self, width: int | None = None, styled: bool | None = None):
        self.width = min(width or shutil.get_terminal_size((80, 24)).columns, 120)
        self.styled = _wanted() if styled is None else styled
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
        self.title(text)

    def title(self, text: str) -> None:
        for part in _wrap(text, self.width):
            self.line(self.bold(part))

    def say(self, text: str, indent: int = 0, hang: int | None = None, lead: str = "") -> None:
        """Wrapped text; `lead` starts the first line, further lines hang under its end or at `hang`."""
        first = " " * indent + lead
        rest = " " * (len(first) if hang is None else hang)
        for part in _wrap(text, self.width, first, rest) or [first.rstrip()]:
            self.line(part)

    def ends(self, left: str, right: str, bold: bool = False) -> None:
        """Left text and right text on one line, or two where they do not fit."""
        room = self.width - len(left) - len(right)
        hang = " " * (len(left) - len(left.lstrip()) + 2)
        for text in [left + " " * room + right] if room >= 2 else _wrap(left.lstrip(), self.width, hang[2:], hang):
            self.line(self.bold(text) if bold else text)
        if room < 2:
            self.line(" " * max(0, self.width - len(right)) + right)

    def table(self, rows: Sequence[tuple[str, ...]], widths: Sequence[int], indent: int = 2) -> None:
        """Rows of cells; a width of 0 takes what is left and wraps."""
        left = self.width - indent - sum(widths) - 2 * (len(widths) - 1)
        sizes = [w or max(left, 12) for w in widths]
        for row in rows:
            cells = [_wrap(c, w) or [""] for c, w in zip(row, sizes, strict=True)]
            for i in range(max(map(len, cells))):
                parts = [(c[i] if i < len(c) else "").ljust(w) for c, w in zip(cells, sizes, strict=True)]
                self.line((" " * indent + "  ".join(parts)).rstrip())

    def text(self) -> str:
        return "\n".join(self.lines) + "\n"


def _wrap(text: str, width: int, first: str = "", rest: str = "") -> list[str]:
    """Lines of at most a width; a number keeps its percent sign."""
    lines = textwrap.wrap(text.replace(" %", _BOUND), width, initial_indent=first, subsequent_indent=rest,
                          break_on_hyphens=False)  # fmt: skip
    return [line.replace(_BOUND, " %") for line in lines]
