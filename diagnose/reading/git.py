"""What git has stored of a folder, asked so that nothing else runs: a folder's own configuration can name programs for the
state of its files, for its filters and for fetching, and it may come from a stranger."""

from __future__ import annotations

import os
import subprocess
from collections.abc import Mapping
from pathlib import Path

_ALONE = {"GIT_ALLOW_PROTOCOL": "", "GIT_NO_LAZY_FETCH": "1"}
"""Keeps git from fetching what is missing, by whatever program the configuration names."""
_FILE = b"100"
"""How the mode of a plain file begins; links and other repositories have other ones."""


class NotStored(ValueError):
    """What git says where it has no such thing."""


def ask(folder: Path, *words: str, given: bytes = b"") -> bytes:
    """What git answers in a folder. Raises NotStored, and OSError where git cannot be run."""
    call = ["git", "-C", str(folder), *words]
    done = subprocess.run(call, input=given, capture_output=True, check=False, env={**os.environ, **_ALONE})
    if done.returncode:
        raise NotStored(*done.stderr.decode("utf-8", "replace").strip().splitlines()[-1:])
    return done.stdout


def stored(folder: Path, revision: str, inside: str = ".") -> dict[str, str]:
    """The plain files of a revision below a part of a folder, by their path from the folder, with the names of their
    contents. Raises as `ask`."""
    told = ask(folder, "ls-tree", "-r", "-z", revision, "--", inside)
    rows = (row.partition(b"\t") for row in told.split(b"\0") if row)
    files = {os.fsdecode(path): about.split()[2].decode() for about, _, path in rows if about.startswith(_FILE)}
    return {path: name for path, name in files.items() if ".." not in Path(path).parts}


def contents(folder: Path, files: Mapping[str, str]) -> dict[str, bytes]:
    """The files that `stored` names, as they are stored. Raises as `ask`."""
    told = ask(folder, "cat-file", "--batch", given="".join(f"{name}\n" for name in files.values()).encode())
    result = {}
    for path in files:
        head, _, told = told.partition(b"\n")
        kind, size = head.split()[1:] if head.count(b" ") == 2 else (b"", b"0")
        if kind != b"blob":
            raise NotStored(f"{path} is not in this copy of the repository")
        result[path], told = told[: int(size)], told[int(size) + 1 :]
    return result
