"""Proofs: every finding follows from the rules' text, rests on records alone, and goes when its rules go."""

from __future__ import annotations

from dataclasses import replace

import networkx as nx
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from diagnose.evaluation.verify import Given, verify
from diagnose.inference.engine import finding_id
from diagnose.inference.run import RuleBase, infer
from diagnose.judgement.diagnosis import Diagnosis
from diagnose.knowledge.files import contents_of
from diagnose.trail import why
from diagnose.trail.document import document, dump, trail
from diagnose.trail.graph import HAPPENED, PROVING, build, firing_id, leaves, of_type, proof, ranked
from diagnose.views.page import Page
from diagnose.views.reasoning import why as view
from tests.support.places import KNOWLEDGE, PUBLISHED, ROOT, SCENARIOS, SMALL, mostly_slow
from tests.support.reasoned import reasoned, small_base
from tests.trail.checker import Checker

CASES = [*SCENARIOS, *PUBLISHED]


def test_the_small_case_is_proved_from_the_rules_text(small):
    document = trail((SMALL / "case.yaml").read_bytes(), small.base, "1")
    assert Checker(SMALL / "knowledge", document).complaints() == []


def test_the_checker_finds_a_false_claim_a_missing_one_and_a_leaf_from_nowhere(small):
    document = trail((SMALL / "case.yaml").read_bytes(), small.base, "1")
    false = {
        **document,
        "findings": [{**f, "state": "absent"} if f["text"] == "ring hard" else f for f in document["findings"]],
    }
    assert any("ring hard" in c and "does not hold" in c for c in Checker(SMALL / "knowledge", false).complaints())
    missing = {**document, "findings": [f for f in document["findings"] if f["text"] != "ring hard"]}
    assert any("ring hard" in c and "missing" in c for c in Checker(SMALL / "knowledge", missing).complaints())
    hanging = {**document, "recorded": [r for r in document["recorded"] if r["what"] != "hardened"]}
    assert any("nowhere" in c for c in Checker(SMALL / "knowledge", hanging).complaints())


@pytest.mark.parametrize("path", mostly_slow(CASES), ids=lambda p: p.stem)
def test_a_case_of_the_library(path, judged):
    """Sound, proved by a reader of the rules' text, explained in full, and replayed to the byte."""
    case = judged(path)
    document_ = document(case.graph, case.diagnosis.case, path.read_bytes(), case.base.knowledge, "1")
    sound(case.graph)
    assert Checker(ROOT / "knowledge", document_).complaints() == []
    explained(case, path in SCENARIOS)
    answer = verify(dump(document_), "trail.json", Given(case.base, "1", contents_of(KNOWLEDGE)))
    assert answer["exact"], answer["differs"]


def sound(graph: nx.DiGraph) -> None:
    """No circle; every conclusion rests on records, settings or numbers, but for an action that is out since something was not
    found; roles join the types they are made for."""
    assert nx.is_directed_acyclic_graph(graph)
    types = dict(graph.nodes(data="type"))
    assert {(types[a], role, types[b]) for a, b, role in graph.edges(data="role")} <= JOINS
    for node in of_type(graph, "finding"):
        if graph.nodes[node]["state"] != "unrecorded":
            assert leaves(graph, node), node
    for node in of_type(graph, "firing"):
        assert any(p["supports"] for p in graph.nodes[node]["premises"]) or ":contradicted:" in node, node


JOINS = {
    ("recorded", "input", "quantity"), ("quantity", "input", "quantity"), ("recorded", "premise", "firing"),
    ("setting", "premise", "firing"), ("quantity", "premise", "firing"), ("finding", "premise", "firing"),
    ("firing", "concludes", "finding"), ("firing", "denies", "finding"), ("firing", "warns", "caution"),
    ("firing", "rules out", "cause"), ("firing", "rules out", "mechanism"), ("firing", "sets prior", "cause"),
    ("cause", "brings about", "mechanism"), ("mechanism", "brings about", "mechanism"), ("cause", "leaves", "finding"),
    ("mechanism", "leaves", "finding"), ("measurement", "would decide", "finding"),
}  # fmt: skip


def explained(case, pages: bool) -> None:
    """Every finding has its proof, and so has what leads; the figures on the page add up, and it ends in records of the
    case. Pages are made of everything that was found or leads, and of all the rest where `pages` asks for it."""
    graph = case.graph
    for node in of_type(graph, "finding"):
        answer = why.why(case.asked, node, 40)
        found = graph.nodes[node]["state"] in ("present", "absent")
        assert bool(answer["because"]) == found
        if pages or found:
            words = " ".join(view.why(answer, "case.yaml", Page(100, False)).text().split())
            assert words.startswith(graph.nodes[node]["text"])
            assert not found or "case line" in words, node
    for node in [*ranked(graph, "cause")[:3], *ranked(graph, "mechanism")[:2]]:
        answer = why.why(case.asked, node, 40)
        text = view.why(answer, "case.yaml", Page(100, False)).text()
        assert " ".join(text.split()).startswith(graph.nodes[node]["text"])
        weighed(case, answer)
        sum_adds_up(case, node)


