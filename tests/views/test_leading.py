"""What is said of a seal that shows no damage, and of a cause that both seals of a pair share."""

from __future__ import annotations

import pytest

from diagnose.views.leading import shared, undamaged
from tests.support.reasoned import reasoned

PAIR = """
case: Pair
seal: {{arrangement: dual pressurised}}
parts:
  - {{item: 1, kind: soft face, position: inboard}}
  - {{item: 11, kind: soft face, position: outboard}}
observations:
  - {{on: barrier system, saw: barrier pressure low}}
  - {{on: barrier fluid, saw: product in the barrier}}
  - {{part: 1, saw: [scored face, concentric grooves]}}
{}
"""


@pytest.mark.parametrize("outboard, said", [
    ("  - {part: 11, absent: [scored face, radial cracks]}", True),
    ("  - {part: 11, saw: full even track}", True),
    ("  - {part: 11, absent: scored face}\n  - {part: 11, saw: edge chips}", False),
    ("  - {part: 11, lost: scored face}", False),
    ("", False),
])  # fmt: skip
def test_a_seal_is_said_undamaged_when_it_was_looked_at_and_nothing_was_found(whole_base, outboard, said):
    case = reasoned(PAIR.format(outboard), whole_base)
    inner, outer = case.judgements
    assert bool(undamaged(case.inference, outer)) is said
    assert not undamaged(case.inference, inner)


def test_a_cause_of_the_machine_is_said_to_be_shared_only_where_there_are_two_seals(whole_base):
    inner, outer = reasoned(PAIR.format(""), whole_base).judgements
    low = "barrier pressure too low"
    assert shared(inner.of(low), True) == "One verdict for both seals."
    assert shared(outer.of(low), True).endswith("the inboard seal shows it best.")
    assert not shared(inner.of(low), False) and not shared(inner.of("abrasive wear"), True)
