"""The journal of a case: one JSON line an answer, each chained to the line before it, never changed again.

A line has number, time, who, what, before (the digest of the line before it, "" for the first) and digest (sha256 of
the line without its digest). A line counts once it ends with a newline; bytes after the last newline are an answer
that a crash cut off and that was never acknowledged.
"""

from __future__ import annotations

import contextlib
import errno
import fcntl
import hashlib
import json
import os
import socket
import time
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from diagnose.casefile.writer import sync_folder
from diagnose.reading.files import read_file
from diagnose.reading.problems import BadInput, Problem, Where

MOST_BYTES = 64_000_000
RECORDS, SHOWS = ".lock", ".page"
"""Endings of the lock files of a case: one who records it, one who shows it as a page."""
A_WHILE = 0.05
"""Seconds between two tries to take a lock."""
_KEYS = {"number": int, "time": str, "who": str, "what": dict, "before": str, "digest": str}
Clock = Callable[[], datetime]


def now() -> datetime:
    return datetime.now(UTC)


@dataclass(frozen=True)
class Line:
    number: int
    time: str
    who: str
    what: Mapping[str, Any]
    before: str
    digest: str

    def text(self) -> str:
        return _json({key: getattr(self, key) for key in _KEYS})


@dataclass(frozen=True)
class Journal:
    """What a journal file holds: its sound lines from the first on, the first mistake in it, a cut-off tail, and its size
    in bytes."""

    lines: tuple[Line, ...]
    broken: Problem | None = None
    tail: bytes = b""
    size: int = field(default=0, compare=False)


def journal_path(case: Path) -> Path:
    return case.with_name(case.name + ".journal")


def _json(value: Any) -> str:
    return json.dumps(value, ensure_ascii=False, separators=(",", ":"), allow_nan=False)


def make_line(number: int, before: str, what: Mapping[str, Any], who: str, when: datetime) -> Line:
    """The next line of a chain. Raises ValueError where `what` or `who` cannot be written as UTF-8 JSON."""
    fields = {"number": number, "time": when.isoformat(timespec="milliseconds"), "who": who, "what": what,
              "before": before}  # fmt: skip
    return Line(**fields, digest=_digest(fields))  # type: ignore[arg-type]


def _digest(fields: Mapping[str, Any]) -> str:
    return hashlib.sha256(_json(fields).encode()).hexdigest()


def read_journal(path: Path) -> Journal:
    """Reads and checks a journal file. Raises BadInput where it cannot be read at all."""
    try:
        data = read_file(path, MOST_BYTES)
    except OSError as error:
        way_out = "split the case" if error.errno == errno.EFBIG else ""
        raise _bad(str(path), 1, "unreadable", f"the journal cannot be read: {error.strerror}", way_out) from error
    return parse_journal(data, str(path))


def parse_journal(data: bytes, name: str) -> Journal:
    """The sound lines from the start of a journal, up to the first broken one."""
    *complete, tail = data.split(b"\n")
    lines: list[Line] = []
    for number, raw in enumerate(complete, 1):
        try:
            lines.append(_read_line(raw, number, lines[-1].digest if lines else ""))
        except ValueError as error:
            way_out = "bring back an unbroken copy of the journal; the lines before this one are sound"
            return Journal(
                tuple(lines), Problem(Where(name, number), "journal-broken", str(error), way_out), tail, len(data)
            )
    return Journal(tuple(lines), None, tail, len(data))


def _read_line(raw: bytes, number: int, before: str) -> Line:
    try:
        text = raw.decode()
        fields = json.loads(text)
        shape = {k: type(v) for k, v in fields.items()} if isinstance(fields, dict) else {}
        if shape != _KEYS or _json(fields) != text:
            raise ValueError
    except (ValueError, RecursionError) as error:
        raise ValueError(f"line {number} is no journal line") from error
    line = Line(**fields)
    if _digest({k: v for k, v in fields.items() if k != "digest"}) != line.digest:
        raise ValueError(f"line {number} was changed: its text does not fit its own digest")
    if line.number != number or line.before != before:
        raise ValueError(f"line {number} does not follow the line before it: a line was removed, added or moved")
    return line


def stands(path: Path, size: int, end: bytes) -> bool:
    """Whether a journal still has this size and this end: nobody removed, shortened or exchanged it. Raises OSError."""
    try:
        handle = os.open(path, os.O_RDONLY | os.O_NONBLOCK)
    except FileNotFoundError:
        return size == 0
    try:
        return os.fstat(handle).st_size == size and os.pread(handle, len(end), size - len(end)) == end
    finally:
        os.close(handle)


