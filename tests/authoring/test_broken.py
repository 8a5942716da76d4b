"""A pack of broken files: each lies in the small rule base in place of, or beside, its own and is told at its place.

The first line of each says where it lies; then what is expected: line:column, code, "advice" where it is no error, the
file where it shows in another, and the right word where one is offered.
"""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from diagnose.authoring.check import examine_contents
from diagnose.authoring.rule_test_reader import parse_tests
from diagnose.inference.run import load
from diagnose.knowledge.files import contents_of
from diagnose.reading.problems import Problem, Problems

TESTS = Path(__file__).resolve().parents[1]
PACK = sorted((TESTS / "broken").glob("*.yaml"))
BASE = TESTS / "small" / "knowledge"
EXPECTED = re.compile(r"# expect: (\d+):(\d+) (\S+)( advice)?(?: in ([^;]+))?(?:; offers (.+))?$")


@pytest.fixture(scope="module")
def small():
    return contents_of(BASE), load(BASE).knowledge


def found_in(path: str, data: bytes, small) -> list[Problem]:
    contents, knowledge = small
    if path.endswith(".test.yaml"):
        problems = Problems()
        parse_tests(data, f"knowledge/{path}", "finding", "ring hard", knowledge, problems)
        return problems.sorted()
    return list(examine_contents({**contents, path: data}, "knowledge").problems)


def test_the_pack_holds_at_least_forty_kinds_of_mistake():
    codes = {m.group(3) for path in PACK for line in path.read_text().splitlines() if (m := EXPECTED.match(line))}
    assert len(PACK) >= 100
    assert len(codes) >= 40, sorted(codes)


def test_the_small_rule_base_itself_has_no_error(small):
    contents, _ = small
    assert examine_contents(contents, "knowledge").errors == 0


@pytest.mark.parametrize("path", PACK, ids=lambda p: p.stem)
def test_mistake_is_told_at_its_place(path: Path, small):
    text = path.read_text()
    head = [line for line in text.splitlines() if line.startswith("# ")]
    place = head[0].removeprefix("# in: ")
    wanted = [EXPECTED.match(line) for line in head[1:]]
    assert wanted and all(wanted), head
    found = found_in(place, text.encode(), small)
    matched = set()
    for m in wanted:
        assert m
        line, column, code, advice, file, offers = m.groups()
        here = [
            p for p in found
            if (p.where.line, p.where.column, p.code) == (int(line), int(column), code)
            and p.where.file == f"knowledge/{file or place}" and p.level == ("advice" if advice else "error")
            and (offers or "") in p.way_out
        ]  # fmt: skip
        assert here, "\n".join(map(str, found))
        matched |= set(here)
    assert [p for p in found if p.level == "error" and p not in matched] == []
