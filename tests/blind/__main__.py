"""Prints what is right at each stage of a blind case: text read by a person, record read by a person, record judged by
the tool. `python -m tests.blind [open|opened|third|closed] [--misses]`: the open set unless another is named; to name the closed one is a
look that counts, and its misses are never printed."""

from __future__ import annotations

import sys
from pathlib import Path

from diagnose.evaluation.score import Level, level_figures
from diagnose.inference.run import load
from tests.blind.ladder import KINDS, LEVELS, STAGES, SURELY, ladder

HERE = Path(__file__).parent
ROOT = HERE.parents[1]


def main() -> None:
    named = [a for a in sys.argv[1:] if not a.startswith("-")] or ["open"]
    base = load(ROOT / "knowledge")
    for name in named:
        rows = ladder(HERE / name, base)
        print(f"{name}: {len(rows)} cases")
        for level in LEVELS:
            print(f"  {level}")
            for kind in (*KINDS, ""):
                for stage in STAGES:
                    told = [
                        (99, r.told[stage, level]) for r in rows if kind in ("", r.kind) and (stage, level) in r.told
                    ]
                    if told:
                        print(_line(kind or "all", stage, level_figures(told)))
            print(
                _two_recorders(
                    [(r.told["tool", level], r.again["tool", level]) for r in rows if ("tool", level) in r.again]
                )
            )
        there = [x for r in rows for x in r.held]
        if there:
            print(
                f"  every mechanism held above {SURELY:.0%}: {len(there)}, of which {sum(there) / len(there):.0%} were there"
            )
        if "closed" not in name and "--misses" in sys.argv:
            for r in rows:
                print(r.miss())


def _two_recorders(both: list[tuple[Level, Level]]) -> str:
    """How often the tool is right on the records that two people made of one text, and how often it says the same of them."""
    if not both:
        return "    no second records"
    first, second = (sum(x[i].leads for x in both) / len(both) for i in (0, 1))
    same = sum(a.leading == b.leading for a, b in both) / len(both)
    return f"    two recorders   n {len(both):>3}  tool right on the first's {first:.1%}, on the second's {second:.1%}; same answer {same:.1%}"


def _line(kind: str, stage: str, of: dict) -> str:
    low, high = of["leads_interval"]
    claims = f"{of['claims']['n']} claims, {of['claims']['right']:.0%} right" if of["claims"]["n"] else "no claims"
    return (
        f"    {kind:<9} {stage:<15} n {of['n']:>3}  leads {of['leads']:6.1%} ({low:.0%} to {high:.0%})  among three "
        f"{of['among_three']:6.1%}  established wrong {of['established_wrong']}  log loss {of['log_loss']:.2f}  slope "
        f"{of['slope']:.2f}  observed/expected {of['observed_to_expected']:.2f}  {claims}"
    )


main()
