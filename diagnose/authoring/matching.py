"""One rule against one case, condition by condition: true, false or unknown, and on which record."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from diagnose.casefile.wording import describe, describe_reading, describe_statements
from diagnose.inference.match import Facts, attempt, evaluate, facts_of
from diagnose.inference.rules import Alternatives, Branch, Conclusion, expand
from diagnose.inference.run import Inference
from diagnose.knowledge.conditions import LEAVES
from diagnose.knowledge.model import NOWHERE, Caution, Condition, Explained, Finding, Knowledge
from diagnose.knowledge.wording import HEADS, phrase

TRUTHS = {True: "true", False: "false", None: "unknown"}


@dataclass(frozen=True)
class Match:
    """A condition held against a case: its truth, the ids of the facts that decide it, what keeps it from being known where
    records are there, and what is inside it."""

    condition: Condition
    truth: bool | None
    facts: tuple[str, ...] = ()
    lack: str = ""
    inside: tuple[Match, ...] = ()

    def leaves(self) -> Iterable[Match]:
        if not self.inside:
            yield self
        for m in self.inside:
            yield from m.leaves()


class Matcher:
    """Holds conditions of one rule base against facts; what a condition expands to is worked out once."""

    def __init__(self, knowledge: Knowledge):
        self.knowledge = knowledge
        self._expanded: dict[Condition, Alternatives] = {}

    def expanded(self, c: Condition) -> Alternatives:
        if c not in self._expanded:
            self._expanded[c] = expand(c, self.knowledge)
        return self._expanded[c]

    def match(self, c: Condition, facts: Facts, position: str) -> Match:
        if c.form in LEAVES:
            return self._leaf(c, facts, position)
        inside = tuple(self.match(p, facts, position) for p in c.parts)
        truths = [m.truth for m in inside]
        if c.form == "none":
            return Match(c, True not in truths, inside=inside)
        needed = {"all": len(truths), "any": 1}.get(c.form, c.count)
        return Match(c, _at_least(truths, needed), inside=inside)

    def _leaf(self, c: Condition, facts: Facts, position: str) -> Match:
        truths, ids, lacking = [], [], []
        for premises in self.expanded(c):
            verdicts = [evaluate(p, facts, position) for p in premises]
            truths.append(_at_least([v.holds for v in verdicts], len(verdicts)))
            ids.append(tuple(sorted({id for v in verdicts if v.holds is truths[-1] for id in v.ids})))
            lacking += [v.lack for v in verdicts if v.lack]
        truth = _at_least(truths, 1)
        facts_ = next((i for t, i in zip(truths, ids, strict=True) if t is truth and i), ())
        return Match(c, truth, facts_, "; ".join(dict.fromkeys(lacking)) if truth is None else "")

    def holds(self, c: Condition | None, facts: Facts, position: str) -> bool:
        """Whether any alternative of a whole condition holds, parts tied together as the engine ties them."""
        return c is not None and any(
            attempt(Branch("", "", 0, premises, Conclusion("found", ""), NOWHERE), facts, position).fires
            for premises in self.expanded(c)
        )


def _at_least(truths: list[bool | None], needed: int) -> bool | None:
    if truths.count(True) >= needed:
        return True
    return False if truths.count(True) + truths.count(None) < needed else None


def records(inference: Inference, fact_ids: Iterable[str]) -> list[str]:
    """The recorded observations, readings and settings under facts, a line each; findings taken as given too."""
    case, readings = inference.case, inference.base.knowledge.vocabulary.readings
    ids = {leaf for id in fact_ids for leaf in inference.leaves(id)}
    lines = [describe(o, case) for o in case.observations if o.id in ids]
    lines += [describe_reading(x, readings[x.what].unit) for x in case.measured if x.id in ids]
    lines += [f"{s.setting}: {'' if s.holds else 'not '}{s.term}" for s in case.settings if s.id in ids]
    lines += describe_statements(case, ids)
    lines += [f"{q.name} {q.inputs[0][1]}" for q in inference.quantities if q.id in ids and q.inputs]
    lines += [f"given: {id[2:].rpartition('@')[0]}" for id in sorted(ids) if id.startswith("f:")]
    return lines


def explain_miss(inference: Inference, finding: str, state: str, position: str) -> Iterable[str]:
    """For each condition under a finding's rule: its truth and the record that decides it."""
    card = inference.base.knowledge.findings[finding]
    condition = card.when if state == "present" else card.absent_when
    if condition is None:
        yield "no rule says that it is absent"
        return
    match = Matcher(inference.base.knowledge).match(condition, facts_of(inference), position)
    for leaf in match.leaves():
        on = "; ".join(records(inference, leaf.facts))
        yield f"{TRUTHS[leaf.truth]}: {phrase(leaf.condition)}" + (f" [{on}]" if on else "")


def conditions_of(card: Finding | Explained | Caution) -> dict[str, Condition]:
    """The conditions of a card by what follows where they hold."""
    named: dict[str, Condition | None] = {}
    if isinstance(card, Finding):
        named = {"present": card.when, "absent": card.absent_when}
    elif isinstance(card, Caution):
        named = {"raised": card.when}
    else:
        named = {f"possible ({n.because})": n.condition for n in card.needs}
        named |= {f"common {p.common}: {phrase(p.when)}": p.when for p in getattr(card, "common_when", ())}
    return {what: c for what, c in named.items() if c is not None}


def match_rule(inference: Inference, name: str, conditions: Mapping[str, Condition | None]) -> list[dict[str, Any]]:
    """Every condition of one rule at every position, as plain data for the view; `conditions` by what they conclude."""
    matcher, facts = Matcher(inference.base.knowledge), facts_of(inference)

    def rows(m: Match, depth: int) -> Iterable[dict[str, Any]]:
        c = m.condition
        says = HEADS[c.form].format(c.count) if c.form in HEADS else phrase(c)
        where = f"{c.where.file}:{c.where.line}"
        yield {
            "depth": depth,
            "truth": TRUTHS[m.truth],
            "says": says,
            "where": where,
            "on": records(inference, m.facts),
        } | ({"lack": m.lack} if m.lack else {})
        for inner in m.inside:
            yield from rows(inner, depth + 1)

    return [
        {"rule": name, "position": position, "concludes": concludes, "holds": matcher.holds(c, facts, position),
         "conditions": list(rows(matcher.match(c, facts, position), 0))}
        for position in inference.case.positions for concludes, c in conditions.items() if c is not None
    ]  # fmt: skip
