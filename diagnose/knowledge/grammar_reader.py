"""Reads the words that combine: `forms.yaml`, `points.yaml`, `variables.yaml`, `acts.yaml`, `qualifiers.yaml`; and
`custody.yaml`."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from diagnose.knowledge.card_reader import CardReader
from diagnose.knowledge.grammar import Act, Grammar, Moved, Term, Variable, lineage_of
from diagnose.knowledge.model import Feature, Kind, Setting, Vocabulary
from diagnose.reading.located import Node, only_keys
from diagnose.reading.problems import Where
from diagnose.reading.terms import did_you_mean, plain

TERM = ("is", "also", "means")
_TOGETHER = {"qualifiers": ("qualifiers", "substances", "moments"), "custody": ("custody", "confirmed by")}
"""Tables that stand in one file of the vocabulary, by its name."""


def read_grammar(reader: CardReader, kinds: Mapping[str, Kind], settings: Mapping[str, Setting]) -> Grammar:
    """Points, variables, acts and qualifiers; mistakes are added to the reader's problems. Files may be left out."""
    points = _terms(reader, _table(reader, "points"), "point")
    substances = _terms(reader, _table(reader, "substances"), "substance")
    moments = _terms(reader, _table(reader, "moments"), "moment")
    qualifiers = {
        name: _terms(reader, node, f"value of {name!r}") for name, node in _table(reader, "qualifiers").items()
    }
    variables = {}
    for name, node in _table(reader, "variables").items():
        only_keys(
            node, [*TERM, "unit", "values", "courses", "several", "at"], f"the variable {name!r}", reader.problems
        )
        if node.get("unit"):
            reader.check_unit(node, reader.text(node, "unit"))
        variables[name] = Variable(
            **_term(reader, name, node), unit=reader.text(node, "unit") if node.get("unit") else None,
            values=_terms(reader, node.get("values"), "value"), courses=_terms(reader, node.get("courses"), "course"),
            several=reader.text(node, "several") == "true", at=tuple(reader.known(node, "at", points, "point")),
        )  # fmt: skip
    acts = {}
    for name, node in _table(reader, "acts").items():
        only_keys(node, [*TERM, "to", "with", "setting"], f"the act {name!r}", reader.problems)
        acts[name] = Act(
            **_term(reader, name, node), to=reader.known(node, "to", {**points, **kinds}, "point or part"),
            using=reader.known(node, "with", substances, "substance"),
            setting=reader.read_terms(node, "setting", settings),
        )  # fmt: skip
    for family, table in (("act", acts), ("variable", variables)):
        _refuse_strays(reader, _table(reader, f"{family}s"), table, family)
    parts = {name: Term(name, kind.means, kind.above, kind.also, kind.where) for name, kind in kinds.items()}
    custody, confirmed = (
        _terms(reader, _table(reader, t), w) for t, w in (("custody", "act of custody"), ("confirmed by", "way"))
    )
    grammar = Grammar(points, variables, acts, {"made of": substances, **qualifiers}, substances, moments, parts,
                      custody=custody, confirmed=confirmed)  # fmt: skip
    families: dict[str, Mapping[str, Term]] = {
        "point": points, "act": acts, "variable": variables, "substance": substances, "moment": moments, **qualifiers,
        "act of custody": custody, "way": confirmed, **{f"value of {name}": variable.words for name, variable in variables.items()},
    }  # fmt: skip
    for family, terms in families.items():
        _refuse_shared(reader, family, terms)
    return grammar


def _table(reader: CardReader, key: str) -> Node:
    """The mapping under `key` in whichever file of the vocabulary has it."""
    stem = next((stem for stem, keys in _TOGETHER.items() if key in keys), key)
    name = f"vocabulary/{stem}.yaml"
    if name not in reader.nodes:
        return Node({}, Where(reader.shown))
    return reader.section(name, key, _TOGETHER.get(stem, ()))


def _term(reader: CardReader, name: str, node: Node) -> dict[str, Any]:
    return {"name": name, "means": reader.text(node, "means"), "above": reader.texts(node, "is"),
            "also": reader.texts(node, "also"), "where": node.where}  # fmt: skip


