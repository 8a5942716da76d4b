"""Files as they come: read whole within a limit, and named in text whatever bytes their names are made of."""

from __future__ import annotations

import errno
import os
import stat
from pathlib import Path

_PIECE = 1 << 20


def read_file(path: Path, most: int) -> bytes:
    """The bytes of an ordinary file of at most `most` bytes.

    Raises OSError, also for what has no end or would be waited for: devices, pipes, files above the limit.
    """
    with open(path, "rb", opener=_without_waiting) as file:
        about = os.fstat(file.fileno())
        if not stat.S_ISREG(about.st_mode):
            raise OSError(errno.EINVAL, "this is no ordinary file but a device or a pipe", str(path))
        pieces, length = [], 0
        while length <= most and (piece := file.read(max(_PIECE, min(about.st_size, most) + 1))):
            pieces.append(piece)
            length += len(piece)
    if length > most:
        raise OSError(errno.EFBIG, f"the file is larger than {most:,} bytes", str(path))
    return b"".join(pieces)


def _without_waiting(path: str, flags: int) -> int:
    """Opens a pipe that nobody writes to, too, instead of waiting for somebody."""
    return os.open(path, flags | os.O_NONBLOCK)


def shown_name(path: Path) -> str:
    """A path as text that can be written anywhere: bytes that are not UTF-8 stand as \\xff."""
    return os.fsencode(path.as_posix()).decode("utf-8", "backslashreplace")
