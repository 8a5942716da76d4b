"""Files of words: mistakes told with their place and the way out, all at once; the shipped words and where they were met."""

from __future__ import annotations

from pathlib import Path

import pytest

from diagnose.knowledge.files import contents_of
from diagnose.knowledge.reader import build_knowledge
from diagnose.reading.problems import Problems

KNOWLEDGE = Path(__file__).parents[2] / "knowledge"
WRONG = b"""met in: common-practise
features:
  clogged: [bunged up with wug, {word: full of wug, met in: nowhere}]
  clogd: [wug]
  sludge: [bunged up with wug]
cues:
  denyed: [nowt at all]
wrods: [x]
in other words:
  features:
    clogd: full of wug
    sludge: "; "
  kinds: {}
"""


@pytest.mark.slow
def test_every_mistake_in_a_file_of_words_is_told_with_its_place_and_a_way_out():
    problems = Problems()
    words = {n: data for n, data in contents_of(KNOWLEDGE).items() if n.startswith(("vocabulary/", "words", "sources"))}
    build_knowledge({**words, "vocabulary/words/wrong.yaml": WRONG}, "knowledge", problems)
    told = {(p.where.line, p.where.column, p.code, "did you mean" in p.way_out) for p in problems.errors()}
    assert told == {
        (1, 9, "unknown-source", True), (3, 61, "unknown-source", False), (4, 3, "unknown-term", True), (3, 13, "shared-word", False),
        (7, 3, "unknown-cue", True), (8, 1, "unknown-key", False), (11, 5, "unknown-term", True), (12, 13, "text", False), (13, 3, "unknown-key", False),
    }  # fmt: skip


def test_the_shipped_words_are_many_and_each_says_where_it_was_met(whole_base):
    knowledge = whole_base.knowledge
    said = list(knowledge.vocabulary.lexicon.every())
    assert len({s.text for s in said}) >= 1500
    assert {s.met for s in said} <= knowledge.sources.keys() and len({s.met for s in said}) > 3


def test_what_is_said_in_other_words_is_said_of_nearly_every_mark_act_and_value(whole_base):
    v = whole_base.knowledge.vocabulary
    others = v.lexicon.others
    values = [f"{x.name}: {value}" for x in v.grammar.variables.values() for value in x.words]
    for section, terms in (("features", v.features), ("acts", v.grammar.acts), ("values", values)):
        assert len(others[section]) >= 0.95 * len(terms)
        assert sum(map(len, others[section].values())) >= 15 * len(terms)
