"""Seals drawn from the network itself, taken apart in different orders until a cause is established.

Causes are drawn from their priors, at least one; every finding from its rate under the true causes; what no look can
tell from the chances of `looks.yaml`. Up to three findings that are seen often whatever the cause are on record at the
start. Every order meets the same seal, so orders are compared draw by draw.

The plan is made anew after each piece of work. Work that can be done no later than some stage takes the seal to that
stage, and all that had to be done earlier is lost to the plan. The random order is spared that: it loses nothing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from diagnose.advice.outlook import MOST_CAUSES, Belief, outlook
from diagnose.advice.plan import Work, arrange
from diagnose.advice.stopping import standing
from diagnose.advice.valuation import Job, Valuation
from diagnose.judgement.judge import count_lines
from diagnose.judgement.network import Network, posterior
from diagnose.knowledge.model import Knowledge

VAGUE = 0.05
AT_START = 3
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
        self.lines = {name: f.line for name, f in knowledge.findings.items()}
        stages = knowledge.vocabulary.stages
        began = stages.index(stage)
        cards = [m for _, m in sorted(knowledge.measurements.items())]
        self.cards = [m for m in cards if m.stage not in stages or stages.index(m.stage) >= began]
        self.every = list(range(len(net.causes)))

    # ---- seals --------------------------------------------------------------------------------------------------

    def seal(self, seed: int) -> Seal:
        net, draw = self.net, np.random.default_rng(seed)
        causes: np.ndarray = np.zeros(0, int)
        while not len(causes):
            causes = np.flatnonzero(draw.random(len(net.causes)) < net.prior)
        rate = 1 - (1 - net.background) * net.keep[:, causes].prod(axis=1)
        rate = rate * net.hold[:, causes].prod(axis=1)
        there = draw.random(len(net.findings)) < rate
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
            share, established = self.judged(record)
            if established:
                right = bool(set(established) & seal.causes)
                return Run(len(done), minutes, right, not right)
            left = [i for i in fixed if i not in done]
            if order == "plan":
                left = [i for i in left if not self.before(self.cards[i].stage, stage)]
                left = self.planned(record, share, left, stage)
            if not left:
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

    def judged(self, record: dict[str, bool]) -> tuple[np.ndarray, list[int]]:
        """Probability of every cause, and the established ones, likeliest first."""
        net, words = self.net, self.knowledge.words
        through = count_lines(net, self.knowledge, record, self.every)
        counted = {f: record[f] for f in sorted(record) if through[f] == f}
        share = posterior(net, counted, net.prior, self.every).share
        weight = net.weights(counted)
        lines = (weight >= words.line_counts_from).sum(axis=0)
        lowest = weight.min(axis=0, initial=0.0)
        sure = [
            i
            for i in np.argsort(-share, kind="stable")[:3].tolist()
            if standing(words, float(share[i]), int(lines[i]), float(lowest[i])) == "established"
        ]
        return share, sure

    def planned(self, record: dict[str, bool], share: np.ndarray, left: Sequence[int], stage: str) -> list[int]:
        """The plan as it stands: the work that is worth doing of what is left, in order."""
        net, knowledge = self.net, self.knowledge
        through = count_lines(net, knowledge, record, self.every)
        counted = {f: record[f] for f in sorted(record) if through[f] == f}
        likely = np.argsort(-np.round(share, 12), kind="stable")[:MOST_CAUSES].tolist()
        belief = Belief(net, likely, net.prior, counted, self.lines).heaviest()
        open_findings = sorted({f for i in left for f in self.cards[i].tells if f not in record})
        at_most = knowledge.looks.cannot_tell["look"]
        seen = outlook(belief, open_findings, lambda _: at_most)
        tells = {i: tuple(f for f in self.cards[i].tells if f in seen.row) for i in left}
        jobs = [Job(str(i), self.cards[i].minutes, (tells[i],)) for i in sorted(tells) if tells[i]]
        chosen = Valuation([seen], jobs).in_order(knowledge.looks.worth)
        works = [
            Work(jobs[j], self.cards[int(jobs[j].name)], None, {"seal": jobs[j].tells[0]}, bits) for j, bits in chosen
        ]
        return [int(work.job.name) for work, _ in arrange(works, knowledge, stage)]
