"""The pieces that schemas are made of."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

Schema = dict[str, Any]
TEXT: Schema = {"type": ["string", "number", "boolean"]}
NUMBER: Schema = {"type": ["number", "string"], "pattern": r"^[-+]?[0-9.]+(e[-+]?[0-9]+)?$"}
YES: Schema = {"enum": [True, False, "true", "false"]}


def spellings(terms: Mapping[str, Any]) -> dict[str, str]:
    """Every accepted spelling with what it means; a synonym points at the term."""
    table = {name: getattr(term, "means", "") or name for name, term in terms.items()}
    for name, term in terms.items():
        for also in getattr(term, "also", ()):
            table.setdefault(also, f"another word for {name}")
    return table


def some(item: Schema) -> Schema:
    """One, or a list."""
    return {"anyOf": [item, {"type": "array", "items": item}]}


def listed(item: Schema) -> Schema:
    return {"type": "array", "items": item}


def words(terms: Mapping[str, str] | Iterable[str], means: str = "") -> Schema:
    """A word out of some; with a mapping, what each means is shown beside it."""
    schema: Schema = {"enum": list(terms)}
    if isinstance(terms, Mapping):
        schema["enumDescriptions"] = list(terms.values())
    return schema | ({"description": means} if means else {})


def of(terms: Iterable[str], item: Schema) -> Schema:
    """A mapping from some of the terms."""
    return keys(dict.fromkeys(terms, item))


def keys(properties: Mapping[str, Schema], needed: Iterable[str] = (), means: str = "") -> Schema:
    schema: Schema = {"type": "object", "properties": dict(properties), "additionalProperties": False}
    if needed:
        schema["required"] = list(needed)
    return schema | ({"description": means} if means else {})


def each(item: Schema) -> Schema:
    return {"type": "object", "additionalProperties": item}


def said(schema: Schema, means: str) -> Schema:
    return ({"allOf": [schema]} if "$ref" in schema else schema) | {"description": means}


def ref(name: str) -> Schema:
    return {"$ref": f"terms.json#/definitions/{name}"}
