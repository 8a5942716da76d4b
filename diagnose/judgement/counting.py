"""Which findings count at a position: one record is counted once.

Of findings that are present the rarest come first, and one counts only if it rests on a record that none before it has
used: what is special counts, what it is a case of does not count again. Of absent ones the most general come first. A
finding that is absent by a record which makes another one present is left out where both speak of one mechanism or cause.
"""

from __future__ import annotations

from diagnose.inference.run import Inference
from diagnose.judgement.network import Network


def counting(inference: Inference, net: Network, position: str) -> tuple[dict[str, bool], dict[str, str]]:
    """The findings that count, by name to present (True) or absent; and for each finding recorded, the one that counts
    in its place (itself where it counts). Findings of which no card speaks are left out."""
    deduced = inference.findings[position]
    names = [f for f in sorted(deduced) if f in net.spoken_of]
    records = {f: inference.leaves_of_finding(f, position) for f in names}
    present = [f for f in names if deduced[f].state == "present"]
    absent = [f for f in names if deduced[f].state == "absent"]
    through: dict[str, str] = {}
    kept: list[str] = []
    used: dict[bool, set[str]] = {True: set(), False: set()}
    for f in sorted(present, key=lambda f: (net.background[net.row[f]], -len(records[f]), f)):
        asked = f in net.question_of
        if records[f] and records[f] <= used[asked]:
            beside = (k for k in kept if not _apart(net, k, f))
            through[f] = max(beside, key=lambda k: (len(records[k] & records[f]), k))
        else:
            through[f] = f
            kept.append(f)
            used[asked] |= records[f]
    holding: dict[str, list[str]] = {}
    for k in kept:
        _hold(holding, k, records[k])
    for f in sorted(absent, key=lambda f: (-net.background[net.row[f]], f)):
        over = next(
            (k for r in [*records[f]][:1] for k in holding.get(r, ()) if records[f] <= records[k] and not _apart(net, k, f)
             and (deduced[k].state == "absent" or k in net.beside(f))), None,
        )  # fmt: skip
        through[f] = over or f
        if over is None:
            kept.append(f)
            _hold(holding, f, records[f])
    return {f: deduced[f].state == "present" for f in sorted(kept)}, through


def _hold(holding: dict[str, list[str]], finding: str, records: frozenset[str]) -> None:
    """Enters a finding under each record that it rests on."""
    for r in records:
        holding.setdefault(r, []).append(finding)


def _apart(net: Network, one: str, other: str) -> bool:
    """Whether one of the two answers a question, so that its records are counted there."""
    return (one in net.question_of) != (other in net.question_of)