def append(path: Path, lines: Iterable[Line]) -> int:
    """Puts lines on disk at the end of the journal, whole or not at all, and returns its size then. Raises OSError; the
    file is then as before unless the disk refuses even that, in which case its cut-off tail is recognised later."""
    new = not path.exists()
    handle = os.open(path, os.O_WRONLY | os.O_APPEND | os.O_CREAT, 0o666)
    try:
        size = os.fstat(handle).st_size
        try:
            left = "".join(line.text() + "\n" for line in lines).encode()
            while left:
                left = left[os.write(handle, left) :]
            os.fsync(handle)
            after = os.fstat(handle).st_size
        except OSError:
            with contextlib.suppress(OSError):
                os.ftruncate(handle, size)
                os.fsync(handle)
            raise
    finally:
        os.close(handle)
    if new:
        sync_folder(path.parent)
    return after


def cut_tail(path: Path, tail: bytes) -> None:
    """Takes the cut-off bytes at the end away. Raises OSError."""
    handle = os.open(path, os.O_WRONLY)
    try:
        os.ftruncate(handle, os.fstat(handle).st_size - len(tail))
        os.fsync(handle)
    finally:
        os.close(handle)


class Lock:
    """Keeps a second recorder off a case. The operating system frees the lock when its holder dies, so a lock file
    whose lock can be taken is stale; one of another computer cannot be judged from here and is respected."""

    def __init__(self, case: Path, who: str, since: datetime, ending: str = RECORDS):
        self.case, self.path, self.handle = case, case.with_name(case.name + ending), -1
        self.mine = {"who": who, "host": socket.gethostname(), "pid": os.getpid(),
                     "since": since.isoformat(timespec="seconds")}  # fmt: skip
        self.taken_over = ""

    def take(self, patience: float = 0.0) -> None:
        """Raises BadInput where another session holds the case for longer than `patience` seconds, OSError where no lock
        file can be written."""
        end = time.monotonic() + patience
        while True:
            self.handle = os.open(self.path, os.O_RDWR | os.O_CREAT, 0o666)
            try:
                fcntl.flock(self.handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
            except BlockingIOError:
                holder = self._holder()
                os.close(self.handle)
                if time.monotonic() < end:
                    time.sleep(A_WHILE)
                    continue
                raise self._held(holder, "wait until it is left, or end that session") from None
            if self._current():
                break
            os.close(self.handle)
        holder = self._holder()
        if holder and holder.get("host") != self.mine["host"]:
            os.close(self.handle)
            raise self._held(holder, f"if that session is over, remove {self.path}")
        if holder:
            self.taken_over = f"{_session(holder)} ended without closing the case; its lock was taken over"
        try:
            os.ftruncate(self.handle, 0)
            os.pwrite(self.handle, _json(self.mine).encode(), 0)
            os.fsync(self.handle)
        except OSError:
            self.free()
            raise

    def free(self) -> None:
        with contextlib.suppress(OSError):
            self.path.unlink()
        os.close(self.handle)

    def _current(self) -> bool:
        """Whether the locked file is still the one of that name; its last holder may have removed it meanwhile."""
        try:
            return os.path.samestat(os.fstat(self.handle), os.stat(self.path))
        except FileNotFoundError:
            return False

    def _holder(self) -> dict[str, Any]:
        return _written(self.handle)

    def _held(self, holder: Mapping[str, Any], way_out: str) -> BadInput:
        who = _session(holder) if holder else "another session"
        return BadInput([Problem(Where(str(self.case), 0, 0), "locked", f"{who} is recording this case", way_out)])


def held(case: Path, ending: str) -> str:
    """Who holds a case in another process: "sam on bench-pc (process 12, since …)"; "" where nobody does."""
    try:
        handle = os.open(case.with_name(case.name + ending), os.O_RDONLY | os.O_NONBLOCK)
    except OSError:
        return ""
    try:
        fcntl.flock(handle, fcntl.LOCK_SH | fcntl.LOCK_NB)
    except OSError:
        holder = _written(handle)
        return _session(holder) if holder.get("pid") != os.getpid() else ""
    finally:
        os.close(handle)
    return ""


def _written(handle: int) -> dict[str, Any]:
    try:
        holder = json.loads(os.pread(handle, 4096, 0))
    except (OSError, ValueError):
        return {}
    return holder if isinstance(holder, dict) else {}


def _session(holder: Mapping[str, Any]) -> str:
    said = {
        k: "".join(c for c in str(holder.get(k, "?"))[:60] if c.isprintable()) for k in ("who", "host", "pid", "since")
    }
    return f"{said['who']} on {said['host']} (process {said['pid']}, since {said['since']})"


def _bad(name: str, line: int, code: str, says: str, way_out: str = "") -> BadInput:
    return BadInput([Problem(Where(name, line), code, says, way_out)])
