"""The same rules run by plain experta, with its own Rete matcher, agenda order and rules as class attributes."""

from __future__ import annotations

from typing import Any

from diagnose.inference.engine import TABLES, Firing, Found, Place, _pattern, finding_id
from diagnose.inference.experta_shim import AND, MATCH, KnowledgeEngine, Rule
from diagnose.inference.facts import Fact
from diagnose.inference.rules import Branch


def build(branches: list[Branch], recorded: dict, others: dict[str, str]) -> Any:
    def rule_of(number: int, branch: Branch) -> Rule:
        patterns = [_pattern(p, i) for i, p in enumerate(branch.premises)]
        rule = Rule(AND(Place(position=MATCH.place), *patterns), salience=len(branches) - number)
        c = branch.conclusion

        def fire(engine: Any, place: str, **bound: Any) -> None:
            supports = recorded.setdefault((number, place), [set() for _ in branch.premises])
            for name, fact in bound.items():
                if name.startswith("fact"):
                    supports[int(name[4:])].add(fact["id"])
            if c.kind == "found":
                id = finding_id(c.name, place)
                engine.declare(Found(finding=c.name, state=c.state, position=place, other=others[place], id=id))

        return rule(fire)

    return type("Stock", (KnowledgeEngine,), {f"r{i}": rule_of(i, b) for i, b in enumerate(branches)})()


def run(branches: list[Branch], facts: list[Fact], positions: list[tuple[str, str]]) -> tuple[Firing, ...]:
    recorded: dict[tuple[int, str], list[set[str]]] = {}
    others = dict(positions)
    engine = build(branches, recorded, others)
    engine.reset()
    for position in others:
        engine.declare(Place(position=position))
    for fact in facts:
        engine.declare(TABLES[fact.table](id=fact.id, **dict(fact.slots)))
    engine.run()
    return tuple(
        Firing(branches[i], place, tuple(tuple(sorted(ids)) for ids in supports))
        for (i, place), supports in sorted(recorded.items())
    )
