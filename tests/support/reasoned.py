"""A case with everything reasoned about it, and answers held against their schemas."""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import cached_property, lru_cache
from importlib import resources

import jsonschema
import networkx as nx

from diagnose.casefile.reader import parse_case
from diagnose.inference.run import Inference, RuleBase, infer, load
from diagnose.judgement.judge import Judgement, judge
from diagnose.judgement.network import Network
from diagnose.judgement.network import build as build_network
from diagnose.reading.problems import Problems
from diagnose.trail.graph import build
from tests.support.places import SMALL


@dataclass(frozen=True)
class Reasoned:
    base: RuleBase
    net: Network
    inference: Inference
    judgements: tuple[Judgement, ...]

    @cached_property
    def graph(self) -> nx.DiGraph:
        return build(self.inference, self.judgements)


def reasoned(case: bytes | str, base: RuleBase, net: Network | None = None) -> Reasoned:
    """A case from its YAML, which must be without a mistake."""
    problems = Problems()
    data = case.encode() if isinstance(case, str) else case
    read = parse_case(data, "case.yaml", base.knowledge, problems)
    assert read is not None and not problems.errors(), [str(p) for p in problems.found]
    net = net or build_network(base.knowledge)
    inference = infer(read, base)
    return Reasoned(base, net, inference, judge(inference, net))


@lru_cache(maxsize=1)
def small_base() -> tuple[RuleBase, Network]:
    base = load(SMALL / "knowledge")
    return base, build_network(base.knowledge)


def schema(name: str) -> dict:
    return json.loads(resources.files("diagnose.trail").joinpath(name).read_text("utf-8"))


@lru_cache(maxsize=4)
def _validator(name: str, part: str) -> jsonschema.Draft202012Validator:
    whole = schema(name)
    jsonschema.Draft202012Validator.check_schema(whole)
    chosen = {"$ref": f"#/$defs/{part}", "$defs": whole["$defs"]} if part else whole
    return jsonschema.Draft202012Validator(chosen)


def valid(answer: object, name: str = "answers.schema.json", part: str = "") -> None:
    """The answer, as it would be printed, fits the schema."""
    errors = list(_validator(name, part).iter_errors(json.loads(json.dumps(answer))))
    assert not errors, [f"{list(e.absolute_path)}: {e.message}" for e in errors][:5]
