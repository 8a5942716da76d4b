"""What a machine's seals went through, in the order in which they were fitted: lives, causes, changes, and what came back."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from diagnose.casefile.format import FAILED, RUNNING
from diagnose.library.life import HOURS_A_DAY
from diagnose.library.seals import Seal, day
from diagnose.library.store import Store


@dataclass(frozen=True)
class Lived:
    """One seal of a machine. `hours`: run, or between its dates, None where neither is on record; `after`: "longer",
    "shorter", "longer already" (it still runs) or "" where it cannot be said, against the seal before it at the same
    position; `change`: what was changed before it was fitted."""

    file: str
    seal: Seal
    hours: float | None
    root: str
    mechanism: str
    confirmed: bool
    change: tuple[str, ...]
    after: str


@dataclass(frozen=True)
class Repeat:
    """A root cause or mechanism that came back in more than one case of the machine; in how many it was confirmed."""

    kind: str
    name: str
    files: tuple[str, ...]
    confirmed: int


@dataclass(frozen=True)
class History:
    tag: str
    seals: tuple[Lived, ...]
    repeats: tuple[Repeat, ...]


def history(store: Store, tag: str, site: str = "", apart: str = "") -> History:
    """The seals of a machine by the day on which they came out (or were fitted, where they still run), then by name; `apart`
    is a file that is left out."""
    where = "seal.site = ? AND seal.tag = ? AND file.name <> ?"
    found = sorted(store.seals(where, (site, tag, apart)), key=lambda x: _order(x[2], x[1]))
    lived: list[Lived] = []
    last: dict[str, Lived] = {}
    for _, file, seal in found:
        before = last.get(seal.position)
        root, mechanism, confirmed = what(seal)
        hours = seal.hours if seal.hours is not None else _by_dates(seal)
        change = before.seal.confirmed.changed if before and before.seal.confirmed else ()
        one = Lived(file, seal, hours, root, mechanism, confirmed, change, _after(before, seal, hours))
        lived.append(one)
        last[seal.position] = one
    return History(tag, tuple(lived), _repeats(lived))


def tags(store: Store, site: str = "") -> list[str]:
    return [
        row[0] for row in store.rows("SELECT DISTINCT tag FROM seal WHERE site = ? AND tag <> '' ORDER BY tag", (site,))
    ]


def what(seal: Seal) -> tuple[str, str, bool]:
    """(root cause, mechanism, whether confirmed): as confirmed, else as the tool said where it said at least probable. A
    seal that did not fail has neither."""
    if seal.removal != FAILED:
        return "", "", False
    if (outcome := seal.confirmed) and (outcome.roots or outcome.mechanisms or outcome.none_of_these):
        return " and ".join(outcome.roots), " and ".join(outcome.mechanisms), True
    said = [
        v.name if v and v.standing in ("established", "probable") else ""
        for v in map(seal.leading, ("cause", "mechanism"))
    ]
    return said[0], said[1], False


def _order(seal: Seal, file: str) -> tuple[bool, str, str, str]:
    return (seal.removal == RUNNING, seal.removed or seal.fitted or (seal.confirmed.day if seal.confirmed else ""), file,
            seal.position)  # fmt: skip


def _by_dates(seal: Seal) -> float | None:
    fitted, removed = day(seal.fitted), day(seal.removed)
    return (removed - fitted).days * HOURS_A_DAY if fitted and removed else None


def _after(before: Lived | None, seal: Seal, hours: float | None) -> str:
    """A life cut short by pulling the seal sound, or still going on, can only be longer."""
    if before is None or before.hours is None or hours is None or before.seal.removal != FAILED:
        return ""
    if seal.removal == FAILED:
        return "longer" if hours > before.hours else "shorter" if hours < before.hours else ""
    if hours <= before.hours:
        return ""
    return "longer already" if seal.removal == RUNNING else "longer"


def _repeats(lived: Sequence[Lived]) -> tuple[Repeat, ...]:
    found: dict[tuple[str, str], list[Lived]] = {}
    for one in lived:
        for kind, name in (("cause", one.root), ("mechanism", one.mechanism)):
            if name:
                found.setdefault((kind, name), []).append(one)
    repeats = [
        Repeat(kind, name, tuple(dict.fromkeys(x.file for x in some)), len({x.file for x in some if x.confirmed}))
        for (kind, name), some in found.items() if len({x.file for x in some}) > 1
    ]  # fmt: skip
    return tuple(sorted(repeats, key=lambda r: (r.kind, -len(r.files), r.name)))


def document(h: History) -> dict[str, Any]:
    """The history as plain data."""
    return {
        "machine": h.tag,
        "seals": [
            {"file": x.file, "case": x.seal.case, "position": x.seal.position, "fitted": x.seal.fitted,
             "removed": x.seal.removed, "removal": x.seal.removal, "hours": x.hours, "cause": x.root,
             "mechanism": x.mechanism, "confirmed": x.seal.confirmed.how if x.confirmed and x.seal.confirmed else "",
             "changed before": list(x.change), "than the one before": x.after}
            for x in h.seals
        ],
        "repeats": [{"kind": r.kind, "name": r.name, "files": list(r.files), "confirmed": r.confirmed} for r in h.repeats],
    }  # fmt: skip
