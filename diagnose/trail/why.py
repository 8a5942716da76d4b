"""Why: the proof of a finding as a tree, the ledger of a cause or mechanism with the chain it stands in, and the contrast
of two of them.

Every function here gives plain values (the JSON of the command); pages are made from those.
"""

from __future__ import annotations

from typing import Any

import networkx as nx
import numpy as np

from diagnose.inference.engine import finding_id
from diagnose.judgement.chains import chain, unexplained
from diagnose.judgement.judge import Judged, Judgement
from diagnose.judgement.posterior import Posterior, prior_odds
from diagnose.judgement.weights import Group, log_odds
from diagnose.reading.terms import plain
from diagnose.trail.graph import DIGITS, HAPPENED, Reasoning, below, chain_json, mechanism_id, of_type, ranked

DEPTH = 4
Tree = dict[str, Any]


def find(graph: nx.DiGraph, name: str, position: str = "") -> list[str]:
    """Cause, mechanism or finding nodes of this name or id, the one that says most first; empty where there is none."""

    def meant(node: str) -> bool:
        attributes = graph.nodes[node]
        return plain(name) in (plain(attributes["text"]), plain(attributes.get("card") or attributes["rule"]))

    judged = [n for kind in ("cause", "mechanism") for n in ranked(graph, kind) if meant(n)]
    judged.sort(key=lambda n: graph.nodes[n]["told_at"] != graph.nodes[n]["position"])
    order = {"present": 0, "absent": 1, "unrecorded": 2}
    findings = [n for n in of_type(graph, "finding") if meant(n)]
    found = [*judged, *sorted(findings, key=lambda n: order[graph.nodes[n]["state"]])]
    return [n for n in found if position in ("", graph.nodes[n]["position"])]


def names(graph: nx.DiGraph) -> set[str]:
    return {graph.nodes[n]["text"] for n in of_type(graph, "cause", "mechanism", "finding")}


def rule_place(graph: nx.DiGraph, node: str) -> str:
    """file:line of the rule behind a node, as the user finds it."""
    attributes = graph.nodes[node]
    return f"{graph.graph['knowledge_folder']}/{attributes['file']}:{attributes['line']}"


def row_place(graph: nx.DiGraph, node: str, finding: str) -> str:
    """file:line of the row of a card that says a finding; of the card where it says none."""
    attributes = graph.nodes[node]
    edge = graph.edges.get((node, finding_id(finding, attributes["position"])))
    return f"{graph.graph['knowledge_folder']}/{attributes['file']}:{edge['line'] if edge else attributes['line']}"


# ---- the tree --------------------------------------------------------------------------------------------------------


def why(asked: Reasoning, node: str, depth: int = DEPTH) -> Tree:
    """The whole answer for a cause, mechanism or finding node."""
    graph = asked.graph
    if graph.nodes[node]["type"] == "finding":
        return {"question": "why", **finding_tree(graph, node, depth), "left_by": left_by(graph, node)}
    return {"question": "why", **ledger(asked, node, depth)}


