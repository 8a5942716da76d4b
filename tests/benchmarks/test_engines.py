"""What is measured side by side concludes the same."""

from __future__ import annotations

import pytest

from tests.benchmarks.engines import ENGINES, facts, rules


@pytest.mark.parametrize("seed", range(3))
def test_all_engines_conclude_the_same(seed):
    wanted = rules(100, seed)
    made = {name: build(wanted) for name, build in ENGINES.items()}
    for n in (10, 20):
        case = facts(n, wanted, seed)
        answers = {name: run(case) for name, run in made.items()}
        assert len(set(answers.values())) == 1 and answers["ours"], answers
