"""Checks that take more than one file: formulas, ids, drafts, broken files, rule tests; and a line for every code."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from diagnose.authoring import check
from tests.support.places import ROOT
from tests.support.workshop import call

FINDING = """\
finding: band loose
id: F90
status: accepted
since: "1.0"
reviewed: "2026-11"
sources: [common-practice]
reads: The band is loose.
otherwise: rarely
when: {quantity: band play, above: 1 mm}
"""
CASE = "case: A band\nmeasurements: [{on: shaft, measured: band gap, reading: 4 mm}, {on: shaft, measured: band width, readings: [1 mm, 2 mm]}]\n"


def added(
    folder: Path,
    quantity: str,
    readings: str = "band gap: {unit: mm, on: [shaft]}\n  band width: {unit: mm, on: [shaft], several: true}",
) -> None:
    """The small rule base with readings of a band, a quantity, and a finding on it."""
    for name, text in (("quantities", quantity), ("readings", readings)):
        path = folder / "vocabulary" / f"{name}.yaml"
        path.write_text(path.read_text().rstrip() + f"\n  {text}\n")
    (folder / "findings/band-loose.yaml").write_text(FINDING)
    card = folder / "mechanisms/rings-knock.yaml"
    card.write_text(card.read_text().rstrip() + "\n  - {finding: band loose, seen: usually}\n")


def state_of(folder: Path, tmp_path: Path) -> str:
    path = tmp_path / "band.yaml"
    path.write_text(CASE)
    said = call("match", "band loose", path, "--knowledge", folder)[1]
    match = re.search(r"([?+-]) (true|false|unknown): band play", said)
    assert match, said
    return match.group(2)


def test_a_quantity_that_no_formula_gives_is_an_error(folder):
    added(folder, "band play: {unit: mm}")
    code, said = call("check", "--knowledge", folder)
    assert code == 1 and "no formula gives the quantity 'band play'" in said and "[no-formula]" in said


@pytest.mark.parametrize(
    ("formula", "state"),
    [
        ("{difference: [band gap, band width]}", "true"),  # 4 - 1.5 mm, give or take 0.5
        ("{sum: [band gap, band width]}", "true"),
        ("{spread: band width}", "false"),  # 2 - 1 mm is not above 1 mm
        ("{mean: band gap}", "true"),
    ],
)
def test_a_simple_formula_needs_no_python(folder, tmp_path, formula, state):
    added(folder, f"band play: {{unit: mm, on: [shaft], formula: {formula}}}")
    assert call("check", "--knowledge", folder)[0] == 0
    assert state_of(folder, tmp_path) == state


def test_a_reading_is_a_quantity_by_itself(folder, tmp_path):
    added(folder, "band gap: {unit: mm, on: [shaft]}")
    path = folder / "findings/band-loose.yaml"
    path.write_text(FINDING.replace("band play", "band gap"))
    assert call("check", "--knowledge", folder)[0] == 0
    case = tmp_path / "band.yaml"
    case.write_text(CASE)
    assert "true: band gap" in call("match", "band loose", case, "--knowledge", folder)[1]


@pytest.mark.parametrize(
    ("quantity", "says"),
    [
        ("band play: {unit: mm, formula: {difference: [band gap]}}", "a difference takes 2 readings"),
        ("band play: {unit: mm, formula: {ratio: [band gap, band width]}}", "a ratio has no unit"),
        ("band play: {unit: bar, formula: {difference: [band gap, band width]}}", "the quantity is in bar"),
        ("band play: {unit: mm, formula: {mean: band gpa}}", "there is no reading 'band gpa'"),
        ("band play: {unit: mm, formula: {product: [band gap, band width]}}", "has no key 'product'"),
    ],
)
def test_a_wrong_formula_is_told(folder, quantity, says):
    added(folder, quantity)
    code, said = call("check", "--knowledge", folder)
    assert code == 1 and says in " ".join(said.split())


def test_of_two_cards_with_one_id_the_newer_is_told(folder):
    text = (folder / "findings/ring-hard.yaml").read_text()
    (folder / "findings/a-new-one.yaml").write_text(
        text.replace("finding: ring hard", "finding: a new one")
        .replace("accepted", "draft")
        .replace('since: "1.0"', 'since: "1.1"')
    )
    said = call("check", "--knowledge", folder)[1]
    assert re.search(
        r"findings/a-new-one.yaml:2:5: the id 'F3' is used already at \S+findings/ring-hard.yaml:2:5", said
    )


@pytest.mark.parametrize(
    ("key", "old", "new"), [("since", '"1.0"', "soon"), ("reviewed", '"2026-11"', "last spring"), ("id", "F3", "421")]
)
def test_the_form_of_a_head_is_checked(folder, key, old, new):
    path = folder / "findings/ring-hard.yaml"
    path.write_text(path.read_text().replace(f"{key}: {old}", f"{key}: {new}"))
    code, said = call("check", "--knowledge", folder)
    assert code == 1 and f"'{new}' is no {key}" in said


def test_a_row_on_a_draft_is_told_as_that(folder):
    path = folder / "findings/ring-hard.yaml"
    path.write_text(path.read_text().replace("accepted", "draft"))
    assert "it is a draft: give it status trial" in " ".join(call("check", "--knowledge", folder)[1].split())


@pytest.mark.parametrize(
    "name", ["findings/ring-hard.yaml", "words.yaml", "vocabulary/features.yaml", "mechanisms/ring-baked.yaml"]
)
def test_a_broken_file_is_told_and_not_what_follows_from_it(folder, name):
    path = folder / name
    path.write_text("a: [1\n" + path.read_text())
    said = call("check", "--knowledge", folder)[1]
    errors = [line for line in said.splitlines() if re.match(r"\S+:\d+:\d+: (?!advice)", line)]
    assert len(errors) == 1 and name in errors[0], said


def test_a_missing_file_is_told_and_not_what_follows_from_it(folder):
    (folder / "words.yaml").unlink()
    said = call("check", "--knowledge", folder)[1]
    assert "1 error" in said and "words.yaml" in said, said


def test_check_reads_the_rule_tests(folder):
    path = folder / "findings/ring-hard.test.yaml"
    path.write_text("- {test: hard, given: [{saw: hardend}], find: [ring hard]}\n")
    code, said = call("check", "--knowledge", folder)
    assert code == 1 and "ring-hard.test.yaml:1:30" in said and "hardened" in said and "finds" in said


def test_every_code_of_a_check_has_a_line_that_says_what_it_means():
    folder = ROOT / "diagnose" / "authoring"
    told = {
        code
        for path in (
            *folder.glob("checks/*.py"),
            folder / "logic.py",
            folder / "spoken.py",
            ROOT / "diagnose" / "knowledge" / "hazards.py",
        )
        for code in re.findall(r'(?:Problem|advice)\(\s*[\w.]+(?:\([^()]*\))?,\s*f?"([a-z{}_-]+)"', path.read_text())
    }
    assert len(told) > 20
    for code in told:
        pattern = re.sub(r"\{\w+\}", ".+", code)
        assert any(re.fullmatch(pattern, known) for known in check.CODES), code
    assert all(line.endswith(".") and len(line) > 20 for line in check.CODES.values())
    said = " ".join(call("check", "--codes")[1].split())
    assert all(f"{code}: {line}" in said for code, line in check.CODES.items())


def test_every_problem_of_the_small_base_has_a_known_code(folder):
    own = {p.code for p in check.examine(folder).problems}
    assert own and own <= set(check.CODES)


def test_the_caret_stands_under_the_place_in_a_long_line_too(folder):
    path = folder / "mechanisms/ring-baked.yaml"
    row = f"  - {{finding: ring hard, seen: {'almost always':200}, sources: [nobody]}}"
    path.write_text(path.read_text().replace("  - {finding: ring hard, seen: almost always}", row))
    lines = call("check", "--knowledge", folder)[1].splitlines()
    at = next(i for i, line in enumerate(lines) if "unknown-source" in line)
    assert lines[at + 2].index("^") == lines[at + 1].index("nobody") and len(lines[at + 1]) < 180


def test_a_mark_that_makes_the_sum_wide_is_named(folder, monkeypatch):
    """One mark of four mechanisms takes a chooser of terms; a low limit stands for a large base."""
    from diagnose.authoring.checks import levels

    for name in ("faces-overheated", "rings-knock", "washed-by-a-jet"):
        card = folder / "mechanisms" / f"{name}.yaml"
        card.write_text(card.read_text().replace("leaves:\n", "leaves:\n  - {finding: ring hard, seen: usually}\n"))
    assert "too-wide" not in call("check", "--knowledge", folder)[1]
    monkeypatch.setattr(levels, "WIDEST", 3)
    said = " ".join(call("check", "--knowledge", folder)[1].split())
    assert "'ring hard', a mark of 4 mechanisms, makes it wide" in said
