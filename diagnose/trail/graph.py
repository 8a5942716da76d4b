"""The reasoning graph: one networkx DiGraph of everything recorded, computed, deduced, explained and judged.

Nodes have ids made from their content and a `type`; edges have a `role`. Up to the findings edges run with the data, from
what is recorded to what is found; from causes over mechanisms down to the findings they run as things happened. Every
explanation, export and drawing is a question to this graph.

| type | id | what it is |
|---|---|---|
| recorded | o… or m… | an observation or a reading, with part, clock position, photo and line of the case file |
| setting | s… | a setting of the case |
| quantity | q… | a computed number with its formula and source |
| firing | r:ID:STATE:DIGEST@POSITION | one rule that fired, with file, line and each premise |
| finding | f:NAME@POSITION | present, absent or unrecorded, with the author's sentence |
| mechanism | x:NAME@POSITION | what happened: probability and standing |
| cause | c:NAME@POSITION | a root cause: prior, probability, standing |
| measurement | m:NAME | bench work that would decide a finding not yet recorded |
| caution | h:NAME | a hazard that a rule raised |

Roles that prove: input, premise, concludes, rules out, sets prior, warns. Roles of what happened: brings about (cause or
mechanism to mechanism), leaves (mechanism or cause to finding, with what the finding weighs alone, in dB). Roles that do
neither: denies (a rule that says the opposite of what was concluded), would decide (a measurement, for a finding not yet
recorded).
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import networkx as nx

from diagnose.casefile.model import Act, State
from diagnose.casefile.wording import extent_text
from diagnose.inference.engine import Firing, finding_id
from diagnose.inference.rules import Branch
from diagnose.judgement.chains import Chain, Link, Mark, chains
from diagnose.judgement.diagnosis import Diagnosis
from diagnose.judgement.judge import Judged, Judgement, rank_of
from diagnose.judgement.weights import decibans
from diagnose.knowledge.model import Cause
from diagnose.reading.problems import Where
from diagnose.trail.wording import Sentences, compared, premise_text, quantity_text, record_text

TYPES = ("recorded", "setting", "quantity", "firing", "finding", "mechanism", "cause", "measurement", "caution")
PROVING = ("input", "premise", "concludes", "rules out", "sets prior", "warns")
HAPPENED = ("brings about", "leaves")
DIGITS = 9
"""Probabilities and weights are kept to this many decimals, so that machines agree to the byte."""
Doc = dict[str, Any]


@dataclass(frozen=True, eq=False)
class Reasoning:
    """A diagnosis and its graph."""

    diagnosis: Diagnosis

    @cached_property
    def graph(self) -> nx.DiGraph:
        return build(self.diagnosis)


def cause_id(cause: str, position: str) -> str:
    return f"c:{cause}@{position}"


def mechanism_id(mechanism: str, position: str) -> str:
    return f"x:{mechanism}@{position}"


def judged_id(j: Judged) -> str:
    return (cause_id if j.kind == "cause" else mechanism_id)(j.name, j.position)


def firing_id(branch: Branch, position: str) -> str:
    content = [(p.table, p.equals, p.compare, p.negated, p.at, p.same_part) for p in branch.premises]
    digest = hashlib.sha1(json.dumps(content).encode()).hexdigest()[:8]
    kind = branch.conclusion.kind
    state = branch.conclusion.state if kind == "found" else kind
    return f"r:{branch.id}:{state}:{digest}@{position}"


def build(diagnosis: Diagnosis) -> nx.DiGraph:
    """The graph of one case."""
    return _Builder(diagnosis).build()


def proof(graph: nx.DiGraph, node: str) -> nx.DiGraph:
    """The part of the graph that one node rests on, and the node; nodes and edges in the order of the graph. A cause or
    mechanism rests on the recorded findings that it bears on, through whatever mechanisms."""
    happened = nx.subgraph_view(graph, filter_edge=lambda a, b: graph.edges[a, b]["role"] in HAPPENED)
    proving = nx.subgraph_view(graph, filter_edge=lambda a, b: graph.edges[a, b]["role"] in PROVING)
    kept = {node}
    if graph.nodes[node]["type"] in ("cause", "mechanism"):
        under = nx.descendants(happened, node)
        recorded = {n for n in under if graph.nodes[n]["type"] == "finding" and graph.nodes[n]["state"] != "unrecorded"}
        bears = set().union(*(nx.ancestors(happened, n) for n in recorded))
        kept |= recorded | (under & bears)
    kept = kept.union(*(nx.ancestors(proving, n) for n in kept))
    part = nx.DiGraph(**graph.graph)
    part.add_nodes_from((n, a) for n, a in graph.nodes(data=True) if n in kept)
    roles = (*PROVING, *HAPPENED)
    part.add_edges_from((a, b, d) for a, b, d in graph.edges(data=True) if {a, b} <= kept and d["role"] in roles)
    return part


def leaves(graph: nx.DiGraph, node: str) -> list[str]:
    """The records and settings under a node, and quantities worked out from none."""
    return [n for n in proof(graph, node) if graph.in_degree(n) == 0 and graph.nodes[n]["type"] in TYPES[:3]]


def of_type(graph: nx.DiGraph, *types: str) -> list[str]:
    return [n for n, kind in graph.nodes(data="type") if kind in types]


def below(graph: nx.DiGraph, node: str, *roles: str) -> list[str]:
    """What stands directly under a node in these roles."""
    return [n for n, _, role in graph.in_edges(node, data="role") if role in roles]


def ranked(graph: nx.DiGraph, type: str, positions: Iterable[str] | None = None) -> list[str]:
    """Cause or mechanism nodes, those first that most of the record is about, as `Judged.rank` has them."""
    chosen = set(graph.graph["positions"] if positions is None else positions)
    table = graph.nodes
    nodes = [n for n in of_type(graph, type) if table[n]["position"] in chosen]

    def key(n: str) -> tuple[int, bool, float, float, str]:
        a = table[n]
        # a trail written before there was `told` is read as it was ranked then
        before = 0.0 if type == "cause" else a["probability"] * max(a["weight"], 0.0)
        told = round(a.get("told", before), DIGITS)
        return *rank_of(type, a["standing"], a.get("leak_path", False), told, a["probability"]), n

    return sorted(nodes, key=key)


def chain_json(chain: Chain) -> Doc:
    """A chain as plain data; probabilities and weights rounded."""

    def marks(told: Iterable[Mark]) -> list[Doc]:
        return [{"finding": m.finding, "seen": m.seen, "weight": round(m.weight, DIGITS)} for m in told]

    def link(x: Link) -> Doc:
        return {
            "name": x.name, "kind": x.judged.kind, "parent": x.parent, "seen": x.seen, "chance": round(x.chance, DIGITS),
            "standing": x.judged.standing, "probability": round(x.judged.probability, DIGITS), "shown": marks(x.shown),
            "missing": marks(x.missing), "open": marks(x.open),
        }  # fmt: skip

    return {
        "start": chain.start.name, "main": list(chain.main), "branches": [list(b) for b in chain.branches],
        "links": [link(x) for x in chain.links],
    }  # fmt: skip


class _Builder:
    def __init__(self, diagnosis: Diagnosis):
        self.diagnosis, self.inference, self.case = diagnosis, diagnosis.inference, diagnosis.case
        self.knowledge = diagnosis.base.knowledge
        self.folder = self.knowledge.folder + "/"
        self.sentences = Sentences(self.inference)
        self.graph = nx.DiGraph()
        self.quantities = {q.id: q for q in self.inference.quantities}

    def build(self) -> nx.DiGraph:
        case, knowledge = self.case, self.knowledge
        judgements = self.diagnosis.judgements
        self.graph.graph.update(
            case=case.name, case_digest=case.digest, knowledge_version=knowledge.version,
            knowledge_digest=knowledge.digest, knowledge_folder=knowledge.folder, positions=list(case.positions),
            judgements=[self.judgement(x) for x in judgements],
        )  # fmt: skip
        self.records()
        self.numbers()
        for x in judgements:
            for finding in sorted(knowledge.findings):
                self.finding(finding, x)
        for firing in self.inference.firings:
            self.firing(firing)
        for x in judgements:
            for j in (*x.mechanisms, *x.causes):
                self.judged(j)
            for j in (*x.causes, *x.mechanisms):
                self.rows(j)
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
            "none_of_these": round(x.none_of_these, DIGITS), "unexplained": list(x.unexplained),
            "chains": [chain_json(c) for c in chains(x)],
        }  # fmt: skip

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

    def finding(self, finding: str, x: Judgement) -> None:
        card, position = self.knowledge.findings[finding], x.position
        deduced = self.inference.findings[position].get(finding)
        self.add(
            finding_id(finding, position), "finding", finding, state=deduced.state if deduced else "unrecorded",
            position=position, says=self.sentences.of(finding, position), rule=card.id, known_by=card.known_by,
            through="" if x.through.get(finding, finding) == finding else x.through[finding], otherwise=card.otherwise, background=self.knowledge.words.seen[card.otherwise], muted=card.muted, status=card.status,
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
        tables: dict[str, Any] = {"found": self.knowledge.findings, "caution": self.knowledge.cautions}
        table = tables.get(branch.conclusion.kind)
        return list((table[branch.rule] if table else self.knowledge.card(branch.rule)).sources)

    def judged(self, j: Judged) -> None:
        """A cause or mechanism, and the rules that set its prior or rule it out."""
        card, id = j.card, judged_id(j)
        prior = self.inference.common[j.position].get(j.name) if isinstance(card, Cause) else None
        if isinstance(card, Cause):
            told: Doc = {
                "common": prior.branch.conclusion.state if prior else card.common, "base_common": card.common,
                "prior": round(decibans(j.prior / (1 - j.prior)), DIGITS), "alone": self.alone(j), "told": round(j.told, DIGITS),
            }  # fmt: skip
        else:
            told = {"otherwise": card.otherwise, "leak_path": card.leak_path, "told": round(j.told, DIGITS)}
        self.add(
            id, j.kind, j.name, position=j.position, means=card.means, card=card.id, standing=j.standing,
            status=card.status, probability=round(j.probability, DIGITS), before=round(j.prior, DIGITS),
            weight=round(j.weight, DIGITS), told_at=j.told_at, lines_for=list(j.lines_for), because=list(j.because),
            confirm=list(card.confirm), look_alikes=[
                {"other": a.other, "finding": a.finding, "favours": a.favours, "told_apart_by": a.told_apart_by}
                for a in card.look_alikes
            ],
            sources=list(card.sources), **told, **self.place(card.where),
        )  # fmt: skip
        for role, firings in (
            ("rules out", self.inference.ruled_out[j.position].get(j.name, ())),
            ("sets prior", (prior,) if prior else ()),
        ):
            for firing in firings:
                self.graph.add_edge(firing_id(firing.branch, j.position), id, role=role)

    def alone(self, j: Judged) -> float | None:
        """The cause alone against none of the causes, in dB of odds; None where it is ruled out."""
        if not j.at.found.alone[j.at.net.column[j.name]]:
            return None
        return round(decibans(j.prior / (1 - j.prior)) + j.at.weights.total(j.name), DIGITS)

    def rows(self, j: Judged) -> None:
        """What a cause or mechanism brings about and leaves, as its card says it."""
        card, id, row = j.card, judged_id(j), j.at.net.row
        for link in card.brings_about:
            self.graph.add_edge(id, mechanism_id(link.mechanism, j.position), role="brings about", seen=link.seen,
                                sources=list(link.sources or card.sources), line=link.where.line)  # fmt: skip
        if_present, if_absent = (w.round(DIGITS).tolist() for w in j.at.weights.alone(j.name))
        answers = card.answers if isinstance(card, Cause) else {}
        told = [(r.finding, r.seen, r.sources, r.where) for r in card.leaves]
        told += [(f, seen, (), card.where) for words in answers.values() for f, seen in words.items()]
        for finding, seen, sources, where in told:
            weights = {"if_present": if_present[row[finding]], "if_absent": if_absent[row[finding]]}
            there = j.at.states.get(finding)
            self.graph.add_edge(
                id, finding_id(finding, j.position), role="leaves", seen=seen, **weights,
                weight=0.0 if there is None else weights["if_present" if there else "if_absent"],
                trial="trial" in (card.status, self.knowledge.findings[finding].status),
                sources=list(sources or card.sources), line=where.line,
            )  # fmt: skip

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
