"""explain, meaning, terms, quantities and score as a person or a program meets them."""

from __future__ import annotations

import json
import os
import pty
import subprocess
import sys
from importlib import resources
from pathlib import Path

import jsonschema
import pytest
from referencing import Registry
from referencing.jsonschema import DRAFT202012

from tests.support.commands import diagnose
from tests.support.places import mostly_slow

ROOT = Path(__file__).resolve().parents[2]
SCENARIOS = sorted(p.stem for p in (ROOT / "scenarios").glob("*.yaml"))


@pytest.mark.parametrize("name", mostly_slow(SCENARIOS))
def test_json_keeps_its_schema(name):
    parts = ("explanation.schema.json", "next_steps.schema.json")
    told = [json.loads(resources.files("diagnose.views").joinpath(p).read_text("utf-8")) for p in parts]
    registry = Registry().with_resources((p, DRAFT202012.create_resource(t)) for p, t in zip(parts, told, strict=True))
    done = diagnose("explain", name, "--json")
    assert done.returncode == 0, done.stderr
    answer = json.loads(done.stdout)
    jsonschema.Draft202012Validator(told[0], registry=registry).validate(answer)
    probabilities = [c["probability"] for c in answer["causes"] if c["standing"] == "unlikely"]
    assert probabilities == sorted(probabilities, reverse=True)


@pytest.mark.slow
@pytest.mark.parametrize("width", [80, 120])
def test_pages_fit_their_width(width):
    for words in (
        ["explain", "crude-pump-barrier-lost", "--all"],
        ["meaning", "heat checks"],
        ["terms", "crack"],
        ["quantities", "transfer-pump-tilted-gland"],
    ):
        done = diagnose(*words, COLUMNS=str(width))
        assert done.returncode == 0, done.stderr
        too_long = [line for line in done.stdout.splitlines() if len(line) > width]
        assert too_long == []


@pytest.mark.slow
@pytest.mark.slow
def test_the_first_screen_has_what_happened_why_chain_and_next_step():
    lines = diagnose("explain", "condensate-pump-dry-start").stdout.splitlines()[:32]
    screen = "\n".join(lines)
    order = [
        screen.index(x)
        for x in ("What happened", "Why", "gas not vented", "for: ", "Chain", "What to look at next", "  1. ")
    ]
    assert order == sorted(order)
    assert "dry running" in screen and "%" in screen


def on_a_terminal(**env: str) -> bytes:
    leader, follower = pty.openpty()
    with subprocess.Popen(
        [sys.executable, "-m", "diagnose", "explain", "condensate-pump-dry-start"],
        stdout=follower,
        stderr=follower,
        env={**{k: v for k, v in os.environ.items() if k != "NO_COLOR"}, "TERM": "xterm", **env},
    ) as process:
        os.close(follower)
        told = b""
        try:
            while chunk := os.read(leader, 65536):
                told += chunk
        except OSError:
            pass
        assert process.wait() == 0
    os.close(leader)
    return told


@pytest.mark.slow
def test_style_only_on_a_terminal_that_wants_it():
    assert b"\x1b[" in on_a_terminal()
    assert b"\x1b[" not in on_a_terminal(NO_COLOR="1")
    assert b"\x1b[" not in on_a_terminal(TERM="dumb")
    assert "\x1b" not in diagnose("explain", "condensate-pump-dry-start").stdout


def test_another_rule_base_by_option_and_by_environment():
    small = str(ROOT / "tests" / "small" / "knowledge")
    case = str(ROOT / "tests" / "small" / "case.yaml")
    by_option = diagnose("explain", case, "--json", "--knowledge", small)
    by_name = diagnose("explain", case, "--json", DIAGNOSE_KNOWLEDGE=small)
    assert by_option.returncode == 0, by_option.stderr
    assert by_option.stdout == by_name.stdout
    assert json.loads(by_option.stdout)["causes"][0]["name"]


@pytest.mark.slow
@pytest.mark.slow
@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["explain", "no-such-case"], "there is no such file"),
        (["explain", "condensate-pump-dry-start", "--position", "outboard"], "its positions: seal"),
        (["meaning", "unobtainium"], "diagnose terms"),
        (["meaning", "blisters", "--on", "bearing"], "did you mean: soft face"),
        (["score", "/no/such/folder"], "there is no folder"),
        (["explain", "condensate-pump-dry-start", "--knowledge", "/no/such/base"], "there is no such rule base"),
        (["explian"], "No such command"),
    ],
)
def test_a_wrong_call_says_the_way_out_and_exits_with_2(words, told):
    done = diagnose(*words)
    assert done.returncode == 2 and told in done.stderr + done.stdout
    assert "Traceback" not in done.stderr


