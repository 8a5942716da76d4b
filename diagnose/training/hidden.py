"""What is true of a seal that a trainee cannot know yet: every trace with the last stage at which it can be found.

The truth is a case with a full record; what it does not hold is sound.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property

from diagnose.casefile.model import Act, Case, Event, Measured, Observation, Part, SettingFact, State
from diagnose.casefile.walk import why_lost
from diagnose.inference.run import RuleBase
from diagnose.judgement.diagnosis import Diagnosis
from diagnose.knowledge.conditions import walk
from diagnose.knowledge.model import Condition, Knowledge, Measurement
from diagnose.knowledge.teardown import in_view, seen_from
from diagnose.reading.entry import replace

Record = Observation | Measured | SettingFact | State | Act | Event
NEVER = "never"
HISTORY, SEAL = "history", "seal"


@dataclass(frozen=True)
class Trace:
    """One thing that is there to be seen, measured or told. `lost`: the last stage at which it can be found, "never"
    where it stays; `gone`: why nobody could find it from the start, "" where somebody could."""

    id: str
    record: Record
    kind: str
    part: str = ""
    position: str = ""
    lost: str = NEVER
    gone: str = ""

    @property
    def what(self) -> str:
        r = self.record
        if isinstance(r, Observation):
            return r.feature
        return r.what if isinstance(r, Measured | Event) else getattr(r, "term", "")


class Hidden:
    """A case as the truth behind a drill, with its rule base."""

    def __init__(self, case: Case, base: RuleBase):
        self.case, self.base = case, base
        self.knowledge: Knowledge = base.knowledge
        self.words = base.knowledge.vocabulary
        self.teardown = base.knowledge.teardown

    @cached_property
    def diagnosis(self) -> Diagnosis:
        """Everything on record, as the case has it."""
        return Diagnosis(self.case, self.base)

    @cached_property
    def traces(self) -> tuple[Trace, ...]:
        return tuple(self._traces())

    @cached_property
    def by_id(self) -> dict[str, Trace]:
        return {t.id: t for t in self.traces}

    @cached_property
    def parts(self) -> dict[str, Part]:
        return {p.item: p for p in self.case.parts}

    @cached_property
    def known(self) -> Case:
        """What stands on the job sheet: the machine, its duty, the seal and its parts; nothing that was seen or told."""
        case = self.case
        return replace(
            case, name="drill", path="drill", digest="", about="", observations=(), events=(), states=(), acts=(),
            remarks=(), not_understood=(), expected=None, stage=self.words.stages[1] if len(self.words.stages) > 1 else "",
            settings=tuple(s for s in case.settings if self.section(s) != HISTORY),
            measured=tuple(x for x in case.measured if not x.kind and self.figure_section(x) != HISTORY),
        )  # fmt: skip

    def section(self, s: SettingFact) -> str:
        setting = self.words.settings.get(s.setting)
        return setting.section if setting else ""

    def figure_section(self, x: Measured) -> str:
        return self.words.readings[x.what].section

    # ---- traces -----------------------------------------------------------------------------------------------

    def _traces(self) -> Iterable[Trace]:
        case = self.case
        for o in case.observations:
            if o.state in ("present", "lost"):
                yield Trace(o.id, o, o.kind, o.part, o.position, self.last_stage(o.feature, o.kind), self._gone(o))
        for x in case.measured:
            if x.kind:
                yield Trace(x.id, x, x.kind, x.part, x.position, self._last_measured(x), self._gone(x))
            elif self.figure_section(x) == HISTORY:
                yield Trace(x.id, x, HISTORY, "", x.position)
        for s in case.settings:
            if self.section(s) == HISTORY:
                yield Trace(s.id, s, HISTORY, "", s.position)
        for state in case.states:
            yield Trace(state.id, state, HISTORY, "", state.position)
        for act in case.acts:
            yield Trace(act.id, act, HISTORY, "", act.position)
        for n, event in enumerate(case.events):
            yield Trace(f"event {n}", event, HISTORY)

    def _gone(self, record: Observation | Measured) -> str:
        if isinstance(record, Observation) and record.state == "lost":
            return record.note or "lost before anyone looked"
        part = self.parts.get(record.part)
        return why_lost(self.case, part) if part else ""

    def asked(self, kind: str) -> bool:
        """Whether people are asked about a kind, so that time takes nothing away."""
        return bool({*self.knowledge.looks.asked, *self.teardown.asked} & set(self.words.lineage.get(kind, ())))

    def last_stage(self, feature: str, kind: str) -> str:
        """The last stage at which a feature of a kind can be found. What only showed while the machine ran can be asked."""
        stages, lost = self.words.stages, self.words.features[feature].lost
        return NEVER if self.asked(kind) or lost not in stages or lost == stages[0] else lost

    def _last_measured(self, x: Measured) -> str:
        """By the order of dismantling and by the measurements that tell something from it, the later of them."""
        stages = self.words.stages
        last = [stages.index(s.stage) for s in self.knowledge.arrangements.steps for look in s.looks
                if x.what in look.readings and self.related(x.kind, look.on)]  # fmt: skip
        names = {q.name for q in self.diagnosis.quantities if any(x.id == i for _, _, i in q.inputs)}
        told = {f.name for f in self.knowledge.findings.values() if names & self.quantities_of(f.name)}
        cards = [
            m for m in self.knowledge.measurements.values() if told & set(m.tells) and self.related(m.part, x.kind)
        ]
        if self.asked(x.kind) or any(m.stage not in stages for m in cards):
            return NEVER
        last += [stages.index(m.stage) for m in cards]
        return stages[max(last)] if last and max(last) > 0 else NEVER

    # ---- what rules ask for -----------------------------------------------------------------------------------

    def conditions(self, finding: str, seen: frozenset[str] = frozenset()) -> list[Condition]:
        """Every condition a finding rests on, through the findings it is made of."""
        found: list[Condition] = []
        for c in walk(self.knowledge.findings[finding].when):
            if c.form in ("found", "found absent", "not found"):
                if c.term not in seen and c.term in self.knowledge.findings:
                    found += self.conditions(c.term, seen | {finding})
            else:
                found.append(c)
        return found

    def quantities_of(self, finding: str) -> set[str]:
        return {c.term for c in self.conditions(finding) if c.form == "quantity"}

    def related(self, one: str, other: str) -> bool:
        """Whether one kind is the other or lies under or above it."""
        lines = self.words.lineage
        return one in lines.get(other, ()) or other in lines.get(one, ())

    # ---- access -----------------------------------------------------------------------------------------------

    def in_view(self, kind: str) -> int:
        """The place of the stage from which a kind can be seen whole."""
        return in_view(self.teardown, self.words, kind)

    def seen_from(self, kind: str, last: str) -> int:
        """The place of the stage from which something can be seen whose last stage is given."""
        return seen_from(self.teardown, self.words, kind, last)

    def read_from(self, reading: str, kind: str) -> int:
        """The place of the stage from which a reading of a kind can be taken: the order of dismantling asks for some before
        their part is in view whole."""
        asked = [s.stage for s in self.knowledge.arrangements.steps for look in s.looks
                 if reading in look.readings and self.related(kind, look.on)]  # fmt: skip
        return min((self.seen_from(kind, stage) for stage in asked), default=self.in_view(kind))

    def last_of(self, card: Measurement) -> str:
        stages = self.words.stages
        return card.stage if card.stage in stages and not self.asked(card.part) else NEVER

    def looked_for(self, kind: str) -> tuple[str, ...]:
        """The features that the order of dismantling looks for on a kind, each once."""
        lines = self.words.lineage.get(kind, ())
        names = [f for step in self.knowledge.arrangements.steps for look in step.looks
                 if (look.on in lines and not (look.always and look.on != kind))
                 for f in look.features if self.words.can_be_on(f, kind)]  # fmt: skip
        return tuple(dict.fromkeys(names))

    @cached_property
    def answers(self) -> frozenset[str]:
        """Features that answer a question, of which one holds: that one was not named says nothing."""
        findings = {f for q in self.knowledge.questions.values() for f in q.answers}
        return frozenset(c.term for f in findings if f in self.knowledge.findings for c in self.conditions(f))

    @cached_property
    def there(self) -> frozenset[str]:
        """The findings that are there, at any position."""
        found = self.diagnosis.inference.findings.values()
        return frozenset(f for findings in found for f, d in findings.items() if d.state == "present")

    @cached_property
    def denying(self) -> frozenset[str]:
        """Features whose absence would deny a finding that is there, though it may show by another."""
        rules = (self.knowledge.findings[f].absent_when for f in self.there if f in self.knowledge.findings)
        return frozenset(c.term for rule in rules if rule for c in walk(rule) if c.form == "absent")

    @cached_property
    def kinds(self) -> tuple[str, ...]:
        """Kinds that can be looked at or asked about though no part of the list is one."""
        named = [look.on for step in self.knowledge.arrangements.steps for look in step.looks if look.always]
        machine = [k.name for k in self.words.kinds.values() if k.place == "machine"]
        here = [t.kind for t in self.traces if not t.part]
        return tuple(dict.fromkeys([*named, *machine, *here]))
