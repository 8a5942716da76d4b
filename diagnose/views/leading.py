"""What leads at a seal position, and what is said where no cause can be named."""

from __future__ import annotations

from collections.abc import Sequence

from diagnose.inference.run import Inference
from diagnose.judgement.chains import SURE_ENOUGH, leaders, unexplained
from diagnose.judgement.judge import Judged, Judgement
from diagnose.judgement.sound import amiss, nothing_amiss, taken_out_sound
from diagnose.reading.figures import listed, percent

MOST_AMISS = 4
OPEN_FROM = 0.5
"""Share of its probability that a mechanism has without any cause, from which why it is there is said to be open."""


def of_their_own(best: Sequence[Judged]) -> list[Judged]:
    """Those of the leading causes for which something speaks that does not speak for a likelier one as well."""
    own: list[Judged] = []
    for j in best:
        if not own or set(j.lines_for).difference(*(o.lines_for for o in own)):
            own.append(j)
    return own


def told_before(x: Judgement, earlier: Sequence[Judgement]) -> tuple[str, list[Judged]]:
    """The earlier seal whose leading causes are just those of this one, by one verdict for both, and these causes."""
    best = leaders(x)
    for other in earlier:
        if (
            best
            and {j.name for j in best} == {j.name for j in leaders(other)}
            and all(j.card.scope == "machine" for j in best)
        ):
            return other.position, best
    return "", []


def not_named(x: Judgement) -> str:
    """Where no cause leads. A cause counts in every explanation that it is part of, so it can stand above the likeliest
    explanation."""
    best = max((j.probability for j in x.causes if j.standing != "ruled out"), default=0.0)
    if not x.explanation.causes and x.none_of_these >= best:
        return f"No cause of this rule base is better supported than none of them ({percent(x.none_of_these)})."
    alone = " with ".join(x.explanation.causes) or "none of these causes"
    return (
        f"No cause stands out on this record. The likeliest single explanation is {alone}, with {percent(x.explanation.probability)}; "
        "the figure of a cause counts every explanation that it is part of."
    )


def unaccounted(x: Judgement) -> tuple[Judged, ...]:
    """Mechanisms probable or better of which no cause of this rule base is likely to be the reason."""
    sure = [j for j in x.mechanisms if j.standing in SURE_ENOUGH]
    return tuple(j for j in sure if unexplained(x, j.name) >= OPEN_FROM)


def why_is_open(x: Judgement) -> str:
    """That something happened for which this rule base has no reason; empty where there is none such."""
    names = [j.name for j in unaccounted(x)]
    return f"Why {listed(names)} came about is not in this rule base." if names else ""


def shared(j: Judged, several: bool) -> str:
    """That a cause is the machine's, where there are two seals that could have it."""
    if not several or j.card.scope != "machine":
        return ""
    best = f"; the {j.told_at} seal shows it best" if j.told_at != j.position else ""
    return f"One verdict for both seals{best}."


def not_looked_at(inference: Inference, x: Judgement) -> str:
    """That of two seals nothing on record is about this one."""
    case = inference.case
    about = [o for o in case.observations if o.position == x.position and o.looked_for]
    if len(case.positions) < 2 or about or any(m.position == x.position for m in case.measured):
        return ""
    return f"The {x.position} seal was not looked at: nothing on record is about it."


def nothing_to_explain(inference: Inference, x: Judgement) -> str:
    """That there is no cause to find: the seal was taken out sound, or nothing was looked at, asked or measured yet."""
    case, words = inference.case, inference.base.knowledge.vocabulary.readings
    seen = any(o.looked_for for o in case.observations)
    place = f"{x.position} " if len(case.positions) > 1 else ""
    if not nothing_amiss(x):
        return ""
    if taken_out_sound(x):
        return f"The {place}seal was taken out sound: nothing failed, so there is no cause to find."
    if seen or case.states or case.acts or any(not words[m.what].section for m in case.measured):
        return ""
    return f"Nothing was looked at, asked or measured yet, so nothing can be said of why the {place}seal failed."


def sound_but(x: Judgement) -> str:
    """That a seal on record as taken out sound has something on record that a sound one has not."""
    told = amiss(x) if taken_out_sound(x) else []
    more = f"; and {len(told) - MOST_AMISS} more" if len(told) > MOST_AMISS else ""
    return f"Recorded as taken out sound, but on record as well: {'; '.join(told[:MOST_AMISS])}{more}." if told else ""


def undamaged(inference: Inference, x: Judgement) -> str:
    """That a seal was looked at and nothing on record is hurt, so that what is said of it rests on the machine."""
    case, features = inference.case, inference.base.knowledge.vocabulary.features
    seen = [o for o in case.observations if o.position == x.position and o.looked_for]
    marks = any(o.state == "present" and not features[o.feature].sound for o in seen)
    measured = {m.id for m in case.measured if m.position == x.position}
    present = (f for f, d in inference.findings[x.position].items() if d.state == "present")
    if not seen or marks or any(measured & inference.leaves_of_finding(f, x.position) for f in present):
        return ""
    rests = " What is said of it rests on the rest of the machine." if leaders(x) else ""
    return f"No damage to this seal is on record.{rests}"