def finding_tree(graph: nx.DiGraph, node: str, depth: int = DEPTH, above: set[str] | None = None) -> Tree:
    """A finding with the rules that concluded it, each with its premises and what they matched.

    Below `depth` steps, and where it was opened before (`above`), a finding stands as a stub with its name.
    """
    above = set() if above is None else above
    finding = graph.nodes[node]
    told = {
        "finding": finding["text"], "position": finding["position"], "state": finding["state"], "says": finding["says"],
        "rule_id": finding["rule"], "rule": rule_place(graph, node), "status": finding["status"],
        "counts_in": finding["through"],
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
    kept = {k: record[k] for k in ("part", "clock", "photo", "note", "instrument", "by") if record.get(k)}
    return {**told, **kept, "case_line": record["line"]}


def left_by(graph: nx.DiGraph, node: str) -> list[Tree]:
    """The causes and mechanisms that leave the finding or are spoken against by it, heaviest first."""
    rows = [(graph.nodes[n], graph.edges[n, node]) for n in below(graph, node, "leaves")]
    return [
        {"name": a["text"], "kind": a["type"], "seen": e["seen"], "standing": a["standing"], "weight": e["weight"],
         "if_present": e["if_present"], "if_absent": e["if_absent"]}
        for a, e in sorted(rows, key=lambda r: (-abs(r[1]["weight"]), -abs(r[1]["if_present"]), r[0]["text"]))
    ]  # fmt: skip


# ---- the ledger ------------------------------------------------------------------------------------------------------


def judged_at(asked: Reasoning, node: str) -> tuple[Judgement, Judged]:
    """The judgement of a node at the position whose evidence gives its standing."""
    attributes = asked.graph.nodes[node]
    at = asked.diagnosis.at(attributes["told_at"])
    return at, at.of(attributes["text"])


def ledger(asked: Reasoning, node: str, depth: int = DEPTH) -> Tree:
    """A cause or mechanism: the chain below it, what stands above it, and what each mechanism's marks on record are worth
    for it, heaviest group first, each mark with the proof of its finding."""
    graph, told, above = asked.graph, asked.graph.nodes[node], set[str]()
    at, judged = judged_at(asked, node)
    groups = at.weights.groups(judged.name)
    result: Tree = {
        "name": told["text"], "kind": told["type"], "position": told["position"], "told_at": told["told_at"],
        "standing": told["standing"], "probability": told["probability"], "before": told["before"],
        "weight": told["weight"], "means": told["means"], "card": rule_place(graph, node), "status": told["status"],
        "ruled_out_by": [
            {**firing_tree(graph, f, depth - 1, above), "because": graph.nodes[f]["because"]}
            for f in below(graph, node, "rules out")
        ],
        "chain": chain_json(chain(at, judged.name)), "above": brought_by(asked, node),
        "groups": [group_tree(asked, node, at.position, g, depth, above) for g in groups],
        "not_counted": [
            {"finding": f, "state": graph.nodes[finding_id(f, at.position)]["state"], "through": through}
            for f, through in sorted(at.through.items())
            if f != through and _bears(graph, _at_position(node, at.position), finding_id(f, at.position))
        ],
        "lines_for": told["lines_for"],
    }  # fmt: skip
    if told["type"] == "cause":
        told = graph.nodes[_at_position(node, at.position)]
        prior = [
            firing_tree(graph, f, depth - 1, above) for f in below(graph, _at_position(node, at.position), "sets prior")
        ]
        result["prior"] = {"weight": told["prior"], "common": told["common"], "base_common": told["base_common"],
                           "because": prior}  # fmt: skip
        result["alone"] = told["alone"]
    else:
        result["otherwise"] = told["otherwise"]
        result["unexplained"] = round(unexplained(at, judged.name), DIGITS)
    return result


def _at_position(node: str, position: str) -> str:
    """The node of the same cause or mechanism at a position."""
    return f"{node.rpartition('@')[0]}@{position}"


def _bears(graph: nx.DiGraph, node: str, finding: str) -> bool:
    happened = nx.subgraph_view(graph, filter_edge=lambda a, b: graph.edges[a, b]["role"] in HAPPENED)
    return bool(nx.has_path(happened, node, finding))


def brought_by(asked: Reasoning, node: str) -> list[Tree]:
    """What stands directly above a mechanism and is unlikely at least, most probable first."""
    graph = asked.graph
    rows = [(graph.nodes[n], graph.edges[n, node]["seen"]) for n in below(graph, node, "brings about")]
    kept = [(a, seen) for a, seen in rows if a["standing"] != "ruled out"]
    return [
        {"name": a["text"], "kind": a["type"], "seen": seen, "standing": a["standing"], "probability": a["probability"]}
        for a, seen in sorted(kept, key=lambda r: (-r[0]["probability"], r[0]["text"]))
    ]  # fmt: skip


def group_tree(asked: Reasoning, node: str, position: str, group: Group, depth: int, above: set[str]) -> Tree:
    """A group of marks: what it is worth as a whole, how its marks share that, and each with its proof."""
    graph = asked.graph
    owner = mechanism_id(group.mechanism, position) if group.mechanism else _at_position(node, position)
    marks = []
    for finding in sorted(group.findings, key=lambda f: (-abs(round(group.alone[f], DIGITS)), f)):
        id = finding_id(finding, position)
        edge = graph.edges.get((owner, id), {})
        marks.append({
            "finding": finding, "state": graph.nodes[id]["state"], "weight": round(group.alone[finding], DIGITS),
            "seen": edge.get("seen", ""), "otherwise": graph.nodes[id]["otherwise"],
            "known_by": graph.nodes[id]["known_by"], "trial": edge.get("trial", False),
            "row": row_place(graph, owner, finding) if edge else "", "sources": edge.get("sources", []),
            "proof": finding_tree(graph, id, depth - 1, above),
        })  # fmt: skip
    how = "any of these suffices" if group.any_suffices else "only together" if group.only_together else ""
    return {"mechanism": group.mechanism, "weight": round(group.weight, DIGITS), "together": how, "marks": marks}


# ---- the worked sum --------------------------------------------------------------------------------------------------


def worked_sum(asked: Reasoning, node: str, most: int = 12) -> Tree:
    """The sum from the record to a probability, so that it can be followed with a calculator: for each set of causes its
    prior odds, how the record's chance under it compares with that under none, the weight that comes of both, and of a
    mechanism its chance under each set."""
    at, judged = judged_at(asked, node)
    found, name = at.found, judged.name
    net, evidence = found.net, found.evidence
    before = prior_odds(net, evidence, found.members)
    if judged.kind == "cause":
        inside = found.members[:, net.column[name]]
        chance = inside.astype(float)
    else:
        inside, chance = np.ones(len(found.members), bool), _chance_by_set(found, net.mechanism[name])
    order = sorted(range(len(found.members)), key=lambda i: (-round(float(found.exactly[i]), 12), i))
    leading = order[:most]
    if judged.kind == "cause":
        leading += [i for i in order[most:] if inside[i]][: max(0, 4 - sum(bool(inside[i]) for i in leading))]
    leading = sorted({0, *leading}, key=order.index)
    rows: list[Tree] = []
    for i in leading:
        prior = float(before[i])
        weight = float(found.exactly[i] / found.none * before[0])
        rows.append({
            "causes": list(found.causes_of(i)), "prior_odds": prior, "likelihood_ratio": weight / prior if prior else 0.0,
            "weight": weight, "share": float(found.exactly[i]), "chance": float(chance[i]),
            "part": float(chance[i] * found.exactly[i]),
        })  # fmt: skip
    shown, spelt = sum(r["share"] for r in rows), float(found.exactly.sum())
    summed = float(found.share[net.column[name]] if judged.kind == "cause" else found.mechanisms[net.mechanism[name]])
    part = sum(r["part"] for r in rows)
    single = np.zeros((2, len(net.causes)), bool)
    if judged.kind == "cause":
        single[1, net.column[name]] = True
    none, alone = found.sums.likelihood(single).tolist()
    return {
        "question": "why", "name": name, "kind": judged.kind, "position": at.position,
        "probability": judged.probability, "standing": judged.standing, "exponent": net.exponent,
        "prior": judged.prior, "prior_odds": judged.prior / (1 - judged.prior), "record_under_none": none,
        "record_under_this_alone": alone if judged.kind == "cause" else None, "rows": rows,
        "total_weight": float(before[0]) / found.none, "other_sets": {"share": 1 - shown, "part": summed - part},
        "of_which_reckoned": 1 - spelt, "summed": summed, "none_odds": float(before[0]), "none_of_these": net.none_of_these, "wrong_record": net.wrong_record,
    }  # fmt: skip


def _chance_by_set(found: Posterior, mechanism: int) -> np.ndarray:
    """P(mechanism | evidence, set) of the leading sets; of the others their mean, which the posterior takes."""
    result = np.full(len(found.members), float(found.mechanisms[mechanism]))
    result[found.leading] = found.by_set[mechanism]
    return result


# ---- rather than -----------------------------------------------------------------------------------------------------


def contrast(asked: Reasoning, this: str, other: str) -> Tree:
    """Why one cause or mechanism rather than another at one position: the difference of what each group of marks is worth
    for them, largest first, and the open findings that would part them, most telling first.

    How well an open finding parts the two is their divergence J = (p - p')·(W present - W absent), in dB: what looking
    is expected to tell, summed over either being right (H. Jeffreys, Theory of Probability; from memory).
    """
    a, b = asked.graph.nodes[this], asked.graph.nodes[other]
    at = asked.diagnosis.at(a["position"])
    sides = [{g.mechanism: g for g in at.weights.groups(n["text"])} for n in (a, b)]
    rows: list[Tree] = [{"what": "prior", "marks": [], "this": _odds(a["before"]), "other": _odds(b["before"])}]
    for mechanism in sorted({*sides[0], *sides[1]}):
        groups = [s.get(mechanism) for s in sides]
        marks = sorted({f for g in groups if g for f in g.findings})
        told = [{"finding": f, "state": "present" if at.states[f] else "absent"} for f in marks]
        rows.append({"what": mechanism, "marks": told, "this": groups[0].weight if groups[0] else 0.0,
                     "other": groups[1].weight if groups[1] else 0.0})  # fmt: skip
    for r in rows:
        r["difference"] = round(r["this"] - r["other"], DIGITS)
        r["this"], r["other"] = round(r["this"], DIGITS), round(r["other"], DIGITS)
    rows.sort(key=lambda r: (r["what"] != "prior", -abs(r["difference"]), r["what"]))
    told = [x for n, o in ((a, b), (b, a)) for x in n["look_alikes"] if x["other"] == o["text"]]
    return {
        "question": "why rather than", "name": a["text"], "rather_than": b["text"], "kind": a["type"],
        "position": a["position"], "rows": rows, "odds": [_odds(a["probability"]), _odds(b["probability"])],
        "probability": a["probability"], "other_probability": b["probability"],
        "standing": a["standing"], "other_standing": b["standing"],
        "together": _together(at, a["text"], b["text"]) if a["type"] == "cause" else None,
        "ruled_out": {n["text"]: n["because"] for n in (a, b) if n["because"]},
        "told_apart_by": sorted({x["told_apart_by"] for x in told}),
        "would_part_them": _parting(asked, at, a["text"], b["text"], {x["finding"]: x["told_apart_by"] for x in told}),
    }  # fmt: skip


def _odds(p: float) -> float:
    return round(log_odds(p), DIGITS)


def _together(at: Judgement, this: str, other: str) -> Tree:
    """Of the leading sets of causes, the share with both, with this one only, with the other only, with neither."""
    found, column = at.found, at.net.column
    members = found.members[found.leading]
    x, y = members[:, column[this]], members[:, column[other]]
    parts = {"both": x & y, "this": x & ~y, "other": ~x & y, "neither": ~(x | y)}
    return {k: round(float(found.weights[v].sum()), DIGITS) for k, v in parts.items()}


def _parting(asked: Reasoning, at: Judgement, this: str, other: str, alike: dict[str, str]) -> list[Tree]:
    """Findings not recorded that the two leave differently often."""
    graph, net = asked.graph, at.net
    ways = [at.weights.alone(n) for n in (this, other)]
    rates = [at.weights.rate(n) for n in (this, other)]
    present, absent = (ways[0][k] - ways[1][k] for k in (0, 1))
    tells = (rates[0] - rates[1]) * (present - absent)
    result = []
    for finding, row in net.row.items():
        if finding in at.states or abs(tells[row]) < 0.05:
            continue
        measured = [graph.nodes[m]["text"] for m in below(graph, finding_id(finding, at.position), "would decide")]
        result.append({
            "finding": finding, "if_present": round(float(present[row]), DIGITS),
            "if_absent": round(float(absent[row]), DIGITS), "tells": round(float(tells[row]), 6),
            "measurements": measured, "told_apart_by": alike.get(finding, ""),
        })  # fmt: skip
    return sorted(result, key=lambda r: (-r["tells"], r["finding"]))
