"""Whether the record bears out that a seal was taken out sound, and what on it speaks against that."""

from __future__ import annotations

from diagnose.casefile.format import SOUND
from diagnose.casefile.model import Observation
from diagnose.judgement.chains import NAMED, leaders
from diagnose.judgement.judge import Judgement


def taken_out_sound(x: Judgement) -> bool:
    return x.inference.case.texts.get("history.removal") == SOUND


def damage(x: Judgement) -> list[Observation]:
    """What was seen, of this seal or of anything, that a part that did its job does not show."""
    features = x.inference.base.knowledge.vocabulary.features
    seen = (o for o in x.inference.case.observations if o.state == "present" and o.kind != "history")
    return [o for o in seen if not features[o.feature].sound]


def nothing_amiss(x: Judgement) -> bool:
    return not leaders(x) and not damage(x) and not amiss(x)


def nothing_failed(x: Judgement) -> bool:
    """Whether a seal was taken out sound, was looked at, and nothing on record is amiss."""
    looked = any(o.looked_for for o in x.inference.case.observations)
    return looked and taken_out_sound(x) and nothing_amiss(x)


def amiss(x: Judgement) -> list[str]:
    """What a sound seal has not on record: its marks of damage, and what was measured on it and speaks for a cause or mechanism
    that is possible."""
    marks = [o.feature for o in damage(x) if o.position == x.position]
    measured = {m.id for m in x.inference.case.measured if m.position == x.position and m.part}
    leading = [*leaders(x), *(j for j in x.mechanisms if j.standing in NAMED)]
    shown = [e.finding for j in leading for e in j.evidence if e.state == "present" and e.weight > 0]
    rest = [f for f in shown if measured & x.inference.leaves_of_finding(f, x.position)]
    return list(dict.fromkeys([*marks, *rest]))
