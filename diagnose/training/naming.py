"""A cause or mechanism as a trainee names it, in their own words."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from functools import lru_cache

from diagnose.knowledge.model import Explained, Knowledge
from diagnose.phrases.index import Index, Sense, Span, index_of
from diagnose.phrases.tokens import folded
from diagnose.reading.terms import plain
from diagnose.training.scoring import NONE

MOST = 5
NO = ("none", "none of these", "no cause", "not in the list", "something else")
ENOUGH = 0.34
OF_MEANING = 0.45
"""What a word of a card's sentence counts against one of its name."""


def meant(text: str, cards: Mapping[str, Explained], knowledge: Knowledge) -> list[str]:
    """The cards a phrase may name, best first; one alone where it is plain which. Words of one meaning count as one."""
    wanted = plain(text)
    if wanted in NO:
        return [NONE]
    exact = [n for n in cards if plain(n) == wanted or wanted in map(plain, knowledge_of_old(cards[n], knowledge))]
    if exact:
        return exact[:1]
    index = index_of(knowledge.vocabulary)
    asked = _senses(text, index)
    table = _table(index, tuple((n, n, c.means) for n, c in cards.items()))
    rare = _rarity(table)
    scores = {}
    for name, (of_name, of_meaning) in table.items():
        hits = sum(rare[s] * (1.0 if s in of_name else OF_MEANING) for s in asked if s in of_name or s in of_meaning)
        whole = sum(rare.get(s, max(rare.values())) for s in asked) + 0.25 * sum(rare[s] for s in of_name - asked)
        scores[name] = hits / whole if whole else 0.0
    order = sorted((n for n in scores if scores[n] >= ENOUGH / 2), key=lambda n: (-round(scores[n], 9), n))[:MOST]
    if order and scores[order[0]] >= 2 * ENOUGH and (len(order) == 1 or scores[order[0]] > 1.4 * scores[order[1]]):
        return order[:1]
    return order


def knowledge_of_old(card: Explained, knowledge: Knowledge) -> Sequence[str]:
    """The names a card had before."""
    return [old.name for old in knowledge.retired.values() if old.replaced_by == card.name]


def _senses(text: str, index: Index) -> frozenset[Sense]:
    """What the words of a text mean, words that say nothing left out."""
    tokens = index.tokens(folded(text))
    spans = index.spans(tokens)
    idle = {p for s in spans if s.sense[0] in ("idle", "cue") for p in s.places}
    stems = {
        ("word", t.stem.rstrip("e")) for n, t in enumerate(tokens) if t.is_word and n not in idle and len(t.stem) > 2
    }
    return frozenset({s.sense for s in spans if s.sense[0] not in ("idle", "cue", "word")} | stems | _concepts(spans))


def _concepts(spans: Sequence[Span]) -> set[Sense]:
    """The words of one meaning that a run of words is one of."""
    return {
        ("word", s.sense[1].rstrip("e"))
        for s in spans
        if s.sense[0] == "word" and not s.guessed and len(s.sense[1]) > 2
    }


@lru_cache(maxsize=4)
def _table(
    index: Index, cards: tuple[tuple[str, str, str], ...]
) -> dict[str, tuple[frozenset[Sense], frozenset[Sense]]]:
    return {name: (_senses(spelled, index), _senses(means, index)) for name, spelled, means in cards}


def _rarity(table: Mapping[str, tuple[frozenset[Sense], frozenset[Sense]]]) -> dict[Sense, float]:
    """How much a sense tells: more the fewer cards have it."""
    users = Counter(s for of_name, of_meaning in table.values() for s in of_name | of_meaning)
    return {s: math.log(1 + len(table) / n) for s, n in users.items()}
