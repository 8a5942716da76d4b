"""Figures that a case gives as states: the gland at 80 °C is the temperature in the chamber only where nothing better is on record."""

from __future__ import annotations

from dataclasses import replace

from diagnose.casefile.model import Case, Measured, State
from diagnose.knowledge.grammar import Slots
from diagnose.knowledge.model import Knowledge, Reading
from diagnose.reading.units import Amount, unit

RUNNING = ("", "running", "before the leak", "at the leak", "always")
"""The moments at which a reading tells how the seal ran."""


def with_figures(case: Case, knowledge: Knowledge) -> Case:
    """The case with the figures that its states give, those left out that it gives itself. The last of several counts."""
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
    last = state.readings[-1] if state.readings and state.holds else None
    if (state.point, state.variable) != (stated["at"], stated["variable"]) or last is None:
        return None
    when = state.when[-1] if state.when else ""
    if last.low is None or last.high is None or not (when in RUNNING or any(c.isdecimal() for c in when)):
        return None
    amount = Amount((last.low + last.high) / 2, (last.high - last.low) / 2, unit(reading.unit).kind, last.written)
    kind = reading.on[0] if reading.on else ""
    return Measured(state.id, reading.name, (amount,), state.position, kind=kind, where=state.where)
