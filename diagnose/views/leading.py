"""What leads at a seal position, and what is said where no cause can be named."""

from __future__ import annotations

from diagnose.judgement.judge import STANDINGS, Judged, Judgement
from diagnose.reading.figures import percent

NAMED = STANDINGS[: STANDINGS.index("possible") + 1]


def leaders(x: Judgement) -> list[Judged]:
    """The causes of the likeliest explanation that are possible or better, most probable first."""
    return [j for j in x.causes if j.cause in x.explanation.causes and j.standing in NAMED]


def not_named(x: Judgement) -> str:
    """Where nothing leads. A cause counts in every explanation that it is part of, so it can stand above the likeliest
    explanation."""
    best = max((j.probability for j in x.causes if j.standing != "ruled out"), default=0.0)
    if not x.explanation.causes and x.none_of_these >= best:
        return f"No cause of this rule base is better supported than none of them ({percent(x.none_of_these)})."
    alone = " with ".join(x.explanation.causes) or "none of these causes"
    return (
        f"No cause stands out on this record. The likeliest single explanation is {alone}, with {percent(x.explanation.probability)}; "
        "the figure of a cause counts every explanation that it is part of."
    )