def _terms(reader: CardReader, table: Node | None, what: str) -> dict[str, Term]:
    """A hierarchy of words; a bare list under a word are its other spellings."""
    terms = {}
    for name, node in table.items() if table else ():
        if node.is_list:
            terms[name] = Term(name, also=tuple(x.text() for x in node.each()), where=node.where)
            continue
        if node.value is not None:
            only_keys(node, list(TERM), f"the {what} {name!r}", reader.problems)
        terms[name] = Term(**_term(reader, name, node))
    if table:
        _refuse_strays(reader, table, terms, what)
    return terms


def _refuse_strays(reader: CardReader, table: Node, terms: Mapping[str, Any], what: str) -> None:
    """A word stands under words of its own table, and never under itself."""
    for _, node in table.items():
        if node.is_map:
            reader.known(node, "is", terms, what)
    for name, term in terms.items():
        if any(name in lineage_of(terms)[above] for above in term.above if above in terms):
            reader.say(term.where, "circle", f"the {what} {name!r} stands above itself", "take one `is` out")


def _refuse_shared(reader: CardReader, family: str, terms: Mapping[str, Term]) -> None:
    owner: dict[str, str] = {}
    for name, term in terms.items():
        for spelling in {plain(name), *map(plain, term.also)}:
            other = owner.setdefault(spelling, name)
            if other != name:
                reader.say(
                    term.where,
                    "shared-word",
                    f"{spelling!r} names two: {other!r} and {name!r}",
                    "keep it with one of them",
                )


def statement(reader: CardReader, node: Node, grammar: Grammar, act: bool) -> dict[str, str]:
    """The state or act of which a feature is the name, as {at, variable, value} or {did, to, with}, both with when.
    `not: true` says that it is not so."""
    families: dict[str, Iterable[str]] = {"when": grammar.moments, "not": ("true",)}
    if act:
        families |= {
            "did": grammar.acts,
            "to": {**grammar.points, **grammar.kinds, **grammar.substances},
            "with": grammar.substances,
        }
    else:
        families |= {"at": grammar.points, **{n: v.words for n, v in grammar.variables.items()}}
    result: dict[str, str] = {}
    for key, value in node.items():
        if key not in families:
            reader.say(value.where, "unknown-key", f"there is no {key!r} to say", did_you_mean(key, families))
        elif value.text() not in families[key]:
            reader.say(
                value.where,
                "unknown-word",
                f"{value.text()!r} is no word for {key!r}",
                did_you_mean(value.text(), families[key]),
            )
        elif not act and key in grammar.variables:
            result |= {"variable": key, "value": value.text()}
        else:
            result[key] = value.text()
    return result


def read_moved(reader: CardReader, vocabulary: Vocabulary) -> dict[str, Moved]:
    """What stands in place of terms that are in use no longer."""
    node = reader.nodes.get("vocabulary/moved.yaml")
    if node is None:
        return {}
    only_keys(node, ["moved"], "this file", reader.problems)
    result = {}
    for item in node.members("moved"):
        only_keys(item, ["setting", "term", "also", "saw", "on"], "an entry", reader.problems)
        reader.known(item, "setting", vocabulary.settings, "setting")
        reader.known(item, "saw", vocabulary.features, "feature")
        reader.known(item, "on", vocabulary.kinds, "kind")
        setting, saw, on = (reader.text(item, key, True) for key in ("setting", "saw", "on"))
        for spelling in (reader.text(item, "term", True), *reader.texts(item, "also")):
            if vocabulary.find(f"setting:{setting}", spelling):
                reader.say(
                    item.where, "moved", f"{spelling!r} is still a term of {setting!r}", "take it out of settings.yaml"
                )
            result[f"{setting}: {plain(spelling)}"] = Moved(setting, spelling, saw, on)
    return result


def read_forms(reader: CardReader, read: Any) -> dict[str, Feature]:
    """The general words for marks; `read` makes a feature of a name and its node."""
    table = _table(reader, "forms")
    forms = {name: read(name, node, True) for name, node in table.items()}
    _refuse_strays(reader, table, forms, "form")
    return forms
