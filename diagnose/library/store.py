"""The index beside the case files: one SQLite file that holds what the files say and nothing else, so that it can be
thrown away and made anew at any time.

Every change is one transaction of a write-ahead log, so a crash or a full disk leaves the index as it was before or after
it, and readers go on meanwhile. One process writes at a time (an advisory lock that dies with its holder).
"""

from __future__ import annotations

import contextlib
import fcntl
import hashlib
import json
import os
import re
import sqlite3
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import msgspec

from diagnose.library.seals import Confirmed, Seal, Verdict
from diagnose.reading.problems import BadInput, Problem, Where

INDEX, LOCK = ".diagnose-library.sqlite", ".diagnose-library.lock"
DAMAGED = (sqlite3.Error, UnicodeDecodeError)
"""What reading an index raises that somebody or something has changed."""
PIECE = 500
"""Seals that are read at once."""
FORM = 2
"""Moves with what is kept; an index of another form, or with other tables than SCHEMA makes, is made anew."""


def _of_its_kind(column: re.Match[str]) -> str:
    """A column that takes no value of another kind, which SQLite alone would not refuse (STRICT tables want SQLite 3.37)."""
    kinds = f"'{column['kind'].lower()}'" + ("" if column["needed"] else ", 'null'")
    return f"{column[0]} CHECK (typeof({column['name']}) IN ({kinds}))"


SCHEMA = re.sub(
    r"(?P<name>\w+) (?P<kind>TEXT|REAL|INTEGER)(?! PRIMARY)(?P<needed> NOT NULL)?",
    _of_its_kind,
    """
CREATE TABLE about (key TEXT PRIMARY KEY, value TEXT NOT NULL) WITHOUT ROWID;
CREATE TABLE word (id INTEGER PRIMARY KEY, text TEXT NOT NULL UNIQUE);
CREATE TABLE file (
  id INTEGER PRIMARY KEY, site TEXT NOT NULL, name TEXT NOT NULL, digest TEXT NOT NULL, seen TEXT NOT NULL,
  knowledge TEXT NOT NULL, problem TEXT NOT NULL, UNIQUE (site, name)
);
CREATE TABLE seal (
  id INTEGER PRIMARY KEY, file INTEGER NOT NULL REFERENCES file (id) ON DELETE CASCADE, site TEXT NOT NULL,
  case_name TEXT NOT NULL, position TEXT NOT NULL, tag TEXT NOT NULL, batch TEXT NOT NULL,
  fitted TEXT NOT NULL, removed TEXT NOT NULL,
  removal TEXT NOT NULL, hours REAL, cost REAL, hours_lost REAL, none_of_these REAL NOT NULL, root TEXT NOT NULL,
  root_standing TEXT NOT NULL, root_probability REAL NOT NULL, mechanism TEXT NOT NULL,
  mechanism_standing TEXT NOT NULL, mechanism_probability REAL NOT NULL, confirmed_root TEXT NOT NULL,
  confirmed_mechanism TEXT NOT NULL, confirmed TEXT NOT NULL, outcomes TEXT NOT NULL
);
CREATE INDEX seal_file ON seal (file);
CREATE INDEX seal_tag ON seal (site, tag);
CREATE TABLE setting (
  seal INTEGER NOT NULL REFERENCES seal (id) ON DELETE CASCADE, setting INTEGER NOT NULL, term INTEGER NOT NULL,
  PRIMARY KEY (seal, setting, term)
) WITHOUT ROWID;
CREATE INDEX setting_term ON setting (setting, term);
CREATE TABLE finding (
  seal INTEGER NOT NULL REFERENCES seal (id) ON DELETE CASCADE, finding INTEGER NOT NULL, present INTEGER NOT NULL,
  PRIMARY KEY (seal, finding)
) WITHOUT ROWID;
CREATE INDEX finding_seal ON finding (finding, present);
CREATE TABLE verdict (
  seal INTEGER NOT NULL REFERENCES seal (id) ON DELETE CASCADE, rank INTEGER NOT NULL, kind TEXT NOT NULL,
  name INTEGER NOT NULL, standing INTEGER NOT NULL, probability REAL NOT NULL, PRIMARY KEY (seal, kind, rank)
) WITHOUT ROWID;
""",
)
_SEAL = ("file", "site", "case_name", "position", "tag", "batch", "fitted", "removed", "removal", "hours", "cost", "hours_lost",
         "none_of_these", "root", "root_standing", "root_probability", "mechanism", "mechanism_standing",
         "mechanism_probability", "confirmed_root", "confirmed_mechanism", "confirmed", "outcomes")  # fmt: skip
