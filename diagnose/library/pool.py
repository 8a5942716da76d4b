"""Seals shared between sites: without tags, names, photos or free text, and kept apart from a site's own."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import msgspec

from diagnose.casefile.format import REMOVALS
from diagnose.casefile.writer import put
from diagnose.knowledge.model import Knowledge
from diagnose.library.seals import Confirmed, Seal, day
from diagnose.library.store import Entry, Held, Store
from diagnose.reading.files import read_file
from diagnose.reading.problems import BadInput, Problem, Where

SHARED = "shared"
"""The folder of a library in which the files of other sites lie, one a site."""
ENDING = ".jsonl"
FORM = "seals of a library, form 1"
MOST_BYTES = 1_000_000_000


@dataclass(frozen=True)
class Head:
    """The first line of a shared file."""

    holds: str
    knowledge: str
    seals: int


def shared(store: Store) -> Iterator[bytes]:
    """The lines of a file of the site's own seals to give away: a head, then a seal each, in an order that tells nothing.
    Machines are numbered, dates are cut to the month, and of outcomes only what, how and when stays."""
    ((many,),) = store.rows("SELECT COUNT(*) FROM seal WHERE site = ''")
    machines: dict[str, str] = {}
    yield msgspec.json.encode(Head(FORM, store.about("knowledge"), many)) + b"\n"
    for number, (_, _, seal) in enumerate(store.seals("seal.site = ''", order="digest, file.name, position"), 1):
        tag = machines.setdefault(seal.tag, f"machine {len(machines) + 1}") if seal.tag else ""
        outcomes = tuple(replace(o, by="", day=o.day[:7], changed=()) for o in seal.outcomes)
        yield msgspec.json.encode(replace(
            seal, case=f"seal {number}", tag=tag, batch="", fitted=seal.fitted[:7], removed=seal.removed[:7], outcomes=outcomes,
        )) + b"\n"  # fmt: skip


def bring_in(folder: Path, file: Path, site: str, knowledge: Knowledge) -> tuple[int, list[str]]:
    """Puts another site's file into the library's folder, once every line of it can be read. Returns how many seals it
    has and the words in it that this rule base does not have. Raises BadInput, OSError."""
    data = read_file(file, MOST_BYTES)
    count, words = 0, set[str]()
    for seal in _read(data, str(file)):
        count += 1
        words |= _words(seal)
    put_at = folder / SHARED / f"{site}{ENDING}"
    put_at.parent.mkdir(exist_ok=True)
    put(put_at, data)
    return count, sorted(words - _known(knowledge))


def take_in(store: Store, folder: Path, knowledge: Knowledge) -> None:
    """Brings the index up to date with the files of other sites, each in one transaction. Raises BadInput."""
    files = {p.stem: p for p in sorted(folder.glob(f"*{ENDING}"))}
    known = _known(knowledge)
    for (site,) in store.rows("SELECT DISTINCT site FROM file WHERE site <> ''"):
        if site not in files:
            store.drop(store.files(site), site)
    for site, path in files.items():
        data = read_file(path, MOST_BYTES)
        digest = hashlib.sha256(data).hexdigest()
        held = store.files(site)
        if {h.digest for h in held.values()} == {digest} and {h.knowledge for h in held.values()} == {knowledge.digest}:
            continue
        entries = (Entry(f"{number:07}", Held(digest, "", knowledge.digest, ""), (_in_words(seal, known),))
                   for number, seal in enumerate(_read(data, str(path)), 1))  # fmt: skip
        store.put(entries, site, gone=held)


def _read(data: bytes, name: str) -> Iterator[Seal]:
    """The seals of a shared file; what is wrong with its lines is raised behind the last, as BadInput."""
    lines = data.splitlines()
    wrong: list[Problem] = []
    for number, line in enumerate(lines, 1):
        try:
            if number == 1:
                head = msgspec.json.decode(line, type=Head)
                if head.holds != FORM or head.seals != len(lines) - 1:
                    raise ValueError(f"the head says {head.seals} {head.holds}, {len(lines) - 1} lines follow")
            else:
                yield _checked(msgspec.json.decode(line, type=Seal))
        except (ValueError, RecursionError) as error:
            wrong.append(Problem(Where(name, number), "shared", f"this is no line of a shared library: {error}",
                                 "ask the site for the file again"))  # fmt: skip
    if wrong or not lines:
        raise BadInput(
            wrong or [Problem(Where(name), "shared", "the file is empty", "ask the site for the file again")]
        )


def _checked(seal: Seal) -> Seal:
    """Raises ValueError for what no library writes."""
    if seal.removal not in REMOVALS:
        raise ValueError(f"{seal.removal!r} is no way in which a seal ends")
    for text in (seal.fitted, seal.removed, *(o.day for o in seal.outcomes)):
        if text and day(text) is None:
            raise ValueError(f"{text!r} is no date")
    if len({f for f, _ in seal.findings}) < len(seal.findings) or len(set(seal.settings)) < len(seal.settings):
        raise ValueError("a finding or setting stands twice")
    if not all(0 <= p <= 1 for p in (seal.none_of_these, *(v.probability for v in seal.verdicts))):
        raise ValueError("a probability is between 0 and 1")
    if seal.hours is not None and not 0 <= seal.hours < float("inf"):
        raise ValueError("the running hours are no such number")
    return seal


def _words(seal: Seal) -> set[str]:
    return {
        *(t for pair in seal.settings for t in pair), *(f for f, _ in seal.findings), *(v.name for v in seal.verdicts),
        *(n for o in seal.outcomes for n in (*o.roots, *o.mechanisms)), *(o.how for o in seal.outcomes if o.how),
    }  # fmt: skip


def _known(knowledge: Knowledge) -> set[str]:
    v = knowledge.vocabulary
    return {
        *v.settings, *(t for s in v.settings.values() for t in s.terms), *knowledge.findings, *knowledge.causes,
        *knowledge.mechanisms, *v.grammar.confirmed,
    }  # fmt: skip


def _in_words(seal: Seal, known: set[str]) -> Seal:
    """The seal without the words that this rule base does not have."""
    outcomes = tuple(
        Confirmed(tuple(n for n in o.roots if n in known), tuple(n for n in o.mechanisms if n in known),
                  o.none_of_these, "", o.how, o.day, ())
        for o in seal.outcomes if o.how in known
    )  # fmt: skip
    return replace(
        seal, settings=tuple(p for p in seal.settings if set(p) <= known),
        findings=tuple(f for f in seal.findings if f[0] in known),
        verdicts=tuple(v for v in seal.verdicts if v.name in known), outcomes=outcomes,
    )  # fmt: skip
