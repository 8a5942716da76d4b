"""What does not go together, and what nobody could place, is told where it belongs: in the answer, as data and on page one."""

from __future__ import annotations

import json

import pytest

from diagnose.views.report import html, markdown
from tests.support.commands import diagnose
from tests.views.test_markup import Reader

PAIR = """case: a pair
seal: {arrangement: dual pressurised}
parts:
  - {item: 2, kind: stationary hard face, name: Inboard stationary ring, position: inboard, carries: wide}
  - {item: 22, kind: stationary hard face, name: Outboard stationary ring, position: outboard, carries: wide}
observations:
  - {part: 2, saw: track wider than the nose}
  - {part: 2, saw: track as wide as the nose}
  - {part: 22, saw: edge chips}
  - {on: leak, absent: leak}
measurements:
  - {on: leak, measured: leak rate, readings: [600 mL/h]}
said, not understood: [bladder soft, nitrogen man came twice]
"""
OF_ONE_SEAL = (
    "'track wider than the nose on Inboard stationary ring (2)' does not go with 'track as wide as the nose on Inboard stationary "
    "ring (2)'"
)
OF_THE_WHOLE = "'leak rate on leak: 600 mL/h' does not go with 'looked for, not there: leak'"
UNREAD = "2 remarks were not understood and took no part in this"


@pytest.fixture
def pair(tmp_path):
    path = tmp_path / "pair.yaml"
    path.write_text(PAIR, "utf-8")
    return path


def test_the_answer_tells_it_at_the_seal_it_is_about(pair):
    told = " ".join(diagnose("explain", str(pair)).stdout.split())
    order = [
        "Inboard seal",
        OF_ONE_SEAL,
        "Outboard seal",
        "Both seals and the machine",
        OF_THE_WHOLE,
        "What to look at next",
    ]
    assert [told.index(x) for x in order] == sorted(told.index(x) for x in order)


def test_the_answer_as_data_has_it_too(pair):
    answer = json.loads(diagnose("explain", str(pair), "--json").stdout)
    assert {(x["position"], x["says"]) for x in answer["at_odds"]} == {("inboard", OF_ONE_SEAL), (None, OF_THE_WHOLE)}
    assert answer["not_understood"] == ["bladder soft", "nitrogen man came twice"]


def test_page_one_tells_it_and_how_much_was_not_understood(pair, build):
    report = build(pair)
    inboard, outboard = report.answers
    assert inboard.odds == [OF_ONE_SEAL] and outboard.odds == []
    for page in (Reader(html.page(report, short=True)).told, markdown.page(report, short=True)):
        assert OF_ONE_SEAL in page and OF_THE_WHOLE in page and UNREAD in page


def test_what_rests_on_such_a_record_is_not_told_as_a_fact(pair, build):
    whole = Reader(html.page(build(pair))).told
    assert "leak rate leak (rests on a record that is at odds)" in " ".join(whole.split())
    pair.write_text(PAIR.replace("  - {on: leak, absent: leak}\n", ""), "utf-8")
    assert "at odds)" not in Reader(html.page(build(pair))).told
