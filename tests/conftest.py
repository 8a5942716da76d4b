from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import settings

# shared machines pause at will, so examples have no deadline of their own
settings.register_profile("shared", deadline=None)
settings.load_profile("shared")

ROOT = Path(__file__).resolve().parents[1]


@pytest.fixture(scope="session")
def whole_base():
    """The rule base that ships, read and compiled once for all tests."""
    from diagnose.inference.run import load

    return load(ROOT / "knowledge")


@pytest.fixture(scope="session")
def whole_network(whole_base):
    from diagnose.judgement.network import build

    return build(whole_base.knowledge)
