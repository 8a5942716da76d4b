"""Trails written and held against a rule base, without files."""

from __future__ import annotations

from pathlib import Path

from diagnose.evaluation.verify import Given, verify
from diagnose.inference.run import RuleBase, load
from diagnose.knowledge.files import contents_of
from diagnose.trail.custody import Around
from diagnose.trail.document import dump, trail
from tests.support.places import SMALL

SMALL_RULES = contents_of(SMALL / "knowledge")


def written(case: bytes, base: RuleBase, around: Around | None = None, version: str = "1") -> bytes:
    """The bytes of a trail that carries the rule base of tests/small."""
    return dump(trail(case, base, version, Around(contents=SMALL_RULES) if around is None else around))


def checked(
    data: bytes, base: RuleBase, folder: Path = SMALL / "knowledge", version: str = "1", case: bytes | None = None,
    around: Around | None = None, made_with: Path | None = None,
) -> dict:  # fmt: skip
    """What verify answers; `base` is the rule base in `folder`."""
    given = Given(base, version, contents_of(folder), around or Around(), made_with and contents_of(made_with), case)
    return verify(data, "trail.json", given)


def loaded(folder: Path) -> RuleBase:
    return load(folder)
