"""What people wrote in a file, as an object."""

from __future__ import annotations

import dataclasses
from typing import Any, TypeVar

from msgspec import Struct, structs

from diagnose.reading.problems import Where

T = TypeVar("T")
NOWHERE = Where("")


class Entry(Struct, frozen=True, omit_defaults=True):
    """Something written; where it stands takes no part in comparisons. Made, kept and read back in far less time than a
    dataclass."""

    def __eq__(self, other: object) -> bool:
        return type(other) is type(self) and self._said() == other._said()

    def __hash__(self) -> int:
        return hash(self._said())

    def _said(self) -> tuple[Any, ...]:
        return tuple([getattr(self, name) for name in self.__struct_fields__ if name != "where"])


def replace(thing: T, **changes: Any) -> T:
    """A copy of an entry, or of a dataclass, with something changed."""
    if isinstance(thing, Struct):
        return structs.replace(thing, **changes)
    return dataclasses.replace(thing, **changes)  # type: ignore[type-var]
