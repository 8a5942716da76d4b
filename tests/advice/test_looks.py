"""`looks.yaml` is read strictly: every mistake with its place and a way out."""

from __future__ import annotations

import pytest

from diagnose.knowledge.card_reader import CardReader
from diagnose.knowledge.looks import FILE, read_looks
from diagnose.knowledge.model import Knowledge
from diagnose.reading.located import read_text
from diagnose.reading.problems import Problems
from tests.support.places import KNOWLEDGE

GOOD = (KNOWLEDGE / FILE).read_text("utf-8")


def problems_of(text: str, knowledge: Knowledge) -> list[str]:
    problems = Problems()
    node = read_text(text.encode(), f"knowledge/{FILE}", problems)
    assert node is not None
    read_looks(CardReader({FILE: node}, "knowledge", problems, False), knowledge.vocabulary)
    return [str(p) for p in problems.errors()]


def test_the_shipped_file_is_sound_and_read(knowledge):
    assert problems_of(GOOD, knowledge) == []
    looks = knowledge.looks
    assert looks.minutes["face"] == 3 and looks.asked == ("leak", "sound", "history")
    assert looks.worth == 0.05 and looks.reckoned == 0.02 and looks.mechanisms == 0.2


MISTAKES = [
    ("  face: 3", "  fase: 3", ["there is no kind 'fase'", "face"]),
    ("  face: 3", "  face: -3", ["'face' must lie between 0 and"]),
    ("  face: 3\n", "", ["no minutes for a look at 'face'"]),
    ("asked: [leak", "asked: [leek", ["there is no kind 'leek'", "leak"]),
    ("  question: 0.20", "  query: 0.20", ["there is no way of looking 'query'"]),
    ("  question: 0.20", "  question: 1.20", ["'question' must lie between 0 and 1"]),
    ("  question: 0.20\n", "", ["the key 'question' is missing"]),
    ("worth: 0.05", "worth: little", ["'worth' must be a number"]),
    ("worth: 0.05", "wurth: 0.05", ["wurth"]),
    ("mechanisms: 0.2", "mechanisms: 1.2", ["'mechanisms' must lie between 0 and 1"]),
    ("mechanisms: 0.2", "mechanism: 0.2", ["'mechanism'", "mechanisms"]),
    ("reckoned with: 0.02", "reckoned with: 2", ["'reckoned with' must lie between 0 and 1"]),
]


@pytest.mark.parametrize(("right", "wrong", "told"), MISTAKES, ids=[w.strip() or "left out" for _, w, _ in MISTAKES])
def test_a_mistake_is_told_with_its_place(right, wrong, told, knowledge):
    assert right in GOOD
    found = problems_of(GOOD.replace(right, wrong), knowledge)
    assert found and all(p.startswith("knowledge/looks.yaml:") for p in found)
    assert all(any(words in p for p in found) for words in told), found
