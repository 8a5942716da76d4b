"""A Chromium to open reports in. Where there is none the tests fail and say so."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

import pytest
from playwright.sync_api import sync_playwright

from diagnose.views.report import html
from diagnose.views.report.printing import BROWSERS
from tests.support.places import LARGE


@pytest.fixture(scope="session")
def chromium():
    found = next((at for name in BROWSERS if (at := shutil.which(name))), None)
    if found is None:
        pytest.fail(f"the browser tests need one of {', '.join(BROWSERS)}: apt-get install chromium", pytrace=False)
    root = hasattr(os, "geteuid") and os.geteuid() == 0
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=found, args=["--no-sandbox"] if root else [])
        yield browser
        browser.close()


class Opened:
    """A page with all that it asked for and complained of."""

    def __init__(self, page):
        self.page = page
        self.requests: list[str] = []
        self.stopped: dict[str, str | None] = {}
        self.complaints: list[str] = []
        page.on("request", lambda r: self.requests.append(r.url))
        page.on("requestfailed", lambda r: self.stopped.update({r.url: r.failure}))
        page.on("console", lambda m: self.complaints.append(m.text) if m.type in ("error", "warning") else None)
        page.on("pageerror", lambda e: self.complaints.append(str(e)))


@pytest.fixture
def open_file(chromium):
    """Opens a file in a window of its own."""
    contexts = []

    def opened(path: Path, width: int = 1280, height: int = 900) -> Opened:
        context = chromium.new_context(viewport={"width": width, "height": height})
        contexts.append(context)
        told = Opened(context.new_page())
        told.page.goto(path.as_uri())
        return told

    yield opened
    for context in contexts:
        context.close()


@pytest.fixture(scope="session")
def large_file(build, tmp_path_factory):
    path = tmp_path_factory.mktemp("large") / "report.html"
    path.write_text(html.page(build(LARGE)), "utf-8")
    return path
