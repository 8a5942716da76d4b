"""The trail replays to the byte, names what differs, and refuses what is no trail; exports are read back by others."""

from __future__ import annotations

import contextlib
import json
import shutil
import subprocess

import networkx as nx
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from typer.testing import CliRunner

from diagnose.cli.main import app
from diagnose.inference.run import load
from diagnose.reading.problems import BadInput
from diagnose.reading.terms import HIDDEN
from diagnose.trail.document import SECTIONS, dot, dump, graphml, node_link, trail, with_digest
from diagnose.trail.document import load as load_trail
from diagnose.trail.graph import proof, ranked
from tests.support import evidence
from tests.support.places import ROOT, SCENARIOS, SMALL, mostly_slow
from tests.support.reasoned import reasoned, small_base, valid

CASE = (SMALL / "case.yaml").read_bytes()


def written() -> bytes:
    return evidence.written(CASE, small_base())


def checked(data: bytes, knowledge=None, version: str = "1", case: bytes | None = None) -> dict:
    folder = knowledge or SMALL / "knowledge"
    base = small_base() if knowledge is None else load(folder)
    return evidence.checked(data, base, folder, version, case)


def test_a_trail_replays_exactly_and_fits_its_schema():
    data = written()
    valid(json.loads(data), "trail.schema.json")
    answer = checked(data)
    assert answer["exact"] and answer["verdict"] == "reproduces" and answer["differs"] == answer["faults"] == []
    valid(answer, part="verify")


@pytest.mark.slow
def test_a_trail_names_no_place_of_the_machine_it_was_made_on(judged, whole_base, tmp_path):
    text = dump(trail(SCENARIOS[0].read_bytes(), whole_base, "1")).decode()
    assert str(ROOT) not in text and "/tmp" not in text and "/home" not in text
    copied = tmp_path / "another name"
    shutil.copytree(SMALL / "knowledge", copied)
    assert evidence.written(CASE, load(copied)) == written()


# ---- what differs ----------------------------------------------------------------------------------------------------


def test_a_changed_case_is_found_and_the_lines_named():
    other = CASE.replace(b"hardened", b"wash mark")
    answer = checked(written(), case=other)
    assert not answer["exact"]
    record = answer["changes"]["record"]
    assert any(x.startswith("- ") and "hardened" in x for x in record) and any(
        x.startswith("+ ") and "wash mark" in x for x in record
    )
    assert any(d["what"] == "findings" and "ring hard" in d["says"] for d in answer["differs"])
    assert any(d["what"] == "standing" for d in answer["differs"])


def test_one_changed_byte_of_the_case_text_in_the_trail_is_found():
    data = written().replace(b"case: A small case", b"case: A smaII case")
    answer = checked(data)
    assert answer["verdict"] == "altered" and "does not have the digest that it names" in answer["says"]


@pytest.mark.parametrize(
    ("file", "old", "new", "what"),
    [
        ("findings/ring-hard.yaml", b"reads: ring hard", b"reads: ring hard!", "findings"),
        ("findings/ring-hard.yaml", b"otherwise: rarely", b"otherwise: often", "marks"),
        ("causes/dry-running.yaml", b"common: often", b"common: rarely", None),
        ("words.yaml", b"usually: 0.80", b"usually: 0.81", "standing"),
        ("sources.yaml", b"Common practice", b"Common Practice", None),
    ],
)
def test_one_changed_byte_of_the_knowledge_is_found_and_its_file_named(tmp_path, file, old, new, what):
    folder = tmp_path / "knowledge"
    shutil.copytree(SMALL / "knowledge", folder)
    path = folder / file
    assert old in path.read_bytes()
    path.write_bytes(path.read_bytes().replace(old, new, 1))
    answer = checked(written(), knowledge=folder)
    assert not answer["exact"]
    (row,) = answer["changes"]["rules"]
    assert row["file"] == file and row["how"] == "changed" and any(new.decode() in x for x in row["lines"])
    if what:
        assert what in {d["what"] for d in answer["differs"]}


def test_another_version_of_the_tool_is_named():
    answer = checked(written(), version="2")
    assert answer["verdict"] == "reproduces" and answer["changes"]["tool"] == ["diagnose 1, now 2"]


def test_a_conclusion_altered_by_hand_is_found():
    document = json.loads(written())
    document["standing"][0]["standing"] = "established"
    answer = checked(dump(document))
    (said,) = answer["faults"]
    assert answer["verdict"] == "altered" and '"established"' in said and "dry running" in said


