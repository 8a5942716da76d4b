"""What trainers need of the words people use: phrases nobody understood, and words of the rule base that cannot serve."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from diagnose.casefile.format import NOT_UNDERSTOOD
from diagnose.knowledge.model import Knowledge, Vocabulary
from diagnose.phrases.index import Index, Sense, Spelling, index_of
from diagnose.phrases.read import read
from diagnose.reading.located import read_bytes, read_text
from diagnose.reading.problems import Problem, Problems
from diagnose.reading.terms import plain

CODES = {
    "alike-words": "Two phrases of different terms are so alike that nothing could tell them apart when they are said.",
    "claims-more": "A phrase says more than the term that it is a word for.",
    "unused-words": "A word is listed that no term is said with.",
}


@dataclass(frozen=True)
class Unread:
    """A phrase that was not understood when it was said: the files that hold it and what it is read as now, if anything."""

    phrase: str
    files: tuple[str, ...]
    now: tuple[str, ...]


def not_understood(folder: Path, vocabulary: Vocabulary) -> tuple[list[Unread], list[Problem]]:
    """The phrases kept as said over a folder of cases, the most frequent first, and the files that cannot be read."""
    problems = Problems()
    found: dict[str, dict[str, None]] = defaultdict(dict)
    for path in sorted(p for p in folder.rglob("*.yaml") if p.is_file()):
        data = read_bytes(path, str(path), problems)
        node = read_text(data, str(path), problems) if data is not None else None
        said = node.get(NOT_UNDERSTOOD) if node is not None and node.is_map else None
        for item in said.each() if said else []:
            if item.text():
                found[plain(item.text())][path.relative_to(folder).as_posix()] = None
    rows = [
        Unread(phrase, tuple(files), tuple(r.text for r in read(phrase, vocabulary)[:1]))
        for phrase, files in found.items()
    ]
    return sorted(rows, key=lambda r: (-len(r.files), r.phrase)), problems.sorted()


def as_rows(found: Iterable[Unread]) -> list[dict[str, Any]]:
    return [{"phrase": x.phrase, "files": list(x.files), "now": list(x.now)} for x in found]


# ---- words that cannot serve ----------------------------------------------------------------------------------


def check(knowledge: Knowledge) -> list[Problem]:
    """Advice on words: two terms that one phrase says alike, words that claim more than their term, words nothing uses."""
    index = index_of(knowledge.vocabulary)
    return [*_alike(index), *_claiming(index), *_unused(index)]


def _features(index: Index) -> list[Spelling]:
    return [s for s in index.spellings if s.term.family == "feature" and s.asked and not s.denies]


def _alike(index: Index) -> Iterator[Problem]:
    """Spellings of two features that can be on one part and are not general and special, told apart by no word."""
    v = index.vocabulary
    by_sense: dict[frozenset[frozenset[Sense]], dict[str, Spelling]] = defaultdict(dict)
    for spelling in _features(index):
        by_sense[frozenset(spelling.asked)].setdefault(spelling.term.name, spelling)
    for same in by_sense.values():
        spellings = sorted(same.values(), key=lambda s: s.term.name)
        for n, one in enumerate(spellings):
            for other in spellings[n + 1 :]:
                a, b = one.term.name, other.term.name
                related = a in v.form_lineage[b] or b in v.form_lineage[a]
                together = not one.term.on or not other.term.on or any(v.can_be_on(a, kind) for kind in other.term.on)
                if together and not related:
                    yield Problem(v.features[b].where, "alike-words", f"{one.text!r} for {a!r} and {other.text!r} for {b!r} cannot "
                                  "be told apart", "word one of them otherwise, or take it out", "advice")  # fmt: skip


def _claiming(index: Index) -> Iterator[Problem]:
    """Words for a general term that say one of its special ones."""
    v = index.vocabulary
    own: dict[str, set[frozenset[frozenset[Sense]]]] = defaultdict(set)
    for spelling in _features(index):
        own[spelling.term.name].add(frozenset(spelling.asked))
    for spelling in _features(index):
        if not spelling.term.general:
            continue
        for special in v.special[spelling.term.name]:
            if special != spelling.term.name and len(spelling.asked) > 1 and frozenset(spelling.asked) in own[special]:
                yield Problem(v.features[spelling.term.name].where, "claims-more", f"{spelling.text!r} for {spelling.term.name!r} says "
                              f"{special!r}", f"leave it with {special!r}", "advice")  # fmt: skip


def _unused(index: Index) -> Iterator[Problem]:
    """Words of one meaning whose meaning no spelling asks for."""
    used = {sense for spelling in index.spellings for asked in spelling.asked for sense in asked}
    for word, said in index.vocabulary.lexicon.same.items():
        if said and ("word", " ".join(index.split(word)[1])) not in used:
            yield Problem(
                said[0].where,
                "unused-words",
                f"no term is said with {word!r}",
                "take it out, or name a term so",
                "advice",
            )
