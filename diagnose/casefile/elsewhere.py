"""What is on record of a mark in another place than where it is asked for, so that nobody is asked twice and nothing is denied
beside it: as a state or an act, on the kind that a part is, on a part of the kind, on the seal as a whole."""

from __future__ import annotations

from dataclasses import dataclass

from diagnose.casefile.model import Case, Observation, Part
from diagnose.casefile.said import features_said, statements_of
from diagnose.knowledge.model import Vocabulary

WHOLE = "seal"
"""The kind that stands for the seal as a whole: what is on a part of it is on it."""


@dataclass(frozen=True)
class Elsewhere:
    """A mark's `state` as the record of that `id` says it, of `about`: a part, a kind, or what stood or was done."""

    feature: str
    state: str
    id: str
    about: str


def elsewhere(case: Case, words: Vocabulary, item: str, kind: str) -> dict[str, Elsewhere]:
    """By feature what is said elsewhere of a part, or of a kind where no part is named; that it is there before that it is not."""
    found: dict[str, Elsewhere] = {}
    part = case.part(item) if item else None
    for said in statements_of(case, words):
        for feature, state in features_said(said, words) if not said.named else ():
            if words.fits(kind, feature.on):
                about = " ".join(said.slots[k] for k in ("at", "variable", "value", "did", "to") if k in said.slots)
                _put(found, Elsewhere(feature.name, state, said.id, about))
    for o in case.observations:
        if o.looked_for and not (o.part == item and (item or o.kind == kind)) and _covers(case, words, o, part, kind):
            about = f"part {o.part}" if o.part else o.kind
            _put(found, Elsewhere(o.feature, o.state, o.id, about))
    return found


def _put(found: dict[str, Elsewhere], told: Elsewhere) -> None:
    if told.state == "present" or told.feature not in found:
        found[told.feature] = told


def _covers(case: Case, words: Vocabulary, o: Observation, part: Part | None, kind: str) -> bool:
    """Whether a record of another part or kind says of this one what it says there."""
    if part and o.position not in ("", "machine", part.position) and part.position in case.positions:
        return False
    if _is_a_point(words, o.feature):
        return words.fits(kind, words.features[o.feature].on)
    if part is None:
        whole = kind == WHOLE and words.kinds[o.kind].place == "seal"
        return o.state == "present" and (whole or (bool(o.part) and kind in words.lineage[o.kind]))
    of_its_kind = not o.part and o.kind in words.lineage[part.kind]
    return of_its_kind and (o.state == "absent" or _only_one(case, words, o))


def _is_a_point(words: Vocabulary, feature: str) -> bool:
    """Whether a feature is the name of how a point stood, wherever somebody notes it."""
    return any("at" in slots for _, slots in words.features[feature].statements[:1])


def _only_one(case: Case, words: Vocabulary, o: Observation) -> bool:
    """Whether a record of a kind can mean one part only."""
    parts = [p for p in case.parts if o.kind in words.lineage[p.kind] and o.position in ("", "machine", p.position)]
    return len(parts) == 1
