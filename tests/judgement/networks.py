"""Small networks drawn at random or by hand, and sums over all their states for comparison."""

from __future__ import annotations

import itertools
import math
import random

import numpy as np

from diagnose.judgement.network import Layer, Network
from diagnose.judgement.posterior import Evidence


def layer(children: int, parents: int) -> Layer:
    return Layer(np.ones((children, parents)), np.ones((children, parents)))


def network(causes=2, mechanisms=2, findings=3, prior=0.1, leak=0.02, background=0.05, missed=0.1, mistaken=0.05,
            answers=None, later=None) -> Network:  # fmt: skip
    """A network without links; tests set those they need."""
    named = (
        tuple(f"{letter}{i}" for i in range(n)) for letter, n in zip("cmf", (causes, mechanisms, findings), strict=True)
    )
    return Network(
        *named, np.full(causes, prior), np.full(mechanisms, leak), np.full(findings, background),
        np.full(findings, missed), np.full(findings, mistaken), layer(mechanisms, causes), layer(mechanisms, mechanisms),
        layer(findings, causes), layer(findings, mechanisms), answers or {}, later or {},
    )  # fmt: skip


def drawn(seed: int, causes=4, mechanisms=4, findings=5, density=0.5) -> tuple[Network, dict[str, bool]]:
    """A network with links at random, and findings recorded at random."""
    rng = random.Random(seed)
    net = network(causes, mechanisms, findings)
    net.prior[:] = [rng.uniform(0.02, 0.3) for _ in range(causes)]
    net.leak[:] = [rng.uniform(0.005, 0.1) for _ in range(mechanisms)]
    net.background[:] = [rng.uniform(0.01, 0.3) for _ in range(findings)]
    net.missed[:] = [rng.uniform(0.01, 0.3) for _ in range(findings)]
    net.mistaken[:] = [rng.uniform(0.005, 0.1) for _ in range(findings)]
    for part, suppresses in ((net.to_mechanism, False), (net.signs, True), (net.marks, True)):
        for place in np.ndindex(part.inhibition.shape):
            if rng.random() < density:
                if suppresses and rng.random() < 0.3:
                    part.suppression[place] = rng.uniform(0.05, 0.9)
                else:
                    part.inhibition[place] = rng.uniform(0.05, 0.9)
    for child, parent in itertools.product(range(mechanisms), repeat=2):
        if parent < child and rng.random() < density:
            net.between.inhibition[child, parent] = rng.uniform(0.05, 0.9)
    states = {f: rng.random() < 0.5 for f in net.findings if rng.random() < 0.8}
    return net, states


def evidence(net: Network, states: dict[str, bool], off=()) -> Evidence:
    return Evidence(states, net.prior, tuple(range(len(net.causes))), frozenset(off))


def by_hand(net: Network, states: dict[str, bool], most: int = 3):
    """P(evidence and set), and P(mechanism | evidence), by adding up every state of everything, one factor at a time."""
    sets = [s for k in range(most + 1) for s in itertools.combinations(range(len(net.causes)), k)]
    leak, background, missed, mistaken = (x.tolist() for x in (net.leak, net.background, net.missed, net.mistaken))
    to_mechanism, between = net.to_mechanism.inhibition.tolist(), net.between.inhibition.tolist()
    signs, marks = ((x.inhibition.tolist(), x.suppression.tolist()) for x in (net.signs, net.marks))
    joint, chance = {}, np.zeros(len(leak))
    for members in sets:
        odds = float(np.prod([net.prior[c] / (1 - net.prior[c]) for c in members]))
        total = 0.0
        for on in itertools.product((0, 1), repeat=len(leak)):
            active = [m for m, there in enumerate(on) if there]
            p = 1.0
            for m, there in enumerate(on):
                rest = (1 - leak[m]) * math.prod(to_mechanism[m][c] for c in members)
                rest *= math.prod(between[m][other] for other in active)
                p *= 1 - rest if there else rest
            for f, recorded in states.items():
                i = net.row[f]
                rest = (1 - background[i]) * math.prod(signs[0][i][c] for c in members)
                rest *= math.prod(marks[0][i][m] for m in active)
                held = math.prod(signs[1][i][c] for c in members) * math.prod(marks[1][i][m] for m in active)
                read = mistaken[i] + (1 - missed[i] - mistaken[i]) * (1 - rest) * held
                p *= read if recorded else 1 - read
            total += p
            chance += odds * p * np.array(on)
        joint[members] = odds * total
    whole = sum(joint.values())
    return {s: p / whole for s, p in joint.items()}, chance / whole
