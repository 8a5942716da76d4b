"""Schemas for editors: every file of the rule base fits, and so does what the reader takes; what it refuses does not."""

from __future__ import annotations

import json
from pathlib import Path

import jsonschema
import pytest
import yaml
from referencing import Registry, Resource

from diagnose.authoring.schemas import editor_settings, schemas
from diagnose.casefile import format as cases

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture(scope="module")
def made(whole_base):
    return schemas(whole_base.knowledge)


def check(made, name: str, document) -> list[str]:
    registry = Registry().with_resource("terms.json", Resource.from_contents(made["terms"]))
    return [e.message[:300] for e in jsonschema.Draft7Validator(made[name], registry=registry).iter_errors(document)]


def read(path: Path):
    """As an editor with YAML 1.2 reads it, where `on` is a word; numbers stay text."""
    return yaml.load(path.read_text("utf-8"), yaml.CBaseLoader)


def schema_of(path: Path) -> str:
    """The name of the one schema that the editor's settings tie to a file."""
    tied = editor_settings()["yaml.schemas"].items()
    (schema,) = [schema for schema, pattern in tied if path.match(pattern)]
    return Path(schema).stem


@pytest.mark.slow
def test_every_file_of_the_rule_base_fits_its_schema(made):
    registry = Registry().with_resource("terms.json", Resource.from_contents(made["terms"]))
    validators = {name: jsonschema.Draft7Validator(schema, registry=registry) for name, schema in made.items()}
    used, wrong = set(), {}
    for path in sorted((ROOT / "knowledge").rglob("*.yaml")):
        name = schema_of(path)
        used.add(name)
        document = read(path)
        if not validators[name].is_valid(document):
            wrong[path.name] = str(jsonschema.exceptions.best_match(validators[name].iter_errors(document)))
    assert wrong == {}
    assert used == set(made) - {"case", "terms"}


def test_every_scenario_fits_the_schema_of_cases(made):
    paths = sorted((ROOT / "scenarios").glob("*.yaml"))
    assert paths
    assert {p.name: e for p in paths if (e := check(made, "case", read(p)))} == {}


@pytest.mark.parametrize(
    ("name", "text"),
    [
        (
            "finding",
            "finding: x\nid: F1\nstatus: acepted\nsince: 1\nreviewed: 1\nsources: [common-practice]\nreads: x\notherwise: rarely\nwhen: {saw: blisters}\n",
        ),
        (
            "finding",
            "finding: x\nid: F1\nstatus: draft\nsince: 1\nreviewed: 1\nsources: [common-practice]\nreads: x\notherwise: rarely\nwhen: {saw: blitsers}\n",
        ),
        (
            "finding",
            "finding: x\nid: F1\nstatus: draft\nsince: 1\nreviewed: 1\nsources: [common-practice]\nreads: x\notherwise: rarely\n",
        ),
        ("finding", "- {test: x, given: [], find: [y]}\n"),
        ("finding", "- {test: x, given: [{saw: blitsers}], leaves open: []}\n"),
        ("cause", "cause: x\nid: C1\nleaves: []\n"),
        ("case", "case: x\nobservations: [{saw: blisters, extend: all round}]\n"),
        ("case", "about: no name\n"),
        ("words", "seen: {always: surely}\n"),
        ("version", "versoin: 1.0.0\n"),
        (
            "looks",
            "minutes: {faec: 3}\nasked: [leak]\ncannot tell: {look: 0.05, question: 0.2, number: 0.05, between limits: 0.1}\nworth: 0.1\nreckoned with: 0.1\n",
        ),
        ("arrangement", "arrangement: sinlge\nparts: [{item: 1, kind: gland, name: Gland}]\n"),
        ("arrangement", "arrangement: single\nparts: [{item: 1, name: Gland}]\n"),
        (
            "arrangement",
            "doubt: 2\nsteps: [{step: a, stage: before washing, do: a, ends: b, looks: [{on: face, about: leak}]}]\n",
        ),
        ("arrangement", "doubt: 2\nsteps: [{step: a, stage: before wishing, do: a, ends: b}]\n"),
        ("table-machine", "design life: {at: 25000 h}\n"),
        ("table-machine", "design life: {at: 25000 h, source: no-such-source}\n"),
        ("table-faces", "lamps: {helium: {wave: 1 nm}}\n"),
    ],
)
def test_what_the_reader_refuses_does_not_fit(name, text, made):
    assert check(made, name, yaml.load(text, yaml.CBaseLoader))


def test_the_schema_of_cases_has_the_keys_of_the_reader(made, whole_base):
    terms = made["terms"]["definitions"]
    assert set(terms["case"]["properties"]) == set(cases.TOP)
    assert set(terms["case"]["properties"]["parts"]["items"]["properties"]) == set(cases.PART)
    assert set(terms["case"]["properties"]["expected"]["properties"]) == set(cases.EXPECTED)
    assert set(terms["case"]["properties"]["measurements"]["items"]["properties"]) == set(cases.MEASUREMENT)
    records = terms["case"]["properties"]["observations"]["items"]["anyOf"]
    assert {k for r in records for k in r["properties"]} == {
        *cases.OBSERVATION,
        *whole_base.knowledge.vocabulary.grammar.qualifiers,
    }
    grammar = whole_base.knowledge.vocabulary.grammar
    variables = {spelling for v in grammar.variables.values() for spelling in (v.name, *v.also)}
    assert set(terms["case"]["properties"]["states"]["items"]["properties"]) == {*cases.STATE, *variables}
    assert set(terms["case"]["properties"]["acts"]["items"]["properties"]) == set(cases.ACT)


def test_terms_say_what_they_mean_where_an_editor_shows_it(made, whole_base):
    feature = made["terms"]["definitions"]["feature"]
    shown = dict(zip(feature["enum"], feature["enumDescriptions"], strict=True))
    assert shown["blisters"] == whole_base.knowledge.vocabulary.features["blisters"].means


def test_the_schemas_beside_the_rule_base_are_fresh(made):
    """Run `diagnose rules schema` after a change of vocabulary or names."""
    for name, schema in made.items():
        assert json.loads((ROOT / "knowledge" / "schema" / f"{name}.json").read_text("utf-8")) == schema, name


def test_the_editor_is_told_where_the_schemas_are():
    settings = json.loads((ROOT / ".vscode" / "settings.json").read_text("utf-8"))
    assert settings["yaml.schemas"] == editor_settings()["yaml.schemas"]
    for schema, pattern in settings["yaml.schemas"].items():
        assert (ROOT / schema).is_file()
        assert list(ROOT.glob(pattern)), pattern
