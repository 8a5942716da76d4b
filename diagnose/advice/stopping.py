"""Whether anything that is left to do could still change the answer: the causes that are at least probable.

Every way in which a piece of work can turn out is tried, where it is not less likely than a small chance
(`looks.yaml`); such ways are few, since their chances add up to one. An outcome changes the answer where the standing
of a cause at least probable moves, or, while no cause is probable, where one becomes so. Where nothing does, further
causes may still join those that stand; and all work together is tried with each line of evidence as unfavourable as it
can be, however unlikely that is.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from diagnose.advice.outlook import Belief
from diagnose.judgement.judge import Judged
from diagnose.knowledge.model import Words
from diagnose.reading.figures import percent

OPEN, COMPANY, TOGETHER, NOTHING = "open", "company", "together", "nothing"
STANDING = ("established", "probable")


@dataclass(frozen=True)
class Change:
    """What an outcome with this chance would do to the standing of a cause at one position."""

    position: str
    cause: str
    before: str
    after: str
    chance: float


@dataclass(frozen=True)
class Stop:
    """state: open (`work` could change the answer as `change` says), company (it could only add a cause to those that
    stand), together (no single piece of work could, all of them at their most unfavourable could) or nothing. `stands`:
    the causes at least probable now. `works` and `findings` were checked."""

    state: str
    stands: tuple[str, ...]
    works: int
    findings: int
    reckoned: float
    work: str = ""
    change: Change | None = None

    @property
    def says(self) -> str:
        """The verdict in words, with what was checked."""
        if not self.works:
            return "Nothing is left that could be looked at or measured and would tell anything."
        c, stands = self.change, " and ".join(self.stands)
        moved = f"{c.cause} from {c.before} to {c.after}" if c else ""
        chance = f"chance {percent(c.chance)}" if c else ""
        if self.state == OPEN and not stands:
            return f"Not settled: no cause is probable yet. {self.work} could move {moved} ({chance})."
        if self.state == OPEN:
            return f"Not settled: {self.work} could move {moved} ({chance})."
        stand = f"{stands} would stand" if len(self.stands) == 1 else f"{stands} would all stand"
        checked = (
            f"Checked: {self.works} pieces of work with {self.findings} findings, every outcome with a chance of at "
            f"least {self.reckoned * 100:g} %."
        )
        if self.state == COMPANY:
            return (
                f"Settled but for company: {stand} whatever any piece of work that is left may show. What else was at "
                f"work is open: {self.work} could move {moved} ({chance}). {checked}"
            )
        settled = f"Settled: {stand} whatever any piece of work that is left may show." if stands else (
            "Nothing that is left could make a cause probable."
        )  # fmt: skip
        if self.state == TOGETHER:
            return f"{settled} Only all of it together, at its most unfavourable, could move {moved}. {checked}"
        return f"{settled} {checked}"


class Worst:
    """What outcomes could do at one position. `judged`: its causes as they stand; one whose verdict comes from the other
    seal is tried there."""

    def __init__(self, belief: Belief, judged: Sequence[Judged], words: Words, reckoned: float):
        self.belief, self.words, self.reckoned = belief, words, reckoned
        self.now = {j.cause: j.standing for j in judged}
        place = {int(column): i for i, column in enumerate(belief.causes)}
        self.stands = {
            place[belief.net.column[j.cause]]: j for j in judged if j.standing in STANDING and j.told_at == j.position
        }
        self.against = {
            i: min((e.weight for e in j.evidence if e.state != "unrecorded" and not e.through), default=0.0)
            for i, j in self.stands.items()
        }

    def outcomes(self, findings: Iterable[str]) -> list[tuple[dict[str, bool], float]]:
        """Every way in which these findings can turn out together that is likely enough, with its chance."""
        named = sorted(findings)
        ways: list[tuple[dict[str, bool], np.ndarray]] = [({}, self.belief.weight)]
        for finding, row in zip(named, self.belief.shown(named), strict=True):
            ways = [
                ({**told, finding: there}, part)
                for told, weight in ways
                for there, part in ((True, weight * row), (False, weight * (1 - row)))
                if part.sum() >= self.reckoned
            ]
        return [(told, float(weight.sum())) for told, weight in ways]

    def changes(self, told: Mapping[str, bool], chance: float) -> list[tuple[bool, tuple[str, str, str, float]]]:
        """(whether it changes the answer, (cause, before, after, chance)) of each standing that the outcome moves."""
        share = self.belief.share(self.belief.told(told))
        none_stands = not any(standing in STANDING for standing in self.now.values())
        found = []
        for i, judged in self.stands.items():
            after = self._standing(i, float(share[i]), told)
            if after != judged.standing:
                found.append((True, (judged.cause, judged.standing, after, chance)))
        for i in np.flatnonzero(share >= self.words.probable).tolist():
            cause = self.belief.net.causes[self.belief.causes[i]]
            if self.now.get(cause) not in STANDING:
                found.append((none_stands, (cause, self.now.get(cause, "unlikely"), "probable", chance)))
        return found

    def _standing(self, i: int, share: float, told: Mapping[str, bool]) -> str:
        lines, lowest = set(self.stands[i].lines_for), self.against[i]
        for finding, there in told.items():
            if self.belief.counts(finding, there):
                weight = self._weight(i, finding, there)
                lowest = min(lowest, weight)
                if weight >= self.words.line_counts_from:
                    lines.add(self.belief.lines[finding])
        return standing(self.words, share, len(lines), lowest)

    def _weight(self, i: int, finding: str, there: bool) -> float:
        """Weight in dB of an outcome for one cause alone."""
        net = self.belief.net
        table = net.if_present if there else net.if_absent
        return float(table[net.row[finding], self.belief.causes[i]])

    def together(self, findings: Iterable[str]) -> tuple[str, str, str, float] | None:
        """What all these findings together could do to a cause that stands, with each line as it lowers the cause most,
        and then as it raises it most; outcomes less likely in themselves than reckoned with are left out."""
        belief = self.belief
        by_line: dict[str, list[tuple[str, bool]]] = {}
        for finding in sorted(findings):
            chance = float(belief.shown([finding])[0] @ belief.weight)
            by_line.setdefault(belief.lines[finding], []).extend(
                (finding, there) for there, p in ((True, chance), (False, 1 - chance)) if p >= self.reckoned
            )
        for i, judged in self.stands.items():
            for sign in (-1, 1):
                told: dict[str, bool] = {}
                for outcomes in by_line.values():
                    raised = [
                        (sign * float(belief.share(belief.told({f: there}))[i]), (f, there)) for f, there in outcomes
                    ]
                    best, (finding, there) = max(raised, key=lambda x: round(x[0], 12), default=(0.0, ("", False)))
                    if finding and best > sign * judged.probability:
                        told[finding] = there
                weight = belief.told(told)
                after = self._standing(i, float(belief.share(weight)[i]), told)
                if after != judged.standing:
                    return judged.cause, judged.standing, after, 0.0
        return None


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
    """Tries every piece of work, given as (name, findings by position), then all of them together. Of several changes
    the one with the greatest chance is told."""
    every = {p: sorted({f for _, tells in works for f in tells.get(p, ())}) for p in worst}
    count = sum(map(len, every.values()))
    for position, at in worst.items():
        at.belief.shown(every[position])  # reckoned all at once
    stands = tuple(dict.fromkeys(cause for at in worst.values() for cause, word in at.now.items() if word in STANDING))
    found: dict[bool, tuple[float, str, Change]] = {}
    for name, tells in works:
        for position, findings in tells.items():
            for told, chance in worst[position].outcomes(findings):
                for grave, moved in worst[position].changes(told, chance):
                    if grave not in found or chance > found[grave][0] + 1e-9:
                        found[grave] = (chance, name, Change(position, *moved))
    for grave, state in ((True, OPEN), (False, COMPANY)):
        if grave in found:
            _, name, change = found[grave]
            return Stop(state, stands, len(works), count, reckoned, name, change)
    for position, at in worst.items():
        worst_of_all = at.together(every[position])
        if worst_of_all:
            return Stop(TOGETHER, stands, len(works), count, reckoned, "", Change(position, *worst_of_all))
    return Stop(NOTHING, stands, len(works), count, reckoned)
