"""Which conditions of the rules were true, and which known false, in the tests and scenarios.

Every condition of a rule counts twice: once for being true and once for being known false. A condition nobody looked
for is unknown, which exercises neither.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from diagnose.authoring.matching import Match, Matcher
from diagnose.inference.match import facts_of
from diagnose.inference.run import Inference
from diagnose.knowledge.conditions import LEAVES, negate
from diagnose.knowledge.model import Condition, Knowledge
from diagnose.knowledge.wording import phrase


@dataclass(frozen=True)
class Rule:
    """A condition tree of one card. `part` says which: when, absent when, needs, common when."""

    kind: str
    name: str
    part: str
    condition: Condition


def rules_of(knowledge: Knowledge) -> list[Rule]:
    """Every condition tree that an author wrote, in file order."""
    rules = []
    for f in knowledge.findings.values():
        rules += [Rule("finding", f.name, "when", f.when)] if f.when else []
        if f.absent_when and f.absent_when != (negate(f.when) if f.when else None):
            rules.append(Rule("finding", f.name, "absent when", f.absent_when))
    for m in knowledge.mechanisms.values():
        rules += [Rule("mechanism", m.name, "needs", n.condition) for n in m.needs]
    for c in knowledge.causes.values():
        rules += [Rule("cause", c.name, "needs", n.condition) for n in c.needs]
        rules += [Rule("cause", c.name, "common when", p.when) for p in c.common_when]
    rules += [Rule("caution", c.name, "when", c.when) for c in knowledge.cautions.values() if c.when]
    return rules


def leaves_of(c: Condition) -> list[Condition]:
    """The conditions at the ends of a tree; the marks inside a comparison are not counted alone."""
    if c.form in LEAVES:
        return [c]
    return [leaf for part in c.parts for leaf in leaves_of(part)]


class Coverage:
    """Collects the truth of every leaf over inferences; each must be of the same rule base."""

    def __init__(self, knowledge: Knowledge):
        self.rules = rules_of(knowledge)
        self.matcher = Matcher(knowledge)
        self.seen: dict[tuple[int, int], set[bool]] = {}
        self.by_key: dict[tuple[str, Any], list[int]] = {}
        self.always: set[int] = set()
        for i, rule in enumerate(self.rules):
            for leaf in leaves_of(rule.condition):
                for premises in self.matcher.expanded(leaf):
                    for p in premises:
                        self.by_key.setdefault(p.key, []).append(i)

    def add(self, inference: Inference) -> None:
        facts = facts_of(inference)
        touched = sorted({i for key in facts for i in self.by_key.get(key, ())})
        for position in inference.case.positions:
            for i in touched:
                match = self.matcher.match(self.rules[i].condition, facts, position)
                for k, leaf in enumerate(_ends(match)):
                    if leaf.truth is not None:
                        self.seen.setdefault((i, k), set()).add(leaf.truth)

    def document(self) -> dict[str, Any]:
        """Totals and every condition with what it was, rule by rule."""
        rules, covered, total = [], 0, 0
        for i, rule in enumerate(self.rules):
            rows: list[dict[str, Any]] = []
            for k, leaf in enumerate(leaves_of(rule.condition)):
                seen = self.seen.get((i, k), set())
                rows.append(
                    {"condition": phrase(leaf), "where": str(leaf.where), "true": True in seen, "false": False in seen}
                )
            ways = sum(r["true"] + r["false"] for r in rows)
            covered, total = covered + ways, total + 2 * len(rows)
            rules.append({"kind": rule.kind, "rule": rule.name, "part": rule.part, "where": str(rule.condition.where),
                          "covered": ways, "ways": 2 * len(rows), "conditions": rows})  # fmt: skip
        return {
            "rules": len(rules),
            "rules_fully_covered": sum(r["covered"] == r["ways"] for r in rules),
            "conditions": total // 2,
            "ways": total,
            "covered": covered,
            "percent": covered * 1000 // total / 10 if total else 100.0,
            "by_rule": rules,
        }


def _ends(match: Match) -> Iterable[Match]:
    if match.condition.form in LEAVES:
        return [match]
    return [end for inner in match.inside for end in _ends(inner)]


def enough(result: Mapping[str, Any], percent: float) -> bool:
    """Whether the share reaches a percentage; compared without rounding, so that one open way fails 100."""
    return bool(result["covered"] * 100 >= percent * result["ways"])
