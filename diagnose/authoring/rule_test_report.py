"""The result of a run of rule tests as plain data and as JUnit XML, and weights taken over into the test files."""

from __future__ import annotations

import re
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from diagnose.authoring.rule_test_runner import Outcome, most_worth
from diagnose.judgement.network import Network
from diagnose.reading.problems import Where


def document(outcomes: Iterable[Outcome]) -> dict[str, Any]:
    """The result of a test run as plain data."""
    rows = list(outcomes)
    failed = [o for o in rows if o.failures]
    return {
        "tests": len(rows),
        "failed": len(failed),
        "rules": len({(o.test.kind, o.test.rule) for o in rows}),
        "failures": [
            {"test": o.test.name, "rule": o.test.rule, "kind": o.test.kind, "where": str(o.test.where),
             "failures": [{"expected": f.expected, "found": f.found, "because": list(f.because)} for f in o.failures]}
            for o in failed
        ],
    }  # fmt: skip


def junit(outcomes: Iterable[Outcome]) -> str:
    """The result as JUnit XML: one suite a rule, one case a test."""
    from xml.etree import ElementTree as xml

    suites: dict[tuple[str, str], list[Outcome]] = {}
    for o in outcomes:
        suites.setdefault((o.test.kind, o.test.rule), []).append(o)
    root = xml.Element("testsuites")
    for (kind, rule), rows in suites.items():
        failed = sum(bool(o.failures) for o in rows)
        suite = xml.SubElement(root, "testsuite", name=f"{kind}: {rule}", tests=str(len(rows)), failures=str(failed))
        for o in rows:
            where = o.test.where
            case = xml.SubElement(
                suite, "testcase", classname=rule, name=o.test.name, file=where.file, line=str(where.line)
            )
            for f in o.failures:
                told = xml.SubElement(case, "failure", message=f"expected {f.expected}, found {f.found}")
                told.text = "\n".join(f.because)
    xml.indent(root)
    return xml.tostring(root, encoding="unicode") + "\n"


def accept_weights(outcomes: Iterable[Outcome], net: Network, folder: Path, shown: str) -> list[str]:
    """Writes the weights found into the test files where they differ, for a person to look at in the diff; the names of
    the files changed. A weight that one line gives for several fragments is left where the fragments disagree."""
    found: dict[Where, set[str]] = {}
    for o in outcomes:
        places = (o.test.at,) if o.test.at else o.inference.case.positions
        for name, _, where in o.test.speaks_for:
            found.setdefault(where, set()).add(f"{most_worth(o.inference, net, name, places):+.1f} dB")
    changed = []
    for file in sorted({w.file for w in found}):
        path = folder / Path(file).relative_to(shown)
        old = path.read_text("utf-8").splitlines(keepends=True)
        lines = list(old)
        for where in sorted((w for w in found if w.file == file and len(found[w]) == 1), reverse=True):
            text = lines[where.line - 1]
            rest = re.sub(r"^[^,}\n]*", next(iter(found[where])), text[where.column - 1 :], count=1)
            lines[where.line - 1] = text[: where.column - 1] + rest
        if lines != old:
            path.write_text("".join(lines), "utf-8")
            changed.append(str(path))
    return changed
