"""Why: the proof of a conclusion as a tree, the ledger of a cause, and the contrast of two causes.

Every function here reads the graph and gives plain values (the JSON of the command); pages are made from those.
"""

from __future__ import annotations

from typing import Any

import networkx as nx

from diagnose.inference.engine import finding_id
from diagnose.reading.terms import plain
from diagnose.trail.graph import DIGITS, below, causes_by_probability, evidence_id, of_type

DEPTH = 4
Tree = dict[str, Any]


def find(graph: nx.DiGraph, name: str, position: str = "") -> list[str]:
    """Cause or finding nodes of this name or id, the one that says most first; empty where there is none."""

    def meant(node: str) -> bool:
        attributes = graph.nodes[node]
        return plain(name) in (plain(attributes["text"]), plain(attributes.get("card") or attributes["rule"]))

    ranked = [n for n in causes_by_probability(graph) if meant(n)]
    order = {"present": 0, "absent": 1, "unrecorded": 2}
    findings = [n for n in of_type(graph, "finding") if meant(n)]
    found = [*ranked, *sorted(findings, key=lambda n: order[graph.nodes[n]["state"]])]
    return [n for n in found if position in ("", graph.nodes[n]["position"])]


def names(graph: nx.DiGraph) -> set[str]:
    return {graph.nodes[n]["text"] for n in of_type(graph, "cause", "finding")}


def rule_place(graph: nx.DiGraph, node: str) -> str:
    """file:line of the rule behind a node, as the user finds it."""
    attributes = graph.nodes[node]
    return f"{graph.graph['knowledge_folder']}/{attributes['file']}:{attributes['line']}"


# ---- the tree --------------------------------------------------------------------------------------------------------


def why(graph: nx.DiGraph, node: str, depth: int = DEPTH) -> Tree:
    """The whole answer for a cause or finding node."""
    if graph.nodes[node]["type"] == "finding":
        return {"question": "why", **finding_tree(graph, node, depth), "speaks_for": speaks_for(graph, node)}
    return {"question": "why", **ledger(graph, node, depth), **shares(graph, node)}


def finding_tree(graph: nx.DiGraph, node: str, depth: int = DEPTH, above: set[str] | None = None) -> Tree:
    """A finding with the rules that concluded it, each with its premises and what they matched.

    Below `depth` steps, and where it was opened before (`above`), a finding stands as a stub with its name.
    """
    above = set() if above is None else above
    finding = graph.nodes[node]
    told = {
        "finding": finding["text"], "position": finding["position"], "state": finding["state"], "says": finding["says"],
        "rule_id": finding["rule"], "rule": rule_place(graph, node), "status": finding["status"],
        "line_of_evidence": finding["line_of_evidence"],
    }  # fmt: skip
    if finding["told"]:
        return {**told, "supposed": True, "because": []}
    firings = below(graph, node, "concludes")
    if firings and (depth <= 0 or node in above):
        return {**told, "stub": "opened above" if node in above else "deeper"}
    above.add(node)
    return {
        **told,
        "because": [firing_tree(graph, f, depth, above) for f in firings],
        "denied_by": [firing_tree(graph, f, depth, above) for f in below(graph, node, "denies")],
    }


def firing_tree(graph: nx.DiGraph, node: str, depth: int, above: set[str]) -> Tree:
    firing = graph.nodes[node]
    return {
        "rule": firing["rule"], "rule_id": firing["rule_id"], "at": rule_place(graph, node),
        "sources": firing["sources"],
        "premises": [premise_tree(graph, node, p, depth - 1, above) for p in firing["premises"]],
    }  # fmt: skip


def premise_tree(graph: nx.DiGraph, node: str, premise: Tree, depth: int, above: set[str]) -> Tree:
    """One premise; muted findings under it are passed through to what they rest on."""
    on: list[Tree] = []
    for support in (i for many in premise["supports"] for i in many.split("+")):
        below_ = graph.nodes[support]
        if below_["type"] == "finding" and below_["muted"] and depth > 0:
            for firing in below(graph, support, "concludes"):
                through = [premise_tree(graph, firing, p, depth, above) for p in graph.nodes[firing]["premises"]]
                on.append({"through": below_["text"], "premises": through})
        elif below_["type"] == "finding":
            on.append(finding_tree(graph, support, depth - 1, above))
        else:
            on.append(record_tree(graph, support))
    place = f"{graph.graph['knowledge_folder']}/{graph.nodes[node]['file']}:{premise['line']}"
    return {
        "says": premise["says"],
        "denies": premise["denies"],
        "compared": premise["compared"],
        "at": place,
        "on": on,
    }


