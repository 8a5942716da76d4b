"""The command that writes a case in forms that other systems read."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from diagnose.cli.common import CaseArgument, KnowledgeOption, case_path, open_base, open_case, refuse
from diagnose.cli.output import refuse_over_input, write

if TYPE_CHECKING:
    from diagnose.casefile.model import Case
    from diagnose.inference.run import RuleBase

FORMS = ("iso-14224", "prov")


def export(
    case: CaseArgument,
    output: Annotated[Path, typer.Option("-o", "--output", help="The file to write: .csv or .json.")],
    form: Annotated[
        str, typer.Option("--form", help="iso-14224 (failure data) or prov (W3C PROV-JSON).")
    ] = "iso-14224",
    detected: Annotated[
        str,
        typer.Option(
            "--detected", help="Detection method, as ISO 14224 names them: casual observation …", show_default=False
        ),
    ] = "",
    knowledge: KnowledgeOption = None,
) -> None:
    """Write case, conclusion and outcome in the fields of ISO 14224 (CSV, JSON), or the provenance of its trail as PROV-JSON."""
    from diagnose.judgement.diagnosis import Diagnosis
    from diagnose.views import exports

    ending = output.suffix.lower()
    if form not in FORMS or ending not in (".csv", ".json") or (form == "prov" and ending == ".csv"):
        raise refuse(
            f"{form!r} cannot be written as {ending or output.name!r}",
            "--form iso-14224 as .csv or .json, prov as .json",
        )
    path = case_path(case)
    refuse_over_input(output, [path])
    base = open_base(knowledge)
    read = open_case(case, base)
    if form == "prov":
        data = json.dumps(exports.provenance(_trail(path, read, base, knowledge)), ensure_ascii=False, indent=1) + "\n"
    else:
        method = exports.detection(detected, base.knowledge) if detected else ""
        if method is None:
            methods = base.knowledge.tables.get("failure-data", {}).get("detection methods", [])
            raise refuse(f"{detected!r} is no detection method", f"one of: {', '.join(methods)}")
        rows = exports.failure_data(Diagnosis(read, base), method)
        data = exports.as_csv(rows) if ending == ".csv" else json.dumps(rows, ensure_ascii=False, indent=1) + "\n"
    write(output, data.encode(), [path])


def _trail(path: Path, read: Case, base: RuleBase, knowledge: Path | None) -> dict[str, Any]:
    from diagnose.cli.common import shipped
    from diagnose.cli.evidence import tool_version
    from diagnose.reading.files import read_file
    from diagnose.trail.custody import look_around
    from diagnose.trail.document import MOST_BYTES, trail

    around = look_around(path, read, knowledge or shipped("knowledge"))
    return trail(read_file(path, MOST_BYTES), base, tool_version(), around)
