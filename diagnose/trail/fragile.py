"""What the answer hangs on: the smallest changes of the record that change the leading explanation or its standing."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from diagnose.casefile.format import record_id
from diagnose.casefile.model import Case, Extent, Observation
from diagnose.inference.run import Inference, infer
from diagnose.judgement.judge import Judgement, judge
from diagnose.judgement.network import Network
from diagnose.trail.suppose import Record, records_of
from diagnose.trail.wording import record_text

MOST_IN_PAIRS = 6
"""Pairs are tried among the records that carry most, and among those that stand in for each other; all pairs of a long
record would take minutes."""
_FAMILIES = ("observations", "measured", "settings")


@dataclass(frozen=True)
class Edit:
    """One record left out, or one observation taken as the opposite."""

    kind: str
    record: Record

    def apply(self, case: Case) -> Case:
        fields: dict[str, Any] = {
            name: tuple(r for r in getattr(case, name) if r.id != self.record.id) for name in _FAMILIES
        }
        if self.kind == "opposite":
            assert isinstance(self.record, Observation)
            fields["observations"] = tuple(
                sorted((*fields["observations"], _opposite(self.record)), key=lambda o: o.id)
            )
        return replace(case, **fields)


@dataclass(frozen=True)
class Answer:
    """Leading explanation and standings of its causes at one position."""

    causes: tuple[str, ...]
    standings: tuple[str, ...]

    def standing_of(self, cause: str) -> str:
        return self.standings[self.causes.index(cause)]

    def as_json(self) -> dict[str, Any]:
        return {"causes": list(self.causes), "standings": list(self.standings)}


def fragile(inference: Inference, net: Network, position: str) -> dict[str, Any]:
    """Single changes that change the answer at a position, then pairs of changes of which neither does so alone, and
    what each record carries: by how many dB the odds of the leading cause fall when it alone is left out."""
    case, knowledge = inference.case, inference.base.knowledge
    trials = _Trials(inference, net, position)
    now = trials.judgement(())
    start = _answer(now)
    lead = next((j.cause for j in now.causes if j.cause in start.causes), "")
    used = [r for r in records_of(case) if r.id in _used(inference, position)]
    carries = sorted(
        ((_log_odds(_share(now, lead)) - _log_odds(_share(trials.judgement((Edit("left out", r),)), lead)), r) for r in used),
        key=lambda c: (-abs(round(c[0], 6)), c[1].id),
    )  # fmt: skip
    edits = [e for r in used for e in _edits(r)]
    single = [(e,) for e in edits if _answer(trials.judgement((e,))) != start]
    single.sort(key=lambda es: _reach(_answer(trials.judgement(es)), start, lead, es))
    alone = {e for (e,) in single}
    heavy = [r for _, r in carries[:MOST_IN_PAIRS]]
    twins = _twins(inference, position)
    pairs = [
        (a, b)
        for one, other in itertools.combinations(used, 2)
        if (one in heavy and other in heavy) or {one.id, other.id} in twins
        for a, b in itertools.product(_edits(one), _edits(other))
        if not {a, b} & alone and _answer(trials.judgement((a, b))) != start
    ]
    pairs.sort(key=lambda es: _reach(_answer(trials.judgement(es)), start, lead, es))

    def told(changes: Sequence[tuple[Edit, ...]]) -> list[dict[str, Any]]:
        return [
            {"changes": [{"kind": e.kind, "record": record_text(e.record, case, knowledge), "id": e.record.id,
                          "case_line": e.record.where.line} for e in edits],
             "then": _answer(trials.judgement(edits)).as_json()}
            for edits in changes
        ]  # fmt: skip

    return {
        "position": position, "now": start.as_json(), "single": told(single), "pairs": told(pairs),
        "records": len(used),
        "carries": [{"record": record_text(r, case, knowledge), "id": r.id, "case_line": r.where.line, "weight": round(db, 6) + 0.0}
                    for db, r in carries],
    }  # fmt: skip


class _Trials:
    """Judgements of edited cases; cases whose findings, priors and exclusions agree are judged once."""

    def __init__(self, inference: Inference, net: Network, position: str):
        self.inference, self.net, self.position = inference, net, position
        self.done: dict[tuple[Edit, ...], Judgement] = {}
        self.judged: dict[Any, Judgement] = {}

    def judgement(self, edits: tuple[Edit, ...]) -> Judgement:
        if edits not in self.done:
            case = self.inference.case
            for edit in edits:
                case = edit.apply(case)
            result = infer(case, self.inference.base) if edits else self.inference
            key = _signature(result, self.position)
            if key not in self.judged:
                self.judged[key] = next(x for x in judge(result, self.net) if x.position == self.position)
            self.done[edits] = self.judged[key]
        return self.done[edits]


def _signature(inference: Inference, position: str) -> tuple[Any, ...]:
    """All that a judgement depends on."""
    findings = inference.findings[position]
    return (
        tuple((f, d.state, inference.leaves_of_finding(f, position)) for f, d in sorted(findings.items())),
        tuple(sorted(inference.ruled_out[position])),
        tuple((c, f.branch.conclusion.state) for c, f in sorted(inference.common[position].items())),
    )


def _twins(inference: Inference, position: str) -> list[set[str]]:
    """Pairs of records each of which alone is enough for a finding: one left out, the other still carries it."""
    result = []
    for deduced in inference.findings[position].values():
        carried = [
            frozenset(x for ids in f.supports for i in ids for x in inference.leaves(i)) for f in deduced.firings
        ]
        for one, other in itertools.combinations(carried, 2):
            result += [{a, b} for a in one - other for b in other - one]
    return result


def _used(inference: Inference, position: str) -> set[str]:
    """Records that some rule, and so the answer, could rest on at the position; the others change nothing."""
    firings = [f for f in inference.firings if f.position == position]
    return {x for f in firings for ids in f.supports for i in ids for x in inference.leaves(i)} | _denied(inference)


def _denied(inference: Inference) -> set[str]:
    """Records whose absence could let a rule fire that now denies them: all observations."""
    return {o.id for o in inference.case.observations if o.state in ("present", "absent")}


def _edits(record: Record) -> list[Edit]:
    looked = isinstance(record, Observation) and record.state in ("present", "absent")
    return [Edit("left out", record), *([Edit("opposite", record)] if looked else [])]


def _opposite(o: Observation) -> Observation:
    state = "absent" if o.state == "present" else "present"
    return replace(o, id=record_id("o", "opposite", o.id), state=state, extent=Extent(), degree="", side="")


def _answer(judgement: Judgement) -> Answer:
    causes = judgement.explanation.causes
    return Answer(causes, tuple(judgement.of(c).standing for c in causes))


def _reach(then: Answer, start: Answer, lead: str, edits: tuple[Edit, ...]) -> tuple[Any, ...]:
    """How far a change goes, for sorting: the leading cause lost, then its standing, then the causes beside it; a record
    left out before one turned round."""
    lost = lead not in then.causes
    lowered = not lost and bool(lead) and then.standing_of(lead) != start.standing_of(lead)
    return (not lost, not lowered, sum(e.kind != "left out" for e in edits), [e.record.where.line for e in edits])


def _share(judgement: Judgement, cause: str) -> float:
    return judgement.of(cause).probability if cause else judgement.none_of_these


def _log_odds(p: float) -> float:
    p = min(max(p, 1e-12), 1 - 1e-12)
    return 10 * math.log10(p / (1 - p))
