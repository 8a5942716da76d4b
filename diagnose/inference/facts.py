"""Facts: what the rules match on, made from the case and its quantities.

A fact is one row of a table. Records of the machine hold at every seal position; a record on a part is given once for
each kind above the part's that some rule names, so that a condition on a kind matches everything under it. `other` is the other
position of a pair.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from operator import attrgetter

from msgspec import Struct

from diagnose.casefile.model import Case, Observation
from diagnose.casefile.said import Statement, answer, features_said, readings_for, statements_of
from diagnose.inference.rules import RuleSet
from diagnose.knowledge.model import Knowledge, Vocabulary
from diagnose.quantities import clock
from diagnose.quantities.limits import judge_limit
from diagnose.quantities.model import Quantity

Scalar = str | float | int | bool


class Fact(Struct, frozen=True):
    """One row. `id` names the record, quantity or finding it came from; `slots` are sorted (name, value) pairs."""

    table: str
    slots: tuple[tuple[str, Scalar], ...]
    id: str


def make(table: str, id: str, **slots: Scalar) -> Fact:
    return Fact(table, tuple(sorted(slots.items())), id)


def case_facts(case: Case, knowledge: Knowledge, quantities: Iterable[Quantity], rules: RuleSet) -> tuple[Fact, ...]:
    """All facts of a case, in one canonical order."""
    facts: list[Fact] = []
    for position, other in seal_positions(case):
        facts += _observations(case, knowledge, rules, position, other)
        facts += _settings(case, knowledge, position, other)
        facts += _statements(case, knowledge, rules, position, other)
        facts += _amounts(case, knowledge, rules, quantities, position, other)
        facts += _marks(case, knowledge, rules, position)
    return tuple(sorted(dict.fromkeys(facts), key=attrgetter("table", "id")))


def inputs_of(quantities: Iterable[Quantity]) -> dict[str, frozenset[str]]:
    """By quantity the ids of the records and quantities that it was computed from."""
    return {q.id: frozenset(i for _, _, i in q.inputs if i) for q in quantities}


def records_of(fact_id: str, inputs: Mapping[str, frozenset[str]]) -> frozenset[str]:
    """The ids of the records that a fact other than a finding rests on: its quantity's, both of its marks, or its own."""
    if fact_id not in inputs:
        return frozenset(fact_id.split("+"))
    return frozenset(x for i in inputs[fact_id] for x in records_of(i, inputs)) or frozenset((fact_id,))


def seal_positions(case: Case) -> list[tuple[str, str]]:
    """(position, the other position of the pair or "") for each seal position."""
    pair = dict(zip(case.positions, reversed(case.positions), strict=True)) if len(case.positions) == 2 else {}
    return [(p, pair.get(p, "")) for p in case.positions]


def _kinds(lineage: tuple[str, ...], asked: frozenset[str]) -> list[str]:
    """Of a part's kind and those above it, the ones that some premise names."""
    return [on for i, on in enumerate(lineage) if on in asked or (i == 0 and "" in asked)]


def holds_at(recorded: str, position: str) -> bool:
    """A record of the machine, or one without a position, holds at every seal position."""
    return recorded in ("", "machine", position)


def _placed(recorded: str, position: str, other: str) -> dict[str, Scalar]:
    shared = recorded in ("", "machine")
    return {"position": position, "other": "" if shared else other}


def _observations(case: Case, knowledge: Knowledge, rules: RuleSet, position: str, other: str) -> Iterable[Fact]:
    words = knowledge.vocabulary
    for o in case.observations:
        if not o.looked_for or not holds_at(o.position, position):
            continue
        rank = words.degrees.index(o.degree) + 1 if o.degree else 0
        for name in _names_of(o, words, rules):
            for on in _kinds(words.lineage[o.kind], rules.asked.get(("seen", name), frozenset())):
                yield make(
                    "seen", o.id, state=o.state, feature=name, on=on, own=on == o.kind, part=o.part or o.id,
                    group=o.group, face=o.carries, extent=o.extent.word, rank=rank, side=o.side,
                    **_placed(o.position, position, other),
                )  # fmt: skip


def _names_of(o: Observation, words: Vocabulary, rules: RuleSet) -> Iterable[str]:
    """The marks that rules ask for and an observation answers: what is there is there in general too, what is not there in
    general is there in no special way."""
    moment = {"when": o.when} if o.when else {}
    said = {**words.features[o.feature].qualifiers, **dict(o.such)}
    for term in words.also_named(o.feature, said, o.kind) if o.state == "present" else words.special[o.feature]:
        for name, such in rules.asked_marks.get(term, {}).items():
            own = {**words.features[term].qualifiers, **such}
            if o.state == "present":
                if words.grammar.implies({**said, **moment}, such):
                    yield name
            elif words.grammar.implies(own, {**dict(o.such), **(moment if "when" in such else {})}) and words.can_be_on(
                term, o.kind
            ):
                yield name


