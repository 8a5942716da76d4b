"""What on record does not go together: told to whoever records it or reads the answer, and refused nowhere.

Six ways: what the rule base declares (`at-odds.yaml`); a number that shows a finding against a mark that denies it, or the
other way round, as the finding's own rules say; a state or an act that is on record as so and as not so, and what a feature excludes, of no one part; a figure that a
setting leaves no room for; "8 of 10" of what there are not so many of; and on one ring of a pair of faces what only the other
one can show.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from itertools import product

from diagnose.casefile.model import Case
from diagnose.casefile.said import answer, statements_of
from diagnose.inference.engine import Firing, Reasoner
from diagnose.inference.facts import case_facts, holds_at, inputs_of, records_of, seal_positions
from diagnose.inference.rules import Branch, Conclusion, Premise, RuleSet, TooWide, expand
from diagnose.knowledge.conditions import walk
from diagnose.knowledge.model import Condition, Knowledge
from diagnose.quantities.compute import compute
from diagnose.quantities.model import Quantity
from diagnose.reading.problems import BadInput, Problem

NUMBERS = ("amount", "limit")
"""The tables of facts that are numbers."""
Ways = dict[str, list[tuple[Premise, ...]]]


@dataclass(frozen=True, order=True)
class Odd:
    """Records on two sides that do not go together, by their ids in the case; `parts`: item numbers on the list, in place of
    the other side."""

    one: tuple[str, ...]
    other: tuple[str, ...] = ()
    parts: tuple[str, ...] = ()


class Odds:
    """What of a rule base can be at odds, compiled once for any number of cases; from its compiled rules where they are at hand."""

    def __init__(self, knowledge: Knowledge, compiled: RuleSet | None = None):
        self.knowledge = knowledge
        self.rules = RuleSet(tuple(_branches(knowledge, _told_by_numbers(knowledge, compiled))))
        self.reasoner = Reasoner(self.rules.branches)
        self._last: tuple[Case, tuple[Odd, ...]] | None = None

    def of(self, case: Case, quantities: tuple[Quantity, ...] | None = None) -> tuple[Odd, ...]:
        """Every two sides of the record that do not go together, each once, in a fixed order. `quantities`: those of the case,
        where they are known."""
        if self._last is None or self._last[0] is not case:
            self._last = case, self._found(case, compute(case, self.knowledge) if quantities is None else quantities)
        return self._last[1]

    def _found(self, case: Case, quantities: tuple[Quantity, ...]) -> tuple[Odd, ...]:
        found = {*_by_rules(case, self, quantities), *_so_and_not_so(case, self.knowledge), *_left_no_room(case, self.knowledge), *_excluded(case, self.knowledge),
                 *_more_than_there_are(case, self.knowledge), *_on_the_other_ring(case, self.knowledge)}  # fmt: skip
        return tuple(sorted(odd for odd in found if odd.one != odd.other))


# ---- by rules -------------------------------------------------------------------------------------------------------


def _by_rules(case: Case, odds: Odds, quantities: tuple[Quantity, ...]) -> Iterator[Odd]:
    knowledge, inputs = odds.knowledge, inputs_of(quantities)
    facts = case_facts(case, knowledge, quantities, odds.rules)
    fired = odds.reasoner.run(facts, seal_positions(case))
    part_of = {o.id: o.part for o in case.observations} | {q.id: q.part for q in quantities}
    faint = {o.id for o in case.observations if o.degree and o.degree == knowledge.vocabulary.degrees[0]}
    said: dict[tuple[str, str, str], list[Firing]] = {}
    for firing in fired:
        conclusion = firing.branch.conclusion
        if conclusion.kind == "at odds":
            yield from _declared(firing, case, knowledge, inputs)
        else:
            said.setdefault((conclusion.name, firing.position, conclusion.state), []).append(firing)
    for finding, position, state in said:
        there, not_there = (said.get((finding, position, s), []) for s in ("present", "absent"))
        for one, other in product(there, not_there) if state == "present" else ():
            sides = [[i for ids in f.supports for i in ids] for f in (one, other)]
            on = {part_of.get(i, "") for side in sides for i in side} - {""}
            if (
                _sort(one.branch.premises) != _sort(other.branch.premises)
                and len(on) < 2
                and not faint & {*sides[0], *sides[1]}
            ):
                yield Odd(*sorted(_records(side, inputs) for side in sides))


def _declared(firing: Firing, case: Case, knowledge: Knowledge, inputs: Mapping[str, frozenset[str]]) -> Iterator[Odd]:
    first, *more = [_records(ids, inputs) for ids in firing.supports if ids]
    kinds = knowledge.at_odds[int(firing.branch.conclusion.name)].beside
    lineage = knowledge.vocabulary.lineage
    parts = tuple(p.item for p in case.parts
                  if holds_at(p.position, firing.position) and any(k in lineage[p.kind] for k in kinds))  # fmt: skip
    if kinds and parts:
        yield Odd(first, tuple(sorted(i for ids in more for i in ids)), parts)
    elif not kinds:
        rest = tuple(sorted(i for ids in more for i in ids))
        yield Odd(*sorted((first, rest))) if rest else Odd(first[:1], first[1:])


def _records(ids: Iterable[str], inputs: Mapping[str, frozenset[str]]) -> tuple[str, ...]:
    """The records that facts rest on."""
    return tuple(sorted({x for i in ids for x in records_of(i, inputs)}))


def _branches(knowledge: Knowledge, told: Mapping[str, Ways]) -> Iterator[Branch]:
    for number, odd in enumerate(knowledge.at_odds):
        for i, premises in enumerate(_expanded(odd.when, knowledge)):
            yield Branch("at odds", str(number), i, premises, Conclusion("at odds", str(number)), odd.where)
    for name, ways in sorted(told.items()):
        finding = knowledge.findings[name]
        sides = {state: [(p, _sort(p, state)) for p in every] for state, every in ways.items()}
        for state, against in (("present", "absent"), ("absent", "present")):
            others = {sort for _, sort in sides[against]} - {""}
            kept = [premises for premises, sort in sides[state] if sort and others - {sort}]
            for i, premises in enumerate(kept):
                yield Branch(name, finding.id, i, premises, Conclusion("found", name, state), finding.where)


def _told_by_numbers(knowledge: Knowledge, compiled: RuleSet | None) -> dict[str, Ways]:
    """By finding that asks for a number: all the ways in which it is present, and absent."""
    told: dict[str, Ways] = {}
    if compiled is None:
        for name, finding in knowledge.findings.items():
            sides = {"present": finding.when, "absent": finding.absent_when}
            if any(c.form == "quantity" for condition in sides.values() for c in walk(condition)):
                told[name] = {state: _expanded(c, knowledge) if c else [] for state, c in sides.items()}
        return told
    for branch in compiled.branches:
        if branch.conclusion.kind == "found":
            ways = told.setdefault(branch.conclusion.name, {"present": [], "absent": []})
            ways[branch.conclusion.state].append(branch.premises)
    return {name: ways for name, ways in told.items()
            if any(p.table in NUMBERS for every in ways.values() for premises in every for p in premises)}  # fmt: skip


def _sort(premises: tuple[Premise, ...], state: str = "") -> str:
    """numbers or marks, where premises rest on such alone, and marks on their being there or not as the finding is: that a
    mark is seen in place of another is no denial."""
    asked = [p for p in premises if not p.negated]
    if all(p.table in NUMBERS for p in asked):
        return "numbers" if asked else ""
    as_found = all(
        p.table == "seen" and dict(p.equals)["state"] in ("", state or dict(p.equals)["state"]) for p in asked
    )
    return "marks" if as_found else ""


def _expanded(condition: Condition, knowledge: Knowledge) -> list[tuple[Premise, ...]]:
    try:
        return expand(condition, knowledge)
    except TooWide as error:
        raise BadInput([Problem(condition.where, "too-wide", str(error), "say it in several entries")]) from error


# ---- by what words mean ---------------------------------------------------------------------------------------------


def _so_and_not_so(case: Case, knowledge: Knowledge) -> Iterator[Odd]:
    said, grammar = statements_of(case, knowledge.vocabulary), knowledge.vocabulary.grammar
    for denied in (s for s in said if not s.holds):
        for so in (s for s in said if s.holds and not (s.named and denied.named)):
            placed = so.position == denied.position or {so.position, denied.position} & {"", "machine"}
            if placed and answer(so, denied.table, denied.slots, grammar):
                yield Odd(*sorted(((so.id,), (denied.id,))))


def _excluded(case: Case, knowledge: Knowledge) -> Iterator[Odd]:
    """What a feature excludes, where no part is named; on one part the reader refuses it."""
    seen = [o for o in case.observations if o.state == "present" and not o.part]
    for o in seen:
        for x in (x for x in seen if x.feature in knowledge.vocabulary.features[o.feature].excludes):
            if x.position == o.position:
                yield Odd(*sorted(((o.id,), (x.id,))))


def _left_no_room(case: Case, knowledge: Knowledge) -> Iterator[Odd]:
    """Figures that there are none of beside a term of a setting."""
    for x in case.measured:
        for setting, term in knowledge.vocabulary.readings[x.what].not_with.items():
            for s in case.settings:
                if (s.setting, s.term, s.holds) == (setting, term, True) and holds_at(s.position, x.position):
                    yield Odd((x.id,), (s.id,))


def _more_than_there_are(case: Case, knowledge: Knowledge) -> Iterator[Odd]:
    lineage = knowledge.vocabulary.lineage
    for o in (o for o in case.observations if o.of):
        for kind, figure in knowledge.counted_by.items():
            for x in case.measured:
                counted = x.what == figure and holds_at(x.position, o.position) and kind in lineage[o.kind]
                if counted and x.readings[0].value != o.of:
                    yield Odd((o.id,), (x.id,))


def _on_the_other_ring(case: Case, knowledge: Knowledge) -> Iterator[Odd]:
    """What the looks ask only of a ring that carries the other side of the pair of faces."""
    asked: dict[str, set[str]] = {}
    for look in (look for step in knowledge.arrangements.steps for look in step.looks):
        for term in (*look.features, *look.readings):
            asked.setdefault(term, set()).add(look.carries)
    said = [(o.id, o.feature, o.part) for o in case.observations if o.state == "present"]
    for id, term, item in (*said, *((x.id, x.what, x.part) for x in case.measured)):
        part = case.part(item)
        if part and part.carries and asked.get(term, {""}).isdisjoint({"", part.carries}):
            yield Odd((id,), (), (item,))