def leaves(value, path=()):
    """Where every text and every number stands."""
    if isinstance(value, dict | list):
        for key, inner in value.items() if isinstance(value, dict) else enumerate(value):
            yield from leaves(inner, (*path, key))
    elif value is not None:
        yield path


def altered(path) -> bytes:
    """The trail with one text or number changed."""
    document = inner = json.loads(written())
    *way, last = path
    for key in way:
        inner = inner[key]
    old = inner[last]
    inner[last] = not old if isinstance(old, bool) else f"{old}x" if isinstance(old, str) else old + 1
    return dump(document)


@pytest.mark.parametrize("start", mostly_slow(range(40)))
def test_whatever_text_or_number_is_altered_it_is_found(start):
    every = [path for path in leaves(json.loads(written())) if path != ("trail",)]
    found = [(path, checked(altered(path))["verdict"]) for path in every[start::40]]
    assert [path for path, verdict in found if verdict != "altered"] == []


@pytest.mark.parametrize("key", ["version", "python"])
def test_what_a_trail_says_of_the_tool_is_under_its_digest(key):
    document = json.loads(written())
    document["tool"][key] = "0.0.9"
    assert checked(dump(document))["verdict"] == "altered"


@pytest.mark.parametrize(("part", "key"), [("case", "name"), ("knowledge", "version")])
def test_another_version_of_the_tool_is_no_cover_for_another_name(part, key):
    document = json.loads(written())
    document["tool"]["version"], document[part][key] = "0.0.9", "another"
    answer = checked(dump(with_digest(document)))
    assert answer["verdict"] == "altered" and "'another'" in answer["faults"][0]


def test_what_differs_is_said_in_words():
    other = CASE.replace(b"extent: all round, degree: moderate", b"extent: patches")
    assert other != CASE
    said = [d["says"] for d in checked(written(), case=other)["differs"] if d["what"] in SECTIONS]
    assert said and not [text for text in said if "{" in text or "..." in text]
    assert {
        "rule F2 (cracked somewhere: present): radial cracks: rests on other records",
        "rule F1 (hot all round: present) is gone",
        "radial cracks on Seat (2) patches appears",
        "faces overheated > hot all round is gone",
    } <= set(said)


def test_a_trail_written_otherwise_is_not_exact():
    answer = checked(json.dumps(json.loads(written())).encode())
    assert not answer["exact"] and "written otherwise" in answer["says"]


@pytest.mark.slow
@settings(max_examples=40, deadline=None)
@given(st.data())
def test_any_changed_byte_of_a_trail_is_found(data):
    whole = written()
    at = data.draw(st.integers(0, len(whole) - 1))
    byte = data.draw(st.integers(0, 255).filter(lambda b: b != whole[at]))
    broken = whole[:at] + bytes([byte]) + whole[at + 1 :]
    with contextlib.suppress(BadInput):
        assert not checked(broken)["exact"]


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"{",
        b"[]",
        b"null",
        b'{"trail": 1}',
        b'{"trail": 2}',
        b"\xff\xfe",
        b"[" * 100_000,
        b'{"trail": NaN}',
        b'{"trail": 1, "case": {"digest": 3, "text": ""}}',
        b'{"trail": 3, "case": {"digest": "", "text": ""}, "knowledge": {"digest": "", "files": {}}, "tool": {"name": "", "version": ""}}',
    ],
)
def test_what_is_no_trail_is_refused_with_one_clear_line(data):
    with pytest.raises(BadInput) as caught:
        load_trail(data, "trail.json")
    (problem,) = caught.value.problems
    assert problem.where.file == "trail.json" and problem.says and "diagnose trail" in problem.way_out


def test_sections_of_a_trail_may_hold_anything_and_still_be_compared():
    document = {**json.loads(written()), "recorded": [3, "x", None, {"a": []}], "standing": [[]]}
    assert {"recorded", "standing"} <= {d["what"] for d in checked(dump(document))["differs"]}


def test_a_trail_of_the_time_before_mechanisms_is_read_and_what_can_be_said_of_it_is_said():
    """Written by version 0.1.0 with the small case and rule base as they were then."""
    old = (ROOT / "tests" / "trail" / "one-level.json").read_bytes()
    answer = checked(old)
    valid(answer, part="verify")
    told = {
        what: [d["says"] for d in answer["differs"] if d["what"] == what] for what in ("trail", "findings", "standing")
    }
    assert not answer["exact"] and "when mechanisms stood among the causes" in told["trail"][0]
    rules = {(r["file"], r["how"]) for r in answer["changes"]["rules"]}
    assert ("mechanisms/faces-overheated.yaml", "new") in rules and len(answer["changes"]["tool"]) == 1
    assert told["findings"] == [] and told["standing"][0].startswith("led then: dry running (probable)")
    assert "what happened: faces overheated" in told["standing"][0]


