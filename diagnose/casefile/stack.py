"""How the parts of a seal sat together: from the faces back, on the rotating and on the stationary side."""

from __future__ import annotations

from dataclasses import dataclass

from diagnose.casefile.model import Case, Part


@dataclass(frozen=True)
class Placed:
    """A part and how many others lie between it and the nearest face of its side, over what touches; None where nothing that
    it touches leads to a face."""

    part: Part
    steps: int | None


@dataclass(frozen=True)
class Stack:
    """One side of one seal position ("machine" for what the positions share), from the faces back."""

    position: str
    group: str
    parts: tuple[Placed, ...]


def stacks(case: Case) -> tuple[Stack, ...]:
    """Every part of a case in the drawn order, position by position, rotating before stationary before what has no side."""
    steps = _steps(case)
    result = []
    for position in dict.fromkeys((*case.positions, _seat(case, "machine"), "")):
        for group in ("rotating", "stationary", ""):
            here = [
                Placed(p, steps.get(p.item))
                for p in case.parts
                if (_seat(case, p.position), p.group) == (position, group)
            ]
            here.sort(key=lambda x: (x.steps is None, x.steps or 0, case.parts.index(x.part)))
            if here:
                result.append(Stack(position, group, tuple(here)))
    return tuple(result)


def _seat(case: Case, position: str) -> str:
    """What the seals of a pair share stands apart; a single seal has nothing to share with."""
    return case.positions[0] if len(case.positions) == 1 else position


def _steps(case: Case) -> dict[str, int]:
    """By item number, the shortest way to a face of the part's own side over parts that touch."""
    touching: dict[str, set[str]] = {p.item: set(p.touches) for p in case.parts}
    for p in case.parts:
        for other in p.touches:
            touching.setdefault(other, set()).add(p.item)
    group = {p.item: p.group for p in case.parts}
    found = {p.item: 0 for p in case.parts if p.carries}
    edge = sorted(found)
    while edge:
        fresh = [
            (o, found[i] + 1) for i in edge for o in sorted(touching[i]) if o not in found and group.get(o) == group[i]
        ]
        found |= dict(reversed(fresh))
        edge = sorted({o for o, _ in fresh})
    return found
