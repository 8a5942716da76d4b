"""Seals drawn from the network itself, taken apart in different orders until a cause is established.

Causes are drawn from their priors, at least one; then every mechanism from what brings it about; every finding from its
rate under the true causes and mechanisms, of a question one answer; what no look can tell from the chances of
`looks.yaml`. Up to three findings that are seen often whatever the cause are on record at the
start. Every order meets the same seal, so orders are compared draw by draw.

The plan is made anew after each piece of work. Work that can be done no later than some stage takes the seal to that
stage, and all that had to be done earlier is lost to the plan. The random order is spared that: it loses nothing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from diagnose.advice.outlook import Belief, outlook
from diagnose.advice.plan import Work, arrange
from diagnose.advice.valuation import Job, Valuation
from diagnose.judgement.judge import standing
from diagnose.judgement.network import Network
from diagnose.judgement.posterior import Evidence, Posterior, narrowed, posterior_of
from diagnose.judgement.weights import alone
from diagnose.knowledge.model import Knowledge

VAGUE = 0.05
AT_START = 3
FULL = 120
"""Findings on record at which work ends: more than any bench record has."""
ORDERS = ("plan", "checklist", "random")


@dataclass(frozen=True)
class Seal:
    """One drawn seal: its causes, every finding, those that work would leave open, and what is on record at first."""

    causes: frozenset[int]
    there: np.ndarray
    open: np.ndarray
    start: tuple[str, ...]
    seed: int


@dataclass(frozen=True)
class Run:
    """One seal under one order. `right`: a true cause was established first; `wrong`: another one."""

    works: int
    minutes: float
    right: bool
    wrong: bool


class Bench:
    """The rule base's network, its measurements, and the stage at which work begins."""

    def __init__(self, knowledge: Knowledge, net: Network, stage: str):
        self.knowledge, self.net, self.stage = knowledge, net, stage
        stages = knowledge.vocabulary.stages
        began = stages.index(stage)
        cards = [m for _, m in sorted(knowledge.measurements.items())]
        self.cards = [m for m in cards if m.stage not in stages or stages.index(m.stage) >= began]
        self.every = tuple(range(len(net.causes)))
        self.alone = {c: alone(net, c) for c in net.causes}

    # ---- seals --------------------------------------------------------------------------------------------------

    def seal(self, seed: int) -> Seal:
        net, draw = self.net, np.random.default_rng(seed)
        causes: np.ndarray = np.zeros(0, int)
        while not len(causes):
            causes = np.flatnonzero(draw.random(len(net.causes)) < net.prior)
        members = np.zeros((1, len(net.causes)), bool)
        members[0, causes] = True
        states = np.zeros((len(net.mechanisms), 1))
        rest = (1 - net.leak) * net.to_mechanism.inhibition[:, causes].prod(axis=1)
        for m, u in enumerate(draw.random(len(net.mechanisms))):
            states[m] = u < 1 - rest[m] * np.where(states[:, 0] == 1, net.between.inhibition[m], 1.0).prod()
        rate = net.read(net.expected(states, members))[:, 0]
        there = draw.random(len(net.findings)) < rate
        for answers in net.answers.values():
            rows = [net.row[f] for f in answers]
            there[rows] = False
            place = int(np.searchsorted(np.cumsum(rate[rows]), draw.random()))
            if place < len(rows):
                there[rows[place]] = True
        left_open = draw.random(len(net.findings)) < self.knowledge.looks.cannot_tell["look"]
        vague = np.flatnonzero(there & (net.background >= VAGUE))
        chosen = draw.permutation(vague)[:AT_START]
        return Seal(frozenset(causes.tolist()), there, left_open, tuple(sorted(net.findings[i] for i in chosen)), seed)

    # ---- orders -------------------------------------------------------------------------------------------------

    def checklist(self) -> list[int]:
        """Every measurement in the order of dismantling; records are asked for where their kind is first asked about."""
        knowledge = self.knowledge
        stages, steps = knowledge.vocabulary.stages, knowledge.arrangements.steps
        lineage = knowledge.vocabulary.lineage
        asked = {}
        for step in reversed(steps):
            for look in step.looks:
                asked[look.on] = stages.index(step.stage)

        def place(i: int) -> tuple[int, str]:
            card = self.cards[i]
            if card.stage in stages:
                return stages.index(card.stage), card.id
            return min((asked[k] for k in lineage.get(card.part, ()) if k in asked), default=len(stages)), card.id

        return sorted(range(len(self.cards)), key=place)

    def run(self, seal: Seal, order: str) -> Run:
        """Works through the seal until a cause is established or nothing is left that is worth doing."""
        record = dict.fromkeys(seal.start, True)
        fixed = self.checklist()
        if order == "random":
            fixed = np.random.default_rng(seal.seed + 1_000_000).permutation(len(self.cards)).tolist()
        done: list[int] = []
        minutes, stage = 0.0, self.stage
        while True:
            found = self.found(record)
            established = self.established(found, record)
            if established:
                right = bool(set(established) & seal.causes)
                return Run(len(done), minutes, right, not right)
            left = [i for i in fixed if i not in done]
            if order == "plan":
                left = [i for i in left if not self.before(self.cards[i].stage, stage)]
                left = self.planned(found, record, left, stage)
            if not left or len(record) >= FULL:
                return Run(len(done), minutes, False, False)
            card = self.cards[left[0]]
            done.append(left[0])
            minutes += card.minutes
            if self.before(stage, card.stage):
                stage = card.stage
            for f in card.tells:
                row = self.net.row[f]
                if not seal.open[row]:
                    record[f] = bool(seal.there[row])

    def before(self, first: str, second: str) -> bool:
        stages = self.knowledge.vocabulary.stages
        return first in stages and second in stages and stages.index(first) < stages.index(second)

    def found(self, record: dict[str, bool]) -> Posterior:
        """As the tool judges, without what tells least where a record is too long for one sum."""
        return posterior_of(narrowed(self.net, Evidence(record, self.net.prior, self.every)))

    def established(self, found: Posterior, record: dict[str, bool]) -> list[int]:
        """The established causes, likeliest first; every finding is a record of its own."""
        net, words = self.net, self.knowledge.words
        sure, share = [], net.believed(found.share, net.prior)
        for i in np.argsort(-share, kind="stable")[:3].tolist():
            if_present, if_absent = self.alone[net.causes[i]]
            weight = np.array([(if_present if there else if_absent)[net.row[f]] for f, there in record.items()])
            lines, lowest = int((weight >= words.line_counts_from).sum()), float(weight.min(initial=0.0))
            if standing(words, float(share[i]), lines, lowest) == "established":
                sure.append(i)
        return sure

    def planned(self, found: Posterior, record: dict[str, bool], left: Sequence[int], stage: str) -> list[int]:
        """The plan as it stands: the work that is worth doing of what is left, in order."""
        looks = self.knowledge.looks
        open_findings = sorted({f for i in left for f in self.cards[i].tells if f not in record})
        seen = outlook(Belief(found), open_findings, lambda _: looks.cannot_tell["look"], looks.mechanisms)
        tells = {i: tuple(f for f in self.cards[i].tells if f in seen.row) for i in left}
        jobs = [Job(str(i), self.cards[i].minutes, (tells[i],)) for i in sorted(tells) if tells[i]]
        chosen = Valuation([seen], jobs).in_order(looks.worth)
        works = [
            Work(
                jobs[j],
                self.cards[int(jobs[j].name)],
                None,
                {"seal": jobs[j].tells[0]},
                self.cards[int(jobs[j].name)].stage,
                bits,
            )
            for j, bits in chosen
        ]
        return [int(work.job.name) for work, _ in arrange(works, self.knowledge, stage)]
