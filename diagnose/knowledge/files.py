"""The files of a rule base: which they are, their digest, their names."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from pathlib import Path, PurePath

from diagnose.reading.files import read_file, shown_name
from diagnose.reading.located import MOST_BYTES


def files_of(folder: Path) -> list[Path]:
    """Every YAML file of a rule base, in a fixed order; rule tests are not part of the knowledge."""
    found = (p for p in folder.rglob("*.yaml") if is_knowledge(p))
    return sorted(found, key=lambda p: p.relative_to(folder).as_posix())


def is_knowledge(path: PurePath) -> bool:
    return path.name.endswith(".yaml") and not path.name.endswith(".test.yaml")


def contents_of(folder: Path) -> dict[str, bytes]:
    """The bytes of every file of a rule base by relative name. Raises OSError."""
    return {shown_name(path.relative_to(folder)): read_file(path, MOST_BYTES) for path in files_of(folder)}


def digest_of(contents: Mapping[str, bytes]) -> str:
    """sha256 over the names and bytes of all files, in name order."""
    total = hashlib.sha256()
    for name in sorted(contents):
        total.update(name.encode() + b"\0" + hashlib.sha256(contents[name]).digest())
    return total.hexdigest()


def file_stem(name: str) -> str:
    """The file name of an item: its name with hyphens for spaces, other signs left out."""
    kept = "".join(c if c.isalnum() or c in " -" else " " for c in name.lower())
    return "-".join(kept.replace("-", " ").split())
