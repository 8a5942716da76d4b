"""The reasoning graph as a picture: from left (recorded) over rules and findings to what happened and why (right).

Marks are drawn as lines from findings to the mechanism or cause that leaves them; what brought what about as lines with an
arrow, so that each chain is read from the cause at the right leftwards to what was found. Mechanisms and causes carry their
marks, one row a line, so that no weight stands on a line.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import networkx as nx

from diagnose.judgement.judge import STANDINGS
from diagnose.reading.figures import count, percent
from diagnose.trail.graph import HAPPENED, PROVING, cause_id, mechanism_id, of_type, proof, ranked
from diagnose.views.drawings import markup
from diagnose.views.drawings.lettering import FONT, cut, wrap
from diagnose.views.layers import LEGEND, LINE, PAD, SMALL, Box, Layered

WIDTH, UPRIGHT = 1900, 1200
"""Of the picture on screen and across a page, and of one that fits an upright page."""
TALLEST = {WIDTH: 1130, UPRIGHT: 1550}
"""What a page has room for below its headings at the same size of print."""
LEAST_COLUMN = 100.0
"""Room for the words of a finding."""
PILL = 46.0
FAN = 60.0
"""Extra room before the causes, where lines fan out."""
LEAST_WEIGHT = 0.5
"""dB; lighter marks are left out."""
STEP = 0.5
"""dB; by so much more is left out on paper until the rest has room."""
LEAST_CHANCE = 0.01
"""Probability below which not even the whole picture draws a cause or mechanism."""
NAMED = STANDINGS[: STANDINGS.index("possible") + 1]
_SHARE = {"recorded": 1.1, "quantity": 0.8, "finding": 1.0, "mechanism": 1.3, "cause": 1.45}
Line = dict[str, Any]


@dataclass(frozen=True)
class Drawing:
    """The picture; `boxes` maps node ids to (x, y, width, height), `lines` are (from, to) pairs of node ids, from left to
    right: of what was brought about, the consequence first. `column` is the width of a finding."""

    svg: str
    width: float
    height: float
    boxes: dict[str, tuple[float, float, float, float]]
    lines: tuple[tuple[str, str], ...]
    column: float


def element_id(node: str) -> str:
    """The id of a node's element in the picture: the node's id with what an id may not hold replaced."""
    return "n-" + re.sub(r"[^\w:.@>-]", "_", node)


def draw(graph: nx.DiGraph, everything: bool = False, width: float = WIDTH, least: float = LEAST_WEIGHT) -> Drawing:
    """The whole graph, or whatever part of it is given. Without `everything` only the chains that the answer is made of are
    drawn with marks of `least` dB or more, and the causes beside them that are possible or better. What is ruled out is not
    drawn."""
    return _Picture(graph, *_chosen(graph, everything, least), width, least).draw()


def for_paper(graph: nx.DiGraph) -> Drawing:
    """The picture of a page: upright where its columns have room for their words, else across the page; with as many of the
    lightest marks left out as it would be too tall to be read with."""
    width = UPRIGHT if draw(graph, width=UPRIGHT).column >= LEAST_COLUMN else WIDTH
    least, heaviest = LEAST_WEIGHT, max((abs(w) for *_, w in graph.edges(data="weight") if w), default=0.0)
    picture = draw(graph, width=width)
    while picture.height > TALLEST[width] and least < heaviest:
        least += STEP
        picture = draw(graph, width=width, least=least)
    return picture


# ---- what is drawn ---------------------------------------------------------------------------------------------------


def _chosen(graph: nx.DiGraph, everything: bool, least: float) -> tuple[dict[tuple[str, str], Line], list[str]]:
    """The lines to draw, and the nodes at the right end."""
    happened = _links(graph, everything)
    shown = dict.fromkeys(n for line in happened for n in line)
    table = graph.nodes
    causes = [n for n in ranked(graph, "cause") if n in shown] if graph.graph.get("positions") else []
    tops = [n for n in shown if table[n]["type"] == "mechanism" and not any(a == n for a, _ in happened)]
    lines: dict[tuple[str, str], Line] = {}
    for n in [n for n in shown if table[n]["type"] in ("cause", "mechanism")]:
        for finding, edge in graph.adj[n].items():
            if edge["role"] == "leaves" and edge["weight"] and table[finding]["state"] != "unrecorded" and not table[finding]["through"] \
                    and (everything or abs(edge["weight"]) >= least):  # fmt: skip
                lines[finding, n] = {"role": "leaves", "weight": edge["weight"], "seen": edge["seen"]}
        for firing, _, role in graph.in_edges(n, data="role"):
            if role == "sets prior":
                lines[firing, n] = {"role": role}
    goals = [*causes, *tops]
    if not shown:
        goals = [n for n in graph if graph.out_degree(n) == 0 and table[n]["type"] in ("finding", "firing", "caution")]
    for start in [*dict.fromkeys(a for a, _ in lines), *([] if shown else goals)]:
        for a, b, role in proof(graph, start).edges(data="role"):
            if role in PROVING:
                lines[a, b] = {"role": role}
    return {**lines, **happened}, goals


def _links(graph: nx.DiGraph, everything: bool) -> dict[tuple[str, str], Line]:
    """What brought what about, each consequence first."""
    table = graph.nodes

    def drawn(n: str) -> bool:
        a = table[n]
        return a["standing"] != "ruled out" and a["probability"] >= LEAST_CHANCE

    lines: dict[tuple[str, str], Line] = {}
    if everything:
        bears = {
            n
            for f in of_type(graph, "finding")
            if table[f]["state"] != "unrecorded"
            for n in nx.ancestors(_happened(graph), f)
        }
        for a, b, role in graph.edges(data="role"):
            if role == "brings about" and {a, b} <= bears and drawn(a) and drawn(b):
                lines[b, a] = {"role": role}
        return lines
    for judgement in graph.graph.get("judgements", ()):
        for chain in judgement["chains"]:
            for link in chain["links"]:
                if link["parent"]:
                    a = mechanism_id(link["name"], judgement["position"])
                    b = next(n for n in (cause_id(link["parent"], judgement["position"]),
                                         mechanism_id(link["parent"], judgement["position"])) if n in graph or n[0] == "x")  # fmt: skip
                    if a in graph and b in graph:
                        lines[a, b] = {"role": "brings about", "chain": True}
    held = dict.fromkeys(n for line in lines for n in line)
    others = [n for n in ranked(graph, "cause") if table[n]["standing"] in NAMED and n not in held] if held else []
    for cause in others or ([] if held else ranked(graph, "cause")[:1] if graph.graph.get("positions") else []):
        for n in graph.successors(cause):
            if graph.edges[cause, n]["role"] == "brings about" and (n in held or not held) and drawn(n):
                lines[n, cause] = {"role": "brings about"}
    return lines


def _happened(graph: nx.DiGraph) -> nx.DiGraph:
    return nx.subgraph_view(graph, filter_edge=lambda a, b: graph.edges[a, b]["role"] in HAPPENED)


# ---- the picture -----------------------------------------------------------------------------------------------------


class _Picture(Layered):
    def __init__(
        self, graph: nx.DiGraph, lines: dict[tuple[str, str], Line], goals: list[str], widest: float, least: float
    ):
        super().__init__(lines, goals)
        self.graph, self.widest, self.least = graph, widest, least
        self.several = len(graph.graph.get("positions", ())) > 1

    def depth(self) -> dict[str, tuple[int, int]]:
        """(column group, level inside it) of every node: records, quantities, rules and findings by level, mechanisms with
        consequences first, causes."""
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
            elif kind == "mechanism":
                depth = 1 + max((result[m][1] for m in part.predecessors(n) if result[m][0] == 3), default=0)
                level[n], result[n] = 99, (3, depth)
            else:
                level[n], result[n] = 99, (4, 0)
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
        free = self.widest - 2 * 12 - gap * (len(columns) - 1) - fan - PILL * kinds.count("firing")
        parts = sum(_SHARE.get(k, 0) for k in kinds) or 1
        self.column = free / parts
        widths = [PILL if k == "firing" else min(self.column * _SHARE[k], 420.0) for k in kinds]
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
        if self.several and a["type"] in ("finding", "mechanism", "cause"):
            text = f"{text} [{a['position']}]"
        if a["type"] not in ("mechanism", "cause"):
            lines = wrap(text, inner)
            return Box(node, a["type"], layer, lines, width, len(lines) * LINE + 2 * PAD - 3)
        lines = [*wrap(text, inner, FONT + 1), *wrap(f"{a['standing']}, {percent(a['probability'])}", inner)]
        rows = self.rows(node)
        return Box(node, a["type"], layer, lines, width, (len(lines) + len(rows)) * LINE + 2 * PAD, rows=rows)

    def rows(self, node: str) -> list[tuple[str, str, str]]:
        """One row for each line that arrives: a mark with its weight, a consequence, a rule; then what stands alone."""
        a, rows = self.graph.nodes[node], []
        for (source, target), line in self.lines.items():
            if target != node:
                continue
            other = self.graph.nodes[source]
            if line["role"] == "leaves":
                name = other["text"] if other["state"] == "present" else f"no {other['text']}"
                rows.append((source, f"{line['weight']:+.1f}", name))
            elif line["role"] == "brings about":
                rows.append((source, "<", other["text"]))
            else:
                rows.append((source, f"{a['prior']:+.1f}", f"prior: {a['common']}"))
        if a["type"] == "cause":
            if not any(text.startswith("prior") for _, _, text in rows):
                rows.append(("", f"{a['prior']:+.1f}", f"prior: {a['common']}"))
            rows.append((" ", f"{a['alone']:+.1f}", "dB alone against none"))
        return rows

    def draw(self) -> Drawing:
        self.make_boxes()
        self.route()
        self.order()
        self.settle()
        self.sort_rows()
        parts = [self.curve(line) for line in self.lines]
        parts += [self.shape(b) for layer in self.layers for b in layer if b.type != "slot"]
        legend, top = self.legend(), self.height - LEGEND + 28
        self.height += (len(legend) - 1) * LINE
        parts += [
            f'<text class="legend" x="12" y="{top + i * LINE:.1f}">{markup.text(line)}</text>'
            for i, line in enumerate(legend)
        ]
        head = (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {self.width:.0f} {self.height:.0f}" '
            f'width="{self.width:.0f}" height="{self.height:.0f}" role="img" class="reasoning">'
            f"<title>{markup.text(str(self.graph.graph.get('case', '')))}: reasoning graph</title><style>{_STYLE}</style>{_ARROW}"
            f'<rect width="100%" height="100%" fill="#fff"/>'
        )
        svg = "\n".join([head, *self.headings(), *parts, "</svg>"]) + "\n"
        places = {n: (b.x, b.y, b.w, b.h) for n, b in self.boxes.items()}
        return Drawing(svg, self.width, self.height, places, tuple(self.lines), self.column)

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
        arrow = ' marker-start="url(#happened)"' if role == "brings about" else ""
        kind = (
            role.replace(" ", "-")
            + (" against" if weight < 0 else "")
            + (" chain" if self.lines[line].get("chain") else "")
        )
        thick = 1.0 + min(abs(weight), 20.0) / 8
        return (
            f'<path class="line {kind}" data-from="{markup.text(line[0])}" data-to="{markup.text(line[1])}" '
            f'stroke-width="{thick:.1f}"{arrow} d="{"".join(d)}"/>'
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
            strong = ' class="strong"' if b.type in ("cause", "mechanism") and i < len(b.lines) - 1 else ""
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
        if b.type == "cause":
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
                 "finding": "found", "mechanism": "what happened", "cause": "causes", "caution": "cautions"}  # fmt: skip
        for i, layer in enumerate(self.layers):
            kinds: Sequence[str] = [b.type for b in layer if b.type != "slot"]
            if kinds:
                yield f'<text class="heading" x="{self.left[i]:.1f}" y="18">{names[kinds[0]]}</text>'

    def legend(self) -> list[str]:
        """The lines below the picture: what its lines mean and what is left out."""
        told = (
            "arrow: what brought about what, from the right; solid line: a mark that speaks for it, in dB as if alone; dashed "
            "line: against; dashed frame: looked for and not so"
        )
        drawn = sum(1 for n in self.boxes if self.graph.nodes[n]["type"] == "recorded")
        left_out = len(of_type(self.graph, "recorded")) - drawn
        also = f" Not drawn: {count(left_out, 'record')} on which nothing shown here rests." if left_out else ""
        light = f" Marks under {self.least:g} dB are left out." if self.least > LEAST_WEIGHT else ""
        return wrap(f"{told}.{light}{also}", self.width - 24, SMALL)


_ARROW = (
    '<defs><marker id="happened" viewBox="0 0 8 8" refX="8" refY="4" markerWidth="10" markerHeight="10" '
    'markerUnits="userSpaceOnUse" orient="auto-start-reverse"><path d="M0 0L8 4L0 8z" fill="#7a3b00"/></marker></defs>'
)
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
.reasoning .mechanism rect{fill:#fdf3ea;stroke:#7a3b00;stroke-width:1.6}
.reasoning .sum{stroke:#222;stroke-width:.8}
.reasoning .line{fill:none;stroke:#9b9b9b}
.reasoning .line.brings-about{stroke:#7a3b00;stroke-opacity:.5}
.reasoning .line.chain{stroke-width:3;stroke-opacity:.9}
.reasoning .line.leaves,.reasoning .line.sets-prior{stroke:#2b5d8c;stroke-opacity:.75}
.reasoning .line.against{stroke:#a3342a;stroke-dasharray:6 4;stroke-opacity:.8}
""".replace("\n", "")
