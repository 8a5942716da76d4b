"""Drills played by script: the bench after a way, and the lines that a trainee types for it."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from diagnose.casefile.reader import read_case
from diagnose.inference.run import RuleBase
from diagnose.training.bench import LOOK, MEASURE, Act, Bench, start
from diagnose.training.drill import do
from diagnose.training.hidden import Hidden
from diagnose.training.ways import checklist, planned, worst


def hidden_of(path: Path, base: RuleBase) -> Hidden:
    return Hidden(read_case(path, base.knowledge), base)


def played(hidden: Hidden, acts: Sequence[Act]) -> Bench:
    bench = start(hidden)
    for act in acts:
        bench, _ = do(bench, act)
    return bench


def ways_of(hidden: Hidden) -> dict[str, list[Act]]:
    return {
        "plan": [d.act for d in planned(hidden)[0].done],
        "checklist": checklist(hidden),
        "worst": worst(hidden),
    }


def typed(act: Act) -> str:
    """An act as somebody would type it."""
    on = ", ".join([*act.items, *act.kinds])
    if act.verb == MEASURE:
        return f"measure {act.card or act.reading}"
    if act.verb == LOOK:
        return f"look for {' and '.join(act.features)} on {on}" if act.features else f"look at {on}"
    return f"{act.verb} {on}".strip()
