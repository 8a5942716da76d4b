"""What to look at next: the unrecorded findings that tell most about the leading causes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from diagnose.inference.run import Inference
from diagnose.judgement.judge import Judgement, allowed_at, priors_at
from diagnose.judgement.network import Network, posterior, shown_by_sets

MOST_CAUSES = 30


@dataclass(frozen=True)
class Step:
    """One finding to look for. `bits`: expected reduction of entropy over the cause sets; `chance`: that it is there."""

    finding: str
    position: str
    bits: float
    chance: float
    measurements: tuple[str, ...]


def entropy(p: np.ndarray) -> np.ndarray:
    """Entropy in bits along the last axis; zero terms count nothing (Shannon 1948)."""
    with np.errstate(divide="ignore", invalid="ignore"):
        return -np.sum(np.where(p > 0, p * np.log2(p), 0.0), axis=-1)


def next_steps(inference: Inference, judgement: Judgement, net: Network, most: int = 5) -> tuple[Step, ...]:
    """The unrecorded findings of the leading causes with the largest expected gain, best first."""
    knowledge, position = inference.base.knowledge, judgement.position
    prior, allowed = priors_at(inference, net, position), allowed_at(inference, net, position)
    share = posterior(net, judgement.counted, prior, allowed).share
    focus = sorted(sorted(allowed, key=lambda i: (-round(float(share[i]), 12), i))[:MOST_CAUSES])
    found = posterior(net, judgement.counted, prior, focus)
    sets, probability = found.sets, found.mass
    open_findings = [i for i, f in enumerate(net.findings) if f not in inference.findings[position]]
    if not open_findings:
        return ()
    index = np.array(open_findings)
    shown = shown_by_sets(
        net.background[index], net.keep[np.ix_(index, found.active)], net.hold[np.ix_(index, found.active)], sets
    )
    chance = shown @ probability
    # the gain is the mutual information of the finding and the set: H(f) - H(f | S)
    both = np.stack([chance, 1 - chance], -1)
    inside = np.stack([shown, 1 - shown], -1)
    bits = entropy(both) - entropy(inside) @ probability
    decided = {f: tuple(m.name for m in knowledge.measurements.values() if f in m.tells) for f in net.findings}
    ranked = sorted(range(len(index)), key=lambda k: (-round(float(bits[k]), 9), net.findings[index[k]]))
    return tuple(
        Step(net.findings[index[k]], position, float(bits[k]), float(chance[k]), decided[net.findings[index[k]]])
        for k in ranked[:most]
    )
