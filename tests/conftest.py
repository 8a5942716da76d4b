from __future__ import annotations

import os
from pathlib import Path

import pytest
from hypothesis import settings

from tests.support import shipped
from tests.support.places import KNOWLEDGE, LARGE, ROOT, SMALL

# shared machines pause at will, so examples have no deadline of their own
settings.register_profile("shared", deadline=None)
settings.register_profile("quick", deadline=None, max_examples=25)


def pytest_configure(config: pytest.Config) -> None:
    settings.load_profile("quick" if config.option.markexpr == "not slow" else "shared")


@pytest.fixture(scope="session", autouse=True)
def opened_once():
    """Commands called by tests find the rule base that ships open already."""
    from diagnose.inference import run
    from diagnose.knowledge import cache

    def shared(opens, opened):
        def found(folder, *how):
            return opens(folder, *how) if any(how) or Path(folder).resolve() != KNOWLEDGE else opened()

        return found

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(cache, "open_knowledge", shared(cache.open_knowledge, lambda: shipped.whole_base().knowledge))
        patch.setattr(run, "load", shared(run.load, shipped.whole_base))
        yield


@pytest.fixture(scope="session", autouse=True)
def nothing_is_left_in_the_checkout():
    """What tests write belongs into folders of their own; caches of the tools apart, whose names begin with a dot."""
    before = set(os.listdir(ROOT))
    yield
    left = {n for n in set(os.listdir(ROOT)) - before if not n.startswith(".") and n != "__pycache__"}
    assert not left, sorted(left)[:5]


@pytest.fixture(scope="session")
def whole_base():
    """The rule base that ships, read and compiled once for all tests."""
    return shipped.whole_base()


@pytest.fixture(scope="session")
def knowledge(whole_base):
    """The cards, words and tables that ship."""
    return whole_base.knowledge


@pytest.fixture(scope="session")
def whole_network(whole_base):
    from diagnose.judgement.network import build

    return build(whole_base.knowledge)


@pytest.fixture(scope="session")
def small_base():
    """The small rule base of tests/small."""
    from tests.support.reasoned import small_base

    return small_base()


@pytest.fixture(scope="session")
def small():
    """The case of tests/small with everything reasoned about it."""
    from tests.support.reasoned import reasoned, small_base

    return reasoned((SMALL / "case.yaml").read_bytes(), small_base())


@pytest.fixture(scope="session")
def closing_rules(tmp_path_factory):
    """The environment of commands with the small rule base that knows acts of custody and outcomes."""
    from tests.trail.tampering import rules_with

    folder = tmp_path_factory.mktemp("closing") / "knowledge"
    for name, contents in rules_with().items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(contents)
    return {"DIAGNOSE_KNOWLEDGE": str(folder)}


@pytest.fixture(scope="session")
def judged(whole_base):
    """A case of the rule base that ships with everything reasoned about it, from its file, its YAML text or the name of a
    scenario; each done once a session."""
    from tests.support.reasoned import Reasoned, reasoned

    kept: dict[bytes, Reasoned] = {}

    def make(case: Path | str) -> Reasoned:
        if isinstance(case, str):
            data = case.encode() if "\n" in case else (ROOT / "scenarios" / f"{case}.yaml").read_bytes()
        else:
            data = case.read_bytes()
        if data not in kept:
            kept[data] = reasoned(data, whole_base)
        return kept[data]

    return make


@pytest.fixture(scope="session")
def build(whole_base):
    """The report of the case in a file; those of shipped scenarios are made once a session."""
    from diagnose.casefile.reader import read_case
    from diagnose.cli.report import made
    from diagnose.views.report.blocks import Report

    kept: dict[Path, Report] = {}

    def report(path: Path) -> Report:
        if path in kept:
            return kept[path]
        report = made(path, read_case(path, whole_base.knowledge), whole_base)
        if path.parent == LARGE.parent:
            kept[path] = report
        return report

    return report


@pytest.fixture
def folder(tmp_path):
    """A copy of the small rule base with a few tests, to change."""
    from tests.support.workshop import copied_base

    return copied_base(tmp_path)
