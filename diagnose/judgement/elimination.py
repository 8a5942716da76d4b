"""Exact sums over the mechanisms, for a whole batch of cause sets at once.

Each mechanism and each recorded finding is a star: its chance is a sum of few terms, each a product over its parents
(`Star`). A star of few parents is spelt out as a table; one of many gets a variable that chooses the term, so that no
table has an axis for all parents (Takikawa and D'Ambrosio, Multiplicative factorization of noisy-max, UAI 1999; abstract
read). Then the variables are summed out one by one, the cheapest first (variable elimination; Zhang and Poole 1996, from
memory). Marginals come from the same tables, by differentiating the sum backwards.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

SPELT_OUT = 3
"""Parents up to which a star is spelt out as one table."""


@dataclass(frozen=True)
class Star:
    """P(child | parents) = sum over terms of weight[t] * prod over active parents i of factor[t, i].

    `child`: a variable, whose state takes the first axis of `weight` (2, terms, batch), or -1 for recorded evidence with
    `weight` (1, terms, batch). `parents`: variables of two states; `factor` has shape (terms, parents).
    """

    child: int
    parents: tuple[int, ...]
    weight: np.ndarray
    factor: np.ndarray


@dataclass
class Table:
    """A factor over variables in ascending order; `cells` has an axis for each and one for the batch (1 where it is the
    same for every cause set). `source`: the place of the bucket whose sum it is, -1 for a factor of the network."""

    scope: tuple[int, ...]
    cells: np.ndarray
    source: int = -1


@dataclass(frozen=True)
class Plan:
    """The order in which variables are summed out, the sizes of all of them, and the cells of the largest table met on
    the way, for one cause set."""

    order: tuple[int, ...]
    size: dict[int, int]
    widest: int


@dataclass(frozen=True)
class Shape:
    """The part of a star that does not depend on numbers: child, parents, count of terms."""

    child: int
    parents: tuple[int, ...]
    terms: int


def plan(shapes: Sequence[Shape], variables: int) -> Plan:
    """Sums out the cheapest variable next. Choosers of terms are numbered behind the mechanisms, in the order of their
    stars."""
    size = dict.fromkeys(range(variables), 2)
    near: dict[int, set[int]] = {}

    def tie(members: Sequence[int]) -> None:
        for v in members:
            near.setdefault(v, set()).update(members)

    for chooser, shape in zip(range(variables, variables + len(shapes)), shapes, strict=True):
        own = [shape.child] if shape.child >= 0 else []
        if shape.terms == 1:
            for v in (*own, *shape.parents):
                tie([v])
        elif len(shape.parents) <= SPELT_OUT:
            tie([*own, *shape.parents])
        else:
            size[chooser] = shape.terms
            for v in (*own, *shape.parents):
                tie([chooser, v])

    def cells(v: int) -> int:
        return math.prod(size[other] for other in near[v])

    order, widest = [], 1
    cost = {v: cells(v) for v in near}
    while cost:
        v = min(cost, key=lambda v: (cost[v], v))
        order.append(v)
        widest = max(widest, cost.pop(v))
        around = near.pop(v) - {v}
        for other in around:
            near[other] |= around
            near[other].discard(v)
        for other in around:
            cost[other] = cells(other)
    return Plan(tuple(order), size, widest)


class Elimination:
    """The sum of one batch over the variables, with what is needed to go back through it.

    `total[s]` is P(evidence | set s), shape (batch,) or (1,) where it is the same for all.
    """

    def __init__(self, stars: Sequence[Star], variables: int, plan: Plan):
        self.size, self.order, self.variables = plan.size, plan.order, variables
        place = {v: i for i, v in enumerate(self.order)}
        self.buckets: list[list[Table]] = [[] for _ in self.order]
        self.scopes: list[tuple[int, ...]] = []
        self.products: list[np.ndarray] = []
        ends: list[tuple[int, np.ndarray]] = []
        for table in _tables(stars, variables):
            if table.scope:
                self.buckets[min(place[v] for v in table.scope)].append(table)
            else:
                ends.append((-1, table.cells))
        for i, v in enumerate(self.order):
            scope = tuple(sorted({x for t in self.buckets[i] for x in t.scope}))
            product = np.ones((1,) * (len(scope) + 1))
            for table in sorted(self.buckets[i], key=lambda t: t.cells.size):
                product = product * _spread(table, scope)
            rest = tuple(x for x in scope if x != v)
            message = product.sum(axis=scope.index(v))
            self.products.append(product)
            self.scopes.append(scope)
            if rest:
                self.buckets[min(place[x] for x in rest)].append(Table(rest, message, i))
            else:
                ends.append((i, message))
        self.ends = ends
        self.total: np.ndarray = _product([cells for _, cells in ends])

    def joint(self) -> np.ndarray:
        """P(variable = 1 and evidence | set), shape (variables, batch); NaN for variables that no star names."""
        result = np.full((self.variables, self.total.shape[-1]), np.nan)
        slope = {
            i: _product([cells for j, (_, cells) in enumerate(self.ends) if j != k])
            for k, (i, _) in enumerate(self.ends)
        }
        for i in reversed(range(len(self.order))):
            v, scope = self.order[i], self.scopes[i]
            axis = scope.index(v)
            weight = np.expand_dims(slope.pop(i), axis)
            if v < self.variables:
                joint = weight * self.products[i]
                result[v] = joint.sum(axis=tuple(a for a in range(len(scope)) if a != axis))[1]
            for table in (t for t in self.buckets[i] if t.source >= 0):
                product = weight
                for other in self.buckets[i]:
                    if other is not table:
                        product = product * _spread(other, scope)
                full = np.broadcast_to(product, (*(self.size[x] for x in scope), product.shape[-1]))
                slope[table.source] = full.sum(axis=tuple(a for a, x in enumerate(scope) if x not in table.scope))
        return result


def _product(parts: Sequence[np.ndarray]) -> np.ndarray:
    result: np.ndarray = np.ones(1)
    for part in parts:
        result = result * part
    return result


def _spread(table: Table, scope: tuple[int, ...]) -> np.ndarray:
    """The cells of a table laid along the axes of a wider scope."""
    inside = iter(table.cells.shape[:-1])
    shape = [next(inside) if v in table.scope else 1 for v in scope]
    return table.cells.reshape(*shape, table.cells.shape[-1])


def _with_one(factor: np.ndarray) -> np.ndarray:
    """What a parent multiplies each term by: nothing where it is not there."""
    result = np.ones((2, len(factor)))
    result[1] = factor
    return result


def _tables(stars: Sequence[Star], variables: int) -> list[Table]:
    """The factors of the stars. A star of evidence on its own leaves a constant."""
    result = []
    for chooser, star in zip(range(variables, variables + len(stars)), stars, strict=True):
        own = (star.child,) if star.child >= 0 else ()
        terms = star.weight.shape[1]
        if terms > 1 and len(star.parents) <= SPELT_OUT:
            result.append(_spelt_out(star, own))
            continue
        # a chooser has a higher number than any mechanism, so it takes the last axis of a scope
        last = (chooser,) if terms > 1 else ()
        weight = star.weight if last else star.weight[:, 0]
        result.append(Table((*own, *last), weight if own else weight[0]))
        for i, parent in enumerate(star.parents):
            factor = _with_one(star.factor[:, i])
            result.append(Table((parent, *last), factor[..., None] if last else factor))
    return result


def _spelt_out(star: Star, own: tuple[int, ...]) -> Table:
    """A star as one table over child and parents, in ascending order of variables."""
    states, terms, _ = star.weight.shape
    count = len(star.parents)
    cells = star.weight.reshape(states, *(1,) * count, terms, -1)
    for i in range(count):
        shape = [1] * (count + 3)
        shape[1 + i], shape[-2] = 2, terms
        cells = cells * _with_one(star.factor[:, i]).reshape(shape)
    cells = cells.sum(axis=-2)
    scope = (*own, *star.parents)
    rank = sorted(range(len(scope)), key=scope.__getitem__)
    return Table(tuple(scope[r] for r in rank), (cells if own else cells[0]).transpose(*rank, len(scope)))