@pytest.fixture
def without_index(tmp_path):
    """The scenario of two spots at two bolts as it would be if nobody had indexed a part."""
    text = (ROOT / "scenarios" / "hydrotested-pump-two-spots.yaml").read_text("utf-8")
    for gone in (
        ", index: keyway",
        ", index: top dead centre",
        "index: {rotating: keyway, stationary: top dead centre}\n",
    ):
        text = text.replace(gone, "")
    path = tmp_path / "case.yaml"
    path.write_text(text, "utf-8")
    return str(path)


RULE = "two heavy spots in line with the gland bolts"
NOT_INDEXED = "Mating ring (2) was not indexed; Gland (3) was not indexed"


@pytest.mark.slow
@pytest.mark.parametrize(
    "words", [["quantities", ""], ["explain", ""], ["why-not", "", RULE], ["rules", "match", RULE, ""]]
)
def test_marks_on_parts_without_an_index_are_said_to_be_incomparable(words, without_index):
    told = diagnose(*[w or without_index for w in words]).stdout
    assert NOT_INDEXED in " ".join(told.split())
    told = diagnose(*[w or "hydrotested-pump-two-spots" for w in words]).stdout
    assert "not indexed" not in told


@pytest.mark.slow
def test_quantities_give_the_relation_of_marks_that_rules_compare():
    rows = json.loads(diagnose("quantities", "transfer-pump-tilted-gland", "--json").stdout)
    marks = [r for r in rows if r["quantity"] == "relation of marks"]
    assert marks and {r["word"] for r in marks} == {"opposite"}
    assert all(abs(r["value"] - 180) <= 20 and len(r["inputs"]) == 2 and r["source"] for r in marks)


@pytest.mark.slow
def test_a_mark_seen_from_the_impeller_end_says_so():
    told = " ".join(
        diagnose("why", "shaft-runout-large-record", "sleeve and impeller rubbed at the same clock").stdout.split()
    )
    assert "rub mark on Sleeve (7) (severe) from 3 to 5 (case line" in told
    assert "impeller rubbed on Impeller (22) (light) from 8 to 10 (seen from the impeller end)" in told


@pytest.mark.slow
def test_every_quantity_has_a_source_and_its_limits_are_told_by_name_in_its_unit():
    names = ("propane-pump-flashing", "shaft-runout-large-record", "brine-pump-set-short")
    for name in names:
        for row in json.loads(diagnose("quantities", name, "--json").stdout):
            assert row["source"] and row["formula"], row["quantity"]
    told = " ".join(diagnose("quantities", "propane-pump-flashing").stdout.split())
    assert "inside: face pressure, at most 1.5 MPa (published as 15 bar; Common practice of the trade)" in told
    assert "vapour pressure 13.07 bar of propane at 38 °C" in told and "vapour pressure 38 °C" not in told
    assert "running hours 2600 h outside: first day, at most 24 h" in told and "source: as recorded" in told


@pytest.mark.slow
def test_a_number_used_as_recorded_is_not_said_to_be_worked_out():
    told = " ".join(diagnose("why", "hydrotested-pump-two-spots", "failed within days").stdout.split())
    assert "running hours 36 h ≤ 200 h" in told and "as recorded" in told and "worked out as as" not in told


@pytest.mark.slow
def test_a_limit_that_hangs_on_gauge_or_absolute_is_an_open_point(tmp_path):
    path = tmp_path / "case.yaml"
    text = "case: propane\nseal: {arrangement: single}\nservice: {fluid: propane, temperature: 20 °C, chamber pressure: 9.2 bar}\n"
    said = "whether vapour margin keeps the limit vapour margin: chamber pressure 9.2 bar says neither g (gauge) nor a (absolute)"
    for written, told in (("9.2 bar", True), ("9.2 bar a", False), ("20 bar", False)):
        path.write_text(text.replace("9.2 bar", written), "utf-8")
        assert (said in " ".join(diagnose("explain", str(path)).stdout.split())) == told
        (place,) = json.loads(diagnose("explain", str(path), "--json").stdout)["positions"]
        assert place["not_known"] == ([said] if told else [])


@pytest.mark.slow
def test_a_case_that_is_not_there_names_the_scenarios():
    done = diagnose("explain", "nosuch")
    assert done.returncode == 2 and all(name in done.stderr for name in SCENARIOS)
    done = diagnose("explain", "propane")
    assert done.returncode == 2 and "did you mean: propane-pump-flashing?" in done.stderr


@pytest.mark.slow
def test_terms_begin_with_the_word_or_refuse():
    rows = json.loads(diagnose("terms", "pot", "--json").stdout)
    assert "pot" in [r["term"] for r in rows] and "hot spots" not in [r["term"] for r in rows]
    done = diagnose("terms", "heat cheks")
    assert (done.returncode, done.stdout) == (2, "") and "heat checks" in done.stderr
