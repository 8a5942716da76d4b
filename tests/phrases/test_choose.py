"""Which of a few terms a phrase means, where only these can be answered."""

from __future__ import annotations

import pytest

from diagnose.phrases.choose import chosen
from tests.support.shipped import whole_base

V = whole_base().knowledge.vocabulary


def _chosen(phrase: str, setting: str = "service", without: str = ""):
    return chosen(phrase, setting, [t for t in V.settings[setting].terms if t != without], V)


@pytest.mark.parametrize(
    ("phrase", "setting", "term"),
    [
        ("sets when cold", "service", "molten"),
        ("sand in it", "service", "abrasive solids"),
        ("it is poisonous", "service", "toxic"),
        ("stood for half a year", "history", "long standstill"),
    ],
)
def test_what_says_one_term_in_full_is_that_term(phrase, setting, term):
    assert (found := _chosen(phrase, setting)).terms[0] == term and found.clear and not found.denied


@pytest.mark.parametrize(("phrase", "term"), [("no solids", "abrasive solids"), ("not abrasive", "abrasive solids")])
def test_a_denial_is_told_as_such(phrase, term):
    assert (found := _chosen(phrase)).terms[0] == term and found.denied


@pytest.mark.parametrize(
    ("phrase", "term"),
    [("salts out", "crystallising"), ("water with sand", "abrasive solids"), ("thick heavy oil", "viscous oil")],
)
def test_what_leaves_words_unread_or_is_only_near_is_not_clear(phrase, term):
    assert (found := _chosen(phrase)).terms[0] == term and not found.clear


@pytest.mark.parametrize("phrase", ["banana", "", "?", "42", "no", "the quick brown fox"])
def test_what_means_none_of_the_terms_chooses_none(phrase):
    assert _chosen(phrase).terms == ()


@pytest.mark.parametrize("phrase", ["sand in it", "it is poisonous", "very hot water", "water with sand"])
def test_only_what_can_be_answered_is_chosen(phrase):
    best = _chosen(phrase).terms[0]
    assert best not in _chosen(phrase, without=best).terms
