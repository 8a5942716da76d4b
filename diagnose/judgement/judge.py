"""From findings to root causes and mechanisms with their standing."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np
from msgspec import Struct, structs

from diagnose.inference.run import Inference
from diagnose.judgement.counting import counting
from diagnose.judgement.network import Network, build
from diagnose.judgement.posterior import Evidence, Posterior, narrowed, posterior_of
from diagnose.judgement.weights import Weights, ledger, log_odds
from diagnose.knowledge.model import Cause, Knowledge, Mechanism, Words

MOST_SETS = 8
HALF = 0.5
STANDINGS = ("established", "probable", "possible", "unlikely", "ruled out")
"""From the surest on."""


class Weighed(Struct, frozen=True):
    """One finding weighed for one cause or mechanism on its own. `weight` in dB as it was found, 0 where it was not;
    `through` names the finding that counts in its place ("" where it counts itself)."""

    finding: str
    state: str
    weight: float
    if_present: float
    if_absent: float
    through: str = ""


class Judged(Struct, frozen=True, dict=True):
    """One cause or mechanism at one position. `kind` is cause or mechanism; `prior` its chance before anything is seen
    (of a mechanism: with nothing recorded); `because` says why it is ruled out; `told_at` is the position whose evidence
    gives standing and probability, another one only for what belongs to the machine as a whole; `ledger`, in
    dB: what the findings there weigh for a cause that is possible or better, each alone, all together; what lies between a
    mechanism in any failed seal and in this one."""

    name: str
    kind: str
    position: str
    standing: str
    probability: float
    prior: float
    because: tuple[str, ...]
    told_at: str
    ledger: float
    card: Cause | Mechanism
    at: Judgement

    def __eq__(self, other: object) -> bool:
        return type(other) is Judged and self._verdict() == other._verdict()

    def __hash__(self) -> int:
        return hash(self._verdict())

    def __repr__(self) -> str:
        return f"Judged{self._verdict()}"

    def _verdict(self) -> tuple[object, ...]:
        """All but the card and what it was judged among."""
        return (self.name, self.kind, self.position, self.standing, self.probability, self.prior, self.because, self.told_at,
                self.ledger)  # fmt: skip

    @property
    def weight(self) -> float:
        """What the whole record moves this one by, in dB of odds."""
        return log_odds(self.probability) - log_odds(self.prior)

    @property
    def told(self) -> float:
        """How much of the record is about this one, for ranking: its probability times its ledger. Of mechanisms half counts for
        one that stands between: what began it and what it did to the seal have told as much. Up to twice counts for what is
        sure to have happened and the first cause begins, so that what happened and why hang together."""
        between = isinstance(self.card, Mechanism) and self.card.between
        begun = 1 + self.probability * self.at.begun.get(self.name, 0.0)
        return self.probability * max(self.ledger, 0.0) * (HALF if between else 1.0) * begun

    @cached_property
    def evidence(self) -> tuple[Weighed, ...]:
        return self.at.evidence(self.name)

    @cached_property
    def lines_for(self) -> tuple[str, ...]:
        return self.at.lines_for(self.name)

    @property
    def rank(self) -> tuple[int, bool, float, float, str, str]:
        """Sorts by how much of the record is about each, causes within their standing, leak paths behind other mechanisms;
        rounded, since the last digits of a sum depend on the processor."""
        told = self.told if self.ledger > 0 else 0.0
        first = rank_of(self.kind, self.standing, self.ends_chain, told, self.probability)
        return *first, self.name, self.position

    @property
    def ends_chain(self) -> bool:
        """Whether this is a leak path, where chains end."""
        return isinstance(self.card, Mechanism) and self.card.leak_path


def rank_of(
    kind: str, standing: str, ends_chain: bool, told: float, probability: float
) -> tuple[int, bool, float, float]:
    """What causes or mechanisms are ranked by, the first lowest: see `Judged.rank`."""
    at = STANDINGS.index(standing) if kind == "cause" else int(standing == "ruled out")
    return at, ends_chain, -round(told, 9), -round(probability, 9)


class CauseSet(Struct, frozen=True):
    """Causes at work together, and nothing else, with the probability of just that."""

    causes: tuple[str, ...]
    probability: float


@dataclass(frozen=True)
class Judgement:
    """What the findings at one position amount to. `causes` and `mechanisms` are ranked. `through`: each finding recorded
    to the one that counts in its place."""

    inference: Inference = field(repr=False, compare=False)
    net: Network = field(repr=False, compare=False)
    position: str
    through: Mapping[str, str]
    found: Posterior = field(repr=False, compare=False)
    causes: tuple[Judged, ...] = ()
    mechanisms: tuple[Judged, ...] = ()

    @property
    def knowledge(self) -> Knowledge:
        return self.inference.base.knowledge

    @property
    def counted(self) -> Mapping[str, bool]:
        """The findings that count: present (True) or absent."""
        return self.found.evidence.states

    @cached_property
    def states(self) -> dict[str, bool]:
        """Every finding recorded: present or absent."""
        return {f: d.state == "present" for f, d in self.inference.findings[self.position].items()}

    @property
    def left_out(self) -> tuple[str, ...]:
        """Findings that would count and tell least, left out because the record is too long for one sum."""
        return tuple(f for f, other in self.through.items() if other == f and f not in self.counted)

    def unweighed(self, name: str) -> float:
        """dB that the findings left out would add for a cause or mechanism, each taken as if it stood alone."""
        if_present, if_absent = self.weights.alone(name)
        return float(sum((if_present if self.states[f] else if_absent)[self.net.row[f]] for f in self.left_out))

    @property
    def none_of_these(self) -> float:
        return float(self.believed[0])

    @cached_property
    def believed(self) -> np.ndarray:
        """What is believed of each set of the posterior."""
        return self.net.believed(self.found.exactly, self.found.before)

    @cached_property
    def sets(self) -> tuple[CauseSet, ...]:
        places = [i for i in self.found.leading.tolist() if self.found.exactly[i] >= 1e-6][:MOST_SETS]
        return tuple(CauseSet(self.found.causes_of(i), float(self.believed[i])) for i in places)

    @property
    def explanation(self) -> CauseSet:
        return self.sets[0]

    @cached_property
    def begun(self) -> dict[str, float]:
        """How often the first cause brings about each of the mechanisms that it begins; none where it is not clearly
        likelier than that there is none: half as much again."""
        first = next(iter(self.causes), None)
        if not first or round(first.probability, 9) <= (1 + HALF) * self.none_of_these:
            return {}
        return {link.mechanism: self.knowledge.words.seen[link.seen] for link in first.card.brings_about}

    @cached_property
    def weights(self) -> Weights:
        return Weights(self.found)

    @cached_property
    def unexplained(self) -> tuple[str, ...]:
        """Present findings, rare in themselves, that the leading explanation makes no likelier."""
        net, i = self.net, int(self.found.leading[0])
        members = self.found.members[[i]]
        if not members.any():
            return ()
        there = net.expected(net.forward(members), members)[:, 0]
        rare = self.knowledge.words.seen.get("as often as not", 0.5)
        return tuple(
            f for f in sorted(f for f, present in self.counted.items() if present)
            if net.background[net.row[f]] < rare and there[net.row[f]] < 1.5 * net.background[net.row[f]]
        )  # fmt: skip

    @cached_property
    def also_told(self) -> tuple[Judged, ...]:
        """Causes possible or better beside the leading explanation, of which a finding is a direct sign that it leaves
        unexplained."""
        return tuple(
            j for j in self.causes
            if j.name not in self.explanation.causes and j.standing not in ("unlikely", "ruled out")
            and {x.finding for x in j.card.leaves} & set(self.unexplained)
        )  # fmt: skip

    def of(self, name: str) -> Judged:
        """A cause or mechanism by name. Raises StopIteration."""
        return next(j for j in (*self.causes, *self.mechanisms) if j.name == name)

    def evidence(self, name: str) -> tuple[Weighed, ...]:
        """Each finding that bears on a cause or mechanism, weighed alone: recorded ones first, then by weight."""
        if name not in self._evidence:
            self._evidence[name] = self._weighed(name)
        return self._evidence[name]

    @cached_property
    def _evidence(self) -> dict[str, tuple[Weighed, ...]]:
        return {}

    def _weighed(self, name: str) -> tuple[Weighed, ...]:
        if_present, if_absent = self.weights.alone(name)
        result = []
        for row in np.flatnonzero(np.maximum(np.abs(if_present), np.abs(if_absent)) >= 0.05).tolist():
            finding, there, gone = self.net.findings[row], float(if_present[row]), float(if_absent[row])
            recorded = self.states.get(finding)
            state = "unrecorded" if recorded is None else "present" if recorded else "absent"
            weight = {"unrecorded": 0.0, "present": there, "absent": gone}[state]
            other = self.through.get(finding, finding)
            result.append(Weighed(finding, state, weight, there, gone, "" if other == finding else other))
        return tuple(
            sorted(
                result, key=lambda e: (e.state == "unrecorded", bool(e.through), -round(abs(e.weight), 9), e.finding)
            )
        )

    def lines_for(self, name: str) -> tuple[str, ...]:
        """Findings that speak for a cause or mechanism, heaviest first, each resting on a record that none before it
        rests on."""
        used: set[str] = set()
        lines = []
        for e in self.evidence(name):
            if e.state == "unrecorded" or e.through or e.weight < self.knowledge.words.line_counts_from:
                continue
            leaves = self.inference.leaves_of_finding(e.finding, self.position)
            if not leaves <= used:
                lines.append(e.finding)
                used |= leaves
        return tuple(lines)


def judge(inference: Inference, net: Network | None = None) -> tuple[Judgement, ...]:
    """One judgement for each seal position of the case, in order."""
    net = net or build(inference.base.knowledge)
    return _one_verdict([judge_at(inference, net, position) for position in inference.case.positions])


def evidence_at(inference: Inference, net: Network, position: str) -> tuple[Evidence, dict[str, str]]:
    """What counts at a position, and each finding recorded to the one that counts in its place."""
    states, through = counting(inference, net, position)
    prior = net.prior.copy()
    for cause, firing in inference.common[position].items():
        prior[net.column[cause]] = inference.base.knowledge.words.common[firing.branch.conclusion.state]
    out = inference.ruled_out[position]
    off = frozenset(net.mechanism[m] for m in out if m in net.mechanism)
    return Evidence(states, prior, tuple(i for i, c in enumerate(net.causes) if c not in out), off), through


def judge_at(inference: Inference, net: Network, position: str) -> Judgement:
    evidence, through = evidence_at(inference, net, position)
    found = posterior_of(narrowed(net, evidence))
    bare = Judgement(inference, net, position, through, found)
    why = replace(bare, causes=_causes(bare))
    return replace(why, mechanisms=_mechanisms(why))


def standing(words: Words, probability: float, lines: int, lowest: float) -> str:
    """The word for how sure: `lines` findings on different records speak for it, `lowest` dB is the worst against it."""
    if probability >= words.established and lines >= words.lines_needed and lowest > -words.decisive:
        return "established"
    if probability >= words.probable:
        return "probable"
    return "possible" if probability >= words.possible else "unlikely"


def _causes(at: Judgement) -> tuple[Judged, ...]:
    return _judged(at, "cause", at.net.causes, at.found.share, at.found.evidence.prior)


def _mechanisms(at: Judgement) -> tuple[Judged, ...]:
    return _judged(at, "mechanism", at.net.mechanisms, at.found.mechanisms, at.found.unseen)


def _judged(
    at: Judgement, kind: str, names: tuple[str, ...], chances: np.ndarray, priors: np.ndarray
) -> tuple[Judged, ...]:
    cards: Mapping[str, Cause | Mechanism]
    cards = at.knowledge.causes if kind == "cause" else at.knowledge.mechanisms
    words, ruled_out = at.knowledge.words, at.inference.ruled_out[at.position]
    judged = []
    chances = at.net.believed(chances, np.where([n in ruled_out for n in names], 0.0, priors))
    risen = log_odds(chances) - log_odds(at.found.usual) if kind == "mechanism" else np.zeros(len(names))
    for name, probability, prior, told in zip(names, chances.tolist(), priors.tolist(), risen.tolist(), strict=True):
        out = ruled_out.get(name, ())
        word = "ruled out" if out else standing(words, probability, 0, 0.0)
        if probability >= words.established and not out:
            lowest = min((e.weight for e in at.evidence(name) if not e.through), default=0.0)
            word = standing(words, probability, len(at.lines_for(name)), lowest)
        because = tuple(f.branch.because for f in out)
        if kind == "cause" and word not in ("unlikely", "ruled out"):
            told = ledger(at.net, at.counted, name)
        judged.append(
            Judged(name, kind, at.position, word, probability, prior, because, at.position, told, cards[name], at)
        )
    return tuple(sorted(judged, key=lambda j: j.rank))


def _one_verdict(judgements: list[Judgement]) -> tuple[Judgement, ...]:
    """What belongs to the machine as a whole has the verdict of the seal that shows it best, at every seal."""
    if len(judgements) < 2:
        return tuple(judgements)
    shared: dict[str, Judged] = {}
    for j in sorted(
        (j for x in judgements for j in (*x.causes, *x.mechanisms)), key=lambda j: (-round(j.probability, 9), j.rank)
    ):
        if j.card.scope == "machine":
            shared.setdefault(j.name, j)

    def told(j: Judged) -> Judged:
        best = shared.get(j.name, j)
        return structs.replace(
            j,
            standing=best.standing,
            probability=best.probability,
            because=best.because,
            told_at=best.position,
            ledger=best.ledger,
        )

    def ranked(judged: tuple[Judged, ...]) -> tuple[Judged, ...]:
        return tuple(sorted((told(j) for j in judged), key=lambda j: j.rank))

    return tuple(replace(x, causes=ranked(x.causes), mechanisms=ranked(x.mechanisms)) for x in judgements)