def run(*arguments: str):
    return CliRunner().invoke(
        app, list(arguments), env={"DIAGNOSE_KNOWLEDGE": str(SMALL / "knowledge"), "COLUMNS": "100"}
    )


@pytest.mark.slow
def test_the_commands_write_verify_and_exit_with_one_where_it_differs(tmp_path):
    path = tmp_path / "trail.json"
    assert run("trail", str(SMALL / "case.yaml"), "-o", str(path)).exit_code == 0
    good = run("verify", str(path))
    assert good.exit_code == 0 and "Reproduces exactly: dry running" in good.output
    same = run("verify", str(path), "--case", str(SMALL / "case.yaml"))
    assert same.exit_code == 0
    bad = run("verify", str(path), "--case", str(ROOT / "tests" / "trail" / "other.yaml"))
    assert bad.exit_code == 1 and "What changed in the record" in bad.output
    unwritable = run("trail", str(SMALL / "case.yaml"), "-o", str(tmp_path / "nowhere" / "trail.json"))
    assert isinstance(unwritable.exception, BadInput)
    assert isinstance(run("verify", str(tmp_path / "missing.json")).exception, BadInput)


# ---- exports ---------------------------------------------------------------------------------------------------------


def skeleton(graph: nx.DiGraph) -> tuple[dict, dict]:
    return dict(graph.nodes(data="type")), {(a, b): d["role"] for a, b, d in graph.edges(data=True)}


@pytest.mark.slow
@pytest.mark.slow
def test_graphml_is_read_back_by_networkx(judged, tmp_path):
    graph = judged(ROOT / "scenarios" / "thin-record.yaml").graph
    file = tmp_path / "graph.graphml"
    file.write_text(graphml(graph), "utf-8")
    read = nx.read_graphml(file)
    assert skeleton(read) == skeleton(graph)
    cause = next(n for n in graph if graph.nodes[n]["type"] == "cause")
    assert read.nodes[cause]["probability"] == pytest.approx(graph.nodes[cause]["probability"])


def test_json_is_read_back_by_networkx_whole(small):
    read = nx.node_link_graph(json.loads(json.dumps(node_link(small.graph))), edges="edges")
    assert dict(read.nodes(data=True)) == json.loads(json.dumps(dict(small.graph.nodes(data=True))))
    assert list(read.edges(data=True)) == list(small.graph.edges(data=True))


def test_signs_that_turn_the_direction_of_text_stand_raw_in_nothing_written(small):
    signs = "\u202e\u2066\u200b"
    text = (
        f"case: 'Pump {signs}'\nseal: {{arrangement: single}}\nparts: [{{item: 1, kind: hard face, name: 'a {signs} b'}}]\n"
        f"observations: [{{part: 1, saw: radial cracks, note: '{signs}'}}]\n"
    )
    case = reasoned(text, small.base)
    data = dump(trail(text.encode(), small.base, "1"))
    for made in (dot(case.graph), graphml(case.graph), data.decode()):
        assert "a " in made and not HIDDEN.search(made)
    assert signs in json.loads(data)["case"]["text"]


@pytest.mark.slow
def test_dot_is_read_back_by_networkx_and_drawn_by_graphviz(small, judged, tmp_path):
    file = tmp_path / "graph.dot"
    file.write_text(dot(small.graph), "utf-8")
    read = nx.nx_pydot.read_dot(file)
    types = {n.strip('"'): d["type"].strip('"') for n, d in read.nodes(data=True) if "type" in d}
    drawn = small.graph.subgraph([n for n, a in small.graph.nodes(data=True) if a.get("standing") != "ruled out"])
    assert len(drawn) < len(small.graph) and types == dict(drawn.nodes(data="type"))
    assert {(a.strip('"'), b.strip('"')) for a, b, *_ in read.edges} == set(drawn.edges)
    out = subprocess.run(
        ["dot", "-Tplain"], input=dot(small.graph).encode(), capture_output=True, check=True
    ).stdout.decode()
    assert sum(line.startswith("node ") for line in out.splitlines()) == len(drawn)
    assert sum(line.startswith("edge ") for line in out.splitlines()) == drawn.number_of_edges()
    graph = judged(SCENARIOS[0]).graph
    largest = dot(proof(graph, ranked(graph, "cause")[0])).encode()
    canonical = subprocess.run(["dot", "-Tcanon"], input=largest, capture_output=True, check=True)
    assert canonical.stdout and not canonical.stderr
