"""Exact sums over the mechanisms, for a whole batch of cause sets at once.

Each mechanism and each recorded finding is a star: its chance is a sum of few terms, each a product over its parents
(`Star`). A star of few parents is spelt out as a table; one of many gets a variable that chooses the term, so that no
table has an axis for all parents (Takikawa and D'Ambrosio, Multiplicative factorization of noisy-max, UAI 1999; abstract
read). Then the variables are summed out one by one, first what ties fewest others together (variable elimination; Zhang and Poole
1996, from memory). Marginals come from the same tables, by differentiating the sum backwards.

A batch has two axes, at the end of every table: cause sets, and columns for further causes, each of which joins every set.
A table has a column only for those further causes that it tells apart, and one before them that serves all others.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any, NamedTuple

import numpy as np
from msgspec import Struct

WIDEST = 1 << 15
"""Cells of the largest table for one cause set; where a sum would need more, its widest star is summed term by term."""
SPELT_OUT = 3
"""Parents up to which a star is spelt out as one table."""

KEPT = 1 << 24
"""Bytes of a table up to which its memory stays with the process when it is no longer used: asking the system for it anew
takes longer than the sum. The C library learns that from one such piece, never written to, that is given back."""
np.empty(KEPT, np.uint8)


@dataclass(frozen=True, eq=False)
class Effects:
    """What active parents multiply each term of a star by: `factor` of shape (terms, parents)."""

    factor: np.ndarray

    @cached_property
    def spelt_out(self) -> np.ndarray:
        """The products for every state of all parents, shape (2 ** parents, terms)."""
        result = np.ones((1, len(self.factor)))
        for one in self.factor.T:
            result = (result[:, None] * _with_one(one)).reshape(-1, len(one))
        return result

    @cached_property
    def each(self) -> list[np.ndarray]:
        """What each parent multiplies by where it is not there and where it is, shape (2, terms, 1, 1)."""
        return [_with_one(one)[..., None, None] for one in self.factor.T]


def _with_one(factor: np.ndarray) -> np.ndarray:
    return np.stack([np.ones_like(factor), factor])


class Star(NamedTuple):
    """P(child | parents) = sum over terms of weight[t] * prod over active parents i of factor[t, i].

    `child`: a variable, whose state takes the second axis of `weight` (terms, 2, sets, columns), or -1 for recorded evidence
    with `weight` (terms, 1, sets, columns). `parents`: variables of two states, ascending and before the child. Sets are 1
    where they are all alike.
    """

    child: int
    parents: tuple[int, ...]
    effects: Effects
    weight: np.ndarray


class Shape(Struct, frozen=True):
    """The part of a star that does not depend on numbers: child, parents, count of terms."""

    child: int
    parents: tuple[int, ...]
    terms: int


class Step(Struct, frozen=True):
    """One variable summed out: the tables that name it, as their number and their shape along the axes of the `scope` of
    all of them together, and the axis of the variable. A number from the count of first tables on is the sum of an earlier
    step."""

    scope: tuple[int, ...]
    axis: int
    parts: tuple[tuple[int, tuple[int, ...]], ...]


class Plan(Struct, frozen=True, dict=True):
    """The order in which variables are summed out, the sizes of all of them, and the cells of the largest table met on
    the way, for one cause set."""

    shapes: tuple[Shape, ...]
    variables: int
    order: tuple[int, ...]
    size: dict[int, int]
    widest: int

    @cached_property
    def scopes(self) -> list[list[tuple[int, ...]]]:
        """What the tables name that each star makes, the one with its weight first, in ascending order. A chooser has a
        higher number than any mechanism."""
        choosers = zip(range(self.variables, self.variables + len(self.shapes)), self.shapes, strict=True)
        return [_scopes(shape, chooser) for chooser, shape in choosers]

    @cached_property
    def places(self) -> list[int]:
        """The star of each first table."""
        return [place for place, scopes in enumerate(self.scopes) for _ in scopes]

    @cached_property
    def steps(self) -> tuple[tuple[Step, ...], tuple[int, ...]]:
        """What is done, variable by variable, and the tables that are left at the end."""
        size, place = self.size, {v: i for i, v in enumerate(self.order)}
        buckets: list[list[int]] = [[] for _ in self.order]
        ends: list[int] = []
        # what tables name as the bits of a number, and the same by when it is summed out
        named: list[int] = []
        due: list[int] = []

        def put(bits: int, places: int) -> None:
            (buckets[(places & -places).bit_length() - 1] if places else ends).append(len(named))
            named.append(bits)
            due.append(places)

        for star in self.scopes:
            for scope in star:
                put(_number(scope), _number([place[v] for v in scope]))
        steps = []
        for i, (v, bucket) in enumerate(zip(self.order, buckets, strict=True)):
            union = places = 0
            for number in bucket:
                union |= named[number]
                places |= due[number]
            scope = tuple(_bits(union))
            bucket.sort(key=lambda number: (named[number].bit_count(), number))
            parts = [(n, tuple([size[x] if named[n] >> x & 1 else 1 for x in scope])) for n in bucket]
            steps.append(Step(scope, scope.index(v), tuple(parts)))
            put(union ^ 1 << v, places ^ 1 << i)
        return tuple(steps), tuple(ends)


def _number(scope: Sequence[int]) -> int:
    result = 0
    for v in scope:
        result |= 1 << v
    return result


def _scopes(shape: Shape, chooser: int) -> list[tuple[int, ...]]:
    own = (shape.child,) if shape.child >= 0 else ()
    if shape.terms > 1 and len(shape.parents) <= SPELT_OUT:
        return [(*shape.parents, *own)]
    last = (chooser,) if shape.terms > 1 else ()
    return [(*own, *last), *((parent, *last) for parent in shape.parents)]


def plan(shapes: Sequence[Shape], variables: int) -> Plan:
    """Sums out the variable next that ties fewest others together. Choosers of terms are numbered behind the mechanisms, in the
    order of their stars."""
    size = dict.fromkeys(range(variables), 2)
    # sets of variables as the bits of a number
    near: dict[int, int] = {}
    several: dict[float, int] = {}

    def tie(members: Sequence[int]) -> None:
        bits = _number(members)
        for v in members:
            near[v] = near.get(v, 0) | bits

    for chooser, shape in zip(range(variables, variables + len(shapes)), shapes, strict=True):
        own = [shape.child] if shape.child >= 0 else []
        if shape.terms == 1:
            for v in (*own, *shape.parents):
                tie([v])
        elif len(shape.parents) <= SPELT_OUT:
            tie([*own, *shape.parents])
        else:
            size[chooser] = shape.terms
            more = math.log2(shape.terms) - 1
            several[more] = several.get(more, 0) | 1 << chooser
            for v in (*own, *shape.parents):
                tie([chooser, v])

    def cells(around: int) -> float:
        """Cells of the table that names these variables, as a power of two."""
        result: float = around.bit_count()
        for more, choosers in several.items():
            if met := (around & choosers).bit_count():
                result += met * more
        return result

    order, widest = _least_tied_first(near, cells)
    return Plan(tuple(shapes), variables, tuple(order), size, round(2**widest))


def _least_tied_first(near: dict[int, int], cells: Callable[[int], float]) -> tuple[list[int], float]:
    """An order of the variables, and the cells of the largest table on the way as a power of two: next is the variable that
    ties together fewest pairs that nothing tied before (minimum fill; U. Kjaerulff, 1990, from memory). `near` is used up."""
    order, widest = [], 0.0
    # pairs around each variable that are not tied yet
    loose = {v: sum((near[v] & ~near[other]).bit_count() for other in _bits(near[v])) // 2 for v in sorted(near)}

    def tie(one: int, other: int) -> None:
        here, there = near[one], near[other]
        for v in _bits(here & there):
            loose[v] -= 1
        loose[one] += (here & ~there).bit_count() - 1
        loose[other] += (there & ~here).bit_count() - 1
        near[one] |= 1 << other
        near[other] |= 1 << one

    while loose:
        v = min(loose, key=loose.__getitem__)
        around = near[v]
        for other in _bits(around) if loose[v] else ():
            for third in _bits((around & ~near[other]) >> other):
                tie(other, other + third)
        order.append(v)
        widest = max(widest, cells(around))
        del near[v], loose[v]
        for other in _bits(around & ~(1 << v)):
            loose[other] -= (near[other] & ~around).bit_count()
            near[other] &= ~(1 << v)
    return order, widest


def _bits(number: int) -> Iterator[int]:
    while number:
        lowest = number & -number
        yield lowest.bit_length() - 1
        number ^= lowest


class Part(NamedTuple):
    """A table that a step takes in: its number, its shape along the axes of the step, and which of its columns."""

    number: int
    shape: tuple[int, ...]
    columns: np.ndarray | None = None


class Layout:
    """What is alike in all batches of a sum. `apart[s, k]`: whether star s tells further cause k apart. `widest`: cells of the
    largest table with its columns, for one cause set.

    `settled`, by their numbers: the tables that no cause set changes. Those of one step are one part of it, numbered behind the
    sums of all steps, and a step that takes in nothing else is done here. `cells` and `products` hold what is known of tables
    and of steps.
    """

    def __init__(self, plan: Plan, apart: np.ndarray, settled: Mapping[int, np.ndarray] | None = None):
        self.plan, self.apart = plan, apart
        self.steps, self.ends = plan.steps
        self.first = len(plan.places)
        self.behind = self.first + len(self.steps)
        self.parts: list[list[Part]] = []
        self.last: tuple[np.ndarray | None, ...] = (None,) * len(self.ends)
        self.widest = plan.widest
        if apart.any():
            self._lay()
        else:
            self.parts += [[Part(*part) for part in step.parts] for step in self.steps]
        self.cells = {**(settled or {})}
        self.products: dict[int, np.ndarray] = {}
        if settled:
            self._settle(settled)
        self.open = [number for number in range(self.first) if number not in self.cells]
        self.left = [i for i in range(len(self.steps)) if i not in self.products]

    def _settle(self, settled: Mapping[int, np.ndarray]) -> None:
        cells = self.cells
        for i, parts in enumerate(self.parts):
            tables = [part for part in parts if part.number in settled]
            if len(tables) > 1:
                product = cells[self.behind + i] = _taken(tables, cells)
                parts = [part for part in parts if part.number not in settled]
                parts.append(Part(self.behind + i, product.shape[:-2]))
                parts.sort(key=lambda part: math.prod(part.shape))
                self.parts[i] = parts
            if all(part.number in cells for part in parts):
                product = self.products[i] = _taken(parts, cells)
                cells[self.first + i] = _summed(product, self.steps[i].axis)

    def _lay(self) -> None:
        further = self.apart.shape[1]
        packed = np.packbits(self.apart, axis=1)
        width = packed.shape[1]
        # the further causes that each table tells apart as the bits of a number
        apart: list[int] = []
        for row, scopes in zip(packed, self.plan.scopes, strict=True):
            apart += [int.from_bytes(row.tobytes()), *[0] * (len(scopes) - 1)]
        first = len(apart)
        for step in self.steps:
            told = 0
            for number, _ in step.parts:
                told |= apart[number]
            apart.append(told)
        cells = np.frombuffer(b"".join(told.to_bytes(width) for told in apart), np.uint8).reshape(-1, width)
        bits = np.unpackbits(cells, axis=1, count=further)
        # before all further causes, the column that serves those not told apart
        places, wanted = np.zeros((len(bits), 1 + further), np.intp), np.ones((len(bits), 1 + further), bool)
        wanted[:, 1:] = bits
        np.multiply(bits.cumsum(axis=1, dtype=np.intp), bits, out=places[:, 1:])

        def laid(number: int, told: int, here: np.ndarray) -> np.ndarray | None:
            """The column of a table for each of those here; None where it has the same or only one."""
            return places[number][here] if apart[number] and apart[number] != told else None

        for step, told, here in zip(self.steps, apart[first:], wanted[first:], strict=True):
            self.parts.append([Part(number, shape, laid(number, told, here)) for number, shape in step.parts])
        self.last = tuple([laid(number, -1, np.ones(1 + further, bool)) for number in self.ends])
        sizes = self.plan.size
        for step, told in zip(self.steps, apart[first:], strict=True):
            self.widest = max(self.widest, math.prod([sizes[v] for v in step.scope]) * (1 + told.bit_count()))


class Elimination:
    """The sum of one batch over the variables, with what is needed to go back through it where that is asked for.

    `total[s, k]` is P(evidence | set s and further cause k), shape (sets, 1 + further), the first of none further; either
    is 1 where it is the same for all.
    """

    def __init__(self, stars: Sequence[Star], layout: Layout, back: bool = False):
        self.layout, self.products = layout, {**layout.products}
        self.cells = {**layout.cells, **dict(zip(layout.open, tables_of(stars), strict=True))}
        for i in layout.left:
            product = _taken(layout.parts[i], self.cells)
            self.cells[layout.first + i] = _summed(product, layout.steps[i].axis)
            if back:
                self.products[i] = product
            else:
                # memory that is used again soon is near
                for part in layout.parts[i]:
                    del self.cells[part.number]
        ends = [Part(number, (), columns) for number, columns in zip(layout.ends, layout.last, strict=True)]
        self.total = _taken(ends, self.cells) if ends else np.ones((1, 1))

    def joint(self) -> np.ndarray:
        """P(variable = 1 and evidence | set), shape (variables, sets), of a sum without further causes; NaN for variables
        that no star names."""
        layout, plan = self.layout, self.layout.plan
        result = np.full((plan.variables, len(self.total)), np.nan)
        ends = [Part(number, ()) for number in layout.ends]
        slope = {n: _taken([end for end in ends if end.number != n], self.cells, np.ones((1, 1))) for n in layout.ends}
        for i in reversed(range(len(plan.order))):
            before: tuple[Any, ...] = (slice(None),) * layout.steps[i].axis
            weight = slope.pop(layout.first + i)
            if plan.order[i] < plan.variables:
                there = self.products[i][(*before, 1)] * weight
                result[plan.order[i]] = there.reshape(-1, *there.shape[-2:]).sum(axis=0)[:, 0]
            weight = weight[(*before, None)]
            sums = [part for part in layout.parts[i] if layout.first <= part.number < layout.behind]
            tables = [part for part in layout.parts[i] if not layout.first <= part.number < layout.behind]
            if sums and tables:
                weight = _taken(tables, self.cells) * weight
            for part in sums:
                others = [other for other in sums if other is not part]
                slope[part.number] = self.slope_of(i, part.shape, _taken(others, self.cells, weight))
        return result

    def slope_of(self, step: int, shape: tuple[int, ...], weight: np.ndarray) -> np.ndarray:
        """How the total moves with each cell of a table of that shape that a step took in, `weight` being how it moves with
        each cell of the product but for this table."""
        whole = (*self.products[step].shape[:-2], *weight.shape[-2:])
        full = weight if weight.shape == whole else np.broadcast_to(weight, whole)
        for axis in reversed([a for a, n in enumerate(shape) if n == 1]):
            full = _summed(full, axis)
        return full


def sliced(
    stars: Sequence[Star], layout: Layout, take: Callable[[Elimination], np.ndarray], back: bool = False
) -> np.ndarray:
    """A sum over the mechanisms by the stars that are not settled; where its tables would be too wide, the star with the most parents is summed term by
    term, each term a product over its parents and so without any table of its own."""
    made = layout.plan
    if made.widest <= WIDEST:
        return take(Elimination(stars, layout, back))
    widest = max(range(len(stars)), key=lambda i: (len(stars[i].weight) > 1, len(stars[i].parents)))
    star = stars[widest]
    result: np.ndarray | float = 0.0
    for t in range(len(star.weight)):
        part = [*stars]
        part[widest] = star._replace(weight=star.weight[t : t + 1], effects=Effects(star.effects.factor[t : t + 1]))
        narrower = plan([Shape(s.child, s.parents, len(s.weight)) for s in part], made.variables)
        result = result + sliced(part, Layout(narrower, layout.apart), take, back)
    return np.asarray(result)


def _summed(cells: np.ndarray, axis: int) -> np.ndarray:
    """The sum along an axis, which is mostly of two states."""
    if cells.shape[axis] != 2:
        return np.asarray(np.add.reduce(cells, axis=axis))
    before: tuple[Any, ...] = (slice(None),) * axis
    return np.asarray(cells[(*before, 0)] + cells[(*before, 1)])


def _taken(parts: Sequence[Part], cells: Mapping[int, np.ndarray], product: np.ndarray | None = None) -> np.ndarray:
    """The product of tables along the axes of a step, and of what stands there already."""
    for number, shape, columns in parts:
        part = cells[number]
        if columns is not None:
            part = part.take(columns, axis=-1)
        if part.ndim != len(shape) + 2:
            part = part.reshape(shape + part.shape[-2:])
        product = part if product is None else product * part
    assert product is not None
    return product


def tables_of(stars: Sequence[Star]) -> list[np.ndarray]:
    """The tables of the stars, an axis for each variable that they name and the two of the batch. A star of evidence on its
    own leaves a constant."""
    made: dict[int, list[np.ndarray]] = {}
    alike: dict[tuple[int, ...], list[int]] = {}
    for i, (child, parents, effects, weight) in enumerate(stars):
        if len(weight) > 1 and len(parents) <= SPELT_OUT:
            alike.setdefault((len(parents), *weight.shape[:3]), []).append(i)
            continue
        own = weight if child >= 0 else weight[:, 0]
        if len(weight) > 1:
            made[i] = [own.swapaxes(0, 1) if child >= 0 else own, *effects.each]
        else:
            made[i] = [own[0], *(one[:, 0] for one in effects.each)]
    for places in alike.values():
        made |= _spelt_out([stars[i] for i in places], places)
    return [table for i in range(len(stars)) for table in made[i]]


def _spelt_out(stars: Sequence[Star], places: Sequence[int]) -> dict[int, list[np.ndarray]]:
    """The tables of stars with as many parents and terms, all at once."""
    columns = [s.weight.shape[3] for s in stars]
    weight = np.concatenate([s.weight for s in stars], axis=3)
    effects = np.repeat(np.stack([s.effects.spelt_out for s in stars], axis=-1), columns, axis=-1)
    cells = effects[:, 0, None, None] * weight[0]
    for t in range(1, len(weight)):
        cells += effects[:, t, None, None] * weight[t]
    cells = cells.reshape(*(2,) * len(stars[0].parents), *cells.shape[1:])
    result: dict[int, list[np.ndarray]] = {}
    begin = 0
    for i, star, count in zip(places, stars, columns, strict=True):
        table = cells[..., begin : begin + count]
        result[i] = [table if star.child >= 0 else table[..., 0, :, :]]
        begin += count
    return result
