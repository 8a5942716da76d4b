"""The trail: one JSON document from which a diagnosis can be replayed to the byte, and the check that it can.

It holds the case as text, so that it can be replayed alone; the digest of the case, of the knowledge and of each of its
files; and everything the graph holds, in one canonical order, without any path of the machine it was made on.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping
from typing import Any

import networkx as nx

from diagnose.casefile.reader import parse_case
from diagnose.inference.run import RuleBase
from diagnose.judgement.diagnosis import Diagnosis
from diagnose.knowledge.model import Knowledge
from diagnose.reading.figures import percent
from diagnose.reading.problems import BadInput, Problem, Problems, Where
from diagnose.reading.terms import HIDDEN, escaped
from diagnose.trail.graph import HAPPENED, PROVING, build, of_type, ranked

FORMAT = 2
OF_ONE_LEVEL = 1
"""The format in which mechanisms were not yet told apart from root causes; it is read, not written."""
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
MOST_BYTES = 50_000_000
Doc = dict[str, Any]


def trail(data: bytes, base: RuleBase, version: str) -> Doc:
    """The trail of the case whose file has these bytes. Raises BadInput."""
    problems = Problems()
    case = parse_case(data, CASE_NAME, base.knowledge, problems)
    problems.raise_errors()
    assert case is not None
    return document(build(Diagnosis(case, base)), data, base.knowledge, version)


def document(graph: nx.DiGraph, data: bytes, knowledge: Knowledge, version: str) -> Doc:
    """The trail of a graph and the bytes of the case file that it was made from."""
    return {
        "trail": FORMAT,
        "tool": {"name": TOOL, "version": version},
        "case": {"name": graph.graph["case"], "digest": graph.graph["case_digest"], "text": data.decode("utf-8")},
        "knowledge": {"version": knowledge.version, "digest": knowledge.digest, "files": dict(knowledge.files)},
        **content(graph),
    }


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
    if document.get("trail") not in (FORMAT, OF_ONE_LEVEL):
        return f"its format is {document.get('trail')!r}, not {FORMAT}"
    for key, inner in (("case", ("digest", "text")), ("knowledge", ("digest", "files")), ("tool", ("name", "version"))):
        part = document.get(key)
        for k in inner:
            if not isinstance(part, dict) or not isinstance(part.get(k), dict if k == "files" else str):
                return f"{key}.{k} is missing or of another kind"
    for key in SECTIONS if document["trail"] == FORMAT else SECTIONS_OF_ONE_LEVEL:
        if not isinstance(document.get(key), list):
            return f"the section {key!r} is missing"
    return ""


# ---- verify ----------------------------------------------------------------------------------------------------------


def verify(data: bytes, name: str, base: RuleBase, version: str, case: bytes | None = None) -> Doc:
    """Replays a trail and names what differs: input, rules, tool or conclusions. Raises BadInput."""
    old = load(data, name)
    text = old["case"]["text"].encode("utf-8", errors="surrogatepass")
    differs: list[Doc] = []
    if hashlib.sha256(text).hexdigest() != old["case"]["digest"]:
        differs.append(
            {"what": "input", "says": "the case text in the trail does not have the digest that the trail names"}
        )
    if case is not None and hashlib.sha256(case).hexdigest() != old["case"]["digest"]:
        differs.append(
            {"what": "input", "says": f"the case file is not the one of the trail: {_first_line(text, case)}"}
        )
    differs += _knowledge_changes(old["knowledge"], base.knowledge)
    if old["tool"]["version"] != version:
        differs.append({"what": "tool", "says": f"made with version {old['tool']['version']!r}, this is {version!r}"})
    exact = False
    try:
        new = trail(text if case is None else case, base, version)
        differs += _conclusion_changes(old, new) if old["trail"] == FORMAT else _since_one_level(old, new)
        exact = data == dump(new)
        if not exact and not differs:
            differs.append({"what": "trail", "says": _where_bytes(data, dump(new))})
    except BadInput as error:
        differs += [{"what": "input", "says": f"the case can no longer be read: {p}"} for p in error.problems]
    return {
        "question": "verify", "trail": old["case"].get("name", ""), "exact": exact and not differs, "differs": differs,
        "case_digest": old["case"]["digest"], "knowledge_digest": old["knowledge"]["digest"],
    }  # fmt: skip


def _first_line(old: bytes, new: bytes) -> str:
    a, b = old.split(b"\n"), new.split(b"\n")
    for number, (x, y) in enumerate(zip(a, b, strict=False), 1):
        if x != y:
            return f"line {number} reads {y.decode(errors='replace')[:80]!r}, was {x.decode(errors='replace')[:80]!r}"
    return f"it has {len(b)} lines, had {len(a)}"


def _where_bytes(old: bytes, new: bytes) -> str:
    return f"the trail is written otherwise than it would be now: {_first_line(new, old)}"


def _knowledge_changes(old: Doc, knowledge: Knowledge) -> list[Doc]:
    if old["digest"] == knowledge.digest and old["files"] == dict(knowledge.files):
        return []
    was, now = old["files"], knowledge.files
    rows = []
    for file in sorted({*was, *now}):
        if was.get(file) != now.get(file):
            how = "is new" if file not in was else "is gone" if file not in now else "has changed"
            rows.append({"what": "rule", "says": f"{file} {how}", "file": file})
    return rows or [{"what": "rule", "says": "the digest of the rule base differs, though none of its files does"}]


def _since_one_level(old: Doc, new: Doc) -> list[Doc]:
    """What can be said of a trail written before mechanisms were told apart from root causes: what was recorded and
    found compares entry by entry, of what was judged only what led."""
    says = (
        f"written in format {OF_ONE_LEVEL}, when mechanisms stood among the causes; it cannot reproduce to the byte. "
        "Records, rules and findings are compared; ledgers, explanations and standings by what led"
    )
    rows = [{"what": "trail", "says": says}]
    for section in ("recorded", "settings", "findings"):
        was, now = ({key: e.get("state") or e.get("text") for key, e in _keyed(d[section]).items() if isinstance(e, dict)}
                    for d in (old, new))  # fmt: skip
        for key in sorted({*was, *now}):
            if was.get(key) != now.get(key):
                says = f"{key.partition(':')[2] or key}: was {was.get(key) or 'not there'}, is {now.get(key) or 'not there'}"
                rows.append({"what": section, "says": says})
    told = [_led(d["standing"]) for d in (old, new)]
    if told[0] != told[1]:
        rows.append({"what": "standing", "says": f"led then: {told[0]}; now: {told[1]}"})
    return rows


def _led(standing: Iterable[Any]) -> str:
    """The first cause and the first mechanism of a list of standings, each with its standing."""
    first: dict[str, str] = {}
    for entry in standing:
        if isinstance(entry, dict) and {"text", "standing", "probability"} <= {*entry}:
            first.setdefault(entry.get("type", "cause"), f"{entry['text']} ({entry['standing']})")
    return "; what happened: ".join(first.values()) or "nothing"


def _conclusion_changes(old: Doc, new: Doc) -> list[Doc]:
    """Entry by entry, what the replay says otherwise; what was recorded first, conclusions last."""
    rows = []
    for section in SECTIONS:
        was, now = _keyed(old[section]), _keyed(new[section])
        for key in sorted({*was, *now}):
            if was.get(key) != now.get(key):
                rows.append({"what": section, "says": _entry_change(section, was.get(key), now.get(key), key)})
    return rows


def _keyed(entries: Iterable[Any]) -> dict[str, Any]:
    """Entries by what they are about; entries that are no objects by their text."""
    result = {}
    for e in entries:
        key = (
            e.get("id") or e.get("cause") or f"{e.get('type', '')}:{e.get('text', '')}@{e.get('position', '')}"
            if isinstance(e, dict)
            else ""
        )
        result[str(key) or json.dumps(e, sort_keys=True)] = e
    return result


def _entry_change(section: str, was: Any, now: Any, key: str) -> str:
    entry = was if now is None else now
    if not isinstance(entry, dict) or not isinstance(was or entry, dict):
        return f"{key} reads otherwise"
    name = _entry_name(section, entry, key)
    if was is None or now is None:
        return f"{name} {'appears' if was is None else 'is gone'}"
    told = _changes(was, now)
    return f"{name}: {'; '.join(told[:3])}" + (f"; and {len(told) - 3} more" if len(told) > 3 else "")


def _entry_name(section: str, entry: Doc, key: str) -> str:
    """What a reader calls an entry: a record or finding by its text, a firing by its rule, a ledger by its cause."""
    name = str(entry.get("text") or key.partition(":")[2].partition("@")[0] or key)
    if section == "firings":
        name = f"rule {name} ({entry.get('rule', '')}: {entry.get('state', '')})"
    elif section == "sets":
        name = "explanations"
    elif section in ("marks", "links"):
        name = " > ".join(end.partition(":")[2].rpartition("@")[0] for end in key.split(" > "))
    elif section == "standing":
        name = f"{name} ({entry.get('type', 'cause')})"
    position = entry.get("position") or key.rpartition("@")[2]
    return f"{name} [{position}]" if position in ("inboard", "outboard") else name


def _changes(was: Doc, now: Doc) -> list[str]:
    return [
        told for k in sorted({*was, *now}) if was.get(k) != now.get(k) for told in _change(k, was.get(k), now.get(k))
    ]


def _change(field: str, was: Any, now: Any) -> list[str]:
    """What changed in one field, in words; inside lists by the entries that came, went or changed."""
    name = field.replace("_", " ")
    if field == "supports":
        return ["rests on other records"]
    if isinstance(was, list) and isinstance(now, list):
        before, after = ({_called(x): x for x in entries} for entries in (was, now))
        told = [f"{name} without {k}" for k in before if k not in after]
        told += [f"{name} with {k}" for k in after if k not in before]
        both = [(k, before[k], after[k]) for k in before if k in after and before[k] != after[k]]
        told += [f"{k}: {t}" for k, a, b in both if isinstance(a, dict) and isinstance(b, dict) for t in _changes(a, b)]
        return told or [f"{name} in another order"]
    return [f"{name} was {_short(was)}, is {_short(now)}"]


def _called(entry: Any) -> str:
    if not isinstance(entry, dict):
        return _short(entry)
    causes = entry.get("causes")
    return str(
        entry.get("says")
        or entry.get("finding")
        or entry.get("name")
        or entry.get("start")
        or (" and ".join(map(str, causes)) if causes and isinstance(causes, list) else _short(entry))
    )


def _short(value: Any) -> str:
    text = f"{value:g}" if isinstance(value, float) else json.dumps(value, ensure_ascii=False, sort_keys=True)
    return text if len(text) <= 60 else text[:57] + "..."


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
