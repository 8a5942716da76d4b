"""Everything wrong with a rule base at once, for people, machines and editors."""

from __future__ import annotations

import json
import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from importlib import resources
from importlib.metadata import version
from pathlib import Path
from typing import Any
from urllib.parse import quote

from diagnose.authoring import logic
from diagnose.inference.rules import compile_rules
from diagnose.knowledge import checks
from diagnose.knowledge.model import Knowledge
from diagnose.knowledge.reader import build_knowledge, contents_of
from diagnose.reading.problems import BadInput, Problem, Problems, Where

FORMATS = ("text", "json", "sarif", "github")


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
    return examine_contents(contents_of(folder), shown)


def examine_contents(contents: Mapping[str, bytes], shown: str) -> Report:
    """As `examine`, on files by relative name."""
    problems = Problems()
    knowledge = build_knowledge(contents, shown, problems, drafts=True)
    if any(b"status: draft" in data for data in contents.values()):
        build_knowledge(contents, shown, problems)
    found = list(problems.sorted())
    if knowledge is not None and not problems.errors():
        found += _examined(knowledge)
    texts = {f"{shown}/{name}": data.decode("utf-8", "replace").splitlines() for name, data in contents.items()}
    return Report(tuple(sorted(set(found))), texts)


def _examined(knowledge: Knowledge) -> list[Problem]:
    try:
        compile_rules(knowledge)
    except BadInput as error:
        return list(error.problems)
    return [*checks.check(knowledge, formulas()), *logic.check(knowledge)]


def formulas() -> str:
    """The text of the quantities' formulas, which name vocabulary and sources in quotes."""
    package = resources.files("diagnose.quantities")
    return "\n".join(f.read_text("utf-8") for f in package.iterdir() if f.name.endswith(".py"))


# ---- showing ----------------------------------------------------------------------------------------------


def render(report: Report, form: str) -> str:
    return {"text": text, "json": as_json, "sarif": sarif, "github": github}[form](report)


def text(report: Report) -> str:
    lines = []
    for p in report.problems:
        lines.append(str(p))
        source = report.texts.get(p.where.file, ())
        if 0 < p.where.line <= len(source):
            shown = "".join(c if c.isprintable() else " " for c in source[p.where.line - 1])[:160]
            lead = f"{p.where.line:>6} | "
            lines += [lead + shown, " " * (len(lead) + min(p.where.column, len(shown) + 1) - 1) + "^"]
    errors = report.errors
    lines.append(f"{errors} error{'' if errors == 1 else 's'}, {len(report.problems) - errors} advice")
    return "\n".join(lines) + "\n"


def _row(p: Problem) -> dict[str, Any]:
    return {"file": p.where.file, "line": p.where.line, "column": p.where.column, "code": p.code, "level": p.level,
            "says": p.says, "way_out": p.way_out}  # fmt: skip


def as_json(report: Report) -> str:
    rows = [_row(p) for p in report.problems]
    document = {"errors": report.errors, "advice": len(rows) - report.errors, "problems": rows}
    return json.dumps(document, ensure_ascii=False, indent=2) + "\n"


def sarif(report: Report) -> str:
    """SARIF 2.1.0 (OASIS standard, 2020): a log that fits its published schema; places are URI references."""
    levels = {"error": "error", "advice": "note"}
    results = [
        {
            "ruleId": p.code,
            "level": levels[p.level],
            "message": {"text": p.says + (f" ({p.way_out})" if p.way_out else "")},
            "locations": [{"physicalLocation": {
                "artifactLocation": {"uri": quote(p.where.file)},
                "region": {"startLine": p.where.line, "startColumn": p.where.column},
            }}],
        }
        for p in report.problems
    ]  # fmt: skip
    rules = [{"id": code} for code in sorted({p.code for p in report.problems})]
    driver = {"name": "diagnose rules check", "version": version("diagnose"), "rules": rules}
    run = {"tool": {"driver": driver}, "results": results}
    document = {"$schema": "https://json.schemastore.org/sarif-2.1.0.json", "version": "2.1.0", "runs": [run]}
    return json.dumps(document, ensure_ascii=False, indent=2) + "\n"


def github(report: Report) -> str:
    """Workflow commands, which a build server shows beside the line."""
    lines = []
    for p in report.problems:
        kind = "error" if p.level == "error" else "notice"
        says = _escaped(p.says + (f" ({p.way_out})" if p.way_out else ""))
        place = f"file={_escaped(p.where.file, ':,')},line={p.where.line},col={p.where.column}"
        lines.append(f"::{kind} {place},title={p.code}::{says}")
    return "".join(line + "\n" for line in lines)


def _escaped(text: str, more: str = "") -> str:
    for sign in "%\r\n" + more:
        text = text.replace(sign, f"%{ord(sign):02X}")
    return text
