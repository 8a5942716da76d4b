"""JSON Schemas of every kind of file, so that an editor completes keys and words and shows what they mean.

Made from a rule base: its features, kinds, settings, findings and so on become the words to choose from. They stand
once, in terms.json, and the schema of each kind of file points there. The strict reader stays the judge; a test holds
every file of the rule base against its schema.
"""

from __future__ import annotations

import json
from pathlib import Path

from diagnose.authoring.cards import SECTIONS
from diagnose.authoring.schemas.cards import CardSchemas
from diagnose.authoring.schemas.cases import CaseSchemas
from diagnose.authoring.schemas.files import FileSchemas
from diagnose.authoring.schemas.parts import TEXT, Schema, keys, ref
from diagnose.authoring.schemas.teardown import teardown
from diagnose.casefile.format import SECTIONS as CASE_SECTIONS
from diagnose.knowledge.conditions import FORMS
from diagnose.knowledge.model import Knowledge
from diagnose.knowledge.tables import SHAPES

DRAFT = "http://json-schema.org/draft-07/schema#"
_FOLDERS = {**SECTIONS, "arrangement": "arrangements"}


def schemas(knowledge: Knowledge) -> dict[str, Schema]:
    """Every schema by the name of its file."""
    made = _Schemas(knowledge)
    result = {kind: _file_or_tests(getattr(made, kind)()) for kind in ("finding", "mechanism", "cause", "caution")}
    result |= {"measurement": made.measurement(), "limit": made.limit(), "case": made.case(), **made.vocabulary()}
    result |= {
        "arrangement": made.arrangement(),
        "looks": made.looks(),
        "teardown": teardown(knowledge.vocabulary, made.kind),
        "hazards": made.hazards(),
        "at-odds": made.at_odds(),
        "version": keys({"version": TEXT}, ("version",)),
    }
    result |= {f"table-{name}": made.table(shape) for name, shape in SHAPES.items()}
    result["terms"] = {"definitions": made.terms}
    return {name: {"$schema": DRAFT, "title": name, **schema} for name, schema in sorted(result.items())}


def _file_or_tests(card: Schema) -> Schema:
    """A card's file is a mapping, its tests beside it a list; both match the same pattern of file names."""
    return {"if": {"type": "array"}, "then": ref("tests"), "else": card}


def write(knowledge: Knowledge, folder: Path) -> list[Path]:
    folder.mkdir(parents=True, exist_ok=True)
    paths = []
    for name, schema in schemas(knowledge).items():
        path = folder / f"{name}.json"
        path.write_text(json.dumps(schema, ensure_ascii=False, separators=(",", ":")) + "\n", "utf-8")
        paths.append(path)
    return paths


def editor_settings(folder: str = "knowledge") -> Schema:
    """The lines of .vscode/settings.json that tie the schemas to the files."""
    globs = {kind: f"{folder}/{place}/*.yaml" for kind, place in _FOLDERS.items()}
    globs |= {
        name: f"{folder}/vocabulary/{name}.yaml"
        for name in (
            "parts",
            "forms",
            "features",
            "points",
            "variables",
            "acts",
            "qualifiers",
            "custody",
            "moved",
            "settings",
            "readings",
            "quantities",
            "scales",
        )
    }
    globs |= {
        name: f"{folder}/{name}.yaml"
        for name in ("words", "questions", "sources", "looks", "teardown", "hazards", "at-odds", "version")
    }
    globs["lexicon"] = f"{folder}/vocabulary/words/*.yaml"
    globs |= {f"table-{name}": f"{folder}/tables/{name}.yaml" for name in SHAPES}
    globs["case"] = "scenarios/*.yaml"
    return {"yaml.schemas": {f"./{folder}/schema/{name}.json": glob for name, glob in sorted(globs.items())}}


class _Schemas(CardSchemas, FileSchemas, CaseSchemas):
    def __init__(self, knowledge: Knowledge):
        super().__init__(knowledge)
        self.terms["condition"] = {"anyOf": [self._form(form) for form in FORMS]}
        self.terms |= {f"section {name}": self._section(name) for name in CASE_SECTIONS}
        self.terms["case"] = keys(self._case_keys())
        self.terms["tests"] = self.tests()
