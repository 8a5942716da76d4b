"""The examples of the developers' page are true: its cards and files fit their schemas, its rule
tests are read."""

from __future__ import annotations

import re

import jsonschema
import pytest
import yaml
from referencing import Registry, Resource

from diagnose.authoring.rule_test_reader import parse_tests
from diagnose.authoring.schemas import schemas
from diagnose.reading.problems import Problems
from tests.support.places import ROOT

PAGE = (ROOT / "DEVELOPERS.md").read_text("utf-8")
EXAMPLES = re.findall(r"(?ms)^```yaml\n(.*?)^```$", PAGE)
FIRST = {
    "steps": "arrangement",
    "cannot tell": "looks",
    "phrases": "terms",
    "met in": "lexicon",
    "in view": "teardown",
    "at odds": "at-odds",
}
"""The schemas of files that do not begin with their own name."""


def kind_of(example: dict) -> str:
    return next((FIRST[key] for key in example if key in FIRST), next(iter(example)))


def loaded(text: str):
    """As an editor with YAML 1.2 reads it, where `on` is a word; numbers stay text."""
    return yaml.load(text, Loader=yaml.BaseLoader)


FILES = [e for e in EXAMPLES if not e.startswith("- ")]


@pytest.fixture(scope="module")
def made(whole_base) -> tuple[dict, Registry]:
    every = schemas(whole_base.knowledge)
    return every, Registry().with_resource("terms.json", Resource.from_contents(every["terms"]))


def test_the_page_has_an_example_of_every_kind_of_card():
    kinds = {kind_of(loaded(e)) for e in FILES}
    assert kinds >= {"finding", "cause", "measurement", "limit", "arrangement", "looks", "teardown", "hazards", "case", "parts", "features",
                     "settings", "readings"}  # fmt: skip


@pytest.mark.parametrize("text", FILES, ids=lambda e: e.split("\n")[0][:40])
def test_each_file_fits_the_schema_of_its_kind(text, made):
    every, registry = made
    example = loaded(text)
    kind = kind_of(example)
    several = [{key: example[key]} for key in example] if kind in ("readings", "quantities") else [example]
    for one in several:
        schema = every[kind_of(one)]
        errors = jsonschema.Draft7Validator(schema, registry=registry).iter_errors(one)
        assert [f"{'/'.join(map(str, e.path))}: {e.message[:200]}" for e in errors] == []


def test_the_rule_tests_are_read_without_a_mistake(whole_base):
    texts = [e for e in EXAMPLES if e.startswith("- test:")]
    assert texts
    for text in texts:
        problems = Problems()
        parse_tests(text.encode(), "f.test.yaml", "finding", "face ran hot all round", whole_base.knowledge, problems)
        assert [str(p) for p in problems.errors()] == []
