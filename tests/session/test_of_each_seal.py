"""Of a pair of seals each has its own materials: they are said in one answer, and told with the seal."""

from __future__ import annotations

import pytest

from diagnose.casefile.answers import by_seal
from diagnose.casefile.recorder import Recorder
from diagnose.casefile.walk import usual_document
from diagnose.session.filled_sheet import FilledSheet
from tests.session.script import NOON, Script, session

PAIR = ("inboard", "outboard")


@pytest.fixture
def pair(tmp_path, knowledge):
    path = tmp_path / "pair.yaml"
    usual, first = knowledge.arrangements.usual["dual pressurised"], knowledge.arrangements.steps[0].stage
    with Recorder(path, knowledge, "ann", lambda: NOON) as r:
        r.start(usual_document("Pair", "dual pressurised", usual, first))
    return path


@pytest.mark.parametrize(("answer", "found"), [
    ("FFKM inboard, FKM outboard", {"inboard": "FFKM", "outboard": "FKM"}),
    ("inboard: FFKM; outboard: FKM", {"inboard": "FFKM", "outboard": "FKM"}),
    ("FKM on the outboard seal", {"outboard": "FKM"}),
    ("FKM", {}), ("FFKM inboard, FKM", {}),
])  # fmt: skip
def test_what_is_said_of_each_seal(answer, found):
    assert by_seal(answer, PAIR) == found
    assert by_seal(answer, ("seal",)) == {}


def elastomers(case) -> set[tuple[str, str]]:
    return {(s.position, s.term) for s in case.settings if s.setting == "elastomer"}


EACH = {("inboard", "FFKM"), ("outboard", "FKM")}


def test_the_session_takes_it_and_the_report_tells_it(pair, knowledge, build):
    script = Script(("elastomer", "FFKM inboard, FKM outboard"), stop_at="Step 2")
    assert elastomers(session(pair, knowledge, script)) == EACH
    assert ("Faces and rubber", "FFKM inboard, FKM outboard") in build(pair).facts
    again = Script(stop_at="Step 2")
    session(pair, knowledge, again)
    assert not any(t.startswith("elastomer (") for t in again.told)


def test_the_sheet_takes_it(pair, knowledge):
    with Recorder(pair, knowledge, "ann", lambda: NOON) as r:
        filled = FilledSheet(r, "paper.txt")
        (number,) = [n for n, b in filled.sheet.boxes().items() if b.term == "elastomer"]
        filled.take([f"{number}: FFKM inboard, fluorocarbon outboard"])
        assert elastomers(r.case_now()) == EACH
