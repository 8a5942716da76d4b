"""Editor schemas of the words that combine: their files, states and acts on record, and the conditions on them."""

from __future__ import annotations

from collections.abc import Mapping

from diagnose.authoring.schemas.parts import TEXT, YES, Schema, each, keys, listed, ref, some, spellings, words
from diagnose.casefile.format import CUSTODY, OUTCOME
from diagnose.knowledge.grammar import Grammar
from diagnose.knowledge.model import Vocabulary


def terms(v: Vocabulary) -> dict[str, Schema]:
    g = v.grammar
    return {
        "state": state(g, {}), "state said": state(g, {"usual": TEXT, "specified": TEXT}), "act said": act({}), "point": words(spellings(g.points)), "act": words(spellings(g.acts)), "custody": words(spellings(g.custody)), "confirmed": words(spellings(g.confirmed)), "substance": words(spellings(g.substances)),
        **{f"qualifier {name}": words(spellings(table)) for name, table in g.qualifiers.items()},
    }  # fmt: skip


def qualifiers(g: Grammar) -> dict[str, Schema]:
    return {name: ref(f"qualifier {name}") for name in g.qualifiers}


def state(g: Grammar, more: Mapping[str, Schema]) -> Schema:
    """A state: a point and one variable."""
    spelled = {s: some(TEXT) for name, v in g.variables.items() for s in (name, *v.also)}
    return keys({"at": ref("point"), **spelled, "when": some(TEXT), **more}, ("at",))


def act(more: Mapping[str, Schema]) -> Schema:
    return keys({"did": ref("act"), "to": TEXT, "with": ref("substance"), "when": TEXT, **more}, ("did",))


def records(g: Grammar) -> dict[str, Schema]:
    said = {"not": YES, "position": TEXT, "said": TEXT, "note": TEXT}
    return {
        "states": {"type": "array", "items": state(g, {"usual": TEXT, "specified": TEXT, **said})},
        "acts": {"type": "array", "items": act(said)}, "said, not understood": some(TEXT),
        "custody": listed(keys({**dict.fromkeys(CUSTODY, TEXT), "did": ref("custody"), "part": some(TEXT)}, ("did", "by", "when"))),
        "outcomes": listed(keys({
            **dict.fromkeys(OUTCOME, TEXT), "root": some(ref("named")), "mechanism": some(ref("named")), "none of these": YES,
            "how": ref("confirmed"), "changed": some(TEXT),
        }, ("by", "how", "when"))),
    }  # fmt: skip


def files(v: Vocabulary, feature: Mapping[str, Schema]) -> dict[str, Schema]:
    """The files of the vocabulary by name; `feature` are the keys that forms share with features."""
    term = {"is": some(TEXT), "also": some(TEXT), "means": TEXT}
    word = {"anyOf": [keys(term), {"type": "array", "items": TEXT}]}
    variable = {**term, "unit": TEXT, "values": each(word), "courses": each(word), "several": YES, "at": some(TEXT)}
    return {
        "forms": keys({"forms": each(keys({**feature, "is": some(TEXT), "not made of": some(ref("substance"))}))}),
        "points": keys({"points": each(keys(term))}),
        "variables": keys({"variables": each(keys(variable, ("values",)))}),
        "acts": keys({"acts": each(keys({**term, "to": some(TEXT), "with": some(TEXT), "setting": each(TEXT)}))}),
        "moved": keys({"moved": listed(keys(
            {"setting": TEXT, "term": TEXT, "also": some(TEXT), "saw": ref("feature"), "on": ref("kind")},
            ("setting", "term", "saw", "on"),
        ))}),
        "qualifiers": keys({"qualifiers": each(each(word)), "substances": each(word), "moments": each(word)}),
        "custody": keys({"custody": each(word), "confirmed by": each(word)}),
    }  # fmt: skip
