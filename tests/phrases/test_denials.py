"""That a denial is not taken for a find nor a find for a denial, on phrases by two people who were asked for every way of denying
(`denials.txt`, worked on since)."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from diagnose.phrases.model import Statement
from tests.blind.phrases import heard
from tests.support.shipped import whole_base

V = whole_base().knowledge.vocabulary
DENIED = ("absent", "not done", "not so", "not")
Meant = tuple[str, str, bool]
"""(kind, term, whether it holds)."""


def phrases() -> Iterator[tuple[str, str, list[Meant]]]:
    for line in Path(__file__).with_name("denials.txt").read_text("utf-8").splitlines():
        if line.startswith("#"):
            continue
        phrase, on, *meant = (part.strip() for part in line.split(";"))
        told = [tuple(word.strip() for word in part.split("|")) for part in meant]
        yield phrase, on, [(kind, term, holds not in DENIED) for kind, term, holds in told]


def says(statement: Statement, kind: str, term: str, holds: bool) -> bool:
    """Whether a statement says the thing, or one that is more general or special, and as it is."""
    if (statement.state == "present") != holds:
        return False
    if kind == "mark":
        line = V.form_lineage.get
        near = statement.term in line(term, ()) or term in line(statement.term, ())
        return statement.family == "feature" and near
    family, (name, _, value) = ("act" if kind == "act" else "state"), term.partition(": ")
    return (statement.family, statement.term, statement.more.get("value", "")) == (family, name, value)


@pytest.mark.slow
def test_hardly_any_reading_says_the_opposite_of_what_was_meant_and_none_is_sure():
    count, opposite, sure = 0, [], []
    for phrase, on, meant in phrases():
        first = heard({"phrase": phrase, "on": on}, V)[:1]
        for kind, term, holds in meant:
            count += 1
            told = [s for r in first for s in r.statements]
            if any(says(s, kind, term, not holds) for s in told) and not any(says(s, kind, term, holds) for s in told):
                opposite.append(phrase)
                sure += [phrase for r in first if r.sureness == "sure"]
    assert count > 700 and len(opposite) <= 0.05 * count, opposite
    assert not sure
