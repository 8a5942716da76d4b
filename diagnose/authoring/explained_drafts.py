"""Drafts of the tests of causes and mechanisms: what leads to them, what their rows, links and answers weigh, what parts
them from their look-alikes, and what rules them out."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from diagnose.authoring.drafts import MOST, Draft, Drafter, capital, given, ordinal, told, unique
from diagnose.authoring.rule_test_runner import common, most_worth, ranked
from diagnose.authoring.witness import Fragment, NoWitness, Record
from diagnose.judgement.judge import judge
from diagnose.judgement.weights import alone
from diagnose.knowledge.conditions import negate
from diagnose.knowledge.model import Cause, Explained, Link, LookAlike, Mechanism

TOGETHER = 6
"""So many rows are weighed in one test."""
SHOWN = (4, 8)
"""So many typical findings are tried until the card leads."""


@dataclass
class ExplainedDrafter:
    """Drafts tests of causes and mechanisms with the means of a drafter."""

    drafter: Drafter
    context_of: dict[str, list[Record]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.workshop, self.knowledge = self.drafter.workshop, self.drafter.workshop.base.knowledge
        self.net, self.matcher = self.workshop.net, self.drafter.matcher

    def drafts(self, card: Explained) -> list[Draft]:
        found = [*self._leads(card), *self._rows(card)]
        for link in card.brings_about:
            found += self._through(card, link)
        if isinstance(card, Cause):
            found += self._answers(card)
        cards = self.knowledge.causes if isinstance(card, Cause) else self.knowledge.mechanisms
        for other in card.look_alikes:
            twin = any(x.other == card.name and x.finding == other.finding for x in cards[other.other].look_alikes)
            if not twin or card.name < other.other:
                found += self._parted(card, other)
        found += self._needs(card)
        return found + (list(self._commons(card)) if isinstance(card, Cause) else [])

    def typical(self, name: str) -> list[str]:
        """The findings that speak most for a cause or mechanism, by what each can be expected to weigh; one answer of a
        question."""
        net = self.net
        there, _ = alone(net, name)
        if name in net.column:
            chance = net.read(net.alone)[:, net.column[name]]
        else:
            chance = net.by_mechanism[0][:, net.mechanism[name]]
        worth = chance * there
        answered: set[str] = set()
        chosen = []
        for row in np.argsort(-np.round(worth, 9), kind="stable"):
            question = net.question_of.get(net.findings[row], ("", 0))[0]
            if worth[row] > 0.1 and question not in answered:
                chosen.append(net.findings[row])
                answered |= {question} - {""}
        return chosen

    def context(self, card: Explained) -> list[Record]:
        """Settings under which nothing rules the card out."""
        if card.name not in self.context_of:
            records: list[Record] = []
            for need in card.needs:
                for premises in self.matcher.expanded(need.condition):
                    try:
                        made = self.drafter.witness.of(premises).plain()
                    except NoWitness:
                        continue
                    records += [r for r in made if r not in records]
                    break
            self.context_of[card.name] = records
        return self.context_of[card.name]

    def _ranked(self, records: Sequence[Record], kind: str) -> list[Any]:
        inference = self.drafter.try_out(given(records))
        return ranked(judge(inference, self.net), kind) if inference else []

    def _leads(self, card: Explained) -> Iterator[Draft]:
        """The fewest of its typical findings, heaviest first, on which the card leads and is at least probable."""
        if isinstance(card, Mechanism) and card.leak_path:
            return
        typical = self.typical(card.name)
        for n in SHOWN:
            records = self.context(card) + told(typical[:n])
            order = self._ranked(records, "cause" if isinstance(card, Cause) else "mechanism")
            if order and order[0].name == card.name and order[0].standing in ("established", "probable"):
                word = order[0].standing if order[0].standing == "established" else "at least probable"
                yield Draft(f"{capital(card.name)} leads on its typical findings", [given(records)],
                            {"leads": card.name, "standing": {card.name: word}})  # fmt: skip
                return
            if n >= len(typical):
                return

    def _weighed(self, name: str, of: Sequence[str], records: Sequence[Record]) -> Iterator[Draft]:
        """What records weigh for some causes or mechanisms."""
        inference = self.drafter.try_out(given(records))
        if inference is not None:
            places = inference.case.positions
            weights = {n: f"{most_worth(inference, self.net, n, places):+.1f} dB" for n in of}
            yield Draft(name, [given(records)], {"speaks for": weights})

    def _rows(self, card: Explained) -> Iterator[Draft]:
        rows = [r.finding for r in card.leaves if r.finding not in self.net.question_of]
        for n, begin in enumerate(range(0, len(rows), TOGETHER), 1):
            name = f"What the marks of {card.name} weigh together, {ordinal(n)} set"
            yield from self._weighed(name, [card.name], self.context(card) + told(rows[begin : begin + TOGETHER]))

    def _through(self, card: Explained, link: Link) -> Iterator[Draft]:
        """The mark of a mechanism brought about that says most, and is no mark of the card itself."""
        there, _ = alone(self.net, link.mechanism)
        own = {r.finding for r in card.leaves} | set(self.net.question_of)
        rows = [r for r in np.argsort(-np.round(there, 9), kind="stable") if self.net.findings[r] not in own]
        if rows and there[rows[0]] >= 0.05:
            finding = self.net.findings[rows[0]]
            name = f"What {finding} says of {card.name} through {link.mechanism}"
            yield from self._weighed(name, [card.name], self.context(card) + told([finding]))

    def _answers(self, cause: Cause) -> Iterator[Draft]:
        for question, answers in cause.answers.items():
            for finding in answers:
                name = f"{capital(question)}: what {finding} says of {cause.name}"
                yield from self._weighed(name, [cause.name], self.context(cause) + told([finding]))

    def _parted(self, card: Explained, other: LookAlike) -> Iterator[Draft]:
        """What the parting finding says of the two."""
        context = self.context(card)
        context = context + [r for r in self.context(self.knowledge.card(other.other)) if r not in context]
        name = f"What {other.finding} says of {card.name} and of {other.other}"
        yield from self._weighed(name, (card.name, other.other), context + told([other.finding]))

    def _needs(self, card: Explained) -> Iterator[Draft]:
        out: list[Fragment] = []
        kept: list[Fragment] = []
        for need in card.needs:
            denied = negate(need.condition)
            for premises in self.matcher.expanded(denied) if denied else ():
                out += self._fragments(premises)
                kept += self._changed(premises)
            for premises in self.matcher.expanded(need.condition):
                kept += self._fragments(premises)
        out = unique(f for f in out if self._ruled(card, f))
        kept = unique([*(f for f in kept if self._ruled(card, f) is False), Fragment()])
        if out:
            yield Draft(f"{capital(card.name)} cannot be with each of these", out, {"rules out": [card.name]})
            yield Draft(
                f"{capital(card.name)} stays possible with each of these", kept, {"does not rule out": [card.name]}
            )

    def _ruled(self, card: Explained, fragment: Fragment) -> bool | None:
        inference = self.drafter.try_out(fragment)
        return None if inference is None else any(card.name in out for out in inference.ruled_out.values())

    def _fragments(self, premises: Sequence[Any]) -> list[Fragment]:
        return [f for f, _ in self.drafter.built(premises, set())]

    def _changed(self, premises: Sequence[Any]) -> list[Fragment]:
        return [f for f, _ in self.drafter.undone(premises, set())] if len(premises) > 1 else []

    def _commons(self, cause: Cause) -> Iterator[Draft]:
        """How common the cause is: as such, with each setting that changes it, and with part of it."""
        by_word: dict[str, list[Fragment]] = {cause.common: [Fragment()]}
        for prior in cause.common_when:
            denied = negate(prior.when)
            holding, failing = self.matcher.expanded(prior.when), self.matcher.expanded(denied) if denied else []
            tried = [f for p in (*holding, *failing[:MOST]) for f in self._fragments(p)]
            for fragment in unique([*tried, *(f for p in holding[:MOST] for f in self._changed(p))]):
                inference = self.drafter.try_out(fragment)
                if inference is not None:
                    words = [common(inference, cause.name, p) for p in inference.case.positions]
                    if len(set(words)) == 1:
                        by_word.setdefault(words[0], []).append(fragment)
        for word, fragments in by_word.items():
            where = "in these settings" if fragments != [Fragment()] else "where nothing is told"
            yield Draft(
                f"{capital(cause.name)} is common {word} {where}", unique(fragments), {"common": {cause.name: word}}
            )