_INSERT = f"INSERT INTO seal ({', '.join(_SEAL)}) VALUES ({', '.join('?' * len(_SEAL))})"


@dataclass(frozen=True)
class Held:
    """What the index holds of a file. `seen`: its size, inode and times when it was read, "" where they may not be
    trusted; `problem`: what is wrong with it."""

    digest: str
    seen: str
    knowledge: str
    problem: str


@dataclass(frozen=True)
class Entry:
    """A file as it goes into the index."""

    name: str
    held: Held
    seals: tuple[Seal, ...] = ()


class Store:
    """An open index. Every method that writes is one transaction. Raises sqlite3.Error."""

    def __init__(self, connection: sqlite3.Connection):
        self.db = connection
        self._words: dict[str, int] = {}

    @contextmanager
    def transaction(self) -> Iterator[None]:
        self.db.execute("BEGIN IMMEDIATE")
        try:
            yield
            self.db.execute("COMMIT")
        except BaseException:
            self._words.clear()
            with contextlib.suppress(sqlite3.Error):
                self.db.execute("ROLLBACK")
            raise

    def about(self, key: str) -> str:
        row = self.db.execute("SELECT value FROM about WHERE key = ?", (key,)).fetchone()
        return row[0] if row else ""

    def tell(self, about: Mapping[str, str]) -> None:
        with self.transaction():
            self.db.executemany("REPLACE INTO about VALUES (?, ?)", about.items())

    def files(self, site: str = "") -> dict[str, Held]:
        rows = self.db.execute("SELECT name, digest, seen, knowledge, problem FROM file WHERE site = ?", (site,))
        return {name: Held(*rest) for name, *rest in rows}

    def put(self, entries: Iterable[Entry], site: str = "", gone: Iterable[str] = ()) -> None:
        """Puts files into the index in place of what it held of them, and takes those out that are gone."""
        with self.transaction():
            for name in gone:
                self._remove(name, site)
            for entry in entries:
                self._remove(entry.name, site)
                held = entry.held
                file = self.db.execute(
                    "INSERT INTO file (site, name, digest, seen, knowledge, problem) VALUES (?, ?, ?, ?, ?, ?)",
                    (site, entry.name, held.digest, held.seen, held.knowledge, held.problem),
                ).lastrowid
                for seal in entry.seals:
                    self._add(file, site, seal)

    def seen(self, seen: Mapping[str, str]) -> None:
        """Notes that files were looked at again and hold what they held."""
        with self.transaction():
            self.db.executemany(
                "UPDATE file SET seen = ? WHERE site = '' AND name = ?", [(s, n) for n, s in seen.items()]
            )

    def drop(self, names: Iterable[str], site: str = "") -> None:
        self.put((), site, names)

    def _remove(self, name: str, site: str) -> None:
        self.db.execute("DELETE FROM file WHERE site = ? AND name = ?", (site, name))

    def _add(self, file: int | None, site: str, seal: Seal) -> None:
        root, mechanism, confirmed = seal.leading("cause"), seal.leading("mechanism"), seal.confirmed
        nothing = Verdict("", "", "", 0.0)
        leading = [x for v in (root or nothing, mechanism or nothing) for x in (v.name, v.standing, v.probability)]
        outcomes = json.dumps([vars(o) for o in seal.outcomes], ensure_ascii=False)
        id = self.db.execute(_INSERT, (
            file, site, seal.case, seal.position, seal.tag, seal.batch, seal.fitted, seal.removed, seal.removal, seal.hours,
            seal.cost, seal.hours_lost, seal.none_of_these, *leading,
            confirmed.roots[0] if confirmed and confirmed.roots else "",
            confirmed.mechanisms[0] if confirmed and confirmed.mechanisms else "",
            confirmed.how if confirmed else "", outcomes,
        )).lastrowid  # fmt: skip
        word = self.word
        self.db.executemany("INSERT INTO setting VALUES (?, ?, ?)", [(id, word(s), word(t)) for s, t in seal.settings])
        self.db.executemany("INSERT INTO finding VALUES (?, ?, ?)", [(id, word(f), p) for f, p in seal.findings])
        self.db.executemany(
            "INSERT INTO verdict VALUES (?, ?, ?, ?, ?, ?)",
            [(id, i, v.kind, word(v.name), word(v.standing), v.probability) for i, v in enumerate(seal.verdicts)],
        )

    def word(self, text: str) -> int:
        """The number of a text, given it now where it has none."""
        if text not in self._words:
            self.db.execute("INSERT OR IGNORE INTO word (text) VALUES (?)", (text,))
            self._words[text] = self.db.execute("SELECT id FROM word WHERE text = ?", (text,)).fetchone()[0]
        return self._words[text]

    def rows(self, query: str, values: Sequence[Any] = ()) -> list[sqlite3.Row]:
        return self.db.execute(query, values).fetchall()

    def seals(
        self, where: str = "TRUE", values: Sequence[Any] = (), order: str = "seal.site, file.name, position"
    ) -> Iterator[tuple[str, str, Seal]]:
        """(site, file, seal) of the seals for which a condition over `file` and `seal` holds, in that order."""
        query = f"SELECT seal.*, file.name FROM seal JOIN file ON file.id = seal.file WHERE {where} " \
                f"ORDER BY {order}"  # fmt: skip
        found = self.db.execute(query, values)
        while piece := found.fetchmany(PIECE):
            try:
                listed = self._listed([row["id"] for row in piece])
                fields: list[list[Any]] = [
                    [*(row[c] for c in _SEAL[2:13]), *listed[row["id"]], outcomes_of(row["outcomes"])] for row in piece
                ]
            except (KeyError, msgspec.DecodeError) as error:
                raise sqlite3.DatabaseError("its tables do not fit together") from error
            for row, values in zip(piece, fields, strict=True):
                yield row["site"], row["name"], Seal(*values)

    def _listed(self, ids: Sequence[int]) -> dict[int, tuple[Any, ...]]:
        """The settings, findings and verdicts of some seals."""
        words = dict(self.db.execute("SELECT id, text FROM word").fetchall())
        these = ", ".join(map(str, ids))

        def of(table: str, columns: str, order: str) -> dict[int, list[Any]]:
            rows: dict[int, list[Any]] = {id: [] for id in ids}
            for id, *rest in self.db.execute(
                f"SELECT seal, {columns} FROM {table} WHERE seal IN ({these}) ORDER BY {order}"
            ):
                rows[id].append(rest)
            return rows

        settings, findings = of("setting", "setting, term", "seal"), of("finding", "finding, present", "seal")
        verdicts = of("verdict", "kind, name, standing, probability", "seal, rank")
        return {
            id: (
                tuple(sorted((words[s], words[t]) for s, t in settings[id])),
                tuple(sorted((words[f], bool(p)) for f, p in findings[id])),
                tuple(Verdict(kind, words[n], words[s], p) for kind, n, s, p in verdicts[id]),
            )
            for id in ids
        }

    def content(self) -> str:
        """A digest of all that the index holds, in whatever order and under whatever numbers it was put in."""
        total = hashlib.sha256()
        for row in self.db.execute("SELECT site, name, digest, knowledge, problem FROM file ORDER BY site, name"):
            total.update(repr(tuple(row)).encode())
        for found in self.seals():
            total.update(repr(found).encode())
        return total.hexdigest()


