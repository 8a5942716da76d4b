"""The main answer: what failed and why, as JSON and as a page for the terminal."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from diagnose.advice.actions import actions
from diagnose.advice.cautions import called_for
from diagnose.advice.plan import Plan
from diagnose.casefile.wording import describe, describe_reading, describe_statements
from diagnose.inference.facts import holds_at, mark_relations
from diagnose.inference.run import Inference
from diagnose.judgement.judge import STANDINGS, Evidence, Judged, Judgement
from diagnose.knowledge.model import Cause, Caution
from diagnose.quantities.clock import NO_PLACE
from diagnose.quantities.limits import hangs_on_datum
from diagnose.reading.figures import percent, signed
from diagnose.views import next_steps
from diagnose.views.leading import NAMED, leaders, not_named, shared, undamaged
from diagnose.views.page import Page

MOST_REASONS = 3
"""On each side of the first cause; those after it, and of two seals, get fewer."""


def reads(inference: Inference, finding: str) -> str:
    return inference.base.knowledge.findings[finding].reads


def records_text(inference: Inference, ids: Sequence[str]) -> list[str]:
    """The records behind ids as short lines, in record order."""
    case, vocabulary = inference.case, inference.base.knowledge.vocabulary
    lines = [describe(o, case) for o in case.observations if o.id in ids]
    lines += [describe_reading(x, vocabulary.readings[x.what].unit) for x in case.measured if x.id in ids]
    lines += [f"{s.setting}: {'' if s.holds else 'not '}{s.term}" for s in case.settings if s.id in ids]
    lines += describe_statements(case, ids)
    return lines


def basis(inference: Inference, finding: str, position: str) -> str:
    """What a finding rests on, in one line."""
    return "; ".join(records_text(inference, sorted(inference.leaves_of_finding(finding, position))))


def evidence_json(inference: Inference, e: Evidence, position: str) -> dict[str, Any]:
    rule = inference.base.knowledge.findings[e.finding]
    return {
        "finding": e.finding,
        "state": e.state,
        "weight": round(e.weight, 6),
        "if_present": round(e.if_present, 6),
        "if_absent": round(e.if_absent, 6),
        "line": e.line,
        "through": e.through or None,
        "rule": f"{rule.where.file}:{rule.where.line}",
        "because": records_text(inference, sorted(inference.leaves_of_finding(e.finding, position)))
        if e.state != "unrecorded"
        else [],
    }


def cause_json(inference: Inference, j: Judged) -> dict[str, Any]:
    card = inference.base.knowledge.causes[j.cause]
    return {
        "cause": j.cause,
        "id": card.id,
        "title": card.means,
        "position": j.position,
        "scope": card.scope,
        "standing": j.standing,
        "probability": round(j.probability, 9),
        "prior": round(j.prior, 6),
        "weight": round(j.weight, 6),
        "lines_for": list(j.lines_for),
        "ruled_out_because": list(j.because),
        "iso_14224": {"mechanism": card.mechanism_class, "cause": card.cause_class, "from": card.classes_from},
        "evidence": [evidence_json(inference, e, j.position) for e in j.evidence],
    }


def iso_classes(card: Cause) -> str:
    """The classes that a maintenance system may ask for, with how far they were seen."""
    if not card.mechanism_class:
        return ""
    return f"ISO 14224: failure mechanism {card.mechanism_class}, failure cause {card.cause_class} (known from: {card.classes_from})"


def document(
    inference: Inference, judgements: Sequence[Judgement], plan: Plan | None, everything: bool
) -> dict[str, Any]:
    """The answer as plain data; the schema is diagnose/views/explanation.schema.json."""
    case, knowledge = inference.case, inference.base.knowledge
    shown = [j for x in judgements for j in leading(x, everything)]
    shown.sort(key=lambda j: (STANDINGS.index(j.standing), j.rank))
    return {
        "case": {
            "name": case.name,
            "digest": case.digest,
            "invented": case.invented,
            "positions": list(case.positions),
        },
        "knowledge": {"version": knowledge.version, "digest": knowledge.digest},
        "causes": [cause_json(inference, j) for j in shown],
        "explanation": {
            "causes": list(dict.fromkeys(c for x in judgements for c in x.explanation.causes)),
            "unexplained": list(dict.fromkeys(f for x in judgements for f in x.unexplained)),
            "positions": [
                {
                    "position": x.position,
                    "causes": list(x.explanation.causes),
                    "probability": round(x.explanation.probability, 9),
                    "none_of_these": round(x.none_of_these, 9),
                    "others": [{"causes": list(s.causes), "probability": round(s.probability, 9)} for s in x.sets[1:]],
                    "unexplained": list(x.unexplained),
                    "not_known": open_points(inference, x.position),
                }
                for x in judgements
            ],
        },
        **(next_steps.plan_json(plan, knowledge) if plan else {"next": []}),
        "actions": [next_steps.action_json(a) for a in actions(judgements, knowledge)],
        "cautions": next_steps.cautions_json(cautions(inference, judgements)),
    }


def cautions(inference: Inference, judgements: Sequence[Judgement]) -> list[Caution]:
    """Those of the case, of its leading causes and of what is advised against them."""
    knowledge = inference.base.knowledge
    likely = [j for x in judgements for j in leading(x, False) if j.standing != "unlikely"]
    named = [name for j in likely for name in knowledge.causes[j.cause].cautions]
    return called_for(inference, [*named, *(name for a in actions(judgements, knowledge) for name in a.cautions)])


def leading(judgement: Judgement, everything: bool, least: int = 3) -> list[Judged]:
    """The causes worth showing: everything possible or better, and at least a few."""
    if everything:
        return list(judgement.causes)
    good = [j for j in judgement.causes if j.standing in NAMED]
    rest = [j for j in judgement.causes if j.standing == "unlikely"]
    ruled = [j for j in judgement.causes if j.standing == "ruled out" and j.weight > 3]
    return [*good, *rest[: max(0, least - len(good))], *ruled[:3]]


def page(
    inference: Inference, judgements: Sequence[Judgement], plan: Plan | None, everything: bool, page: Page
) -> Page:
    case, knowledge = inference.case, inference.base.knowledge
    page.ends(case.name, "invented case" if case.invented else "", bold=True)
    for x in judgements:
        _answer(inference, x, everything, page)
    if plan:
        next_steps.short_steps(inference, plan, page)
    called = cautions(inference, judgements)
    raised = [c for c in called if c.name in inference.cautions and not c.always]
    if everything:
        next_steps.take_care(called, page)
    else:
        next_steps.take_care_in_short(called, raised, page)
    beware = called if everything else raised
    next_steps.short_actions(actions(judgements, knowledge), beware, len(judgements) > 1, everything, page)
    for j in (j for x in judgements for j in x.causes if everything and j.standing != "ruled out"):
        _ledger(inference, j, page)
    page.line()
    if not everything:
        page.line(page.dim("--all adds the ledgers with every record, all causes, cautions and changes"))
    page.line(page.dim(f"rule base {knowledge.version} ({knowledge.digest[:12]}), case {case.digest[:12]}"))
    return page


def _answer(inference: Inference, x: Judgement, everything: bool, page: Page) -> None:
    """The conclusion at one position: the leading explanation in full, the rest a line each."""
    if len(inference.case.positions) > 1:
        page.heading(f"{x.position.capitalize()} seal")
    else:
        page.line()
    shown = leading(x, everything)
    best = leaders(x)
    sound = undamaged(inference, x)
    if sound:
        page.say(sound, indent=2)
    if not best:
        page.say(not_named(x), indent=2)
    several = len(inference.case.positions) > 1
    for place, j in enumerate(best):
        _leader(inference, j, MOST_REASONS if everything else max(0, MOST_REASONS - place - several), page)
    rest = [j for j in shown if j not in best and j.standing != "ruled out"]
    if best and (rest or x.none_of_these >= 0.01):
        page.line("  beside it" if len(best) == 1 else "  beside them")
    for j in rest if everything else rest[:4]:
        page.ends(f"  {j.standing:<12} {j.cause}", percent(j.probability))
    page.ends(f"  {'':<12} none of these causes", percent(x.none_of_these))
    out = [j for j in shown if j.standing == "ruled out"]
    for j in out if everything else []:
        page.say("; ".join(j.because), indent=2, lead=f"{'ruled out':<12} {j.cause}: ", hang=15)
    if out and not everything:
        page.say(", ".join(j.cause for j in out), indent=2, lead=f"{'ruled out':<12} ", hang=15)
    if x.unexplained:
        page.say("; ".join(x.unexplained), indent=2, lead=f"{'unexplained':<12} ", hang=15)
    points = open_points(inference, x.position)
    for point in points if everything else points[:2]:
        page.say(point, indent=2, lead=f"{'not known':<12} ", hang=15)
    if len(points) > 2 and not everything:
        page.say(f"and {len(points) - 2} more like it (--all)", indent=15)


def open_points(inference: Inference, position: str) -> list[str]:
    """What is on record and yet cannot be used, with the reason."""
    case, base = inference.case, inference.base
    relations = [q for q in mark_relations(case, base.knowledge, base.rules) if q.problem and q.position == position]
    points = [f"how {' and '.join(name for name, *_ in q.inputs)} stand to each other on the clock: {q.problem}"
              for q in relations if q.problem != NO_PLACE]  # fmt: skip
    for q in inference.quantities:
        limits = [limit.name for limit in base.knowledge.limits_on.get(q.name, ()) if hangs_on_datum(q, limit)]
        if limits and holds_at(q.position, position):
            points.append(f"whether {q.name} keeps the limit {' and '.join(limits)}: {q.datum} says neither g (gauge) nor a (absolute)")
    return points


def _leader(inference: Inference, j: Judged, most: int, page: Page) -> None:
    """A cause of the leading explanation with at most so many reasons on each side; its meaning where there is room."""
    both = shared(j, len(inference.case.positions) > 1)
    left = f"  {j.standing.upper():<12} {j.cause}{' (both seals)' if both else ''}"
    page.ends(left, percent(j.probability), bold=True)
    if most == MOST_REASONS:
        page.say(f"{inference.base.knowledge.causes[j.cause].means} {both}", indent=15)
    speaking = [e for e in j.evidence if e.state != "unrecorded" and not e.through]
    sides = (("for", [e for e in speaking if e.weight >= 0.5]), ("against", [e for e in speaking if e.weight <= -0.5]))
    for label, chosen in sides:
        if chosen and most:
            told = "; ".join(
                f"{_state(e)} ({signed(e.weight)} dB{', on trial' if _on_trial(inference, e, j) else ''})" for e in chosen[:most]
            )
            more = f"; and {len(chosen) - most} more" if len(chosen) > most else ""
            page.say(told + more, indent=15, lead=f"{label}: ", hang=15)


def _state(e: Evidence) -> str:
    return e.finding if e.state == "present" else f"{e.finding}: looked for, not so"


def _on_trial(inference: Inference, e: Evidence, j: Judged) -> bool:
    knowledge = inference.base.knowledge
    return "trial" in (knowledge.findings[e.finding].status, knowledge.causes[j.cause].status)


def _ledger(inference: Inference, j: Judged, page: Page) -> None:
    where = f", {j.position} seal" if len(inference.case.positions) > 1 else ""
    page.heading(f"Ledger: {j.cause}{where}")
    rows: list[tuple[str, ...]] = [("dB", "state", "finding, and what it rests on")]
    knowledge = inference.base.knowledge
    for e in j.evidence:
        if e.state == "unrecorded":
            continue
        note = f" (counted through {e.through})" if e.through else ""
        if _on_trial(inference, e, j):
            note += " (on trial: weighs in part)"
        weight = "" if e.through else signed(e.weight)
        rows.append((weight, e.state, f"{e.finding}{note}: {basis(inference, e.finding, j.position)}"))
    page.table(rows, [6, 8, 0])
    page.say(
        f"prior {signed(j.prior)} dB, with the weights {signed(j.alone)} dB for this cause alone against none of these",
        indent=2,
    )
    if classes := iso_classes(knowledge.causes[j.cause]):
        page.say(classes, indent=2, hang=4)
    open_ = [e for e in j.evidence if e.state == "unrecorded"]
    if open_:
        open_.sort(key=lambda e: -max(abs(e.if_present), abs(e.if_absent)))
        told = "; ".join(f"{e.finding} ({signed(e.if_present)} / {signed(e.if_absent)})" for e in open_[:6])
        more = f"; and {len(open_) - 6} more" if len(open_) > 6 else ""
        page.say(told + more, indent=2, lead="not yet looked at (there / not there): ", hang=4)
