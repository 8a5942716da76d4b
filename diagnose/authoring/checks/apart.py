"""Causes, and mechanisms, that cannot be told apart."""

from __future__ import annotations

import itertools
from collections.abc import Iterator

import numpy as np

from diagnose.authoring.checks.base import Base, advice, kind_of
from diagnose.judgement.weights import decibans
from diagnose.knowledge.model import Explained
from diagnose.reading.problems import Problem

CODES = {
    "look-alike-of-itself": "A card is named as its own look-alike.",
    "look-alike-not-parted": "The finding that should part two look-alikes does not speak for the one it is said to favour.",
    "look-alike-hardly-parted": "The finding that should part two look-alikes does so by less than three decibans.",
    "causes-alike": "No finding or answer, present or absent, parts two causes.",
    "mechanisms-alike": "No finding, present or absent, parts two mechanisms.",
    "confirms-nothing": "A measurement is named to confirm a card and decides no finding that bears on it.",
}
PARTED_FROM = 3.0
"""Decibans from which a finding parts two causes or mechanisms."""


def problems(base: Base) -> Iterator[Problem]:
    yield from look_alikes(base)
    yield from alike(base)
    yield from confirming_nothing(base)


def look_alikes(base: Base) -> Iterator[Problem]:
    for card in base.cards:
        for x in card.look_alikes:
            if x.other == card.name:
                yield Problem(x.where, "look-alike-of-itself", f"{card.name!r} is named as its own look-alike",
                              f"name the other {kind_of(card)}")  # fmt: skip
                continue
            against = x.other if x.favours == card.name else card.name
            apart = _apart(base, x.finding, x.favours, against)
            if apart <= 0:
                says = f"{x.finding!r} does not speak for {x.favours!r} rather than {against!r}: {apart:+.1f} dB"
                yield Problem(x.where, "look-alike-not-parted", says, "another finding, or its rows in both cards")
            elif apart < PARTED_FROM:
                says = f"{x.finding!r} hardly parts {card.name!r} from {x.other!r}: {apart:.1f} dB"
                yield advice(
                    x.where, "look-alike-hardly-parted", says, f"a finding that parts them by {PARTED_FROM:g} dB"
                )


def _apart(base: Base, finding: str, one: str, other: str) -> float:
    """How far a finding, recorded alone, speaks for one cause or mechanism rather than another, in dB.

    Of mechanisms also by what it makes of both, since it may speak through the causes above them.
    """
    row = base.net.row[finding]
    alone = decibans(base.recorded[one][row] / base.recorded[other][row])
    if one in base.net.column:
        return alone
    found = base.with_finding(finding)
    ratio = found.mechanisms / found.unseen
    return max(alone, decibans(ratio[base.net.mechanism[one]] / ratio[base.net.mechanism[other]]))


def alike(base: Base) -> Iterator[Problem]:
    for kind, cards in (("cause", base.knowledge.causes), ("mechanism", base.knowledge.mechanisms)):
        for a, b in itertools.combinations(sorted(cards), 2):
            p, q = base.recorded[a], base.recorded[b]
            if np.max(np.maximum(np.abs(np.log(p / q)), np.abs(np.log((1 - p) / (1 - q))))) < np.log(2):
                yield advice(cards[b].where, f"{kind}s-alike", f"no finding parts {b!r} from {a!r}",
                             "a row or link that only one of them has")  # fmt: skip


def confirming_nothing(base: Base) -> Iterator[Problem]:
    for card in base.cards:
        deciding = {x.finding for x in card.look_alikes} | _bearing(base, card)
        for name in card.confirm:
            tells = base.knowledge.measurements[name].tells
            if not deciding & set(tells):
                yield advice(card.where, "confirms-nothing", f"{name!r} confirms {card.name!r} but decides none of its findings",
                             f"a row for one of: {', '.join(tells)}")  # fmt: skip


def _bearing(base: Base, card: Explained) -> set[str]:
    """The findings that speak for or against a card: what it leaves through whatever mechanisms; of a mechanism also what
    speaks of all that brings it about."""
    net = base.net
    there, gone = base.weights[card.name]
    rows = np.maximum(np.abs(there), np.abs(gone)) >= 0.05
    if card.name in net.mechanism:
        above = net.upstream[net.mechanism[card.name]]
        causes = net.to_mechanism.speaks[above].any(axis=0)
        rows = rows | net.marks.speaks[:, above].any(axis=1) | net.signs.speaks[:, causes].any(axis=1)
    return {net.findings[r] for r in np.flatnonzero(rows)}
