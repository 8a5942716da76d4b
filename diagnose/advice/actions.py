"""What to change so that the next seal lives, and what to repair: the actions of the leading explanation."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from diagnose.casefile.walk import left_out, not_there
from diagnose.judgement.judge import Judged, Judgement
from diagnose.knowledge.explained import FIELDS
from diagnose.reading.terms import plain

LED_BY = ("established", "probable", "possible")
CHANGE, REPAIR = "change", "repair"


@dataclass(frozen=True)
class Tied:
    """The cause or mechanism at a position that an action is for, and its standing there."""

    name: str
    position: str
    standing: str


@dataclass(frozen=True)
class Advice:
    """One action. `kind`: change, of a root cause, or repair, of a mechanism; `field` is operation, installation,
    maintenance, design or material; `worked_if` what shows that it worked, one sentence for each card that says so;
    `cautions` are names; `for_what_was_found`: proposed only as something was found."""

    do: str
    kind: str
    field: str
    worked_if: tuple[str, ...]
    tied: tuple[Tied, ...]
    cautions: tuple[str, ...] = ()
    for_what_was_found: bool = False

    @property
    def names(self) -> tuple[str, ...]:
        return tuple(dict.fromkeys(t.name for t in self.tied))


def actions(judgements: Sequence[Judgement]) -> tuple[Advice, ...]:
    """What to change for every cause of the leading explanation at every position, and for what is possible beside it by a sign
    of its own: first the remedy of what was found, then from operation to material; within a field the likelier cause first.
    Then repairs: those of the mechanisms that are probable or better. What two cards say alike is said once; what the record
    contradicts, what is done on a part that is not there, and what something not even possible would ask for, is left out."""
    roots = [j for x in judgements for j in x.causes if j.name in x.explanation.causes and j.standing in LED_BY]
    roots += [j for x in judgements for j in x.also_told]
    damage = [j for x in judgements for j in x.mechanisms if j.standing in LED_BY[:2]]
    gone = {x.position: _not_there(x) for x in judgements}
    changes = _merged(CHANGE, roots, {}, gone)
    repairs = _merged(REPAIR, damage, changes, gone)
    return (*sorted(changes.values(), key=_place), *sorted(repairs.values(), key=_place))


def _place(advice: Advice) -> tuple[bool, int]:
    return not advice.for_what_was_found, FIELDS.index(advice.field)


def _not_there(at: Judgement) -> frozenset[str]:
    case, knowledge = at.inference.case, at.knowledge
    return not_there(case, knowledge, left_out(case, knowledge, at.position))


def _merged(
    kind: str, judged: Iterable[Judged], said: dict[str, Advice], gone: Mapping[str, frozenset[str]]
) -> dict[str, Advice]:
    """The actions of some cards by what they say, without those said already."""
    merged: dict[str, Advice] = {}
    for j in sorted(judged, key=lambda j: j.rank):
        tied = Tied(j.name, j.position, j.standing)
        contradicted = j.at.inference.contradicted[j.position]
        for number, action in enumerate(j.card.then):
            key = f"{action.field} {plain(action.do.rstrip('.'))}"
            if (j.name, number) in contradicted or key in said or set(action.on) & gone[j.position]:
                continue
            had = merged.get(key, Advice(action.do, kind, action.field, (), ()))
            worked = tuple(dict.fromkeys((*had.worked_if, *((action.worked_if,) if action.worked_if else ()))))
            cautions = tuple(dict.fromkeys((*had.cautions, *action.cautions)))
            found = had.for_what_was_found or (action.unless is not None and action.unless.form == "not found")
            merged[key] = Advice(had.do, kind, had.field, worked, (*had.tied, tied), cautions, found)
    return merged
