"""A record altered and deduced again where the change reaches gives what deducing the whole case gives."""

from __future__ import annotations

import itertools

import pytest

from diagnose.casefile.format import record_id
from diagnose.casefile.model import Extent, Observation
from diagnose.inference.again import Again
from diagnose.inference.run import infer
from diagnose.reading.entry import replace
from diagnose.trail.suppose import records_of
from tests.support.places import SCENARIOS, mostly_slow

SOME = [
    p for p in SCENARIOS if p.stem in ("crude-pump-barrier-lost", "hydrotested-pump-two-spots", "sand-pump-jet-wash")
]


def opposite(o: Observation) -> Observation:
    state = "absent" if o.state == "present" else "present"
    return replace(o, id=record_id("o", "opposite", o.id), state=state, extent=Extent(), degree="", side="")


def same(again: Again, left_out, added=()) -> None:
    made = again.altered(left_out, added)
    whole = infer(made.case, again.base)
    for part in ("facts", "firings", "findings", "ruled_out", "common", "cautions", "quantities"):
        assert getattr(made, part) == getattr(whole, part), (part, left_out)
    for position, found in whole.findings.items():
        for f in found:
            assert made.leaves_of_finding(f, position) == whole.leaves_of_finding(f, position), (f, left_out)


def every_alteration(inference) -> None:
    for position, found in inference.findings.items():
        assert all(inference.leaves_of_finding(f, position) for f in found)
    again = Again(inference)
    records = records_of(inference.case)
    for record in records:
        same(again, [record])
        if isinstance(record, Observation) and record.looked_for:
            same(again, [record], [opposite(record)])
    for one, other in itertools.pairwise(records):
        same(again, [one, other])


def test_every_record_of_the_small_case_left_out_or_turned_round(small):
    every_alteration(small.inference)


@pytest.mark.parametrize("path", mostly_slow(SOME, 0), ids=lambda p: p.stem)
def test_every_record_of_a_scenario_left_out_or_turned_round(path, judged):
    """Among them marks that rules compare on the clock, a pair of seals, and readings behind computed numbers."""
    every_alteration(judged(path).inference)
