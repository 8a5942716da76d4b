"""Problems of a rule base, for people, machines and editors."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from importlib.metadata import version
from typing import Any
from urllib.parse import quote

from diagnose.reading.problems import Problem

FORMATS = ("text", "json", "sarif", "github")


def render(problems: Sequence[Problem], texts: Mapping[str, Sequence[str]], form: str) -> str:
    return (
        text(problems, texts) if form == "text" else {"json": as_json, "sarif": sarif, "github": github}[form](problems)
    )


def text(problems: Sequence[Problem], texts: Mapping[str, Sequence[str]]) -> str:
    """Each problem above its line, with a caret under the word; `texts` are the lines of files by name."""
    lines = []
    for p in problems:
        lines.append(str(p))
        source = texts.get(p.where.file, ())
        if 0 < p.where.line <= len(source):
            lines += p.pointed(source[p.where.line - 1])
    errors = sum(p.level == "error" for p in problems)
    lines.append(f"{errors} error{'' if errors == 1 else 's'}, {len(problems) - errors} advice")
    return "\n".join(lines) + "\n"


def _row(p: Problem) -> dict[str, Any]:
    return {"file": p.where.file, "line": p.where.line, "column": p.where.column, "code": p.code, "level": p.level,
            "says": p.says, "way_out": str(p.way_out)}  # fmt: skip


def as_json(problems: Sequence[Problem]) -> str:
    rows = [_row(p) for p in problems]
    errors = sum(p.level == "error" for p in problems)
    document = {"errors": errors, "advice": len(rows) - errors, "problems": rows}
    return json.dumps(document, ensure_ascii=False, indent=2) + "\n"


def sarif(problems: Sequence[Problem]) -> str:
    """SARIF 2.1.0 (OASIS standard, 2020): a log that fits its published schema; places are URI references."""
    levels = {"error": "error", "advice": "note"}
    results = [
        {
            "ruleId": p.code,
            "level": levels[p.level],
            "message": {"text": p.told()},
            "locations": [{"physicalLocation": {
                "artifactLocation": {"uri": quote(p.where.file)},
                "region": {"startLine": p.where.line, "startColumn": p.where.column},
            }}],
        }
        for p in problems
    ]  # fmt: skip
    rules = [{"id": code} for code in sorted({p.code for p in problems})]
    driver = {"name": "diagnose rules check", "version": version("diagnose"), "rules": rules}
    run = {"tool": {"driver": driver}, "results": results}
    document = {"$schema": "https://json.schemastore.org/sarif-2.1.0.json", "version": "2.1.0", "runs": [run]}
    return json.dumps(document, ensure_ascii=False, indent=2) + "\n"


def github(problems: Sequence[Problem]) -> str:
    """Workflow commands, which a build server shows beside the line."""
    lines = []
    for p in problems:
        kind = "error" if p.level == "error" else "notice"
        says = _escaped(p.told())
        place = f"file={_escaped(p.where.file, ':,')},line={p.where.line},col={p.where.column}"
        lines.append(f"::{kind} {place},title={p.code}::{says}")
    return "".join(line + "\n" for line in lines)


def _escaped(text: str, more: str = "") -> str:
    for sign in "%\r\n" + more:
        text = text.replace(sign, f"%{ord(sign):02X}")
    return text
