"""Editor schemas of the words that combine: their files, states and acts on record, and the conditions on them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from diagnose.knowledge.grammar import Grammar
from diagnose.knowledge.model import Vocabulary

Schema = dict[str, Any]
TEXT: Schema = {"type": ["string", "number", "boolean"]}
YES: Schema = {"enum": [True, False, "true", "false"]}


def _some(item: Schema) -> Schema:
    return {"anyOf": [item, {"type": "array", "items": item}]}


def _keys(properties: Mapping[str, Schema], needed: tuple[str, ...] = ()) -> Schema:
    return {"type": "object", "properties": dict(properties), "additionalProperties": False,
            **({"required": list(needed)} if needed else {})}  # fmt: skip


def _each(item: Schema) -> Schema:
    return {"type": "object", "additionalProperties": item}


def _spelt(terms: Mapping[str, Any]) -> Schema:
    """Every spelling of a family of words with what it means."""
    table = {name: term.means or name for name, term in terms.items()}
    for name, term in terms.items():
        for also in term.also:
            table.setdefault(also, f"another word for {name}")
    return {"enum": list(table), "enumDescriptions": list(table.values())}


def terms(v: Vocabulary) -> dict[str, Schema]:
    g = v.grammar
    return {
        "state": state(g, {}), "state said": state(g, {"usual": TEXT, "specified": TEXT}), "act said": act({}), "point": _spelt(g.points), "act": _spelt(g.acts), "substance": _spelt(g.substances),
        **{f"qualifier {name}": _spelt(table) for name, table in g.qualifiers.items()},
    }  # fmt: skip


def _ref(name: str) -> Schema:
    return {"$ref": f"terms.json#/definitions/{name}"}


def qualifiers(g: Grammar) -> dict[str, Schema]:
    return {name: _ref(f"qualifier {name}") for name in g.qualifiers}


def state(g: Grammar, more: Mapping[str, Schema]) -> Schema:
    """A state: a point and one variable."""
    spelled = {s: _some(TEXT) for name, v in g.variables.items() for s in (name, *v.also)}
    return _keys({"at": _ref("point"), **spelled, "when": _some(TEXT), **more}, ("at",))


def act(more: Mapping[str, Schema]) -> Schema:
    return _keys({"did": _ref("act"), "to": TEXT, "with": _ref("substance"), "when": TEXT, **more}, ("did",))


def records(g: Grammar) -> dict[str, Schema]:
    said = {"not": YES, "position": TEXT, "said": TEXT, "note": TEXT}
    return {
        "states": {"type": "array", "items": state(g, {"usual": TEXT, "specified": TEXT, **said})},
        "acts": {"type": "array", "items": act(said)}, "said, not understood": _some(TEXT),
    }  # fmt: skip


def files(v: Vocabulary, feature: Mapping[str, Schema]) -> dict[str, Schema]:
    """The files of the vocabulary by name; `feature` are the keys that forms share with features."""
    term = {"is": _some(TEXT), "also": _some(TEXT), "means": TEXT}
    word = {"anyOf": [_keys(term), {"type": "array", "items": TEXT}]}
    variable = {**term, "unit": TEXT, "values": _each(word), "courses": _each(word), "several": YES}
    return {
        "forms": _keys({"forms": _each(_keys({**feature, "is": _some(TEXT)}))}),
        "points": _keys({"points": _each(_keys(term))}),
        "variables": _keys({"variables": _each(_keys(variable, ("values",)))}),
        "acts": _keys({"acts": _each(_keys({**term, "to": _some(TEXT), "with": _some(TEXT), "setting": _each(TEXT)}))}),
        "moved": _keys({"moved": {"type": "array", "items": _keys(
            {"setting": TEXT, "term": TEXT, "also": _some(TEXT), "saw": _ref("feature"), "on": _ref("kind")},
            ("setting", "term", "saw", "on"))}}),
        "qualifiers": _keys({"qualifiers": _each(_each(word)), "substances": _each(word), "moments": _each(word)}),
    }  # fmt: skip
