"""Photos that tablets send: checked to be pictures, kept beside the case under a name made of their digest."""

from __future__ import annotations

import hashlib
import re
from pathlib import Path

from diagnose.casefile.photos import MOST_PHOTO_BYTES
from diagnose.casefile.writer import put

KINDS = {"image/jpeg": ".jpg", "image/png": ".png", "image/webp": ".webp"}
_NAME = re.compile(r"-[0-9a-f]{16}\.(jpg|png|webp)")


def kind_of(data: bytes) -> str:
    """The media type of a picture that is shown; "" for anything else, whatever it claims to be."""
    if data.startswith(b"\xff\xd8\xff"):
        return "image/jpeg"
    if data.startswith(b"\x89PNG\r\n\x1a\n"):
        return "image/png"
    return "image/webp" if data[:4] == b"RIFF" and data[8:12] == b"WEBP" else ""


def keep(case: Path, data: bytes) -> str:
    """Puts a photo beside the case and returns its name, the same for the same bytes. Raises ValueError, OSError."""
    kind = kind_of(data)
    if not kind or len(data) > MOST_PHOTO_BYTES:
        raise ValueError("a photo is a JPEG, PNG or WebP picture of at most 20 MB")
    path = case.with_name(f"{case.stem}-{hashlib.sha256(data).hexdigest()[:16]}{KINDS[kind]}")
    if not path.exists():
        put(path, data)
    return path.name


def is_own_name(name: str, case: Path) -> bool:
    """Whether `keep` may have given this name to a photo of this case."""
    return name.startswith(case.stem) and bool(_NAME.fullmatch(name[len(case.stem) :]))
