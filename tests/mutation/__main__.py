"""Mutants of the reasoning code and the tests that should notice: python -m tests.mutation [COUNT] [SEED]

Changes one comparison, number, operator, boolean or `not` of a module at a time in a copy of the package, and runs the
tests of inference and judgement on it. A mutant that every test passes survives; survivors are read by hand and killed
by a test or explained in tests/README.md.
"""

from __future__ import annotations

import ast
import os
import random
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
_CHAINING = [
    "tests/inference/test_run.py",
    "tests/inference/test_matcher.py",
    "-k",
    "not every_scenario and not shuffled",
]
TESTS = {
    "diagnose/judgement/network.py": ["tests/judgement"],
    "diagnose/judgement/judge.py": ["tests/judgement"],
    "diagnose/inference/matcher.py": ["tests/inference/test_matcher.py", "-k", "not every_scenario"],
    "diagnose/inference/engine.py": _CHAINING,
    "diagnose/inference/rules.py": _CHAINING,
    "diagnose/inference/facts.py": _CHAINING,
    "diagnose/inference/run.py": _CHAINING,
}
"""The modules that are changed, and the tests nearest to each."""

OTHER = {
    ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt, ast.Eq: ast.NotEq, ast.NotEq: ast.Eq,
    ast.In: ast.NotIn, ast.NotIn: ast.In, ast.Is: ast.IsNot, ast.IsNot: ast.Is, ast.Add: ast.Sub, ast.Sub: ast.Add,
    ast.Mult: ast.Div, ast.Div: ast.Mult, ast.And: ast.Or, ast.Or: ast.And,
}  # fmt: skip


def mutants(source: str) -> Iterator[tuple[int, str, str]]:
    """(line, what was changed, the changed source) for every possible single change."""
    spots = sum(1 for _ in _spots(ast.parse(source)))
    for i in range(spots):
        tree = ast.parse(source)
        node, told = list(_spots(tree))[i]
        _change(node)
        yield getattr(node, "lineno", 0), told, ast.unparse(tree)


def _spots(tree: ast.AST) -> Iterator[tuple[ast.AST, str]]:
    for node in ast.walk(tree):
        if isinstance(node, ast.Compare) and type(node.ops[0]) in OTHER:
            yield node, f"comparison {type(node.ops[0]).__name__}"
        elif isinstance(node, (ast.BinOp, ast.BoolOp)) and type(node.op) in OTHER:
            yield node, f"operator {type(node.op).__name__}"
        elif isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not):
            yield node, "not"
        elif isinstance(node, ast.Constant) and type(node.value) in (int, bool):
            yield node, f"constant {node.value}"


def _change(node: ast.AST) -> None:
    if isinstance(node, ast.Compare):
        node.ops[0] = OTHER[type(node.ops[0])]()
    elif isinstance(node, (ast.BinOp, ast.BoolOp)):
        node.op = OTHER[type(node.op)]()
    elif isinstance(node, ast.UnaryOp):
        node.op, node.operand = ast.Not(), ast.UnaryOp(ast.Not(), node.operand)
    elif isinstance(node, ast.Constant):
        node.value = not node.value if isinstance(node.value, bool) else node.value + 1


def _noticed(folder: str, environment: dict[str, str], tests: list[str]) -> bool:
    """Whether some test fails, or hangs."""
    command = [sys.executable, "-m", "pytest", "-x", "-q", "-p", "no:cacheprovider", "-o", "addopts=", *tests]
    try:
        return subprocess.run(command, cwd=folder, env=environment, capture_output=True, timeout=900).returncode == 1
    except subprocess.TimeoutExpired:
        return True


def main(count: int, seed: int) -> None:
    every = [(m, *x) for m in TESTS for x in mutants((ROOT / m).read_text("utf-8"))]
    chosen = random.Random(seed).sample(every, min(count, len(every)))
    survived = []
    with tempfile.TemporaryDirectory() as folder:
        for name in ("diagnose", "knowledge", "scenarios", "tests", "pyproject.toml"):
            whole = ROOT / name
            copy = shutil.copytree if whole.is_dir() else shutil.copy
            copy(whole, Path(folder) / name)
        environment = {**os.environ, "PYTHONPATH": folder, "PYTHONDONTWRITEBYTECODE": "1"}
        for number, (module, line, told, source) in enumerate(chosen, 1):
            path = Path(folder) / module
            original = path.read_text("utf-8")
            path.write_text(source, "utf-8")
            killed = _noticed(folder, environment, TESTS[module])
            path.write_text(original, "utf-8")
            if not killed:
                survived.append((module, line, told))
            print(f"{number}/{len(chosen)} {'killed' if killed else 'SURVIVED'} {module}:{line} {told}", flush=True)
    print(
        f"{len(chosen)} of {len(every)} mutants tried, {len(chosen) - len(survived)} killed, {len(survived)} survived"
    )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 60, int(sys.argv[2]) if len(sys.argv) > 2 else 1)
