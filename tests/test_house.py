"""The code stays in pieces one can hold in mind, and a module's private names stay its own."""

from __future__ import annotations

import ast

import pytest

from tests.support.places import ROOT

FILES = {path.relative_to(ROOT).as_posix(): path for path in sorted((ROOT / "diagnose").rglob("*.py"))}
FUNCTION = (ast.FunctionDef, ast.AsyncFunctionDef)
KINDS = (*FUNCTION, ast.ClassDef, ast.ImportFrom, ast.Attribute)


@pytest.fixture(scope="module")
def nodes():
    """The functions, classes, imports and attributes of every file."""
    return {
        name: [n for n in ast.walk(ast.parse(path.read_bytes())) if isinstance(n, KINDS)]
        for name, path in FILES.items()
    }


def private(name: str) -> bool:
    return name.startswith("_") and not name.startswith("__")


def test_no_file_is_longer_than_450_lines():
    lines = {name: path.read_bytes().count(b"\n") for name, path in FILES.items()}
    assert {name: n for name, n in lines.items() if n > 450} == {}


@pytest.mark.slow
def test_no_function_is_longer_than_60_lines(nodes):
    lines = {
        f"{name}:{n.name}": n.end_lineno - n.lineno + 1
        for name in nodes
        for n in nodes[name]
        if isinstance(n, FUNCTION)
    }
    assert {name: n for name, n in lines.items() if n > 60} == {}


@pytest.mark.slow
@pytest.mark.slow
def test_no_module_takes_a_private_name_from_another(nodes):
    taken = [
        f"{name}:{n.lineno}: {alias.name}"
        for name in nodes
        for n in nodes[name]
        if isinstance(n, ast.ImportFrom) and (n.module or "").startswith("diagnose")
        for alias in n.names
        if private(alias.name)
    ]
    assert taken == []


@pytest.mark.slow
def test_no_module_reaches_for_a_private_attribute_of_another(nodes):
    """What a class has from those it is made of it may use; what only a foreign library gives is not meant."""
    given = {name: {given for n in found if private(given := _gives(n))} for name, found in nodes.items()}
    ours = {attribute for names in given.values() for attribute in names}
    reached = [
        f"{name}:{n.lineno}: {ast.unparse(n)}"
        for name in nodes
        for n in nodes[name]
        if isinstance(n, ast.Attribute) and n.attr in ours - given[name]
        if not (isinstance(n.value, ast.Name) and n.value.id in ("self", "cls"))
    ]
    assert reached == []


def _gives(node: ast.AST) -> str:
    """The name that a function, a class or an assignment gives; empty for anything else."""
    if isinstance(node, (*FUNCTION, ast.ClassDef)):
        return node.name
    return node.attr if isinstance(node, ast.Attribute) and isinstance(node.ctx, ast.Store) else ""
