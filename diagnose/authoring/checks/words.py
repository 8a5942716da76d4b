"""Words that contradict each other, or say nothing."""

from __future__ import annotations

from collections.abc import Iterator

from diagnose.authoring.checks.base import Base, advice, background, kind_of
from diagnose.reading.problems import Problem
from diagnose.reading.terms import did_you_mean

CODES = {
    "words-contradict": "A row's word is the lowest or highest there is and yet moves belief the other way, or a finding is always there.",
    "prior-says-nothing": "A setting makes a cause just as common as it is anyway.",
    "row-says-little": "After reading errors, a row moves belief by less than half a deciban either way.",
    "family-alone": "A card is the only one of a family whose name is much like another's.",
}
LITTLE = 0.5
"""Decibans below which a row hardly says anything."""


def problems(base: Base) -> Iterator[Problem]:
    yield from contradicting(base)
    yield from little(base)
    yield from families(base)


def contradicting(base: Base) -> Iterator[Problem]:
    words = base.knowledge.words
    lowest, highest = min(words.seen, key=words.seen.__getitem__), max(words.seen, key=words.seen.__getitem__)
    for card in base.cards:
        for row in card.leaves:
            p, b = words.seen[row.seen], background(base.knowledge, row.finding)
            otherwise = base.knowledge.findings[row.finding].otherwise
            if (row.seen == lowest and p >= b) or (row.seen == highest and p <= b):
                yield Problem(row.where, "words-contradict", f"{row.seen!r} stands beside {otherwise!r} whatever happened: "
                              f"the row would speak {'for' if p >= b else 'against'} the {kind_of(card)}",
                              "another word here, or for the finding")  # fmt: skip
    for cause in base.knowledge.causes.values():
        for prior in cause.common_when:
            if words.common[prior.common] == words.common[cause.common]:
                yield Problem(prior.where, "prior-says-nothing", f"{prior.common!r} is how common {cause.name!r} is anyway",
                              "another word, or leave the entry out")  # fmt: skip
    for finding in base.knowledge.findings.values():
        if words.seen[finding.otherwise] >= words.seen[highest]:
            yield Problem(finding.where, "words-contradict", f"{finding.name!r} is seen {finding.otherwise!r} whatever "
                          "happened: its presence says nothing", "a lower word under otherwise")  # fmt: skip


def little(base: Base) -> Iterator[Problem]:
    for card in base.cards:
        there, gone = base.weights[card.name]
        for row in card.leaves:
            at = base.net.row[row.finding]
            if row.finding not in base.net.question_of and max(abs(there[at]), abs(gone[at])) < LITTLE:
                yield advice(row.where, "row-says-little", f"{row.finding!r} {row.seen!r} moves {card.name!r} by less than "
                             f"{LITTLE:g} dB", "a stronger word where the trade has one, or leave the row out")  # fmt: skip


def families(base: Base) -> Iterator[Problem]:
    held: dict[str, list[str]] = {}
    for card in base.cards:
        held.setdefault(card.family, []).append(card.name)
    settled = [family for family, names in held.items() if family and len(names) > 1]
    for card in base.cards:
        near = did_you_mean(card.family, settled) if card.family and len(held[card.family]) == 1 else ""
        if near:
            yield advice(card.where, "family-alone", f"{card.name!r} is alone in the family {card.family!r}", near)