def record_tree(graph: nx.DiGraph, node: str) -> Tree:
    """A record as a leaf; a quantity with its formula and the readings it was worked out from."""
    record = graph.nodes[node]
    told: Tree = {"record": record["text"], "id": node, "kind": record["type"]}
    if record["type"] == "quantity":
        readings = [record_tree(graph, n) for n in below(graph, node, "input")]
        return {
            **told,
            "formula": record["formula"],
            "source": record["source"],
            "inputs": record["inputs"],
            "from": readings,
        }
    kept = {k: record[k] for k in ("part", "clock", "photo", "note", "instrument") if record.get(k)}
    return {**told, **kept, "case_line": record["line"]}


def speaks_for(graph: nx.DiGraph, node: str) -> list[Tree]:
    """The causes the finding weighs for, heaviest first."""
    rows = [graph.nodes[n] for n in graph.successors(node) if graph.nodes[n]["type"] == "evidence"]
    return [
        {"cause": r["cause"], "weight": r["weight"], "counts": not r["through"]}
        for r in sorted(rows, key=lambda r: (-abs(r["weight"]), r["cause"]))
    ]


# ---- the ledger ------------------------------------------------------------------------------------------------------


def ledger(graph: nx.DiGraph, node: str, depth: int = DEPTH) -> Tree:
    """Prior and weights of a cause in dB, heaviest first, each with the proof of its finding."""
    cause, above, position = graph.nodes[node], set[str](), graph.nodes[node]["position"]
    counted, not_counted = [], []
    for e in (graph.nodes[n] for n in graph.predecessors(node) if graph.nodes[n]["type"] == "evidence"):
        entry = {
            "finding": e["text"], "state": e["state"], "weight": e["weight"], "seen": e["seen"],
            "otherwise": e["otherwise"], "line_of_evidence": e["line_of_evidence"], "trial": e["trial"],
            "row": rule_place(graph, evidence_id(e["text"], cause["text"], position)), "sources": e["sources"],
        }  # fmt: skip
        if e["through"]:
            not_counted.append({**entry, "through": e["through"]})
        else:
            counted.append({**entry, "proof": finding_tree(graph, finding_id(e["text"], position), depth - 1, above)})
    open_ = [
        {**{k: e[k] for k in ("finding", "seen", "if_present", "if_absent")},
         "otherwise": graph.nodes[finding_id(e["finding"], position)]["otherwise"],
         "row": f"{graph.graph['knowledge_folder']}/{cause['file']}:{e['line']}",
         "measurements": _measured(graph, e["finding"], position)}
        for e in cause["open"]
    ]  # fmt: skip
    prior_rules = [firing_tree(graph, f, depth - 1, above) for f in below(graph, node, "sets prior")]
    out = [
        {**firing_tree(graph, f, depth - 1, above), "because": graph.nodes[f]["because"]}
        for f in below(graph, node, "rules out")
    ]
    return {
        "cause": cause["text"], "position": cause["position"], "standing": cause["standing"],
        "probability": cause["probability"], "means": cause["means"], "card": rule_place(graph, node),
        "status": cause["status"], "ruled_out_by": out,
        "prior": {"weight": cause["prior"], "common": cause["common"], "base_common": cause["base_common"],
                  "because": prior_rules},
        "evidence": counted, "not_counted": not_counted,
        "unrecorded": sorted(open_, key=lambda e: (-max(abs(e["if_present"]), abs(e["if_absent"])), e["finding"])),
        "alone": cause["alone"], "odds": 10 ** (cause["alone"] / 10), "lines_for": cause["lines_for"],
    }  # fmt: skip


def _measured(graph: nx.DiGraph, finding: str, position: str) -> list[str]:
    """The measurements that would decide a finding."""
    return [graph.nodes[m]["text"] for m in below(graph, finding_id(finding, position), "would decide")]


