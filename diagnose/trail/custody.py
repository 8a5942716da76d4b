"""What a diagnosis was made from and among: who recorded what, the photos, the rule base and the tool."""

from __future__ import annotations

import base64
import hashlib
import json
import lzma
import os
import platform
import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from diagnose.casefile.authors import Kept, kept, short
from diagnose.casefile.journal import MOST_BYTES, Line, journal_path
from diagnose.casefile.model import Case
from diagnose.casefile.photos import MOST_PHOTO_BYTES
from diagnose.casefile.wording import confirmed, describe_custody
from diagnose.knowledge.files import contents_of, digest_of, files_of, is_knowledge
from diagnose.knowledge.model import Knowledge
from diagnose.reading import git
from diagnose.reading.files import read_file

if TYPE_CHECKING:
    import networkx as nx

PACKAGES = ("experta", "msgspec", "networkx", "numpy", "pyyaml")
"""The libraries that a conclusion goes through."""
ENCODING = "JSON of every file by name, xz, base64"
MOST_UNPACKED = 100_000_000
Doc = dict[str, Any]


@dataclass(frozen=True)
class Around:
    """What lies around a case: its journal, the sha256 of each photo as it is now ("" where it is gone), the files of the
    rule base with their git revision, and the versions of tool, Python and libraries."""

    journal: bytes | None = None
    photos: Mapping[str, str] = field(default_factory=dict)
    contents: Mapping[str, bytes] = field(default_factory=dict)
    revision: str = ""
    python: str = ""
    packages: Mapping[str, str] = field(default_factory=dict)


def look_around(path: Path, case: Case, folder: Path) -> Around:
    """What lies around the case file at `path` and the rule base in `folder`. Raises OSError."""
    journal = journal_path(path.resolve())
    return Around(
        read_file(journal, MOST_BYTES) if journal.exists() else None, photos_now(path.resolve(), case), contents_of(folder),
        revision_of(folder), platform.python_version(), versions(),
    )  # fmt: skip


def photos_now(path: Path, case: Case) -> dict[str, str]:
    found = {}
    records: tuple[Any, ...] = (*case.observations, *case.remarks)
    for photo in sorted({r.photo for r in records if r.photo}):
        try:
            found[photo] = hashlib.sha256(read_file(path.parent / photo, MOST_PHOTO_BYTES)).hexdigest()
        except OSError:
            found[photo] = ""
    return found


def versions() -> dict[str, str]:
    from importlib.metadata import PackageNotFoundError, version

    found = {}
    for name in PACKAGES:
        try:
            found[name] = version(name)
        except PackageNotFoundError:
            found[name] = ""
    return found


def revision_of(folder: Path) -> str:
    """The git revision that the files of a rule base are of, with a word where they were changed since; "" outside git.

    Only what git has stored is asked for, and the files are held against it here: `git status` would run the programs that
    the configuration of a folder names, and a rule base may come from a stranger.
    """

    try:
        revision = os.fsdecode(git.ask(folder, "rev-parse", "HEAD")).strip()
        stored = git.stored(folder, "HEAD")
        now = {
            path.relative_to(folder).as_posix(): _blob(read_file(path, MOST_BYTES), len(revision))
            for path in files_of(folder)
        }
    except (OSError, git.NotStored):
        return ""
    if not stored:
        return ""
    known = {path: name for path, name in stored.items() if is_knowledge(Path(path))}
    return revision if now == known else f"{revision} and changes"


def _blob(data: bytes, digits: int) -> str:
    """The name that git gives to these bytes: sha1 where its names have 40 digits, else sha256."""
    made = hashlib.new("sha1" if digits == 40 else "sha256", usedforsecurity=False)
    made.update(b"blob %d\0" % len(data) + data)
    return made.hexdigest()


# ---- the rule base inside a trail ------------------------------------------------------------------------------------


def packed(contents: Mapping[str, bytes]) -> Doc:
    """The files of a rule base so that they fit into JSON; `unpacked` and any xz give them back."""
    text = json.dumps({n: contents[n].decode("utf-8") for n in sorted(contents)}, ensure_ascii=False)
    return {"encoding": ENCODING, "data": base64.b64encode(lzma.compress(text.encode())).decode()}


