"""States in a clause: a point of the machine, what of it, and how that is."""

from __future__ import annotations

from collections.abc import Iterator

from diagnose.knowledge.model import Vocabulary
from diagnose.phrases.clauses import Clause
from diagnose.phrases.index import Index, Span
from diagnose.reading.units import BadUnit, unit

UNSAID_VARIABLE, UNSAID_POINT, SUBJECT_POINT = 0.8, 0.8, 0.97


def states(
    clause: Clause, index: Index, subject: str
) -> Iterator[tuple[str, str, str, float, set[int], tuple[str, ...]]]:
    """(point, variable, value, fit, places used, asks) of every state a clause may say."""
    variables = {s.sense[1]: s for s in clause.slots.get("variable", ())}
    points = points_said(clause)
    known: dict[frozenset[int], set[str]] = {}
    for variable, value, places, guess in _values(clause, index):
        named = variables.get(variable)
        if named and places < set(named.places):
            continue
        own, places = places, places | (set(named.places) if named else set())
        fit, asks = 1.0, [guess] if guess else []
        at_once = frozenset(places)
        if at_once not in known:
            known[at_once] = _said_of(clause, places)
        others = set() if named else (known[at_once] or _alike(index, variable)) - {variable}
        if others:
            fit *= UNSAID_VARIABLE
            asks.append(f"that it is the {variable} is a guess")
        for point, at in at_points(points, own, subject, index.vocabulary):
            if point and (not others or variable in _usual(point, others | {variable}, index.vocabulary)):
                yield point, variable, value, fit * (1.0 if at else SUBJECT_POINT), places | at, tuple(asks)
            elif named and not point:
                only = index.vocabulary.grammar.variables[variable].at
                meant = only[0] if len(only) == 1 else ""
                yield meant, variable, value, fit * UNSAID_POINT, places, (*asks, "no point is named")


def _values(clause: Clause, index: Index) -> Iterator[tuple[str, str, set[int], str]]:
    for span in clause.slots.get("value", ()):
        if clause.named(span):
            continue
        variable, _, value = span.sense[1].partition(": ")
        guess = f"{clause.tokens[span.first].text!r} is taken for {span.guessed!r}" if span.guessed else ""
        yield variable, value, set(span.places), guess
    for place, lifted in clause.lifted.items():
        for name, term in index.vocabulary.grammar.variables.items():
            if lifted.kind == "amount" and term.unit:
                try:
                    fits = unit(lifted.unit).kind == unit(term.unit).kind
                except BadUnit:
                    continue
                if fits:
                    yield (
                        name,
                        lifted.text,
                        {place},
                        f"the unit of {lifted.said!r} is a guess" if lifted.guessed else "",
                    )
    every = index.vocabulary.grammar.variables
    named = dict.fromkeys(s.sense[1] for s in clause.slots.get("variable", ()) if not clause.named(s))
    usual = {v for point in points_said(clause) for v in _usual(point, set(every), index.vocabulary)}
    meant = named or (usual if len(usual) < len(every) else ())
    for place, number in clause.bare.items():
        for variable in sorted(meant):
            if asked := every[variable].unit:
                yield variable, f"{number} {asked}", {place}, f"the unit of {number!r} is a guess"


def _usual(point: str, among: set[str], v: Vocabulary) -> set[str]:
    """Those of some variables that are meant of a point where none is named; all of them where nothing is usual there."""
    for above in v.grammar.lineages["at"][point]:
        usual = {name for name, variable in v.grammar.variables.items() if above in variable.at}
        if among & usual:
            return among & usual
        if usual and len(among) > 2:
            return set()
    return among if len(among) > 2 else set(sorted(among, key=list(v.grammar.variables).index)[:1])


def _said_of(clause: Clause, places: set[int]) -> set[str]:
    """The variables whose value the words at some places may be."""
    spans = clause.values_at.get(min(places), ())
    return {s.sense[1].partition(": ")[0] for s in spans if places <= set(s.places)}


def _alike(index: Index, variable: str) -> set[str]:
    """The variables with a unit of the same kind."""
    every = index.vocabulary.grammar.variables
    kind = _kind(every[variable].unit)
    return {name for name, other in every.items() if _kind(other.unit) == kind}


def _kind(name: str | None) -> object:
    return unit(name).kind if name else None


def points_said(clause: Clause) -> dict[str, Span]:
    spans = clause.slots.get("point", [])
    whole = [
        s
        for s in spans
        if not any(o.first <= s.first and s.last <= o.last and len(o.places) > len(s.places) for o in spans)
    ]
    return {s.sense[1]: s for s in sorted(whole, key=lambda s: -s.first)}


def at_points(points: dict[str, Span], places: set[int], subject: str, v: Vocabulary) -> list[tuple[str, set[int]]]:
    """The points a value may be said of, and where they are named."""
    named = [(name, set(s.places)) for name, s in points.items() if not set(s.places) & places]
    if named:
        return named
    own = next((p for kind in v.lineage.get(subject, ()) if (p := v.find("point", kind))), "")
    return [(own, set())]
