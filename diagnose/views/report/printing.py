"""Reports printed to PDF through a headless Chromium."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import tempfile
from pathlib import Path

from diagnose.reading.problems import BadInput, Problem, Where

BROWSERS = ("chromium", "chromium-browser", "google-chrome")
PRINT_SECONDS = 120


def find_browser() -> str:
    """The path of a Chromium. Raises BadInput where there is none."""
    found = next((at for name in BROWSERS if (at := shutil.which(name))), "")
    if not found:
        raise _refused(f"printing to PDF needs a Chromium, and none of {', '.join(BROWSERS)} is here",
                       "install the package chromium, or open the HTML report in any browser and print it there")  # fmt: skip
    return found


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
