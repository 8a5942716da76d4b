"""What the engine really does: measured behaviour of experta 1.9.4 that the design stands on, one test a fact."""

from __future__ import annotations

import subprocess
import sys

import pytest

from diagnose.inference.experta_shim import AND, NOT, Fact, KnowledgeEngine, Rule


class V(Fact):
    pass


def engine(**rules):
    made = type("E", (KnowledgeEngine,), rules)()
    made.reset()
    return made


def python(code: str, **env: str) -> str:
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, env={"PATH": "", **env}, check=False
    )
    return done.stdout + done.stderr


@pytest.mark.slow
def test_plain_import_fails_and_the_shim_mends_it():
    plain = python("import experta")
    assert "Mapping" in plain and "Error" in plain
    ours = python(
        "from diagnose.inference import experta_shim, engine; import collections;"
        "print(hasattr(collections, 'Mapping'), experta_shim.KnowledgeEngine.__name__)"
    )
    assert ours.split() == ["False", "KnowledgeEngine"]


def test_an_equal_fact_is_swallowed_without_a_word():
    e = engine()
    assert e.declare(V(a=1)) is not None
    assert e.declare(V(a=1)) is None


def test_denied_premises_leave_no_trace_in_an_activation():
    e = engine(r=Rule(AND(V(a=1), NOT(V(b=2))))(lambda self: None))
    e.declare(V(a=1))
    (activation,) = e.agenda.activations
    assert {dict(f).get("a") for f in activation.facts} == {1}


def test_importing_it_does_not_configure_our_root_logger():
    code = "import logging; from diagnose.inference import experta_shim; print(len(logging.getLogger().handlers))"
    assert python(code).strip() == "0"


def test_a_shim_without_the_engine_says_so():
    code = (
        "import sys, types; sys.modules['experta'] = types.ModuleType('experta');import diagnose.inference.experta_shim"
    )
    assert "could not be loaded; reinstall" in python(code)


def test_nothing_else_imports_experta():
    from pathlib import Path

    import diagnose

    root = Path(diagnose.__file__).parent
    users = [
        p
        for p in root.rglob("*.py")
        if "import experta" in p.read_text("utf-8") or "from experta" in p.read_text("utf-8")
    ]
    assert [p.name for p in users] == ["experta_shim.py"]
