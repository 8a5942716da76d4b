"""The reasoning graph as a picture: layers from left (recorded) to right (causes), with room for every label.

Evidence is drawn as lines from findings to causes; each cause carries its ledger, one row a line, so that no weight
stands on a line. Long lines run through slots of their own in the layers they cross, so that they cross no box.
Layers by kind and depth, barycentre ordering and coordinates by isotonic regression follow the layered method of
Sugiyama, Tagawa and Toda (1981, from memory).
"""

from __future__ import annotations

import itertools
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any

import networkx as nx

from diagnose.reading.figures import count, percent
from diagnose.trail.graph import PROVING, causes_by_probability, of_type, proof
from diagnose.views.drawings import markup

WIDTH = 1600
FONT, SMALL, LINE = 12.0, 11.0, 15.0
PAD, GAP, LEGEND = 6.0, 9.0, 46.0
PILL, SLOT = 46.0, 4.0
FAN = 60.0
"""Extra room before the causes, where lines fan out."""
LEAST_WEIGHT = 0.5
"""dB; in the whole picture, lighter evidence is left out."""
SWEEPS = 24
_SHARE = {"recorded": 1.15, "quantity": 0.95, "finding": 1.0, "cause": 1.35}
_NARROW, _SLIM, _WIDE = frozenset("ijl.,:;'|!"), frozenset('ftr()[]-/ "'), frozenset("mwMW%@—")


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


@dataclass(frozen=True)
class Drawing:
    """The picture; `boxes` maps node ids to (x, y, width, height), `lines` are (from, to) pairs of node ids."""

    svg: str
    width: float
    height: float
    boxes: dict[str, tuple[float, float, float, float]]
    lines: tuple[tuple[str, str], ...]


def element_id(node: str) -> str:
    """The id of a node's element in the picture: the node's id with what an id may not hold replaced."""
    return "n-" + re.sub(r"[^\w:.@>-]", "_", node)


def draw(graph: nx.DiGraph, everything: bool = False) -> Drawing:
    """The whole graph, or whatever part of it is given. Without `everything` only the causes that matter are drawn."""
    return _Picture(graph, everything).draw()


def text_width(text: str, size: float = FONT) -> float:
    """About as wide as the text gets in a common sans-serif face, erring on the wide side."""
    em = sum(
        0.31 if c in _NARROW else 0.40 if c in _SLIM else 0.98 if c in _WIDE else 0.76 if c.isupper() else 0.62
        for c in text
    )
    return em * size


def wrap(text: str, width: float, size: float = FONT, most: int = 5) -> list[str]:
    """The text in lines no wider than `width`; words too long are cut, lines beyond `most` end in an ellipsis."""
    lines = [""]
    for word in text.split():
        while text_width(word, size) > width and len(word) > 1:
            head = _fitting(word, width, size)
            lines.append(head)
            word = word[len(head) :]
        joined = f"{lines[-1]} {word}".strip()
        if text_width(joined, size) <= width:
            lines[-1] = joined
        else:
            lines.append(word)
    lines = [line for line in lines if line] or [""]
    if len(lines) > most:
        lines = [*lines[: most - 1], cut(" ".join(lines[most - 1 :]), width, size)]
    return lines


def cut(text: str, width: float, size: float = FONT) -> str:
    """The text, ended by an ellipsis where it is wider than `width`."""
    return (
        text if text_width(text, size) <= width else _fitting(text, width - text_width("…", size), size).rstrip() + "…"
    )


def _fitting(text: str, width: float, size: float) -> str:
    n = len(text)
    while n > 1 and text_width(text[:n], size) > width:
        n -= 1
    return text[:n]


