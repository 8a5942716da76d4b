"""Runs branches on facts with experta and records every firing at the moment it happens.

Each rule has a salience of its own, from the order of the branches, so that firing order is fixed; rules only add
facts, and what they deny lies in an earlier stratum, so that the result would be the same in any order.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from diagnose.inference.experta_shim import AND, AS, MATCH, NOT, KnowledgeEngine, P, Rule
from diagnose.inference.experta_shim import Fact as EngineFact
from diagnose.inference.facts import Fact
from diagnose.inference.rules import Branch, Premise


class Place(EngineFact):
    """A seal position; every rule starts from one."""


class Seen(EngineFact):
    """An observation."""


class Setting(EngineFact):
    """A setting of the case."""


class Amount(EngineFact):
    """A computed quantity."""


class Limit(EngineFact):
    """A quantity judged against a limit."""


class Found(EngineFact):
    """A deduced finding."""


class Marks(EngineFact):
    """Two marks compared on the clock."""


TABLES = {"seen": Seen, "setting": Setting, "amount": Amount, "limit": Limit, "found": Found, "marks": Marks}


@dataclass(frozen=True)
class Firing:
    """One branch fired at one position. `supports`: for each premise, the ids of the facts it matched (none where it
    denies)."""

    branch: Branch
    position: str
    supports: tuple[tuple[str, ...], ...]


def finding_id(finding: str, position: str) -> str:
    return f"f:{finding}@{position}"


def run(branches: Iterable[Branch], facts: Iterable[Fact], seats: Iterable[tuple[str, str]]) -> tuple[Firing, ...]:
    """Fires everything that can fire and returns the firings in the order of the branches, then positions."""
    facts = tuple(facts)
    chosen = candidates(branches, facts)
    if not chosen:
        return ()
    others = dict(seats)
    recorded: dict[tuple[int, str], list[set[str]]] = {}

    def rule_of(number: int, branch: Branch) -> Rule:
        patterns = [_pattern(p, i) for i, p in enumerate(branch.premises)]
        rule = Rule(AND(Place(position=MATCH.place), *patterns), salience=len(chosen) - number)

        def fire(engine: Any, place: str, **bound: Any) -> None:
            supports = recorded.setdefault((number, place), [set() for _ in branch.premises])
            for name, fact in bound.items():
                if name.startswith("fact"):
                    supports[int(name[4:])].add(fact["id"])
            if branch.conclusion.kind == "found":
                engine.declare(
                    Found(
                        finding=branch.conclusion.name, state=branch.conclusion.state, position=place,
                        other=others[place], id=finding_id(branch.rule, place),
                    )
                )  # fmt: skip

        return rule(fire)

    body = {f"rule{i}": rule_of(i, branch) for i, branch in enumerate(chosen)}
    engine = type("CaseEngine", (KnowledgeEngine,), body)()
    engine.reset()
    for position in others:
        engine.declare(Place(position=position))
    for fact in facts:
        engine.declare(TABLES[fact.table](id=fact.id, **dict(fact.slots)))
    engine.run()
    return tuple(
        Firing(chosen[number], place, tuple(tuple(sorted(ids)) for ids in supports))
        for (number, place), supports in sorted(recorded.items())
    )


def candidates(branches: Iterable[Branch], facts: Iterable[Fact]) -> list[Branch]:
    """The branches whose every positive premise names a term that is on record or could be deduced."""
    known = {(f.table, dict(f.slots).get(_SLOT[f.table])) for f in facts}
    chosen = []
    for branch in branches:
        if all(p.negated or p.key in known for p in branch.premises):
            chosen.append(branch)
            if branch.conclusion.kind == "found":
                known.add(("found", branch.conclusion.name))
    return chosen


_SLOT = {"seen": "feature", "setting": "setting", "amount": "quantity", "limit": "quantity", "found": "finding",
         "marks": "pair"}  # fmt: skip


def _pattern(premise: Premise, number: int) -> Any:
    slots: dict[str, Any] = dict(premise.equals)
    if premise.compare:
        slots[premise.compare[0]] = P(premise.passes)
    if premise.seat in ("", "other"):
        slots["position" if premise.seat == "" else "other"] = MATCH.place
    elif premise.seat != "any":
        slots["position"] = premise.seat
    if premise.same_part:
        slots["part"] = MATCH.part
    pattern = TABLES[premise.table](**slots)
    if premise.negated:
        return NOT(pattern)
    return getattr(AS, f"fact{number}") << pattern
