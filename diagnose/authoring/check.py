"""Everything wrong with a rule base at once."""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from importlib import resources
from pathlib import Path

from diagnose.authoring import checks, logic, spoken
from diagnose.authoring.rule_test_reader import read_tests
from diagnose.authoring.skeletons import CODES as SKELETON
from diagnose.authoring.skeletons import left_as_written
from diagnose.inference.rules import compile_rules
from diagnose.knowledge.files import contents_of
from diagnose.knowledge.model import Knowledge
from diagnose.knowledge.reader import build_knowledge
from diagnose.reading.problems import BadInput, Problem, Problems, Where

CODES = {**checks.CODES, **logic.CODES, **spoken.CODES, **SKELETON}
"""What each code means, a line each."""


@dataclass(frozen=True)
class Report:
    """The problems of a rule base and the text of its files by the name shown in places."""

    problems: tuple[Problem, ...]
    texts: Mapping[str, Sequence[str]]

    @property
    def errors(self) -> int:
        return sum(p.level == "error" for p in self.problems)


def examine(folder: Path) -> Report:
    """Reads a rule base strictly, drafts too, and holds its rules against each other. Raises BadInput for no folder."""
    if not folder.is_dir():
        raise BadInput(
            [Problem(Where(str(folder), 0, 0), "knowledge-missing", "there is no such folder", "--knowledge DIR")]
        )
    shown = Path(os.path.relpath(folder)).as_posix()
    shown = folder.as_posix() if shown.startswith("..") else shown
    return examine_contents(contents_of(folder), shown, folder)


def examine_contents(contents: Mapping[str, bytes], shown: str, folder: Path | None = None) -> Report:
    """As `examine`, on files by relative name; the rule tests are those of the folder."""
    problems = Problems()
    knowledge = build_knowledge(contents, shown, problems, drafts=True)
    if any(b"status: draft" in data for data in contents.values()):
        build_knowledge(contents, shown, problems)
    found = list(problems.sorted())
    if knowledge is not None and not problems.errors():
        found += _examined(knowledge)
    texts = {f"{shown}/{name}": data.decode("utf-8", "replace").splitlines() for name, data in contents.items()}
    if folder is not None and knowledge is not None and not problems.errors():
        in_tests = Problems()
        read_tests(folder, knowledge, in_tests, shown=shown)
        found += in_tests.sorted()
        texts |= {p.where.file: _lines(folder, shown, p.where.file) for p in in_tests.found}
    return Report(tuple(sorted(set(found))), texts)


def _lines(folder: Path, shown: str, name: str) -> list[str]:
    path = folder / Path(name).relative_to(shown)
    return path.read_text("utf-8", "replace").splitlines() if path.is_file() else []


def _examined(knowledge: Knowledge) -> list[Problem]:
    try:
        compile_rules(knowledge)
    except BadInput as error:
        return list(error.problems)
    return [
        *checks.check(knowledge, formulas()),
        *logic.check(knowledge),
        *spoken.check(knowledge),
        *left_as_written(knowledge),
    ]


def formulas() -> str:
    """The text of the quantities' formulas, which name vocabulary and sources in quotes."""
    package = resources.files("diagnose.quantities")
    return "\n".join(f.read_text("utf-8") for f in package.iterdir() if f.name.endswith(".py"))
