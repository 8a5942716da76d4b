"""Runs rule tests: what follows from the records of each, held against what it expects."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from diagnose.authoring.matching import explain_miss
from diagnose.authoring.rule_test_reader import RuleTest
from diagnose.inference.run import Deduced, Inference, RuleBase, deduce
from diagnose.judgement.diagnosis import network_of
from diagnose.judgement.judge import STANDINGS, Judged, Judgement, evidence_at, judge
from diagnose.judgement.network import Network
from diagnose.judgement.weights import alone, worth
from diagnose.reading.figures import percent

STEP = 0.05
"""Weights in a test are written in dB with one decimal; they agree when they round to the same."""
MANY = 100
"""From so many tests on, all rules are made ready at once."""


@dataclass(frozen=True)
class Failure:
    """What a test expected, what was found, and why: the premises that stood in the way."""

    expected: str
    found: str
    because: tuple[str, ...] = ()


@dataclass(frozen=True)
class Outcome:
    test: RuleTest
    inference: Inference
    failures: tuple[Failure, ...]


@dataclass(frozen=True)
class Workshop:
    """A rule base to test, with its network."""

    base: RuleBase

    @property
    def net(self) -> Network:
        return network_of(self.base)

    def infer(self, test: RuleTest) -> Inference:
        return deduce(test.case, self.base, test.quantities, test.told)

    def run(self, test: RuleTest) -> Outcome:
        inference = self.infer(test)
        return Outcome(test, inference, tuple(failures(test, inference, self.net)))


def failures(test: RuleTest, inference: Inference, net: Network) -> Iterable[Failure]:
    """What a test expected and did not find."""
    places = (test.at,) if test.at else inference.case.positions
    for key, finding in test.findings:
        yield from _finding(key, finding, inference, places)
    for name, wanted, _ in test.speaks_for:
        yield from _speaks_for(name, wanted, inference, net, places)
    for cause, word in test.common:
        found = {common(inference, cause, p) for p in places}
        if word not in found:
            yield Failure(f"{cause}: common {word}", ", ".join(sorted(found)))
    if test.judged:
        yield from _standings(test, [x for x in judge(inference, net) if x.position in places])
    for name, wanted in test.rules_out:
        out = [p for p in places if name in inference.ruled_out[p]]
        if bool(out) != wanted:
            yield Failure(f"{name}: {'' if wanted else 'not '}ruled out", "ruled out" if out else "not ruled out")
    for caution, wanted in test.cautions:
        raised = caution in inference.cautions or inference.base.knowledge.cautions[caution].always
        if raised != wanted:
            yield Failure(f"caution {caution!r}{'' if wanted else ' not raised'}", "raised" if raised else "not raised")


def _finding(key: str, finding: str, inference: Inference, places: tuple[str, ...]) -> Iterable[Failure]:
    states = {p: found.state if (found := _at(inference, p, finding)) else "open" for p in places}
    kept = {
        "finds": "present" in states.values(),
        "finds absent": "absent" in states.values(),
        "does not find": "present" not in states.values(),
        "leaves open": set(states.values()) == {"open"},
    }[key]
    if not kept:
        wanted = {"finds": "present", "finds absent": "absent", "does not find": "not present", "leaves open": "open"}
        told = ", ".join(s if len(places) == 1 else f"{s} ({p})" for p, s in states.items())
        state = "absent" if key == "finds absent" else "present"
        yield Failure(f"{finding}: {wanted[key]}", told, tuple(explain_miss(inference, finding, state, places[0])))


def _at(inference: Inference, position: str, finding: str) -> Deduced | None:
    return inference.findings[position].get(finding)


def ranked(judgements: Iterable[Judgement], kind: str = "cause") -> list[Judged]:
    """Causes or mechanisms of all positions, best first."""
    every = [j for x in judgements for j in (x.causes if kind == "cause" else x.mechanisms)]
    return sorted(every, key=lambda j: j.rank)


def _standings(test: RuleTest, judgements: list[Judgement]) -> Iterable[Failure]:
    orders = {kind: ranked(judgements, kind) for kind in ("cause", "mechanism")}
    best: dict[str, Judged] = {}
    for j in (*orders["cause"], *orders["mechanism"]):
        best.setdefault(j.name, j)

    def head(kind: str) -> tuple[str, ...]:
        return tuple(
            f"{i}. {j.name}: {j.standing}, {percent(j.probability)}" for i, j in enumerate(orders[kind][:3], 1)
        )

    if test.leads:
        kind = best[test.leads].kind
        first = orders[kind][0].name
        if first != test.leads:
            yield Failure(f"{test.leads} leads", f"{first} leads", head(kind))
    if test.ranks:
        names = list(best)
        found = sorted(test.ranks, key=names.index)
        if found != list(test.ranks):
            yield Failure(f"in this order: {', '.join(test.ranks)}", ", ".join(found), head(best[test.ranks[0]].kind))
    for name, word in test.standing:
        j = best[name]
        if not _stands(j.standing, word):
            yield Failure(f"{name}: {word}", f"{j.standing} ({percent(j.probability, 1)})", j.because or head(j.kind))


def worth_at(inference: Inference, net: Network, name: str, position: str) -> float:
    """What the whole record at a position is worth for a cause or mechanism, in dB."""
    return round(worth(net, evidence_at(inference, net, position)[0], name), 9) + 0.0


def most_worth(inference: Inference, net: Network, name: str, places: Iterable[str]) -> float:
    return max(worth_at(inference, net, name, p) for p in places)


def _speaks_for(
    name: str, wanted: float, inference: Inference, net: Network, places: Sequence[str]
) -> Iterable[Failure]:
    found = {p: worth_at(inference, net, name, p) for p in places}
    place = max(places, key=lambda p: found[p])
    if abs(found[place] - wanted) <= STEP + 1e-6:
        return
    there, gone = alone(net, name)
    states = evidence_at(inference, net, place)[0].states
    told = ((f, state, float((there if state else gone)[net.row[f]])) for f, state in states.items())
    yield Failure(
        f"the record speaks for {name} with {wanted:+.1f} dB", f"{found[place]:+.1f} dB",
        tuple(f"{weight:+.1f} dB alone: {f} ({'present' if state else 'absent'})"
              for f, state, weight in sorted(told, key=lambda x: (-abs(x[2]), x[0])) if abs(weight) >= 0.05),
    )  # fmt: skip


def common(inference: Inference, cause: str, position: str) -> str:
    """The word for how common a cause is in the settings of a case."""
    firing = inference.common[position].get(cause)
    return firing.branch.conclusion.state if firing else inference.base.knowledge.causes[cause].common


def _stands(standing: str, wanted: str) -> bool:
    rank = STANDINGS.index(standing)
    if wanted.startswith("at most "):
        return rank >= STANDINGS.index(wanted.removeprefix("at most "))
    if wanted.startswith("at least "):
        return rank <= STANDINGS.index(wanted.removeprefix("at least "))
    return standing == wanted


def run_tests(workshop: Workshop, tests: Sequence[RuleTest]) -> list[Outcome]:
    if len(tests) > MANY:
        workshop.base.reasoner.build()
    return [workshop.run(test) for test in tests]
