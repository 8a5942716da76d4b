"""The only door to experta.

experta 1.9.4 pins frozendict 1.2, which looks for `collections.Mapping`, gone since Python 3.10; its package
swallows ImportErrors of its own modules; and importing it configures the root logger. This module puts the alias
in place, checks that the engine really arrived and gives the root logger its handlers back.
"""

from __future__ import annotations

import collections
import collections.abc
import logging


def _load() -> None:
    root = logging.getLogger()
    handlers, level = list(root.handlers), root.level
    missing = not hasattr(collections, "Mapping")
    if missing:
        collections.Mapping = collections.abc.Mapping  # type: ignore[attr-defined]
    try:
        import experta
    finally:
        if missing:
            del collections.Mapping  # type: ignore[attr-defined]
        root.handlers[:] = handlers
        root.setLevel(level)
    if not hasattr(experta, "KnowledgeEngine"):
        raise ImportError("experta is installed but its engine could not be loaded; reinstall experta==1.9.4")


_load()

from experta import AND, AS, MATCH, NOT, DefFacts, Fact, KnowledgeEngine, P, Rule, W  # noqa: E402
from experta.abstract import Matcher, Strategy  # noqa: E402
from experta.activation import Activation  # noqa: E402
from experta.agenda import Agenda  # noqa: E402
from experta.fact import InitialFact  # noqa: E402
from experta.factlist import FactList  # noqa: E402

__all__ = [
    "AND",
    "AS",
    "MATCH",
    "NOT",
    "Activation",
    "Agenda",
    "DefFacts",
    "Fact",
    "FactList",
    "InitialFact",
    "KnowledgeEngine",
    "Matcher",
    "P",
    "Rule",
    "Strategy",
    "W",
]