def _statements(case: Case, knowledge: Knowledge, rules: RuleSet, position: str, other: str) -> Iterable[Fact]:
    """States and acts, and the features that are names of them, as far as rules ask for either."""
    words = knowledge.vocabulary
    for said in statements_of(case, words):
        if not holds_at(said.position, position):
            continue
        placed = _placed(said.position, position, other)
        table = said.table
        for asked in rules.asked_statements.get((table, said.slots.get("variable", "")), ()):
            holds = answer(said, table, asked, words.grammar)
            if holds is not None:
                yield make(table, said.id, holds=holds, **asked, **placed)
            for span in readings_for(said, asked, words.grammar) if table == "state" else ():
                yield make(table, said.id, holds=True, low="" if span.low is None else span.low,
                           high="" if span.high is None else span.high, **asked, **placed)  # fmt: skip
        for act in words.grammar.acts_of_settings if table == "act" else ():
            holds = answer(said, "act", {"did": act.name}, words.grammar)
            for setting, term in act.setting.items() if holds is not None else ():
                yield make("setting", said.id, setting=setting, term=term, holds=bool(holds), **placed)
        for feature, state in features_said(said, words) if not said.named else ():
            for on in sorted(
                o for o in rules.asked.get(("seen", feature.name), ()) if _may_be_on(said, state, o, words)
            ):
                yield make("seen", said.id, state=state, feature=feature.name, on=on or feature.on[0], own=True, part=said.id,
                           group="", face="", extent="", rank=0, side="", **placed)  # fmt: skip


def _may_be_on(said: Statement, state: str, on: str, words: Vocabulary) -> bool:
    """Whether what was done to a kind of part of the seal can be a feature on another kind: on it and what it is a kind of; what was
    not done, on it and its kinds."""
    to = said.slots.get("to", "")
    if to not in words.kinds or on not in words.kinds or words.kinds[on].place != "seal" or on == "fit":
        return True
    return on in words.lineage[to] if state == "present" else to in words.lineage[on]


def _settings(case: Case, knowledge: Knowledge, position: str, other: str) -> Iterable[Fact]:
    for s in case.settings:
        if not holds_at(s.position, position):
            continue
        setting = knowledge.vocabulary.settings[s.setting]
        placed = _placed(s.position, position, other)
        yield make("setting", s.id, setting=s.setting, term=s.term, holds=s.holds, **placed)
        if setting.single and s.holds:
            for term in setting.terms:
                if term != s.term:
                    yield make("setting", s.id, setting=s.setting, term=term, holds=False, **placed)


def _amounts(
    case: Case, knowledge: Knowledge, rules: RuleSet, quantities: Iterable[Quantity], position: str, other: str
) -> Iterable[Fact]:
    words = knowledge.vocabulary
    for q in quantities:
        if (q.value is None and not q.word) or not holds_at(q.position, position):
            continue
        placed = _placed(q.position, position, other)
        verdicts = {limit.name: judge_limit(q, limit) for limit in knowledge.limits_on.get(q.name, ())}
        kinds = words.lineage.get(q.kind, ("",))
        amounts, limits = (rules.asked.get((table, q.name), frozenset()) for table in ("amount", "limit"))
        for on in _kinds(kinds, amounts | limits):
            common: dict[str, Scalar] = dict(
                on=on, own=on == (q.kind or ""), part=q.part or q.id, group=q.group, face=q.carries, **placed
            )
            yield make("amount", q.id, quantity=q.name, low=q.low, high=q.high, word=q.word, **common)
            for name, verdict in verdicts.items():
                yield make("limit", q.id, quantity=q.name, limit=name, verdict=verdict, **common)


def _marks(case: Case, knowledge: Knowledge, rules: RuleSet, position: str) -> Iterable[Fact]:
    for key, a, b in compared_marks(case, knowledge, rules, position):
        relation = clock.relation(case, a, b)
        if not relation.startswith("unknown"):
            yield related(key, a, b, relation, position)


def related(key: str, first: Observation, second: Observation, relation: str, position: str) -> Fact:
    return make("marks", f"{first.id}+{second.id}", pair=key, relation=relation, position=position, other="")


def compared_marks(
    case: Case, knowledge: Knowledge, rules: RuleSet, position: str
) -> Iterable[tuple[str, Observation, Observation]]:
    """Marks of a case that a rule compares on the clock, with the name of the rule's pair. What goes all round has no place."""
    lineage = knowledge.vocabulary.lineage
    here = [o for o in case.observations if o.state == "present" and holds_at(o.position, position)
            and (o.extent.arcs or o.extent.word != "all round")]  # fmt: skip
    called: dict[str, list[Observation]] = {}
    for o in here:
        for name in _names_of(o, knowledge.vocabulary, rules):
            called.setdefault(name, []).append(o)

    def of(name: str, on: str) -> list[Observation]:
        return [o for o in called[name] if not on or on in lineage[o.kind]]

    for key, first, second in rules.compared:
        if first[0] in called and second[0] in called:
            yield from ((key, a, b) for a in of(*first) for b in of(*second) if a.id != b.id)


def mark_relations(case: Case, knowledge: Knowledge, rules: RuleSet) -> tuple[Quantity, ...]:
    """How each two marks that some rule compares stand to each other on the clock, once each; unknown ones with the reason."""
    found: dict[frozenset[str], Quantity] = {}
    for position in case.positions:
        for _, a, b in compared_marks(case, knowledge, rules, position):
            pair = frozenset((a.id, b.id))
            if pair not in found:
                found[pair] = clock.compared(case, position, a, b)
    return tuple(sorted(found.values(), key=lambda q: (q.position, q.inputs, q.id)))
