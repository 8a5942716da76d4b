"""The terms held against a clause put in order with those of which a saying is only near to it.

What is near ranks among what is not read in full and stands behind what is; it is never taken as sure. Whether it is so or
denied, and of which part, is told by the clause as for any other reading.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import replace
from typing import TypeVar

from diagnose.phrases.clauses import Clause, value_said
from diagnose.phrases.hold import (
    FAMILY,
    IN_GENERAL,
    MOST_READINGS,
    NEAR,
    SAYS_MORE,
    SURE,
    WRONG,
    Held,
)
from diagnose.phrases.index import Index
from diagnose.phrases.model import Statement
from diagnose.phrases.nearness import NOT_SO, Nearness, meant_by
from diagnose.phrases.said_of import TOLD, WRONG_PART, behind_a_place, elsewhere, named_kinds, part_said
from diagnose.phrases.states import at_points, points_said
from diagnose.phrases.told import opposed, qualifiers, told, unread

T = TypeVar("T")

FULL = 0.9
"""How well a reading must fit so that nothing near is put before it."""
NEAREST, NEARLY, TAKEN_UP, USED = 1.5, 0.7, 0.7, 1.0
"""What counts against how well the words fit: how near the nearest saying is, how near the nearest three are in the mean, how
much of what was said the reading takes up, and how usual the words are for it."""
NEARLY_SAID = 0.8
"""How near a saying that something is not so must be to be taken for what was said."""
UNWORDED = 0.3
"""What is near and not read in any of its words stands behind what is, by so much."""
FAR = 0.5
"""Less than this of what the best fits is far below it, where that fits in full."""
FIGURE = 0.5
"""How near a figure is taken to be, which no saying has."""
MISPLACED = 0.65
"""How well what does not fit the part, or is not usual at the point, fits at most."""
LEAST, RARELY, MOST_NEAR = 0.55, -0.15, 8
"""How near or how usual the least is that is looked at, and how many."""
SHOWN = 0.59
"""The score of what means the same in every word: less than is likely."""
IN_OTHER_WORDS = "it is said in other words"


def blended(clause: Clause, held: list[Held], index: Index, subject: str, nearest: float) -> list[Held]:
    """The readings of a clause, best first; none by a saying alone where none is as near as `nearest`, none far below the
    best, and beside a denial that says the clause in full none that does not."""
    ranked = _ranked(clause, held, index, subject, nearest)
    best = ranked[0] if ranked else None
    if best is None or best.score < FULL:
        return ranked
    denied = best.statement.state == "absent" and best.score >= SURE and not best.left
    return [h for h in ranked if h is best or (h.score >= FAR * best.score and not (denied and _less(h)))]


def _less(held: Held) -> bool:
    """Whether a reading leaves words unread, says more than was said or of another part, or only means nearly the same."""
    return bool(held.left) or not {SAYS_MORE, WRONG, IN_OTHER_WORDS}.isdisjoint(held.asks)


def _ranked(clause: Clause, held: list[Held], index: Index, subject: str, nearest: float) -> list[Held]:
    held = _apart([h for h in held if h.score >= NEAR * held[0].score])
    if (held and held[0].score >= SURE) or nearest > 1 or (nearest and len(clause.content) < 2):
        return held
    near = index.sayings.near(clause)
    if not near.places or near.nearest < nearest:
        return held
    held = [_as_said(h, near, clause) for h in held]
    ranks = [(h.score + _nearness(h, near, clause), h) for h in held]
    own = {(h.statement.family, h.statement.term, h.statement.more.get("value", "")) for h in held}
    for h, fit in near_to(clause, near, index, subject):
        if (h.statement.family, h.statement.term, h.statement.more.get("value", "")) not in own:
            ranks.append((_nearness(h, near, clause) * fit - UNWORDED, h))
    order = [h for _, h in sorted(ranks, key=lambda r: -round(r[0], 2))]
    if held and (held[0].score >= FULL or _figured(held[0], clause)):
        order = [held[0], *(h for h in order if h is not held[0])]
    return varied(_apart(order), lambda h: (h.statement,), index)[:MOST_READINGS]


def _as_said(held: Held, near: Nearness, clause: Clause) -> Held:
    """A reading, turned round where the clause is nearly a saying that it is not so: "untouched by any knock"."""
    s = held.statement
    if s.family != "feature" or s.state != "present" or clause.cues("denied"):
        return held
    not_so = near.of((s.family, s.term, NOT_SO)) or 0.0
    if not_so < NEARLY_SAID or not_so <= (near.of((s.family, s.term, "")) or 0.0):
        return held
    state, asks = opposed(clause, held.used, s.state, list(held.asks))
    return replace(held, statement=replace(s, state=state), asks=tuple(asks))


def _nearness(held: Held, near: Nearness, clause: Clause) -> float:
    """What it counts for a reading how near a saying of it is and how much of the clause it takes up."""
    s = held.statement
    meant = meant_by(s)
    if meant[2] == NOT_SO:
        meant = max(((s.family, s.term, ""), meant), key=lambda m: near.of(m) or 0.0)
    nearest, nearly = near.of(meant), near.of_several(meant)
    used = near.used(meant)
    if IN_GENERAL in held.asks:
        nearest, nearly, used = 1.0, 1.0, 0.0
    elif nearest is None:
        nearest = nearly = FIGURE
    taken = len(held.used & clause.content) / max(1, len(clause.content))
    return NEAREST * nearest + NEARLY * nearly + TAKEN_UP * taken + USED * used


def varied(readings: list[T], said: Callable[[T], Iterable[Statement]], index: Index) -> list[T]:
    """Readings of which one that only says in general what better ones say stands behind the others."""
    line, better, again = index.vocabulary.form_lineage, list[Statement](), list[T]()
    for reading in readings:
        marks = list(said(reading))
        if all(any(b.state == s.state and s.term in line[b.term] for b in better) for s in marks):
            again.append(reading)
        better += [s for s in marks if s.family == "feature"]
    return [*(r for r in readings if r not in again), *again]


def _apart(held: list[Held]) -> list[Held]:
    """Readings without those that say the opposite of a better one, as nobody is asked whether a thing is so or not so, and
    without what a better one says by denying the thing itself: that there is none of it, or no more than usual."""
    said: dict[tuple[str, str, str], str] = {}
    denied: set[str] = set()
    result: list[Held] = []
    for h in held:
        s = h.statement
        alike = said.setdefault((s.family, s.term, s.more.get("value", "")), s.state) == s.state
        if alike and not (s.family == "state" and s.term in denied):
            result.append(h)
            denied |= {s.term} if s.family == "feature" and s.state == "absent" else set()
    return result


def near_to(
    clause: Clause, near: Nearness, index: Index, subject: str, pieces: Sequence[Clause] = (), least: float = LEAST
) -> Iterator[tuple[Held, float]]:
    """What is near to a clause, and how well that fits the part it is said of. Whether it is so is told by that of its `pieces`,
    in the order of its words, which says most of it. What is less near than `least` must be usual."""
    named = named_kinds(clause)
    behind = {kind: behind_a_place(clause, min(places)) for kind, places in named.items()}
    for (family, name, value), score, saying in near.best(MOST_NEAR):
        if score < least and near.used((family, name, value)) < RARELY:
            continue
        if value != NOT_SO and (
            any(elsewhere(name, p) for p in (clause, *pieces)) or (near.of((family, name, NOT_SO)) or 0.0) > score
        ):
            continue
        used, more, fit, misfit = near.words_of(saying), {}, 1.0, list[str]()
        if used <= clause.partly:
            continue
        number = near.sayings.spellings[saying]
        if number is None:
            on, point = at_points(points_said(clause), set(used), subject, index.vocabulary)[0]
            usual = index.vocabulary.grammar.variables[name].at
            on = on or (usual[0] if len(usual) == 1 else "")
            if not on:
                continue
            if usual and set(usual).isdisjoint(index.vocabulary.grammar.lineages["at"][on]):
                fit = MISPLACED
            used, more = used | point, {"value": value}
        else:
            term = index.spellings[number].term
            on, fit, at = part_said(term, named, behind, subject, index)
            if not term.on and on in TOLD:
                continue
            misfit = [WRONG] if fit == WRONG_PART else []
            fit = max(fit, MISPLACED)
            used |= at
            if family == "reading":
                figure = value_said(term.unit, clause)
                if figure is None:
                    continue
                more, used = {"value": figure[1].text}, used | {figure[0]}
            else:
                more = qualifiers(clause, set(used), term)[0]
        piece, own = _home(pieces or (clause,), used)
        state, asks = told(piece, bool(near.sayings.denying[saying]), own)
        if value == NOT_SO:
            state, asks = opposed(piece, own, state, asks)
        left = clause.content - used
        asks = [IN_OTHER_WORDS, *misfit, *asks, *unread(clause, left)]
        statement = Statement(family, name, "" if family == "setting" else on, state, more)
        yield (
            Held(statement, round(SHOWN * score * fit, 4), used, tuple(asks), left),
            fit * FAMILY[family],
        )


def _home(pieces: Sequence[Clause], used: frozenset[int] | set[int]) -> tuple[Clause, frozenset[int]]:
    """The piece that has most of some places, and which of its own they are."""
    start, found = 0, list[tuple[Clause, frozenset[int]]]()
    for piece in pieces:
        found.append((piece, frozenset(p - start for p in used if start <= p < start + len(piece.tokens))))
        start += len(piece.tokens)
    return max(found, key=lambda f: len(f[1]))


def _figured(held: Held, clause: Clause) -> bool:
    """Whether a reading rests on a figure, of which nothing near tells."""
    return any(clause.tokens[p].text[0].isdecimal() or p in clause.lifted for p in held.used)
