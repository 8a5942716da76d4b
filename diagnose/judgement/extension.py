"""Cause sets and further causes that each joins every set: what they change in a sum, and what is settled beforehand."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from diagnose.judgement.elimination import WIDEST, Layout
from diagnose.judgement.network import Layer

if TYPE_CHECKING:
    from diagnose.judgement.posterior import Sums


class Columns:
    """The columns of some stars one behind the other: each star's for no further cause, then for those it tells apart. Of each
    column: `child`, the star's place; what its cause multiplies by."""

    def __init__(self, layer: Layer, children: Sequence[int], further: np.ndarray):
        apart = layer.speaks[children][:, further]
        self.child, place = np.nonzero(np.concatenate([np.ones((len(children), 1), bool), apart], axis=1))
        self.ends = np.cumsum(np.bincount(self.child, minlength=len(children))).tolist()
        self.inhibition, self.suppression = np.ones(len(place)), np.ones(len(place))
        own = np.flatnonzero(place)
        rows, causes = np.array(children, int)[self.child[own]], further[place[own] - 1]
        self.inhibition[own] = layer.inhibition[rows, causes]
        self.suppression[own] = layer.suppression[rows, causes]

    def parted(self, weight: np.ndarray, same: np.ndarray) -> list[np.ndarray]:
        """The weights of each star, with one set where they are the same for all."""
        one = weight[:, :, :1]
        begins = [0, *self.ends]
        return [
            (one if alike else weight)[..., begin:end]
            for alike, begin, end in zip(same.tolist(), begins[:-1], self.ends, strict=True)
        ]


class Chosen:
    """Some stars of a sum with their columns: `mechanisms` and `findings` by their places in it, `reached` and `rows` by those in
    the network."""

    def __init__(self, sums: Sums, mechanisms: np.ndarray, findings: np.ndarray, further: np.ndarray):
        self.mechanisms, self.findings = mechanisms.tolist(), findings.tolist()
        self.reached = [sums.reached[i] for i in self.mechanisms]
        self.rows = [sums.rows[i] for i in self.findings]
        self.of_mechanisms = Columns(sums.net.to_mechanism, self.reached, further)
        self.of_findings = Columns(sums.net.signs, self.rows, further)


class Extension:
    """What further causes, each by itself, change in the sums over sets that are made of them and of the causes of `members`:
    `open` are the stars that any of these causes speaks of."""

    def __init__(self, sums: Sums, further: np.ndarray, members: np.ndarray):
        self.further = further
        speaks = [sums.net.to_mechanism.speaks[sums.reached], sums.net.signs.speaks[sums.rows]]
        among = np.asarray(members.any(axis=0))
        among[further] = True
        # a sum in slices is planned anew for each
        mechanisms, findings = (s[:, among].any(axis=1) | (sums.widest > WIDEST) for s in speaks)
        self.open = Chosen(sums, np.flatnonzero(mechanisms), np.flatnonzero(findings), further)
        is_open = np.concatenate([mechanisms, findings])[sums.plan.places].tolist()
        settled = {number: table for number, table in enumerate(sums.untouched) if not is_open[number]}
        self.layout = Layout(sums.plan, np.concatenate(speaks)[:, further], settled)
