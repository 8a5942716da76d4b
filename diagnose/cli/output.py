"""Files that commands write: never over what people wrote or recorded."""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Iterable
from pathlib import Path

from diagnose.casefile.format import TOP
from diagnose.cli.common import MOST_BYTES, refuse
from diagnose.reading.files import read_file

_KEPT = {
    ".yaml": "a case or a file of a rule base",
    ".yml": "a case or a file of a rule base",
    ".journal": "the journal of a case",
    ".lock": "the lock of a case",
}
_OWN = (".journal", ".lock")
_PHOTOS = (".jpg", ".jpeg", ".png", ".gif", ".webp", ".heic", ".heif", ".tif", ".tiff", ".bmp", ".dng")


def refuse_over_input(output: Path | None, inputs: Iterable[Path] = ()) -> None:
    """Raises BadInput where a result would go over a file that was read for it, any case, journal or photo, or a file of
    a rule base. `inputs` are files, and folders whose files may not be written over."""
    if output is None:
        return
    target = Path(os.path.realpath(output))
    if not (target.exists() or target.suffix.lower() in _OWN):
        return
    what = _KEPT.get(target.suffix.lower(), "a photo" if target.suffix.lower() in _PHOTOS else "")
    for path in inputs:
        inside = path.is_dir() and target.exists() and target.is_relative_to(os.path.realpath(path))
        if inside or (path.exists() and target.exists() and path.samefile(target)):
            what = what or ("a file that is read here" if not inside else f"a file of {path}")
    if not what and _is_case(target):
        what = "a case"
    if what:
        raise refuse(f"nothing is written: {output.name} is {what}", "name another file", what=str(output))


def _is_case(path: Path) -> bool:
    """Whether a file is a case that was written as JSON."""
    try:
        data = read_file(path, MOST_BYTES) if path.is_file() else b""
        case = json.loads(data) if data.lstrip()[:1] == b"{" else {}
    except (OSError, ValueError, RecursionError):
        return False
    return isinstance(case.get("case"), str) and set(case) <= set(TOP)


def write(path: Path | None, data: bytes, inputs: Iterable[Path] = ()) -> None:
    """Writes to the file, or to standard output where none is named. What an ordinary file held before stays until the
    new is on disk whole. Raises BadInput."""
    from diagnose.casefile.writer import put

    if path is None:
        sys.stdout.buffer.write(data)
        return
    refuse_over_input(path, inputs)
    try:
        target = Path(os.path.realpath(path))
        ordinary = target.is_file() or not target.exists()
        if ordinary and os.access(target.parent, os.W_OK):
            put(target, data)
        else:
            path.write_bytes(data)
    except OSError as error:
        raise refuse(f"cannot write: {error.strerror}", "name another file", what=str(path)) from error
