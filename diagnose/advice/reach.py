"""What can still be decided of a seal: which findings are open, by which work, and which are lost for good.

A stage names the last moment before a step of dismantling or cleaning. What needed an earlier stage than the case's is
lost; so is what a record says nobody can look at any more. A case is at least at the first stage at which the parts
it speaks of can be looked at.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from functools import cached_property, wraps
from typing import Any, TypeVar, cast

from msgspec import Struct

from diagnose.casefile.model import Case
from diagnose.casefile.walk import is_left_out, last_stage, left_out, lost_kind, lost_things, not_known, not_there
from diagnose.inference.facts import holds_at, seal_positions
from diagnose.inference.match import Facts, evaluate, facts_of
from diagnose.inference.rules import Branch, Premise
from diagnose.inference.run import Inference
from diagnose.knowledge.grammar import Slots
from diagnose.knowledge.model import Knowledge, Measurement
from diagnose.knowledge.teardown import seen_from
from diagnose.knowledge.wording import question

Work = TypeVar("Work", bound=Callable[..., Any])
OPEN, ANSWERED, LOST = "open", "answered", "lost"
DEFAULT_MINUTES = 5.0


class Look(Struct, frozen=True):
    """A plain look or question that decides one finding. `asks`: the features, figures and settings it is about; `question`:
    what is asked of them; `way`: look, question, number or between limits."""

    finding: str
    asks: tuple[str, ...]
    part: str
    minutes: float
    stage: str
    way: str
    question: str


class Status(Struct, frozen=True):
    """Of a finding or of what its rule asks for: open, answered or lost. `recorded`: lost because a record says so, not by its stage."""

    state: str
    why: str = ""
    recorded: bool = False


def _once(work: Work) -> Work:
    """What is asked of a reach again and again is worked out once."""

    @wraps(work)
    def told(self: Reach, *about: Any) -> Any:
        kept = self.kept.setdefault(work.__name__, {})
        if about not in kept:
            kept[about] = work(self, *about)
        return kept[about]

    return cast(Work, told)


class Reach:
    """What is still within reach at one position of a case."""

    def __init__(self, inference: Inference, position: str):
        self.inference, self.position = inference, position
        self.case, self.knowledge = inference.case, inference.base.knowledge
        self.vocabulary = self.knowledge.vocabulary
        self.facts: Facts = facts_of(inference)
        self.stage = stage_of(self.case, self.knowledge)
        self.lost = lost_things(self.case)
        self.out = left_out(self.case, self.knowledge, position)
        self.not_there = not_there(self.case, self.knowledge, self.out)
        self.not_known = not_known(self.case, self.knowledge)
        self.positions = {p for p, _ in seal_positions(self.case)}
        self.known = inference.findings[position]
        self.kept: dict[str, dict[Any, Any]] = {}
        self.branches: dict[str, list[Branch]] = {}
        for b in inference.base.rules.branches:
            if b.conclusion.kind == "found" and b.conclusion.state == "present":
                self.branches.setdefault(b.conclusion.name, []).append(b)

    # ---- stages -----------------------------------------------------------------------------------------------

    def passed(self, stage: str) -> bool:
        """Whether work that needs this stage comes too late."""
        stages = self.vocabulary.stages
        return bool(self.stage) and stage in stages and stages.index(stage) < stages.index(self.stage)

    @cached_property
    def measurements(self) -> dict[str, Measurement]:
        """Measurements that this seal's parts and its stage still allow."""
        every = self.knowledge.measurements.values()
        return {
            m.name: m
            for m in every
            if not self.passed(m.stage)
            and self.is_there(m.part)
            and m.part not in self.not_known
            and not self.lost_with(m.part)
        }

    @cached_property
    def kinds(self) -> frozenset[str]:
        """Kinds of the parts this seal is known or usually found to have; empty where the case lists no part."""
        case, words = self.case, self.vocabulary
        if not any(holds_at(p.position, self.position) for p in case.parts):
            return frozenset()
        kinds = {p.kind for p in case.parts if holds_at(p.position, self.position)}
        kinds |= {o.kind for o in case.observations if o.kind}
        for s in case.settings:
            if s.holds and holds_at(s.position, self.position):
                kinds |= {words.find("kind", s.term) or ""}
                if s.setting == "arrangement":
                    kinds |= {p.kind for p in self.knowledge.arrangements.usual.get(s.term, ())}
        return frozenset(kinds - {""})

    @cached_property
    def roots(self) -> frozenset[str]:
        """The kinds that head the families of usual parts; a kind outside them (a leak, a log) is always there."""
        words = self.vocabulary
        usual = {p.kind for parts in self.knowledge.arrangements.usual.values() for p in parts}
        return frozenset(k for u in usual for k in words.lineage[u] if not words.kinds[k].above)

    @_once
    def is_there(self, kind: str) -> bool:
        """Whether the seal has, or may have, a part of the kind. A ring known by its side may be of any make."""
        lineage = self.vocabulary.lineage
        if self.not_there & set(lineage.get(kind, ())):
            return False
        if not kind or not self.kinds or self.vocabulary.kinds[kind].place == "machine":
            return True
        if not self.roots & set(lineage[kind]):
            return True
        sides = {k for k in lineage[kind] if self.vocabulary.kinds[k].group}
        return any(self.vocabulary.related(kind, k) or sides & set(lineage[k]) for k in self.kinds)

    def lost_with(self, kind: str, group: str = "") -> str:
        """Why nothing of the kind is left in hand, as the record says; "" where something is or may be."""
        if not kind or not self.lost:
            return ""
        return lost_kind(self.case, self.knowledge, self.position, kind, group)

    # ---- findings ---------------------------------------------------------------------------------------------

    @_once
    def of(self, finding: str) -> Status:
        """Whether a finding that is not known yet can still be decided."""
        statuses = [status for _, status in self._tried(finding)]
        best = self._best(statuses)
        gone = next((s for s in statuses if s.recorded), None)
        if gone and best.state == OPEN:
            # what is gone for the eye is not there to be measured either
            return best if any(self._to_see(b, False) for b in self._open(finding)) else gone
        if best.state == LOST and not best.recorded and self._asked_for(finding):
            return Status(OPEN)
        return best

    @_once
    def told_by(self, finding: str) -> tuple[str, ...]:
        """The measurements that can still decide an open finding: those whose part comes into view before all that it shows
        by is gone. Where it can no longer be seen, only questions."""
        names = self._telling.get(finding, ()) if self._open(finding) else self._asked_for(finding)
        return tuple(n for n in names if self.last_stage(self.measurements[n], finding) is not None)

    def last_stage(self, card: Measurement, finding: str) -> str | None:
        """The stage after which a measurement comes too late for something by which a finding may show; "never" where it
        does not, None where everything by which it may show is gone before the part can be measured."""
        stages, asked = self.vocabulary.stages, self.knowledge.looks.asked
        if card.stage not in stages and any(k in asked for k in self.vocabulary.lineage.get(card.part, ())):
            return card.stage
        first = seen_from(self.knowledge.teardown, self.vocabulary, card.part, card.stage)
        ends = self._ends(finding)
        if ends and max(ends) < first:
            return None
        last = min((e for e in ends if e >= first), default=len(stages))
        last = min(last, stages.index(card.stage) if card.stage in stages else len(stages))
        return stages[last] if last < len(stages) else card.stage

    @_once
    def _ends(self, finding: str) -> list[int]:
        """The places of the stages after which each of the ways is gone by which an open finding may still show."""
        last = len(self.vocabulary.stages)
        return [min(map(self._end, b.premises), default=last) for b in self._open(finding)]

    def _end(self, premise: Premise) -> int:
        """The place of the stage after which what a premise asks for is gone. What only showed while running can be asked."""
        stages, features = self.vocabulary.stages, self.vocabulary.features
        if premise.table == "found":
            return max(self._ends(str(dict(premise.equals)["finding"])), default=len(stages))
        seen = {"seen": (premise.condition,), "marks": premise.condition.parts}.get(premise.table, ())
        if premise.negated or not seen or evaluate(premise, self.facts, self.position).holds is not None:
            return len(stages)
        lost = [self._lost(c.term, [c.on] if c.on else features[c.term].on) for c in seen]
        return max(stages.index(x) if x in stages[1:] else len(stages) for x in lost)

    def _asked_for(self, finding: str) -> tuple[str, ...]:
        """Questions that can still be put to people and logs when the thing itself can no longer be seen."""
        asked = self.knowledge.looks.asked
        return tuple(name for name in self._telling.get(finding, ()) if self.measurements[name].part in asked)

    @cached_property
    def _telling(self) -> dict[str, tuple[str, ...]]:
        telling: dict[str, list[str]] = {}
        for name in sorted(self.measurements):
            for finding in self.measurements[name].tells:
                telling.setdefault(finding, []).append(name)
        return {finding: tuple(names) for finding, names in telling.items()}

    @staticmethod
    def _best(statuses: Iterable[Status]) -> Status:
        every = list(statuses)
        for state in (OPEN, LOST):
            for status in every:
                if status.state == state:
                    return status
        return Status(ANSWERED)

    def _open(self, finding: str) -> list[Branch]:
        """The branches by which a finding may still show."""
        return [branch for branch, status in self._tried(finding) if status.state == OPEN]

    @_once
    def _tried(self, finding: str) -> list[tuple[Branch, Status]]:
        return [(b, self._try(b)) for b in self.branches.get(finding, ())]

    def _try(self, branch: Branch) -> Status:
        """Open where every condition holds or may yet be seen to hold."""
        lost = Status(OPEN)
        for premise in branch.premises:
            status = self._premise(premise)
            if status.state == ANSWERED:
                return status
            if status.state == LOST:
                lost = status
        return lost

    def _premise(self, premise: Premise) -> Status:
        if premise.at in ("inboard", "outboard", "other"):
            position = premise.at if premise.at != "other" else "outboard"
            if position not in self.positions:
                return Status(ANSWERED)
        verdict = evaluate(premise, self.facts, self.position)
        if verdict.holds is not None:
            return Status(OPEN if verdict.holds else ANSWERED)
        slots = dict(premise.equals)
        if premise.table in ("amount", "limit"):
            if any(slots["quantity"] in x.readings and not x.on for x in self.out):
                return Status(ANSWERED)
            on = str(slots.get("on", ""))
            lost = self._lost_with([on] if on else self.vocabulary.quantities[str(slots["quantity"])].on)
            return Status(ANSWERED) if verdict.ids else Status(LOST, lost) if lost else Status(OPEN)
        if premise.table == "setting" and any(slots["setting"] in x.asks for x in self.out):
            return Status(ANSWERED)
        if premise.table == "found":
            return self.of(str(slots["finding"]))
        if premise.table == "seen":
            return self._seen(premise.condition.term, str(slots.get("on", "")), str(slots.get("group", "")))
        if premise.table == "marks":
            return self._best([self._seen(c.term, c.on, c.group) for c in premise.condition.parts])
        if premise.table in ("state", "act") and self._cannot_be({k: str(v) for k, v in premise.equals}):
            return Status(ANSWERED)
        return Status(OPEN)

    def _cannot_be(self, said: Slots) -> bool:
        """Whether a state or an act is of something that is not there, or left out as one that cannot be."""
        point = said.get("at") or said.get("to", "")
        implies = self.vocabulary.grammar.implies
        return point in self._idle or any(implies(said, state) for x in self.out for state in x.states)

    @cached_property
    def _idle(self) -> frozenset[str]:
        """Points and kinds that are not there."""
        lineages = self.vocabulary.grammar.lineages["to"]
        return self.not_there.union(p for p, line in lineages.items() if not self.not_there.isdisjoint(line))

    @_once
    def _seen(self, feature: str, on: str, group: str) -> Status:
        named = [on] if on else self.vocabulary.features[feature].on
        kinds = [k for k in named if self.is_there(k) and not is_left_out(self.out, self.vocabulary, k, feature)]
        if named and not kinds:
            return Status(ANSWERED)
        whole = self._lost_with(kinds, group)
        if whole:
            return Status(LOST, whole)
        for o in self.case.observations:
            if o.state == "lost" and o.feature == feature and self._covers(o.kind, o.group, kinds, group):
                return Status(LOST, f"{feature}: {o.note or 'recorded as lost'}", True)
        lost = self._lost(feature, kinds)
        return Status(LOST, f"{feature}: to be seen only {lost}") if self.passed(lost) else Status(OPEN)

    def _lost(self, feature: str, kinds: Iterable[str]) -> str:
        """The last stage at which a feature can be seen on any of some kinds."""
        lost = [last_stage(self.knowledge, self.out, feature, k) for k in kinds]
        stages = self.vocabulary.stages
        return (
            max(lost, key=lambda s: stages.index(s) if s in stages else len(stages))
            if lost
            else (self.vocabulary.features[feature].lost)
        )

    def _lost_with(self, kinds: Iterable[str], group: str = "") -> str:
        """Why every one of the kinds is lost; "" where one is not, or none is named."""
        reasons = [self.lost_with(k, group) for k in kinds]
        return reasons[0] if reasons and all(reasons) else ""

    def _covers(self, kind: str, group: str, wanted: Iterable[str], wanted_group: str) -> bool:
        """Whether a record about one kind leaves nothing else on which the feature could be looked for."""
        lineage = self.vocabulary.lineage
        if group and wanted_group and group != wanted_group:
            return False
        if any(kind in lineage[w] for w in wanted):
            return True
        others = [p for p in self.case.parts if any(w in lineage[p.kind] for w in wanted) and p.kind != kind]
        return not others and any(w in lineage[kind] for w in wanted)

    # ---- work -------------------------------------------------------------------------------------------------

    def too_late(self, finding: str) -> str:
        """Why a finding can no longer be measured: the part is lost, or the last stage for it has passed; else ""."""
        stages, every = self.vocabulary.stages, self._every_telling.get(finding, [])
        passed = {m.stage for m in every if self.passed(m.stage)}
        if passed:
            return f"to be measured only {max(passed, key=stages.index)}"
        return self._lost_with(m.part for m in every)

    @cached_property
    def _every_telling(self) -> dict[str, list[Measurement]]:
        """By finding, the measurements that decide it, were it too late for them or not."""
        telling: dict[str, list[Measurement]] = {}
        for m in self.knowledge.measurements.values():
            for finding in m.tells:
                telling.setdefault(finding, []).append(m)
        return telling

    @_once
    def look(self, finding: str) -> Look | None:
        """The plain look or question that decides a finding, from what its rule asks for. Where no measurement was ever
        made for it, the figures and settings of its rule are asked for too. None where there is no such way."""
        numbers = finding not in self._every_telling
        for branch in self._open(finding):
            premises = self._to_see(branch, numbers)
            if premises:
                return self._look_at(finding, premises)
        return None

    def _to_see(self, branch: Branch, numbers: bool) -> list[Premise] | None:
        """The premises still to be settled; None where an eye or a question cannot settle them."""
        result: list[Premise] = []
        for premise in branch.premises:
            if evaluate(premise, self.facts, self.position).holds is not None:
                continue
            if premise.table == "found":
                inner = self._open(str(dict(premise.equals)["finding"]))
                seen = (self._to_see(b, numbers) for b in inner)
                first = next((s for s in seen if s), None)
                if first is None:
                    return None
                result += first
            elif premise.table == "seen" or (numbers and premise.table != "marks"):
                result.append(premise)
            else:
                return None
        return result

    def _look_at(self, finding: str, premises: list[Premise]) -> Look:
        looks, words = self.knowledge.looks, self.vocabulary
        if unsure := next((k for p in premises for k in sorted(self.not_known) if self._is_about(p, k)), ""):
            article = "an" if unsure[0] in "aeiou" else "a"
            return Look(
                finding, ("plan",), unsure, DEFAULT_MINUTES, "never", "question", f"is there {article} {unsure}?"
            )
        names = tuple(dict.fromkeys(str(p.key[1]) for p in premises))
        slots = dict(premises[0].equals)
        term = words.features.get(names[0]) or words.quantities.get(names[0])
        kind = str(slots.get("on", "")) or (term.on[0] if term and term.on else "")
        lineage = words.lineage.get(kind, ())
        minutes = next((looks.minutes[k] for k in lineage if k in looks.minutes), DEFAULT_MINUTES)
        # a state of the same name as a mark is told at any time
        marks = [p for p in premises if p.table == "seen" and str(p.key[1]) in words.features]
        stages = [lost for p in marks if (lost := self._lost(str(p.key[1]), [p.condition.on or kind])) in words.stages]
        stage = min(stages, key=words.stages.index, default="never")
        asked = " ".join(dict.fromkeys(question(p.condition) for p in premises))
        return Look(finding, names, kind, minutes, stage, self._way(premises), asked)

    def _is_about(self, premise: Premise, kind: str) -> bool:
        """Whether a premise asks for something on a kind of part, or of the point of its name."""
        slots = dict(premise.equals)
        on = str(slots.get("on") or "")
        feature = self.vocabulary.features.get(premise.condition.term) if premise.table == "seen" else None
        kinds = [on] if on else list(feature.on) if feature else []
        point = str(slots.get("at") or slots.get("to") or "")
        return (bool(kinds) and all(kind in self.vocabulary.lineage[k] for k in kinds)) or (
            bool(point) and self.vocabulary.grammar.is_a("to", point, kind)
        )

    def cannot_tell(self, finding: str) -> float:
        """The chance that honest work leaves the finding open, by its surest way that is still open."""
        chances = self.knowledge.looks.cannot_tell
        ways = [self._way(b.premises) for b in self._open(finding)]
        return min((chances.get(w, 0.0) for w in ways or ["question"]), default=0.0)

    def _way(self, premises: Iterable[Premise]) -> str:
        """How a conjunction is settled: by its least sure part."""
        ways = {way for p in premises if not p.negated for way in self._ways(p)}
        return next((w for w in ("between limits", "number", "question") if w in ways), "look")

    def _ways(self, premise: Premise) -> Iterable[str]:
        if premise.table == "limit":
            limit = self.knowledge.limits[str(dict(premise.equals)["limit"])]
            yield "between limits" if limit.strict != limit.lax else "number"
        elif premise.table == "amount":
            yield "number"
        elif premise.table == "seen":
            on = str(dict(premise.equals).get("on", ""))
            kinds = [on] if on else self.vocabulary.features[premise.condition.term].on
            asked = self.knowledge.looks.asked
            yield "question" if any(k in asked for kind in kinds for k in self.vocabulary.lineage[kind]) else "look"
        elif premise.table in ("state", "act"):
            yield "question"


def stage_of(case: Case, knowledge: Knowledge) -> str:
    """The stage of a case: as recorded, or the first at which every part of the seal on record can be looked at, whichever
    is later; "" where the record does not show that anything has begun. Of the machine much can be told without a look, and
    so can what somebody did; what is gone after a stage was seen by then, however its part comes into view later."""
    words, steps = knowledge.vocabulary, knowledge.arrangements.steps
    stages = words.stages

    def shows(kind: str, last: str = "") -> int:
        looked_at = [
            stages.index(step.stage) for step in steps for look in step.looks
            if not look.always and words.related(look.on, kind)
        ]  # fmt: skip
        return min([min(looked_at, default=-1), *([stages.index(last)] if last in stages else [])])

    features = words.features
    looks = [(o.kind, features[o.feature].lost) for o in case.observations if not features[o.feature].statements]
    kinds = {(k, last) for k, last in (*looks, *((x.kind, "") for x in case.measured)) if k}
    reached = max((shows(k, last) for k, last in kinds if words.kinds[k].place != "machine"), default=-1)
    shown = stages[reached] if reached >= 0 else ""
    return max((case.stage, shown), key=lambda stage: stages.index(stage) if stage else -1)
