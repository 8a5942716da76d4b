"""What is still to be looked at, in the order of dismantling, as cards that are answered in one go.

A card holds one part or kind, parts that are alike, or several on which there is little to look for. How it is asked is not said here:
a session at a terminal and a page show the same cards.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, replace

from diagnose.casefile import walk
from diagnose.casefile.format import ALONE
from diagnose.casefile.model import Case, Part
from diagnose.casefile.walk import Topic
from diagnose.knowledge.model import Knowledge, Marking, Step

SMALL, ROOM = 9, 14
"""Up to so many features a topic shares a card, up to so many a card."""


@dataclass(frozen=True)
class Choice:
    """One feature to look for, on every one of `topics` alike. `perishes`: it is gone once the step has ended; `sound`: a
    part that did its job shows it."""

    feature: str
    topics: tuple[Topic, ...]
    perishes: bool
    sound: bool


@dataclass(frozen=True)
class Card:
    """`choices` and `readings` (name and the topics it is measured on) are numbered from 1 in this order."""

    step: Step
    topics: tuple[Topic, ...]
    choices: tuple[Choice, ...]
    readings: tuple[tuple[str, tuple[Topic, ...]], ...]

    @property
    def id(self) -> str:
        return self.topics[0].id

    @property
    def how(self) -> str:
        return " ".join(dict.fromkeys(t.how for t in self.topics if t.how))

    def blocks(self) -> tuple[tuple[Topic, ...], ...]:
        """The topics that are asked about alike, in order."""
        every = [c.topics for c in self.choices] + [on for _, on in self.readings]
        return tuple({tuple(t.id for t in topics): topics for topics in every}.values())


def cards(case: Case, knowledge: Knowledge, reached: Collection[str] = (), begun: str = "") -> tuple[Card, ...]:
    """Every card of looks that is still to come. `reached`: what a session is done with; `begun`: the first stage that was
    not past when recording began: nothing that was gone by then is asked for, and what stays on a part is looked for when it is
    next in hand."""
    stages = knowledge.vocabulary.stages
    first = stages.index(begun) if begun in stages else 0
    topics = walk.topics(case, knowledge, away(knowledge, reached))
    result: list[Card] = []
    due = _in_hand_next([t for t in topics if not t.asks], knowledge, stages[first:])
    for step in knowledge.arrangements.steps:
        found = [t for t in due if t.step is step]
        result += gathered(knowledge, [t for t in found if t.id not in reached])
    return tuple(result)


def _in_hand_next(topics: Sequence[Topic], knowledge: Knowledge, stages: Sequence[str]) -> list[Topic]:
    """Topics with those of steps that are past only in what stays, on a part with what is looked for at the first of `stages` at
    which it is in hand."""
    due = {t.id: t for t in topics if t.step.stage in stages}
    early: list[Topic] = []
    for topic in (t for t in topics if t.step.stage not in stages):
        stays = walk.what_stays(topic, knowledge.vocabulary)
        later = next((t for t in due.values() if topic.part and t.part == topic.part), None)
        if stays and later:
            due[later.id] = replace(
                later,
                features=tuple(dict.fromkeys((*later.features, *stays.features))),
                readings=tuple(dict.fromkeys((*later.readings, *stays.readings))),
            )
        elif stays:
            early.append(stays)
    return [*early, *due.values()]


def away(knowledge: Knowledge, reached: Collection[str]) -> tuple[str, ...]:
    """Kinds that are not at hand, as a session said; an older journal says so of the whole machine."""
    machine = knowledge.arrangements.with_machine if ALONE in reached else ()
    return (*machine, *(k for k in knowledge.arrangements.not_every if there_is_no(k) in reached))


def there_is_no(kind: str) -> str:
    """What a session marks as reached where the machine has nothing of a kind, or nobody knows."""
    return f"no {kind}"


def due(case: Case, knowledge: Knowledge, reached: Collection[str] = ()) -> tuple[Card, ...]:
    """The cards on which something is open, from the stage of the case on; only what is open stands on them."""
    begun = case.stage or next(iter(knowledge.vocabulary.stages), "")
    found = (left_of(case, knowledge, card) for card in cards(case, knowledge, reached, begun))
    return tuple(card for card in found if card)


def left_of(case: Case, knowledge: Knowledge, card: Card, perishing: bool = False) -> Card | None:
    """A card with what nobody has answered yet, or only what the end of the step destroys; None where that is nothing."""
    choices, known = [], {t.id: walk.settled(case, t, knowledge.vocabulary) for t in card.topics}
    lost = {r for r in knowledge.vocabulary.readings if knowledge.vocabulary.readings[r].lost == card.step.stage}
    for choice in card.choices:
        topics = tuple(t for t in choice.topics if choice.feature not in known[t.id])
        if topics and (choice.perishes or not perishing):
            choices.append(Choice(choice.feature, topics, choice.perishes, choice.sound))
    measured = {(x.part or x.kind, x.what) for x in case.measured}
    readings = tuple(
        (name, left) for name, on in card.readings if (name in lost or not perishing)
        and (left := tuple(t for t in on if (t.part or t.kind, name) not in measured))
    )  # fmt: skip
    return Card(card.step, card.topics, tuple(choices), readings) if choices or readings else None


def without(card: Card, gone: Collection[Topic]) -> Card | None:
    """A card that leaves some topics out; None where that is all of it."""

    def rest(topics: tuple[Topic, ...]) -> tuple[Topic, ...]:
        return tuple(t for t in topics if t not in gone)

    choices = tuple(replace(c, topics=rest(c.topics)) for c in card.choices if rest(c.topics))
    readings = tuple((name, rest(on)) for name, on in card.readings if rest(on))
    return Card(card.step, rest(card.topics), choices, readings) if choices or readings else None


def gathered(knowledge: Knowledge, topics: Iterable[Topic]) -> list[Card]:
    """Cards of the topics of one step: alike ones as one, and small ones behind each other together, but no single parts of two
    seals of a pair: a face is told apart from that of the other seal."""
    blocks: dict[object, list[Topic]] = {}
    for topic in topics:
        blocks.setdefault(_alike(knowledge, topic) or topic.id, []).append(topic)
    packed: list[list[list[Topic]]] = []
    for block in blocks.values():
        size = len(block[0].features)
        last = sum(len(b[0].features) for b in packed[-1]) if packed else ROOM
        small = all(len(b[0].features) <= SMALL for b in packed[-1]) if packed else False
        seals = {b[0].position for b in (*(packed[-1] if packed else ()), block) if len(b) == 1} - {""}
        if small and size <= SMALL and last + size <= ROOM and len(seals) < 2:
            packed[-1].append(block)
        else:
            packed.append([block])
    return [_card(knowledge, blocks) for blocks in packed]


def _alike(knowledge: Knowledge, topic: Topic) -> object:
    """What topics that are asked about together have in common; None where a topic is asked about alone."""
    lineage = knowledge.vocabulary.lineage[topic.kind]
    kind = next((k for k in knowledge.arrangements.alike if k in lineage), "")
    return (kind, topic.features, topic.readings) if kind and topic.part else None


def _card(knowledge: Knowledge, blocks: list[list[Topic]]) -> Card:
    words = knowledge.vocabulary
    choices = [
        Choice(f, tuple(block), walk.is_lost_after(words, f, block[0].step), words.features[f].sound)
        for block in blocks for f in block[0].features
    ]  # fmt: skip
    readings = [(r, tuple(block)) for block in blocks for r in block[0].readings]
    return Card(blocks[0][0].step, tuple(t for block in blocks for t in block), tuple(choices), tuple(readings))


def unmarked(case: Case, knowledge: Knowledge, step: Step | None = None) -> list[Part]:
    """Parts that touch two others, can take a mark and have none yet: once separated, by a step where one is given, nobody
    knows how they sat."""
    return [
        p for p in case.parts
        if len(p.touches) > 1 and not p.index and not walk.why_lost(case, p) and takes_mark(knowledge, p.kind)
        and (step is None or separated_by(knowledge, p.kind) is step)
    ]  # fmt: skip


def separated_by(knowledge: Knowledge, kind: str) -> Step | None:
    """The first step after which a part of the kind no longer sits as it sat."""
    lineage = set(knowledge.vocabulary.lineage[kind])
    return next((s for s in knowledge.arrangements.steps if lineage & set(s.separates)), None)


def last_separating(knowledge: Knowledge, of: Collection[str] = ()) -> int:
    """The number of the step at whose end the last parts are separated, of some kinds where they are named."""
    lineage, steps = knowledge.vocabulary.lineage, knowledge.arrangements.steps
    found = (i for i, s in enumerate(steps) for k in s.separates if not of or set(of) & set(lineage[k]))
    return max(found, default=len(steps))


def is_apart(case: Case, knowledge: Knowledge, part: Part) -> bool:
    """Whether the work is past the step that separates a part."""
    step, stages = separated_by(knowledge, part.kind), knowledge.vocabulary.stages
    return step is not None and case.stage in stages and stages.index(case.stage) > stages.index(step.stage)


def takes_mark(knowledge: Knowledge, kind: str) -> bool:
    how = marking_of(knowledge, kind)
    return how is None or how.takes


def marking_of(knowledge: Knowledge, kind: str) -> Marking | None:
    """How a part of the kind is marked, as its nearest kind says."""
    return next((m for k in knowledge.vocabulary.lineage[kind] if (m := knowledge.arrangements.marking.get(k))), None)


def without_parts(card: Card, items: set[str]) -> Card:
    """A card without some of its parts, its choices numbered as before; a mark of no other part is said of them after all."""
    if not items:
        return card

    def rest(topics: tuple[Topic, ...]) -> tuple[Topic, ...]:
        return tuple(t for t in topics if t.part not in items) or topics

    choices = tuple(replace(c, topics=rest(c.topics)) for c in card.choices)
    readings = tuple((name, rest(topics)) for name, topics in card.readings)
    return replace(card, topics=rest(card.topics), choices=choices, readings=readings)
