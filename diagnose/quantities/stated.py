"""Figures that a case gives as states: the gland at 80 °C is the temperature in the chamber only where nothing better is on record."""

from __future__ import annotations

from diagnose.casefile.model import Case, Measured, State
from diagnose.knowledge.grammar import Slots
from diagnose.knowledge.model import Knowledge, Reading
from diagnose.reading.entry import replace
from diagnose.reading.units import Amount, unit

RUNNING = ("", "running", "hot", "before the leak", "at the leak", "always")
"""The moments at which a reading tells how the seal ran."""


def with_figures(case: Case, knowledge: Knowledge) -> Case:
    """The case with the figures that its states give, those left out that it gives itself. The last of several counts, or the
    highest where the reading says so."""
    known = {m.what for m in case.measured}
    lacking = [r for r in knowledge.vocabulary.readings.values() if r.name not in known]
    stated = [m for reading in lacking for m in _figures(case, reading)]
    return replace(case, measured=(*case.measured, *stated)) if stated else case


def _figures(case: Case, reading: Reading) -> list[Measured]:
    """The figures from the first of the points at which the reading is stated."""
    for slots in reading.stated:
        if found := [m for s in case.states if (m := _figure(s, reading, slots))]:
            return found
    return []


def _figure(state: State, reading: Reading, stated: Slots) -> Measured | None:
    """A state's reading as the figure, where it is one."""
    if (state.point, state.variable) != (stated["at"], stated["variable"]) or not (state.readings and state.holds):
        return None
    at = [i for i, s in enumerate(state.readings) if s.low is not None and s.high is not None]
    which = max(at, key=lambda i: state.readings[i].high or 0.0) if reading.highest and at else len(state.readings) - 1
    span, when = state.readings[which], state.when[min(which, len(state.when) - 1)] if state.when else ""
    if span.low is None or span.high is None or not (when in RUNNING or any(c.isdecimal() for c in when)):
        return None
    amount = Amount((span.low + span.high) / 2, (span.high - span.low) / 2, unit(reading.unit).kind, span.written)
    kind = reading.on[0] if reading.on else ""
    return Measured(state.id, reading.name, (amount,), state.position, kind=kind, where=state.where)
