"""Times that depend on the machine: python -m tests.benchmarks.times

What the plan adds to a whole `explain` of the largest scenario, start-up with it, and what a few readings take.
"""

from __future__ import annotations

import os
import subprocess
import sys
import time
from pathlib import Path

from diagnose.casefile.reader import parse_case
from diagnose.inference.run import load
from diagnose.quantities.compute import compute
from diagnose.reading.problems import Problems
from tests.support.places import KNOWLEDGE, ROOT, SCENARIOS

TIMED = """
import sys, time
from diagnose.cli import answers
if sys.argv[1] == "without":
    import diagnose.advice.plan as module
    module.plan = lambda *words, **more: None
answers.explain(sys.argv[2])
print(time.process_time(), file=sys.stderr)
"""
READINGS = b"""case: c
service: {temperature: 80 \xc2\xb0C, chamber pressure: 3 bar a, fluid: water}
measurements: [{on: shaft, measured: axial float, reading: 0.2 mm}]
"""


def explain(which: str, path: Path) -> float:
    """Processor time in seconds of a whole `explain`."""
    done = subprocess.run(
        [sys.executable, "-c", TIMED, which, str(path)],
        capture_output=True,
        text=True,
        check=True,
        cwd=ROOT,
        env={**os.environ, "OMP_NUM_THREADS": "1"},
    )
    return float(done.stderr.split()[-1])


def few_readings() -> float:
    """Seconds for the quantities of a case with few readings, the least of twenty."""
    knowledge = load(KNOWLEDGE).knowledge
    case = parse_case(READINGS, "case.yaml", knowledge, Problems())
    assert case is not None
    best = float("inf")
    for _ in range(20):
        start = time.perf_counter()
        compute(case, knowledge)
        best = min(best, time.perf_counter() - start)
    return best


def main() -> None:
    largest = max(SCENARIOS, key=lambda p: p.stat().st_size)
    explain("with", largest)
    took = {which: min(explain(which, largest) for _ in range(3)) for which in ("with", "without")}
    print(f"explain {largest.stem}: {took['with']:.2f} s with its plan, {took['without']:.2f} s without")
    print(f"quantities of few readings: {few_readings() * 1000:.1f} ms")


if __name__ == "__main__":
    main()
