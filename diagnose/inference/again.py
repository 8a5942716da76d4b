"""Deduces a case again after a small change of its records: only the rules that the change can reach are tried.

The result is what `infer` gives. Branches stand stratum by stratum, each behind those that conclude what it asks for, so
one pass in their order is enough.
"""

from __future__ import annotations

import itertools
from collections import defaultdict
from collections.abc import Iterable, Sequence
from operator import attrgetter
from typing import Any

from diagnose.casefile.model import Act, Measured, Observation, SettingFact, State
from diagnose.inference.engine import Firing, finding_id
from diagnose.inference.facts import Fact, case_facts, make, seal_positions
from diagnose.inference.match import attempt, holds, lay_out
from diagnose.inference.rules import Branch
from diagnose.inference.run import Inference, gathered
from diagnose.quantities.compute import compute
from diagnose.quantities.model import Quantity
from diagnose.reading.entry import replace

Key = tuple[str, Any]
Record = Observation | Measured | SettingFact | State | Act
_ORDER = attrgetter("table", "id")


class Step:
    """The branches of one conclusion, what they ask for, and those that fired."""

    def __init__(self, conclusion: tuple[str, str], branches: list[Branch], again: Again):
        self.kind, self.name = conclusion
        self.branches = branches
        self.keys = {p.key for b in branches for p in b.premises}
        self.rests_on = {name for table, name in self.keys if table == "found"}
        self.fired = [f for b in branches for p in again.others if (f := again.fired.get((id(b), p)))]


class Again:
    """Deduces variants of one case. Findings told in thought are not carried over."""

    def __init__(self, before: Inference):
        self.before, self.base, self.case = before, before.base, before.case
        self.others = dict(seal_positions(self.case))
        self.of_record: dict[str, list[Fact]] = defaultdict(list)
        for fact in before.facts:
            for record in fact.id.split("+"):
                self.of_record[record].append(fact)
        self.known = set(before.facts)
        self.computed: dict[frozenset[str], tuple[Quantity, ...]] = {frozenset(): before.quantities}
        self.compared = {mark.term for pair in self.base.rules.marks.values() for mark in pair}
        self.fired = {(id(f.branch), f.position): f for f in before.firings}
        self.steps = [Step(conclusion, [*branches], self) for conclusion, branches in
                      itertools.groupby(self.base.rules.branches, _concluded)]  # fmt: skip
        said = {(f.branch.conclusion.name, f.branch.conclusion.state, f.position) for f in before.firings
                if f.branch.conclusion.kind == "found"}  # fmt: skip
        self.rows = lay_out([*before.facts, *self.found(said)])

    def altered(self, left_out: Sequence[Record], added: Sequence[Observation] = ()) -> Inference:
        """The case without some records and with some observations besides."""
        out = {r.id for r in left_out}
        kept = [o for o in self.case.observations if o.id not in out]
        case = replace(
            self.case, observations=tuple(sorted([*kept, *added], key=attrgetter("id"))),
            measured=tuple(m for m in self.case.measured if m.id not in out),
            settings=tuple(s for s in self.case.settings if s.id not in out),
            states=tuple(s for s in self.case.states if s.id not in out),
            acts=tuple(a for a in self.case.acts if a.id not in out),
        )  # fmt: skip
        read = frozenset(r.id for r in left_out if not isinstance(r, Observation | Act))
        if read not in self.computed:
            self.computed[read] = compute(case, self.base.knowledge)
        quantities = self.computed[read]
        old, new = set(self.before.quantities), set(quantities)
        out |= {q.id for q in old - new}
        marks = any(o.feature in self.compared for o in added)
        beside = [o for o in kept if o.feature in self.compared] if marks else []
        alone = replace(case, observations=(*added, *beside), settings=(), measured=(), states=(), acts=())
        made = case_facts(alone, self.base.knowledge, [q for q in quantities if q not in old], self.base.rules)
        gone = {fact for record in out for fact in self.of_record[record]}
        come = [f for f in made if f in gone or f not in self.known]
        same = {id(f) for f in gone}
        facts = [f for f in self.before.facts if id(f) not in same]
        facts = sorted([*facts, *come], key=_ORDER) if come else facts
        left, more = {f.id for f in gone}, lay_out(come)
        touched: set[Key] = {*lay_out(gone), *more}
        rows = dict(self.rows)
        for key in touched:
            rows[key] = [r for r in rows.get(key, ()) if r["id"] not in left] + more.get(key, [])
        firings, moved = self.refired(rows, touched)
        after = gathered(case, self.base, quantities, tuple(facts), firings, {})
        after.take_leaves(self.before, moved)
        return after

    def refired(self, rows: dict[Key, list[Any]], touched: set[Key]) -> tuple[tuple[Firing, ...], set[str]]:
        """The firings after facts of these keys changed, in the order of the branches, and the findings that may rest on
        other records than before."""
        result: list[Firing] = []
        moved: set[str] = set()
        for step in self.steps:
            if not moved.isdisjoint(step.rests_on):
                moved.add(step.name)
            if touched.isdisjoint(step.keys):
                result += step.fired
                continue
            now = [f for b in step.branches for p in self.others if (f := self.tried(b, p, rows, touched))]
            result += now
            if step.kind == "found" and now != step.fired:
                moved.add(step.name)
                before, after = (
                    {(step.name, f.branch.conclusion.state, f.position) for f in fs} for fs in (step.fired, now)
                )
                if before != after:
                    touched.add(("found", step.name))
                    rows["found", step.name] = lay_out(self.found(after)).get(("found", step.name), [])
        return tuple(result), moved

    def tried(self, branch: Branch, position: str, rows: dict[Key, list[Any]], touched: set[Key]) -> Firing | None:
        if not any(p.key in touched for p in branch.premises):
            return self.fired.get((id(branch), position))
        if not holds(branch, rows, position):
            return None
        trial = attempt(branch, rows, position)
        return Firing(branch, position, tuple(v.ids for v in trial.verdicts)) if trial.fires else None

    def found(self, said: Iterable[tuple[str, str, str]]) -> list[Fact]:
        """Facts of findings said (name, state, position)."""
        return [make("found", finding_id(name, p), finding=name, state=state, position=p, other=self.others[p])
                for name, state, p in sorted(said)]  # fmt: skip


def _concluded(branch: Branch) -> tuple[str, str]:
    return branch.conclusion.kind, branch.conclusion.name
