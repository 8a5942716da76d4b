"""From findings to ranked causes: weights, lines of evidence, cause sets and standing."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np

from diagnose.inference.run import Inference
from diagnose.judgement.network import Network, Posterior, build, posterior
from diagnose.knowledge.model import Knowledge

MOST_SETS = 8
STANDINGS = ("established", "probable", "possible", "unlikely", "ruled out")


@dataclass(frozen=True)
class Evidence:
    """One finding weighed for one cause. `weight` in dB; `through` names the finding of the same line that counts in
    its place ("" where it counts itself); state unrecorded weighs nothing."""

    finding: str
    state: str
    weight: float
    if_present: float
    if_absent: float
    line: str
    through: str = ""


@dataclass(frozen=True)
class Weighed:
    """What the findings at one position weigh for every cause. `states`: finding to present (True) or absent;
    `through`: each of them to the finding of its line that counts; `counts[i, c]` the dB that the i-th finding of
    `counted` counts for a cause of the network."""

    inference: Inference
    net: Network
    position: str
    states: Mapping[str, bool]
    through: Mapping[str, str]
    counted: tuple[str, ...]
    counts: np.ndarray

    @property
    def knowledge(self) -> Knowledge:
        return self.inference.base.knowledge

    def evidence(self, cause: str) -> tuple[Evidence, ...]:
        """Each finding that the cause's card speaks of: recorded ones first, then those that count, then by weight."""
        column, result = self.net.column[cause], []
        for finding in sorted({r.finding for r in self.knowledge.causes[cause].leaves}):
            i = self.net.row[finding]
            if_present, if_absent = float(self.net.if_present[i, column]), float(self.net.if_absent[i, column])
            recorded = self.states.get(finding)
            state = "unrecorded" if recorded is None else "present" if recorded else "absent"
            weight = {"unrecorded": 0.0, "present": if_present, "absent": if_absent}[state]
            other = self.through.get(finding, finding)
            line = self.knowledge.findings[finding].line
            result.append(
                Evidence(finding, state, weight, if_present, if_absent, line, "" if other == finding else other)
            )
        return tuple(
            sorted(result, key=lambda e: (e.state == "unrecorded", bool(e.through), -abs(e.weight), e.finding))
        )

    def lines_for(self, cause: str) -> tuple[str, ...]:
        """Lines of evidence that speak for a cause, heaviest first, each resting on a record that no line before it
        rests on."""
        weight = self.counts[:, self.net.column[cause]]
        speaking = np.flatnonzero(weight >= self.knowledge.words.line_counts_from)
        used: set[str] = set()
        lines = []
        for i in speaking[np.argsort(-np.round(weight[speaking], 9), kind="stable")].tolist():
            leaves = self.inference.leaves_of_finding(self.counted[i], self.position)
            if not leaves <= used:
                lines.append(self.knowledge.findings[self.counted[i]].line)
                used |= leaves
        return tuple(lines)


@dataclass(frozen=True)
class Judged:
    """One cause at one position. `prior` in dB of odds, `weight` the sum of what counts, `alone` their sum: the odds
    in dB of this cause alone against none of these. `told_at`: the position whose evidence gives standing and
    probability; another one only for a cause of the machine as a whole."""

    cause: str
    position: str
    standing: str
    probability: float
    prior: float
    base_prior: float
    weight: float
    because: tuple[str, ...]
    weighed: Weighed = field(repr=False, compare=False)
    told_at: str

    @property
    def alone(self) -> float:
        return self.prior + self.weight

    @cached_property
    def lines_for(self) -> tuple[str, ...]:
        return self.weighed.lines_for(self.cause)

    @cached_property
    def evidence(self) -> tuple[Evidence, ...]:
        return self.weighed.evidence(self.cause)

    @property
    def rank(self) -> tuple[bool, float, float, str, str]:
        """Sorts causes by probability; rounded, since the last digits of a sum depend on the processor."""
        return (
            self.standing == "ruled out", -round(self.probability, 9), -round(self.alone, 9), self.cause, self.position
        )  # fmt: skip


@dataclass(frozen=True)
class CauseSet:
    """Causes at work together, and nothing else, with the probability of just that."""

    causes: tuple[str, ...]
    probability: float


@dataclass(frozen=True)
class Judgement:
    """What the findings at one position amount to. `causes` are ranked; `sets` are the leading cause sets."""

    position: str
    causes: tuple[Judged, ...]
    none_of_these: float
    counted: Mapping[str, bool]
    through: Mapping[str, str]
    weighed: Weighed = field(repr=False, compare=False)
    found: Posterior = field(repr=False, compare=False)

    @cached_property
    def sets(self) -> tuple[CauseSet, ...]:
        exactly = self.found.exactly
        return tuple(CauseSet(self.found.causes_of(i, self.weighed.net), float(exactly[i])) for i in _leading(exactly))

    @property
    def explanation(self) -> CauseSet:
        return self.sets[0]

    @cached_property
    def unexplained(self) -> tuple[str, ...]:
        """Present findings, rare in themselves, that no cause of the leading explanation produces."""
        net, words = self.weighed.net, self.weighed.knowledge.words
        columns = [net.column[c] for c in self.explanation.causes]
        result = []
        for finding in sorted(f for f, present in self.weighed.states.items() if present):
            i = net.row[finding]
            rare = net.background[i] < words.seen.get("often", 0.5)
            if rare and not (net.shown[i, columns] > net.background[i]).any():
                result.append(finding)
        return tuple(result)

    def of(self, cause: str) -> Judged:
        return next(j for j in self.causes if j.cause == cause)


