"""A read rule base kept for the next start, so that its YAML is not parsed and checked again.

The copy is JSON (nothing in it can run), under the user's cache folder, named by the rule base's folder and the tool's
own model. It holds for the files it was made from: their names, sizes, inodes and times of change, as version control
systems tell it; files changed so lately that a second change might not show are read by their bytes. A copy that is
missing, damaged or of another version is made anew; where the folder cannot be written the tool goes on without.
DIAGNOSE_CACHE names another folder, or switches the cache off with "off".
"""

from __future__ import annotations

import dataclasses
import functools
import hashlib
import json
import os
import tempfile
import time
import types
import typing
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from diagnose.knowledge import model
from diagnose.knowledge.reader import contents_of, digest_of, read_knowledge


def open_knowledge(folder: Path, drafts: bool = False) -> model.Knowledge:
    """The rule base of a folder, from the cache where its files are unchanged. Raises BadInput."""
    place = cache_folder()
    files = _files(folder) if place else []
    if place is None or not files:
        return read_knowledge(folder, drafts)
    named = f"{os.path.realpath(folder)}|{folder.name}|{drafts}|{_model_digest()}"
    path = place / f"knowledge-{hashlib.sha256(named.encode()).hexdigest()[:32]}.json"
    seen = hashlib.sha256(repr(files).encode()).hexdigest()
    try:
        stored = json.loads(path.read_bytes())
        settled = stored["seen"] == seen and stored["settled"]
        if settled or stored["digest"] == digest_of(contents_of(folder)):
            knowledge = decode(stored["knowledge"])
            if not settled:
                _store(path, {**stored, "seen": seen, "settled": _settled(files)})
            return knowledge
    except (OSError, ValueError, KeyError, TypeError, IndexError, RecursionError):
        pass
    knowledge = read_knowledge(folder, drafts)
    encoded = encode(knowledge)
    _store(path, {"seen": seen, "settled": _settled(files), "digest": knowledge.digest, "knowledge": encoded})
    return knowledge


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


def encode(value: Any) -> Any:
    """A knowledge object as plain JSON values; a dataclass becomes the list of its fields."""
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return [encode(getattr(value, f.name)) for f in dataclasses.fields(value)]
    if isinstance(value, (tuple, list)):
        return [encode(v) for v in value]
    if isinstance(value, Mapping):
        return {k: encode(v) for k, v in value.items()}
    return value


def decode(plain: Any) -> model.Knowledge:
    """The rule base back from `encode`. Raises ValueError, TypeError or KeyError where it does not fit."""
    return _decoder(model.Knowledge)(plain)


@functools.cache
def _decoder(hint: Any) -> Callable[[Any], Any]:
    """A function that rebuilds a value of the hinted type."""
    origin, inner = typing.get_origin(hint), typing.get_args(hint)
    if dataclasses.is_dataclass(hint):
        return _class_decoder(typing.cast(type, hint))
    if origin in (typing.Union, types.UnionType):
        (kept,) = (h for h in inner if h is not type(None))
        read = _decoder(kept)
        return lambda v: None if v is None else read(v)
    if origin is tuple and inner[-1] is Ellipsis:
        if inner[0] in (str, float, int, bool):
            return tuple
        item = _decoder(inner[0])
        return lambda v: tuple([item(x) for x in v])
    if origin is tuple:
        items = [_decoder(h) for h in inner]
        return lambda v: tuple(read(x) for read, x in zip(items, v, strict=True))
    if origin is not None and issubclass(origin, Mapping):
        if inner[1] in (str, float, int, bool, Any):
            return dict
        item = _decoder(inner[1])
        return lambda v: {k: item(x) for k, x in v.items()}
    return lambda v: v


def _class_decoder(kind: type) -> Callable[[Any], Any]:
    names = [f.name for f in dataclasses.fields(kind)]
    reads: list[tuple[int, Callable[[Any], Any]]] = []

    def read(row: list[Any]) -> Any:
        if len(row) != len(names):
            raise ValueError(f"{kind.__name__} has other fields")
        row = list(row)
        for i, inner in reads:
            row[i] = inner(row[i])
        made: Any = object.__new__(kind)
        made.__dict__.update(zip(names, row, strict=True))
        return made

    hints = typing.get_type_hints(kind)
    for i, name in enumerate(names):
        hint = hints[name]
        if hint not in (str, float, int, bool, Any):
            reads.append((i, _lazily(hint)))
    return read


def _lazily(hint: Any) -> Callable[[Any], Any]:
    """The decoder of a hint, found at first use, since a condition holds conditions."""
    found: list[Callable[[Any], Any]] = []

    def read(value: Any) -> Any:
        if not found:
            found.append(_decoder(hint))
        return found[0](value)

    return read


@functools.cache
def _model_digest() -> str:
    """Changes whenever the model or the reader changes, so that an old copy is never taken for a new one."""
    total = hashlib.sha256()
    for path in sorted(Path(__file__).parent.glob("*.py")):
        total.update(path.read_bytes())
    return total.hexdigest()


def _store(path: Path, value: Any) -> None:
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(dir=path.parent, prefix=path.stem)
        with os.fdopen(handle, "w", encoding="utf-8") as out:
            json.dump(value, out, ensure_ascii=False, separators=(",", ":"))
        os.replace(name, path)
        for old in sorted(path.parent.glob("knowledge-*.json"), key=lambda p: p.stat().st_mtime)[:-8]:
            old.unlink(missing_ok=True)
    except OSError:
        return
