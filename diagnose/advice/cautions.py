"""Which cautions a case calls for."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from diagnose.inference.match import Facts, attempt, facts_of
from diagnose.inference.rules import Branch, Premise
from diagnose.inference.run import Inference
from diagnose.knowledge.model import Caution

ABOVE_ALL = "Local codes, the site's safety rules and licensed practice come first."


def called_for(inference: Inference, named: Iterable[str]) -> list[Caution]:
    """Those that rules raise, those that always stand, and of the named ones each that the record gives reason to think of."""
    cards = inference.base.knowledge.cautions
    certain = {c.name for c in cards.values() if c.always} | set(inference.cautions)
    asked, facts, branches = set(named) - certain, facts_of(inference), dict[str, list[Branch]]()
    for b in inference.base.rules.branches:
        if b.conclusion.kind == "caution" and b.rule in asked:
            branches.setdefault(b.rule, []).append(b)
    could = {n for n, found in branches.items() if any(_could_hold(found, facts, p) for p in inference.case.positions)}
    return [cards[n] for n in sorted(certain | could, key=lambda n: (n not in inference.cautions, n))]


def _could_hold(branches: Sequence[Branch], facts: Facts, position: str) -> bool:
    """Whether a way in which a caution stands is open. What takes two things is thought of where one of them is on record, and a
    mark that nobody has seen only where nothing but marks tells."""
    by_terms = any(_is_a_term(p) for b in branches for p in b.premises if not p.negated)
    for branch in branches:
        verdicts = list(zip(branch.premises, attempt(branch, facts, position).verdicts, strict=True))
        asked = [(p, v.holds) for p, v in verdicts if not p.negated]
        denied = any(v.holds is False or (v.holds is None and _is_given(p, facts, position)) for p, v in verdicts)
        known = any(holds for _, holds in asked)
        if not denied and (known or (len(asked) == 1 and (not by_terms or _is_a_term(asked[0][0])))):
            return True
    return False


def _is_a_term(premise: Premise) -> bool:
    """Whether a premise asks for what the seal and its duty are, not for a mark."""
    return premise.table in ("setting", "amount", "limit")


def _is_given(premise: Premise, facts: Facts, position: str) -> bool:
    """Whether the record gives a list of such terms, such as what the liquid is: it is taken as whole."""
    return premise.table == "setting" and any(
        row["holds"] and row["position"] == position for row in facts.get(premise.key, ())
    )
