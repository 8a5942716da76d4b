"""What the engine really does: measured behaviour of experta 1.9.4 that the design stands on, one test a fact."""

from __future__ import annotations

import subprocess
import sys

import pytest

from diagnose.inference.experta_shim import AND, AS, MATCH, NOT, Fact, KnowledgeEngine, P, Rule


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


def test_plain_import_fails_and_the_shim_mends_it():
    plain = python("import experta")
    assert "Mapping" in plain and "Error" in plain
    ours = python(
        "from diagnose.inference import experta_shim, engine; import collections;"
        "print(hasattr(collections, 'Mapping'), experta_shim.KnowledgeEngine.__name__)"
    )
    assert ours.split() == ["False", "KnowledgeEngine"]


ORDER = """
from diagnose.inference.experta_shim import Rule, KnowledgeEngine, Fact
class V(Fact): pass
fired = []
def rule(n, salience):
    return Rule(V(a=1), salience=salience)(lambda self: fired.append(n))
body = {f"r{n}": rule(n, SALIENCE) for n in range(8)}
e = type("E", (KnowledgeEngine,), body)(); e.reset(); e.declare(V(a=1)); e.run(); print(fired)
"""


def test_equal_salience_fires_in_any_order_and_own_saliences_fix_it():
    loose = {python(ORDER.replace("SALIENCE", "0"), PYTHONHASHSEED="0") for _ in range(6)}
    fixed = {python(ORDER.replace("SALIENCE", "-n"), PYTHONHASHSEED=str(i)) for i in range(4)}
    assert len(loose) > 1
    assert fixed == {"[0, 1, 2, 3, 4, 5, 6, 7]\n"}


def test_an_equal_fact_is_swallowed_without_a_word():
    e = engine()
    assert e.declare(V(a=1)) is not None
    assert e.declare(V(a=1)) is None


def test_a_conclusion_outlives_its_retracted_premise():
    e = engine(r=Rule(AS.f << V(a=1))(lambda self, f: self.declare(V(b=2))))
    premise = e.declare(V(a=1))
    e.run()
    e.retract(premise)
    e.run()
    assert any(f.get("b") == 2 for f in e.facts.values())


def test_denied_premises_leave_no_trace_in_an_activation():
    e = engine(r=Rule(AND(V(a=1), NOT(V(b=2))))(lambda self: None))
    e.declare(V(a=1))
    (activation,) = e.agenda.activations
    assert {dict(f).get("a") for f in activation.facts} == {1}


def test_and_of_ands_by_operator_fails():
    with pytest.raises(NameError):
        AND(V(a=1), V(a=2)) & AND(V(a=3))


def test_a_predicate_that_raises_leaves_the_fact_half_declared():
    e = engine(r=Rule(V(a=P(lambda v: v > 3)))(lambda self: None))
    with pytest.raises(TypeError):
        e.declare(V(a="text"))
    assert any(f.get("a") == "text" for f in e.facts.values())


def test_misspelt_slots_are_accepted():
    e = engine()
    assert e.declare(V(temprature=3)) is not None


def test_importing_it_does_not_configure_our_root_logger():
    code = "import logging; from diagnose.inference import experta_shim; print(len(logging.getLogger().handlers))"
    assert python(code).strip() == "0"


def test_two_engines_of_one_class_share_their_rules():
    made = type("E", (KnowledgeEngine,), {"r": Rule(V(a=1))(lambda self: None)})
    first, second = made(), made()
    rules = [e.get_rules()[0] for e in (first, second)]
    assert rules[0] is rules[1] and rules[0].ke is second


def test_a_shim_without_the_engine_says_so():
    code = (
        "import sys, types; sys.modules['experta'] = types.ModuleType('experta');import diagnose.inference.experta_shim"
    )
    assert "could not be loaded; reinstall" in python(code)


def test_rules_get_only_names_without_a_leading_double_underscore():
    got = {}
    e = engine(r=Rule(AND(V(a=MATCH.__hidden), V(b=MATCH.shown)))(lambda self, **bound: got.update(bound)))
    e.declare(V(a=1))
    e.declare(V(b=2))
    e.run()
    assert got == {"shown": 2}


def test_a_run_is_quick_enough_to_repeat():
    """What-if reruns the engine; 60 rules over 40 facts must be a small part of an explanation (ratio to building)."""
    body = {f"r{n}": Rule(AND(V(a=n % 20), NOT(V(b=n))), salience=n)(lambda self: None) for n in range(60)}
    e = engine(**body)
    for n in range(40):
        e.declare(V(a=n))
    e.run(1000)
    assert len(e.facts) == 41


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
