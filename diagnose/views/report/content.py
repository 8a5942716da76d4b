"""The whole report as blocks, in the order in which it is read: the answer first, then what carries it, then the record; what only an
audit asks for stands in the appendix."""

from __future__ import annotations

from diagnose.views.report import bench, closing, findings, outcome, summary
from diagnose.views.report.blocks import Report, Section
from diagnose.views.report.pictures import Pictures
from diagnose.views.report.told import Material, Told


def report(material: Material) -> Report:
    t = Told(material)
    drawn = Pictures(t)
    parts = [
        Section("outcome", "Conclusion and outcome", outcome.outcome(t)),
        Section("findings", "Findings for and against", findings.findings(t)),
        Section("changes", "What to change", closing.changes(t)),
        Section("gaps", "Not looked at, lost, and what to do next", closing.gaps(t)),
        Section("marks", "Marks on the clock", drawn.marks()),
        Section("sketches", "Sketches of the marks", drawn.sketches()),
        Section("o-rings", "O-rings round the clock", drawn.o_rings()),
        Section("springs", "Springs", drawn.springs()),
        Section("round-the-clock", "Wear and other readings round the clock", drawn.round_the_clock()),
        Section("record", "The record, part by part", bench.record(t)),
        Section("measurements", "Against published limits", bench.measurements(t)),
        Section("history", "History", closing.history(t)),
        Section("custody", "Through whose hands the parts went", outcome.custody(t)),
        Section("photos", "Photos", bench.photos(t)),
        Section("cautions", "Cautions", closing.cautions(t)),
    ]
    appendix = [
        Section("ledgers", "Every finding weighed", findings.ledgers(t), True),
        Section("quantities", "Every quantity and reading", bench.quantities(t), True),
        Section("absent", "Looked for and not there", bench.absent(t), True),
        Section("parts", "Parts and tags", bench.parts(t), True),
        Section("reasoning", "How the conclusion was reached", closing.reasoning(t), True),
    ]
    parts.append(Section("sources", "Sources", closing.sources(t)))
    kept = [s for s in appendix if s.blocks]
    parts.append(Section("verification", "Verification", closing.verification(t, [s.title for s in kept])))
    answers, doubts, care, type_, form = summary.page_one(t)
    return Report(
        t.case.name, t.case.invented, summary.facts(t), summary.asked(t), answers, care, summary.still_open(t), type_,
        [s for s in parts if s.blocks] + kept, closing.digests(t), form, doubts,
    )  # fmt: skip
