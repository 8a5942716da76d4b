"""A case with everything reasoned about it, and answers held against their schemas."""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import cached_property, lru_cache
from importlib import resources

import jsonschema
import networkx as nx

from diagnose.casefile.reader import parse_case
from diagnose.inference.run import Inference, RuleBase, load
from diagnose.judgement.diagnosis import Diagnosis
from diagnose.judgement.judge import Judgement
from diagnose.judgement.network import Network
from diagnose.reading.problems import Problems
from diagnose.trail.graph import Reasoning
from tests.support.places import SMALL


@dataclass(frozen=True, eq=False)
class Reasoned:
    diagnosis: Diagnosis

    @property
    def base(self) -> RuleBase:
        return self.diagnosis.base

    @property
    def net(self) -> Network:
        return self.diagnosis.net

    @property
    def inference(self) -> Inference:
        return self.diagnosis.inference

    @property
    def judgements(self) -> tuple[Judgement, ...]:
        return self.diagnosis.judgements

    @cached_property
    def asked(self) -> Reasoning:
        return Reasoning(self.diagnosis)

    @property
    def graph(self) -> nx.DiGraph:
        return self.asked.graph


def reasoned(case: bytes | str, base: RuleBase) -> Reasoned:
    """A case from its YAML, which must be without a mistake."""
    problems = Problems()
    data = case.encode() if isinstance(case, str) else case
    read = parse_case(data, "case.yaml", base.knowledge, problems)
    assert read is not None and not problems.errors(), [str(p) for p in problems.found]
    return Reasoned(Diagnosis(read, base))


@lru_cache(maxsize=1)
def small_base() -> RuleBase:
    return load(SMALL / "knowledge")


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


ONE_VERDICT = """case: Pair
service: {chamber pressure: 5 bar g, barrier pressure: 3 bar g, fluid: resin}
seal: {arrangement: dual pressurised, plan: plan 53b}
parts:
  - {item: 1, kind: soft face, position: inboard}
  - {item: 2, kind: soft face, position: outboard}
observations:
  - {on: accumulator, saw: accumulator flat}
  - {on: barrier system, saw: barrier pressure low}
  - {on: barrier fluid, saw: product in the barrier}
  - {part: 1, absent: [edge chips]}
  - {part: 2, absent: [edge chips]}
"""
"""A pair of seals of which the barrier tells all."""
