"""The trade's number tables: their shapes, checked value by value, and their plain texts for the formulas."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from diagnose.reading.located import Node
from diagnose.reading.problems import Problems
from diagnose.reading.terms import did_you_mean
from diagnose.reading.units import BadUnit, amount, unit

# A shape is a leaf word, a list of one shape, or a mapping of keys; a key with ? may be left out,
# * stands for any key, and the word behind it is the leaf that the key itself must be.
# Leaves: text, source, number, and a unit, which asks for an amount of that kind.
_AT = {"at": "K", "source": "source"}
_SIZES = {"section": "mm", "tolerance": "mm", "sizes": {"*": "number"}}
_ALIGNED = {"source": "source", "rows": [{"speed": "rpm", "excellent": "", "acceptable": ""}]}
_OFFSET = {"source": "source", "rows": [{"speed": "rpm", "excellent": "mm", "acceptable": "mm"}]}
SHAPES: dict[str, Any] = {
    "alignment": {"offset": [_OFFSET], "angle": [_ALIGNED]},
    "elastomers": {
        "hot water services": ["text"],
        "families": {"*": {
            "also?": ["text"], "from?": _AT, "to?": [_AT], "hot water?": [_AT], "steam?": [_AT],
            "storage?": [{"for": "text", "source": "source"}],
        }},
    },
    "faces": {
        "lamps": {"*": {"wavelength": "mm"}},
        "materials": {"*": {"family": "text", "conductivity": "number", "also?": ["text"]}},
        "pairs": [{
            "pair": ["text"], "pv?": {"most": ["MPa m/s"], "source": "source", "note": "text"},
            "friction": {"value": "number", "source": "source"},
        }],
        "ordinary friction": {"value": "number", "source": "source"},
        "pv in thin liquids": {"services": ["text"], "share": "number", "source": "source"},
        "ring as a fin": {"length": "mm", "water services": ["text"], "film coefficient": {"water": "number", "other": "number"}},
    },
    "failure-data": {
        "source": "source", "equipment classes": {"*": ["text"]}, "maintainable item": "text",
        "failure mode": {"leaked": "text", "otherwise": "text"}, "detection methods": ["text"],
    },
    "fluids": {
        "fluids": {"*": {
            "also?": ["text"], "services?": ["text"], "coolprop": "text", "freezes?": "K", "critical?": ["text"], "wagner?": ["number"], "from?": "K",
            "to?": "K",
        }},
        "further fluids": {"*": {"also?": ["text"], "coolprop": "text"}},
        "liquid properties": {"density": "number", "specific heat": "number"},
    },
    "kinematics": {
        "track": {"significant": "mm", "rows": [{"nose": "text", "width": "text", "shift": "text", "says": "text"}]},
        "pins": {"by group": {"rotating": "text", "stationary": "text"}, "rows": [{"arrangement": "text", "normal": "text"}]},
    },
    "machine": {"design life": {"at": "h", "source": "source"}},
    "orings": {
        "as568": {"source": "source", "series": [_SIZES]},
        "extrusion": {"source": "source", "rows": [{"hardness": "number", "gaps": {"* psi": "mm"}}]},
    },
    "outliers": {
        "grubbs": {"source": "source", "5 % two-sided": {"* number": "number"}, "5 % one-sided": {"* number": "number"}},
        "dixon": {
            "source": "source", "10 % two-sided": {"* number": "number"}, "5 % two-sided": {"* number": "number"},
            "1 % two-sided": {"* number": "number"},
        },
    },
}  # fmt: skip


def read_tables(nodes: Mapping[str, Node], sources: Iterable[str], problems: Problems) -> dict[str, Any]:
    """The tables as plain texts by file stem; each misfit becomes a problem at its place."""
    known, tables = set(sources), {}
    for name in sorted(nodes):
        if name.startswith("tables/"):
            stem = name.removeprefix("tables/").removesuffix(".yaml")
            if stem in SHAPES:
                _check(nodes[name], SHAPES[stem], stem, known, problems)
                tables[stem] = nodes[name].plain()
            else:
                way_out = did_you_mean(stem, SHAPES) or f"tables: {', '.join(sorted(SHAPES))}"
                problems.add(nodes[name].where, "unknown-table", f"no formula reads a table {stem!r}", way_out)
    return tables


def _check(node: Node, shape: Any, what: str, sources: set[str], problems: Problems) -> None:
    if isinstance(shape, dict):
        _check_mapping(node, shape, what, sources, problems)
    elif isinstance(shape, list):
        if not node.is_list or not node.each():
            problems.add(node.where, "table", f"{what!r} takes a list of values", "write it in brackets or with dashes")
        for item in node.each() if node.is_list else []:
            _check(item, shape[0], what, sources, problems)
    elif not isinstance(node.value, str):
        problems.add(node.where, "table", f"{what!r} takes one value")
    else:
        _check_leaf(node, shape, what, sources, problems)


def _check_mapping(node: Node, shape: dict[str, Any], what: str, sources: set[str], problems: Problems) -> None:
    if not node.is_map:
        problems.add(node.where, "table", f"{what!r} is a mapping of keys")
        return
    keys = {key.removesuffix("?"): inner for key, inner in shape.items()}
    star = next((key for key in keys if key.startswith("*")), "")
    for key, value in node.items():
        inner = keys.get(key, keys.get(star))
        if star.startswith("* "):
            _check_leaf(Node(key, value.where), star[2:], what, sources, problems)
        if inner is None:
            way_out = did_you_mean(key, keys) or f"allowed: {', '.join(keys)}"
            problems.add(value.where, "unknown-key", f"{what!r} has no key {key!r}", way_out)
        else:
            _check(value, inner, key, sources, problems)
    for key in shape:
        if not key.startswith("*") and not key.endswith("?") and node.get(key) is None:
            problems.add(node.where, "missing-key", f"{what!r} lacks the key {key!r}")


def _check_leaf(node: Node, shape: str, what: str, sources: set[str], problems: Problems) -> None:
    text = node.text()
    if shape == "text":
        if not text:
            problems.add(node.where, "table", f"{what!r} must not be empty")
    elif shape == "source":
        if text not in sources:
            problems.add(node.where, "unknown-source", f"there is no source {text!r}", did_you_mean(text, sources))
    elif shape == "number":
        try:
            float(text)
        except ValueError:
            problems.add(node.where, "number", f"{what!r} must be a number, not {text!r}")
    else:
        try:
            if amount(text).kind != unit(shape).kind:
                raise BadUnit(f"{text!r} is in the wrong kind of unit for {what!r}")
        except BadUnit as error:
            problems.add(node.where, "unit", str(error), f"write it like 1 {shape}".strip())
