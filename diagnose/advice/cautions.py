"""Which cautions a case calls for."""

from __future__ import annotations

from collections.abc import Iterable

from diagnose.inference.match import Facts, attempt, facts_of
from diagnose.inference.rules import Branch
from diagnose.inference.run import Inference
from diagnose.knowledge.model import Caution

ABOVE_ALL = "Local codes, the site's safety rules and licensed practice come first."


def called_for(inference: Inference, named: Iterable[str]) -> list[Caution]:
    """Those that rules raise, those that always stand, and of the named ones each whose condition could hold."""
    cards = inference.base.knowledge.cautions
    certain = {c.name for c in cards.values() if c.always} | set(inference.cautions)
    asked, facts = set(named) - certain, facts_of(inference)
    could = {
        b.rule
        for b in inference.base.rules.branches
        if b.conclusion.kind == "caution" and b.rule in asked
        if not all(_denied(b, facts, p) for p in inference.case.positions)
    }
    return [cards[n] for n in sorted(certain | could, key=lambda n: (n not in inference.cautions, n))]


def _denied(branch: Branch, facts: Facts, position: str) -> bool:
    """Whether the record says otherwise. A list of terms that a case gives, such as what the liquid is, is taken as whole."""
    for premise, verdict in zip(branch.premises, attempt(branch, facts, position).verdicts, strict=True):
        given = premise.table == "setting" and any(
            row["holds"] and row["position"] == position for row in facts.get(premise.key, ())
        )
        if verdict.holds is False or (verdict.holds is None and given):
            return True
    return False
