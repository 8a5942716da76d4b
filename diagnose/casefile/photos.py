"""Photos of a case: they lie beside the case file, and their digests are on record."""

from __future__ import annotations

import hashlib
import os
from pathlib import Path

from diagnose.casefile.replay import State
from diagnose.casefile.writer import put
from diagnose.reading.files import read_file
from diagnose.reading.problems import BadInput, Problem, Where

MOST_PHOTO_BYTES = 20_000_000
_PICTURES = (b"\x89PNG\r\n\x1a\n", b"\xff\xd8\xff", b"GIF8", b"RIFF", b"II*\x00", b"MM\x00*", b"BM")


def photo_entry(case: Path, photo: str) -> dict[str, str]:
    """Path beside the case and sha256 of a photo; a picture that lies elsewhere is copied in beside the case. Raises
    BadInput where it cannot be read, is no file, or is too large."""
    folder = Path(os.path.realpath(case)).parent
    path = Path(os.path.realpath(photo if Path(photo).exists() else folder / photo))
    try:
        data = read_file(path, MOST_PHOTO_BYTES)
    except OSError as error:
        raise _refused(case, f"the photo {photo!r} cannot be read: {error.strerror}") from error
    if not path.is_relative_to(folder):
        if not (data.startswith(_PICTURES) or data[4:8] == b"ftyp"):
            raise _refused(case, f"{photo!r} is not beside the case file and no picture, so it is not copied there",
                           f"copy it into {folder}")  # fmt: skip
        path = _copied(case, folder, path.name, data)
    return {"photo": path.relative_to(folder).as_posix(), "photo digest": hashlib.sha256(data).hexdigest()}


def _copied(case: Path, folder: Path, name: str, data: bytes) -> Path:
    """Where in the folder these bytes lie under this name, or one like it where another file has it; copied if need be."""
    stem, ending = Path(name).stem, Path(name).suffix
    for number in range(1, 1000):
        path = folder / (name if number == 1 else f"{stem}-{number}{ending}")
        try:
            if not path.exists() and not path.is_symlink():
                put(path, data)
                return path
            if path.is_file() and path.stat().st_size == len(data) and read_file(path, MOST_PHOTO_BYTES) == data:
                return path
        except OSError as error:
            says = f"the photo {name!r} cannot be copied in beside the case: {error.strerror}"
            raise _refused(case, says) from error
    raise _refused(case, f"a thousand photos are called {name!r}", "rename it")


def changed_photos(case: Path, state: State) -> list[str]:
    """What is wrong with the photos on record: gone or no longer the same."""
    told = []
    for record in state.records:
        photo, digest = record.entry.get("photo"), record.entry.get("photo digest")
        if not photo or not digest:
            continue
        try:
            if hashlib.sha256(read_file(case.parent / photo, MOST_PHOTO_BYTES)).hexdigest() != digest:
                told.append(f"photo {photo} (record {record.id}) is no longer the one that was recorded")
        except OSError:
            told.append(f"photo {photo} (record {record.id}) is gone")
    return told


def _refused(case: Path, says: str, way_out: str = "") -> BadInput:
    return BadInput([Problem(Where(case.name, 0, 0), "photo", says, way_out)])
