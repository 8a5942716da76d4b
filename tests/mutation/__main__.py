"""Mutants of the reasoning code and the tests that should notice: python -m tests.mutation [COUNT] [SEED]

Changes one comparison, number, operator, boolean or `not` of a module at a time in a copy of the package, and runs the
tests nearest to it, then wider ones. Decorators and `strict=True` are left alone: they guard, and change no answer. A
mutant that every test passes survives; survivors are read by hand and killed by a test or explained in tests/README.md.
"""

from __future__ import annotations

import ast
import os
import random
import resource
import shutil
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

import hypothesis
import networkx
import numpy
import pgmpy.inference
import pgmpy.models
import pytest
import typer
import yaml

ROOT = Path(__file__).resolve().parents[2]
LOADED = (hypothesis, networkx, numpy, pgmpy.inference, pgmpy.models, typer, yaml)
"""What takes long to import, loaded once for every fork."""
_CHAINING = ["tests/inference/test_rules.py", "tests/inference/test_run.py", "tests/inference/test_matcher.py"]
_JUDGING = ["tests/judgement/test_judge.py", "tests/judgement/test_network.py"]
TESTS = {
    "diagnose/judgement/network.py": _JUDGING,
    "diagnose/judgement/elimination.py": _JUDGING,
    "diagnose/judgement/posterior.py": _JUDGING,
    "diagnose/judgement/counting.py": _JUDGING,
    "diagnose/judgement/weights.py": _JUDGING,
    "diagnose/judgement/judge.py": _JUDGING,
    "diagnose/judgement/altered.py": ["tests/judgement/test_altered.py"],
    "diagnose/judgement/chains.py": ["tests/judgement/test_chains.py"],
    "diagnose/judgement/worlds.py": ["tests/judgement/test_worlds.py"],
    "diagnose/inference/matcher.py": ["tests/inference/test_matcher.py"],
    "diagnose/inference/engine.py": _CHAINING,
    "diagnose/inference/rules.py": _CHAINING,
    "diagnose/inference/facts.py": _CHAINING,
    "diagnose/inference/run.py": _CHAINING,
    "diagnose/inference/match.py": ["tests/inference/test_match.py"],
}
"""The modules that are changed, and the tests nearest to each; of these the quick ones."""
WIDER = ["tests/published", "tests/judgement", "tests/trail/test_explanations.py"]

OTHER = {
    ast.Lt: ast.LtE,
    ast.LtE: ast.Lt,
    ast.Gt: ast.GtE,
    ast.GtE: ast.Gt,
    ast.Eq: ast.NotEq,
    ast.NotEq: ast.Eq,
    ast.In: ast.NotIn,
    ast.NotIn: ast.In,
    ast.Is: ast.IsNot,
    ast.IsNot: ast.Is,
    ast.Add: ast.Sub,
    ast.Sub: ast.Add,
    ast.Mult: ast.Div,
    ast.Div: ast.Mult,
    ast.And: ast.Or,
    ast.Or: ast.And,
}


def mutants(source: str) -> Iterator[tuple[int, str, str]]:
    """(line, what was changed, the changed source) for every possible single change."""
    spots = sum(1 for _ in _spots(ast.parse(source)))
    for i in range(spots):
        tree = ast.parse(source)
        node, told = list(_spots(tree))[i]
        _change(node)
        yield getattr(node, "lineno", 0), told, ast.unparse(tree)


def _spots(tree: ast.AST) -> Iterator[tuple[ast.AST, str]]:
    guards = {
        id(inner)
        for node in ast.walk(tree)
        for guard in [*getattr(node, "decorator_list", ()), *([node] if getattr(node, "arg", "") == "strict" else [])]
        for inner in ast.walk(guard)
    }
    for node in ast.walk(tree):
        if id(node) in guards:
            continue
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


def _noticed(folder: str, tests: list[str]) -> bool:
    """Whether some test fails, or takes over two minutes of processor time. A fork runs them, so that what they import
    is there already."""
    child = os.fork()
    if not child:
        resource.setrlimit(resource.RLIMIT_CPU, (120, 121))
        os.chdir(folder)
        sys.path.insert(0, folder)
        for name in [n for n in sys.modules if n.split(".")[0] == "tests"]:
            del sys.modules[name]
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, 1)
        os.dup2(nowhere, 2)
        os._exit(pytest.main(["-x", "-q", "-p", "no:cacheprovider", "-o", "addopts=", "-m", "not slow", *tests]))
    return os.waitpid(child, 0)[1] != 0


def main(count: int, seed: int) -> None:
    every = [(m, *x) for m in TESTS for x in mutants((ROOT / m).read_text("utf-8"))]
    chosen = random.Random(seed).sample(every, min(count, len(every)))
    survived = []
    with tempfile.TemporaryDirectory() as folder:
        for name in ("diagnose", "knowledge", "scenarios", "tests", "pyproject.toml", "README.md", "DEVELOPERS.md"):
            whole = ROOT / name
            copy = shutil.copytree if whole.is_dir() else shutil.copy
            copy(whole, Path(folder) / name)
        # the copy's modules must not be taken for those of the mutant before
        sys.dont_write_bytecode = True
        for tests in (*TESTS.values(), WIDER):
            assert not _noticed(folder, tests), f"{tests} fail on the unchanged code"
        for number, (module, line, told, source) in enumerate(chosen, 1):
            path = Path(folder) / module
            original = path.read_text("utf-8")
            path.write_text(source, "utf-8")
            killed = _noticed(folder, TESTS[module]) or _noticed(folder, WIDER)
            path.write_text(original, "utf-8")
            if not killed:
                survived.append((module, line, told))
            print(f"{number}/{len(chosen)} {'killed' if killed else 'SURVIVED'} {module}:{line} {told}", flush=True)
    print(
        f"{len(chosen)} of {len(every)} mutants tried, {len(chosen) - len(survived)} killed, {len(survived)} survived"
    )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 60, int(sys.argv[2]) if len(sys.argv) > 2 else 1)
