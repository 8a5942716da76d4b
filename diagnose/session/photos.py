"""Photos in a session: by name, or the newest of the folder that a camera writes to."""

from __future__ import annotations

import os
from collections.abc import Iterable
from pathlib import Path

from diagnose.casefile.photos import newest, photo_entry
from diagnose.casefile.replay import What
from diagnose.reading.figures import number_of
from diagnose.reading.problems import BadInput
from diagnose.session.talk import Talk

NEWEST = ("newest", "new")


class Photos:
    """`folder`: where pictures come from, None where none was named."""

    def __init__(self, talk: Talk, folder: Path | None = None, keep_location: bool = False):
        self.talk, self.folder, self.keep_location = talk, folder, keep_location

    def entry(self, name: str) -> dict[str, str]:
        """Path and digest of a photo, asked for again while it cannot be read; nothing where it is left out."""
        while name:
            try:
                return photo_entry(self.talk.recorder.case, self._path(name), self.keep_location)
            except BadInput as error:
                self.talk.tell(error)
            name = self.talk.ask("  the photo again (Enter: without): ")
        return {}

    def pick(self) -> str:
        """A photo by name, or by its place among the newest of the folder; "" for none."""
        if self.folder is None:
            return self.talk.ask("  which photo: ")
        try:
            found = newest(self.folder)
        except BadInput as error:
            self.talk.tell(error)
            return ""
        for i, path in enumerate(found, 1):
            self.talk.say(f"  {i} {path.name}")
        answer = self.talk.ask("  which photo (its number or name; Enter: none): ")
        place = number_of(answer)
        return str(found[place - 1]) if 0 < place <= len(found) else answer

    def _path(self, name: str) -> str:
        """The path of a photo; a name alone may lie in the folder. Raises BadInput."""
        if self.folder is None:
            return name
        if name.lower() in NEWEST:
            return str(next(iter(newest(self.folder, 1)), name))
        inside = str(self.folder / name)
        return inside if os.path.exists(inside) else name


def more_photos(part: str, photos: Iterable[dict[str, str]], feature: str = "") -> list[What]:
    """Photos beyond the first of a mark, each a remark on its part that names the mark."""
    about = {k: v for k, v in (("part", part), ("of", feature)) if v}
    return [{"add": "remarks", "entry": {**about, **photo}} for photo in photos]
