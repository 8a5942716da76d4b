"""Photos of a case: they lie beside the case file, without where they were taken, and their digests are on record."""

from __future__ import annotations

import hashlib
import io
import os
import struct
import warnings
from collections.abc import Iterator
from pathlib import Path

from diagnose.casefile.replay import State
from diagnose.casefile.writer import put
from diagnose.reading.files import read_file
from diagnose.reading.problems import BadInput, Problem, WayOut, Where

MOST_PHOTO_BYTES = 20_000_000
ENDINGS = (".jpg", ".jpeg", ".png", ".webp", ".gif", ".tif", ".tiff", ".bmp", ".heic", ".heif")
_OURS = (".yaml", ".yml", ".journal", ".lock")
_JPEG, _PNG = b"\xff\xd8\xff", b"\x89PNG\r\n\x1a\n"
_PICTURES = (_PNG, _JPEG, b"GIF8", b"RIFF", b"II*\x00", b"MM\x00*", b"BM")
_GPS = 0x8825
"""The Exif tag of location data (CIPA DC-008, Exif 2.3, from memory)."""
_BROKEN = (OSError, SyntaxError, ValueError, TypeError, KeyError, OverflowError, EOFError, struct.error)
"""What Pillow raises where a picture is broken."""
_EXIF, _XMP = b"Exif\x00\x00", b"http://ns.adobe.com/xap/1.0/\x00"


def photo_entry(case: Path, photo: str, keep_location: bool = False) -> dict[str, str]:
    """Path beside the case and sha256 of a photo. A picture that lies elsewhere, or that says where it was taken unless
    `keep_location`, is copied in beside the case, without that; its orientation stays. Raises BadInput where it cannot be
    read, is no file, is too large, or its location data cannot be taken out."""
    folder = Path(os.path.realpath(case)).parent
    try:
        path = Path(os.path.realpath(photo if os.path.exists(photo) else folder / photo))
        data = read_file(path, MOST_PHOTO_BYTES)
    except (OSError, ValueError) as error:  # ValueError: a name with a sign that no name can have
        says = error.strerror if isinstance(error, OSError) else str(error)
        raise _refused(case, f"the photo {photo!r} cannot be read: {says}") from error
    if path.suffix.lower() in _OURS:
        raise _refused(case, f"{photo!r} is a case, a journal or a rule, no photo", "name a picture")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # Pillow warns of what is broken in a picture; it is kept as it is
        kept = data if keep_location else _without_location(case, photo, data)
    if not path.is_relative_to(folder) or kept != data:
        if not (data.startswith(_PICTURES) or data[4:8] == b"ftyp"):
            raise _refused(case, f"{photo!r} is not beside the case file and no picture, so it is not copied there",
                           f"copy it into {folder}")  # fmt: skip
        path = _copied(case, folder, path.name, kept)
    return {"photo": path.relative_to(folder).as_posix(), "photo digest": hashlib.sha256(kept).hexdigest()}


def newest(folder: Path, most: int = 9) -> list[Path]:
    """The newest pictures of a folder, newest first. Raises BadInput where the folder cannot be read."""
    try:
        found = [
            (p.stat().st_mtime_ns, p.name, p) for p in folder.iterdir() if p.suffix.lower() in ENDINGS and p.is_file()
        ]
    except OSError as error:
        raise _refused(folder, f"the folder {str(folder)!r} cannot be read: {error.strerror}") from error
    return [path for _, _, path in sorted(found, reverse=True)[:most]]


def _without_location(case: Path, photo: str, data: bytes) -> bytes:
    """The picture without where it was taken, everything else as it was. Raises BadInput where that cannot be done."""
    if data.startswith(_JPEG):
        return b"".join(_cleaned(data))
    if not _says_where(data):
        return data
    if data.startswith(_PNG) and (kept := _png_without_location(data)):
        return kept
    raise _refused(case, f"{photo!r} says where it was taken, and that cannot be taken out of this kind of picture",
                   WayOut("keep location", before="save it as JPEG or PNG, or take it as it is: "))  # fmt: skip


def _cleaned(data: bytes) -> Iterator[bytes]:
    """The segments of a JPEG file up to its image data, location data taken out, and the rest (ISO/IEC 10918-1 annex B,
    from memory)."""
    place = 2
    yield data[:2]
    while data[place : place + 1] == b"\xff" and data[place + 1 : place + 2] != b"\xda":
        end = place + 2 + int.from_bytes(data[place + 2 : place + 4], "big")
        if not place + 4 <= end <= len(data):
            break
        segment, content = data[place:end], data[place + 4 : end]
        if content.startswith(_EXIF):
            segment = _exif_segment(segment, content)
        elif content.startswith(_XMP) and b"GPS" in content:
            segment = b""
        yield segment
        place = end
    yield data[place:]


def _exif_segment(segment: bytes, content: bytes) -> bytes:
    from PIL import Image

    exif = Image.Exif()
    try:
        exif.load(content)
        if _GPS not in exif:
            return segment
        del exif[_GPS]
        kept = exif.tobytes()
    except _BROKEN:
        return b""  # what cannot be read may say where it was taken
    return segment[:2] + (len(kept) + 2).to_bytes(2, "big") + kept


def _says_where(data: bytes) -> bool:
    from PIL import Image

    try:
        with Image.open(io.BytesIO(data)) as picture:
            return _GPS in picture.getexif()
    except (*_BROKEN, Image.DecompressionBombError):
        return False


def _png_without_location(data: bytes) -> bytes:
    """Nothing for a picture that is broken."""
    from PIL import Image

    out = io.BytesIO()
    try:
        with Image.open(io.BytesIO(data)) as picture:
            exif = picture.getexif()
            del exif[_GPS]
            picture.save(out, "PNG", exif=exif.tobytes())
    except (*_BROKEN, Image.DecompressionBombError):
        return b""
    return out.getvalue()


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


def _refused(case: Path, says: str, way_out: str | WayOut = "") -> BadInput:
    return BadInput([Problem(Where(case.name, 0, 0), "photo", says, way_out)])
