"""Reports printed to PDF through a headless Chromium."""

from __future__ import annotations

import itertools
import os
import re
import shutil
import subprocess
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path

from diagnose.reading.problems import BadInput, Problem, Where
from diagnose.views.report.html import END

BROWSERS = ("chromium", "chromium-browser", "google-chrome")
PRINT_SECONDS = 120
SIZES = (1.0, 0.985, 1.015, 0.97, 1.03, 0.955, 1.045, 0.94, 0.925, 0.91)
FULL_ENOUGH = 0.5
"""How much of an upright page is to be filled, and the sizes that are tried for it."""
TOP, BOTTOM = 13 / 25.4 * 72, 15 / 25.4 * 72
"""The margins of an upright page, in points, as the style has them."""


def find_browser() -> str:
    """The path of a Chromium. Raises BadInput where there is none."""
    found = next((at for name in BROWSERS if (at := shutil.which(name))), "")
    if not found:
        raise _refused(f"printing to PDF needs a Chromium, and none of {', '.join(BROWSERS)} is here",
                       "install the package chromium, or open the HTML report in any browser and print it there")  # fmt: skip
    return found


def fitted(page_of: Callable[[float], str], browser: str) -> bytes:
    """The report as PDF, printed a little smaller or larger where a page would be left mostly empty. Raises BadInput."""
    best, most = b"", -1.0
    for size in SIZES:
        page = page_of(size)
        data = pdf_of(page, browser)
        filled = min(_last_lines(page, data), default=1.0)
        if filled > most:
            best, most = data, filled
        if filled >= FULL_ENOUGH:
            break
    return best


def _last_lines(page: str, data: bytes) -> Iterator[float]:
    """How far down each upright page is filled on which a piece ends and the next does not begin."""
    heights = {number: float(height) for number, width, height in _PAGES.findall(data) if float(width) < float(height)}
    places = {name.decode(): (number, float(y)) for name, number, y in _PLACES.findall(data)}
    pieces = [n for n in _ENDS.findall(page) if n in places and END + n in places]
    for name, then in itertools.zip_longest(pieces, pieces[1:]):
        number, y = places[END + name]
        if number in heights and (then is None or places[then][0] != number):
            yield 1 - (y - BOTTOM) / (heights[number] - TOP - BOTTOM)


_ENDS = re.compile(rf'href="#{END}([^"]*)"')
_PLACES = re.compile(rb"/([\w-]+) \[(\d+) 0 R /XYZ [\d.]+ ([\d.]+) 0\]")
_PAGES = re.compile(rb"(\d+) 0 obj\s*<<\s*/Type /Page\b.*?/MediaBox \[0 0 ([\d.]+) ([\d.]+)\]", re.S)


def pdf_of(page: str, browser: str) -> bytes:
    """A page as PDF, the same bytes each time. The browser has no network and a profile of its own. Raises BadInput."""
    with tempfile.TemporaryDirectory() as folder:
        source, target = Path(folder, "report.html"), Path(folder, "report.pdf")
        source.write_text(page, "utf-8")
        call = [
            browser, "--headless", "--disable-gpu", "--no-first-run", "--disable-background-networking", "--disable-quic",
            "--host-resolver-rules=MAP * ~NOTFOUND", f"--user-data-dir={folder}/profile", "--no-pdf-header-footer",
            f"--print-to-pdf={target}", *_sandbox(), source.as_uri(),
        ]  # fmt: skip
        try:
            done = subprocess.run(call, capture_output=True, timeout=PRINT_SECONDS, check=False)
        except (OSError, subprocess.TimeoutExpired) as error:
            raise _refused(f"the browser did not print: {error}") from error
        if not target.is_file():
            told = done.stderr.decode(errors="replace").strip().splitlines()[-1:] or ["it said nothing"]
            raise _refused(f"the browser did not print: {told[0][:200]}")
        return _TIMES.sub(rb"/\1 (D:19700101000000", target.read_bytes())


_TIMES = re.compile(rb"/(CreationDate|ModDate) \(D:\d{14}")
"""The time of printing, which would make each copy another file; what replaces it is as long."""


def _sandbox() -> list[str]:
    """Chromium refuses its sandbox to root."""
    return ["--no-sandbox"] if hasattr(os, "geteuid") and os.geteuid() == 0 else []


def _refused(says: str, way_out: str = "open the HTML report and print it there") -> BadInput:
    return BadInput([Problem(Where("diagnose", 0, 0), "call", says, way_out)])
