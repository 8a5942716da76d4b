from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import pytest

from diagnose.casefile.reader import parse_case
from diagnose.inference.run import Inference, RuleBase, infer, load
from diagnose.judgement.judge import Judgement, judge
from diagnose.judgement.network import Network, build
from diagnose.reading.problems import Problems

ROOT = Path(__file__).resolve().parents[2]
SCENARIOS = sorted((ROOT / "scenarios").glob("*.yaml"))


@dataclass(frozen=True)
class Judged:
    """A case with everything the plan is made from."""

    base: RuleBase
    net: Network
    inference: Inference
    judgements: tuple[Judgement, ...]


def judged_text(text: str, base: RuleBase) -> Judged:
    problems = Problems()
    case = parse_case(text.encode(), "case.yaml", base.knowledge, problems)
    assert case is not None and not problems.errors(), [str(p) for p in problems.found]
    net = build(base.knowledge)
    inference = infer(case, base)
    return Judged(base, net, inference, judge(inference, net))


@pytest.fixture(scope="session")
def small_base():
    return load(ROOT / "tests" / "small" / "knowledge")


@pytest.fixture(scope="session")
def judged(whole_base):
    """A case of the rule base that ships, from its YAML text or a scenario's name; kept for the session."""
    kept: dict[str, Judged] = {}

    def make(text: str) -> Judged:
        if text not in kept:
            path = ROOT / "scenarios" / f"{text}.yaml"
            kept[text] = judged_text(path.read_text("utf-8") if "\n" not in text else text, whole_base)
        return kept[text]

    return make
