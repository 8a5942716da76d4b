"""For trainers: phrases nobody understood, and words of the rule base that cannot serve."""

from __future__ import annotations

import pytest

from diagnose.authoring.spoken import check, not_understood
from diagnose.knowledge.lexicon import Said
from diagnose.reading.entry import replace
from tests.support.shipped import whole_base

BASE = whole_base().knowledge


def with_words(**said: dict[str, tuple[str, ...]]):
    """The rule base with further words for features, or of one meaning."""
    lexicon = BASE.vocabulary.lexicon
    terms = {name: (*lexicon.terms["features"].get(name, ()), *(Said(w, "common-practice") for w in more))
             for name, more in said.get("features", {}).items()}  # fmt: skip
    same = {name: tuple(Said(w, "common-practice") for w in more) for name, more in said.get("same", {}).items()}
    lexicon = replace(
        lexicon,
        terms={**lexicon.terms, "features": {**lexicon.terms["features"], **terms}},
        same={**lexicon.same, **same},
    )
    return replace(BASE, vocabulary=BASE.vocabulary.with_lexicon(lexicon))


def fresh(**said):
    before = {(p.code, p.says) for p in check(BASE)}
    return [p for p in check(with_words(**said)) if (p.code, p.says) not in before]


@pytest.mark.slow
def test_two_terms_that_a_phrase_cannot_tell_apart_are_told():
    (found,) = [
        p
        for p in fresh(features={"oil varnish": ("zebra stripes",), "sludge": ("striped zebra",)})
        if p.code == "alike-words"
    ]
    assert "'oil varnish'" in found.says and "'sludge'" in found.says


@pytest.mark.slow
@pytest.mark.slow
def test_a_general_word_that_says_a_special_one_is_told():
    (found,) = [p for p in fresh(features={"crack": ("crack from the drive slot",)}) if p.code == "claims-more"]
    assert "'crack at the drive slot'" in found.says


@pytest.mark.slow
@pytest.mark.slow
def test_words_that_no_term_is_said_with_are_told():
    (found,) = fresh(same={"wug": ("wugs and daxes",)})
    assert found.code == "unused-words" and "'wug'" in found.says


def test_phrases_left_over_in_a_folder_are_counted_with_their_files_and_what_they_are_read_as_now(tmp_path):
    (tmp_path / "a.yaml").write_text('case: A\n"said, not understood": [wug dax, springs gunked up]\n')
    (tmp_path / "b.yaml").write_text('case: B\n"said, not understood": [Wug dax]\n')
    (tmp_path / "c.yaml").write_text("case: [C\n")
    found, wrong = not_understood(tmp_path, BASE.vocabulary)
    assert [(x.phrase, x.files, x.now) for x in found] == [
        ("wug dax", ("a.yaml", "b.yaml"), ()), ("springs gunked up", ("a.yaml",), ("spring: clogged",)),
    ]  # fmt: skip
    assert [p.where.file.endswith("c.yaml") for p in wrong] == [True]
