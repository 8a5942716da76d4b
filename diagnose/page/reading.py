"""What the page reads out: the next looks and the answer so far, the explanation, why, what if, the report."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from diagnose.advice.plan import NOW, plan
from diagnose.judgement.diagnosis import Diagnosis
from diagnose.reading.figures import percent
from diagnose.reading.problems import BadInput, Problem, Problems, Where
from diagnose.views import explanation_data, next_steps
from diagnose.views.explanation import happened

Doc = dict[str, Any]
MOST_CAUSES, MOST_STEPS = 6, 8
DEPTH, WIDTH = 4, 72


def standing(diagnosis: Diagnosis, path: Path) -> Doc:
    """The ranking so far and the looks that tell most next, what perishes first."""
    knowledge, judgements = diagnosis.base.knowledge, diagnosis.judgements
    planned = plan(judgements, most=MOST_STEPS)
    return {
        "stage": planned.stage,
        "next": [
            {"name": s.name, "features": list(s.look.asks) if s.look else [], "part": s.part, "items": list(s.items),
             "positions": list(s.positions), "minutes": next_steps.minutes(s.minutes), "bits": round(s.bits, 2),
             "perishes": s.when == NOW, "why": next_steps.why(s, knowledge), "how": next_steps.how(s, knowledge)}
            for s in planned.steps
        ],
        "positions": [
            {"position": j.position, "happened": [f"{x.name} ({x.standing})" for x in happened(j)[:4]],
             "causes": [{"name": x.name, "standing": x.standing, "share": percent(x.probability), "probability": x.probability}
                        for x in j.causes if x.standing != "ruled out"][:MOST_CAUSES]}
            for j in judgements
        ],
    }  # fmt: skip


def explanation(diagnosis: Diagnosis, path: Path) -> Doc:
    """The whole answer with its chains, evidence, plan, actions and cautions."""
    planned = plan(diagnosis.judgements, most=MOST_STEPS)
    return explanation_data.document(diagnosis.inference, diagnosis.judgements, planned, False)


def why(diagnosis: Diagnosis, path: Path, name: str, position: str) -> Doc:
    """The proof of one cause, mechanism or finding, as it is written out. Raises BadInput where there is none of that name."""
    from diagnose.trail import why as trail
    from diagnose.trail.graph import Reasoning
    from diagnose.views.page import Page
    from diagnose.views.reasoning import why as view

    asked = Reasoning(diagnosis)
    found = trail.find(asked.graph, name, position)
    if not found:
        raise _unknown(f"there is no cause, mechanism or finding {name!r}")
    return {"text": view.why(trail.why(asked, found[0], DEPTH), path.name, Page(WIDTH, False)).text()}


def what_if(diagnosis: Diagnosis, path: Path, changes: Sequence[Sequence[str]]) -> Doc:
    """Before and after of a case with records switched. Raises BadInput where a change cannot be read."""
    from diagnose.trail.suppose import KINDS, Change
    from diagnose.trail.whatif import what_if

    if not all(len(c) == 2 and c[0] in KINDS for c in changes):
        raise _unknown("a record is switched to present or absent, or left out")
    problems = Problems()
    answer = what_if(diagnosis, [Change(kind, text) for kind, text in changes], problems)
    problems.raise_errors()
    assert answer is not None
    return answer


def report(diagnosis: Diagnosis, path: Path) -> Doc:
    """The report as it is written to a file."""
    from importlib.metadata import version

    from diagnose.trail.custody import beside
    from diagnose.trail.graph import build
    from diagnose.views.report import html
    from diagnose.views.report.content import report
    from diagnose.views.report.photos import read_photos
    from diagnose.views.report.told import Material

    inference, judgements = diagnosis.inference, diagnosis.judgements
    planned = plan(judgements, most=10)
    photos = read_photos(diagnosis.case, path)
    journal = beside(path).says
    told = report(Material(inference, judgements, build(diagnosis), planned, version("diagnose"), photos, journal))
    return {"html": html.page(told)}


def sheet(diagnosis: Diagnosis, path: Path) -> Doc:
    """The bench sheet of a case, to be filled in by hand."""
    from diagnose.advice.cautions import called_for
    from diagnose.casefile.sheet import sheet
    from diagnose.views.sheet.pages import pages

    case, knowledge = diagnosis.case, diagnosis.base.knowledge
    cautions = called_for(diagnosis.inference, [])
    return {"html": pages(sheet(case, knowledge), case, knowledge.vocabulary, cautions, "A4", False)}


def _unknown(says: str) -> BadInput:
    return BadInput([Problem(Where("page"), "call", says)])
