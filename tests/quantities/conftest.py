"""The vocabulary, tables and limits that ship, and cases written as text."""

from __future__ import annotations

import pytest

from diagnose.casefile.reader import parse_case
from diagnose.quantities.compute import compute
from diagnose.reading.problems import Problems


@pytest.fixture(scope="session")
def case_of(knowledge):
    def read(text: str):
        problems = Problems()
        case = parse_case(("case: c\n" + text).encode(), "case.yaml", knowledge, problems)
        assert not problems.found, [str(p) for p in problems.found]
        return case

    return read


@pytest.fixture(scope="session")
def quantities_of(knowledge, case_of):
    """Text of a case to its quantities; a name that occurs once stands for itself."""

    def work(text: str):
        found = compute(case_of(text), knowledge)
        names = [q.name for q in found]
        return {q.name if names.count(q.name) == 1 else f"{q.name} at {q.position} {q.part}".strip(): q for q in found}

    return work