def unpacked(rules: Any) -> dict[str, bytes]:
    """The files of a rule base that a trail carries. Raises ValueError."""
    if not isinstance(rules, dict) or not isinstance(rules.get("data"), str):
        raise ValueError("they are not packed as they should be")
    try:
        inside = lzma.LZMADecompressor()
        data = base64.b64decode(rules["data"], validate=True)
        if base64.b64encode(data).decode() != rules["data"]:
            raise ValueError("stray bits")
        text = inside.decompress(data, MOST_UNPACKED)
        files = json.loads(text) if inside.eof and not inside.unused_data else None
    except (ValueError, lzma.LZMAError, RecursionError) as error:
        raise ValueError(f"they cannot be unpacked ({error})") from error
    if not isinstance(files, dict) or not all(isinstance(t, str) for t in files.values()):
        raise ValueError("they are no files by name")
    if not all(name.isprintable() for name in files):
        raise ValueError("a file has a name that cannot be written")
    return {name: text.encode("utf-8", "surrogatepass") for name, text in files.items()}


def beside(path: Path) -> Kept:
    """The journal beside a case file. Raises OSError."""
    path = path.resolve()
    journal = journal_path(path)
    return kept(read_file(path, MOST_BYTES), read_file(journal, MOST_BYTES) if journal.exists() else None)


# ---- what is told ----------------------------------------------------------------------------------------------------


def attach(graph: nx.DiGraph, case: Case, journal: Kept) -> None:
    """Adds to each record and setting of a graph who put it on record, when, and by which line of the journal."""
    records: tuple[Any, ...] = (*case.observations, *case.measured, *case.settings, *case.states, *case.acts)
    for record in records:
        line = journal.authors.get((record.where.line, record.where.column))
        if line and record.id in graph:
            graph.nodes[record.id]["by"] = author(line)


def author(line: Line) -> Doc:
    return {"who": line.who, "time": line.time, "number": line.number}


def journal_told(journal: Kept) -> Doc:
    return {"lines": len(journal.lines), "digest": journal.digest, "head": short(journal.digest), "case": journal.view,
            "says": journal.says}  # fmt: skip


def hands(case: Case) -> list[Doc]:
    """Acts of custody in the order of time."""
    return [
        {"parts": list(c.parts), "says": describe_custody(c)}
        for c in sorted(case.custody, key=lambda c: (c.when, c.parts))
    ]


def outcomes(case: Case) -> list[Doc]:
    return [{"position": o.position, "confirmed": confirmed(o), "how": o.how, "by": o.by, "when": o.when,
             "changed": list(o.changed)} for o in case.outcomes]  # fmt: skip


def photos(case: Case, now: Mapping[str, str]) -> list[Doc]:
    """Each photo on record with its digest then and now."""
    records: tuple[Any, ...] = (*case.remarks, *case.observations)
    told = {r.photo: r.photo_digest for r in records if r.photo}
    return [{"photo": p, "recorded": told[p], "now": now.get(p, "")} for p in sorted(told)]


def cards_used(graph: nx.DiGraph) -> list[str]:
    """The files of the rules that fired, and of the causes and mechanisms that are possible or better or that a rule rules
    out by name; every other card is among the rules that a trail carries."""
    table = graph.nodes
    fired = {a["file"] for _, a in table(data=True) if a["type"] == "firing"}
    judged = {a["file"] for _, a in table(data=True) if a["type"] in ("cause", "mechanism")
              and a["standing"] in ("established", "probable", "possible")}  # fmt: skip
    return sorted(fired | judged)


def files_named(value: Any, folder: str) -> Iterator[str]:
    """The files of a rule base that an answer points at as FOLDER/FILE:LINE."""
    if isinstance(value, str):
        yield from re.findall(rf"^{re.escape(folder)}/(.+\.yaml):\d+$", value)
    for inner in value.values() if isinstance(value, dict) else value if isinstance(value, list) else ():
        yield from files_named(inner, folder)


def told(case: Case, path: Path, knowledge: Knowledge, folder: Path, files: Iterable[str], tool: str) -> Doc:
    """What an explanation stands on: journal, rule base, tool, and the text of the cards it uses."""
    return {
        "journal": journal_told(beside(path)), "case_digest": case.digest, "photos": photos(case, photos_now(path.resolve(), case)),
        "knowledge": {"version": knowledge.version, "digest": knowledge.digest, "revision": revision_of(folder)},
        "tool": {"version": tool, "python": platform.python_version(), "packages": versions()},
        "cards": {name: (folder / name).read_text("utf-8") for name in sorted(set(files)) if (folder / name).is_file()},
    }  # fmt: skip


def holds(contents: Mapping[str, bytes], knowledge: Knowledge) -> bool:
    """Whether these files are the ones that a rule base was read from."""
    return digest_of(contents) == knowledge.digest
