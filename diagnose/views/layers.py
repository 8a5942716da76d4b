"""Layers of boxes with lines between them: room for every label, few crossings, no line through a box.

Long lines run through slots of their own in the layers they cross. Barycentre ordering and coordinates by isotonic
regression follow the layered method of Sugiyama, Tagawa and Toda (1981, from memory).
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

SMALL, LINE = 11.0, 15.0
PAD, GAP, LEGEND = 6.0, 9.0, 46.0
SLOT = 4.0
SWEEPS = 24


@dataclass
class Box:
    """Place and text of one node; x, y is its upper left corner."""

    node: str
    type: str
    layer: int
    lines: list[str]
    w: float = 0.0
    h: float = 0.0
    x: float = 0.0
    y: float = 0.0
    rows: list[tuple[str, str, str]] = field(default_factory=list)
    """A cause's ledger: (source node, figure, text)."""

    @property
    def middle(self) -> float:
        return self.y + self.h / 2


class Layered:
    """Boxes in layers from left to right. A picture fills `layers`, `boxes`, `left` and `widths` of the layers, then asks
    for `route`, `order` and `settle`. `lines` are (from, to) pairs of nodes, `goals` the nodes of the last layer in order."""

    def __init__(self, lines: Mapping[tuple[str, str], dict[str, Any]], goals: Sequence[str]):
        self.lines, self.goals = lines, goals
        self.layers: list[list[Box]] = []
        self.boxes: dict[str, Box] = {}
        self.left: list[float] = []
        self.widths: list[float] = []
        self.height = 0.0
        self.hops: list[tuple[Box, Box]] = []
        self.routes: dict[tuple[str, str], list[Box]] = {}

    def route(self) -> None:
        """Hops between neighbouring layers; lines of one node share their slots."""
        slots: dict[tuple[str, int], Box] = {}
        seen: set[tuple[int, int]] = set()
        for a, b in self.lines:
            one, other = self.boxes[a], self.boxes[b]
            path = [one]
            for layer in range(one.layer + 1, other.layer):
                if (a, layer) not in slots:
                    slots[a, layer] = Box(a, "slot", layer, [], self.widths[layer], SLOT)
                    self.layers[layer].append(slots[a, layer])
                path.append(slots[a, layer])
            path.append(other)
            self.routes[a, b] = path
            for p, q in itertools.pairwise(path):
                if (id(p), id(q)) not in seen:
                    seen.add((id(p), id(q)))
                    self.hops.append((p, q))

    # ---- order and coordinates ----------------------------------------------------------------------------------

    def neighbours(self) -> tuple[dict[int, list[Box]], dict[int, list[Box]]]:
        left: dict[int, list[Box]] = {}
        right: dict[int, list[Box]] = {}
        for p, q in self.hops:
            right.setdefault(id(p), []).append(q)
            left.setdefault(id(q), []).append(p)
        return left, right

    def order(self) -> None:
        """Barycentre sweeps to and fro; the order with the fewest crossings is kept."""
        left, right = self.neighbours()
        if self.layers:
            rank = {n: i for i, n in enumerate(self.goals)}
            self.layers[-1].sort(key=lambda b: (rank.get(b.node, 0), b.node))
        best = [list(layer) for layer in self.layers]
        fewest = self.crossings()
        for sweep in range(SWEEPS):
            forward = sweep % 2 == 1
            layers = self.layers if forward else self.layers[::-1]
            for layer in layers[1:]:
                self.sort_by_neighbours(layer, left if forward else right)
            count = self.crossings()
            if count < fewest:
                fewest, best = count, [list(layer) for layer in self.layers]
        self.layers = best

    def sort_by_neighbours(self, layer: list[Box], near: dict[int, list[Box]]) -> None:
        places = {id(b): i / max(len(one) - 1, 1) for one in self.layers for i, b in enumerate(one)}

        def centre(b: Box) -> float:
            around = [places[id(n)] for n in near.get(id(b), ())]
            return sum(around) / len(around) if around else places[id(b)]

        layer.sort(key=lambda b: (round(centre(b), 9), b.node, b.type))

    def crossings(self) -> int:
        places = {id(b): i for layer in self.layers for i, b in enumerate(layer)}
        total = 0
        by_layer: dict[int, list[tuple[int, int]]] = {}
        for p, q in self.hops:
            by_layer.setdefault(p.layer, []).append((places[id(p)], places[id(q)]))
        for hops in by_layer.values():
            hops.sort()
            ends: list[int] = []
            for _, end in hops:
                total += sum(1 for e in ends if e > end)
                ends.append(end)
        return total

    def settle(self) -> None:
        """Heights: each box as near to the middle of its neighbours as order and distance allow."""
        left, right = self.neighbours()
        for layer in self.layers:
            y = 0.0
            for b in layer:
                b.x, b.y = self.left[b.layer], y
                y += b.h + GAP
        tallest = max((layer[-1].y + layer[-1].h for layer in self.layers if layer), default=0.0)
        for layer in self.layers:
            slack = tallest - (layer[-1].y + layer[-1].h if layer else 0.0)
            for b in layer:
                b.y += slack / 2
        for sweep in range(12):
            near = left if sweep % 2 == 0 else right
            for layer in self.layers if sweep % 2 == 0 else self.layers[::-1]:
                wanted = [
                    sum(n.middle for n in around) / len(around) if (around := near.get(id(b), [])) else b.middle
                    for b in layer
                ]
                _place(layer, wanted)
        full = max(self.layers, key=lambda layer: sum(b.h + GAP for b in layer), default=[])
        down = full[0].y if full else 0.0
        for layer in self.layers:
            _place(layer, [b.middle - down for b in layer], 0.0, tallest)
        top = min((b.y for layer in self.layers for b in layer), default=0.0)
        for layer in self.layers:
            for b in layer:
                b.y += 34 - top
        self.height = max((b.y + b.h for layer in self.layers for b in layer), default=60.0) + LEGEND

    def sort_rows(self) -> None:
        """A cause's ledger rows in the order in which their lines arrive."""
        for b in self.boxes.values():
            if b.rows:
                ends = {a: path[-2].middle for (a, t), path in self.routes.items() if t == b.node}
                b.rows.sort(key=lambda r: (r[0] == " ", r[0] == "", ends.get(r[0], 0.0), r[2]))


def _place(layer: list[Box], wanted: list[float], least: float | None = None, most: float | None = None) -> None:
    """Sets the heights of a layer's boxes, in order and GAP apart, nearest to the wanted middles (least squares; pool
    adjacent violators, Ayer et al. 1955, from memory)."""
    if not layer:
        return
    offsets, y = [], 0.0
    for b in layer:
        offsets.append(y)
        y += b.h + GAP
    blocks: list[list[float]] = []
    for b, middle, offset in zip(layer, wanted, offsets, strict=True):
        blocks.append([middle - b.h / 2 - offset, 1.0])
        while len(blocks) > 1 and blocks[-2][0] > blocks[-1][0]:
            value, n = blocks.pop()
            blocks[-1] = [(blocks[-1][0] * blocks[-1][1] + value * n) / (blocks[-1][1] + n), blocks[-1][1] + n]
    starts = [value for value, n in blocks for _ in range(int(n))]
    if least is not None and most is not None:
        highest = max(most - y + GAP, least)
        starts = [min(max(s, least), highest) for s in starts]
    for b, start, offset in zip(layer, starts, offsets, strict=True):
        b.y = start + offset
