"""Every quantity that a case's readings allow."""

from __future__ import annotations

from diagnose.casefile.model import Case
from diagnose.knowledge.model import Knowledge
from diagnose.quantities import drive, faces, leakage, machine, orings, service, springs, wear
from diagnose.quantities.bench import Bench
from diagnose.quantities.model import Quantity

_SUBJECTS = (drive, faces, leakage, machine, orings, service, springs, wear)


def compute(case: Case, knowledge: Knowledge) -> tuple[Quantity, ...]:
    """The quantities of a case in one canonical order, whatever the order of its records.

    Only subjects with a reading on record are called, and only quantities that the vocabulary names are kept. One that
    lacks an input, or whose readings cannot tell, is there with its problem.
    """
    if not case.measured:
        return ()
    bench = Bench(case, knowledge)
    named = knowledge.vocabulary.quantities
    computed = (q for subject in _SUBJECTS if bench.has(*subject.READS) for q in subject.compute(bench))
    found = {q.id: q for q in computed if q.name in named}
    return tuple(sorted(found.values(), key=lambda q: (q.name, q.position, q.part, q.kind, q.id)))

