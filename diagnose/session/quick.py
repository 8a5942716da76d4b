"""The few looks that tell most about a seal, in the order in which they perish."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import replace
from typing import TYPE_CHECKING

from diagnose.casefile.cards import Card, due
from diagnose.casefile.model import Case
from diagnose.casefile.walk import Topic
from diagnose.knowledge.conditions import walk
from diagnose.knowledge.model import Knowledge

if TYPE_CHECKING:
    from diagnose.inference.run import RuleBase

MOST = 10


def quick(case: Case, base: RuleBase, reached: Collection[str] = (), most: int = MOST) -> tuple[Card, ...]:
    """Up to `most` cards, each of one part or kind or of parts alike, with only the features that decide findings which the
    plan would settle, most telling work first; in the order of dismantling."""
    from diagnose.advice.plan import NOW, plan
    from diagnose.judgement.diagnosis import Diagnosis

    knowledge = base.knowledge
    blocks = [(card, block) for card in due(case, knowledge, reached) for block in card.blocks()]
    kept: dict[int, set[str]] = {}
    steps = plan(Diagnosis(case, base).judgements, most=len(knowledge.measurements)).steps
    for step in sorted(steps, key=lambda s: (s.when != NOW, -s.bits)):
        telling = set(_features(knowledge, step.findings))
        for i, (card, block) in enumerate(blocks):
            found = telling & {c.feature for c in card.choices if c.topics == block}
            if found and _of_part(knowledge, block[0], step.part) and (i in kept or len(kept) < most):
                kept.setdefault(i, set()).update(found)
    return tuple(_only(*blocks[i], kept[i]) for i in sorted(kept))


def _features(knowledge: Knowledge, findings: Collection[str], seen: frozenset[str] = frozenset()) -> Iterator[str]:
    """The features that decide findings, those of findings that they rest on among them."""
    for name in findings:
        for condition in walk(knowledge.findings[name].when):
            if condition.form in ("saw", "absent"):
                yield condition.term
            elif condition.form.startswith("found") and condition.term not in seen:
                yield from _features(knowledge, [condition.term], seen | {name})


def _of_part(knowledge: Knowledge, topic: Topic, kind: str) -> bool:
    lineage = knowledge.vocabulary.lineage
    return not kind or kind in lineage[topic.kind] or topic.kind in lineage[kind]


def _only(card: Card, block: tuple[Topic, ...], features: set[str]) -> Card:
    choices = tuple(c for c in card.choices if c.topics == block and c.feature in features)
    return replace(card, topics=block, choices=choices, readings=())
