"""A read rule base kept for the next start, so that its YAML is not parsed and checked again.

The copy is JSON (nothing in it can run), under the user's cache folder, named by the rule base's folder and the tool's
own model. It holds for the files it was made from: their names, sizes, inodes and times of change, as version control
systems tell it; files changed so lately that a second change might not show are read by their bytes. A copy that is
missing, of another version, no longer as it was written (its head keeps the digest of its bytes), or that somebody else
could have written is made anew; where the folder cannot be written the tool goes on without.
DIAGNOSE_CACHE names another folder, or switches the cache off with "off".
"""

from __future__ import annotations

import errno
import functools
import hashlib
import os
import tempfile
import time
from dataclasses import dataclass, replace
from pathlib import Path

import msgspec

from diagnose import reading
from diagnose.knowledge import model
from diagnose.knowledge.files import contents_of, digest_of
from diagnose.reading.files import read_file

MOST_BYTES = 200_000_000

MADE_BY = (Path(__file__).parent, Path(reading.__file__).parent)
"""The folders of code and tables that a copy depends on."""


@dataclass(frozen=True)
class About:
    """The first line of a copy. `seen`: the digest of the files' names, sizes and times when it was last held against
    them, `settled` whether a later change must show in those; `digest`: that of the rule base; `encoded`: that of the
    bytes that follow."""

    seen: str
    settled: bool
    digest: str
    encoded: str


def open_knowledge(folder: Path, drafts: bool = False) -> model.Knowledge:
    """The rule base of a folder, from the cache where its files are unchanged. Raises BadInput."""
    place = cache_folder()
    files = _files(folder) if place else []
    if place is None or not files:
        return read_knowledge(folder, drafts)
    named = f"{os.path.realpath(folder)}|{folder.name}|{drafts}|{_model_digest()}"
    path = place / f"knowledge-{_digest(os.fsencode(named))[:32]}.json"
    seen = _digest(repr(files).encode())
    try:
        kept = _own(path)
        end = kept.find(b"\n")
        about, encoded = msgspec.json.decode(kept[:end], type=About), memoryview(kept)[end + 1 :]
        settled = about.seen == seen and about.settled
        if about.encoded == _digest(encoded) and (settled or about.digest == digest_of(contents_of(folder))):
            knowledge = decode(encoded)
            if not settled:
                _store(path, replace(about, seen=seen, settled=_settled(files)), encoded)
            return knowledge
    except (OSError, msgspec.DecodeError, RecursionError):
        pass
    knowledge = read_knowledge(folder, drafts)
    made = encode(knowledge)
    _store(path, About(seen, _settled(files), knowledge.digest, _digest(made)), made)
    return knowledge


def read_knowledge(folder: Path, drafts: bool = False) -> model.Knowledge:
    """The rule base of a folder, read anew. Raises BadInput."""
    # what reads it is seldom needed
    from diagnose.knowledge.reader import read_knowledge as read

    return read(folder, drafts)


def _own(path: Path) -> bytes:
    """The bytes of a file that only this user writes. Raises OSError."""
    about = path.stat()
    if hasattr(os, "geteuid") and (about.st_uid != os.geteuid() or about.st_mode & 0o022):
        raise PermissionError(errno.EPERM, "others may have written this file", str(path))
    return read_file(path, MOST_BYTES)


def _digest(data: bytes | memoryview) -> str:
    return hashlib.sha256(data).hexdigest()


def _files(folder: Path) -> list[tuple[str, int, int, int, int]]:
    """(name, size, inode, time of change of bytes, of status) of every file of a rule base; none where it cannot be
    looked at."""
    found = []

    def walk(path: str) -> None:
        with os.scandir(path) as entries:
            for entry in entries:
                if entry.is_dir():
                    walk(entry.path)
                elif entry.name.endswith(".yaml"):
                    about = entry.stat()
                    found.append((entry.path, about.st_size, about.st_ino, about.st_mtime_ns, about.st_ctime_ns))

    try:
        walk(str(folder))
    except OSError:
        return []
    return sorted(found)


def _settled(files: list[tuple[str, int, int, int, int]]) -> bool:
    """Whether the last change is old enough that the next one must have another time."""
    return time.time_ns() - max(max(f[3:]) for f in files) > 1_000_000_000


def cache_folder() -> Path | None:
    named = os.environ.get("DIAGNOSE_CACHE", "")
    if named == "off":
        return None
    if named:
        return Path(named)
    base = os.environ.get("XDG_CACHE_HOME") or os.path.expanduser("~/.cache")
    return Path(base) / "diagnose" if os.path.isabs(base) else None


def encode(knowledge: model.Knowledge) -> bytes:
    """A rule base as JSON."""
    return msgspec.json.encode(knowledge)


def decode(encoded: bytes | memoryview) -> model.Knowledge:
    """The rule base back from `encode`. Raises msgspec.DecodeError where it does not fit."""
    return msgspec.json.decode(encoded, type=model.Knowledge)


@functools.cache
def _model_digest() -> str:
    """Changes whenever the model, a reader or the table of units changes, so that an old copy is never taken for a new
    one."""
    total = hashlib.sha256()
    for folder in MADE_BY:
        for path in sorted(p for p in folder.iterdir() if p.suffix in (".py", ".json")):
            total.update(f"{folder.name}/{path.name}".encode() + path.read_bytes())
    return total.hexdigest()


def _store(path: Path, about: About, encoded: bytes | memoryview) -> None:
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(dir=path.parent, prefix=path.stem)
        with os.fdopen(handle, "wb") as out:
            out.write(msgspec.json.encode(about) + b"\n")
            out.write(encoded)
        os.replace(name, path)
        for old in sorted(path.parent.glob("knowledge-*.json"), key=lambda p: p.stat().st_mtime)[:-8]:
            old.unlink(missing_ok=True)
    except OSError:
        return
