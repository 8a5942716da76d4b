"""Every quantity that a case's readings allow."""

from __future__ import annotations

import math

from diagnose.casefile.model import Case, Measured
from diagnose.knowledge.model import Knowledge
from diagnose.quantities import drive, faces, leakage, machine, orings, service, simple, springs, wear
from diagnose.quantities.bench import Bench
from diagnose.quantities.model import Quantity
from diagnose.quantities.stated import with_figures
from diagnose.reading.entry import replace

_SUBJECTS = (drive, faces, leakage, machine, orings, service, springs, wear)


def compute(case: Case, knowledge: Knowledge) -> tuple[Quantity, ...]:
    """The quantities of a case in one canonical order, whatever the order of its records.

    Only quantities that the vocabulary names are kept. One that lacks an input, or whose readings cannot tell, is there
    with its problem. Where a pressure is written without g or a
    everything is computed twice, as absolute and as gauge; what differs spans both.
    """
    case = with_figures(case, knowledge)
    found = _computed(case, knowledge)
    bare = {m.id: m for m in case.measured if _without_datum(m, knowledge)}
    if bare:
        gauge = replace(case, measured=tuple(_as_gauge(m) if m.id in bare else m for m in case.measured))
        other = {_about(q): q for q in _computed(gauge, knowledge).values() if q.id not in found}
        found = {id: _spanned(q, other.get(_about(q)), _bare_below(q, found, bare)) for id, q in found.items()}
    return tuple(sorted(found.values(), key=lambda q: (q.name, q.position, q.part, q.kind, q.id)))


def _computed(case: Case, knowledge: Knowledge) -> dict[str, Quantity]:
    if not case.measured:
        return {}
    bench = Bench(case, knowledge)
    named = knowledge.vocabulary.quantities
    computed = (q for subject in _SUBJECTS for q in subject.compute(bench))
    found = {q.id: q for q in computed if q.name in named}
    given = {q.name for q in found.values()}
    return found | {q.id: q for q in simple.compute(bench) if q.name not in given}


def _without_datum(measured: Measured, knowledge: Knowledge) -> bool:
    reading = knowledge.vocabulary.readings.get(measured.what)
    return not (reading and reading.absolute) and any(r.without_datum for r in measured.readings)


def _as_gauge(measured: Measured) -> Measured:
    return replace(measured, readings=tuple(r.as_gauge() if r.without_datum else r for r in measured.readings))


def _about(q: Quantity) -> tuple[str, ...]:
    return q.name, q.position, q.part, q.kind, q.group


def _bare_below(q: Quantity, found: dict[str, Quantity], bare: dict[str, Measured]) -> str:
    """The pressures without g or a that a quantity rests on, as written."""
    told: dict[str, None] = {}
    left = [q]
    while left:
        for name, text, id in left.pop().inputs:
            told |= {f"{name} {text}": None} if id in bare else {}
            left += [found[id]] if id in found else []
    return ", ".join(told)


def _spanned(q: Quantity, gauge: Quantity | None, bare: str) -> Quantity:
    """The quantity read as absolute with the ends it has either way; where it holds only as gauge, that."""
    if gauge is None or not bare or gauge.value is None:
        return q
    notes = (*q.notes, f"{bare}: written without g (gauge) or a (absolute), so the ends are those of both readings")
    if q.value is None:
        return replace(gauge, id=q.id, inputs=q.inputs, notes=(*q.notes, f"{bare}: holds only as gauge, {q.problem}"))
    either = (q.low, q.high), (gauge.low, gauge.high)
    if all(math.isclose(a, b, rel_tol=1e-9) for a, b in zip(*either, strict=True)):
        return q
    return replace(q, low=min(q.low, gauge.low), high=max(q.high, gauge.high), notes=notes, datum=bare, either=either)
