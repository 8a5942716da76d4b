"""The main answer as plain data; the schema is diagnose/views/explanation.schema.json."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from diagnose.advice.actions import actions
from diagnose.advice.plan import Plan
from diagnose.inference.run import Inference
from diagnose.judgement.chains import NAMED, Chain, Mark, chains
from diagnose.judgement.judge import STANDINGS, Judged, Judgement, Weighed
from diagnose.views import at_odds, next_steps
from diagnose.views.explanation import cautions, leading, open_points, records_text
from diagnose.views.leading import why_is_open


def document(
    inference: Inference, judgements: Sequence[Judgement], plan: Plan | None, everything: bool
) -> dict[str, Any]:
    case, knowledge = inference.case, inference.base.knowledge
    shown = [j for x in judgements for j in leading(x, everything)]
    shown.sort(key=lambda j: (STANDINGS.index(j.standing), j.rank))
    mechanisms = [j for x in judgements for j in x.mechanisms if everything or j.standing in NAMED]
    return {
        "case": {
            "name": case.name, "digest": case.digest, "invented": case.invented, "positions": list(case.positions),
        },
        "knowledge": {"version": knowledge.version, "digest": knowledge.digest},
        "causes": [judged_json(inference, j) for j in shown],
        "mechanisms": [judged_json(inference, j) for j in mechanisms],
        "positions": [position_json(inference, x) for x in judgements],
        "at_odds": [
            {"position": at_odds.place_of(odd, case) or None, "says": at_odds.told(odd, case, knowledge)}
            for odd in inference.at_odds
        ],
        "not_understood": list(case.not_understood),
        **(next_steps.plan_json(plan, knowledge) if plan else {"next": []}),
        "actions": [next_steps.action_json(a) for a in actions(judgements)],
        "cautions": next_steps.cautions_json(cautions(inference, judgements)),
    }  # fmt: skip


def position_json(inference: Inference, x: Judgement) -> dict[str, Any]:
    return {
        "position": x.position,
        "causes": list(x.explanation.causes),
        "probability": round(x.explanation.probability, 9),
        "none_of_these": round(x.none_of_these, 9),
        "others": [{"causes": list(s.causes), "probability": round(s.probability, 9)} for s in x.sets[1:]],
        "chains": [chain_json(c) for c in chains(x)],
        "why_is_open": why_is_open(x) or None,
        "unexplained": list(x.unexplained),
        "not_known": open_points(inference, x.position),
    }


def chain_json(chain: Chain) -> dict[str, Any]:
    def marks(some: Sequence[Mark]) -> list[dict[str, Any]]:
        return [{"finding": m.finding, "seen": m.seen, "weight": round(m.weight, 6)} for m in some]

    return {
        "main": list(chain.main),
        "branches": [list(b) for b in chain.branches],
        "links": [
            {
                "name": link.name, "kind": link.judged.kind, "brought_about_by": link.parent or None,
                "seen": link.seen or None, "chance": round(link.chance, 6), "shown_by": marks(link.shown),
                "expected_and_absent": marks(link.missing), "open": marks(link.open),
            }
            for link in chain.links
        ],
    }  # fmt: skip


def judged_json(inference: Inference, j: Judged) -> dict[str, Any]:
    return {
        "name": j.name,
        "kind": j.kind,
        "id": j.card.id,
        "title": j.card.means,
        "position": j.position,
        "scope": j.card.scope,
        "standing": j.standing,
        "probability": round(j.probability, 9),
        "prior": round(j.prior, 9),
        "weight": round(j.weight, 6),
        "lines_for": list(j.lines_for),
        "ruled_out_because": list(j.because),
        "iso_14224": {"class": j.card.class_14224, "from": j.card.class_from},
        "evidence": [evidence_json(inference, e, j.position) for e in j.evidence],
    }


def evidence_json(inference: Inference, e: Weighed, position: str) -> dict[str, Any]:
    rule = inference.base.knowledge.findings[e.finding]
    recorded = e.state != "unrecorded"
    return {
        "finding": e.finding,
        "state": e.state,
        "weight": round(e.weight, 6),
        "if_present": round(e.if_present, 6),
        "if_absent": round(e.if_absent, 6),
        "through": e.through or None,
        "rule": f"{rule.where.file}:{rule.where.line}",
        "because": records_text(inference, sorted(inference.leaves_of_finding(e.finding, position)))
        if recorded
        else [],
    }
