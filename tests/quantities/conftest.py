"""The vocabulary, tables and limits that ship, and cases written as text."""

from __future__ import annotations

from pathlib import Path

import pytest

from diagnose.casefile.reader import parse_case
from diagnose.knowledge.reader import build_knowledge
from diagnose.quantities.compute import compute
from diagnose.reading.problems import Problems

ROOT = Path(__file__).resolve().parents[2] / "knowledge"
FOLDERS = ("vocabulary", "limits", "tables")
FILES = ("words.yaml", "sources.yaml")


@pytest.fixture(scope="session")
def knowledge():
    """Everything of the rule base that quantities stand on, without its findings and causes."""
    names = {p.relative_to(ROOT).as_posix(): p for p in sorted(ROOT.rglob("*.yaml"))}
    contents = {n: p.read_bytes() for n, p in names.items() if n.split("/")[0] in FOLDERS or n in FILES}
    problems = Problems()
    built = build_knowledge(contents, "knowledge", problems)
    assert not problems.found, [str(p) for p in problems.found]
    return built


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
