"""Whether anything that is left to do could still change the leading explanation or its standing.

Each piece of work is tried in its most unfavourable outcome, then all of them together in theirs. An outcome less
likely than a small chance (`looks.yaml`) is not reckoned with. For another set of causes to take the lead the worst
outcome is found exactly, line by line, since outcomes are independent given the causes; for the standing of a leading
cause every line is taken as it lowers that cause most, and then as it raises it most.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from diagnose.advice.outlook import Belief
from diagnose.judgement.judge import Judged
from diagnose.knowledge.model import Words

OPEN, TOGETHER, NOTHING = "open", "together", "nothing"


@dataclass(frozen=True)
class Change:
    """What an outcome would do to the answer at one position: leading causes or standing, before and after."""

    position: str
    what: str
    before: str
    after: str


@dataclass(frozen=True)
class Stop:
    """state: open (`work` could change the answer as `change` says), together (no single piece of work could, all of
    them together in their most unfavourable outcomes could) or nothing. `works` and `findings` were checked."""

    state: str
    works: int
    findings: int
    reckoned: float
    work: str = ""
    change: Change | None = None

    @property
    def says(self) -> str:
        """The verdict in words, with what was checked."""
        c = self.change
        moved = f"the {c.what} from {c.before} to {c.after}" if c else ""
        checked = (
            f"Checked: {self.works} pieces of work, each in its most unfavourable outcome, then their {self.findings} "
            f"findings together in theirs; outcomes less likely than {self.reckoned * 100:g} % are not reckoned with."
        )
        if self.state == OPEN:
            return f"Not settled: the worst outcome of {self.work} alone could move {moved}."
        if not self.works:
            return "Nothing is left that could be looked at or measured and would tell anything."
        if self.state == TOGETHER:
            return (
                "No single piece of work that is left could change the leading explanation or its standing; all of it "
                f"together, at its most unfavourable, could move {moved}. {checked}"
            )
        return f"Nothing that is left could change the leading explanation or its standing. {checked}"


class Worst:
    """Worst outcomes at one position, for the explanation that leads there."""

    def __init__(self, belief: Belief, leading: Sequence[Judged], words: Words, reckoned: float):
        self.belief, self.leading, self.words, self.reckoned = belief, leading, words, reckoned
        self.log = np.log(belief.weight)
        self.first = int(np.argmax(np.round(belief.weight, 12)))
        self.tried: dict[str, list[np.ndarray]] = {}
        self.against = {
            j.cause: min((e.weight for e in j.evidence if e.state != "unrecorded" and not e.through), default=0.0)
            for j in leading
        }

    def _outcomes(self, finding: str) -> list[np.ndarray]:
        """Log likelihoods over the sets of those outcomes that are reckoned with and would count."""
        if finding in self.tried:
            return self.tried[finding]
        belief, result = self.belief, self.tried.setdefault(finding, [])
        chance = float(belief.shown([finding])[0] @ belief.weight)
        for there, p in ((True, chance), (False, 1 - chance)):
            if p >= self.reckoned and belief.counts(finding, there):
                result.append(np.log(belief.after(finding, there)) - self.log)
        return result

    def change(self, findings: Iterable[str]) -> tuple[str, str, str] | None:
        """(what, before, after) of the worst that these findings together could do; None where they change nothing."""
        by_line: dict[str, list[np.ndarray]] = {}
        for finding in sorted(findings):
            by_line.setdefault(self.belief.lines[finding], []).extend(self._outcomes(finding))
        lines = [(line, outcomes) for line, outcomes in sorted(by_line.items()) if outcomes]
        if not lines:
            return None
        rival = self._overtaken([outcomes for _, outcomes in lines])
        if rival:
            return ("leading explanation", *rival)
        for judged in self.leading:
            moved = self._standing_moved(judged, lines)
            if moved:
                return (f"standing of {judged.cause}", *moved)
        return None

    def _overtaken(self, lines: list[list[np.ndarray]]) -> tuple[str, str] | None:
        ahead = self.log - self.log[self.first]
        for outcomes in lines:
            ahead = ahead + np.maximum(np.max([o - o[self.first] for o in outcomes], axis=0), 0.0)
        rival = int(np.argmax(np.round(ahead, 9)))
        if ahead[rival] <= 1e-9 or rival == self.first:
            return None
        return self._named(self.first), self._named(rival)

    def _named(self, place: int) -> str:
        members = [
            self.belief.net.causes[self.belief.causes[k]]
            for k in self.belief.sets[place]
            if k < len(self.belief.causes)
        ]
        return " with ".join(members) or "none of these causes"

    def _standing_moved(self, judged: Judged, lines: list[tuple[str, list[np.ndarray]]]) -> tuple[str, str] | None:
        belief, column = self.belief, self.belief.net.column[judged.cause]
        place = int(np.searchsorted(belief.causes, column))
        member = (belief.sets == place).any(axis=1)

        def share(log: np.ndarray) -> float:
            weight = np.exp(log - log.max())
            return float(weight[member].sum() / weight.sum())

        now = share(self.log)
        before = standing(self.words, now, len(judged.lines_for), self.against[judged.cause])
        for sign in (-1, 1):
            log, lowest, for_it = self.log, self.against[judged.cause], set(judged.lines_for)
            for line, outcomes in lines:
                best = max(outcomes, key=lambda o: round(sign * share(self.log + o), 12))
                if sign * (share(self.log + best) - now) <= 0:
                    continue
                log = log + best
                alone = self._alone(place, best)
                lowest = min(lowest, alone)
                if alone >= self.words.line_counts_from:
                    for_it.add(line)
            after = standing(self.words, share(log), len(for_it), lowest)
            if after != before:
                return before, after
        return None

    def _alone(self, place: int, outcome: np.ndarray) -> float:
        """Weight in dB of an outcome for one cause alone against none; 0 where those sets are not reckoned."""
        n = len(self.belief.causes)
        single = np.flatnonzero((self.belief.sets == [place, n, n]).all(axis=1))
        empty = np.flatnonzero((self.belief.sets == n).all(axis=1))
        if not len(single) or not len(empty):
            return 0.0
        return float(10 / np.log(10) * (outcome[single[0]] - outcome[empty[0]]))


def standing(words: Words, probability: float, lines: int, lowest: float) -> str:
    """The word for a cause with this probability, independent lines for it and heaviest weight against it (dB)."""
    if probability >= words.established and lines >= words.lines_needed and lowest > -words.decisive:
        return "established"
    if probability >= words.probable:
        return "probable"
    return "possible" if probability >= words.possible else "unlikely"


def stopping(
    worst: Mapping[str, Worst], works: Sequence[tuple[str, Mapping[str, Sequence[str]]]], reckoned: float
) -> Stop:
    """Tries every piece of work, given as (name, findings by position), then all of them together."""
    count = len({(p, f) for _, tells in works for p, fs in tells.items() for f in fs})
    for name, tells in works:
        for position, findings in tells.items():
            change = worst[position].change(findings)
            if change:
                return Stop(OPEN, len(works), count, reckoned, name, Change(position, *change))
    for position, at in worst.items():
        change = at.change(f for _, tells in works for f in tells.get(position, ()))
        if change:
            return Stop(TOGETHER, len(works), count, reckoned, "", Change(position, *change))
    return Stop(NOTHING, len(works), count, reckoned)
