"""The rule base that ships, read and compiled once for all tests of a process."""

from __future__ import annotations

from functools import lru_cache

from diagnose.inference.run import RuleBase, load
from tests.support.places import KNOWLEDGE


@lru_cache(maxsize=1)
def whole_base() -> RuleBase:
    return load(KNOWLEDGE)
