"""A cause or mechanism as a trainee names it, in their own words."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from functools import lru_cache
from typing import NamedTuple

from diagnose.knowledge.model import Explained, Knowledge
from diagnose.phrases.index import STATED, Index, Sense, Span, index_of
from diagnose.phrases.tokens import folded
from diagnose.reading.terms import plain
from diagnose.training.scoring import NONE

MOST = 5
NO = ("none", "none of these", "no cause", "not in the list", "something else")
ENOUGH = 0.34
OF_MEANING = 0.45
"""What a word of a card's sentence counts against one of its name."""


class Meant(NamedTuple):
    """The cards a phrase may name, best first; `plain`: it names the first and no other."""

    names: list[str]
    plain: bool


def meant(text: str, cards: Mapping[str, Explained], knowledge: Knowledge) -> Meant:
    """What a phrase names. Words of one meaning count as one."""
    wanted = plain(text)
    if wanted in NO:
        return Meant([NONE], True)
    exact = [n for n in cards if plain(n) == wanted or wanted in map(plain, knowledge_of_old(cards[n], knowledge))]
    if exact:
        return Meant(exact[:1], True)
    order = ranked(text, tuple((n, c.means) for n, c in cards.items()), index_of(knowledge.vocabulary))
    sure = bool(order) and order[0][1] >= 2 * ENOUGH and all(order[0][1] > 1.4 * x for _, x in order[1:])
    return Meant([name for name, _ in order], sure)


def ranked(text: str, cards: tuple[tuple[str, str], ...], index: Index) -> list[tuple[str, float]]:
    """The few cards, each (name, meaning), whose words say most of a text, best first with how much of it, up to 1."""
    asked = _senses(text, index)
    table = _table(index, cards)
    rare = _rarity(table)
    scores = {}
    for name, (of_name, of_meaning) in table.items():
        hits = sum(rare[s] * (1.0 if s in of_name else OF_MEANING) for s in asked if s in of_name or s in of_meaning)
        whole = sum(rare.get(s, max(rare.values())) for s in asked) + 0.25 * sum(rare[s] for s in of_name - asked)
        scores[name] = hits / whole if whole else 0.0
    found = [(n, round(x, 9)) for n, x in scores.items() if x >= ENOUGH / 2]
    return sorted(found, key=lambda x: (-x[1], x[0]))[:MOST]


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
    return frozenset(
        {s.sense for s in spans if s.sense[0] not in ("idle", "cue", "word", *STATED)} | stems | _concepts(spans)
    )


def _concepts(spans: Sequence[Span]) -> set[Sense]:
    """The words of one meaning that a run of words is one of."""
    return {
        ("word", s.sense[1].rstrip("e"))
        for s in spans
        if s.sense[0] == "word" and not s.guessed and len(s.sense[1]) > 2
    }


@lru_cache(maxsize=4)
def _table(index: Index, cards: tuple[tuple[str, str], ...]) -> dict[str, tuple[frozenset[Sense], frozenset[Sense]]]:
    return {name: (_senses(name, index), _senses(means, index)) for name, means in cards}


def _rarity(table: Mapping[str, tuple[frozenset[Sense], frozenset[Sense]]]) -> dict[Sense, float]:
    """How much a sense tells: more the fewer cards have it."""
    users = Counter(s for of_name, of_meaning in table.values() for s in of_name | of_meaning)
    return {s: math.log(1 + len(table) / n) for s, n in users.items()}
