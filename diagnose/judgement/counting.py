"""Which findings count at a position: one record is counted once.

Of findings that are present and rest on no other records than another one does, the most special counts, that which is
rarest whatever the cause; of absent ones the most general. A finding that is absent by a record which makes another one
present is left out where both speak of one mechanism or cause.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from diagnose.inference.run import Inference
from diagnose.judgement.network import Network


def counting(inference: Inference, net: Network, position: str) -> tuple[dict[str, bool], dict[str, str]]:
    """The findings that count, by name to present (True) or absent; and for each finding recorded, the one that counts
    in its place (itself where it counts). Findings of which no card speaks are left out."""
    deduced = inference.findings[position]
    spoken = net.marks.speaks().any(axis=1) | net.signs.speaks().any(axis=1)
    names = [f for f in sorted(deduced) if spoken[net.row[f]] or f in net.question_of]
    records = {f: inference.leaves_of_finding(f, position) for f in names}
    present = [f for f in names if deduced[f].state == "present"]
    absent = [f for f in names if deduced[f].state == "absent"]
    through: dict[str, str] = {}
    kept: list[str] = []
    for f in sorted(present, key=lambda f: (-len(records[f]), net.background[net.row[f]], f)):
        over = next((k for k in kept if _covers(records[k], records[f]) and not _apart(net, k, f)), None)
        if over is not None and records[over] == records[f] and _rarer(net, f, over):
            kept[kept.index(over)] = f
            through[over], over = f, None
        through[f] = over or f
        if over is None and f not in kept:
            kept.append(f)
    for f in sorted(absent, key=lambda f: (-net.background[net.row[f]], f)):
        over = next(
            (k for k in kept if _covers(records[k], records[f]) and (deduced[k].state == "absent" or _shared(net, k, f))
             and not _apart(net, k, f)), None,
        )  # fmt: skip
        through[f] = over or f
        if over is None:
            kept.append(f)
    settled = {f: _last(through, f) for f in names}
    return {f: deduced[f].state == "present" for f in sorted(kept)}, settled


def _covers(wider: frozenset[str], records: frozenset[str]) -> bool:
    return bool(records) and records <= wider


def _rarer(net: Network, one: str, other: str) -> bool:
    return bool(net.background[net.row[one]] < net.background[net.row[other]])


def _apart(net: Network, one: str, other: str) -> bool:
    """Whether one of the two answers a question, so that its records are counted there."""
    return (one in net.question_of) != (other in net.question_of)


def _shared(net: Network, one: str, other: str) -> bool:
    """Whether a mechanism or cause speaks of both findings."""
    i, j = net.row[one], net.row[other]
    return bool(np.any(net.marks.speaks()[i] & net.marks.speaks()[j]) or np.any(net.signs.speaks()[i] & net.signs.speaks()[j]))


def _last(through: Mapping[str, str], finding: str) -> str:
    seen = {finding}
    while through[finding] not in seen:
        finding = through[finding]
        seen.add(finding)
    return finding
