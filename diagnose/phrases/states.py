"""States in a clause: a point of the machine, what of it, and how that is."""

from __future__ import annotations

import re
from collections.abc import Iterator

from diagnose.knowledge.model import Vocabulary
from diagnose.phrases.clauses import Clause
from diagnose.phrases.index import Index, Span
from diagnose.reading.units import BadUnit, unit

_ENDS = {"in": "inlet", "inlet": "inlet", "out": "outlet", "outlet": "outlet"}
_END = re.compile(" (?:in|out)(?:let)?$")
_FIGURE = re.compile(r"-?\d+(?:\.\d+)?")
UNSAID_VARIABLE, UNSAID_POINT, SUBJECT_POINT = 0.8, 0.8, 0.97


def states(
    clause: Clause, index: Index, subject: str
) -> Iterator[tuple[str, str, str, float, set[int], tuple[str, ...]]]:
    """(point, variable, value, fit, places used, asks) of every state a clause may say."""
    variables = {s.sense[1]: s for s in clause.slots.get("variable", ())}
    points = points_said(clause)
    known: dict[frozenset[int], set[str]] = {}
    for variable, value, places, guess in _values(clause, index, subject):
        named = variables.get(variable)
        if named and set(named.places) <= places and any(places.isdisjoint(s.places) for s in variables.values()):
            named = None  # "dropped" is how the amps are, not a drip
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
    for point, variable, value, places in _ends(clause, points, index.vocabulary, subject):
        yield point, variable, value, SUBJECT_POINT, places, (f"the unit of {value!r} is a guess",)


def _ends(
    clause: Clause, points: dict[str, Span], v: Vocabulary, subject: str
) -> Iterator[tuple[str, str, str, set[int]]]:
    """Figures with "in" or "out" beside them, of what goes into a point and comes out of it: "cooler in 70, out 55"."""
    for place, end in _sided(clause).items():
        for named, at in at_points(points, {place}, subject, v):
            point = v.find("point", f"{_END.sub('', named)} {_ENDS[clause.tokens[end].text]}") or named
            usual = _usual(point, set(v.grammar.variables), v) if named else set()
            measured = [(name, asked) for name in sorted(usual) if (asked := v.grammar.variables[name].unit)]
            if len(measured) == 1:
                yield point, measured[0][0], f"{clause.bare[place]} {measured[0][1]}", {place, end} | at


def _sided(clause: Clause) -> dict[int, int]:
    """The places of figures and of the "in" or "out" that stands with each, before or behind all of them alike."""
    ends = [n for n, t in enumerate(clause.tokens) if t.text in _ENDS]
    if len(ends) != len(clause.bare):
        return {}
    pairs = dict(zip(clause.bare, ends, strict=True))
    return pairs if all(abs(place - end) <= 2 for place, end in pairs.items()) else {}


def _moved(clause: Clause) -> Iterator[tuple[str, set[int]]]:
    """Whether figures rise or fall, and their places: "from 4 to 11"."""
    figures = {p: x.text for p, x in clause.lifted.items() if x.kind == "amount"} | clause.bare
    words = [t.text for t in clause.tokens]
    for place, text in figures.items():
        if words[max(0, place - 1)] != "from":
            continue
        numbers, places = [float(n) for n in _FIGURE.findall(text)], {place - 1, place}
        if len(numbers) == 1 and words[place + 1 : place + 2] == ["to"] and place + 2 in figures:
            numbers, places = [*numbers, float(_FIGURE.findall(figures[place + 2])[0])], places | {place + 1, place + 2}
        if len(numbers) == 2 and numbers[0] != numbers[1]:
            yield "rising" if numbers[1] > numbers[0] else "falling", places


def _values(clause: Clause, index: Index, subject: str) -> Iterator[tuple[str, str, set[int], str]]:
    for span in clause.slots.get("value", ()):
        if clause.named(span) or _in_longer(clause, span):
            continue
        variable, _, value = span.sense[1].partition(": ")
        guess = f"{clause.tokens[span.first].text!r} is taken for {span.guessed!r}" if span.guessed else ""
        yield variable, value, set(span.places), guess
    for place, lifted in ((p, x) for p, x in clause.lifted.items() if p not in clause.earlier):
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
    variables = [s for s in clause.slots.get("variable", ()) if not clause.named(s)]
    named = {s.sense[1] for s in variables if s.first not in clause.values_at} or {s.sense[1] for s in variables}
    said_at = points_said(clause)
    own = [point for point, _ in at_points({}, set(), subject, index.vocabulary) if point and not said_at]
    usual = {v for point in said_at or own for v in _usual(point, set(every), index.vocabulary)}
    meant = named or (usual if len(usual) < len(every) else ())
    for course, places in _moved(clause):
        for variable in sorted(meant):
            if course in every[variable].words:
                said = {
                    p for s in clause.slots.get("value", ()) if s.sense[1].startswith(f"{variable}: ") for p in s.places
                }
                yield variable, course, places | said, ""
    for place, number in ((p, n) for p, n in clause.bare.items() if p not in clause.earlier | _sided(clause).keys()):
        for variable in sorted(named or (() if own else meant)):
            if asked := every[variable].unit:
                yield variable, f"{number} {asked}", {place}, f"the unit of {number!r} is a guess"


def _in_longer(clause: Clause, span: Span) -> bool:
    """Whether a value is only a piece of a longer one of the same variable: the "usual" of "more than usual"."""
    variable = span.sense[1].partition(": ")[0]
    return any(
        len(s.places) > len(span.places) and s.sense[1].partition(": ")[0] == variable
        for place in span.places
        for s in clause.values_at.get(place, ())
    )


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
    whole = [s for s in spans if not clause.named(s)]
    return {s.sense[1]: s for s in sorted(whole, key=lambda s: -s.first)}


def at_points(points: dict[str, Span], places: set[int], subject: str, v: Vocabulary) -> list[tuple[str, set[int]]]:
    """The points a value may be said of, and where they are named."""
    named = [(name, set(s.places)) for name, s in points.items() if not set(s.places) & places]
    if named:
        return named
    own = next((p for kind in v.lineage.get(subject, ()) if (p := v.find("point", kind))), "")
    return [(own, set())]
