"""Brings the index up to date with the case files: reads what is new or changed, judges that and what another rule base
judged, and drops what is gone."""

from __future__ import annotations

import hashlib
import os
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

from diagnose.evaluation.batch import Done, Work, judged
from diagnose.evaluation.score import cases_in
from diagnose.inference.run import load
from diagnose.library.like import tells
from diagnose.library.pool import SHARED, take_in
from diagnose.library.seals import seals
from diagnose.library.store import Entry, Held, Store, written
from diagnose.reading.files import shown_name
from diagnose.reading.located import read_bytes
from diagnose.reading.problems import Problems

A_BATCH = 400
"""Files that go into the index in one transaction."""
SETTLED = 1_000_000_000
"""Nanoseconds after which a second change of a file must show in its times."""


@dataclass
class Synced:
    """What a run did; `broken` are the files that cannot be judged, each with its problems."""

    new: int = 0
    changed: int = 0
    judged_again: int = 0
    gone: int = 0
    same: int = 0
    broken: dict[str, tuple[str, ...]] = field(default_factory=dict)


def sync(
    folder: Path, knowledge: Path, workers: int, tell: Callable[[int], None] = lambda _: None, cluster: str = "",
    seconds: float = 0.0, afresh: bool = False, expected: Callable[[int], None] = lambda _: None,
) -> Synced:  # fmt: skip
    """Syncs the index of a folder. `expected` hears how many files must be looked into, `tell` how many more are done.
    Raises BadInput, OSError."""
    base = load(knowledge)
    digest = base.knowledge.digest
    with written(folder, afresh) as store:
        _Sync(store, folder, digest, tell).run(
            lambda todo: judged(todo, knowledge, workers, cluster, seconds, seals), expected, done := Synced()
        )
        take_in(store, folder / SHARED, base.knowledge)
        store.tell({"knowledge": digest, "version": base.knowledge.version, "tells": tells(base.knowledge)})
    return done


class _Sync:
    def __init__(self, store: Store, folder: Path, knowledge: str, tell: Callable[[int], None]):
        self.store, self.folder, self.knowledge, self.tell = store, folder, knowledge, tell
        self.held = store.files()
        self.read: dict[str, Held] = {}
        self.looked: dict[str, str] = {}

    def run(self, judge: Callable[[Iterator[Work]], Iterator[list[Done]]], expected: Callable[[int], None], done: Synced) -> None:  # fmt: skip
        paths = {shown_name(p.relative_to(self.folder)): p for p in cases_in(self.folder)}
        stale = {n: p for n, p in paths.items() if not self._same(n, p)}
        expected(len(stale))
        waiting: list[Entry] = []
        for some in judge(self._works(stale, done)):
            waiting += [self._entry(one, done) for one in some]
            if len(waiting) >= A_BATCH:
                self._keep(waiting)
            self.tell(len(some))
        self._keep(waiting)
        gone = sorted(set(self.held) - set(paths))
        self.store.drop(gone)
        done.gone = len(gone)
        done.same = len(paths) - done.new - done.changed - done.judged_again - len(done.broken)

    def _same(self, name: str, path: Path) -> bool:
        """Whether a file is known as it stands, by its size and times alone. What was broken is looked at again."""
        held = self.held.get(name)
        return bool(
            held and held.seen and not held.problem and held.knowledge == self.knowledge and held.seen == _seen(path)
        )

    def _works(self, stale: dict[str, Path], done: Synced) -> Iterator[Work]:
        """The files to judge, read one by one; those that hold what they held are only noted."""
        for name in sorted(stale):
            seen, problems = _seen(stale[name]), Problems()
            data = read_bytes(stale[name], name, problems)
            held = self.held.get(name)
            if data is None:
                told = tuple(map(str, problems.errors()))
                done.broken[name] = told
                self.store.put([Entry(name, Held("", "", self.knowledge, "\n".join(told)))])
                self.tell(1)
                continue
            digest = hashlib.sha256(data).hexdigest()
            if held and (held.digest, held.knowledge, held.problem) == (digest, self.knowledge, ""):
                self.looked[name] = seen
                self.tell(1)
                continue
            self.read[name] = Held(digest, seen, self.knowledge, "")
            yield Work(name, data)

    def _entry(self, one: Done, done: Synced) -> Entry:
        read, held = self.read.pop(one.name), self.held.get(one.name)
        if one.problems:
            done.broken[one.name] = one.problems
            return Entry(one.name, Held(read.digest, read.seen, read.knowledge, "\n".join(one.problems)))
        if held is None:
            done.new += 1
        elif held.digest != read.digest or held.problem:
            done.changed += 1
        else:
            done.judged_again += 1
        return Entry(one.name, read, one.rows)

    def _keep(self, waiting: list[Entry]) -> None:
        self.store.put(waiting)
        self.store.seen(self.looked)
        waiting.clear()
        self.looked.clear()


def _seen(path: Path) -> str:
    """A file's size, inode and times; "" where a change made right now could leave them as they are."""
    try:
        about = os.stat(path)
    except OSError:
        return ""
    if time.time_ns() - max(about.st_mtime_ns, about.st_ctime_ns) < SETTLED:
        return ""
    return f"{about.st_size} {about.st_ino} {about.st_mtime_ns} {about.st_ctime_ns}"
