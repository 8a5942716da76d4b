"""Show, list, search, match and check, as an author calls them."""

from __future__ import annotations

import json
import re
from pathlib import Path
from urllib.parse import unquote

import pytest
from pydantic_sarif.model import StaticAnalysisResultsFormatSarifVersion210JsonSchema

from diagnose.authoring.check import examine_contents
from diagnose.knowledge.files import contents_of
from diagnose.views.problems import github, sarif
from tests.support.places import SMALL
from tests.support.workshop import call


def test_show_says_what_a_finding_uses_and_who_uses_it(folder):
    code, said = call("show", "F1", "--knowledge", folder)
    assert code == 0
    for part in (
        "radial cracks on hard face all round",
        "none of these is known",
        "faces overheated",
        "used by findings: hot and hard",
        "Cracks right round say that it ran hot",
        "Common practice of the trade",
    ):
        assert part in " ".join(said.split()), part


def test_weights_shown_are_those_that_count(folder):
    """A look misses 5 in 100 and takes 1 in 100 for there: 10 log10(0.9045/0.057) = 12.0 dB, 10 log10(0.0955/0.943) = -9.9."""
    (shown,) = json.loads(call("show", "ring baked", "--json", "--knowledge", folder)[1])
    row = next(r for r in shown["leaves"] if r["finding"] == "ring hard")
    assert (row["if_present"], row["if_absent"]) == (12.0, -9.9)


def test_show_says_what_brings_a_mechanism_about_and_what_it_leaves(folder):
    said = call("show", "faces overheated", "--knowledge", folder)[1]
    told = " ".join(said.split())
    for part in (
        "by itself: very rarely",
        "Brought about by dry running (root cause) almost always barrier lost (root cause) often",
        "What it brings about ring baked usually",
        "What it leaves finding seen present absent",
        "What to repair Relap or renew the faces.",
    ):
        assert part in told, part


def test_headings_stand_over_what_belongs_to_them(folder):
    lines = call("show", "dry running", "--knowledge", folder)[1].splitlines()
    at = {line: i for i, line in enumerate(lines)}
    assert at["Look-alikes"] < next(i for i, x in enumerate(lines) if "The shaft runs out" in x) < at["What to change"]
    assert "Keep liquid" in lines[at["What to change"] + 1]


def test_show_offers_the_nearest_names(folder):
    code, said = call("show", "hot al round", "--knowledge", folder)
    assert code == 2 and "hot all round" in said


def test_a_retired_card_points_to_its_successor(folder):
    path = folder / "measurements/runout-by-dial.yaml"
    text = path.read_text()
    path.write_text(text.replace("status: accepted", "status: retired\nreplaced by: runout by probe"))
    (folder / "measurements/runout-by-probe.yaml").write_text(
        text.replace("runout by dial", "runout by probe").replace("M1", "M2")
    )
    code, said = call("show", "M1", "--knowledge", folder)
    assert code == 2 and "runout by probe" in said
    assert "in place of: runout by dial" in call("show", "M2", "--knowledge", folder)[1]
    listed = json.loads(call("list", "--status", "retired", "--json", "--knowledge", folder)[1])
    assert [r["id"] for r in listed] == ["M1"]


def test_list_and_search(folder):
    listed = json.loads(call("list", "--kind", "cause", "--json", "--knowledge", folder)[1])
    assert [r["name"] for r in listed] == ["barrier lost", "bent shaft", "dry running", "jet erosion"]
    assert call("list", "--kind", "casue", "--knowledge", folder)[0] == 2
    found = json.loads(call("search", "ring", "hard", "--json", "--knowledge", folder)[1])
    assert found[0]["name"] == "ring hard"
    assert {"ring baked", "hot and hard"} <= {r["name"] for r in found}
    assert json.loads(call("search", "no such words", "--json", "--knowledge", folder)[1]) == []


def test_match_says_true_false_or_unknown_and_on_which_record(folder):
    code, said = call("match", "hot all round", SMALL / "case.yaml", "--json", "--knowledge", folder)
    assert code == 0
    present, absent = json.loads(said)
    truths = {row["says"]: (row["truth"], row["on"]) for row in present["conditions"]}
    assert truths["radial cracks on hard face all round"] == (
        "true",
        ["radial cracks on Seat (2) (moderate) all round"],
    )
    assert truths["severe edge chips on hard face"][0] == "false"
    assert (present["holds"], absent["holds"]) == (True, False)
    code, said = call("match", "shaft moves", SMALL / "case.yaml", "--knowledge", folder)
    assert "? unknown: bent on shaft" in said and "- false: shaft runout outside the limit 'shaft runout'" in said
    assert call("match", "dry running", SMALL / "case.yaml", "--knowledge", folder)[0] == 0
    assert call("match", "jet erosion", SMALL / "case.yaml", "--knowledge", folder)[0] == 2