def outcomes_of(text: str) -> tuple[Confirmed, ...]:
    return msgspec.json.decode(text, type=tuple[Confirmed, ...])


def pairs_of(text: str) -> dict[str, tuple[float, float]]:
    """Two numbers by name. Raises sqlite3.DatabaseError where a text of the index is none of that."""
    try:
        return msgspec.json.decode(text, type=dict[str, tuple[float, float]])
    except msgspec.DecodeError as error:
        raise sqlite3.DatabaseError("its tables do not fit together") from error


def index_path(folder: Path) -> Path:
    return folder / INDEX


def library_of(case: Path) -> Path | None:
    """The nearest folder above a case that has an index."""
    return next((f for f in Path(os.path.realpath(case)).parents if index_path(f).is_file()), None)


@contextmanager
def written(folder: Path, afresh: bool = False) -> Iterator[Store]:
    """The index of a folder to write to, made where there is none, anew where it is of another form or damaged. Raises
    BadInput where another process writes to it or the disk refuses."""
    path = index_path(folder)
    try:
        with _alone(folder):
            if afresh or not _usable(path):
                remove(path)
            with contextlib.closing(_connect(path)) as db:
                if not db.execute("SELECT 1 FROM sqlite_master").fetchone():
                    _make(db)
                yield Store(db)
    except DAMAGED as error:
        raise _refused(
            path, str(error), "make room or mend the folder's rights and sync again, or build the index anew: --afresh"
        ) from error


