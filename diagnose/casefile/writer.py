"""Writes a case document as YAML that the reader gives back unchanged, and puts files in place whole or not at all."""

from __future__ import annotations

import contextlib
import os
import re
from pathlib import Path
from typing import Any

_PLAIN = re.compile(r"[A-Za-z0-9°µ][\w°µ²³/.()+%±§·-]*(?: [\w°µ²³/.()+%±§·–…&-]+)*")
_NOTHING = {"", "~", "null"}
_SIGNS = {"\n": "\\n", "\t": "\\t", '"': '\\"', "\\": "\\\\"}


def scalar(text: str) -> str:
    """A text as a YAML scalar: plain where that is safe, else in double quotes with every odd sign escaped."""
    if _PLAIN.fullmatch(text) and text.isprintable() and text.lower() not in _NOTHING:
        return text
    return '"' + "".join(_SIGNS.get(c) or (c if c.isprintable() else _escape(c)) for c in text) + '"'


def _escape(sign: str) -> str:
    return f"\\u{ord(sign):04X}" if ord(sign) < 0x10000 else f"\\U{ord(sign):08X}"


class Written(str):
    """A value that is on one line already."""


def flow(value: Any) -> str:
    """A value on one line; None where nothing was written."""
    if isinstance(value, Written):
        return value
    if isinstance(value, dict):
        return "{" + ", ".join(f"{scalar(k)}: {flow(v)}" for k, v in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(map(flow, value)) + "]"
    return "null" if value is None else scalar(value)


def render(document: dict[str, Any], heading: str = "") -> bytes:
    """A case file: sections as blocks, one line a record. `heading` becomes a comment above it."""
    lines: list[str] = []
    for key, value in document.items():
        if isinstance(value, dict) and value:
            lines.append(f"{scalar(key)}:")
            for name, inner in value.items():
                lines += _block(name, inner, "  ")
        else:
            lines += _block(key, value, "")
    return commented(heading) + ("\n".join(lines) + "\n").encode()


def commented(text: str) -> bytes:
    """A text as lines of comment."""
    return "".join(f"# {line}\n" for line in text.splitlines()).encode()


def _block(key: str, value: Any, indent: str) -> list[str]:
    records = isinstance(value, list) and any(isinstance(x, dict | Written) for x in value)
    if not records:
        return [f"{indent}{scalar(key)}: {flow(value)}"]
    return [f"{indent}{scalar(key)}:", *(f"{indent}  - {flow(x)}" for x in value)]


def put(path: Path, data: bytes) -> None:
    """Replaces the file in one step: after a crash it holds the old bytes or the new ones. One writer at a time:
    the temporary name is fixed so that a crash leaves at most one behind. Raises OSError."""
    temporary = path.with_name(f".{path.name}.new")
    mode = path.stat().st_mode & 0o777 if path.exists() else 0o666
    with contextlib.suppress(FileNotFoundError):
        temporary.unlink()
    try:
        with open(os.open(temporary, os.O_WRONLY | os.O_CREAT | os.O_EXCL, mode), "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        os.replace(temporary, path)
    except BaseException:
        with contextlib.suppress(OSError):
            temporary.unlink()
        raise
    sync_folder(path.parent)


def sync_folder(folder: Path) -> None:
    """Makes a new or renamed file's name last. Raises OSError."""
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
