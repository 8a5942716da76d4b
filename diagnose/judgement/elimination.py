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
from functools import cached_property

import numpy as np

SPELT_OUT = 3
"""Parents up to which a star is spelt out as one table."""


@dataclass(frozen=True)
class Star:
    """P(child | parents) = sum over terms of weight[t] * prod over active parents i of factor[t, i].

    `child`: a variable, whose state takes the first axis of `weight` (2, terms, batch), or -1 for recorded evidence with
    `weight` (1, terms, batch). `parents`: variables of two states; `factor` has shape (terms, parents). The batch is 1 where
    it is the same for every cause set.
    """

    child: int
    parents: tuple[int, ...]
    weight: np.ndarray
    factor: np.ndarray


@dataclass(frozen=True)
class Shape:
    """The part of a star that does not depend on numbers: child, parents, count of terms."""

    child: int
    parents: tuple[int, ...]
    terms: int


@dataclass(frozen=True)
class Step:
    """One variable summed out: the tables that name it, as their number and their shape along the axes of the `scope` of
    all of them together (the batch comes last), and the axis of the variable. A number from the count of first tables on
    is the sum of an earlier step."""

    scope: tuple[int, ...]
    axis: int
    parts: tuple[tuple[int, tuple[int, ...]], ...]


@dataclass(frozen=True)
class Plan:
    """The order in which variables are summed out, the sizes of all of them, and the cells of the largest table met on
    the way, for one cause set."""

    shapes: tuple[Shape, ...]
    variables: int
    order: tuple[int, ...]
    size: dict[int, int]
    widest: int

    @cached_property
    def scopes(self) -> list[tuple[int, ...]]:
        """What each table names that `_tables` makes of the stars, in order."""
        choosers = zip(range(self.variables, self.variables + len(self.shapes)), self.shapes, strict=True)
        return [scope for chooser, shape in choosers for scope in _scopes(shape, chooser)]

    @cached_property
    def steps(self) -> tuple[tuple[Step, ...], tuple[int, ...]]:
        """What is done, variable by variable, and the tables that are left at the end."""
        scopes, place = [*self.scopes], {v: i for i, v in enumerate(self.order)}
        buckets: list[list[int]] = [[] for _ in self.order]
        ends: list[int] = []

        def put(number: int) -> None:
            at = min((place[v] for v in scopes[number]), default=-1)
            (ends if at < 0 else buckets[at]).append(number)

        for number in range(len(scopes)):
            put(number)
        steps = []
        for v, bucket in zip(self.order, buckets, strict=True):
            scope = tuple(sorted({x for number in bucket for x in scopes[number]}))
            least = sorted(bucket, key=lambda number: (len(scopes[number]), number))
            parts = ((n, tuple(self.size[x] if x in scopes[n] else 1 for x in scope)) for n in least)
            steps.append(Step(scope, scope.index(v), tuple(parts)))
            scopes.append(tuple(x for x in scope if x != v))
            put(len(scopes) - 1)
        return tuple(steps), tuple(ends)


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
    return Plan(tuple(shapes), variables, tuple(order), size, widest)


class Elimination:
    """The sum of one batch over the variables, with what is needed to go back through it.

    `total[s]` is P(evidence | set s), shape (batch,) or (1,) where it is the same for all.
    """

    def __init__(self, stars: Sequence[Star], plan: Plan):
        self.plan = plan
        self.steps, self.ends = plan.steps
        self.cells = _tables(stars)
        self.first = len(self.cells)
        self.products: list[np.ndarray] = []
        for step in self.steps:
            product = self.laid(*step.parts[0])
            for number, shape in step.parts[1:]:
                product = product * self.laid(number, shape)
            self.products.append(product)
            self.cells.append(product.sum(axis=step.axis))
        self.total: np.ndarray = _product([self.cells[number] for number in self.ends])

    def laid(self, number: int, shape: tuple[int, ...]) -> np.ndarray:
        """The cells of a table along the axes of a wider scope."""
        cells = self.cells[number]
        return cells.reshape(*shape, cells.shape[-1])

    def joint(self) -> np.ndarray:
        """P(variable = 1 and evidence | set), shape (variables, batch); NaN for variables that no star names."""
        variables, order = self.plan.variables, self.plan.order
        result = np.full((variables, self.total.shape[-1]), np.nan)
        slope = {n: _product([self.cells[other] for other in self.ends if other != n]) for n in self.ends}
        for i in reversed(range(len(order))):
            step, product = self.steps[i], self.products[i]
            weight = np.expand_dims(slope.pop(self.first + i), step.axis)
            if order[i] < variables:
                there = product[(slice(None),) * step.axis + (slice(1, 2),)] * weight
                result[order[i]] = there.sum(axis=tuple(range(len(step.scope))))
            for number, shape in step.parts:
                if number >= self.first:
                    slope[number] = self.slope_of(step, number, shape, weight)
        return result

    def slope_of(self, step: Step, number: int, shape: tuple[int, ...], weight: np.ndarray) -> np.ndarray:
        """How the total moves with each cell of a table that a step took in, `weight` being how it moves with its sum."""
        for other, along in step.parts:
            if other != number:
                weight = weight * self.laid(other, along)
        full = np.broadcast_to(weight, (*(self.plan.size[v] for v in step.scope), weight.shape[-1]))
        return np.asarray(full.sum(axis=tuple(a for a, n in enumerate(shape) if n == 1)))


def _product(parts: Sequence[np.ndarray]) -> np.ndarray:
    result: np.ndarray = np.ones(1)
    for part in parts:
        result = result * part
    return result


def _scopes(shape: Shape, chooser: int) -> list[tuple[int, ...]]:
    """What the tables of a star name, in ascending order. A chooser has a higher number than any mechanism."""
    own = (shape.child,) if shape.child >= 0 else ()
    if shape.terms > 1 and len(shape.parents) <= SPELT_OUT:
        return [tuple(sorted((*own, *shape.parents)))]
    last = (chooser,) if shape.terms > 1 else ()
    return [(*own, *last), *((parent, *last) for parent in shape.parents)]


def _tables(stars: Sequence[Star]) -> list[np.ndarray]:
    """The factors of the stars, an axis for each variable that they name and the last one for the batch. A star of evidence
    on its own leaves a constant."""
    result: list[np.ndarray] = []
    for star in stars:
        terms = star.weight.shape[1]
        if terms > 1 and len(star.parents) <= SPELT_OUT:
            result.append(_spelt_out(star))
            continue
        weight = star.weight if terms > 1 else star.weight[:, 0]
        result.append(weight if star.child >= 0 else weight[0])
        for i in range(len(star.parents)):
            factor = _with_one(star.factor[:, i])
            result.append(factor[..., None] if terms > 1 else factor)
    return result


def _with_one(factor: np.ndarray) -> np.ndarray:
    """What a parent multiplies each term by: nothing where it is not there."""
    result = np.ones((2, len(factor)))
    result[1] = factor
    return result


def _spelt_out(star: Star) -> np.ndarray:
    """A star as one table over child and parents, in ascending order of variables."""
    count, own = len(star.parents), (star.child,) if star.child >= 0 else ()
    factor = np.ones((star.weight.shape[1], 1))
    for i in range(count):
        factor = np.einsum("tp,st->tps", factor, _with_one(star.factor[:, i])).reshape(len(factor), -1)
    cells = (factor.T @ star.weight).reshape(-1, *(2,) * count, star.weight.shape[-1])
    scope = (*own, *star.parents)
    rank = sorted(range(len(scope)), key=scope.__getitem__)
    return (cells if own else cells[0]).transpose(*rank, len(scope))
