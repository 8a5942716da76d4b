"""States and acts on record: each is held against statements that are asked for, general or special."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from diagnose.casefile.model import Case, Span, State
from diagnose.knowledge.grammar import Grammar, Slots
from diagnose.knowledge.model import Feature, Vocabulary


@dataclass(frozen=True)
class Statement:
    """One thing said: `table` is state or act, `slots` its parts, `id` the record it stands in; `named`: by the name of a
    feature."""

    id: str
    table: str
    slots: Slots
    holds: bool
    position: str
    readings: tuple[Span, ...] = ()
    named: bool = False


def statements_of(case: Case, vocabulary: Vocabulary) -> list[Statement]:
    """Every state and act on record, those among them that a feature is the name of."""
    found = [s for state in case.states for s in _states(state)]
    for act in case.acts:
        parts = {"did": act.did, "to": act.to, "with": act.using, "when": act.when}
        found.append(Statement(act.id, "act", {k: v for k, v in parts.items() if v}, act.holds, act.position))
    names = {n.feature.name: n for n in vocabulary.named_statements if n.first}
    for o in case.observations:
        named = names.get(o.feature)
        if named and o.looked_for:
            found.append(
                Statement(o.id, named.table, named.slots, named.so == (o.state == "present"), o.position, named=True)
            )
    return found


def _states(state: State) -> Iterator[Statement]:
    said = {"at": state.point, "variable": state.variable}
    paired = len(state.when) == len(state.values) and len(state.when) > 1
    for i, value in enumerate(state.values):
        when = state.when[i] if paired else state.when[0] if len(state.when) == 1 else ""
        yield Statement(
            state.id, "state", {**said, "value": value, **({"when": when} if when else {})}, state.holds, state.position
        )
    if state.readings and state.holds:
        at_once = {"when": state.when[0]} if len(state.when) == 1 else {}
        yield Statement(state.id, "state", {**said, **at_once}, True, state.position, state.readings)


def answer(said: Statement, table: str, asked: Slots, grammar: Grammar) -> bool | None:
    """Whether a statement on record says that what is asked for is so, that it is not, or neither."""
    if said.table != table or said.readings:
        return None
    if not said.holds:
        return False if grammar.implies(asked, said.slots) else None
    if grammar.implies(said.slots, asked):
        return True
    return False if table == "state" and _shut_out(said.slots, asked, grammar) else None


def _shut_out(said: Slots, asked: Slots, grammar: Grammar) -> bool:
    """Whether a state of the same point at the same time shuts out the one asked for."""
    if "value" not in asked or said["variable"] != asked["variable"] or said["at"] != asked["at"]:
        return False
    if "when" in said and ("when" not in asked or not grammar.is_a("when", asked["when"], said["when"])):
        return False
    return grammar.variables[said["variable"]].contrary(said["value"], asked["value"])


def readings_for(said: Statement, asked: Slots, grammar: Grammar) -> Iterable[Span]:
    """The readings of a state that a comparison asks for."""
    return said.readings if "value" not in asked and grammar.implies(said.slots, asked) else ()


def features_said(said: Statement, words: Vocabulary) -> Iterable[tuple[Feature, str]]:
    """The features that a state or an act says as much as, and those it denies."""
    states: dict[str, tuple[Feature, str]] = {}
    for named in words.statements_on.get(said.slots.get("variable", ""), ()):
        holds = answer(said, named.table, named.slots, words.grammar)
        if holds is not None and holds == named.so:
            states[named.feature.name] = (named.feature, "present")
        elif holds is not None and named.first:
            states.setdefault(named.feature.name, (named.feature, "absent"))
    return states.values()