def decibans(ratio: float) -> float:
    """Weight of evidence, 10 log10 of a likelihood ratio (I. J. Good, Probability and the Weighing of Evidence, 1950)."""
    return 10 * math.log10(ratio)


def judge(inference: Inference, net: Network | None = None) -> tuple[Judgement, ...]:
    """One judgement for each seal position of the case, in order."""
    net = net or build(inference.base.knowledge)
    return _one_verdict([_position(inference, net, position) for position in inference.case.positions])


def _one_verdict(judgements: list[Judgement]) -> tuple[Judgement, ...]:
    """A cause of the machine as a whole has the verdict of the seal that shows it best, at every seal."""
    if len(judgements) < 2:
        return tuple(judgements)
    shared: dict[str, Judged] = {}
    for j in sorted((j for x in judgements for j in x.causes), key=lambda j: j.rank):
        if j.weighed.knowledge.causes[j.cause].scope == "machine":
            shared.setdefault(j.cause, j)

    def told(j: Judged) -> Judged:
        best = shared.get(j.cause, j)
        return replace(
            j, standing=best.standing, probability=best.probability, because=best.because, told_at=best.position
        )

    return tuple(
        replace(x, causes=tuple(sorted((told(j) for j in x.causes), key=lambda j: j.rank))) for x in judgements
    )


def priors_at(inference: Inference, net: Network, position: str) -> np.ndarray:
    """Prior of each cause of the network, with the settings of the case taken in."""
    prior = net.prior.copy()
    for cause, firing in inference.common[position].items():
        prior[net.column[cause]] = inference.base.knowledge.words.common[firing.branch.conclusion.state]
    return prior


def allowed_at(inference: Inference, net: Network, position: str) -> list[int]:
    """Indices of the causes that nothing rules out at the position."""
    out = inference.ruled_out[position]
    return [i for i, c in enumerate(net.causes) if c not in out]


def count_lines(
    net: Network, knowledge: Knowledge, states: Mapping[str, bool], allowed: Iterable[int]
) -> dict[str, str]:
    """For each recorded finding, the finding of its line that counts.

    What is there goes before what is not: a leak under the sleeve also says that it is not at the gland joint, and the
    second must not push out the first. Of what is there the finding that speaks most for any cause, of what is not the
    one that speaks most against any.
    """
    found = {f: states[f] for f in sorted(states)}
    sign = np.where([*found.values()], 1, -1)[:, None]
    most_of = np.round((sign * net.weights(found))[:, list(allowed)].max(axis=1, initial=0.0), 9).tolist()
    heaviest: dict[str, tuple[bool, float, str]] = {}
    for (finding, there), most in zip(found.items(), most_of, strict=True):
        line = knowledge.findings[finding].line
        if line not in heaviest or (there, most) > heaviest[line][:2]:
            heaviest[line] = (there, most, finding)
    return {f: heaviest[knowledge.findings[f].line][2] for f in states}


def _position(inference: Inference, net: Network, position: str) -> Judgement:
    knowledge = inference.base.knowledge
    states = {name: d.state == "present" for name, d in inference.findings[position].items()}
    allowed = allowed_at(inference, net, position)
    prior = priors_at(inference, net, position)
    through = count_lines(net, knowledge, states, allowed)
    counted = {f: states[f] for f in sorted(states) if through[f] == f}
    found = posterior(net, counted, prior, allowed)
    weighed = Weighed(inference, net, position, states, through, tuple(counted), net.weights(counted))
    judged = _causes(weighed, found.share, prior)
    return Judgement(position, judged, found.none, counted, through, weighed, found)


def _leading(probability: np.ndarray) -> np.ndarray:
    """The places of the largest that are possible at all, largest first; equal ones in their order."""
    places = np.flatnonzero(probability >= 1e-6)
    if len(places) < MOST_SETS:
        places = np.flatnonzero(probability)
    return places[np.argsort(-np.round(probability[places], 12), kind="stable")[:MOST_SETS]]


def _causes(weighed: Weighed, share: np.ndarray, prior: np.ndarray) -> tuple[Judged, ...]:
    """Every cause with its standing, ranked."""
    knowledge, words = weighed.knowledge, weighed.knowledge.words
    ruled_out = weighed.inference.ruled_out[weighed.position]
    base = {word: decibans(p / (1 - p)) for word, p in words.common.items()}
    columns = zip(
        weighed.net.causes, share.tolist(), (10 * np.log10(prior / (1 - prior))).tolist(),
        weighed.counts.sum(axis=0).tolist(), weighed.counts.min(axis=0, initial=0.0).tolist(), strict=True,
    )  # fmt: skip
    judged = []
    for cause, probability, odds, weight, lowest in columns:
        out = ruled_out.get(cause, ())
        standing = "unlikely"
        if out:
            standing = "ruled out"
        elif (
            probability >= words.established
            and lowest > -words.decisive
            and len(weighed.lines_for(cause)) >= words.lines_needed
        ):
            standing = "established"
        elif probability >= words.probable:
            standing = "probable"
        elif probability >= words.possible:
            standing = "possible"
        judged.append(
            Judged(
                cause, weighed.position, standing, probability, odds, base[knowledge.causes[cause].common], weight,
                tuple(f.branch.because for f in out), weighed, weighed.position,
            )
        )  # fmt: skip
    judged.sort(key=lambda j: j.rank)
    return tuple(judged)
