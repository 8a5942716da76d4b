"""The sets of causes that the judgement spells out against all sets of at most three, on every scenario:
python -m tests.judgement.every_set [CELLS]

Scenarios whose tables have more cells than that are told and left out. The chances of mechanisms over all sets are those over
20,000 sets drawn from them, which is right to within about a third of a point.
"""

from __future__ import annotations

import sys

import numpy as np

from diagnose.casefile.reader import read_case
from diagnose.inference.run import infer, load
from diagnose.judgement.judge import evidence_at
from diagnose.judgement.network import build
from diagnose.judgement.posterior import Posterior, narrowed, posterior_of
from tests.support.places import KNOWLEDGE, SCENARIOS


def over_drawn_sets(found: Posterior, draws: int = 20000) -> np.ndarray:
    """P(mechanism | evidence) over sets drawn by their probability, shape (mechanisms,)."""
    chosen = np.random.default_rng(1).choice(len(found.exactly), draws, p=found.exactly / found.exactly.sum())
    places, often = np.unique(chosen, return_counts=True)
    chances = found.net.forward(found.members[places], found.sums.mechanisms(found.members[places]))
    chances[sorted(found.evidence.off)] = 0.0
    return np.asarray(chances @ (often / draws))


def main(cells: int) -> None:
    base = load(KNOWLEDGE)
    net = build(base.knowledge)
    for path in SCENARIOS:
        case = read_case(path, base.knowledge)
        inference = infer(case, base)
        for position in case.positions:
            sums = narrowed(net, evidence_at(inference, net, position)[0])
            name = f"{path.stem} {position}, {sums.widest} cells"
            if sums.widest > cells:
                print(f"{name}: left out", flush=True)
                continue
            few, every = posterior_of(sums), posterior_of(sums, every_set=True)
            causes = float(np.abs(few.share - every.share).max())
            apart = np.abs(few.mechanisms - over_drawn_sets(every))
            print(
                f"{name}: {len(few.members)} of {len(every.members)} sets, differ by at most {causes:.2e} in a cause and "
                f"{apart.max():.2e} in a mechanism, {apart.mean():.2e} at the mean; reckoned {few.reckoned:.2e}",
                flush=True,
            )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1024)
