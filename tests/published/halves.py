"""Are the numbers behind the words good for cases that took no part in setting them?

    python -m tests.published.halves

The numbers are set on a random half of the published set and tried on the other, for six halvings, both ways. What is
set is the scale as a whole, by two figures: a power to which every frequency word of the first estimates up to one
half is raised, and a factor for how common causes are. The pair with the smallest calibration error on the half is
taken; of equal ones the one with the smaller log loss.
"""

from __future__ import annotations

import random
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from diagnose.cli.common import shipped
from diagnose.evaluation.score import Scored, cases_in, read_all, score, score_case
from diagnose.inference.run import RuleBase, load
from diagnose.judgement.network import build

HERE = Path(__file__).parent
HALVINGS = 6
FIRST_SEEN = {
    "always": 0.98,
    "almost always": 0.95,
    "usually": 0.80,
    "often": 0.50,
    "sometimes": 0.20,
    "rarely": 0.05,
    "very rarely": 0.015,
    "hardly ever": 0.004,
    "never": 0.001,
}
FIRST_COMMON = {"very often": 0.06, "often": 0.03, "sometimes": 0.015, "rarely": 0.006, "very rarely": 0.002}
POWERS = (1.0, 1.2, 1.4, 1.6, 1.8, 2.0, 2.2)
FACTORS = (0.7, 1.0, 1.5, 2.0, 3.0)


def with_scale(base: RuleBase, power: float, factor: float) -> RuleBase:
    words = replace(
        base.knowledge.words,
        seen={w: p**power if p <= 0.5 else p for w, p in FIRST_SEEN.items()},
        common={w: p * factor for w, p in FIRST_COMMON.items()},
    )
    knowledge = replace(base.knowledge, words=words)
    return RuleBase(knowledge, base.rules)


def judged(base: RuleBase) -> list[Scored]:
    cases, problems = read_all(cases_in(HERE), base)
    assert not problems
    net = build(base.knowledge)
    return [one for case in cases if (one := score_case(case, base, net))]


def main() -> None:
    base = load(shipped("knowledge"))
    tables = {(a, c): judged(with_scale(base, a, c)) for a in POWERS for c in FACTORS}
    first = tables[1.0, 1.0]
    print(f"first estimates: calibration error {score(first)['ece']:.3f}")
    errors, right = [], []
    for seed in range(HALVINGS):
        places = list(range(len(first)))
        random.Random(seed).shuffle(places)
        halves = places[::2], places[1::2]
        for own, other in (halves, halves[::-1]):
            scale = min(tables, key=lambda s: _how_far(tables[s], own))
            tried = score([tables[scale][i] for i in other])
            errors.append(tried["ece"])
            right.append(tried["top1"])
            print(
                f"halving {seed + 1}: power {scale[0]}, factor {scale[1]}: calibration error {tried['ece']:.3f}, "
                f"leading cause right {tried['top1']:.1%}"
            )
    print(
        f"calibration error {min(errors):.2f} to {max(errors):.2f}, mean {sum(errors) / len(errors):.2f}; "
        f"leading cause right {min(right):.0%} to {max(right):.0%}"
    )


def _how_far(scored: Sequence[Scored], places: Sequence[int]) -> tuple[float, float]:
    figures = score([scored[i] for i in places])
    return round(figures["ece"], 9), round(figures["log_loss"], 9)


if __name__ == "__main__":
    main()
