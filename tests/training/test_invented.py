"""Drawn seals: invented, possible, the same for the same number."""

from __future__ import annotations

import pytest

from diagnose.casefile.reader import read_case
from diagnose.training.invented import EARLIER, drawn, sheets_of
from tests.support.places import SCENARIOS
from tests.training.random_drills import every, wrong_with


@pytest.fixture(scope="module")
def sheets(whole_base):
    return sheets_of([read_case(p, whole_base.knowledge) for p in SCENARIOS[:4]], whole_base)


@pytest.mark.slow
def test_a_drawn_seal_says_that_it_is_invented_and_is_possible(whole_base, sheets):
    seal = drawn(sheets, 7, 3)
    assert seal.invented and seal.expected.roots and seal.expected.mechanisms
    assert wrong_with(seal, whole_base) == []
    assert [o for o in seal.observations if o.note == EARLIER], "the third level has an old defect"
    assert seal == drawn(sheets, 7, 3) != drawn(sheets, 8, 3)


@pytest.mark.slow
def test_the_cause_of_drawn_seals_is_among_the_first_three_on_the_full_record(whole_base):
    found = list(every(12, whole_base, 100))
    assert [x.wrong for x in found if x.wrong] == []
    assert sum(x.root < 3 for x in found) >= 9
