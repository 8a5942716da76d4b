"""How far long work has come, on standard error."""

from __future__ import annotations

import sys
import time


class Progress:
    """On a terminal one line: how many are done, how fast and how much longer. Elsewhere one plain line, where the work
    takes more than a second."""

    def __init__(self, total: int, things: str = "files"):
        self.things = things
        self.total, self.done, self.start = total, 0, time.monotonic()
        self.shown = sys.stderr.isatty() and total > 0
        self.told = self.shown

    def more(self, count: int = 1) -> None:
        self.done += count
        took = time.monotonic() - self.start
        if not self.told and took > 1:
            self.told = True
            print(f"{self.done} of {self.total} {self.things} so far", file=sys.stderr, flush=True)
        if not self.shown:
            return
        rate = self.done / max(took, 1e-9)
        left = round((self.total - self.done) / rate)
        width = 30 * self.done // self.total
        line = (
            f"{'#' * width:30} {self.done}/{self.total}  {rate:.0f} {self.things}/s  {left // 60}:{left % 60:02d} left"
        )
        print(f"\r{line}   ", end="", file=sys.stderr, flush=True)

    def end(self) -> None:
        if self.shown:
            print(file=sys.stderr)


class Steps:
    """Progress of work whose amount is known only step by step."""

    def __init__(self, things: str):
        self.things = things
        self.progress: Progress | None = None

    def __call__(self, done: int, of: int) -> None:
        if self.progress is None or self.progress.total != of:
            self.end()
            self.progress = Progress(of, self.things)
        self.progress.more(done - self.progress.done)

    def end(self) -> None:
        if self.progress:
            self.progress.end()
