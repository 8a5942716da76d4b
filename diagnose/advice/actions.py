"""What to change so that the next seal lives: the corrective actions of the leading explanation."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from diagnose.judgement.judge import Judgement
from diagnose.knowledge.model import Knowledge
from diagnose.knowledge.reader import FIELDS
from diagnose.reading.terms import plain

LED_BY = ("established", "probable", "possible")


@dataclass(frozen=True)
class Tied:
    """The cause at a position that an action is for, and its standing there."""

    cause: str
    position: str
    standing: str


@dataclass(frozen=True)
class Advice:
    """One action. `field` is operation, installation, maintenance, design or material; `worked_if` what shows that it
    worked, one sentence for each of its causes that says so; `cautions` are names."""

    do: str
    field: str
    worked_if: tuple[str, ...]
    tied: tuple[Tied, ...]
    cautions: tuple[str, ...] = ()

    @property
    def causes(self) -> tuple[str, ...]:
        return tuple(dict.fromkeys(t.cause for t in self.tied))


def actions(judgements: Sequence[Judgement], knowledge: Knowledge) -> tuple[Advice, ...]:
    """Actions for every cause of the leading explanation at every position, from operation to material; within a field
    the likelier cause first. What two cards say alike is said once. A cause that is not even possible asks for nothing."""
    merged: dict[tuple[str, str], Advice] = {}
    leading = [
        j for x in judgements for j in x.causes if j.cause in x.explanation.causes and j.standing in LED_BY
    ]  # fmt: skip
    for judged in sorted(leading, key=lambda j: j.rank):
        tied = Tied(judged.cause, judged.position, judged.standing)
        for action in knowledge.causes[judged.cause].then:
            key = (action.field, plain(action.do.rstrip(".")))
            had = merged.get(key, Advice(action.do, action.field, (), ()))
            worked = tuple(dict.fromkeys((*had.worked_if, *((action.worked_if,) if action.worked_if else ()))))
            cautions = tuple(dict.fromkeys((*had.cautions, *action.cautions)))
            merged[key] = Advice(had.do, had.field, worked, (*had.tied, tied), cautions)
    return tuple(sorted(merged.values(), key=lambda a: FIELDS.index(a.field)))