def weighed(case, answer: dict) -> None:
    """Every mark that counts stands in one group; a cause's prior and the record make its odds alone."""
    at = case.diagnosis.at(answer["told_at"])
    marks = [m["finding"] for g in answer["groups"] for m in g["marks"]]
    assert sorted(marks) == sorted(at.counted)
    assert all(
        m["state"] == ("present" if at.counted[m["finding"]] else "absent")
        for g in answer["groups"]
        for m in g["marks"]
    )
    if answer["kind"] == "cause" and answer["alone"] is not None:
        odds, prior = float(at.found.alone[at.net.column[answer["name"]]]), at.of(answer["name"]).prior
        if odds:
            e = at.net.wrong_record
            chance = (1 - e) * odds / (1 + odds) + e * prior
            assert chance / (1 - chance) == pytest.approx(10 ** (answer["alone"] / 10), rel=1e-6)
            worth = at.weights.total(answer["name"])
            assert answer["prior"]["weight"] + worth == pytest.approx(answer["alone"], abs=1e-7)


def sum_adds_up(case, node: str) -> None:
    """The worked sum, followed with a calculator: prior odds times ratio are the weights, weights over their sum are the
    shares, and the parts add up to the probability."""
    if case.graph.nodes[node]["standing"] == "ruled out":
        return
    told = why.worked_sum(case.asked, node)
    for row in told["rows"]:
        assert row["prior_odds"] * row["likelihood_ratio"] == pytest.approx(row["weight"])
        assert row["weight"] / told["total_weight"] == pytest.approx(row["share"])
        assert row["share"] * row["chance"] == pytest.approx(row["part"])
    total = sum(r["part"] for r in told["rows"]) + told["other_sets"]["part"]
    assert total == pytest.approx(told["summed"])
    wrong = told["wrong_record"]
    assert (1 - wrong) * total + wrong * told["prior"] == pytest.approx(case.graph.nodes[node]["probability"], abs=1e-8)
    assert told["other_sets"]["part"] > -1e-3
    alone = next((r for r in told["rows"] if r["causes"] == [told["name"]]), None)
    if alone:
        ratio = told["record_under_this_alone"] / told["record_under_none"]
        assert told["prior_odds"] * ratio == pytest.approx(alone["weight"], rel=1e-6)


# ---- rules taken away ------------------------------------------------------------------------------------------------


def without(base: RuleBase, rule: str) -> RuleBase:
    branches = tuple(b for b in base.rules.branches if not (b.rule == rule and b.conclusion.kind == "found"))
    return RuleBase(base.knowledge, replace(base.rules, branches=branches))


def foretold(graph: nx.DiGraph, rule: str) -> set[str]:
    """The findings that are left when a rule is gone, read off the graph alone: those that keep one of their rules, with
    every premise of it."""
    left: set[str] = set()
    for node in nx.lexicographical_topological_sort(graph):
        attributes = graph.nodes[node]
        below = [(n, d["role"]) for n, _, d in graph.in_edges(node, data=True) if d["role"] in PROVING]
        if attributes["type"] == "firing":
            if (attributes["kind"], attributes["rule"]) != ("found", rule) and all(n in left for n, _ in below):
                left.add(node)
        elif attributes["type"] == "finding":
            if any(n in left for n, _ in below):
                left.add(node)
        else:
            left.add(node)
    return {n for n in left if graph.nodes[n]["type"] == "finding"}


def denied(base: RuleBase) -> set[str]:
    """Findings that some rule asks not to be there: without them that rule may say more, not less."""
    asked_for = {
        str(dict(p.equals)["finding"])
        for b in base.rules.branches
        for p in b.premises
        if p.table == "found" and p.negated
    }
    absent = {
        str(dict(p.equals)["finding"])
        for b in base.rules.branches
        for p in b.premises
        if p.table == "found" and dict(p.equals)["state"] == "absent"
    }
    return asked_for | absent


def check_removal(case, rule: str) -> None:
    cut = infer(case.inference.case, without(case.base, rule))
    still = {finding_id(f, p) for p, found in cut.findings.items() for f in found}
    assert still == foretold(case.graph, rule), rule


