"""An invented site of known truth: seals on machines that fail of whichever root cause strikes first, with findings drawn from
the network of a rule base, recorded by people whose practice drifts over the years. A part of it is planted: a bad batch, a
word that is wrong, a change that helps, and others that do nothing.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Any

import numpy as np

from diagnose.judgement.network import Layer, Network
from diagnose.library.seals import Confirmed, Seal, Verdict

BAD, HARMLESS = "B07", "B11"
"""Batches: rings of the one live less than half as long, those of the other are like all."""
CAUSES, MACHINES, BATCHES = 12, 250, 20
FIRST, LAST = date(2019, 1, 1), date(2026, 1, 1)
CHANGE = date(2023, 1, 1)
"""The day from which seals are fitted with a vent line on half of the machines: they live 1.8 times as long there."""


@dataclass(frozen=True)
class Truth:
    """What the site really is. `lives`: shape and scale (h) of each root cause; `net`: the network with the planted word."""

    net: Network
    causes: tuple[str, ...]
    lives: dict[str, tuple[float, float]]


def truth(net: Network, seed: int, mechanism: str = "", finding: str = "", chance: float = 0.0) -> Truth:
    """A site whose rule base is the given one, but for one row."""
    rng = np.random.default_rng(seed)
    if mechanism:
        f, m = net.row[finding], net.mechanism[mechanism]
        b = net.background[f]
        keep, hold = net.marks.inhibition.copy(), net.marks.suppression.copy()
        keep[f, m], hold[f, m] = ((1 - chance) / (1 - b), 1.0) if chance >= b else (1.0, chance / b)
        net = replace(net, marks=Layer(keep, hold))
    common = sorted(np.argsort(-net.prior, kind="stable")[: 2 * CAUSES].tolist())
    causes = tuple(net.causes[i] for i in sorted(rng.choice(common, CAUSES, replace=False).tolist()))
    lives = {c: (float(rng.uniform(0.7, 2.5)), float(rng.uniform(15_000, 60_000))) for c in causes}
    return Truth(net, causes, lives)


def site(t: Truth, seals: int, seed: int) -> list[Seal]:
    """Seals machine by machine until there are enough of them; each machine's next seal is fitted the day the last came out."""
    rng = np.random.default_rng(seed)
    made: list[tuple[Seal, str]] = []
    machine = 0
    while len(made) < seals:
        tag, day = f"P-{machine % MACHINES:03}-{machine // MACHINES}", FIRST
        service = str(rng.choice(["hot water", "hydrocarbon", "solvent"]))
        while day < LAST and len(made) < seals:
            seal, cause, day = _seal(t, rng, tag, machine % 2 == 0, service, day)
            made.append((seal, cause))
        machine += 1
    return _looked_at(t, rng, made)


def _seal(
    t: Truth, rng: np.random.Generator, tag: str, vented: bool, service: str, fitted: date
) -> tuple[Seal, str, date]:
    batch = f"B{rng.integers(BATCHES):02}"
    longer = (0.4 if batch == BAD else 1.0) * (1.8 if vented and fitted >= CHANGE else 1.0)
    strikes = {c: longer * scale * float(rng.weibull(shape)) for c, (shape, scale) in t.lives.items()}
    cause = min(strikes, key=lambda c: strikes[c])
    pulled, left = float(rng.exponential(60_000)), (LAST - fitted).days * 24.0
    hours = max(min(strikes[cause], pulled, left), 1.0)
    removal = "failed" if hours == strikes[cause] else "sound" if hours == pulled else "still running"
    out = fitted + timedelta(hours=hours)
    settings = (("elastomer", str(rng.choice(["EPDM", "FKM", "NBR"]))), ("service", service))
    seal = Seal(
        "An invented seal", "seal", tag, batch, fitted.isoformat(), "" if removal == "still running" else out.isoformat(),
        removal, hours, float(rng.integers(1, 20) * 500), float(rng.integers(0, 30)), 0.05, settings, (), (), (),
    )  # fmt: skip
    return seal, cause, out + timedelta(days=1)


def _looked_at(t: Truth, rng: np.random.Generator, made: list[tuple[Seal, str]]) -> list[Seal]:
    """The failed seals taken apart: fewer findings are looked for every year; of six in ten it is confirmed what it was."""
    net = t.net
    members = np.zeros((len(made), len(net.causes)), bool)
    members[range(len(made)), [net.column[cause] for _, cause in made]] = True
    there = np.stack([mechanisms(net, rng, cause) for _, cause in made], axis=1)
    shown = rng.random((len(net.findings), len(made))) < net.expected(there.astype(float), members)
    luck = rng.random(shown.shape)
    read = np.where(shown, luck >= net.missed[:, None], luck < net.mistaken[:, None])
    practice = np.array([0.5 - 0.05 * (int(seal.removed[:4] or 0) - FIRST.year) for seal, _ in made])
    looked = rng.random(shown.shape) < practice
    looked[[net.row[f] for f in net.question_of if f in net.row]] = False
    return [
        replace(seal, **_told(t, rng, seal, cause, there[:, i], looked[:, i], read[:, i])) if seal.removal == "failed" else seal
        for i, (seal, cause) in enumerate(made)
    ]  # fmt: skip


def _told(
    t: Truth, rng: np.random.Generator, seal: Seal, cause: str, there: np.ndarray, looked: np.ndarray, read: np.ndarray
) -> dict[str, Any]:
    closed = rng.random() < 0.6
    # where nobody confirms the cause the tool is right: its mistakes there would tell against the library's sums
    right = not closed or rng.random() < 0.7
    said = cause if right else t.causes[int(rng.integers(len(t.causes)))]
    named = tuple(t.net.mechanisms[i] for i in np.flatnonzero(there) if rng.random() < 0.7)
    outcome = Confirmed((cause,), named, False, str(rng.choice(["A", "B"])), "strip-down", seal.removed, ())
    return {
        "findings": tuple((t.net.findings[i], bool(read[i])) for i in np.flatnonzero(looked)),
        "verdicts": (Verdict("cause", said, "probable", 0.7),), "outcomes": (outcome,) if closed else (),
    }  # fmt: skip


def mechanisms(net: Network, rng: np.random.Generator, cause: str) -> np.ndarray:
    """Which mechanisms a root cause brought about, drawn from the network in its own order; shape (mechanisms,)."""
    at = net.column[cause]
    there = np.zeros(len(net.mechanisms), bool)
    for i, parents in enumerate(net.above):
        rest = (1 - net.leak[i]) * net.to_mechanism.inhibition[i, at]
        for p in parents:
            rest *= net.between.inhibition[i, p] if there[p] else 1.0
        there[i] = rng.random() < 1 - rest
    return there
