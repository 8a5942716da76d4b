"""Two seals from the same machine: what they share, and whether one cause explains both."""

from __future__ import annotations

from typing import Any

import networkx as nx

from diagnose.inference.engine import finding_id
from diagnose.trail.graph import DIGITS, causes_by_probability, of_type

Doc = dict[str, Any]


def compare(first: nx.DiGraph, second: nx.DiGraph) -> Doc:
    """One entry for each pair of positions that can be compared: the same position in both, or every one against a
    single seal."""
    a, b = first.graph["positions"], second.graph["positions"]
    same = [(p, p) for p in a if p in b]
    pairs = same or [(p, q) for p in a for q in b]
    return {
        "question": "compare",
        "cases": [{"case": g.graph["case"], "digest": g.graph["case_digest"]} for g in (first, second)],
        "pairs": [_pair(first, second, p, q) for p, q in pairs],
    }


def _pair(first: nx.DiGraph, second: nx.DiGraph, p: str, q: str) -> Doc:
    groups: dict[str, list[str]] = {"both": [], "neither": [], "differ": [], "only_first": [], "only_second": []}
    for n in of_type(first, "finding"):
        if first.nodes[n]["position"] != p:
            continue
        name = first.nodes[n]["text"]
        other = finding_id(name, q)
        x = first.nodes[n]["state"]
        y = second.nodes[other]["state"] if other in second else "unrecorded"
        group = {
            ("present", "present"): "both", ("absent", "absent"): "neither", ("present", "absent"): "differ",
            ("absent", "present"): "differ", ("present", "unrecorded"): "only_first",
            ("unrecorded", "present"): "only_second",
        }.get((x, y))  # fmt: skip
        if group:
            groups[group].append(name)
    differ = [{"finding": f, "states": [first.nodes[finding_id(f, p)]["state"], second.nodes[finding_id(f, q)]["state"]]}
              for f in groups.pop("differ")]  # fmt: skip
    return {"positions": [p, q], "findings": {**groups, "differ": differ}, **_causes(first, second, p, q)}


def _causes(first: nx.DiGraph, second: nx.DiGraph, p: str, q: str) -> Doc:
    """One cause for both against the best two separate ones, in dB of odds against none in both.

    A common cause is there once: its prior counts once and both sets of weights count. Separate causes each bring their
    own prior. The difference says how much better the common one explains both seals; it is the log of a ratio of
    posteriors when the machine has one cause against two that fell together by chance.
    """
    rows = []
    for n in causes_by_probability(first, [p]):
        a = first.nodes[n]
        m = f"c:{a['text']}@{q}"
        if m not in second:
            continue
        b = second.nodes[m]
        if "ruled out" in (a["standing"], b["standing"]):
            continue
        # of two priors changed by the settings of the cases, the higher speaks for the machine
        common = max(a["prior"], b["prior"]) + a["weight"] + b["weight"]
        rows.append({
            "cause": a["text"], "standings": [a["standing"], b["standing"]],
            "probabilities": [a["probability"], b["probability"]], "weights": [a["weight"], b["weight"]],
            "common": round(common, DIGITS),
        })  # fmt: skip
    rows.sort(key=lambda r: (-r["common"], r["cause"]))
    best = [causes_by_probability(g, [x]) for g, x in ((first, p), (second, q))]
    leads = [g.nodes[ns[0]] for g, ns in zip((first, second), best, strict=True)]
    apart = sum(n["alone"] for n in leads)
    top = rows[0] if rows else None
    return {
        "common_causes": rows[:5],
        "leading": [{"cause": n["text"], "standing": n["standing"], "probability": n["probability"]} for n in leads],
        "separately": round(apart, DIGITS),
        "common_better_by": round(top["common"] - apart, DIGITS) if top else None,
        "same_cause_explains_both": bool(top and top["common"] > max(apart, 0.0) and min(top["weights"]) > 0),
    }  # fmt: skip
