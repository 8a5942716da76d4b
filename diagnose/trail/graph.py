"""The reasoning graph: one networkx DiGraph of everything recorded, computed, deduced, weighed and judged.

Nodes have ids made from their content and a `type`; edges run with the data and have a `role`. Every explanation, export
and drawing is a question to this graph; nothing is reasoned again.

| type | id | what it is |
|---|---|---|
| recorded | o… or m… | an observation or a reading, with part, clock position, photo and line of the case file |
| setting | s… | a setting of the case |
| quantity | q… | a computed number with its formula and source |
| firing | r:ID:STATE:DIGEST@POSITION | one rule that fired, with file, line and each premise |
| finding | f:NAME@POSITION | present, absent or unrecorded, with the author's sentence |
| evidence | e:FINDING>CAUSE@POSITION | what the finding weighs for the cause, in dB |
| cause | c:NAME@POSITION | prior, weights, probability, standing |
| measurement | m:NAME | bench work that would decide a finding not yet recorded |
| caution | h:NAME | a hazard that a rule raised |

Roles that prove: input, premise, concludes, weighs, moves, rules out, sets prior, warns. Roles that do not: denies (a
rule that says the opposite of what was concluded), does not count (another finding of the line counts), would decide (a
measurement, for a finding not yet recorded). Rows of a cause card whose finding is not recorded stand with the cause, as
`open`.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Sequence
from typing import Any

import networkx as nx

from diagnose.casefile.model import Act, State
from diagnose.casefile.wording import extent_text
from diagnose.inference.engine import Firing, finding_id
from diagnose.inference.rules import Branch
from diagnose.inference.run import Inference
from diagnose.judgement.judge import Judged, Judgement
from diagnose.judgement.network import Network
from diagnose.reading.problems import Where
from diagnose.trail.wording import Sentences, compared, premise_text, quantity_text, record_text

TYPES = ("recorded", "setting", "quantity", "firing", "finding", "evidence", "cause", "measurement", "caution")
PROVING = ("input", "premise", "concludes", "weighs", "moves", "rules out", "sets prior", "warns")
DIGITS = 9
"""Probabilities and weights are kept to this many decimals, so that machines agree to the byte."""


def cause_id(cause: str, position: str) -> str:
    return f"c:{cause}@{position}"


def evidence_id(finding: str, cause: str, position: str) -> str:
    return f"e:{finding}>{cause}@{position}"


def firing_id(branch: Branch, position: str) -> str:
    content = [(p.table, p.equals, p.compare, p.negated, p.seat, p.same_part) for p in branch.premises]
    digest = hashlib.sha1(json.dumps(content).encode()).hexdigest()[:8]
    kind = branch.conclusion.kind
    state = branch.conclusion.state if kind == "found" else kind
    return f"r:{branch.id}:{state}:{digest}@{position}"


def build(inference: Inference, judgements: Sequence[Judgement]) -> nx.DiGraph:
    """The graph of one case. `judgements` are those of all its positions."""
    return _Builder(inference).build(judgements)


def proof(graph: nx.DiGraph, node: str) -> nx.DiGraph:
    """The part of the graph that one node rests on, and the node; nodes and edges in the order of the graph."""
    proving = nx.subgraph_view(graph, filter_edge=lambda a, b: graph.edges[a, b]["role"] in PROVING)
    kept = nx.ancestors(proving, node) | {node}
    part = nx.DiGraph(**graph.graph)
    part.add_nodes_from((n, a) for n, a in graph.nodes(data=True) if n in kept)
    part.add_edges_from((a, b, d) for a, b, d in graph.edges(data=True) if {a, b} <= kept and d["role"] in PROVING)
    return part


def leaves(graph: nx.DiGraph, node: str) -> list[str]:
    """The records and settings under a node, and quantities worked out from none."""
    return [n for n in proof(graph, node) if graph.in_degree(n) == 0 and graph.nodes[n]["type"] in TYPES[:3]]


def of_type(graph: nx.DiGraph, *types: str) -> list[str]:
    return [n for n, kind in graph.nodes(data="type") if kind in types]


def below(graph: nx.DiGraph, node: str, *roles: str) -> list[str]:
    """What stands directly under a node in these roles."""
    return [n for n, _, role in graph.in_edges(node, data="role") if role in roles]


class _Builder:
    def __init__(self, inference: Inference):
        self.inference, self.case = inference, inference.case
        self.knowledge = inference.base.knowledge
        self.folder = self.knowledge.folder + "/"
        self.sentences = Sentences(inference)
        self.graph = nx.DiGraph()
        self.quantities = {q.id: q for q in inference.quantities}
        self.tables: tuple[list[list[float]], list[list[float]]] | None = None

    def build(self, judgements: Sequence[Judgement]) -> nx.DiGraph:
        case, knowledge = self.case, self.knowledge
        self.graph.graph.update(
            case=case.name, case_digest=case.digest, knowledge_version=knowledge.version,
            knowledge_digest=knowledge.digest, knowledge_folder=knowledge.folder, positions=list(case.positions),
            judgements=[self.judgement(x) for x in judgements],
        )  # fmt: skip
        self.records()
        self.numbers()
        for position in case.positions:
            for finding in sorted(knowledge.findings):
                self.finding(finding, position)
        for firing in self.inference.firings:
            self.firing(firing)
        for x in judgements:
            for j in x.causes:
                self.cause(j)
        self.measurements()
        return self.graph

    def add(self, id: str, type: str, text: str, **more: Any) -> None:
        self.graph.add_node(id, type=type, text=text, **more)

    def place(self, where: Where) -> dict[str, Any]:
        """Where a rule stands, without the folder that the rule base happens to lie in."""
        return {"file": where.file.removeprefix(self.folder), "line": where.line}

    def judgement(self, x: Judgement) -> dict[str, Any]:
        return {
            "position": x.position,
            "sets": [{"causes": list(s.causes), "share": round(s.probability, DIGITS)} for s in x.sets],
            "none_of_these": round(x.none_of_these, DIGITS),
            "unexplained": list(x.unexplained),
        }

    def records(self) -> None:
        case = self.case
        for o in case.observations:
            self.add(
                o.id, "recorded", record_text(o, case, self.knowledge), state=o.state, what=o.feature, part=o.part,
                kind=o.kind, position=o.position, extent=o.extent.word, clock=extent_text(o.extent), group=o.group, face=o.carries, degree=o.degree, side=o.side,
                photo=o.photo, note=o.note, line=o.where.line,
            )  # fmt: skip
        for x in case.measured:
            self.add(
                x.id, "recorded", record_text(x, case, self.knowledge), state="measured", what=x.what, part=x.part,
                kind=x.kind, position=x.position, clock="", instrument=x.instrument,
                readings=[r.written for r in x.readings], note=x.note, line=x.where.line,
            )  # fmt: skip
        for s in case.settings:
            self.add(
                s.id, "setting", record_text(s, case, self.knowledge), what=s.setting, term=s.term, holds=s.holds,
                position=s.position, line=s.where.line,
            )  # fmt: skip

        statements: list[State | Act] = [*case.states, *case.acts]
        for said in statements:
            self.add(
                said.id, "recorded", record_text(said, case, self.knowledge), state="present" if said.holds else "absent",
                what=said.variable if isinstance(said, State) else said.did, position=said.position, clock="", note=said.note,
                said=said.said, line=said.where.line,
            )  # fmt: skip

    def numbers(self) -> None:
        for q in self.inference.quantities:
            self.add(
                q.id, "quantity", quantity_text(q), what=q.name, position=q.position, part=q.part, kind=q.kind,
                value=q.value, low=q.low, high=q.high, word=q.word, formula=q.formula, source=q.source,
                inputs=[f"{name} {written}" for name, written, _ in q.inputs], notes=list(q.notes), problem=q.problem,
            )  # fmt: skip
        for q in self.inference.quantities:
            for name, _, record in q.inputs:
                if record in self.graph:
                    self.graph.add_edge(record, q.id, role="input", name=name)

    def finding(self, finding: str, position: str) -> None:
        card = self.knowledge.findings[finding]
        deduced = self.inference.findings[position].get(finding)
        self.add(
            finding_id(finding, position), "finding", finding, state=deduced.state if deduced else "unrecorded",
            position=position, says=self.sentences.of(finding, position), rule=card.id, line_of_evidence=card.line,
            otherwise=card.otherwise, background=self.knowledge.words.seen[card.otherwise], muted=card.muted, status=card.status,
            told=bool(deduced and not deduced.firings), **self.place(card.where),
        )  # fmt: skip

    def firing(self, firing: Firing) -> None:
        branch, position = firing.branch, firing.position
        conclusion, id = branch.conclusion, firing_id(branch, position)
        premises = [
            {
                "says": premise_text(premise, self.knowledge), "denies": premise.negated, "supports": list(supports),
                "compared": [compared(premise, self.quantities[i], self.knowledge) for i in supports if i in self.quantities],
                "line": premise.condition.where.line,
            }
            for premise, supports in zip(branch.premises, firing.supports, strict=True)
        ]  # fmt: skip
        self.add(
            id, "firing", branch.id, rule=branch.rule, rule_id=branch.id, kind=conclusion.kind, state=conclusion.state,
            position=position, because=branch.because, premises=premises, sources=self.sources(branch),
            **self.place(branch.where),
        )  # fmt: skip
        for support in dict.fromkeys(i for ids in firing.supports for many in ids for i in many.split("+")):
            self.graph.add_edge(support, id, role="premise")
        if conclusion.kind == "found":
            target = finding_id(conclusion.name, position)
            agrees = self.graph.nodes[target]["state"] == conclusion.state
            self.graph.add_edge(id, target, role="concludes" if agrees else "denies")
        elif conclusion.kind == "caution":
            caution = self.knowledge.cautions[conclusion.name]
            self.add(f"h:{conclusion.name}", "caution", conclusion.name, says=caution.says, defer=caution.defer,
                     **self.place(caution.where))  # fmt: skip
            self.graph.add_edge(id, f"h:{conclusion.name}", role="warns")

    def sources(self, branch: Branch) -> list[str]:
        table = {"found": self.knowledge.findings, "caution": self.knowledge.cautions}.get(
            branch.conclusion.kind, self.knowledge.causes
        )
        return list(table[branch.rule].sources)

    def cause(self, j: Judged) -> None:
        card, position, id = self.knowledge.causes[j.cause], j.position, cause_id(j.cause, j.position)
        prior = self.inference.common[position].get(j.cause)
        self.add(
            id, "cause", j.cause, position=position, means=card.means, card=card.id, standing=j.standing,
            status=card.status, probability=round(j.probability, DIGITS), prior=round(j.prior, DIGITS),
            base_prior=round(j.base_prior, DIGITS), common=prior.branch.conclusion.state if prior else card.common,
            base_common=card.common, weight=round(j.weight, DIGITS), alone=round(j.alone, DIGITS),
            lines_for=list(j.lines_for), because=list(j.because), confirm=list(card.confirm),
            look_alikes=[
                {"cause": a.cause, "finding": a.finding, "favours": a.favours, "told_apart_by": a.told_apart_by}
                for a in card.look_alikes
            ],
            open=[], sources=list(card.sources), **self.place(card.where),
        )  # fmt: skip
        for role, firings in (
            ("rules out", self.inference.ruled_out[position].get(j.cause, ())),
            ("sets prior", (prior,) if prior else ()),
        ):
            for firing in firings:
                self.graph.add_edge(firing_id(firing.branch, position), id, role=role)
        self.graph.nodes[id]["open"] = self.rows(j, id)

    def rows(self, j: Judged, id: str) -> list[dict[str, Any]]:
        """Evidence nodes for the rows of a cause card whose finding is recorded, those that count and weigh most first;
        gives back the rows that are open, as seen word, weights either way and line of the card."""
        card, weighed = self.knowledge.causes[j.cause], j.weighed
        column = weighed.net.column[j.cause]
        present, absent = self.weights(weighed.net)
        recorded, open_ = [], []
        for row in card.leaves:
            i = weighed.net.row[row.finding]
            weights = {"if_present": present[i][column], "if_absent": absent[i][column]}
            there = weighed.states.get(row.finding)
            if there is None:
                open_.append({"finding": row.finding, "seen": row.seen, **weights, "line": row.where.line})
                continue
            through = weighed.through[row.finding]
            recorded.append({
                "text": row.finding, "state": "present" if there else "absent",
                "weight": weights["if_present" if there else "if_absent"], **weights, "seen": row.seen,
                "through": "" if through == row.finding else through, "sources": list(row.sources or card.sources),
                **self.place(row.where),
            })  # fmt: skip
        for e in sorted(recorded, key=lambda e: (e["through"] != "", -abs(e["weight"]), e["text"])):
            finding, node = self.knowledge.findings[e["text"]], evidence_id(e["text"], j.cause, j.position)
            self.add(node, "evidence", **e, cause=j.cause, position=j.position, otherwise=finding.otherwise,
                     line_of_evidence=finding.line, trial="trial" in (card.status, finding.status))  # fmt: skip
            self.graph.add_edge(finding_id(e["text"], j.position), node, role="weighs")
            self.graph.add_edge(node, id, role="does not count" if e["through"] else "moves")
        return sorted(open_, key=lambda e: e["finding"])

    def weights(self, net: Network) -> tuple[list[list[float]], list[list[float]]]:
        """The network's weights in dB, rounded, as plain rows: when present, when absent."""
        if self.tables is None:
            self.tables = (net.if_present.round(DIGITS).tolist(), net.if_absent.round(DIGITS).tolist())
        return self.tables

    def measurements(self) -> None:
        for m in sorted(self.knowledge.measurements.values(), key=lambda m: m.name):
            open_ = [
                id for f in m.tells for p in self.case.positions
                if (id := finding_id(f, p)) in self.graph and self.graph.nodes[id]["state"] == "unrecorded"
            ]  # fmt: skip
            if open_:
                self.add(f"m:{m.name}", "measurement", m.name, how=m.how, minutes=m.minutes, rule=m.id,
                         instrument=m.instrument, **self.place(m.where))  # fmt: skip
                for id in open_:
                    self.graph.add_edge(f"m:{m.name}", id, role="would decide")


def causes_by_probability(graph: nx.DiGraph, positions: Iterable[str] | None = None) -> list[str]:
    """Cause nodes, most probable first; ruled out ones last."""
    chosen = set(graph.graph["positions"] if positions is None else positions)
    nodes = [n for n in of_type(graph, "cause") if graph.nodes[n]["position"] in chosen]
    table = graph.nodes
    return sorted(
        nodes,
        key=lambda n: (table[n]["standing"] == "ruled out", -table[n]["probability"], -table[n]["alone"], n),
    )
