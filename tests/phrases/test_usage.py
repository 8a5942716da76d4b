"""How usual what is said is for what can be meant, against the same worked out by the sum that its page names."""

from __future__ import annotations

import math

import numpy as np
import pytest

from diagnose.phrases.usage import FEW, Usage, pieces

SAYINGS = {0: [["worn", "flat"], ["flat", "nose"]], 1: [["nose", "gone", "gone"]], 2: [["wet"]]}
"""By meaning the words of each saying; each word is its own stem here."""
WORDS = list(dict.fromkeys(w for said in SAYINGS.values() for words in said for w in words))
ALL = {p for w in WORDS for p in pieces(w, w)}


@pytest.fixture
def usage() -> Usage:
    pairs = [(WORDS.index(w), meaning) for meaning, said in SAYINGS.items() for words in said for w in words]
    words, meanings = np.array(pairs).T
    return Usage([(w, w) for w in WORDS], words, meanings, len(SAYINGS))


def by_hand(said: dict[str, float], meaning: int) -> float:
    own = [p for words in SAYINGS[meaning] for w in words for p in pieces(w, w)]
    return sum(
        count * math.log((own.count(p) + FEW) / (len(own) + FEW * len(ALL)))
        for word, count in said.items()
        for p in pieces(word, word)
        if p in ALL
    )


@pytest.mark.parametrize("said", [
    {"flat": 1.0, "nose": 1.0}, {"gone": 1.0, "wet": 0.3}, {"worm": 1.0}, {"flats": 0.6, "noses": 1.0},
])  # fmt: skip
def test_what_is_said_counts_by_how_often_its_pieces_stand_in_the_sayings(usage, said):
    expected = np.array([by_hand(said, m) for m in SAYINGS])
    assert usage.told((w, w, count) for w, count in said.items()) == pytest.approx(expected - expected.max(), rel=1e-9)


def test_a_word_is_its_stem_and_its_letters_by_fours():
    assert pieces("worn", "wear") == ["wear", "<wor~", "worn~", "orn>~"]
    assert pieces("ok", "ok") == ["ok", "<ok>~"]


def test_a_misspelt_word_tells_by_its_pieces_and_an_unknown_one_nothing(usage):
    assert usage.told([("gonne", "gonne", 1.0)]).argmax() == 1
    assert not usage.told([("zzzz", "zzzz", 1.0)]).any()
