"""Two seals from the same machine: what they share, and whether one cause explains both."""

from __future__ import annotations

from typing import Any

from diagnose.judgement.diagnosis import Diagnosis
from diagnose.judgement.judge import Judged, Judgement
from diagnose.judgement.weights import decibans
from diagnose.trail.graph import DIGITS

MOST_COMMON, MOST_HAPPENED = 5, 8
Doc = dict[str, Any]


def compare(first: Diagnosis, second: Diagnosis) -> Doc:
    """One entry for each pair of positions that can be compared: the same position in both, or every one against a
    single seal."""
    a, b = first.case.positions, second.case.positions
    same = [(p, p) for p in a if p in b]
    pairs = same or [(p, q) for p in a for q in b]
    return {
        "question": "compare",
        "cases": [{"case": d.case.name, "digest": d.case.digest} for d in (first, second)],
        "pairs": [_pair(first.at(p), second.at(q)) for p, q in pairs],
    }


def _pair(first: Judgement, second: Judgement) -> Doc:
    return {
        "positions": [first.position, second.position], "findings": _findings(first, second),
        "happened": _happened(first, second), **_causes(first, second),
    }  # fmt: skip


def _findings(first: Judgement, second: Judgement) -> Doc:
    groups: dict[str, list[str]] = {"both": [], "neither": [], "differ": [], "only_first": [], "only_second": []}
    for name in sorted(first.knowledge.findings):
        x, y = first.states.get(name), second.states.get(name)
        group = {
            (True, True): "both", (False, False): "neither", (True, False): "differ", (False, True): "differ",
            (True, None): "only_first", (None, True): "only_second",
        }.get((x, y))  # fmt: skip
        if group:
            groups[group].append(name)
    word = {True: "present", False: "absent"}
    differ = [{"finding": f, "states": [word[x.states[f]] for x in (first, second)]} for f in groups.pop("differ")]
    return {**groups, "differ": differ}


def _happened(first: Judgement, second: Judgement) -> list[Doc]:
    """Mechanisms possible or better at either seal, that which both have first."""
    rows: list[Doc] = []
    for j in first.mechanisms:
        k = second.of(j.name)
        chances = (j.probability, k.probability)
        if max(chances) >= first.knowledge.words.possible and max(j.weight, k.weight) > 0:
            rows.append({"mechanism": j.name, "standings": [j.standing, k.standing],
                         "probabilities": [round(p, DIGITS) for p in chances]})  # fmt: skip
    rows.sort(key=lambda r: (-min(r["probabilities"]), -max(r["probabilities"]), r["mechanism"]))
    return rows[:MOST_HAPPENED]


def _causes(first: Judgement, second: Judgement) -> Doc:
    """One cause for both against the best two separate ones, in dB of odds against none in both.

    A common cause is there once: its prior counts once and both records count. Separate causes each bring their own prior.
    The difference says how much better the common one explains both seals; it is the log of a ratio of posteriors when the
    machine has one cause against two that fell together by chance.
    """
    rows: list[Doc] = []
    for j in first.causes:
        k = second.of(j.name)
        if "ruled out" in (j.standing, k.standing):
            continue
        # of two priors changed by the settings of the cases, the higher speaks for the machine
        weights = [round(x.at.weights.total(x.name), DIGITS) for x in (j, k)]
        common = max(_prior(j), _prior(k)) + sum(weights)
        rows.append({
            "cause": j.name, "standings": [j.standing, k.standing],
            "probabilities": [round(x.probability, DIGITS) for x in (j, k)], "weights": weights,
            "common": round(common, DIGITS),
        })  # fmt: skip
    rows.sort(key=lambda r: (-r["common"], r["cause"]))
    leads = [x.causes[0] for x in (first, second)]
    apart = sum(_prior(j) + j.at.weights.total(j.name) for j in leads)
    top = rows[0] if rows else None
    return {
        "common_causes": rows[:MOST_COMMON],
        "leading": [{"cause": j.name, "standing": j.standing, "probability": round(j.probability, DIGITS)} for j in leads],
        "separately": round(apart, DIGITS),
        "common_better_by": round(top["common"] - apart, DIGITS) if top else None,
        "same_cause_explains_both": bool(top and top["common"] > max(apart, 0.0) and min(top["weights"]) > 0),
    }  # fmt: skip


def _prior(j: Judged) -> float:
    return decibans(j.prior / (1 - j.prior))
