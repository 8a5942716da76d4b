"""The same generated rules and facts run by four engines: ours, plain experta, CLIPS and rule-engine."""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import dataclass

import clips
import rule_engine

from diagnose.inference.engine import Reasoner
from diagnose.inference.experta_shim import AND, Fact, KnowledgeEngine, P, Rule
from diagnose.inference.facts import Fact as Record
from diagnose.inference.facts import make
from diagnose.inference.rules import Branch, Conclusion, Premise
from diagnose.reading.problems import Where

Answer = frozenset[str]


@dataclass(frozen=True)
class Wanted:
    """One generated rule: features that must be present, the least rank of the first, and a finding it may rest on."""

    name: str
    features: tuple[str, ...]
    rank: int
    finding: str


def rules(count: int, seed: int = 1) -> list[Wanted]:
    """Rules of one to three conditions; one in ten rests on the finding of an earlier rule."""
    mixer = random.Random(seed)
    features = [f"u{i}" for i in range(3 * count // 2)]
    result: list[Wanted] = []
    for i in range(count):
        rests = i > 10 and mixer.random() < 0.1
        size = mixer.choice((1, 2, 3)) - rests
        finding = result[mixer.randrange(i)].name if rests else ""
        result.append(Wanted(f"n{i}", tuple(mixer.sample(features, max(size, 1))), mixer.choice((0, 0, 2)), finding))
    return result


def facts(count: int, of: list[Wanted], seed: int) -> list[tuple[str, int]]:
    """(feature, rank) of a case; a few rules have all they ask for."""
    mixer = random.Random(seed)
    names: dict[str, None] = {}
    while len(names) < count:
        names.update(dict.fromkeys(mixer.choice(of).features))
    return [(name, mixer.randrange(4)) for name in list(names)[:count]]


Run = Callable[[list[tuple[str, int]]], Answer]


def ours(wanted: list[Wanted]) -> Run:
    branches = []
    for w in wanted:
        premises = [
            Premise(
                "seen",
                ("seen", f),
                (("feature", f), ("state", "present")),
                ("rank", ">=", w.rank) if w.rank and not i else None,
            )
            for i, f in enumerate(w.features)
        ]
        if w.finding:
            premises.append(Premise("found", ("found", w.finding), (("finding", w.finding), ("state", "present"))))
        conclusion = Conclusion("found", w.name, "present")
        branches.append(Branch(w.name, w.name, 1, tuple(premises), conclusion, Where("made")))
    reasoner = Reasoner(branches)
    reasoner.build()

    def run(case: list[tuple[str, int]]) -> Answer:
        records: list[Record] = [
            make("seen", f, feature=f, state="present", rank=rank, position="seal", other="") for f, rank in case
        ]
        return frozenset(f.branch.conclusion.name for f in reasoner.run(records, [("seal", "")]))

    return run


def plain_experta(wanted: list[Wanted]) -> Run:
    seen, found = type("Seen", (Fact,), {}), type("Found", (Fact,), {})
    concluded: set[str] = set()

    def rule(w: Wanted) -> Rule:
        patterns = [
            seen(
                feature=f,
                state="present",
                **({"rank": P(lambda v, least=w.rank: v >= least)} if w.rank and not i else {}),
            )
            for i, f in enumerate(w.features)
        ]
        if w.finding:
            patterns.append(found(finding=w.finding, state="present"))

        def fire(engine: KnowledgeEngine) -> None:
            concluded.add(w.name)
            engine.declare(found(finding=w.name, state="present"))

        return Rule(AND(*patterns))(fire)

    engine = type("Plain", (KnowledgeEngine,), {w.name: rule(w) for w in wanted})()

    def run(case: list[tuple[str, int]]) -> Answer:
        concluded.clear()
        engine.reset()
        engine.declare(*(seen(feature=f, state="present", rank=rank) for f, rank in case))
        engine.run()
        return frozenset(concluded)

    return run


def clips_engine(wanted: list[Wanted]) -> Run:
    env = clips.Environment()
    env.build("(deftemplate seen (slot feature) (slot state) (slot rank))")
    env.build("(deftemplate found (slot finding) (slot state))")
    for w in wanted:
        patterns = [
            f'(seen (feature "{f}") (state "present"){f" (rank ?r&:(>= ?r {w.rank}))" if w.rank and not i else ""})'
            for i, f in enumerate(w.features)
        ]
        if w.finding:
            patterns.append(f'(found (finding "{w.finding}") (state "present"))')
        env.build(f'(defrule {w.name} {" ".join(patterns)} => (assert (found (finding "{w.name}") (state "present"))))')
    template, made = env.find_template("seen"), env.find_template("found")

    def run(case: list[tuple[str, int]]) -> Answer:
        env.reset()
        for f, rank in case:
            template.assert_fact(feature=f, state="present", rank=rank)
        env.run()
        return frozenset(str(f["finding"]) for f in made.facts())

    return run


def general(wanted: list[Wanted]) -> Run:
    """rule-engine evaluates one expression at a time, so the rules are gone through until nothing new is found."""
    compiled = []
    for w in wanted:
        parts = [f'"{f}" in seen' for f in w.features]
        if w.rank:
            parts.append(f'"{w.features[0]}" in severe')
        if w.finding:
            parts.append(f'"{w.finding}" in found')
        compiled.append((w.name, rule_engine.Rule(" and ".join(parts))))

    def run(case: list[tuple[str, int]]) -> Answer:
        known = {"seen": {f for f, _ in case}, "severe": {f for f, rank in case if rank >= 2}, "found": set()}
        while True:
            new = {name for name, rule in compiled if name not in known["found"] and rule.matches(known)}
            if not new:
                return frozenset(known["found"])
            known["found"] |= new

    return run


ENGINES: dict[str, Callable[[list[Wanted]], Run]] = {
    "ours": ours,
    "plain experta": plain_experta,
    "CLIPS": clips_engine,
    "rule-engine": general,
}
