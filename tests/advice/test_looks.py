"""`looks.yaml` is read strictly: every mistake with its place and a way out."""

from __future__ import annotations

import pytest

from diagnose.knowledge.files import contents_of
from diagnose.knowledge.reader import build_knowledge
from diagnose.reading.problems import Problems
from tests.support.places import ROOT

GOOD = (ROOT / "knowledge" / "looks.yaml").read_text("utf-8")
WORDS = {
    n: text for n, text in contents_of(ROOT / "knowledge").items() if n.startswith(("vocabulary/", "words", "sources"))
}
"""What the file stands on: the vocabulary, without the cards."""


def problems_of(text: str) -> list[str]:
    problems = Problems()
    build_knowledge({**WORDS, "looks.yaml": text.encode()}, "knowledge", problems)
    return [str(p) for p in problems.errors()]


def test_the_shipped_file_is_sound_and_read(whole_base):
    assert problems_of(GOOD) == []
    looks = whole_base.knowledge.looks
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
def test_a_mistake_is_told_with_its_place(right, wrong, told):
    assert right in GOOD
    found = problems_of(GOOD.replace(right, wrong))
    assert found and all(p.startswith("knowledge/looks.yaml:") for p in found)
    assert all(any(words in p for p in found) for words in told), found
