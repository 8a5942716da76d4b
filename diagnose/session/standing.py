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
    from diagnose.inference.run import infer
    from diagnose.judgement.judge import judge
    from diagnose.judgement.network import build

    net = build(base.knowledge)
    inference = infer(case, base)
    judgements = judge(inference, net)
    lines = []
    for judgement in judgements:
        lines.append(f"So far at the {judgement.position} seal:" if len(case.positions) > 1 else "So far:")
        for judged in judgement.causes[:5]:
            if judged.standing != "ruled out":
                lines.append(f"  {percent(judged.probability):>11}  {judged.cause} ({judged.standing})")
    steps = plan(judgements, most=3).steps[:3]
    told = "; ".join(f"{s.name} ({s.bits:.2f} bit, {s.minutes:g} min)" for s in steps)
    return [*lines, f"Next best: {told}" if steps else "Nothing that is left would tell more."]