BROKEN = 'finding: seen\nid: F90\nstatus: accepted\nsince: "1.0"\nreviewed: "2026-11"\nsources: [common-practice]\nreads: seen\notherwise: rarely\nwhen: {saw: radial crack}\n'


@pytest.mark.parametrize("form", ["text", "json", "sarif", "github"])
def test_every_format_tells_a_broken_rule_and_fails(form, folder):
    assert call("check", "--format", form, "--knowledge", folder)[0] == 0
    (folder / "findings/seen.yaml").write_text(BROKEN)
    code, said = call("check", "--format", form, "--knowledge", folder)
    assert code == 1 and "unknown-feature" in said and "radial cracks" in said


def test_check_shows_the_line_with_a_caret_under_the_word(folder):
    (folder / "findings/seen.yaml").write_text(BROKEN)
    said = call("check", "--knowledge", folder)[1]
    lines = said.splitlines()
    at = next(i for i, line in enumerate(lines) if "unknown-feature" in line)
    assert lines[at + 1].endswith("when: {saw: radial crack}")
    assert lines[at + 2].index("^") == lines[at + 1].index("radial crack")
    assert re.search(r"^1 error, \d+ advice$", said, re.M)


BROKEN_FILES = sorted((Path(__file__).resolve().parents[1] / "broken").glob("*.yaml"))


@pytest.mark.slow
def test_sarif_fits_the_published_schema():
    """The model is made from sarif-schema-2.1.0.json and takes no key that the schema does not have. Every broken rule
    of tests/broken, in a file whose name is no URI as it stands."""
    base = contents_of(SMALL / "knowledge")
    results = 0
    for path in BROKEN_FILES:
        report = examine_contents({**base, "findings/50 % ä.yaml": path.read_bytes()}, "some where")
        log = StaticAnalysisResultsFormatSarifVersion210JsonSchema.model_validate_json(sarif(report.problems))
        (run,) = log.runs
        rules = {r.id for r in run.tool.driver.rules}
        for result, problem in zip(run.results, report.problems, strict=True):
            results += 1
            assert result.ruleId in rules and result.level.value == {"error": "error", "advice": "note"}[problem.level]
            place = result.locations[0].physicalLocation
            assert re.fullmatch(r"[A-Za-z0-9%/._~-]+", place.artifactLocation.uri)
            assert unquote(place.artifactLocation.uri) == problem.where.file
            assert (place.region.startLine, place.region.startColumn) == (problem.where.line, problem.where.column)
    assert results >= len(BROKEN_FILES)


def test_github_lines_are_escaped(folder):
    (folder / "findings/seen.yaml").write_text(BROKEN.replace("radial crack", "100% crack"))
    said = call("check", "--format", "github", "--knowledge", folder)[1]
    line = next(x for x in said.splitlines() if "unknown-feature" in x)
    assert (
        line.startswith("::error file=") and ",line=9,col=13,title=unknown-feature::" in line and "100%25 crack" in line
    )


@pytest.mark.slow
def test_a_build_server_reads_every_github_line_back():
    """A workflow command is ::KIND KEY=VALUE,…::MESSAGE with %, line ends, and in values colons and commas escaped."""
    base = contents_of(SMALL / "knowledge")
    shown = "a,b: 100%"
    for path in BROKEN_FILES:
        report = examine_contents({**base, f"findings/{path.name}": path.read_bytes()}, shown)
        lines = github(report.problems).splitlines()
        for line, problem in zip(lines, report.problems, strict=True):
            match = re.fullmatch(r"::(error|notice) ([^:]*)::(.*)", line)
            assert match, line
            values = dict(pair.split("=") for pair in match.group(2).split(","))
            assert unquote(values["file"]) == problem.where.file and values["title"] == problem.code
            assert (values["line"], values["col"]) == (str(problem.where.line), str(problem.where.column))
            assert unquote(match.group(3)).startswith(problem.says)


def test_strict_fails_for_advice_and_a_missing_folder_is_a_wrong_call(folder, tmp_path):
    assert call("check", "--strict", "--knowledge", folder)[0] == 1
    assert call("check", "--knowledge", tmp_path / "none")[0] == 2
    assert call("check", "--format", "xml", "--knowledge", folder)[0] == 2


def test_drafts_are_checked_but_run_only_when_asked(folder):
    (folder / "findings/seen.yaml").write_text(BROKEN.replace("accepted", "draft"))
    assert call("check", "--knowledge", folder)[0] == 1
    assert call("test", "--knowledge", folder)[0] == 0
    assert call("test", "--with-drafts", "--knowledge", folder)[0] == 2


def test_an_accepted_rule_may_not_rest_on_a_draft(folder):
    path = folder / "findings/ring-hard.yaml"
    path.write_text(path.read_text().replace("accepted", "draft"))
    code, said = call("check", "--knowledge", folder)
    assert code == 1 and "there is no finding 'ring hard'" in said
