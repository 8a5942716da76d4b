"""From findings to ranked causes: weights, lines of evidence, cause sets and standing."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np

from diagnose.inference.run import Inference
from diagnose.judgement.network import Network, build, posterior
from diagnose.knowledge.model import Knowledge

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
class Judged:
    """One cause at one position. `prior` in dB of odds, `weight` the sum of what counts, `alone` their sum: the odds
    in dB of this cause alone against none of these."""

    cause: str
    position: str
    standing: str
    probability: float
    prior: float
    base_prior: float
    weight: float
    evidence: tuple[Evidence, ...]
    lines_for: tuple[str, ...]
    because: tuple[str, ...] = ()

    @property
    def alone(self) -> float:
        return self.prior + self.weight


@dataclass(frozen=True)
class CauseSet:
    causes: tuple[str, ...]
    probability: float


@dataclass(frozen=True)
class Judgement:
    """What the findings at one position amount to. `causes` are ranked; `sets` are the leading cause sets."""

    position: str
    causes: tuple[Judged, ...]
    sets: tuple[CauseSet, ...]
    none_of_these: float
    counted: Mapping[str, bool]
    through: Mapping[str, str]
    unexplained: tuple[str, ...]

    @property
    def explanation(self) -> CauseSet:
        return self.sets[0]

    def of(self, cause: str) -> Judged:
        return next(j for j in self.causes if j.cause == cause)


def decibans(ratio: float) -> float:
    """Weight of evidence, 10 log10 of a likelihood ratio (I. J. Good, Probability and the Weighing of Evidence, 1950)."""
    return 10 * math.log10(ratio)


def judge(inference: Inference, net: Network | None = None) -> tuple[Judgement, ...]:
    """One judgement for each seal position of the case, in order."""
    net = net or build(inference.base.knowledge)
    return tuple(_position(inference, net, position) for position in inference.case.positions)


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


def weights(net: Network, finding: str) -> tuple[np.ndarray, np.ndarray]:
    """(dB when present, dB when absent) of a finding for every cause."""
    i = net.row[finding]
    base = net.background[i]
    return 10 * np.log10(net.shown[i] / base), 10 * np.log10((1 - net.shown[i]) / (1 - base))


def count_lines(
    net: Network, knowledge: Knowledge, states: Mapping[str, bool], allowed: Iterable[int]
) -> dict[str, str]:
    """For each recorded finding, the finding of its line that counts.

    What is there goes before what is not: a leak under the sleeve also says that it is not at the gland joint, and the
    second must not push out the first. Of what is there the finding that speaks most for any cause, of what is not the
    one that speaks most against any.
    """
    chosen = list(allowed)
    heaviest: dict[str, tuple[bool, float, str]] = {}
    for finding in sorted(states):
        here = weights(net, finding)[0 if states[finding] else 1][chosen]
        most = round(float((here if states[finding] else -here).max(initial=0.0)), 9)
        line = knowledge.findings[finding].line
        if line not in heaviest or (states[finding], most) > heaviest[line][:2]:
            heaviest[line] = (states[finding], most, finding)
    return {f: heaviest[knowledge.findings[f].line][2] for f in states}


def _position(inference: Inference, net: Network, position: str) -> Judgement:
    knowledge = inference.base.knowledge
    states = {name: d.state == "present" for name, d in inference.findings[position].items()}
    allowed = allowed_at(inference, net, position)
    prior = priors_at(inference, net, position)
    through = count_lines(net, knowledge, states, allowed)
    counted = {f: states[f] for f in sorted(states) if through[f] == f}
    found = posterior(net, counted, prior, allowed)
    order = np.argsort(-np.round(found.exactly, 15), kind="stable")[:8]
    leading = tuple(CauseSet(found.causes_of(i, net), float(found.exactly[i])) for i in order)
    judged = []
    for i, cause in enumerate(net.causes):
        judged.append(
            _cause(inference, net, position, i, cause, float(found.share[i]), float(prior[i]), states, through)
        )
    judged.sort(key=lambda j: (j.standing == "ruled out", -round(j.probability, 12), -round(j.alone, 9), j.cause))
    unexplained = _unexplained(net, knowledge, states, leading[0].causes)
    return Judgement(position, tuple(judged), leading, found.none, counted, through, unexplained)


def _cause(
    inference: Inference, net: Network, position: str, column: int, cause: str, probability: float, prior: float,
    states: Mapping[str, bool], through: Mapping[str, str],
) -> Judged:  # fmt: skip
    knowledge = inference.base.knowledge
    card = knowledge.causes[cause]
    spoken = {r.finding for r in card.leaves}
    evidence = []
    for finding in sorted(spoken):
        i = net.row[finding]
        base, p = float(net.background[i]), float(net.shown[i, column])
        if_present, if_absent = decibans(p / base), decibans((1 - p) / (1 - base))
        state = "unrecorded" if finding not in states else "present" if states[finding] else "absent"
        weight = {"unrecorded": 0.0, "present": if_present, "absent": if_absent}[state]
        other = through.get(finding, finding)
        stands_for = "" if other == finding else other
        evidence.append(
            Evidence(finding, state, weight, if_present, if_absent, knowledge.findings[finding].line, stands_for)
        )
    counting = [e for e in evidence if e.state != "unrecorded" and not e.through]
    total = sum(e.weight for e in counting)
    words = knowledge.words
    speaking = [e for e in counting if e.weight >= words.line_counts_from]
    lines = _independent_lines(inference, position, speaking)
    against = any(e.weight <= -words.decisive for e in counting)
    out = inference.ruled_out[position].get(cause, ())
    standing = "unlikely"
    if out:
        standing = "ruled out"
    elif probability >= words.established and len(lines) >= words.lines_needed and not against:
        standing = "established"
    elif probability >= words.probable:
        standing = "probable"
    elif probability >= words.possible:
        standing = "possible"
    ranked = sorted(evidence, key=lambda e: (e.state == "unrecorded", bool(e.through), -abs(e.weight), e.finding))
    base_prior = words.common[card.common]
    return Judged(
        cause, position, standing, probability, decibans(prior / (1 - prior)), decibans(base_prior / (1 - base_prior)),
        total, tuple(ranked), lines, tuple(f.branch.because for f in out),
    )  # fmt: skip


def _independent_lines(inference: Inference, position: str, speaking: list[Evidence]) -> tuple[str, ...]:
    """Lines of evidence for a cause, heaviest first, each resting on a record that no line before it rests on."""
    used: set[str] = set()
    lines = []
    for e in sorted(speaking, key=lambda e: (-e.weight, e.finding)):
        leaves = inference.leaves_of_finding(e.finding, position)
        if not leaves <= used:
            lines.append(e.line)
            used |= leaves
    return tuple(lines)


def _unexplained(
    net: Network, knowledge: Knowledge, states: Mapping[str, bool], causes: tuple[str, ...]
) -> tuple[str, ...]:
    """Present findings, rare in themselves, that no cause of the leading explanation produces."""
    columns = [net.column[c] for c in causes]
    result = []
    for finding in sorted(f for f, present in states.items() if present):
        i = net.row[finding]
        rare = net.background[i] < knowledge.words.seen.get("often", 0.5)
        if rare and not (net.shown[i, columns] > net.background[i]).any():
            result.append(finding)
    return tuple(result)
