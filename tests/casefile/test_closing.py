"""What was confirmed in the end, and through whose hands the parts went, as records of a case."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest

from diagnose.casefile.reader import parse_case
from diagnose.reading.problems import Problems
from tests.support.commands import diagnose
from tests.support.places import SMALL

CASE = """\
case: Pump 7, invented
seal: {arrangement: single}
parts:
  - {item: 1, name: Carbon ring, kind: soft face}
observations:
  - {part: 1, saw: blisters}
"""


@pytest.fixture
def file(tmp_path: Path) -> Path:
    path = tmp_path / "case.yaml"
    path.write_text(CASE, "utf-8")
    return path


def read(text: str, base):
    problems = Problems()
    case = parse_case(text.encode(), "case.yaml", base.knowledge, problems)
    return case, [p.says for p in problems.sorted()]


def test_an_outcome_is_kept_with_who_how_when_and_what_was_changed(file, whole_base):
    done = diagnose(
        "close", str(file), "--root", "C104", "--mechanism", "dry running", "--how", "cured by the change", "--when", "2026-06-20",
        "--changed", "vent line fitted", "--changed", "start-up sheet rewritten", "--confirmed-by", "the site", "--by", "Anna",
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    case, wrong = read(file.read_text("utf-8"), whole_base)
    (o,) = case.outcomes
    root = next(c.name for c in whole_base.knowledge.causes.values() if c.id == "C104")
    assert not wrong and (o.roots, o.mechanisms, o.none_of_these) == ((root,), ("dry running",), False)
    assert (o.by, o.how, o.when) == ("the site", "worked after change", "2026-06-20")
    assert o.changed == ("vent line fitted", "start-up sheet rewritten") and o.position == "seal"
    line = json.loads((file.parent / "case.yaml.journal").read_text("utf-8").splitlines()[-1])
    assert line["who"] == "Anna" and line["what"]["add"] == "outcomes"
    shown = diagnose("journal", str(file)).stdout
    assert f"outcome: {root}: dry running, by the site" in " ".join(shown.split())


def test_a_second_finding_stands_beside_the_first_and_a_correction_says_why(file, whole_base):
    close = ("close", str(file), "--how", "laboratory", "--when", "2026-04-01", "--by", "Anna")
    assert diagnose(*close, "--none-of-these", "--said", "a valve left shut by a contractor").returncode == 0
    assert diagnose(*close, "--root", "gas not vented", "--note", "second look").returncode == 0
    case, _ = read(file.read_text("utf-8"), whole_base)
    assert [(o.roots, o.none_of_these) for o in case.outcomes] == [((), True), (("gas not vented",), False)]
    refused = diagnose(*close, "--root", "dirty system", "--instead-of", "3")
    assert refused.returncode == 2 and "says why" in refused.stderr
    assert diagnose(*close, "--root", "dirty system", "--instead-of", "3", "--why", "samples mixed up").returncode == 0
    case, _ = read(file.read_text("utf-8"), whole_base)
    assert [o.roots for o in case.outcomes] == [(), ("dirty system",)]


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("--root", "gas not vented"), "how it was confirmed is not said"),
        (("--how", "laboratory"), "an outcome says what was confirmed"),
        (("--root", "gas not vent", "--how", "laboratory"), "? or say it in your own words under said"),
        (("--root", "gas not vented", "--how", "a hunch"), "'a hunch' is no way to confirm an outcome"),
        (("--root", "gas not vented", "--how", "laboratory", "--when", "spring"), "'spring' is no date"),
        (("--root", "gas not vented", "--none-of-these", "--how", "laboratory"), "a root cause is confirmed, and none of these"),
        (("--root", "gas not vented", "--how", "laboratory", "--position", "inboard"), "'inboard' is no position"),
    ],
)  # fmt: skip
def test_what_cannot_be_an_outcome_is_told_with_the_way_out_and_nothing_is_recorded(file, words, says):
    before = file.read_bytes()
    done = diagnose("close", str(file), *words)
    assert done.returncode == 2 and says in done.stderr
    assert file.read_bytes() == before and not (file.parent / "case.yaml.journal").exists()


def test_closing_a_case_does_not_move_its_answer(tmp_path, closing_rules):
    file = tmp_path / "case.yaml"
    shutil.copy(SMALL / "case.yaml", file)

    def answers() -> list[dict]:
        return json.loads(diagnose("explain", str(file), "--json", **closing_rules).stdout)["positions"]

    before = answers()
    assert diagnose("close", str(file), "--root", "bent shaft", "--how", "laboratory", **closing_rules).returncode == 0
    assert answers() == before


def test_acts_of_custody_are_shown_part_by_part_in_the_order_of_time(file):
    custody = ("custody", str(file), "--by", "Anna")
    assert diagnose(*custody, "--did", "shelved", "--part", "1", "--where", "locked shelf", "--bag", "B-1147", "--when",
                    "2026-03-12 16:00").returncode == 0  # fmt: skip
    assert (
        diagnose(
            *custody, "--did", "receive", "--from", "site stores", "--part", "1", "--when", "2026-03-12 09:30"
        ).returncode
        == 0
    )
    assert diagnose(*custody, "--did", "receive", "--when", "2026-03-11").returncode == 0
    whole, ring = json.loads(diagnose("custody", str(file), "--json").stdout)
    assert (whole["part"], ring["part"]) == ("", "1") and len(whole["acts"]) == 1
    assert [a["says"] for a in ring["acts"]] == [
        "2026-03-12 09:30 receive by Anna from site stores",
        "2026-03-12 16:00 store by Anna, locked shelf, bag B-1147",
    ]
    refused = diagnose(*custody, "--did", "receive", "--part", "9")
    assert refused.returncode == 2 and "no part has the item number '9'" in refused.stderr


def test_renumbering_a_part_keeps_its_custody(file, whole_base):
    assert diagnose("custody", str(file), "--did", "receive", "--part", "1", "--when", "2026-03-11").returncode == 0
    done = diagnose("note", str(file), "--add-part", "7", "--kind", "soft face", "--name", "Carbon ring", "--instead-of", "1.1",
                    "--why", "drawing has it as 7")  # fmt: skip
    assert done.returncode == 0, done.stderr
    case, wrong = read(file.read_text("utf-8"), whole_base)
    assert not wrong and case.custody[0].parts == ("7",)


def test_the_page_tells_how_to_begin_where_no_custody_is_on_record(file):
    assert "diagnose custody FILE --did receive" in " ".join(diagnose("custody", str(file)).stdout.split())
