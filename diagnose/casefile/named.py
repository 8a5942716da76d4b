"""The part of a case that somebody's own words name: by its name, a spelling of its kind, its item number, its seal of a pair."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence

from diagnose.casefile.model import Case, Part
from diagnose.casefile.replay import What
from diagnose.knowledge.model import Vocabulary
from diagnose.phrases.tokens import singular

_WHERE = frozenset(
    {"under", "beside", "behind", "beneath", "below", "above", "near", "against", "towards", "toward", "between", "from", "by",
     "next", "to", "past", "outside", "opposite", "like", "over"}
)  # fmt: skip
"""Words before a part that only tell where something is, or from where."""
_ON = frozenset({"on", "of", "in", "inside"})
_ARTICLES = frozenset({"the", "a", "its", "this", "that"})


def positions_named(phrase: str, case: Case) -> list[str]:
    """The seals of a pair that a phrase names."""
    said = set(_words(phrase))
    return [p for p in case.positions if len(case.positions) > 1 and p in said]


def parts_named(phrase: str, case: Case, words: Vocabulary) -> list[Part]:
    """The parts that a phrase may be said of: the one it names, several where that is not clear, none where it names none."""
    if number := re.search(r"\b(?:part|item)\s+(\d\w*)", phrase, re.I):
        return [p for p in case.parts if p.item == number[1]]
    said, positions, best = _words(phrase), positions_named(phrase, case), (0, list[Part]())
    spelled: dict[tuple[str, ...], list[Part]] = {}
    for part in case.parts:
        of_kind = (x for kind in words.lineage[part.kind] for x in (kind, *words.kinds[kind].also))
        for spelling in {tuple(_words(x)) for x in (part.name, *of_kind)}:
            spelled.setdefault(spelling, []).append(part)
    at = 0
    while at < len(said):
        length = next((n for n in range(min(6, len(said) - at), 0, -1) if tuple(said[at : at + n]) in spelled), 0)
        if length and (rank := _rank(said[:at])):
            found = spelled[tuple(said[at : at + length])]
            best = max(best, (rank, [p for p in found if p.position in positions] or found), key=lambda x: x[0])
        at += length or 1
    return best[1]


def _rank(before: Sequence[str]) -> int:
    """How well a part named behind these words is what something is said of; 0 where it only tells where that is."""
    word = next((w for w in reversed(before) if w not in _ARTICLES), "")
    return 0 if word in _WHERE else 2 if word in _ON else 1


def _words(text: str) -> list[str]:
    return [singular(word) for word in re.findall(r"[a-z0-9]+", text.lower())]


def at_part(what: What, part: Part, words: Vocabulary) -> What:
    """A record of the kind that a part is, on that part."""
    entry: Mapping[str, object] = what.get("entry", {})
    if "part" in entry or entry.get("on") not in words.lineage[part.kind]:
        return what
    return {**what, "entry": {"part": part.item, **{k: v for k, v in entry.items() if k not in ("on", "position")}}}
