"""Causes and mechanisms that no record could establish."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from diagnose.authoring.checks.base import Base, advice, kind_of
from diagnose.judgement.posterior import Evidence, posterior
from diagnose.judgement.weights import decibans, worth
from diagnose.knowledge.model import Cause, Explained
from diagnose.reading.problems import Problem

CODES = {
    "never-established": "Everything that speaks for a card, recorded together, does not reach what 'established' takes.",
    "own-name-only": "Without the finding that has the card's own name, no record would establish it.",
}
HEAVIEST = 8
"""So many findings are tried together, the heaviest; more say little that these have not said."""


def problems(base: Base) -> Iterator[Problem]:
    words, net = base.knowledge.words, base.net
    needed = decibans(words.established / (1 - words.established))
    unseen = posterior(net, Evidence({}, net.prior, tuple(range(len(net.causes))))).unseen
    for card in base.cards:
        if getattr(card, "leak_path", False):
            continue
        if isinstance(card, Cause):
            prior = max(words.common[w] for w in (card.common, *(p.common for p in card.common_when)))
        else:
            prior = float(unseen[net.mechanism[card.name]])
        start = decibans(prior / (1 - prior))
        speaking = _speaking(base, card)
        most = start + _together(base, card, speaking)
        lines = sum(weight >= words.line_counts_from for weight in speaking.values())
        if most < needed:
            says = f"all findings of {card.name!r} together reach {most:+.1f} dB; established takes {needed:+.1f} dB"
            yield advice(
                card.where, "never-established", says, "further findings, or a stronger word where the trade has one"
            )
        elif lines < words.lines_needed:
            says = f"{lines} finding(s) speak for the {kind_of(card)} {card.name!r} enough to count; established takes {words.lines_needed}"
            yield advice(card.where, "never-established", says, "a further finding")
        elif card.name in speaking:
            bare = start + _together(base, card, {f: w for f, w in speaking.items() if f != card.name})
            if bare < needed:
                says = f"without the finding of its own name {card.name!r} reaches {bare:+.1f} dB; established takes {needed:+.1f} dB"
                yield advice(card.where, "own-name-only", says, "what else the trade sees where this has happened")


def _speaking(base: Base, card: Explained) -> dict[str, float]:
    """What each finding can say for a card at most, present or absent, in dB, heaviest first; of a question one answer."""
    there, gone = base.weights[card.name]
    most = np.maximum(there, gone)
    chosen: dict[str, float] = {}
    answered: set[str] = set()
    for row in np.argsort(-most, kind="stable"):
        finding = base.net.findings[row]
        question = base.net.question_of.get(finding, ("", 0))[0]
        if most[row] >= 0.05 and not (question and question in answered):
            chosen[finding] = float(most[row])
            answered |= {question} - {""}
    return chosen


def _together(base: Base, card: Explained, speaking: dict[str, float]) -> float:
    there, gone = base.weights[card.name]
    rows = {f: base.net.row[f] for f in list(speaking)[:HEAVIEST]}
    states = {f: bool(there[r] >= gone[r]) for f, r in rows.items()}
    if not states:
        return 0.0
    return worth(base.net, Evidence(states, base.net.prior, ()), card.name)
