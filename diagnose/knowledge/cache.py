"""A read rule base kept for the next start, so that its YAML is not parsed and checked again.

The copy is JSON (nothing in it can run), named by the digest of the rule base and of the tool's own model, under the
user's cache folder. A copy that is missing, damaged or of another version is made anew; where the folder cannot be
written the tool goes on without. DIAGNOSE_CACHE names another folder, or switches the cache off with "off".
"""

from __future__ import annotations

import dataclasses
import functools
import hashlib
import json
import os
import tempfile
import types
import typing
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from diagnose.knowledge import model
from diagnose.knowledge.reader import contents_of, digest_of, read_knowledge


def open_knowledge(folder: Path, drafts: bool = False) -> model.Knowledge:
    """The rule base of a folder, from the cache where its bytes are unchanged. Raises BadInput."""
    place = cache_folder()
    try:
        contents = contents_of(folder) if place and folder.is_dir() else {}
    except OSError:
        contents = {}
    if place is None or not contents:
        return read_knowledge(folder, drafts)
    key = f"{digest_of(contents)[:32]}-{_model_digest()[:12]}-{folder.name}{'-drafts' if drafts else ''}"
    path = place / f"knowledge-{hashlib.sha256(key.encode()).hexdigest()[:32]}.json"
    try:
        stored = json.loads(path.read_bytes())
        if stored["key"] == key:
            return decode(stored["knowledge"])
    except (OSError, ValueError, KeyError, TypeError, IndexError, RecursionError):
        pass
    knowledge = read_knowledge(folder, drafts)
    _store(path, {"key": key, "knowledge": encode(knowledge)})
    return knowledge


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
