"""What is wrong with a rule base although every file reads well, one module for a family of checks.

An error is a card that cannot do what it says; advice is a card that works while something about it is idle or weak.
"""

from __future__ import annotations

from diagnose.authoring.checks import apart, forms, idle, levels, reach, words
from diagnose.authoring.checks.base import Base
from diagnose.judgement.network import build
from diagnose.knowledge.model import Knowledge
from diagnose.reading.problems import Problem

_FAMILIES = (words, forms, levels, apart, reach, idle)
CODES = {code: says for family in _FAMILIES for code, says in family.CODES.items()}
"""What each code means, a line each."""


def check(knowledge: Knowledge, formulas: str = "") -> list[Problem]:
    """Every problem, sorted. `formulas` is the text of the quantities' formulas, which name terms in quotes."""
    base = Base(knowledge, build(knowledge), formulas)
    return sorted({problem for family in _FAMILIES for problem in family.problems(base)})
