"""Measures and writes RESULTS.md: python -m tests.benchmarks [--quick]"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import gc
import platform
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from pathlib import Path

from tests.benchmarks.engines import ENGINES, Run, facts, rules

ROOT = Path(__file__).resolve().parents[2]
SCENARIOS = sorted((ROOT / "scenarios").glob("*.yaml"))
FACTS, RULES = 40, 300
CASES = 20
Table = list[list[str]]


def milliseconds(run: Callable[[], object], rounds: int) -> float:
    """Processor time of the quickest of some rounds: the least disturbed one."""
    best = float("inf")
    for _ in range(rounds):
        start = time.process_time()
        run()
        best = min(best, time.process_time() - start)
    return best * 1000


def per_case(run: Run, cases: Sequence[list[tuple[str, int]]], rounds: int) -> float:
    run(cases[0])
    return milliseconds(lambda: [run(c) for c in cases], rounds) / len(cases)


def engines(rounds: int) -> tuple[Table, str]:
    """Milliseconds a case by engine, number of rules and number of facts."""
    sizes = [(100, FACTS), (RULES, FACTS), (1000, FACTS), (5000, FACTS), (RULES, 10), (RULES, 100), (RULES, 300)]
    took: dict[tuple[str, int, int], float] = {}
    for count in sorted({r for r, _ in sizes}):
        wanted = rules(count)
        made = {name: build(wanted) for name, build in ENGINES.items()}
        gc.collect()
        gc.freeze()
        for _, n in [s for s in sizes if s[0] == count]:
            cases = [facts(n, wanted, seed) for seed in range(CASES)]
            answers = {name: [run(cases[0])] for name, run in made.items()}
            assert all(a == answers["ours"] for a in answers.values()), "the engines differ"
            for name, run in made.items():
                slow = name != "ours" and name != "CLIPS"
                took[name, count, n] = per_case(run, cases[:3] if slow else cases, 2 if slow else rounds)
        gc.unfreeze()
    head = ["engine", *(f"{r} rules, {n} facts" for r, n in sizes)]
    table = [head] + [[name, *(f"{took[name, r, n]:.2f}" for r, n in sizes)] for name in ENGINES]

    def ratio(name: str, count: int) -> float:
        return took[name, count, FACTS] / took["ours", count, FACTS]

    told = (
        f"Ours against CLIPS at {RULES} rules: {1 / ratio('CLIPS', RULES):.1f} times its time; plain experta takes "
        f"{ratio('plain experta', RULES):.1f} times ours at {RULES} rules and {ratio('plain experta', 5000):.0f} times at "
        f"5,000. From {RULES} to 5,000 rules our cost grows by {took['ours', 5000, FACTS] / took['ours', RULES, FACTS]:.2f}."
    )
    return table, told


def the_way(rounds: int) -> tuple[Table, str]:
    """Milliseconds a scenario, step by step, with the whole rule base."""
    from diagnose.advice.plan import plan
    from diagnose.casefile.reader import read_case
    from diagnose.inference.run import infer, load
    from diagnose.judgement.judge import judge
    from diagnose.judgement.network import build

    base = load(ROOT / "knowledge")
    base.reasoner.build()
    net = build(base.knowledge)
    gc.collect()
    gc.freeze()
    cases = [read_case(p, base.knowledge) for p in SCENARIOS]
    inferences = [infer(c, base) for c in cases]
    judgements = [judge(i, net) for i in inferences]
    steps = {
        "read a case file": lambda: [read_case(p, base.knowledge) for p in SCENARIOS],
        "facts, quantities, findings": lambda: [infer(c, base) for c in cases],
        "judgement": lambda: [judge(i, net) for i in inferences],
        "planning": lambda: [plan(j) for j in judgements],
        "facts to standing": lambda: [judge(infer(c, base), net) for c in cases],
    }
    took = {name: milliseconds(run, rounds) / len(cases) for name, run in steps.items()}
    rate = 1000 / took["facts to standing"]
    records = sum(len(c.observations) + len(c.measured) for c in cases) / len(cases)
    table = [["step", "ms a case"], *([name, f"{t:.2f}"] for name, t in took.items())]
    told = (
        f"{len(cases)} scenarios of {records:.0f} records each on average, {len(base.rules.branches)} branches, "
        f"{len(net.causes)} causes, {len(net.findings)} findings. Facts to standing: {rate:.0f} cases a second on one core."
    )
    return table, told


PEAK = """
import resource, subprocess, sys
subprocess.run(sys.argv[1:], stdout=subprocess.DEVNULL, check=True)
print(resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss)
"""


def whole_process(command: Sequence[str], rounds: int) -> tuple[float, float, float]:
    """Least processor and wall time in seconds, and peak memory in MiB, of a command, after a first run."""
    processor, wall = [], []
    environment = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}
    for _ in range(rounds + 1):
        start = time.perf_counter()
        started = subprocess.Popen(command, stdout=subprocess.DEVNULL, cwd=ROOT, env=environment)
        _, status, used = os.wait4(started.pid, 0)
        started.returncode = os.waitstatus_to_exitcode(status)
        assert started.returncode == 0, command
        wall.append(time.perf_counter() - start)
        processor.append(used.ru_utime + used.ru_stime)
    # a process starts with the peak of the one it was forked from, so a small one forks it
    asked = [sys.executable, "-c", PEAK, *command]
    peak = subprocess.run(asked, capture_output=True, check=True, cwd=ROOT, env=environment, text=True).stdout
    return min(processor[1:]), min(wall[1:]), int(peak) / 1024


def processes(rounds: int) -> tuple[Table, str]:
    """Start-up, batch and memory, each measured as a process of its own."""
    python = [sys.executable]
    commands = {
        "bare Python": [*python, "-c", "pass"],
        "import typer, yaml, networkx": [*python, "-c", "import typer, yaml, networkx"],
        "one explanation": [*python, "-m", "diagnose", "explain", "condensate-pump-dry-start"],
    }
    table = [["process", "processor s", "wall s", "peak MiB"]]
    found = {}
    for name, command in commands.items():
        found[name] = whole_process(command, rounds)
        cpu, wall, peak = found[name]
        table.append([name, f"{cpu:.2f}", f"{wall:.2f}", f"{peak:.0f}"])
    with tempfile.TemporaryDirectory() as folder:
        count = 40
        for i in range(count):
            for path in SCENARIOS:
                text = path.read_text("utf-8").replace("case: ", f"case: {i} ", 1)
                (Path(folder) / f"{path.stem}-{i}.yaml").write_text(text, "utf-8")
        total = count * len(SCENARIOS)
        command = [*python, "-m", "diagnose", "batch", folder, "-o", str(Path(folder) / "t.csv"), "--workers"]
        for workers in ("1", str(os.cpu_count())):
            cpu, wall, peak = whole_process([*command, workers], 1)
            table.append([f"batch of {total}, {workers} processes", f"{cpu:.2f}", f"{wall:.2f}", f"{peak:.0f}"])
            rate = total / wall
    above = found["one explanation"][0] - found["bare Python"][0]
    against = found["one explanation"][0] / found["import typer, yaml, networkx"][0]
    told = (
        f"An explanation takes {above:.2f} s of processor time above bare Python, {against:.1f} times an import of typer, "
        f"yaml and networkx. Batch, with reading and starting: {rate:.0f} cases a second."
    )
    return table, told


def markdown(table: Table) -> str:
    head, *rows = ["| " + " | ".join(row) + " |" for row in table]
    return "\n".join([head, "|" + " --- |" * len(table[0]), *rows])


def main() -> None:
    rounds = 2 if "--quick" in sys.argv else 5
    load_before = os.getloadavg()[0]
    parts = []
    for title, measure in (
        ("Processes", processes),
        ("The way of a case", the_way),
        ("Forward chaining, ms a case", engines),
    ):
        table, told = measure(rounds)
        parts.append(f"## {title}\n\n{markdown(table)}\n\n{told}\n")
        print(parts[-1], flush=True)
    machine = f"{platform.machine()}, {os.cpu_count()} cores, Python {platform.python_version()}"
    load = f"load {load_before:.1f} at the start and {os.getloadavg()[0]:.1f} at the end"
    head = (
        f"# Measured\n\nMade by `python -m tests.benchmarks` on {machine}, {load} (above the number of cores, times are those "
        "of a disturbed machine). Times are processor time, the least disturbed of several rounds.\n"
    )
    Path(__file__).with_name("RESULTS.md").write_text("\n".join([head, *parts]), "utf-8")


if __name__ == "__main__":
    main()
