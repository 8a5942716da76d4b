"""The posterior with the evidence altered in many ways at once, over the cause sets that matter.

What is left out of one alteration and recorded in another is summed in the same tables, with a factor of one where it is
not recorded, so that one elimination serves them all. The sets are those of the unaltered posterior: figures of
alterations compare with those of the record as it stands when both come from here.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from diagnose.judgement.elimination import WIDEST, Effects, Layout, Shape, Star, sliced
from diagnose.judgement.network import Network
from diagnose.judgement.posterior import NONE_FURTHER, Evidence, Posterior, Sums, prior_odds
from diagnose.reading.entry import replace

TOGETHER = 1 << 20
"""Cells of the largest table of a batch; its sums are over few sets, so that many evidences make one."""
NARROW, WIDER = 512, 4
"""Cells for one set that are no matter, and how much wider than those of the first evidence the tables of a batch may be."""
SINGLES_FROM = 1e-3
"""Share from which a cause is reckoned alone too."""


@dataclass(frozen=True)
class Altered:
    """What alterations of the evidence leave. `members` are the sets reckoned, rows of booleans over the causes;
    `exactly[a, i]` the probability of set i and `share[a, c]` of cause c under alteration a."""

    net: Network
    members: np.ndarray
    exactly: np.ndarray

    @property
    def share(self) -> np.ndarray:
        return np.asarray(self.exactly @ self.members)

    def tried(self) -> list[tuple[tuple[str, ...], np.ndarray, float]]:
        """For each alteration the likeliest set of causes, the share of every cause, and that of none."""
        share = self.share
        return [(self.causes_of(a), share[a], float(self.exactly[a, 0])) for a in range(len(share))]

    def causes_of(self, alteration: int) -> tuple[str, ...]:
        """The likeliest set of causes."""
        best = int(np.argmax(np.round(self.exactly[alteration], 12)))
        return tuple(self.net.causes[c] for c in np.flatnonzero(self.members[best]))


def altered(found: Posterior, evidences: Sequence[Evidence], most: int = 1000) -> Altered:
    """The posterior of each altered evidence over at most so many sets."""
    net, members = found.net, _sets(found)[:most]
    like = likelihoods(net, evidences, members)
    weight = np.empty_like(like)
    for a, e in enumerate(evidences):
        weight[a] = like[a] * prior_odds(net, e, members)
    return Altered(net, members, weight / weight.sum(axis=1, keepdims=True))


def likelihoods(net: Network, evidences: Sequence[Evidence], members: np.ndarray) -> np.ndarray:
    """P(evidence | set)^exponent for each evidence and set, shape (evidences, sets)."""
    result = np.empty((len(evidences), len(members)))
    for places, sums in _batches(net, evidences):
        result[places] = _Together(sums, [evidences[a] for a in places], members).likelihoods()
    return result


def _batches(net: Network, evidences: Sequence[Evidence]) -> list[tuple[list[int], Sums]]:
    """Evidences that are summed together, with the sums over all their findings: with the same mechanisms off, and with
    findings whose tables together are not much wider than those of the first."""
    by_off: dict[frozenset[int], list[int]] = {}
    for a, e in enumerate(evidences):
        by_off.setdefault(e.off, []).append(a)
    result = []
    for places in by_off.values():
        first = evidences[places[0]]
        widest = max(NARROW, WIDER * Sums(net, first).widest) if len(places) > 1 else 0
        places.sort(key=lambda a: (sorted(evidences[a].states.keys() - first.states.keys()), a))
        result += _split(net, evidences, places, widest)
    return result


def _split(net: Network, evidences: Sequence[Evidence], places: list[int], widest: int) -> list[tuple[list[int], Sums]]:
    """These evidences, halved until the tables of each batch are narrow enough."""
    union = {f: True for a in places for f in evidences[a].states}
    sums = Sums(net, replace(evidences[places[0]], states=union))
    if len(places) > 1 and sums.widest > widest:
        half = len(places) // 2
        halves = places[:half], places[half:]
        return [batch for part in halves for batch in _split(net, evidences, part, widest)]
    return [(places, sums)]


def chance_of(net: Network, mechanism: int, evidences: Sequence[Evidence], members: np.ndarray) -> np.ndarray:
    """P(mechanism | evidence, set), shape (evidences, sets)."""
    result = np.zeros((len(evidences), len(members)))
    for places, sums in _batches(net, evidences):
        together = _Together(sums, [evidences[a] for a in places], members)
        if mechanism in together.sums.at:
            result[places] = together.chance_of(mechanism)
        elif mechanism not in together.evidences[0].off:
            known = (Sums(net, e).mechanisms(members) for e in together.evidences)
            result[places] = [net.forward(members, k)[mechanism] for k in known]
    return result


def _sets(found: Posterior) -> np.ndarray:
    """The empty set, those that lead, and every cause alone that has some share; likeliest first."""
    share = np.where(found.members, found.share, 0.0).max(axis=1)
    kept = (found.members.sum(axis=1) == 1) & (share >= SINGLES_FROM)
    kept[found.leading] = True
    kept[0] = False
    order = np.argsort(-np.round(found.exactly, 12), kind="stable")
    return np.asarray(found.members[[0, *(i for i in order.tolist() if kept[i])]])


class _Together:
    """Sums of several evidences in one batch, whose columns are evidence by evidence, set by set; `sums` is over the
    findings of all."""

    def __init__(self, sums: Sums, evidences: Sequence[Evidence], members: np.ndarray):
        self.net, self.sums, self.evidences, self.members = sums.net, sums, evidences, members
        names = [self.net.findings[r] for r in sums.rows]
        # 0: not recorded, 1: absent, 2: present
        self.states = np.array([[1 + e.states[f] if f in e.states else 0 for f in names] for e in evidences])

    def likelihoods(self) -> np.ndarray:
        total = self._totals()
        for a, e in enumerate(self.evidences):
            own = Sums(self.net, e)
            for question in own.questions:
                total[a] = total[a] * own.answered(question, self.members, NONE_FURTHER)[:, 0]
        return np.asarray(np.maximum(total, 1e-300) ** self.net.exponent)

    def chance_of(self, mechanism: int) -> np.ndarray:
        """The sum with the mechanism held to be there, in shares of the whole."""
        # 1 - 1 = 0 where it is not there, 1 - 0 = 1 where it is
        held = np.array([1.0, -1.0])[:, None, None, None]
        there = Star(-1, (self.sums.at[mechanism],), Effects(np.array([[1.0], [0.0]])), held)
        return np.asarray(np.clip(self._totals([there]) / self._totals(), 0.0, 1.0))

    def _totals(self, more: Sequence[Star] = ()) -> np.ndarray:
        """The sums for each evidence and set, evidences a few at a time; `more` stars may be about one variable, which
        changes no order."""
        base, choices = self._stars()
        shapes = [Shape(s.child, s.parents, len(s.weight)) for s in more]
        made = replace(self.sums.plan, shapes=(*self.sums.plan.shapes, *shapes))
        layout = Layout(made, np.zeros((len(made.shapes), 0), bool))
        columns = max(1, TOGETHER // min(self.sums.widest, WIDEST))
        size = max(1, columns // len(self.members))
        parts = []
        for begin in range(0, len(self.evidences), size):
            states = self.states[begin : begin + size]
            stars = [
                s._replace(weight=np.tile(s.weight, (1, 1, len(states), 1))) if s.weight.shape[2] > 1 else s
                for s in base
            ]
            for row, (star, weights) in enumerate(choices):
                chosen = np.moveaxis(weights[states[:, row]], 0, 2)
                stars.append(star._replace(weight=chosen.reshape(*chosen.shape[:2], -1, 1)))
            total = sliced([*stars, *more], layout, lambda e: e.total)
            parts.append(np.broadcast_to(total, (len(states) * len(self.members), 1)).reshape(len(states), -1))
        return np.concatenate(parts)

    def _stars(self) -> tuple[list[Star], list[tuple[Star, np.ndarray]]]:
        """The stars of the mechanisms; for each finding its star, and its weights not recorded, absent and present,
        shape (3, terms, 1, sets)."""
        sums, count = self.sums, len(self.sums.rows)
        by_cause = sums.by_cause(self.members, sums.every)
        there, gone = (sums.evidence_stars(by_cause, [present] * count, sums.every) for present in (True, False))
        choices = []
        for yes, no in zip(there, gone, strict=True):
            neither = np.zeros_like(yes.weight)
            neither[0] = 1.0
            weights = np.stack([neither, no.weight, yes.weight])[..., 0]
            choices.append((yes, np.broadcast_to(weights, (*weights.shape[:-1], len(self.members)))))
        return sums.mechanism_stars(by_cause, sums.every), choices
