"""What the page is told: the words of the vocabulary once, and a case as it stands, as plain data."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from diagnose.casefile import walk
from diagnose.casefile.answers import path_of
from diagnose.casefile.cards import away, gathered
from diagnose.casefile.format import ALONE
from diagnose.casefile.model import Case, Part
from diagnose.casefile.walk import Topic
from diagnose.knowledge.lexicon import EXTENTS
from diagnose.knowledge.model import Feature, Knowledge, Reading, Vocabulary
from diagnose.page.desk import Read
from diagnose.session.figures import CHOICES, FIRST, TITLES
from diagnose.views.drawings.sketches import why_not_drawn
from diagnose.views.journal import record

UNITS = (("mm", "µm", "in"), ("°C", "°F"), ("bar g", "bar a", "kPa g", "psi g", "psi a"), ("bar a", "kPa a", "psi a"), ("N", "lbf"), ("N m", "lbf ft"),
         ("mL/h", "drops/min", "L/min"), ("g", "kg"), ("h", "days", "months", "years"), ("rpm",), ("mm/s", "in/s"))  # fmt: skip
"""Units that people write a reading in, by the first that is of its kind."""
Doc = dict[str, Any]


def words(knowledge: Knowledge) -> Doc:
    """The vocabulary as the page needs it; the same for every case of a rule base."""
    vocabulary = knowledge.vocabulary
    return {
        "digest": knowledge.digest,
        "degrees": list(vocabulary.degrees),
        "extents": list(EXTENTS),
        "ends": sorted(set(CHOICES["equipment.seen from"].values())),
        "kinds": {k: {"lineage": list(vocabulary.lineage[k]), "place": x.place, "means": x.means} for k, x in vocabulary.kinds.items()},
        "features": {f.name: _feature(f) for f in vocabulary.features.values()},
        "sketches": [f for f in vocabulary.features if not why_not_drawn(vocabulary, f)],
        "readings": {r.name: _reading(r) for r in vocabulary.readings.values()},
        "settings": {s: {"terms": list(x.terms), "single": x.single} for s, x in vocabulary.settings.items()},
        "choices": {key: sorted(set(spelled.values())) for key, spelled in CHOICES.items()},
        "steps": [{"stage": s.stage, "name": s.name, "do": s.do, "ends": s.ends} for s in knowledge.arrangements.steps],
        "alone": ALONE,
        "arrangements": list(knowledge.arrangements.usual),
    }  # fmt: skip


def _feature(f: Feature) -> Doc:
    return {"means": f.means, "how": f.how, "on": list(f.on), "lost": f.lost, "sides": list(f.sides), "sound": f.sound,
            "gone": f.gone, "form": f.form, "also": list(f.also)}  # fmt: skip


def _reading(r: Reading) -> Doc:
    return {"unit": r.unit, "units": units(r), "means": r.means, "on": list(r.on), "several": r.several}


def units(reading: Reading) -> list[str]:
    """The units offered for a reading, its own first."""
    if reading.absolute and reading.unit == "bar":
        return ["bar a", "kPa a", "psi a"]
    for alike in UNITS:
        if reading.unit in alike:
            return [reading.unit, *(u for u in alike if u != reading.unit)]
        if reading.unit == "bar" and alike[0] == "bar g":
            return list(alike)
    return [reading.unit]


def bench(read: Read, knowledge: Knowledge) -> Doc:
    """A case as it is recorded: parts, what is asked of them, what is on record."""
    case, state = read.case, read.state
    topics = walk.topics(case, knowledge, away(knowledge, state.reached))
    alike = _alike(topics, knowledge)
    return {
        "number": read.number,
        "name": case.name,
        "invented": case.invented,
        "positions": list(case.positions),
        "stage": case.stage,
        "lost": dict(case.lost),
        "index": dict(case.index),
        "seen_from": case.texts.get("equipment.seen from", ""),
        "parts": [_part(p, case) for p in case.parts],
        "alone": case.alone,
        "topics": [_topic(t, case, alike.get(t.id, ())) for t in topics],
        "asked": _asked(topics, read, knowledge.vocabulary),
        "records": [{"id": r.id, "place": r.place, "entry": dict(r.entry), "says": record(r.place, r.entry)} for r in state.records],
    }  # fmt: skip


def _part(p: Part, case: Case) -> Doc:
    return {"item": p.item, "name": p.name, "kind": p.kind, "position": p.position, "group": p.group, "carries": p.carries,
            "index": p.index, "seen_from": p.seen_from, "touches": list(p.touches), "tag": p.tag, "lost": walk.why_lost(case, p)}  # fmt: skip


def _alike(topics: Iterable[Topic], knowledge: Knowledge) -> dict[str, tuple[Topic, ...]]:
    """The topics that are asked about together with each one, itself among them."""
    looks = [t for t in topics if not t.asks]
    steps = ([t for t in looks if t.step is step] for step in knowledge.arrangements.steps)
    blocks = (block for found in steps for card in gathered(knowledge, found) for block in card.blocks())
    return {topic.id: block for block in blocks for topic in block}


def _topic(topic: Topic, case: Case, alike: Iterable[Topic]) -> Doc:
    return {
        "stage": topic.step.stage, "part": topic.part, "kind": topic.kind, "how": topic.how,
        "features": list(topic.features), "readings": list(topic.readings), "asks": list(topic.asks),
        "answers": {f: o.state for f, o in walk.answers(case, topic).items()},
        "alike": [t.part for t in alike if t.part and t.part != topic.part],
    }  # fmt: skip


def _asked(topics: Iterable[Topic], read: Read, vocabulary: Vocabulary) -> list[Doc]:
    """Figures and settings of the case, each with where it stands and what it is."""
    keys = dict.fromkeys([*FIRST, *(a for t in topics for a in t.asks)])
    paths = {key: path_of("equipment.tag" if key == "tag" else key, "", vocabulary) for key in keys}
    return [
        {"key": key, "title": TITLES.get(key, key), "path": path, "value": read.state.value(path)}
        for key, path in paths.items()
    ]
