"""Whether anything that is left to do could still change the answer: the causes and mechanisms at least probable.

Every way in which a piece of work can turn out is tried, where it is not less likely than a small chance
(`looks.yaml`); such ways are few, since their chances add up to one. An outcome changes the answer where the standing
of a cause at least probable moves, or, while no cause is probable, where one becomes so. Where nothing does, further
causes may still join those that stand; and all work together is tried with each line of evidence as unfavourable as it
can be (while no cause is probable, as favourable to one), however unlikely that is. A mechanism that lies on the chain of another one counts like any other.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

import numpy as np
from msgspec import Struct

from diagnose.advice.outlook import Belief
from diagnose.judgement.judge import Judged, standing
from diagnose.knowledge.model import Words

OPEN, COMPANY, TOGETHER, NOTHING, SOUND = "open", "company", "together", "nothing", "sound"
STANDING = ("established", "probable")


class Change(Struct, frozen=True):
    """What an outcome with this chance would do to the standing of a cause or mechanism at one position."""

    position: str
    name: str
    before: str
    after: str
    chance: float


class Stop(Struct, frozen=True):
    """state: open (`work` could change the answer as `change` says), company (it could only add a cause to those that
    stand), together (no single piece of work could, all of them at their most unfavourable could), nothing, or sound (nothing failed). `stands`:
    the causes and mechanisms at least probable now. `works` and `findings` were checked."""

    state: str
    stands: tuple[str, ...]
    works: int
    findings: int
    reckoned: float
    work: str = ""
    change: Change | None = None


class Worst:
    """What outcomes could do at one position. `judged`: its causes and mechanisms as they stand; one whose verdict comes
    from the other seal is tried there."""

    def __init__(self, belief: Belief, judged: Sequence[Judged], words: Words, reckoned: float):
        self.belief, self.words, self.reckoned = belief, words, reckoned
        self.now = {j.name: j.standing for j in judged}
        self.stands = {j.name: j for j in judged if j.standing in STANDING and j.told_at == j.position}
        self.against = {
            name: min((e.weight for e in j.evidence if e.state != "unrecorded" and not e.through), default=0.0)
            for name, j in self.stands.items()
        }
        self.lines = {name: set(j.lines_for) for name, j in self.stands.items()}
        self.weights = {name: j.at.weights.alone(name) for name, j in self.stands.items()}

    @property
    def causes_stand(self) -> bool:
        return any(self.now.get(c) in STANDING for c in self.belief.net.causes)

    def outcomes(self, findings: Iterable[str]) -> list[tuple[dict[str, bool], np.ndarray, float]]:
        """Every way in which these findings can turn out together that is likely enough, with the weights that sum to its
        chance, and that."""
        named = sorted(findings)
        ways: list[tuple[dict[str, bool], np.ndarray, float]] = [({}, self.belief.weight, 1.0)]
        for finding, row in zip(named, self.belief.shown(named), strict=True):
            ways = [
                ({**told, finding: there}, part, chance)
                for told, weight, _ in ways
                for there, part in ((True, weight * row), (False, weight * (1 - row)))
                if (chance := float(part.sum())) >= self.reckoned
            ]
        return ways

    def chance(self, name: str, weight: np.ndarray) -> float:
        """Probability of a cause or mechanism under weights of the ways."""
        net = self.belief.net
        if name in net.column:
            return float(weight @ self.belief.ways_of[net.column[name]])
        return float(weight @ self.belief.states[:, net.mechanism[name]])

    def changes(
        self, told: Mapping[str, bool], weight: np.ndarray, chance: float
    ) -> list[tuple[bool, tuple[str, str, str, float]]]:
        """(whether it changes the answer, (name, before, after, chance)) of each standing that the outcome moves."""
        weight = weight / chance
        found = []
        for name, judged in self.stands.items():
            after = self._standing(name, self.chance(name, weight), told)
            if after != judged.standing:
                found.append((True, (name, judged.standing, after, chance)))
        share = self.belief.share(weight)
        for i in np.flatnonzero(share >= self.words.probable).tolist():
            cause = self.belief.net.causes[i]
            if self.now.get(cause) not in STANDING:
                found.append((not self.causes_stand, (cause, self.now.get(cause, "unlikely"), "probable", chance)))
        return found

    def _standing(self, name: str, probability: float, told: Mapping[str, bool]) -> str:
        lines, lowest, row = self.lines[name], self.against[name], self.belief.net.row
        if_present, if_absent = self.weights[name]
        weights = {f: float((if_present if there else if_absent)[row[f]]) for f, there in told.items()}
        more = sum(w >= self.words.line_counts_from and f not in lines for f, w in weights.items())
        return standing(self.words, probability, len(lines) + more, min([lowest, *weights.values()]))

    def together(self, findings: Iterable[str]) -> tuple[str, str, str, float] | None:
        """What all these findings together could do to what stands, each as it lowers it most, and then as it raises it
        most; outcomes less likely in themselves than reckoned with are left out."""
        belief = self.belief
        named = sorted(findings)
        shown = dict(zip(named, belief.shown(named), strict=True)) if named else {}
        for name, judged in self.stands.items():
            for sign in (-1, 1):
                told: dict[str, bool] = {}
                for finding, row in shown.items():
                    chance = float(row @ belief.weight)
                    moved = [
                        (sign * self.chance(name, belief.told({finding: there})), there)
                        for there, p in ((True, chance), (False, 1 - chance)) if p >= self.reckoned
                    ]  # fmt: skip
                    best, there = max(moved, key=lambda x: round(x[0], 12), default=(-2.0, False))
                    if best > sign * judged.probability:
                        told[finding] = there
                after = self._standing(name, self.chance(name, belief.told(told)), told)
                if after != judged.standing:
                    return name, judged.standing, after, 0.0
        return None if self.causes_stand else self._raised(shown)

    def _raised(self, shown: Mapping[str, np.ndarray]) -> tuple[str, str, str, float] | None:
        """The cause that all these findings together could make likeliest, each as it raises it most, if at least
        probable."""
        belief = self.belief
        if not belief.net.causes:
            return None
        way = np.ones((len(belief.net.causes), len(belief.weight)))
        for row in shown.values():
            rates = [r for r in (row, 1 - row) if r @ belief.weight >= self.reckoned]
            if rates:
                moved = [belief.share(r * belief.weight) / (r @ belief.weight) for r in rates]
                way *= np.array(rates)[np.argmax(np.round(moved, 12), axis=0)]
        weight = way * belief.weight
        after = (weight * belief.members.T).sum(axis=1) / np.maximum(weight.sum(axis=1), 1e-300)
        best = int(np.argmax(np.round(after, 12)))
        cause = belief.net.causes[best]
        return (cause, self.now.get(cause, "unlikely"), "probable", 0.0) if after[best] >= self.words.probable else None


def stopping(
    worst: Mapping[str, Worst], works: Sequence[tuple[str, Mapping[str, Sequence[str]]]], reckoned: float
) -> Stop:
    """Tries every piece of work, given as (name, findings by position), then all of them together. Of several changes
    the one with the greatest chance is told."""
    every = {p: sorted({f for _, tells in works for f in tells.get(p, ())}) for p in worst}
    count = sum(map(len, every.values()))
    stands = tuple(dict.fromkeys(name for at in worst.values() for name, word in at.now.items() if word in STANDING))
    found: dict[bool, tuple[float, str, Change]] = {}
    for name, tells in works:
        for position, findings in tells.items():
            for told, weight, chance in worst[position].outcomes(findings):
                for grave, moved in worst[position].changes(told, weight, chance):
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