def test_taking_a_rule_away_takes_exactly_what_rested_on_it(small):
    assert finding_id("hot and hard", "seal") in {n for n in small.graph if small.graph.in_degree(n)}
    for rule in sorted(small.base.knowledge.findings):
        check_removal(small, rule)


@pytest.mark.parametrize("path", mostly_slow(SCENARIOS), ids=lambda p: p.stem)
def test_taking_rules_of_the_library_away_takes_exactly_what_rested_on_them(path, judged):
    """Rules whose finding others are built on, and two more; those that another rule denies are left aside."""
    case = judged(path)
    spared = denied(case.base)
    fired = sorted({f.branch.rule for f in case.inference.firings if f.branch.conclusion.kind == "found"} - spared)
    below = {
        i[2:].rpartition("@")[0]
        for f in case.inference.firings
        for ids in f.supports
        for i in ids
        if i.startswith("f:")
    }
    for rule in [*[r for r in fired if r in below], *fired[:2]]:
        check_removal(case, rule)


# ---- what holds whatever the case ------------------------------------------------------------------------------------

OBSERVATIONS = [
    "{part: 2, saw: radial cracks, extent: all round}",
    "{part: 2, saw: radial cracks, extent: one sector}",
    "{part: 2, absent: radial cracks}",
    "{part: 1, saw: edge chips, side: outer edge}",
    "{part: 1, absent: edge chips}",
    "{on: O-ring, saw: hardened}",
    "{on: O-ring, absent: hardened}",
    "{saw: leak when standing}",
    "{on: shaft, saw: bent}",
]


def small_case(chosen, runout) -> bytes:
    lines = [
        "case: random",
        "seal: {arrangement: single}",
        "parts:",
        "  - {item: 1, kind: soft face}",
        "  - {item: 2, kind: hard face}",
    ]
    said: set[str] = set()
    rows = []
    for i in chosen:
        key = OBSERVATIONS[i].split("extent")[0].replace("absent", "saw")[:28]
        if key not in said:
            said.add(key)
            rows.append(f"  - {OBSERVATIONS[i]}")
    lines += ["observations:", *rows] if rows else []
    if runout is not None:
        lines.append(f"measurements: [{{on: shaft, measured: shaft runout, reading: {runout} mm}}]")
    return ("\n".join(lines) + "\n").encode()


@pytest.mark.slow
@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.integers(0, len(OBSERVATIONS) - 1), unique=True, max_size=6), st.sampled_from([None, 0.01, 0.06, 0.3])
)
def test_random_records_are_proved_and_their_sums_add_up(chosen, runout):
    base = small_base()
    data = small_case(chosen, runout)
    case = reasoned(data, base)
    document = trail(data, base, "1")
    assert Checker(SMALL / "knowledge", document).complaints() == []
    for node in of_type(case.graph, "cause", "mechanism"):
        weighed(case, why.why(case.asked, node))
        sum_adds_up(case, node)
    order = list(reversed(chosen))
    other = reasoned(small_case(order, runout), base)
    if {o.id for o in other.inference.case.observations} == {o.id for o in case.inference.case.observations}:
        assert without_lines(other.graph) == without_lines(case.graph)


def without_lines(graph: nx.DiGraph) -> tuple[dict, set]:
    nodes = {n: {k: v for k, v in a.items() if k != "line"} for n, a in graph.nodes(data=True)}
    return nodes, set(graph.edges)


def test_an_observation_that_no_rule_uses_changes_no_conclusion(small):
    more = (SMALL / "case.yaml").read_bytes().replace(b"measurements:", b"  - {part: 1, saw: wash mark}\nmeasurements:")
    other = reasoned(more, small.base)
    kept = of_type(small.graph, "firing", "finding", "mechanism", "cause")
    assert kept == of_type(other.graph, "firing", "finding", "mechanism", "cause")
    assert all(small.graph.nodes[n] == other.graph.nodes[n] for n in kept)


def test_node_ids_come_from_content(small):
    again = build(Diagnosis(small.inference.case, small.base))
    assert list(again) == list(small.graph) and list(again.edges) == list(small.graph.edges)
    ids = [firing_id(f.branch, f.position) for f in small.inference.firings]
    assert len(set(ids)) == len(ids) == len(of_type(small.graph, "firing"))


def test_the_chain_can_be_read_off_the_graph_from_the_cause_to_the_marks(small):
    happened = nx.subgraph_view(small.graph, filter_edge=lambda a, b: small.graph.edges[a, b]["role"] in HAPPENED)
    path = ["c:dry running@seal", "x:faces overheated@seal", "x:ring baked@seal", "f:ring hard@seal"]
    assert nx.is_path(happened, path)
    assert set(path) <= set(proof(small.graph, path[0]))
    assert "f:shaft moves@seal" not in proof(small.graph, path[0])
