"""How much work the plan saves: seals drawn from the network, taken apart by plan, by checklist and at random.

    python tests/benchmarks/simulate_plan.py --draws 2000 --stage "before washing" --workers 2 --keep runs.jsonl

With --keep every seal is written down as it is done, and a run that was cut short goes on from there.
Minutes for the same share of right conclusions: the time within which that share of all drawn seals had a true cause
established, by each order.
"""

from __future__ import annotations

import argparse
import json
import os
import sys
import time
from collections.abc import Sequence
from dataclasses import astuple
from multiprocessing import Pool
from pathlib import Path

os.environ.setdefault("OMP_NUM_THREADS", "1")
ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

from tests.advice.simulation import ORDERS, Bench, Run  # noqa: E402

_bench: Bench


def ready(stage: str) -> None:
    from diagnose.inference.run import load
    from diagnose.judgement.network import build

    global _bench
    knowledge = load(ROOT / "knowledge").knowledge
    _bench = Bench(knowledge, build(knowledge), stage)


def one(seed: int) -> tuple[int, list[Run]]:
    seal = _bench.seal(seed)
    return seed, [_bench.run(seal, order) for order in ORDERS]


def every(draws: int, stage: str, workers: int, keep: Path | None) -> list[list[Run]]:
    """The runs of every seal in the order of ORDERS, those already kept among them."""
    done: dict[int, list[Run]] = {}
    if keep and keep.exists():
        rows = (json.loads(line) for line in keep.read_text("utf-8").splitlines())
        done = {row["seed"]: [Run(*r) for r in row["runs"]] for row in rows if row["stage"] == stage}
    left = [seed for seed in range(draws) if seed not in done]
    with Pool(workers, ready, (stage,)) as pool:
        for seed, runs in pool.imap_unordered(one, left):
            done[seed] = runs
            if keep:
                with keep.open("a", encoding="utf-8") as out:
                    out.write(json.dumps({"stage": stage, "seed": seed, "runs": [astuple(r) for r in runs]}) + "\n")
    return [done[seed] for seed in range(draws)]


def minutes_for(runs: Sequence[Run], share: float) -> float:
    """Minutes within which that share of all the runs had come to a right conclusion; inf where it never is."""
    right = sorted(r.minutes for r in runs if r.right)
    wanted = round(share * len(runs))
    return right[wanted - 1] if 0 < wanted <= len(right) else float("inf")


def mean(values: Sequence[float]) -> float:
    return sum(values) / len(values) if values else 0.0


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("--draws", type=int, default=2000)
    asked.add_argument("--stage", default="before washing")
    asked.add_argument("--workers", type=int, default=2)
    asked.add_argument("--keep", type=Path)
    args = asked.parse_args()
    began = time.monotonic()
    drawn = every(args.draws, args.stage, args.workers, args.keep)
    by_order = {order: [runs[i] for runs in drawn] for i, order in enumerate(ORDERS)}
    print(f"{args.draws} seals from the stage {args.stage!r}, {time.monotonic() - began:.0f} s")
    print(f"{'order':<10} {'right':>7} {'wrong':>7} {'works':>7} {'minutes':>8} {'minutes where right':>20}")
    for order, runs in by_order.items():
        print(
            f"{order:<10} {mean([r.right for r in runs]):>7.1%} {mean([r.wrong for r in runs]):>7.1%} "
            f"{mean([r.works for r in runs]):>7.1f} {mean([r.minutes for r in runs]):>8.1f} "
            f"{mean([r.minutes for r in runs if r.right]):>20.1f}"
        )
    least = min(mean([r.right for r in runs]) for runs in by_order.values())
    print("minutes within which a share of all seals is rightly concluded, and the plan's part of the checklist's")
    for share in (0.25, 0.5, 0.75, 0.9, least):
        told = {order: minutes_for(runs, share) for order, runs in by_order.items()}
        part = f"{told['plan'] / told['checklist']:.0%}" if told["plan"] < float("inf") else "-"
        print(f"{share:>6.1%}  " + "  ".join(f"{order} {m:.0f}" for order, m in told.items()) + f"  {part}")


if __name__ == "__main__":
    main()