class _Picture:
    def __init__(self, graph: nx.DiGraph, everything: bool):
        self.graph, self.everything = graph, everything
        self.several = len(graph.graph.get("positions", ())) > 1
        self.lines = self.chosen_lines()
        self.layers: list[list[Box]] = []
        self.boxes: dict[str, Box] = {}
        self.hops: list[tuple[Box, Box]] = []
        self.routes: dict[tuple[str, str], list[Box]] = {}

    # ---- what is drawn ------------------------------------------------------------------------------------------

    def causes(self) -> list[str]:
        ranked = causes_by_probability(self.graph)
        if self.everything:
            return [n for n in ranked if self.graph.in_degree(n)]
        table = self.graph.nodes
        chosen: list[str] = []
        for position in self.graph.graph["positions"]:
            here = [n for n in ranked if table[n]["position"] == position]
            good = [n for n in here if table[n]["standing"] in ("established", "probable", "possible")]
            rest = [n for n in here if table[n]["standing"] == "unlikely"]
            out = [n for n in here if table[n]["standing"] == "ruled out" and table[n]["alone"] > 0]
            chosen += [*good, *rest[: max(0, 3 - len(good))], *out[:3]]
        return chosen

    def chosen_lines(self) -> dict[tuple[str, str], dict[str, Any]]:
        """Lines to draw: those of the proofs of what is shown, evidence drawn straight from finding to cause."""
        graph, table = self.graph, self.graph.nodes
        goals = self.causes()
        if not goals or (self.everything and len(of_type(graph, "cause")) < 1):
            goals = [
                n for n in graph if graph.out_degree(n) == 0 and table[n]["type"] in ("finding", "firing", "caution")
            ]
        lines: dict[tuple[str, str], dict[str, Any]] = {}
        for goal in goals:
            part = proof(graph, goal)
            heavy = self.everything or table[goal]["type"] != "cause"
            for n in of_type(part, "evidence"):
                if not heavy and abs(table[n]["weight"]) < LEAST_WEIGHT:
                    part.remove_node(n)
            part = proof(part, goal)
            for a, b, role in part.edges(data="role"):
                if table[a]["type"] == "evidence" or role not in PROVING:
                    continue
                if table[b]["type"] == "evidence":
                    lines[a, goal] = {"role": "weighs", "weight": table[b]["weight"]}
                else:
                    lines[a, b] = {"role": role}
        self.goals = goals
        return lines

    # ---- layers -------------------------------------------------------------------------------------------------

    def depth(self) -> dict[str, tuple[int, int]]:
        """(column group, level inside it) of every node: records, quantities, rules and findings by level, causes."""
        part = nx.DiGraph()
        part.add_nodes_from(self.goals)
        part.add_edges_from(self.lines)
        result: dict[str, tuple[int, int]] = {}
        level: dict[str, int] = {}
        for n in nx.lexicographical_topological_sort(part):
            kind = self.graph.nodes[n]["type"]
            under = [level[m] for m in part.predecessors(n)]
            if kind in ("recorded", "setting"):
                level[n], result[n] = 0, (0, 0)
            elif kind == "quantity":
                depth = 1 + max((result[m][1] for m in part.predecessors(n) if result[m][0] == 1), default=0)
                level[n], result[n] = 0, (1, depth)
            elif kind == "firing":
                level[n] = 1 + max(under, default=0)
                result[n] = (2, 2 * level[n])
            elif kind == "finding":
                level[n] = max(under, default=1)
                result[n] = (2, 2 * level[n] + 1)
            else:
                level[n], result[n] = 99, (3, 0)
        return result

    def make_boxes(self) -> None:
        depth = self.depth()
        columns = {place: i for i, place in enumerate(sorted(set(depth.values())))}
        kinds: list[str] = [""] * len(columns)
        for n, place in depth.items():
            kind = self.graph.nodes[n]["type"]
            kinds[columns[place]] = {"setting": "recorded", "caution": "cause"}.get(kind, kind)
        gap = 30.0 if len(columns) > 8 else 40.0
        fan = FAN if kinds[-1:] == ["cause"] else 0.0
        free = WIDTH - 2 * 12 - gap * (len(columns) - 1) - fan - PILL * kinds.count("firing")
        parts = sum(_SHARE.get(k, 0) for k in kinds) or 1
        widths = [PILL if k == "firing" else min(free * _SHARE[k] / parts, 420.0) for k in kinds]
        self.left: list[float] = []
        x = 12.0
        for i, w in enumerate(widths):
            x += fan if i == len(widths) - 1 else 0.0
            self.left.append(x)
            x += w + gap
        self.width = max(round(x - gap + 12, 1), 640.0)
        self.layers = [[] for _ in columns]
        for n in sorted(depth, key=lambda n: (columns[depth[n]], n)):
            i = columns[depth[n]]
            box = self.box(n, i, widths[i])
            self.boxes[n] = box
            self.layers[i].append(box)
        self.widths = widths

    def box(self, node: str, layer: int, width: float) -> Box:
        a = self.graph.nodes[node]
        inner = width - 2 * PAD
        if a["type"] == "firing":
            return Box(node, "firing", layer, [a["rule_id"]], width, LINE + 4)
        text = a["text"]
        if a["type"] == "finding" and a["state"] == "absent":
            text = f"no {text}"
        if self.several and a["type"] in ("finding", "cause"):
            text = f"{text} [{a['position']}]"
        if a["type"] != "cause":
            lines = wrap(text, inner)
            return Box(node, a["type"], layer, lines, width, len(lines) * LINE + 2 * PAD - 3)
        chance = "" if a["standing"] == "ruled out" else f", {percent(a['probability'])}"
        lines = [*wrap(text, inner, FONT + 1), f"{a['standing']}{chance}"]
        rows = []
        for (source, target), line in self.lines.items():
            if target == node:
                other = self.graph.nodes[source]
                if line["role"] == "weighs":
                    name = other["text"] if other["state"] == "present" else f"no {other['text']}"
                    rows.append((source, f"{line['weight']:+.1f}", name))
                elif line["role"] == "sets prior":
                    rows.append((source, f"{a['prior']:+.1f}", f"prior: {a['common']}"))
                else:
                    rows.append((source, "out", other["because"]))
        if not any(text.startswith("prior") for _, _, text in rows):
            rows.append(("", f"{a['prior']:+.1f}", f"prior: {a['common']}"))
        rows.append((" ", f"{a['alone']:+.1f}", "dB alone against none"))
        return Box(node, "cause", layer, lines, width, (len(lines) + len(rows)) * LINE + 2 * PAD, rows=rows)

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

    # ---- the picture --------------------------------------------------------------------------------------------

    def draw(self) -> Drawing:
        self.make_boxes()
        self.route()
        self.order()
        self.settle()
        self.sort_rows()
        parts = [self.curve(line) for line in self.lines]
        parts += [self.shape(b) for layer in self.layers for b in layer if b.type != "slot"]
        head = (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {self.width:.0f} {self.height:.0f}" '
            f'width="{self.width:.0f}" height="{self.height:.0f}" role="img" class="reasoning">'
            f"<title>{markup.text(str(self.graph.graph.get('case', '')))}: reasoning graph</title><style>{_STYLE}</style>"
            f'<rect width="100%" height="100%" fill="#fff"/>'
        )
        svg = "\n".join([head, *self.headings(), *parts, self.legend(), "</svg>"]) + "\n"
        places = {n: (b.x, b.y, b.w, b.h) for n, b in self.boxes.items()}
        return Drawing(svg, self.width, self.height, places, tuple(self.lines))

    def sort_rows(self) -> None:
        """A cause's ledger rows in the order in which their lines arrive."""
        for b in self.boxes.values():
            if b.rows:
                ends = {a: path[-2].middle for (a, t), path in self.routes.items() if t == b.node}
                b.rows.sort(key=lambda r: (r[0] == " ", r[0] == "", ends.get(r[0], 0.0), r[2]))

    def arrival(self, box: Box, source: str) -> float:
        """Where a line from `source` meets the left side of a box."""
        if box.rows:
            i = next(i for i, r in enumerate(box.rows) if r[0] == source)
            return box.y + PAD + (len(box.lines) + i) * LINE + LINE / 2
        coming = sorted((path[-2].middle, a) for (a, t), path in self.routes.items() if t == box.node)
        i = [a for _, a in coming].index(source)
        return box.y + box.h * (i + 1) / (len(coming) + 1)

    def curve(self, line: tuple[str, str]) -> str:
        path = self.routes[line]
        start = path[0]
        x, y = start.x + start.w, start.middle
        d = [f"M{x:.1f} {y:.1f}"]
        for b in path[1:]:
            to_x, to_y = b.x, b.middle if b.type == "slot" else self.arrival(b, line[0])
            half = (x + to_x) / 2
            d.append(f"C{half:.1f} {y:.1f} {half:.1f} {to_y:.1f} {to_x:.1f} {to_y:.1f}")
            x, y = to_x, to_y
            if b.type == "slot":
                x = b.x + b.w
                d.append(f"H{x:.1f}")
        role, weight = self.lines[line]["role"], self.lines[line].get("weight", 0.0)
        kind = role.replace(" ", "-") + (" against" if weight < 0 or role == "rules out" else "")
        thick = 1.0 + min(abs(weight), 20.0) / 8
        return (
            f'<path class="line {kind}" data-from="{markup.text(line[0])}" data-to="{markup.text(line[1])}" '
            f'stroke-width="{thick:.1f}" d="{"".join(d)}"/>'
        )

    def shape(self, b: Box) -> str:
        a = self.graph.nodes[b.node]
        state = " absent" if a.get("state") == "absent" and b.type == "finding" else ""
        round_ = {"finding": 9, "setting": 7, "firing": (b.h) / 2, "caution": 9}.get(b.type, 1)
        parts = [
            f'<g id="{markup.text(element_id(b.node))}" class="node {b.type}{state}" data-node="{markup.text(b.node)}">',
            f"<title>{markup.text(self.told(b.node))}</title>",
            f'<rect x="{b.x:.1f}" y="{b.y:.1f}" width="{b.w:.1f}" height="{b.h:.1f}" rx="{round_:g}"/>',
        ]
        if b.type == "quantity":
            parts.append(f'<path class="bar" d="M{b.x + 3:.1f} {b.y:.1f}v{b.h:.1f}"/>')
        middle = b.type == "firing"
        for i, text in enumerate(b.lines):
            strong = ' class="strong"' if b.type == "cause" and i < len(b.lines) - 1 else ""
            x = b.x + b.w / 2 if middle else b.x + PAD
            top = b.y + (1.0 if middle else PAD - 2) + i * LINE + 12
            parts.append(
                f'<text x="{x:.1f}" y="{top:.1f}"{" text-anchor=" + chr(34) + "middle" + chr(34) if middle else ""}{strong}>{markup.text(text)}</text>'
            )
        for i, (_, figure, text) in enumerate(b.rows):
            y = b.y + PAD + (len(b.lines) + i) * LINE + 11
            room = b.w - 2 * PAD - 44
            parts.append(
                f'<text class="row" x="{b.x + PAD + 36:.1f}" y="{y:.1f}" text-anchor="end">{markup.text(figure)}</text>'
            )
            parts.append(
                f'<text class="row" x="{b.x + PAD + 44:.1f}" y="{y:.1f}">{markup.text(cut(text, room, SMALL))}</text>'
            )
        if b.rows:
            y = b.y + PAD + (len(b.lines) + len(b.rows) - 1) * LINE
            parts.append(f'<path class="sum" d="M{b.x + PAD:.1f} {y:.1f}h{b.w - 2 * PAD:.1f}"/>')
        return "".join([*parts, "</g>"])

    def told(self, node: str) -> str:
        """What hovering shows: the sentence of a finding, the premises of a rule, the meaning of a cause."""
        a = self.graph.nodes[node]
        if a["type"] == "firing":
            premises = "; ".join("; ".join(p["compared"]) or p["says"] for p in a["premises"])
            return f"rule {a['rule_id']} {a['file']}:{a['line']}: {premises}"
        if a["type"] == "quantity":
            return f"{a['text']} = {a['formula']}"
        if a["type"] in ("recorded", "setting"):
            return f"{a['text']} (case line {a['line']})"
        return str(a.get("says") or a.get("means") or a["text"])

    def headings(self) -> Iterable[str]:
        names = {"recorded": "recorded", "setting": "recorded", "quantity": "computed", "firing": "rule",
                 "finding": "found", "cause": "causes, with their ledgers in dB", "caution": "cautions"}  # fmt: skip
        for i, layer in enumerate(self.layers):
            kinds: Sequence[str] = [b.type for b in layer if b.type != "slot"]
            if kinds:
                yield f'<text class="heading" x="{self.left[i]:.1f}" y="18">{names[kinds[0]]}</text>'

    def legend(self) -> str:
        y = self.height - 18
        told = "solid line: speaks for; dashed line: speaks against or rules out; dashed frame: looked for and not so; the thicker, the heavier"
        drawn = sum(1 for n in self.boxes if self.graph.nodes[n]["type"] == "recorded")
        left_out = len(of_type(self.graph, "recorded")) - drawn
        also = f" Not drawn: {count(left_out, 'record')} on which nothing shown here rests." if left_out else ""
        return f'<text class="legend" x="12" y="{y:.1f}">{told}.{also}</text>'


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


