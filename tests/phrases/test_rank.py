"""What a spelling is reckoned to score at most on a clause, before it is held against it."""

from __future__ import annotations

import pytest

from diagnose.phrases.clauses import phrase_of
from diagnose.phrases.hold import held_as
from diagnose.phrases.index import index_of
from diagnose.phrases.said_of import Parts
from tests.support.shipped import whole_base

INDEX = index_of(whole_base().knowledge.vocabulary)


@pytest.mark.parametrize("said", [
    "wide track", "springs full of product", "sleeve grooved under the o-ring", "no cracks or chips on the hard face", "runout 0.12 mm",
    "carbon chipped", "flush line cold at start", "springs gunked up", "O-ring swollen and gone hard", "pump oiled",
])  # fmt: skip
def test_no_spelling_scores_more_than_it_is_reckoned_to_at_most(said):
    held = 0
    for clause in phrase_of(said, INDEX).clauses:
        for most, _, number in INDEX.ranks.of(clause, Parts(clause, INDEX, ""), 0.0):
            if found := held_as(number, clause, INDEX):
                held += 1
                assert found.score <= most, INDEX.spellings[number]
    assert held


def test_what_is_far_below_the_least_asked_is_left_out_and_the_best_come_first():
    (clause,) = phrase_of("springs full of product", INDEX).clauses
    ranked = [[most for most, _, _ in INDEX.ranks.of(clause, Parts(clause, INDEX, ""), least)] for least in (0.0, 0.6)]
    assert 0 < len(ranked[1]) < len(ranked[0]) and all(found == sorted(found, reverse=True) for found in ranked)
