"""What a phrase may mean as a whole, put in order with what its clauses say one by one.

How usual all its words together are for each thing that can be meant counts beside how well a reading fits. What only the whole
tells is never taken as sure, and what the words say in full stays first.
"""

from __future__ import annotations

from collections.abc import Sequence

from diagnose.phrases.blend import FULL, near_to, varied
from diagnose.phrases.clauses import Clause
from diagnose.phrases.hold import WRONG, Held, in_general
from diagnose.phrases.index import Index
from diagnose.phrases.model import Reading, Statement
from diagnose.phrases.nearness import NOT_SO, UNUSUAL, Meant, Nearness, meant_by
from diagnose.phrases.said_of import elsewhere

USED, FITS, SEVERAL, MISFIT = 1.5, 2.0, 0.85, 1.0
"""What it counts how usual the words are, how well a reading fits, that it says more than one thing, and, against it, that it is of
another part or place. All but the last, and PLACED, were fitted to the open phrases (tests/blind), by the likelihood of the right reading."""
PLACED = (1.6, 0.55, 0.05, -0.25)
"""What the place counts that a reading has by its clauses."""
LOOKED_AT = 3
"""How many readings somebody looks at."""


def in_whole(
    readings: Sequence[Reading], whole: Clause, pieces: Sequence[Clause], index: Index, part: str
) -> list[Reading]:
    """The readings of a phrase, `whole` made of its `pieces`, and what only the whole tells, best first."""
    first = readings[0] if readings else None
    if first and first.score >= FULL and any(s.state == "absent" for s in first.statements):
        return list(readings)
    near = index.sayings.near(whole)
    if not near.places:
        return list(readings)
    ranks = [(_fits(r, near, pieces) + placed, r) for r, placed in zip(readings, PLACED, strict=False)]
    said = {meant_by(s) for r in readings for s in r.statements}
    for held, _ in near_to(whole, near, index, part, pieces, least=0.0):
        meant = meant_by(held.statement)
        if meant not in said:
            said.add(meant)
            ranks.append((USED * near.used(meant) - MISFIT * (WRONG in held.asks), _reading(held, whole)))
    order = [r for _, r in sorted(ranks, key=lambda r: -round(r[0], 2))]
    if first and (first.score >= FULL or _figured(first)):
        order = [first, *(r for r in order if r is not first)]
    return _with_general(varied(order, lambda r: r.statements, index), pieces, near, index, part)


def _with_general(
    readings: list[Reading], pieces: Sequence[Clause], near: Nearness, index: Index, part: str
) -> list[Reading]:
    """The readings with the general mark whose word is said, and that the words are most used for, where none of the first three
    says it: among these, or behind them where the words are not used for it."""
    shown = [s for r in readings[:LOOKED_AT] if WRONG not in r.asks for s in r.statements]
    line, said = index.vocabulary.form_lineage, {meant_by(s) for s in shown}
    terms = [s.term for s in shown if s.family == "feature"]
    others = [
        (held.literal, near.used(meant_by(held.statement)), held, piece)
        for piece in pieces
        for held in in_general(piece, index, part)
        if meant_by(held.statement) not in said and not any(held.statement.term in line[t] for t in terms)
    ]
    if not others:
        return readings
    _, used, held, piece = max(others, key=lambda o: o[:2])
    general = _reading(held, piece)
    kept = [r for r in readings if r.statements != general.statements]
    place = LOOKED_AT - 1 if used > UNUSUAL else LOOKED_AT
    return [*kept[:place], general, *kept[place:]]


def _fits(reading: Reading, near: Nearness, pieces: Sequence[Clause]) -> float:
    several = SEVERAL if len(reading.statements) > 1 else 0.0
    misfit = MISFIT if _misplaced(reading, pieces) else 0.0
    return USED * _used(reading, near) + FITS * reading.score + several - misfit


def _reading(held: Held, clause: Clause) -> Reading:
    return Reading((held.statement,), "weak", held.score, clause.words(held.used), clause.words(held.left), held.asks)


def _used(reading: Reading, near: Nearness) -> float:
    """How usual the words are for what a reading says: of what is denied, for that or for the thing itself, of a figure, for any
    value of the state."""
    each = [max(near.used(m) for m in _alike(s, near)) for s in reading.statements]
    return sum(each) / len(each)


def _alike(s: Statement, near: Nearness) -> list[Meant]:
    """All for which words may be usual that say a statement."""
    meant = meant_by(s)
    if meant[2] == NOT_SO:
        return [meant, (*meant[:2], "")]
    if s.family == "state" and _a_figure(s):
        return [m for m in near.sayings.meant if m[:2] == meant[:2]]
    return [meant]


def _figured(reading: Reading) -> bool:
    """Whether a reading rests on a figure, which the words tell nothing of."""
    return any(map(_a_figure, reading.statements)) or any(w[:1].isdecimal() for w in reading.used)


def _misplaced(reading: Reading, pieces: Sequence[Clause]) -> bool:
    """Whether a reading is of another part or place than was said."""
    return WRONG in reading.asks or any(elsewhere(s.term, p) for s in reading.statements for p in pieces)


def _a_figure(s: Statement) -> bool:
    return s.more.get("value", "")[:1].isdecimal()
