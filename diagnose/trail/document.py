"""The trail: one JSON document from which a diagnosis can be replayed to the byte, and the check that it can.

It holds the case and its journal as text and the rule base packed, so that it can be replayed alone and years later; the
digest of each, of the photos, and the versions of the tool; and everything the graph holds, in one canonical order, without
any path of the machine it was made on. Last, a digest of all that, since not all of it follows from the rest.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from typing import Any

import networkx as nx

from diagnose.casefile.authors import kept
from diagnose.casefile.model import Case
from diagnose.casefile.reader import parse_case
from diagnose.inference.run import RuleBase
from diagnose.judgement.diagnosis import Diagnosis
from diagnose.knowledge.model import Knowledge
from diagnose.reading.figures import percent
from diagnose.reading.problems import BadInput, Problem, Problems, Where
from diagnose.reading.terms import HIDDEN, escaped
from diagnose.trail import custody
from diagnose.trail.custody import Around
from diagnose.trail.graph import HAPPENED, PROVING, build, of_type, ranked

FORMAT = 3
ALONE = 2
"""The format that carried neither journal nor rule base; it is read, not written, as is the next one."""
OF_ONE_LEVEL = 1
"""The format in which mechanisms were not yet told apart from root causes."""
TOOL = "diagnose"
CASE_NAME = "case.yaml"
"""What the case file is called in a trail, whatever it was called on disk."""
SECTIONS = (
    "recorded",
    "settings",
    "quantities",
    "firings",
    "findings",
    "marks",
    "links",
    "sets",
    "standing",
    "cautions",
)
SECTIONS_OF_ONE_LEVEL = (
    "recorded",
    "settings",
    "quantities",
    "firings",
    "findings",
    "ledgers",
    "sets",
    "standing",
    "cautions",
)
MOST_BYTES = 100_000_000
NOTHING_AROUND = Around()
Doc = dict[str, Any]


def trail(data: bytes, base: RuleBase, version: str, around: Around = NOTHING_AROUND) -> Doc:
    """The trail of the case whose file has these bytes, with what lies around it. Raises BadInput."""
    problems = Problems()
    case = parse_case(data, CASE_NAME, base.knowledge, problems)
    problems.raise_errors()
    assert case is not None
    return document(build(Diagnosis(case, base)), case, data, base.knowledge, version, around)


def document(
    graph: nx.DiGraph, case: Case, data: bytes, knowledge: Knowledge, version: str, around: Around = NOTHING_AROUND
) -> Doc:  # fmt: skip
    """The trail of a graph and the bytes of the case file that it was made from."""
    journal = kept(data, around.journal)
    custody.attach(graph, case, journal)
    told = custody.journal_told(journal)
    if around.journal is not None:
        told["text"] = around.journal.decode("utf-8", "backslashreplace")
    used = {
        name: around.contents[name].decode("utf-8") for name in custody.cards_used(graph) if name in around.contents
    }
    return with_digest({
        "trail": FORMAT,
        "tool": {"name": TOOL, "version": version, "python": around.python, "packages": dict(around.packages)},
        "case": {"name": graph.graph["case"], "digest": graph.graph["case_digest"], "text": data.decode("utf-8")},
        "journal": told, "photos": custody.photos(case, around.photos), "custody": custody.hands(case),
        "outcomes": custody.outcomes(case),
        "knowledge": {"version": knowledge.version, "digest": knowledge.digest, "revision": around.revision,
                      "files": dict(knowledge.files)},
        "cards": used, "rules": custody.packed(around.contents) if around.contents else None,
        **content(graph),
    })  # fmt: skip


def with_digest(trail: Doc) -> Doc:
    """The trail with the digest of what else stands in it."""
    rest = {k: v for k, v in trail.items() if k != "digest"}
    return {**rest, "digest": hashlib.sha256(dump(rest)).hexdigest()}


def content(graph: nx.DiGraph) -> Doc:
    """All that was recorded, fired, found, explained and judged. `marks`: what each recorded finding weighs alone for
    what leaves it; `links`: what brings what about; `sets`: explanations and chains at each position."""
    table = graph.nodes

    def rows(type: str, *left_out: str) -> list[Doc]:
        return [
            {"id": n, **{k: v for k, v in table[n].items() if k not in ("type", *left_out)}}
            for n in of_type(graph, type)
        ]

    marks, links = [], []
    for a, b, edge in sorted(graph.edges(data=True), key=lambda e: e[:2]):
        if edge["role"] == "leaves" and table[b]["state"] != "unrecorded":
            marks.append({"id": f"{a} > {b}", "state": table[b]["state"],
                          **{k: edge[k] for k in ("seen", "weight", "if_present", "if_absent", "trial")}})  # fmt: skip
        elif edge["role"] == "brings about":
            links.append({"id": f"{a} > {b}", "seen": edge["seen"]})
    kept = (
        "text",
        "type",
        "position",
        "standing",
        "probability",
        "before",
        "weight",
        "lines_for",
        "because",
        "told_at",
    )
    standing = [{k: table[n][k] for k in kept} for type in ("cause", "mechanism") for n in ranked(graph, type)]
    return {
        "recorded": rows("recorded"), "settings": rows("setting"), "quantities": rows("quantity"),
        "firings": rows("firing"), "findings": [f for f in rows("finding") if f["state"] != "unrecorded"],
        "marks": marks, "links": links, "sets": graph.graph["judgements"], "standing": standing, "cautions": rows("caution"),
    }  # fmt: skip


def dump(trail: Mapping[str, Any]) -> bytes:
    """The canonical bytes of a trail."""
    return (escaped(json.dumps(trail, ensure_ascii=False, indent=1, sort_keys=True, allow_nan=False)) + "\n").encode()


def load(data: bytes, name: str) -> Doc:
    """A trail from the bytes of its file. Raises BadInput where it is none."""

    def refuse(says: str, line: int = 1, column: int = 1) -> BadInput:
        return BadInput(
            [Problem(Where(name, line, column), "trail", says, "write one with: diagnose trail CASE -o FILE")]
        )

    if len(data) > MOST_BYTES:
        raise refuse(f"the file is larger than {MOST_BYTES:,} bytes")
    try:
        read = json.loads(data.decode("utf-8"), parse_constant=_no_constant)
    except json.JSONDecodeError as error:
        raise refuse(f"this is not valid JSON: {error.msg}", error.lineno, error.colno) from error
    except (UnicodeDecodeError, RecursionError, ValueError) as error:
        raise refuse(f"this cannot be read as a trail: {error}".splitlines()[0]) from error
    lacking = _lacking(read)
    if lacking:
        raise refuse(f"this is no trail: {lacking}")
    return dict(read)


def _no_constant(word: str) -> float:
    raise ValueError(f"{word} is no number")


def _lacking(document: Any) -> str:
    if not isinstance(document, dict):
        return "it is not an object"
    if document.get("trail") not in (FORMAT, ALONE, OF_ONE_LEVEL):
        return f"its format is {document.get('trail')!r}, not {FORMAT}"
    if document["trail"] == FORMAT and not isinstance(document.get("digest"), str):
        return "the digest of its content is missing"
    for key, inner in (
        ("case", ("name", "digest", "text")),
        ("knowledge", ("digest", "files")),
        ("tool", ("name", "version")),
    ):
        part = document.get(key)
        for k in inner:
            if not isinstance(part, dict) or not isinstance(part.get(k), dict if k == "files" else str):
                return f"{key}.{k} is missing or of another kind"
    if document["trail"] == FORMAT and (lacking := _lacking_around(document)):
        return lacking
    for key in SECTIONS if document["trail"] != OF_ONE_LEVEL else SECTIONS_OF_ONE_LEVEL:
        if not isinstance(document.get(key), list):
            return f"the section {key!r} is missing"
    return ""


def _lacking_around(document: Doc) -> str:
    """What is missing or of another kind of what lay around the case."""
    for key in ("photos", "custody", "outcomes"):
        if not isinstance(document.get(key), list):
            return f"the section {key!r} is missing"
    texts: dict[str, type] = {"photo": str, "recorded": str, "now": str}
    shapes: list[tuple[str, Any, dict[str, type]]] = [
        ("tool", document["tool"], {"python": str, "packages": dict}), ("knowledge", document["knowledge"], {"revision": str}),
        ("journal", document.get("journal"), {"lines": int, "digest": str, "head": str, "case": str, "says": str}),
        ("cards", document.get("cards"), {}), *(("photos", photo, texts) for photo in document["photos"]),
    ]  # fmt: skip
    for key, part, inner in shapes:
        if not isinstance(part, dict) or any(not isinstance(part.get(k), kind) for k, kind in inner.items()):
            return f"{key} is missing or of another kind"
    if not isinstance(document["journal"].get("text", ""), str) or not isinstance(
        document.get("rules", ""), dict | None
    ):
        return "journal or rules are of another kind"
    tables = (document["cards"], document["tool"]["packages"], document["knowledge"]["files"])
    if not all(isinstance(text, str) for table in tables for text in table.values()):
        return "cards, packages and files are texts"
    return ""


# ---- the graph for other tools ---------------------------------------------------------------------------------------


def node_link(graph: nx.DiGraph) -> Doc:
    """The graph as nodes and edges, in the form networkx.node_link_graph reads (edges="edges")."""
    return {
        "directed": True, "multigraph": False, "graph": dict(graph.graph),
        "nodes": [{"id": n, **a} for n, a in graph.nodes(data=True)],
        "edges": [{"source": a, "target": b, **d} for a, b, d in graph.edges(data=True)],
    }  # fmt: skip


def graphml(graph: nx.DiGraph) -> str:
    """GraphML (graphml.graphdrawing.org); lists and tables as JSON text, what is empty left out."""
    flat = nx.DiGraph(**_flat(graph.graph))
    for n, attributes in graph.nodes(data=True):
        flat.add_node(n, **_flat(attributes))
    for a, b, attributes in graph.edges(data=True):
        flat.add_edge(a, b, **_flat(attributes))
    return "\n".join(nx.generate_graphml(flat)) + "\n"


def _flat(attributes: Mapping[str, Any]) -> Doc:
    result: Doc = {}
    for key, value in attributes.items():
        if isinstance(value, dict | list | tuple):
            result[key] = json.dumps(value, ensure_ascii=False, sort_keys=True)
        elif value is not None:
            result[key] = float(value) if isinstance(value, float) else value
    return result


_SHAPES = {"recorded": "box", "setting": "box", "quantity": "parallelogram", "firing": "cds", "finding": "ellipse",
           "mechanism": "hexagon", "cause": "doubleoctagon", "measurement": "note", "caution": "octagon"}  # fmt: skip


def dot(graph: nx.DiGraph) -> str:
    """DOT, left to right; a dashed edge proves nothing. What is ruled out is not drawn."""
    graph = graph.subgraph([n for n, a in graph.nodes(data=True) if a.get("standing") != "ruled out"])
    lines = ["digraph reasoning {", "  rankdir=LR;", '  node [fontname="Helvetica", fontsize=11];']
    for n, a in graph.nodes(data=True):
        label = a["text"]
        if a["type"] == "finding":
            label = {"absent": f"no {label}", "unrecorded": f"{label}?"}.get(a["state"], label)
        elif a["type"] in ("cause", "mechanism"):
            label = f"{label}\n{a['standing']}, {percent(a['probability'])}"
        lines.append(f"  {_quoted(n)} [label={_quoted(label)}, shape={_SHAPES[a['type']]}, type={_quoted(a['type'])}];")
    for x, y, d in graph.edges(data=True):
        style = "" if d["role"] in (*PROVING, *HAPPENED) else ", style=dashed"
        lines.append(f"  {_quoted(x)} -> {_quoted(y)} [role={_quoted(d['role'])}{style}];")
    return "\n".join([*lines, "}"]) + "\n"


def _quoted(text: str) -> str:
    shown = HIDDEN.sub(" ", text)
    return '"' + shown.replace("\\", "\\\\").replace('"', '\\"').replace("\n", "\\n") + '"'
