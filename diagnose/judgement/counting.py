"""Which findings count at a position: one record is counted once.

Of findings that are present the rarest come first, and one counts only if it rests on a record that none before it has
used: what is special counts, what it is a case of does not count again. Of absent ones the most general come first. A
finding that is absent by a record which makes another one present is left out where both speak of one mechanism or cause.
"""

from __future__ import annotations

import numpy as np

from diagnose.inference.run import Inference
from diagnose.judgement.network import Network


def counting(inference: Inference, net: Network, position: str) -> tuple[dict[str, bool], dict[str, str]]:
    """The findings that count, by name to present (True) or absent; and for each finding recorded, the one that counts
    in its place (itself where it counts). Findings of which no card speaks are left out."""
    deduced = inference.findings[position]
    spoken = np.any(net.marks.speaks(), axis=1) | np.any(net.signs.speaks(), axis=1)
    names = [f for f in sorted(deduced) if spoken[net.row[f]] or f in net.question_of]
    records = {f: inference.leaves_of_finding(f, position) for f in names}
    present = [f for f in names if deduced[f].state == "present"]
    absent = [f for f in names if deduced[f].state == "absent"]
    through: dict[str, str] = {}
    kept: list[str] = []
    for f in sorted(present, key=lambda f: (net.background[net.row[f]], -len(records[f]), f)):
        beside = [k for k in kept if not _apart(net, k, f)]
        used = frozenset[str]().union(*(records[k] for k in beside))
        if records[f] and records[f] <= used:
            through[f] = max(beside, key=lambda k: (len(records[k] & records[f]), k))
        else:
            through[f] = f
            kept.append(f)
    for f in sorted(absent, key=lambda f: (-net.background[net.row[f]], f)):
        over = next(
            (k for k in kept if records[f] and records[f] <= records[k] and not _apart(net, k, f)
             and (deduced[k].state == "absent" or _shared(net, k, f))), None,
        )  # fmt: skip
        through[f] = over or f
        if over is None:
            kept.append(f)
    return {f: deduced[f].state == "present" for f in sorted(kept)}, through


def _apart(net: Network, one: str, other: str) -> bool:
    """Whether one of the two answers a question, so that its records are counted there."""
    return (one in net.question_of) != (other in net.question_of)


def _shared(net: Network, one: str, other: str) -> bool:
    """Whether a mechanism or cause speaks of both findings."""
    i, j = net.row[one], net.row[other]
    return bool(np.any(net.marks.speaks()[i] & net.marks.speaks()[j]) or np.any(net.signs.speaks()[i] & net.signs.speaks()[j]))
