"""What a library keeps of a case: one `Seal` for each seal position, plain enough to be stored, sent and exported."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from diagnose.casefile.format import FAILED, SOUND
from diagnose.casefile.model import Case, Outcome

if TYPE_CHECKING:
    from diagnose.judgement.judge import Judgement

LEAST_CHANCE = 0.01
"""Root causes and mechanisms less likely than this are not kept."""
HOUR = 3600.0


@dataclass(frozen=True)
class Verdict:
    """What the tool said of one cause or mechanism (`kind`), in the order of their ranks."""

    kind: str
    name: str
    standing: str
    probability: float


@dataclass(frozen=True)
class Confirmed:
    """One outcome on record: what was confirmed, by whom, how, on which day, what was changed."""

    roots: tuple[str, ...]
    mechanisms: tuple[str, ...]
    none_of_these: bool
    by: str
    how: str
    day: str
    changed: tuple[str, ...]


@dataclass(frozen=True)
class Seal:
    """One seal of one case. `tag`: its machine; `batch`: of which its rings were made; `fitted`, `removed`: dates as ISO 8601 writes them, "" where not on record; `removal`: failed,
    sound or still running; `hours`: run, None where not on record; `cost` and `hours_lost` of the whole case; `findings`:
    whether present; `outcomes` in the order of their days, the last one counts."""

    case: str
    position: str
    tag: str
    batch: str
    fitted: str
    removed: str
    removal: str
    hours: float | None
    cost: float | None
    hours_lost: float | None
    none_of_these: float
    settings: tuple[tuple[str, str], ...]
    findings: tuple[tuple[str, bool], ...]
    verdicts: tuple[Verdict, ...]
    outcomes: tuple[Confirmed, ...]

    def leading(self, kind: str) -> Verdict | None:
        return next((v for v in self.verdicts if v.kind == kind), None)

    @property
    def confirmed(self) -> Confirmed | None:
        return self.outcomes[-1] if self.outcomes else None


def seals(case: Case, judgements: Sequence[Judgement]) -> tuple[Seal, ...]:
    """The seals of a judged case, in the order of their positions."""
    return tuple(_seal(case, j) for j in judgements)


def _seal(case: Case, judgement: Judgement) -> Seal:
    at = judgement.position
    settings = sorted({(s.setting, s.term) for s in case.settings if s.holds and s.position in ("", at)})
    texts = case.texts
    verdicts = [
        Verdict(j.kind, j.name, j.standing, round(j.probability, 6))
        for level in (judgement.causes, judgement.mechanisms)
        for j in level
        if j.probability >= LEAST_CHANCE or j is level[0]
    ]
    outcomes = _outcomes(case, at)
    removal = texts.get("history.removal") or FAILED
    if removal == FAILED and case.outcomes and not outcomes:
        # it came out with the other seal of a pair, of which something was confirmed
        removal = SOUND
    return Seal(
        case.name, at, texts.get("equipment.tag", ""), texts.get("seal.batch", ""), texts.get("history.fitted", ""),
        texts.get("history.removed", ""), removal, _hours(case, "running hours"), _figure(case, "cost"),
        _hours(case, "hours lost"), round(judgement.none_of_these, 6), tuple(settings),
        tuple(sorted(judgement.states.items())), tuple(verdicts), outcomes,
    )  # fmt: skip


def _figure(case: Case, name: str) -> float | None:
    return next((m.readings[0].value for m in case.measured if m.what == name), None)


def _hours(case: Case, name: str) -> float | None:
    seconds = _figure(case, name)
    return None if seconds is None else round(seconds / HOUR, 6)


def _outcomes(case: Case, position: str) -> tuple[Confirmed, ...]:
    here: list[Outcome] = [o for o in case.outcomes if o.position in ("", position)]
    return tuple(
        Confirmed(o.roots, o.mechanisms, o.none_of_these, o.by, o.how, o.when, o.changed)
        for o in sorted(here, key=lambda o: o.when)
    )


def day(text: str) -> date | None:
    """The first day that a date on record may mean; None for "" and for what is no date."""
    try:
        return date.fromisoformat(text[:10] + "-01-01"[len(text[:10]) - 4 :]) if text else None
    except ValueError:
        return None
