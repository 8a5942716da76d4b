"""What the answer hangs on: the smallest changes of the record that change the leading explanation or its standing."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from diagnose.casefile.format import record_id
from diagnose.casefile.model import Extent, Observation
from diagnose.inference.again import Again, Record
from diagnose.inference.run import Inference
from diagnose.judgement.altered import Altered, altered, chance_of
from diagnose.judgement.chains import NAMED
from diagnose.judgement.diagnosis import Diagnosis
from diagnose.judgement.judge import Judgement, evidence_at, rank_of, standing
from diagnose.judgement.posterior import Evidence
from diagnose.judgement.weights import ledger, log_odds
from diagnose.reading.entry import replace
from diagnose.trail.suppose import records_of
from diagnose.trail.wording import record_text

MOST_IN_PAIRS = 6
"""Pairs are tried among the records that carry most, and among those that stand in for each other; all pairs of a long
record would take minutes."""
MOST_TWINS = 40
MOST_SETS, LEAST_SETS, CELLS = 24, 5, 60_000
"""Sets of causes over which edited records are judged, fewer where the tables of a record are wide, so that one edit takes
so many cells; how the edits shift the odds is applied to the odds on the record as it stands, which come from all sets."""
Progress = Callable[[int, int], None]


@dataclass(frozen=True)
class Edit:
    """One record left out, or one observation taken as the opposite."""

    kind: str
    record: Record


Edits = tuple[Edit, ...]


@dataclass(frozen=True)
class Answer:
    """Leading explanation and standings of its causes at one position; where no cause leads the record as it stands, the
    standing of the mechanism that does."""

    causes: tuple[str, ...]
    standings: tuple[str, ...]
    happened: str = ""

    def standing_of(self, cause: str) -> str:
        return self.standings[self.causes.index(cause)]

    def as_json(self) -> dict[str, Any]:
        return {"causes": list(self.causes), "standings": list(self.standings), "happened": self.happened}


@dataclass(frozen=True)
class Tried:
    """What a change leaves: the answer, and the odds of what leads on the record as it stands, in dB."""

    answer: Answer
    odds: float


def fragile(diagnosis: Diagnosis, position: str, told: Progress = lambda done, of: None) -> dict[str, Any]:
    """Single changes that change the answer at a position, then pairs of changes of which neither does so alone, and
    what each record carries: by how many dB the odds of the leading cause fall when it alone is left out. `told` is
    called with how many changes are deduced, of how many."""
    trials = _Trials(diagnosis, position, told)
    start, lead = trials.now.answer, trials.lead
    used = [r for r in records_of(diagnosis.case) if r.id in _used(diagnosis.inference, position)]
    edits = [e for r in used for e in _edits(r)]
    trials.run([(e,) for e in edits])
    carries = sorted(
        ((trials.now.odds - trials.of((Edit("left out", r),)).odds, r) for r in used),
        key=lambda c: (-abs(round(c[0], 6)), c[1].id),
    )  # fmt: skip
    single = _reaching([(e,) for e in edits], trials, start, lead)
    pairs = _pairs(used, [r for _, r in carries[:MOST_IN_PAIRS]], {e for (e,) in single}, diagnosis.inference, position)
    trials.run(pairs)
    return {
        "position": position, "leads": lead, "told_at": trials.told_at, "now": start.as_json(), "single": _told(single, trials, diagnosis),
        "pairs": _told(_reaching(pairs, trials, start, lead), trials, diagnosis), "records": len(used),
        "carries": [
            {"record": _text(r, diagnosis), "id": r.id, "case_line": r.where.line, "weight": round(db, 6) + 0.0}
            for db, r in carries
        ],
    }  # fmt: skip


class _Trials:
    """Edited records judged together; edits that leave the same evidence are judged once."""

    def __init__(self, diagnosis: Diagnosis, position: str, told: Progress):
        self.diagnosis, self.position, self.told = diagnosis, position, told
        self.judgement = diagnosis.at(position)
        self.again = Again(diagnosis.inference)
        self.done: dict[Edits, Tried] = {}
        self.known: dict[tuple[Any, ...], Tried] = {}
        named = self.judgement.explanation.causes
        happened = [j for j in self.judgement.mechanisms[:1] if j.standing in NAMED and not named]
        lead = next((j for j in [*self.judgement.causes, *happened] if j.name in named or j in happened), None)
        self.lead, self.told_at = (lead.name, lead.told_at) if lead else ("", position)
        self.as_it_stands = _key(self.judgement.found.evidence)
        self.run([()])

    @property
    def now(self) -> Tried:
        return self.done[()]

    def of(self, edits: Edits) -> Tried:
        return self.done[edits]

    def run(self, many: Sequence[Edits]) -> None:
        """Judges edited records, so that `of` knows them."""
        waiting: dict[tuple[Any, ...], tuple[Evidence, Judgement]] = {}
        keys: dict[Edits, tuple[Any, ...]] = {}
        for number, edits in enumerate(many, 1):
            self.told(number, len(many))
            inference = self.deduced(edits)
            if edits and inference.firings == self.diagnosis.inference.firings:
                keys[edits] = self.as_it_stands
                continue
            evidence, through = evidence_at(inference, self.diagnosis.net, self.position)
            evidence = evidence.without(self.judgement.left_out)
            keys[edits] = key = _key(evidence)
            if key not in self.known and key not in waiting:
                waiting[key] = evidence, replace(self.judgement, inference=inference, through=through)
        self.known |= zip(waiting, self.judged(list(waiting.values())), strict=True)
        self.done |= {edits: self.known[key] for edits, key in keys.items()}

    def deduced(self, edits: Edits) -> Inference:
        if not edits:
            return self.diagnosis.inference
        turned = [_opposite(e.record) for e in edits if e.kind == "opposite" and isinstance(e.record, Observation)]
        return self.again.altered([e.record for e in edits], turned)

    def judged(self, waiting: Sequence[tuple[Evidence, Judgement]]) -> Iterable[Tried]:
        if not waiting:
            return
        found, column = self.judgement.found, self.diagnosis.net.column
        most = min(max(CELLS // found.sums.widest, LEAST_SETS), MOST_SETS)
        evidences = [found.evidence, *(evidence for evidence, _ in waiting)]
        then = altered(found, evidences, most)
        now, *tried = then.tried()
        there = self.mechanism(then, evidences)
        believed, before = self.diagnosis.net.believed, found.evidence.prior
        for (causes, shares, none), p, (evidence, at) in zip(tried, there[1:], waiting, strict=True):
            chance = {
                c: believed(_shifted(found.share[column[c]], now[1][column[c]], shares[column[c]]), before[column[c]])
                for c in causes
            }
            stands = {c: _standing(at, c, chance[c]) for c in causes}
            ranked = sorted(causes, key=lambda c: (*_rank(at, evidence, c, stands[c], chance[c]), c))
            words = tuple(stands[c] for c in ranked)
            if p is None:
                yield Tried(Answer(tuple(ranked), words), log_odds(shares[column[self.lead]] if self.lead else none))
                continue
            exact = float(found.mechanisms[self.diagnosis.net.mechanism[self.lead]])
            i = self.diagnosis.net.mechanism[self.lead]
            happened = _standing(at, self.lead, believed(_shifted(exact, there[0], p), float(found.unseen[i])))
            yield Tried(Answer(tuple(ranked), words, happened), log_odds(p))

    def mechanism(self, then: Altered, evidences: Sequence[Evidence]) -> list[Any]:
        """The chance of the mechanism that leads, under each evidence; None where a cause leads."""
        at = self.diagnosis.net.mechanism.get(self.lead)
        if at is None:
            return [None] * len(evidences)
        return list((chance_of(then.net, at, evidences, then.members) * then.exactly).sum(axis=1).tolist())


def _shifted(exact: float, now: float, then: float) -> float:
    """A probability moved as far in odds as another one moves from now to then."""
    odds = 10 ** ((log_odds(exact) + log_odds(then) - log_odds(now)) / 10)
    return odds / (1 + odds)


def _key(evidence: Evidence) -> tuple[Any, ...]:
    """All that the sums depend on."""
    states = tuple(sorted(evidence.states.items()))
    return states, evidence.prior.tobytes(), evidence.allowed, tuple(sorted(evidence.off))


def _standing(at: Judgement, cause: str, probability: float) -> str:
    """The standing of a cause with this probability, its findings those of an edited record."""
    words = at.knowledge.words
    if at.inference.ruled_out[at.position].get(cause):
        return "ruled out"
    if probability < words.established:
        return standing(words, probability, 0, 0.0)
    lowest = min((e.weight for e in at.evidence(cause) if not e.through), default=0.0)
    return standing(words, probability, len(at.lines_for(cause)), lowest)


def _rank(
    at: Judgement, evidence: Evidence, cause: str, stands: str, probability: float
) -> tuple[int, bool, float, float]:
    """As `Judged.rank`, the findings those of an edited record."""
    weighs = ledger(at.net, evidence.states, cause) if stands not in ("unlikely", "ruled out") else 0.0
    return rank_of("cause", stands, False, probability * max(weighs, 0.0), probability)


def _pairs(
    used: Sequence[Record], heavy: Sequence[Record], alone: set[Edit], inference: Inference, position: str
) -> list[Edits]:
    """Pairs of edits of which neither changes the answer alone."""
    twins = _twins(inference, position)
    return [
        (a, b)
        for one, other in itertools.combinations(used, 2)
        if (one in heavy and other in heavy) or frozenset((one.id, other.id)) in twins
        for a, b in itertools.product(_edits(one), _edits(other))
        if not {a, b} & alone
    ]


def _twins(inference: Inference, position: str) -> set[frozenset[str]]:
    """Pairs of records each of which alone is enough for a finding: one left out, the other still carries it."""
    result: dict[frozenset[str], None] = {}
    for deduced in inference.findings[position].values():
        carried = [
            frozenset(x for ids in f.supports for i in ids for x in inference.leaves(i)) for f in deduced.firings
        ]
        for one, other in itertools.combinations(carried, 2):
            result |= dict.fromkeys(frozenset((a, b)) for a in sorted(one - other) for b in sorted(other - one))
    return {*list(result)[:MOST_TWINS]}


def _used(inference: Inference, position: str) -> set[str]:
    """Records that some rule, and so the answer, could rest on at the position, and all observations, whose absence could
    let a rule fire that now denies them; the others change nothing."""
    firings = [f for f in inference.firings if f.position == position]
    looked = {o.id for o in inference.case.observations if o.looked_for}
    return {x for f in firings for ids in f.supports for i in ids for x in inference.leaves(i)} | looked


def _edits(record: Record) -> list[Edit]:
    looked = isinstance(record, Observation) and record.looked_for
    return [Edit("left out", record), *([Edit("opposite", record)] if looked else [])]


def _opposite(o: Observation) -> Observation:
    state = "absent" if o.state == "present" else "present"
    return replace(o, id=record_id("o", "opposite", o.id), state=state, extent=Extent(), degree="", side="")


def _reaching(many: Iterable[Edits], trials: _Trials, start: Answer, lead: str) -> list[Edits]:
    """The edits that change the answer, those that change most first: the leading cause lost, then its standing, then the
    causes beside it; a record left out before one turned round."""

    def reach(edits: Edits) -> tuple[Any, ...]:
        then = trials.of(edits).answer
        lost = bool(start.causes) and lead not in then.causes
        lowered = not lost and (then.happened != start.happened or (
            lead in start.causes and then.standing_of(lead) != start.standing_of(lead)))  # fmt: skip
        return (not lost, not lowered, sum(e.kind != "left out" for e in edits), [e.record.where.line for e in edits])

    return sorted((edits for edits in many if trials.of(edits).answer != start), key=reach)


def _told(many: Iterable[Edits], trials: _Trials, diagnosis: Diagnosis) -> list[dict[str, Any]]:
    return [
        {"changes": [{"kind": e.kind, "record": _text(e.record, diagnosis), "id": e.record.id,
                      "case_line": e.record.where.line} for e in edits],
         "then": trials.of(edits).answer.as_json()}
        for edits in many
    ]  # fmt: skip


def _text(record: Record, diagnosis: Diagnosis) -> str:
    return record_text(record, diagnosis.case, diagnosis.base.knowledge)