@contextmanager
def opened(folder: Path) -> Iterator[Store]:
    """The index of a folder to read. Raises BadInput where there is none or it is damaged."""
    path = index_path(folder)
    if not path.is_file():
        raise _refused(folder, "there is no library here", f"diagnose library sync {folder}")
    try:
        with contextlib.closing(_connect_to_read(path)) as db:
            if not _has_our_form(db):
                raise _refused(path, "the index is of another version", f"diagnose library sync {folder}")
            yield Store(db)
    except DAMAGED as error:
        way_out = f"diagnose library sync {folder} --afresh"
        if not os.access(folder, os.W_OK):
            way_out = "read it where its folder can be written to"
        raise _refused(path, f"the index cannot be read: {error}", way_out) from error


def remove(path: Path) -> None:
    for name in (path, *(path.with_name(path.name + end) for end in ("-wal", "-shm", "-journal"))):
        name.unlink(missing_ok=True)


def _connect(path: Path) -> sqlite3.Connection:
    db = sqlite3.connect(path, timeout=10.0, isolation_level=None)
    try:
        db.row_factory = sqlite3.Row
        db.execute("PRAGMA journal_mode = WAL")
        db.execute("PRAGMA synchronous = NORMAL")
        db.execute("PRAGMA foreign_keys = ON")
    except BaseException:
        db.close()
        raise
    return db


def _connect_to_read(path: Path) -> sqlite3.Connection:
    """An index whose folder cannot be written to is read as it stands, if nothing of it waits in a write-ahead log."""
    log = path.with_name(path.name + "-wal")
    if os.access(path.parent, os.W_OK) or (log.exists() and log.stat().st_size):
        return _connect(path)
    db = sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro&immutable=1", uri=True, isolation_level=None)
    db.row_factory = sqlite3.Row
    return db


def _make(db: sqlite3.Connection) -> None:
    db.executescript(f"BEGIN; {SCHEMA} PRAGMA user_version = {FORM}; COMMIT;")


def _has_our_form(db: sqlite3.Connection) -> bool:
    with contextlib.closing(sqlite3.connect(":memory:")) as new:
        _make(new)
        return _tables(db) == _tables(new)


def _tables(db: sqlite3.Connection) -> list[tuple[Any, ...]]:
    """What makes a database of this form: its number, and how its tables, indexes and all else were made."""
    made = db.execute("SELECT name, sql FROM sqlite_master ORDER BY name").fetchall()
    return [tuple(row) for row in (*db.execute("PRAGMA user_version").fetchall(), *made)]


def _usable(path: Path) -> bool:
    if not path.is_file():
        return True
    try:
        with contextlib.closing(_connect(path)) as db:
            return _has_our_form(db)
    except (sqlite3.DatabaseError, UnicodeDecodeError):
        return False


@contextmanager
def _alone(folder: Path) -> Iterator[None]:
    """Keeps other writers off. Raises BadInput where there is one, OSError where no lock file can be made."""
    handle = os.open(folder / LOCK, os.O_RDWR | os.O_CREAT, 0o666)
    try:
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            raise _refused(folder, "another process is syncing this library", "wait until it is done") from None
        yield
    finally:
        os.close(handle)


def _refused(path: Path, says: str, way_out: str) -> BadInput:
    return BadInput([Problem(Where(str(path), 0, 0), "library", says, way_out)])
