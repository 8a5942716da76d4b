"""A part that is not there shows nothing and cannot be measured; marks of one ring that exclude each other."""

from __future__ import annotations

import pytest

from diagnose.casefile.reader import parse_case
from diagnose.casefile.recorder import Recorder
from diagnose.reading.problems import BadInput, Problems

PARTS = """case: a
seal: {arrangement: single}
parts:
  - {item: 3, name: Sliding O-ring, kind: O-ring}
  - {item: 4, name: Other O-ring, kind: O-ring}
  - {item: 1, name: Ring, kind: soft face}
"""
MISSING = "  - {part: 3, saw: missing}\n"
HARDNESS = "measurements:\n  - {part: 3, measured: hardness, readings: [94 Shore A]}\n"


def problems_of(text: str, base) -> list[tuple[str, str]]:
    problems = Problems()
    parse_case((PARTS + text).encode(), "c.yaml", base.knowledge, problems)
    return [(p.code, p.says) for p in problems.sorted()]


@pytest.mark.parametrize(
    ("text", "pair"),
    [
        ("observations:\n" + MISSING + HARDNESS, ("missing", "hardness")),
        ("observations:\n" + MISSING + "  - {part: 3, saw: swollen}\n", ("missing", "swollen")),
        (
            "observations:\n  - {part: 1, saw: no contact}\n  - {part: 1, saw: full even track}\n",
            ("no contact", "full even track"),
        ),
    ],
)
def test_what_cannot_be_together_on_one_part_is_refused(whole_base, text, pair):
    (found,) = problems_of(text, whole_base)
    assert found[0] == "contradiction" and all(repr(x) in found[1] for x in pair)


@pytest.mark.parametrize(
    "text",
    [
        "observations:\n" + MISSING + "  - {part: 4, saw: swollen}\n",
        "observations:\n" + MISSING + HARDNESS.replace("part: 3", "part: 4"),
        "observations:\n" + MISSING + "  - {part: 3, absent: swollen}\n",
        "observations:\n  - {part: 3, absent: missing}\n" + HARDNESS,
        "observations:\n  - {on: O-ring, saw: missing}\n  - {on: O-ring, saw: swollen}\n",
    ],
)
def test_other_parts_and_other_answers_stand(whole_base, text):
    assert problems_of(text, whole_base) == []


@pytest.mark.parametrize("first", ["missing", "hardness"])
def test_a_ring_that_was_measured_is_not_noted_as_missing_nor_the_other_way_round(tmp_path, whole_base, first):
    missing = {"add": "observations", "entry": {"part": "3", "saw": "missing"}}
    hardness = {"add": "measurements", "entry": {"part": "3", "measured": "hardness", "readings": ["94 Shore A"]}}
    with Recorder(tmp_path / "p.yaml", whole_base.knowledge, "ann") as r:
        r.start(
            {"case": "P", "seal": {"arrangement": "single"}, "parts": [{"item": "3", "kind": "O-ring", "name": "Ring"}]}
        )
        one, other = (missing, hardness) if first == "missing" else (hardness, missing)
        (line,) = r.accept(one)
        with pytest.raises(BadInput, match="correct or withdraw the other"):
            r.accept(other)
        r.accept({"withdraw": str(line.number), "why": "typed into the wrong list"})
        r.accept(other)