def shares(graph: nx.DiGraph, node: str) -> Tree:
    """The leading sets of causes, and what of the cause's probability lies in them and in all others."""
    cause = graph.nodes[node]
    judgement = next(j for j in graph.graph["judgements"] if j["position"] == cause["position"])
    inside = sum(s["share"] for s in judgement["sets"] if cause["text"] in s["causes"])
    return {
        "sets": judgement["sets"], "none_of_these": judgement["none_of_these"],
        "in_these_sets": round(inside, DIGITS),
        "in_other_sets": round(max(cause["probability"] - inside, 0.0), DIGITS),
    }  # fmt: skip


# ---- rather than -----------------------------------------------------------------------------------------------------


def contrast(graph: nx.DiGraph, this: str, other: str) -> Tree:
    """Why one cause rather than another at one position: the difference of their ledgers, largest first, and the open
    findings that would part them, most telling first.

    How well an open finding parts the two is their divergence J = (p - p')·(W present - W absent), in dB: what looking
    is expected to tell, summed over either being right (H. Jeffreys, Theory of Probability; from memory).
    """
    a, b = graph.nodes[this], graph.nodes[other]
    position = a["position"]
    rows = [{"what": "prior", "this": a["prior"], "other": b["prior"], "state": "prior"}]
    nodes = [n for cause in (this, other) for n in graph.predecessors(cause) if graph.nodes[n]["type"] == "evidence"]
    for finding in sorted({graph.nodes[n]["text"] for n in nodes if not graph.nodes[n]["through"]}):
        both = [graph.nodes.get(evidence_id(finding, n["text"], position)) for n in (a, b)]
        weights = [e["weight"] if e else 0.0 for e in both]
        state = graph.nodes[finding_id(finding, position)]["state"]
        rows.append({"what": finding, "state": state, "this": weights[0], "other": weights[1]})
    ways = [{e["finding"]: e for e in n["open"]} for n in (a, b)]
    open_ = [_parting(graph, f, position, ways[0].get(f), ways[1].get(f)) for f in sorted({*ways[0], *ways[1]})]
    for r in rows:
        r["difference"] = round(r["this"] - r["other"], DIGITS)
    rows.sort(key=lambda r: (-abs(r["difference"]), r["what"]))
    told = {x["finding"]: x for x in [*a["look_alikes"], *b["look_alikes"]] if x["cause"] in (a["text"], b["text"])}
    for r in open_:
        alike = told.get(r["finding"])
        r["told_apart_by"] = alike["told_apart_by"] if alike else ""
    return {
        "question": "why rather than", "cause": a["text"], "rather_than": b["text"], "position": position,
        "rows": rows, "difference": round(a["alone"] - b["alone"], DIGITS),
        "odds": 10 ** ((a["alone"] - b["alone"]) / 10),
        "probability": a["probability"], "other_probability": b["probability"],
        "standing": a["standing"], "other_standing": b["standing"], "together": _together(graph, a["text"], b["text"], position),
        "ruled_out": {n["text"]: n["because"] for n in (a, b) if n["because"]},
        "told_apart_by": sorted({x["told_apart_by"] for x in told.values()}),
        "would_part_them": sorted(open_, key=lambda r: (-r["tells"], r["finding"])),
    }  # fmt: skip


def _together(graph: nx.DiGraph, this: str, other: str, position: str) -> Tree:
    """Of the leading sets of causes, the share with both, with this one only, with the other only, with neither."""
    judgement = next(j for j in graph.graph["judgements"] if j["position"] == position)
    shares = {"both": 0.0, "this": 0.0, "other": 0.0, "neither": 0.0}
    for s in judgement["sets"]:
        key = {(True, True): "both", (True, False): "this", (False, True): "other", (False, False): "neither"}
        shares[key[this in s["causes"], other in s["causes"]]] += s["share"]
    return {k: round(v, DIGITS) for k, v in shares.items()}


def _parting(graph: nx.DiGraph, finding: str, position: str, x: Tree | None, y: Tree | None) -> Tree:
    background = graph.nodes[finding_id(finding, position)]["background"]

    def rate(e: Tree | None) -> float:
        return float(background * 10 ** (e["if_present"] / 10)) if e else background

    present = (x["if_present"] if x else 0.0) - (y["if_present"] if y else 0.0)
    absent = (x["if_absent"] if x else 0.0) - (y["if_absent"] if y else 0.0)
    tells = (rate(x) - rate(y)) * (present - absent)
    return {
        "finding": finding, "if_present": round(present, DIGITS), "if_absent": round(absent, DIGITS),
        "tells": round(tells, 6), "measurements": _measured(graph, finding, position),
    }  # fmt: skip
