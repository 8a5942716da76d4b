"""What if: what a record changed in thought changes in findings, mechanisms, causes and their standing."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import networkx as nx

from diagnose.judgement.diagnosis import Diagnosis
from diagnose.reading.problems import Problems
from diagnose.trail.graph import Reasoning, cause_id, of_type, ranked
from diagnose.trail.suppose import Change, suppose

MOST_RANKED = 5
Doc = dict[str, Any]


def what_if(diagnosis: Diagnosis, changes: Sequence[Change], problems: Problems) -> Doc | None:
    """Before and after of a case with changes made; None, with problems, where a change cannot be read."""
    supposed = suppose(diagnosis.case, diagnosis.base, changes, problems)
    if problems.errors():
        return None
    before, after = (Reasoning(d).graph for d in (diagnosis, supposed.diagnosis(diagnosis.base)))
    return {
        "question": "what if", "case": diagnosis.case.name,
        "changes": [{"kind": c.kind, "text": c.text} for c in changes],
        "before": _rankings(before), "after": _rankings(after), **difference(before, after),
    }  # fmt: skip


def _rankings(graph: nx.DiGraph) -> Doc:
    return {
        kind + "s": [
            {k: graph.nodes[n][k] for k in ("text", "position", "standing", "probability")}
            for n in ranked(graph, kind)[:MOST_RANKED]
        ]
        for kind in ("mechanism", "cause")
    }


def difference(before: nx.DiGraph, after: nx.DiGraph) -> Doc:
    """What differs between two graphs: leading explanation, mechanisms and causes, findings with the rules behind them."""
    leading = []
    for x, y in zip(before.graph["judgements"], after.graph["judgements"], strict=False):
        if x["position"] == y["position"]:
            leading.append({"position": x["position"], "before": likeliest(before, x), "after": likeliest(after, y),
                            "none_of_these": [x["none_of_these"], y["none_of_these"]]})  # fmt: skip
    return {
        "explanation": leading, "mechanisms": _moved(before, after, "mechanism"), "causes": _moved(before, after, "cause"),
        "findings": _findings(before, after),
    }  # fmt: skip


def likeliest(graph: nx.DiGraph, judgement: Doc) -> Doc:
    """The leading set of causes of a judgement with its share, and the probability of each of them by itself; the main
    path of the chain of each."""
    first = judgement["sets"][0]
    nodes = [graph.nodes[cause_id(c, judgement["position"])] for c in first["causes"]]
    chains = [c["main"] for c in judgement["chains"]]
    return {**first, "probabilities": [n["probability"] for n in nodes], "chains": chains}


def _moved(before: nx.DiGraph, after: nx.DiGraph, kind: str) -> list[Doc]:
    """Causes or mechanisms whose standing, or probability by half a percent, changed; most changed first."""
    rows = []
    ranks = [{n: i + 1 for i, n in enumerate(ranked(g, kind))} for g in (before, after)]
    for n in ranked(after, kind):
        if n not in before:
            continue
        old, new = before.nodes[n], after.nodes[n]
        moved = abs(old["probability"] - new["probability"])
        if old["standing"] != new["standing"] or moved >= 0.005:
            rows.append((moved, {
                "name": new["text"], "kind": kind, "position": new["position"],
                "standing": [old["standing"], new["standing"]],
                "probability": [old["probability"], new["probability"]], "rank": [ranks[0][n], ranks[1][n]],
            }))  # fmt: skip
    return [row for _, row in sorted(rows, key=lambda r: (-r[0], r[1]["name"], r[1]["position"]))]


def _findings(before: nx.DiGraph, after: nx.DiGraph) -> list[Doc]:
    rows = []
    for n in of_type(after, "finding"):
        states = [g.nodes[n]["state"] if n in g else "unrecorded" for g in (before, after)]
        if states[0] != states[1]:
            graph = after if states[1] != "unrecorded" else before
            fired = [graph.nodes[f] for f, _, role in graph.in_edges(n, data="role") if role == "concludes"]
            folder = graph.graph["knowledge_folder"]
            through = sorted({f"{f['rule_id']} {folder}/{f['file']}:{f['line']}" for f in fired})
            node = graph.nodes[n]
            rows.append({"finding": node["text"], "position": node["position"], "state": states, "through": through})
    return rows
