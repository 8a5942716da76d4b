"""What leads at a seal position, and what is said where no cause can be named."""

from __future__ import annotations

from diagnose.inference.run import Inference
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


def shared(j: Judged, several: bool) -> str:
    """That a cause is the machine's, where there are two seals that could have it."""
    if not several or j.weighed.knowledge.causes[j.cause].scope != "machine":
        return ""
    best = f"; the {j.told_at} seal shows it best" if j.told_at != j.position else ""
    return f"One verdict for both seals{best}."


def undamaged(inference: Inference, x: Judgement) -> str:
    """That a seal was looked at and nothing on record is hurt, so that what is said of it rests on the machine."""
    case, features = inference.case, inference.base.knowledge.vocabulary.features
    seen = [o for o in case.observations if o.position == x.position and o.state in ("present", "absent")]
    marks = any(o.state == "present" and not features[o.feature].sound for o in seen)
    measured = {m.id for m in case.measured if m.position == x.position}
    present = (f for f, d in inference.findings[x.position].items() if d.state == "present")
    if not seen or marks or any(measured & inference.leaves_of_finding(f, x.position) for f in present):
        return ""
    rests = " What is said of it rests on the rest of the machine." if leaders(x) else ""
    return f"No damage to this seal is on record.{rests}"
