"""The chain from a cause down to what the record shows."""

from __future__ import annotations

from pathlib import Path

import pytest

from diagnose.casefile.reader import parse_case
from diagnose.inference.run import load
from diagnose.judgement.chains import AT_LEAST, chain, chains, unexplained
from diagnose.judgement.diagnosis import Diagnosis
from diagnose.judgement.judge import Judgement
from diagnose.reading.problems import Problems

SMALL = Path(__file__).parents[1] / "small"
HEAD = """case: A case
invented: true
service: {is: [hot water]}
seal: {arrangement: single}
parts:
  - {item: 1, name: Carbon, kind: soft face, group: rotating}
  - {item: 2, name: Seat, kind: hard face, group: stationary, index: top}
observations:
"""
HOT = "  - {part: 2, saw: radial cracks, extent: all round, degree: moderate}\n"
HARD = "  - {on: O-ring, saw: hardened}\n"
CHIPS = "  - {part: 1, saw: edge chips, side: outer edge}\n"
BENT = "  - {on: shaft, saw: bent}\n"


@pytest.fixture(scope="module")
def base():
    return load(SMALL / "knowledge")


def judged(base, *records: str) -> Judgement:
    problems = Problems()
    case = parse_case((HEAD + "".join(records)).encode(), "case.yaml", base.knowledge, problems)
    assert case is not None and not problems.errors(), problems.found
    return Diagnosis(case, base).at("seal")


def test_a_chain_runs_from_the_cause_through_what_it_brought_about(base):
    c = chain(judged(base, HOT, HARD), "dry running")
    assert c.main == ("dry running", "faces overheated", "ring baked") and c.branches == ()
    assert [link.parent for link in c.links] == ["", "dry running", "faces overheated"]
    assert [m.finding for m in c.by_name["ring baked"].shown] == ["ring hard"]
    assert all(link.chance >= AT_LEAST for link in c.links)


def test_a_link_that_nothing_shows_stands_with_what_would_show_it(base):
    c = chain(judged(base, HOT), "dry running")
    assert [link.name for link in c.links[1:] if not link.shown] == ["ring baked"]
    assert [m.finding for m in c.by_name["ring baked"].open] == ["ring hard"]


def test_the_record_ends_a_chain(base):
    soft = judged(base, HOT, "  - {on: O-ring, absent: hardened}\n")
    assert chain(soft, "dry running").main == ("dry running", "faces overheated")


def test_what_another_cause_brought_about_is_not_in_the_chain(base):
    at = judged(base, HOT, HARD, CHIPS, BENT)
    assert "rings knock" in chain(at, "bent shaft").by_name
    assert "rings knock" not in chain(at, "dry running").by_name


def test_each_start_is_told_once_and_its_mechanisms_with_it(base):
    at = judged(base, HOT, HARD, CHIPS, BENT)
    told = chains(at)
    names = [link.name for c in told for link in c.links if link.judged.kind == "mechanism"]
    assert len(names) == len(set(names)) and {"faces overheated", "rings knock"} <= set(names)


def test_a_mechanism_by_itself_heads_its_own_chain(base):
    c = chain(judged(base, HOT, HARD), "faces overheated")
    assert c.start.kind == "mechanism" and c.main == ("faces overheated", "ring baked")


def test_why_a_mechanism_is_there_is_open_as_far_as_no_cause_that_brings_it_is_at_work(base):
    at = judged(base, HOT, HARD)
    without = 1 - sum(s.probability for s in at.sets if "dry running" in s.causes)
    assert 0 < unexplained(at, "faces overheated") < without
    assert unexplained(at, "ring baked") == pytest.approx(
        sum(w * m for w, m, s in _by_set(at, "ring baked") if "dry running" not in s)
        / sum(w * m for w, m, _ in _by_set(at, "ring baked"))
    )


def _by_set(at: Judgement, mechanism: str):
    m = at.net.mechanism[mechanism]
    for k, i in enumerate(at.found.leading.tolist()):
        yield float(at.found.weights[k]), float(at.found.by_set[m, k]), at.found.causes_of(i)
