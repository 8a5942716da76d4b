"""A person at a terminal: starts a command under a pseudo-terminal, reads what is asked and types answers."""

from __future__ import annotations

import re
import time

import pexpect

_CONTROLS = re.compile(r"\x1b(\[[0-9;?]*[ -/]*[@-~]|[()][A-Z0-9]|[=>78])|\r(?!\n)|[\x00-\x08\x0e-\x1f]")


class Terminal:
    """`answer_speed` is the pause between keys in seconds; `sent` counts the bytes the program wrote."""

    def __init__(self, command: list[str], columns: int = 120, term: str = "xterm", **more):
        env = {**more.pop("env", {}), "TERM": term}
        self.process = pexpect.spawn(command[0], command[1:], dimensions=(30, columns), env=env, timeout=60, **more)
        self.process.delaybeforesend = None
        self.sent = 0
        self.all = ""

    def question(self, patience: float = 60.0) -> str:
        """Everything written since the last answer, once it ends in a question; "" where the program has ended."""
        raw, end = b"", time.monotonic() + patience
        while time.monotonic() < end:
            try:
                raw += self.process.read_nonblocking(65536, timeout=0.01)
            except pexpect.TIMEOUT:
                if plain(raw).rstrip(" ").endswith((":", "?")):
                    break
            except pexpect.EOF:
                break
        else:
            raise TimeoutError(plain(raw)[-400:])
        self.sent += len(raw)
        self.all += plain(raw)
        return plain(raw) if self.process.isalive() else ""

    def shows(self, text: str, patience: float = 20.0) -> bool:
        """Whether the program writes this text before long."""
        written, end = "", time.monotonic() + patience
        while text not in written and time.monotonic() < end:
            try:
                written += plain(self.process.read_nonblocking(65536, timeout=0.05))
            except pexpect.TIMEOUT:
                continue
        self.all += written
        return text in written

    def answer(self, text: str) -> None:
        self.process.send(text + "\r")

    def ended(self) -> int | None:
        """Waits for the end; the exit code, or None where a signal ended it."""
        self.process.close(force=False) if not self.process.isalive() else self.process.wait()
        return self.process.exitstatus


def plain(raw: bytes) -> str:
    return _CONTROLS.sub("", raw.decode(errors="replace")).replace("\r\n", "\n")
