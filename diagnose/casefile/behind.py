"""Which record of the journal stands behind a record of the case, and how it is corrected."""

from __future__ import annotations

from collections.abc import Mapping

from diagnose.casefile.answers import path_of
from diagnose.casefile.format import STATES
from diagnose.casefile.model import Case
from diagnose.casefile.replay import Record, State
from diagnose.knowledge.model import Vocabulary
from diagnose.reading.problems import WayOut


def record_behind(id: str, case: Case, state: State) -> Record | None:
    """The record as it was said; None where it is a figure or a setting, or cannot be told from others."""
    said: list[tuple[str, Mapping[str, str]]] = []
    for o in (o for o in case.observations if o.id == id):
        word = next(key for key, is_so in STATES.items() if is_so == o.state)
        said.append(("observations", {word: o.feature, **({"part": o.part} if o.part else {"on": o.kind})}))
        said += [("observations", {word: o.feature})] if not o.part else []
    said += [
        ("measurements", {"measured": x.what, **({"part": x.part} if x.part else {})})
        for x in case.measured
        if x.id == id
    ]
    said += [("states", {"at": s.point, **({"not": "true"} if not s.holds else {})}) for s in case.states if s.id == id]
    said += [("acts", {"did": a.did}) for a in case.acts if a.id == id]
    return next((r for place, entry in said for r in state.records
                 if r.place == place and all(r.entry.get(k) == v for k, v in entry.items())), None)  # fmt: skip


def way_to_correct(id: str, case: Case, state: State, words: Vocabulary) -> WayOut | None:
    """How a record is corrected; None where nobody can say."""
    if record := record_behind(id, case, state):
        return WayOut("correct", record.id)
    named = [(s.setting, s.position) for s in case.settings if s.id == id]
    named += [(x.what, x.position) for x in case.measured if x.id == id and words.readings[x.what].section]
    for name, position in named:
        for place in ("", position):
            if place in ("", *case.positions) and state.value(path_of(name, place, words)) is not None:
                return WayOut("set", name)
    return None
