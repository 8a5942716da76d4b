"""What the answers so far mean."""

from __future__ import annotations

from typing import TYPE_CHECKING

from diagnose.casefile.model import Case
from diagnose.reading.figures import percent

if TYPE_CHECKING:
    from diagnose.inference.run import RuleBase


def standing(case: Case, base: RuleBase) -> list[str]:
    """The ranking so far and what would tell most next, in a few lines."""
    from diagnose.advice.plan import plan
    from diagnose.judgement.diagnosis import Diagnosis
    from diagnose.views.explanation import happened
    from diagnose.views.next_steps import BIT

    judgements = Diagnosis(case, base).judgements
    lines = []
    for judgement in judgements:
        lines.append(f"So far at the {judgement.position} seal:" if len(case.positions) > 1 else "So far:")
        told = [f"{j.name} ({j.standing})" for j in happened(judgement)[:4]]
        lines.append(f"  What happened: {', '.join(told) or 'open'}. Why:")
        for judged in [j for j in judgement.causes if j.standing != "ruled out"][:4]:
            lines.append(f"  {percent(judged.probability):>11}  {judged.name} ({judged.standing})")
    steps = plan(judgements, most=3).steps[:3]
    told_next = "; ".join(f"{s.name} ({s.bits:.2f} bit, {s.minutes:g} min)" for s in steps)
    return [*lines, *([f"Next best: {told_next}.", BIT] if steps else ["Nothing that is left would tell more."])]
