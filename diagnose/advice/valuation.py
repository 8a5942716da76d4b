"""What pieces of bench work tell, alone, after each other and within a time.

A piece of work decides several findings at once. They are independent given causes and mechanisms. The three that tell
most are reckoned together exactly, over all 27 outcomes (there, not there, cannot tell); the rest is added at the share
that those three keep of the sum of their single gains.

What work taken on leaves to tell is the mean over `DRAWS` ways in which it may turn out, drawn once and for all.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from random import Random

import numpy as np
from msgspec import Struct

from diagnose.advice.information import binary_entropy, by_ratio, entropy, together, with_unknown
from diagnose.advice.outlook import Outlook

EXACT = 3
DRAWS = 32
MOST_SWAPPED = 30


class Job(Struct, frozen=True):
    """One piece of work: its minutes and, for each outlook, the open findings it decides."""

    name: str
    minutes: float
    tells: tuple[tuple[str, ...], ...]


class Valuation:
    """Gains of jobs over outlooks (seal positions, taken as independent of each other), as work is taken on."""

    def __init__(self, outlooks: Sequence[Outlook], jobs: Sequence[Job]):
        self.jobs = tuple(jobs)
        self.tables = [_Table(o, [job.tells[i] for job in jobs]) for i, o in enumerate(outlooks)]
        self.start()

    def start(self) -> None:
        """As if no work had been taken on."""
        self.views = [_View(t) for t in self.tables]

    def gain(self, job: int) -> float:
        """Bits that the job is expected to add to the work taken on so far."""
        return sum(view.gain(job) for view in self.views)

    def take(self, job: int) -> None:
        for view in self.views:
            view.take(job)

    def total(self, chosen: Sequence[int]) -> float:
        """Bits that a set of jobs is expected to tell."""
        self.start()
        told = 0.0
        for job in sorted(chosen):
            told += self.gain(job)
            self.take(job)
        return told

    def in_order(
        self, worth: float, minutes: float = float("inf"), per_minute: bool = True, most: int = 0
    ) -> list[tuple[int, float]]:
        """(job, bits it adds), each the best after those before it, while one fits into the minutes and adds `worth`.

        Gains hardly ever grow as work is taken on, so a job is reckoned only where the gain known of it last, at first
        the sum of its findings' gains, would put it first.
        """
        self.start()
        cost = [job.minutes if per_minute else 1.0 for job in self.jobs]
        last = {j: sum(t.most(j) for t in self.tables) for j in range(len(self.jobs))}
        fresh: set[int] = set()
        result: list[tuple[int, float]] = []
        while not most or len(result) < most:
            good = sorted(j for j, bits in last.items() if bits >= worth and self.jobs[j].minutes <= minutes + 1e-9)
            if not good:
                break
            best = good[by_ratio([last[j] for j in good], [cost[j] for j in good])[0]]
            if best not in fresh:
                last[best] = self.gain(best)
                fresh.add(best)
                continue
            result.append((best, last.pop(best)))
            minutes -= self.jobs[best].minutes
            self.take(best)
            fresh = set()
        return result

    def best_within(self, minutes: float, worth: float) -> list[int]:
        """The jobs that tell most within a time: the better of taking them by bits per minute and by bits, then the best
        single exchange for as long as one helps, among the `MOST_SWAPPED` jobs that tell most alone.

        Greedy choice is near the best where gains fall as work is added (G. Nemhauser, L. Wolsey and M. Fisher, 1978,
        from memory).
        """
        self.start()
        alone = [self.gain(j) for j in range(len(self.jobs))]
        fits = [j for j, job in enumerate(self.jobs) if job.minutes <= minutes and alone[j] >= worth]
        others = sorted(fits, key=lambda j: (-round(alone[j], 12), j))[:MOST_SWAPPED]
        tried = [sorted(j for j, _ in self.in_order(worth, minutes, per_minute)) for per_minute in (True, False)]
        best = max(tried, key=lambda chosen: round(self.total(chosen), 9))
        while True:
            value, better = self.total(best), best
            for out in best:
                kept = [j for j in best if j != out]
                spare = minutes - sum(self.jobs[j].minutes for j in kept)
                told = self.total(kept)
                for new in (j for j in others if j not in best and self.jobs[j].minutes <= spare):
                    if told + self.gain(new) > value + 1e-6:
                        value, better = told + self.gain(new), sorted([*kept, new])
            if better == best or self.total(better) <= self.total(best) + 1e-6:
                return best
            best = better


class _Table:
    """One outlook made ready: outcomes of its findings, and each job's findings, strongest first."""

    def __init__(self, outlook: Outlook, tells: Sequence[Sequence[str]]):
        self.outlook = outlook
        self.bits = outlook.bits
        row = outlook.row
        self.rows = [[row[f] for f in findings if f in row] for findings in tells]
        self.outcomes = with_unknown(outlook.shown, outlook.silent)
        self.given = binary_entropy(outlook.silent)[:, None] + (1 - outlook.silent)[:, None] * outlook.doubt
        order = sorted(range(len(self.bits)), key=lambda r: (-round(float(self.bits[r]), 12), r))
        self.place = {r: k for k, r in enumerate(order) if self.bits[r] > 1e-9}

    def most(self, job: int) -> float:
        """The gains of the job's findings added up, which it cannot exceed."""
        return float(self.bits[self.open(job, set())].sum())

    def open(self, job: int, done: set[int]) -> list[int]:
        """The rows of what a job still decides, strongest first."""
        return sorted((r for r in set(self.rows[job]) - done if r in self.place), key=self.place.__getitem__)


