"""Marks and the order of dismantling as plain data, for the handbook."""

from __future__ import annotations

from typing import Any

from diagnose.inference.run import RuleBase
from diagnose.knowledge.conditions import walk
from diagnose.knowledge.model import Knowledge
from diagnose.views.drawings.sketches import sketch, why_not_drawn

Data = dict[str, Any]


def feature_documents(base: RuleBase) -> list[Data]:
    """Every mark with its sketch, how and until when it is seen, the findings that rest on it, and what tells apart the
    causes and mechanisms that it parts."""
    k = base.knowledge
    resting: dict[str, list[str]] = {}
    for f in k.findings.values():
        for term in dict.fromkeys(c.term for c in walk(f.when) if c.form in ("saw", "absent")):
            resting.setdefault(term, []).append(f.name)
    parted = _parted(k)
    return [_feature(k, name, sorted(resting.get(name, ())), parted) for name in sorted(k.vocabulary.features)]


def _feature(k: Knowledge, name: str, findings: list[str], parted: dict[str, list[Data]]) -> Data:
    f = k.vocabulary.features[name]
    drawing = sketch(k.vocabulary, name, size=320.0)
    return {
        "kind": "feature", "name": name, "says": f.means or f"{name.capitalize()}.", "also": list(f.also), "on": list(f.on),
        "how": f.how, "lost": f.lost or "never", "form": list(f.above), "excludes": list(f.excludes), "findings": findings,
        "tests": [], "svg": drawing.svg if drawing else "", "not_drawn": "" if drawing else why_not_drawn(k.vocabulary, name),
        "alike": sorted((n for n, other in k.vocabulary.features.items()
                         if n != name and f.above and f.above == other.above and set(f.on) & set(other.on)))[:12],
        "parts": [x for finding in findings for x in parted.get(finding, ())],
    }  # fmt: skip


def _parted(k: Knowledge) -> dict[str, list[Data]]:
    """By finding: what it tells apart, and in what words."""
    found: dict[str, list[Data]] = {}
    for card in (*k.causes.values(), *k.mechanisms.values()):
        for x in card.look_alikes:
            found.setdefault(x.finding, []).append(
                {"one": card.name, "other": x.other, "by": x.told_apart_by, "favours": x.favours}
            )
    return found


def step_documents(base: RuleBase) -> list[Data]:
    """The order of dismantling, a lesson a step: what is done, what it ends, what is looked for and measured before."""
    k = base.knowledge
    return [
        {
            "stage": s.stage, "name": s.name, "do": s.do, "ends": s.ends,
            "looks": [{"on": x.on, "features": list(x.features), "readings": list(x.readings), "how": x.how} for x in s.looks],
            "measurements": sorted(m.name for m in k.measurements.values() if m.stage == s.stage),
            "lost": sorted(f.name for f in k.vocabulary.features.values() if f.lost == s.stage),
        }
        for s in k.arrangements.steps
    ]  # fmt: skip
