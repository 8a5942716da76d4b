"""The few looks that tell most about a seal, each beside those before it, in the order in which they perish."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from diagnose.casefile.cards import Card, due
from diagnose.casefile.model import Case
from diagnose.casefile.walk import Topic
from diagnose.inference.facts import holds_at
from diagnose.knowledge.model import Condition, Knowledge, Vocabulary

if TYPE_CHECKING:
    from diagnose.inference.run import RuleBase

MOST = 10
SHARE = 0.3
"""A mark is asked for where the finding that it decides tells at least this share of what the best of its look tells."""


@dataclass(frozen=True)
class _Look:
    """What is looked at in one go: one part or kind, parts alike, or two that touch and on which much the same is looked for."""

    card: Card
    blocks: tuple[tuple[Topic, ...], ...]

    @property
    def position(self) -> str:
        return self.blocks[0][0].position

    @property
    def marks(self) -> list[tuple[str, str]]:
        """(feature, kind) of all that is looked for."""
        return [(c.feature, t.kind) for c in self.card.choices if c.topics in self.blocks for t in c.topics]


def quick(case: Case, base: RuleBase, reached: Collection[str] = (), most: int = MOST) -> tuple[Card, ...]:
    """Up to `most` cards with only the marks that decide what tells most: first the look that tells most, then what adds most to
    it, and so on; in the order of dismantling."""
    from diagnose.advice.plan import best_looks
    from diagnose.judgement.diagnosis import Diagnosis

    knowledge = base.knowledge
    looks = list(_looks(case, due(case, knowledge, reached)))
    deciding = [
        {f: marks for f in knowledge.findings if (marks := _deciding(knowledge, f, look.marks))} for look in looks
    ]
    tells = [
        {p: found for p in case.positions if holds_at(look.position, p)}
        for look, found in zip(looks, deciding, strict=True)
    ]
    kept: dict[int, set[str]] = {}
    always = {i: {mark for mark, _ in look.marks} for i, look in enumerate(looks) if _is_foremost(knowledge, look)}
    best = [x for x in best_looks(Diagnosis(case, base).judgements, tells, most) if x[0] not in always]
    for i, bits in best[: most - len(always)]:
        least = SHARE * max(bits.values())
        kept[i] = {mark for finding, told in bits.items() if told >= least for mark in deciding[i][finding]}
        kept[i] |= {
            mark for features in knowledge.arrangements.one_of.values() if kept[i] & set(features) for mark in features
        }
    kept |= always
    return tuple(_only(looks[i], kept[i]) for i in sorted(kept))


def _looks(case: Case, cards: Collection[Card]) -> Iterator[_Look]:
    """The blocks of the cards, two of one step together where their parts touch and share most of their marks."""
    blocks = [(card, block) for card in cards for block in card.blocks()]
    taken: set[int] = set()
    for i, (card, block) in enumerate(blocks):
        if i in taken:
            continue
        mates = [
            j
            for j, (other, mate) in enumerate(blocks)
            if j > i and j not in taken and other.step is card.step and _pair(case, block, mate)
        ]
        taken |= {i, *mates[:1]}
        found = [card, *(blocks[j][0] for j in mates[:1] if blocks[j][0] is not card)]
        choices = tuple(c for x in found for c in x.choices)
        yield _Look(replace(card, choices=choices, readings=()), (block, *(blocks[j][1] for j in mates[:1])))


def _is_foremost(knowledge: Knowledge, look: _Look) -> bool:
    kinds = {x.on for step in knowledge.arrangements.steps if step is look.card.step for x in step.looks if x.foremost}
    return any(t.kind in kinds for block in look.blocks for t in block)


def _pair(case: Case, one: tuple[Topic, ...], other: tuple[Topic, ...]) -> bool:
    a, b = case.part(one[0].part), case.part(other[0].part)
    if (
        a is None
        or b is None
        or len(one) > 1
        or len(other) > 1
        or (b.item not in a.touches and a.item not in b.touches)
    ):
        return False
    first, second = set(one[0].features), set(other[0].features)
    return 2 * len(first & second) > max(len(first), len(second))


def _deciding(
    knowledge: Knowledge, finding: str, marks: Collection[tuple[str, str]], seen: frozenset[str] = frozenset()
) -> set[str]:
    """The features among some marks that can show a finding alone; none where that takes other work as well."""
    return _showing(knowledge, knowledge.findings[finding].when, marks, seen | {finding})


def _showing(
    knowledge: Knowledge, c: Condition | None, marks: Collection[tuple[str, str]], seen: frozenset[str]
) -> set[str]:
    if c is None:
        return set()
    if c.form == "saw":
        related = knowledge.vocabulary.related
        return {f for f, kind in marks if f == c.term and (not c.on or related(c.on, kind))}
    if c.form == "found":
        return set() if c.term in seen else _deciding(knowledge, c.term, marks, seen)
    if c.form in ("state", "act"):
        return _saying(knowledge.vocabulary, c, marks)
    parts = [_showing(knowledge, p, marks, seen) for p in c.parts if not _of_settings(p)]
    if c.form == "all":
        return set().union(*parts) if all(parts) else set()
    return set().union(*parts) if c.form in ("any", "at least") else set()


def _of_settings(c: Condition) -> bool:
    """Whether a condition asks for nothing but what the seal and its duty are."""
    return all(map(_of_settings, c.parts)) if c.parts else c.form.endswith("setting")


def _saying(words: Vocabulary, c: Condition, marks: Collection[tuple[str, str]]) -> set[str]:
    """The features among some marks that are the name of what a state or an act asks for."""
    asked = {**dict(c.such), **({"did": c.term} if c.form == "act" else {"variable": c.term, "value": c.value})}
    looked_for = {f for f, _ in marks}
    return {
        n.feature.name
        for n in words.named_statements
        if n.feature.name in looked_for and n.table == c.form and n.so and words.grammar.implies(n.slots, asked)
    }


def _only(look: _Look, features: set[str]) -> Card:
    choices = tuple(c for c in look.card.choices if c.topics in look.blocks and c.feature in features)
    blocks = [b for b in look.blocks if any(c.topics == b for c in choices)]
    return replace(look.card, topics=tuple(t for b in blocks for t in b), choices=choices)
