"""One record, whatever it is and however far it goes, never establishes a cause or mechanism."""

from __future__ import annotations

import random
from collections.abc import Iterator

import pytest
import yaml

from diagnose.casefile.model import Extent, Observation, lone
from diagnose.casefile.reader import parse_case
from diagnose.inference.run import RuleBase
from diagnose.judgement.diagnosis import Diagnosis
from diagnose.knowledge.conditions import EXTENTS, GROUPS
from diagnose.reading.problems import Problems

pytestmark = pytest.mark.slow


def established(diagnosis: Diagnosis) -> list[str]:
    found = [j for x in diagnosis.judgements for j in (*x.causes, *x.mechanisms)]
    return [j.name for j in found if j.standing == "established"]


def observations(base: RuleBase) -> Iterator[Observation]:
    """Every feature on every kind: bare, absent, in every degree, in every extent and at every side; what is not in turn
    is drawn."""
    vocabulary, chance = base.knowledge.vocabulary, random.Random(5)
    for feature in vocabulary.features.values():
        ways = (vocabulary.degrees, tuple(EXTENTS), feature.sides)
        drawn = [tuple(chance.choice(("", *w)) for w in ways) for way in ways for _ in way]
        turns = [(i, word) for i, way in enumerate(ways) for word in way]
        marks = [
            tuple(word if i == j else d for j, d in enumerate(x)) for (i, word), x in zip(turns, drawn, strict=True)
        ]
        for kind in feature.on:
            known = vocabulary.kinds[kind]
            place = (kind, "machine" if known.place == "machine" else "seal")
            yield Observation("o1", feature.name, "absent", *place, group=known.group)
            for degree, extent, side in [("", "", ""), *marks]:
                yield Observation(
                    "o1", feature.name, "present", *place, group=known.group or chance.choice(("", *GROUPS)),
                    carries=chance.choice(("", "nose", "wide")), degree=degree, side=side, extent=Extent(extent),
                )  # fmt: skip


def test_one_observation_never_establishes_whatever_its_degree_extent_and_side(whole_base):
    """Observations that amount to the same findings are judged once: nothing else about them weighs."""
    tried, known = 0, set()
    for o in observations(whole_base):
        tried += 1
        diagnosis = Diagnosis(lone(o), whole_base)
        found = diagnosis.inference.findings
        states = frozenset((p, f, x.state) for p, here in found.items() for f, x in here.items())
        if states not in known:
            known.add(states)
            assert established(diagnosis) == [], o
    assert tried > 4_500 and len(known) > 300


def documents(base: RuleBase) -> Iterator[dict]:
    """A case of one reading at its least or its most, or of one term of a setting."""
    vocabulary = base.knowledge.vocabulary
    for r in vocabulary.readings.values():
        ends = [x for x in (r.least, r.most) if x]
        for value in ends if r.section else ():
            yield {"case": r.name, r.section: {r.name: value}}
        for kind in r.on:
            for value in ends:
                yield {"case": r.name, "measurements": [{"on": kind, "measured": r.name, "reading": value}]}
            if r.several and len(ends) == 2:
                low, high = ends
                for values in ([low, high], [low, low, low, high], [high, high, high, low]):
                    yield {"case": r.name, "measurements": [{"on": kind, "measured": r.name, "readings": values}]}
    for s in vocabulary.settings.values():
        for term in s.terms:
            for key in (s.name, f"not {s.name}"):
                yield {"case": s.name, s.section: {key: term}}


def test_one_reading_or_setting_never_establishes_however_far_it_goes(whole_base):
    read = refused = 0
    for document in documents(whole_base):
        problems = Problems()
        text = yaml.dump(document, allow_unicode=True, sort_keys=False).encode()
        case = parse_case(text, "c.yaml", whole_base.knowledge, problems)
        if problems.errors():
            refused += 1
            continue
        assert established(Diagnosis(case, whole_base)) == [], document
        read += 1
    assert read > 500 and refused < read / 10, (read, refused)
