"""How causes, mechanisms and marks hang together."""

from __future__ import annotations

from collections.abc import Iterator

from diagnose.authoring.checks.base import Base, advice
from diagnose.judgement.elimination import WIDEST, Shape, plan
from diagnose.reading.problems import Problem

CODES = {
    "name-at-two-levels": "A cause and a mechanism have one name, so that nothing could tell them apart.",
    "brought-about-by-nothing": "No cause or mechanism brings the mechanism about, and by itself it hardly ever happens.",
    "leaves-nothing": "A cause or mechanism leaves no mark and brings nothing about: no record can speak for it.",
    "unused-finding": "A finding is a mark of nothing, answers no question, and no condition asks for it.",
    "too-wide": "With all marks of a mechanism on record the exact sum needs too large a table; one mark hangs on too much.",
}
BY_ITSELF = 0.01
"""A mechanism with a higher chance by itself needs nothing that brings it about."""


def problems(base: Base) -> Iterator[Problem]:
    yield from hanging(base)
    yield from marks_of_nothing(base)
    yield from too_wide(base)


def hanging(base: Base) -> Iterator[Problem]:
    k = base.knowledge
    brought = {link.mechanism for card in base.cards for link in card.brings_about}
    for mechanism in k.mechanisms.values():
        if mechanism.name in k.causes:
            yield Problem(
                mechanism.where, "name-at-two-levels", f"{mechanism.name!r} is a cause too", "another name for one"
            )
        if mechanism.name not in brought and k.words.seen[mechanism.otherwise] <= BY_ITSELF:
            yield advice(mechanism.where, "brought-about-by-nothing", f"nothing brings {mechanism.name!r} about",
                         "a link on a cause or mechanism, or a word under otherwise that carries it")  # fmt: skip
    for card in base.cards:
        if not card.leaves and not card.brings_about and not getattr(card, "answers", None):
            yield Problem(
                card.where, "leaves-nothing", f"{card.name!r} leaves nothing and brings nothing about", "a row or link"
            )


def marks_of_nothing(base: Base) -> Iterator[Problem]:
    used = {c.term for c in base.conditions if "found" in c.form} | set(base.net.question_of)
    used |= {r.finding for card in base.cards for r in card.leaves}
    for finding in base.knowledge.findings.values():
        if finding.name not in used:
            yield advice(finding.where, "unused-finding", f"no mechanism, cause, condition or question uses {finding.name!r}",
                         "a row on the card of the mechanism that leaves it")  # fmt: skip


def too_wide(base: Base) -> Iterator[Problem]:
    net = base.net
    for mechanism in base.knowledge.mechanisms.values():
        rows = [net.row[r.finding] for r in mechanism.leaves if r.finding not in net.question_of]
        if _cells(base, rows) > WIDEST:
            worst = min(rows, key=lambda r: (_cells(base, [x for x in rows if x != r]), r))
            count = len(net.left_by[worst])
            yield advice(
                mechanism.where, "too-wide",
                f"all marks of {mechanism.name!r} on one record need a table of {_cells(base, rows):,} cells ({WIDEST:,} are "
                f"summed at once); {net.findings[worst]!r}, a mark of {count} mechanisms, makes it wide",
                f"hang {net.findings[worst]!r} on fewer mechanisms, or leave out the weaker links above them",
            )  # fmt: skip


def _cells(base: Base, rows: list[int]) -> int:
    """The cells of the largest table for a record of these findings."""
    net = base.net
    marks = sorted({m for r in rows for m in net.left_by[r]})
    reached = [m for m in range(len(net.mechanisms)) if any(net.upstream[x, m] for x in marks)]
    at = {m: i for i, m in enumerate(reached)}
    shapes = [Shape(at[m], tuple(at[p] for p in net.above[m]), 2) for m in reached]
    for r in rows:
        terms = 2 if (net.marks.suppression[r] == 1).all() else 3
        shapes.append(Shape(-1, tuple(at[p] for p in net.left_by[r]), terms))
    return plan(shapes, len(reached)).widest
