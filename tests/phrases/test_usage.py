"""How usual words are for what can be meant, against the same worked out by the sum that its page names."""

from __future__ import annotations

import math

import numpy as np
import pytest

from diagnose.phrases.usage import FEW, PART, POWER, Usage

SAYINGS = {0: [[0, 1], [1, 2]], 1: [[2, 3, 3]], 2: [[4]]}
"""By meaning the words of each saying, as numbers."""


@pytest.fixture
def usage() -> Usage:
    pairs = [(word, meaning) for meaning, said in SAYINGS.items() for words in said for word in words]
    words, meanings = np.array(pairs).T
    return Usage(words, meanings, 5, 3)


def by_hand(parts: dict[int, float], meaning: int) -> float:
    said = [word for words in SAYINGS[meaning] for word in words]
    times = sum(part * said.count(word) for word, part in parts.items())
    return math.log((times + FEW) / (len(said) + FEW * 5))


def test_the_words_of_a_clause_count_by_how_often_they_stand_in_the_sayings(usage):
    near = np.zeros((2, 5), np.float32)
    near[0, 1], near[1, 2], near[1, 4] = 1.0, 1.0, 0.8
    expected = np.array([by_hand({1: 1.0}, m) + by_hand({2: 1.0, 4: PART * 0.8**POWER}, m) for m in SAYINGS])
    assert usage.told(near, [1.0, 1.0]) == pytest.approx(expected - expected.max(), rel=1e-5)


def test_a_word_that_counts_for_nothing_tells_nothing_and_one_that_is_not_near_tells_only_how_much_is_said(usage):
    near = np.zeros((2, 5), np.float32)
    near[0, 3], near[1, 0] = 1.0, 0.49
    assert usage.told(near, [1.0, 0.0]).argmax() == 1
    assert usage.told(near[1:], [1.0]) == pytest.approx([by_hand({}, m) - by_hand({}, 2) for m in SAYINGS], rel=1e-5)
