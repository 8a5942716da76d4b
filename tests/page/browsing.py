"""A page served by the command, and tablets that open it in a browser."""

from __future__ import annotations

import os
import re
import socket
import subprocess
import sys
from pathlib import Path


def free_port() -> int:
    with socket.socket() as found:
        found.bind(("127.0.0.1", 0))
        return found.getsockname()[1]


class Served:
    """`diagnose page` in a process of its own, at one port however often it is started."""

    def __init__(self, target: Path):
        self.target, self.port, self.process = target, free_port(), None
        self.start()

    def start(self) -> None:
        call = [sys.executable, "-m", "diagnose.cli.main", "page", str(self.target), "--port", str(self.port)]
        self.process = subprocess.Popen(
            call, stdout=subprocess.PIPE, text=True, bufsize=1, env={**os.environ, "PYTHONUNBUFFERED": "1"}
        )

    def link(self) -> str:
        """The next key's link, as the command prints it."""
        for line in self.process.stdout:
            if found := re.search(r"https?://\S+", line):
                return found.group()
        raise AssertionError("the page ended")

    def stop(self, hard: bool = False) -> None:
        (self.process.kill if hard else self.process.terminate)()
        self.process.wait(20)
        self.process.stdout.close()


class Opened:
    """One tablet: its page, what it asked for and complained of, and the taps it took."""

    def __init__(self, browser, served, width=820, height=1180, name="Kim"):
        self.context = browser.new_context(viewport={"width": width, "height": height}, has_touch=True)
        self.page = self.context.new_page()
        self.page.set_default_timeout(20_000)
        self.served, self.requests, self.complaints, self.taps, self.typed = served, [], [], 0, 0
        self.page.on("request", lambda r: self.requests.append(r.url))
        self.page.on("console", lambda m: self.complaints.append(m.text) if m.type in ("error", "warning") else None)
        self.page.on("pageerror", lambda e: self.complaints.append(str(e)))
        self.page.add_init_script(f"localStorage.getItem('who') || localStorage.setItem('who', {name!r})")
        self.page.goto(served.link())
        self.page.wait_for_selector(".stack")

    def tap(self, target, **how) -> None:
        """Taps what is named: a button's or a link's text, or a place on the page."""
        if isinstance(target, str):
            exact = how.pop("exact", True)
            target = (
                self.page.get_by_role("button", name=target, exact=exact)
                .or_(self.page.get_by_role("link", name=target, exact=exact))
                .last
            )
        target.tap(**how)
        self.taps += 1

    def type(self, field, text: str) -> None:
        field.fill(text)
        self.typed += len(text)

    def go(self, way: str) -> None:
        self.page.evaluate("way => { location.hash = way }", way)

    def settle(self, milliseconds=30_000) -> None:
        """Waits until nothing is on the way any more."""
        self.page.locator(".state[data-kept='0']:not(.waits)").wait_for(timeout=milliseconds)

    def outside(self) -> list[str]:
        """What was asked of anything but the page itself."""
        home = f"//127.0.0.1:{self.served.port}/"
        return [url for url in self.requests if home not in url and not url.startswith("blob:")]
