"""The photos that a case names, read from beside its file."""

from __future__ import annotations

import hashlib
from pathlib import Path

from diagnose.casefile.model import Case, Observation, Remark
from diagnose.casefile.photos import MOST_PHOTO_BYTES
from diagnose.reading.files import read_file
from diagnose.views.report.told import Photo

_IMAGES = ((b"\x89PNG\r\n\x1a\n", "image/png"), (b"\xff\xd8\xff", "image/jpeg"), (b"GIF8", "image/gif"))


def read_photos(case: Case, path: Path) -> dict[str, Photo]:
    """Every photo that the case names, read from beside its file."""
    records: tuple[Observation | Remark, ...] = (*case.observations, *case.remarks)
    return {name: read_photo(path, name) for name in sorted({x.photo for x in records if x.photo})}


def read_photo(path: Path, name: str) -> Photo:
    """One photo beside a case; no data, and the problem, where it is none that can be shown."""
    folder = path.resolve().parent
    file = (folder / name).resolve()
    if not file.is_relative_to(folder):
        return Photo(None, problem="this file does not lie beside the case, so it is not read")
    try:
        data = read_file(file, MOST_PHOTO_BYTES)
    except FileNotFoundError:
        return Photo(None, problem="this photo is missing beside the case file")
    except OSError as error:
        return Photo(None, problem=f"this photo cannot be read: {error.strerror}")
    digest = hashlib.sha256(data).hexdigest()
    kind = next((kind for start, kind in _IMAGES if data.startswith(start)), "")
    if data[:4] == b"RIFF" and data[8:12] == b"WEBP":
        kind = "image/webp"
    if not kind:
        return Photo(None, digest=digest, problem="this file is no PNG, JPEG, GIF or WebP image, so it is not shown")
    return Photo(data, kind, digest)
