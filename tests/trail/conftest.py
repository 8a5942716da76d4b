from __future__ import annotations

import json
import re
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources
from pathlib import Path

import jsonschema
import networkx as nx
import pytest

from diagnose.casefile.reader import parse_case
from diagnose.inference.run import Inference, RuleBase, infer, load
from diagnose.judgement.judge import judge
from diagnose.judgement.network import Network
from diagnose.judgement.network import build as build_network
from diagnose.reading.problems import Problems
from diagnose.trail.graph import build

ROOT = Path(__file__).resolve().parents[2]
SMALL = ROOT / "tests" / "small"
SCENARIOS = sorted((ROOT / "scenarios").glob("*.yaml"))
PUBLISHED = sorted(
    p for p in (ROOT / "tests" / "published").rglob("*.yaml") if re.search("^case:", p.read_text("utf-8"), re.M)
)


@dataclass(frozen=True)
class Asked:
    """A case with everything reasoned about it."""

    base: RuleBase
    net: Network
    inference: Inference
    graph: nx.DiGraph


def asked(data: bytes, base: RuleBase, net: Network) -> Asked:
    problems = Problems()
    case = parse_case(data, "case.yaml", base.knowledge, problems)
    assert case is not None and not problems.errors(), [str(p) for p in problems.found]
    inference = infer(case, base)
    return Asked(base, net, inference, build(inference, judge(inference, net)))


@lru_cache(maxsize=2)
def small_base() -> tuple[RuleBase, Network]:
    base = load(SMALL / "knowledge")
    return base, build_network(base.knowledge)


@pytest.fixture(scope="session")
def small() -> Asked:
    return asked((SMALL / "case.yaml").read_bytes(), *small_base())


@pytest.fixture(scope="session")
def library(whole_base, whole_network):
    """Cases of the library with everything reasoned about them, each done once."""
    done: dict[Path, Asked] = {}

    def get(path: Path) -> Asked:
        if path not in done:
            done[path] = asked(path.read_bytes(), whole_base, whole_network)
        return done[path]

    return get


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