class _View:
    """One outlook as work is taken on. `weights`: the ways things may stand, in each draw of how the work so
    far turned out, shape (ways, draws)."""

    def __init__(self, table: _Table):
        self.table = table
        self.weights = table.outlook.belief.weight[:, None]
        self.done: set[int] = set()

    def gain(self, job: int) -> float:
        table = self.table
        rows = table.open(job, self.done)
        if not rows:
            return 0.0
        strongest, rest = rows[:EXACT], rows[EXACT:]
        seen = together([table.outcomes[r][None] for r in strongest])[0] @ self.weights
        given = table.given[strongest].sum(axis=0) @ self.weights
        told = max(float(np.mean(entropy(seen, 0) - given)), 0.0)
        kept = told / float(table.outlook.whole[strongest].sum())
        return kept * float(table.bits[strongest].sum()) + min(kept, 1.0) * float(table.bits[rest].sum())

    def take(self, job: int) -> None:
        """Each draw goes on with the outcomes drawn for it; what the job decides tells nothing more."""
        table, belief = self.table, self.table.outlook.belief
        rows = table.open(job, self.done)
        if not rows:
            return
        true, chance = _draws(len(belief.weight), len(table.outlook.findings))
        at = np.searchsorted(np.cumsum(belief.weight), true, side="right").clip(max=len(belief.weight) - 1)
        shown, told = table.outlook.shown[rows], (1 - table.outlook.silent)[rows, None]
        is_there = chance[rows] < shown[:, at] * told
        is_told = chance[rows] < told
        weights = np.repeat(self.weights, DRAWS // self.weights.shape[1], axis=1)
        for row, there, heard in zip(shown, is_there, is_told, strict=True):
            weights[:, there] *= row[:, None]
            weights[:, heard & ~there] *= 1 - row[:, None]
        self.weights = weights / weights.sum(axis=0)
        self.done |= set(rows)


@lru_cache(maxsize=8)
def _draws(ways: int, findings: int) -> tuple[np.ndarray, np.ndarray]:
    """Where on the heap of the ways each drawn truth lies, evenly spread, and a number a finding to decide its outcome."""
    mixer = Random(1)
    chance = np.array([[mixer.random() for _ in range(DRAWS)] for _ in range(findings)])
    return (np.arange(DRAWS) + 0.5) / DRAWS, chance
