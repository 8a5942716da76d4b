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


KEPT_STREAMS = """() => { if (window.streams) return; window.streams = []; const ask = navigator.mediaDevices.getUserMedia.bind(navigator.mediaDevices);
    navigator.mediaDevices.getUserMedia = async (how) => { const found = await ask(how); window.streams.push(found); return found; }; }"""
"""Keeps every stream of the camera at hand, to see that it is let go."""


def browser_options() -> list[str]:
    """A camera that shows a moving pattern, and may be used without asking."""
    camera = ["--use-fake-device-for-media-stream", "--use-fake-ui-for-media-stream"]
    return [*camera, *(["--no-sandbox"] if os.geteuid() == 0 else [])]


class Served:
    """`diagnose page` in a process of its own, at one port however often it is started. `told`: what it printed."""

    def __init__(self, target: Path, *options: str):
        self.target, self.options, self.port = target, options, free_port()
        self.process, self.told, self.home = None, "", ""
        self.start()

    def start(self) -> None:
        call = [sys.executable, "-m", "diagnose", "page", str(self.target), "--port", str(self.port), *self.options]
        self.process = subprocess.Popen(
            call, stdout=subprocess.PIPE, text=True, bufsize=1, env={**os.environ, "PYTHONUNBUFFERED": "1"}
        )

    def link(self) -> str:
        """The next key's link, as the command prints it."""
        for line in self.process.stdout:
            self.told += line
            if found := re.search(r"(https?://\S+)/enter\S+", line):
                self.home = found.group(1)
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
        self.name, self.served, self.requests, self.complaints, self.taps, self.typed = name, served, [], [], 0, 0
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

    def photo(self) -> None:
        """Takes one with the camera."""
        self.page.evaluate(KEPT_STREAMS)
        self.tap("Photo")
        self.tap(self.page.get_by_role("button", name="Take the photo", disabled=False))

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
        return [url for url in self.requests if not url.startswith((f"{self.served.home}/", "blob:"))]
