"""What other systems read: rows in the fields of ISO 14224, and provenance that a general library of PROV reads back."""

from __future__ import annotations

import csv
import io
import json
import re
import shutil

import pytest
from prov.model import ProvActivity, ProvAgent, ProvDocument, ProvEntity

from diagnose.views.exports import as_csv
from tests.support.commands import diagnose
from tests.support.places import KNOWLEDGE, ROOT
from tests.trail.tampering import Bundle

CASE = ROOT / "scenarios" / "condensate-pump-dry-start.yaml"
MECHANISMS = {
    "1.0": "general", "1.2": "vibration", "1.4": "deformation", "1.5": "looseness", "1.6": "sticking", "2.0": "general",
    "2.1": "cavitation", "2.2": "corrosion", "2.3": "erosion", "2.4": "wear", "2.5": "breakage", "2.6": "fatigue",
    "2.7": "overheating", "2.8": "burst", "5.2": "contamination",
}  # fmt: skip
"""ISO 14224:2016, table B.2, failure mechanisms, as an excerpt of it shows; 5.2 from memory."""


@pytest.fixture(scope="module")
def closed(tmp_path_factory):
    """A shipped scenario with a journal and an outcome."""
    file = tmp_path_factory.mktemp("case") / "case.yaml"
    shutil.copy(CASE, file)
    done = diagnose(
        "close",
        str(file),
        "--root",
        "gas not vented",
        "--mechanism",
        "dry running",
        "--how",
        "strip-down",
        "--by",
        "Anna",
    )
    assert done.returncode == 0, done.stderr
    return file


@pytest.mark.slow
def test_the_rows_hold_the_fields_with_the_classes_of_the_cards(closed, whole_base):
    csv_file, json_file = closed.with_suffix(".csv"), closed.with_suffix(".json")
    for file in (csv_file, json_file):
        done = diagnose("export", str(closed), "-o", str(file), "--detected", "casual observation")
        assert done.returncode == 0, done.stderr
    (row,) = json.loads(json_file.read_text("utf-8"))
    (again,) = csv.DictReader(io.StringIO(csv_file.read_text("utf-8")))
    assert again == {k: str(v) for k, v in row.items()}
    cause, mechanism = whole_base.knowledge.causes["gas not vented"], whole_base.knowledge.mechanisms["dry running"]
    assert row["equipment class"] == "pumps" and row["maintainable item"] == "seals"
    assert (
        row["failure mode"] == "external leakage of process medium" and row["detection method"] == "casual observation"
    )
    assert (row["failure cause"], row["failure cause class"]) == (cause.name, cause.class_14224) and row[
        "failure cause class from"
    ]
    assert row["confirmed mechanism class"] == mechanism.class_14224 and row["confirmed how"] == "strip-down"


def test_the_mechanism_classes_of_the_cards_are_named_as_the_standard_names_them(whole_base):
    """Table B.2 of ISO 14224:2016. A card that bears a class of the other table, of causes (an error), is left out."""
    told = {m.class_14224.partition(" ")[::2] for m in whole_base.knowledge.mechanisms.values()}
    strange = [c for c in told if c[0] in MECHANISMS and not c[1].endswith("error") and MECHANISMS[c[0]] != c[1]]
    assert len(told) > 8 and strange == []


def test_a_text_that_a_spreadsheet_would_reckon_is_taken_as_text():
    assert "'=1+1" in as_csv([{"case": "=1+1", "probability": -0.5}]) and ",-0.5" in as_csv([{"a": "", "b": -0.5}])


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("-o", "x.txt"), "cannot be written as '.txt'"),
        (("-o", "x.csv", "--form", "prov"), "cannot be written as '.csv'"),
        (("-o", "x.csv", "--detected", "a hunch"), "'a hunch' is no detection method (one of: periodic maintenance"),
    ],
)
def test_what_cannot_be_exported_is_told_with_the_way_out(words, says):
    done = diagnose("export", str(CASE), *words)
    assert done.returncode == 2 and says in done.stderr


def test_provenance_is_read_by_a_library_of_prov_and_says_who_recorded_what(tmp_path, closing_rules):
    b = Bundle(tmp_path)
    b.record()
    file = tmp_path / "prov.json"
    done = diagnose("export", str(b.case), "-o", str(file), "--form", "prov", **closing_rules)
    assert done.returncode == 0, done.stderr
    document = ProvDocument.deserialize(content=file.read_text("utf-8"), format="json")
    labels = {
        kind: {str(r.label) for r in document.get_records(kind)} for kind in (ProvEntity, ProvActivity, ProvAgent)
    }
    assert {"Anna", "Ben"} <= labels[ProvAgent] and any(x.startswith("diagnose ") for x in labels[ProvAgent])
    assert {"line 1 of the journal", "line 5 of the journal"} <= labels[ProvActivity]
    assert any(re.fullmatch(r"dry running \(cause\): \w+", x) for x in labels[ProvEntity])
    written = json.loads(file.read_text("utf-8"))
    named = {*written["entity"], *written["activity"], *written["agent"]}
    ends = [v for kind, rows in written.items() if kind not in ("prefix", "entity", "activity", "agent") for r in rows.values()
            for v in r.values()]  # fmt: skip
    assert ends and set(ends) <= named, "every end of a relation is declared"
    again = ProvDocument.deserialize(content=document.serialize(format="json"), format="json")
    assert again == document and document.get_provn().startswith("document")


def test_the_table_of_names_says_what_is_from_memory():
    head = (KNOWLEDGE / "tables" / "failure-data.yaml").read_text("utf-8").partition("source:")[0]
    assert "not read whole" in head and "from memory" in head
