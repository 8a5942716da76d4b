"""What every check works on, and the small things they share."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from diagnose.judgement.network import Network
from diagnose.judgement.posterior import Evidence, Posterior, posterior
from diagnose.judgement.weights import alone
from diagnose.knowledge.conditions import walk
from diagnose.knowledge.model import Cause, Condition, Explained, Knowledge
from diagnose.reading.problems import Problem, Where


@dataclass(frozen=True, eq=False)
class Base:
    """A rule base, its network, and the text of the quantities' formulas."""

    knowledge: Knowledge
    net: Network
    formulas: str = ""

    @property
    def cards(self) -> tuple[Explained, ...]:
        """Every cause and mechanism."""
        return (*self.knowledge.causes.values(), *self.knowledge.mechanisms.values())

    @cached_property
    def recorded(self) -> dict[str, np.ndarray]:
        """P(finding recorded | this cause or mechanism alone) by name, shape (findings,)."""
        causes, mechanisms = self.net.read(self.net.alone), self.net.by_mechanism[0]
        return {c: causes[:, i] for c, i in self.net.column.items()} | {
            m: mechanisms[:, i] for m, i in self.net.mechanism.items()
        }

    @cached_property
    def weights(self) -> dict[str, tuple[np.ndarray, np.ndarray]]:
        """Weights in dB of each finding alone, present and absent, by name of a cause or mechanism."""
        return {card.name: alone(self.net, card.name) for card in self.cards}

    def with_finding(self, finding: str) -> Posterior:
        """What one finding, recorded alone, leaves."""
        if finding not in self._found:
            evidence = Evidence({finding: True}, self.net.prior, tuple(range(len(self.net.causes))))
            self._found[finding] = posterior(self.net, evidence)
        return self._found[finding]

    @cached_property
    def _found(self) -> dict[str, Posterior]:
        return {}

    @cached_property
    def conditions(self) -> tuple[Condition, ...]:
        """Every condition of every card and of what is at odds, those inside others too."""
        k = self.knowledge
        whole = [c for f in k.findings.values() for c in (f.when, f.absent_when)]
        whole += [n.condition for card in self.cards for n in card.needs]
        whole += [p.when for card in k.causes.values() for p in card.common_when]
        whole += [*(c.when for c in k.cautions.values()), *(odd.when for odd in k.at_odds)]
        return tuple(inner for c in whole for inner in walk(c))


def advice(where: Where, code: str, says: str, way_out: str) -> Problem:
    return Problem(where, code, says, way_out, "advice")


def kind_of(card: Explained) -> str:
    return "cause" if isinstance(card, Cause) else "mechanism"


def chance(knowledge: Knowledge, card: Explained) -> dict[str, float]:
    """P(finding | this cause or mechanism alone) for the findings of which its card speaks itself."""
    return {r.finding: knowledge.words.seen[r.seen] for r in card.leaves}


def background(knowledge: Knowledge, finding: str) -> float:
    return knowledge.words.seen[knowledge.findings[finding].otherwise]


def sources_of(knowledge: Knowledge) -> Iterator[str]:
    """Every source that a card, row, link or limit names."""
    for section in (
        knowledge.findings,
        knowledge.causes,
        knowledge.mechanisms,
        knowledge.measurements,
        knowledge.cautions,
    ):
        for card in section.values():
            yield from card.sources
    both: tuple[Explained, ...] = (*knowledge.causes.values(), *knowledge.mechanisms.values())
    for explained in both:
        for row in explained.leaves:
            yield from row.sources
        for link in explained.brings_about:
            yield from link.sources
    for limit in knowledge.limits.values():
        yield from (v.source for v in limit.values)