_STYLE = """
.reasoning text{font:12px Helvetica,Arial,'Liberation Sans',sans-serif;fill:#1a1a1a}
.reasoning .heading{font-size:11px;fill:#555;letter-spacing:.04em}
.reasoning .legend{font-size:11px;fill:#444}
.reasoning .row{font-size:11px}
.reasoning .strong{font-size:13px;font-weight:bold}
.reasoning rect{stroke-width:1}
.reasoning .recorded rect,.reasoning .setting rect{fill:#f6f6f2;stroke:#8a8a80}
.reasoning .quantity rect{fill:#eef4ee;stroke:#5b7f5b}
.reasoning .bar{stroke:#5b7f5b;stroke-width:1.5}
.reasoning .firing rect{fill:#fff;stroke:#777}
.reasoning .firing text{font-size:11px}
.reasoning .finding rect{fill:#eaf1f8;stroke:#35618a;stroke-width:1.4}
.reasoning .finding.absent rect{stroke-dasharray:5 3;fill:#fff}
.reasoning .caution rect{fill:#fff4e0;stroke:#9a6a00}
.reasoning .cause rect{fill:#fffdf5;stroke:#222;stroke-width:2}
.reasoning .sum{stroke:#222;stroke-width:.8}
.reasoning .line{fill:none;stroke:#9b9b9b}
.reasoning .line.weighs,.reasoning .line.sets-prior{stroke:#2b5d8c;stroke-opacity:.75}
.reasoning .line.against{stroke:#a3342a;stroke-dasharray:6 4;stroke-opacity:.8}
""".replace("\n", "")
