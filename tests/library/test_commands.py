"""The commands as people meet them, on an invented folder of cases."""

from __future__ import annotations

import json
import shutil
import xml.etree.ElementTree as ET

import pytest

from tests.library import site
from tests.support.commands import diagnose
from tests.support.places import SMALL

BASE = ("--knowledge", str(SMALL / "knowledge"))


@pytest.fixture
def library(folder, in_this_process):
    """Twelve cases on two machines, and an index over them."""
    for i in range(6, 12):
        site.write(folder, i, site.case(i, "P-102", removed=f"2026-0{i - 5}-01"))
    done = diagnose("library", "sync", str(folder), *BASE)
    assert (done.returncode, done.stdout) == (0, "cases: 12 new\n")
    return folder


def asked(library, *words):
    return diagnose("library", *words, "--library", str(library))


def test_a_machine_is_shown_and_a_misspelt_one_is_helped(library):
    done = asked(library, "machine", "P-102")
    assert "P-102: 6 seals on record" in done.stdout
    assert "Repeat failures\n  bent shaft (root cause): 3 cases, 0 of them confirmed" in done.stdout
    done = asked(library, "machine", "P-120")
    assert done.returncode == 2
    assert "did you mean: P-102" in done.stderr


def test_lives_are_shown_drawn_and_given_to_machines(library, tmp_path):
    done = asked(library, "life", "--by", "tag", "--svg", str(tmp_path / "life.svg"))
    assert "P-101" not in done.stdout, "its seals have no dates of removal"
    assert "P-102: 6 seals, 6 failed, 0 sound or running" in done.stdout
    drawn = ET.parse(tmp_path / "life.svg").getroot()
    assert "P-102: 6 seals, 6 failed" in [t.text for t in drawn.iter("{http://www.w3.org/2000/svg}text")]
    (group,) = json.loads(asked(library, "life", "--json").stdout)["groups"]
    assert (group["seals"], group["failed"], group["by dates"]) == (6, 6, 6)


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("life", "--by", "colour"), "no life on record has a 'colour' (groups: cause, tag, batch"),
        (("life", "--change", "soon"), "'soon' is no date"),
        (("life", "--change", "2026", "--by", "tag"), "--change makes groups of its own"),
        (("bad-actors", "--by", "weather"), "'weather' is none of tag, batch, cause, mechanism"),
        (("life", "--site", "north"), "no seals of a site 'north' are in this library"),
        (("export", "-o", "t.xls"), "no table of the kind '.xls'"),
        (("share", "-o", "t.csv"), "seals are shared as .jsonl"),
        (("import", "nothing.jsonl", "--site", "a/b"), "'a/b' cannot name a site"),
    ],
)  # fmt: skip
def test_a_wrong_call_says_the_way_out(library, words, told):
    done = asked(library, *words)
    assert done.returncode == 2
    assert told in " ".join(done.stderr.split())


def test_bad_actors_are_shown_and_drawn(library, tmp_path):
    done = diagnose("library", "bad-actors", "--library", str(library), "--svg", str(tmp_path / "b.svg"), *BASE)
    assert "P-101" in done.stdout and "P-102" in done.stdout
    drawn = ET.parse(tmp_path / "b.svg").getroot()
    assert "6, together 50%" in [t.text for t in drawn.iter("{http://www.w3.org/2000/svg}text")]


def test_a_case_without_a_like_and_a_library_without_outcomes_say_so(library):
    done = diagnose("library", "like", str(library / "c00000.yaml"), "--library", str(library), *BASE)
    assert "No closed case shares any evidence" in done.stdout
    assert "No case of this library has an outcome." in asked(library, "calibration").stdout


def test_whoever_opens_a_case_on_a_machine_hears_what_came_back(library):
    new = library / "new" / "case.yaml"
    new.parent.mkdir()
    told = diagnose("start", str(new), "--arrangement", "single", "--tag", "P-102", "--by", "A", *BASE)
    assert "P-102 has 6 cases before this one" in told.stdout
    assert "it came back: bent shaft, 3 times, 0 confirmed" in told.stdout
    assert "tag: P-102" in new.read_text("utf-8")
    silent = diagnose(
        "start", str(new.with_name("b.yaml")), "--arrangement", "single", "--tag", "P-9", "--by", "A", *BASE
    )
    assert "before this one" not in silent.stdout


def test_a_damaged_index_keeps_nobody_from_recording(library):
    from diagnose.library.store import index_path, remove

    remove(index_path(library))
    index_path(library).write_bytes(b"damaged" * 999)
    new = library / "case.yaml"
    done = diagnose("start", str(new), "--arrangement", "single", "--tag", "P-102", "--by", "A", *BASE)
    assert done.returncode == 0
    assert "cannot be told" in done.stdout
    assert new.exists()


def test_a_broken_case_is_told_and_the_rest_is_there(library):
    (library / "c00000.yaml").write_text("case: [", "utf-8")
    done = diagnose("library", "sync", str(library), *BASE)
    assert done.returncode == 1
    assert "11 as before" in done.stdout
    assert "c00000.yaml:2:1" in done.stdout
    assert "1 file cannot be judged and is left out" in done.stdout


@pytest.mark.slow
def test_seals_go_to_another_site_and_come_back_apart(library, tmp_path):
    other = tmp_path / "other"
    shutil.copytree(library, other, ignore=shutil.ignore_patterns(".*", "deep"))
    file = tmp_path / "seals.jsonl"
    assert asked(library, "share", "-o", str(file)).returncode == 0
    for words in (("import", str(file), "--site", "north", "--library", str(other)), ("sync", str(other))):
        assert diagnose("library", *words, *BASE).returncode == 0
    at_home, theirs = (
        json.loads(asked(other, "life", "--by", "tag", "--json", *words).stdout)["groups"]
        for words in ((), ("--site", "north"))
    )
    assert [(g["group"], g["seals"]) for g in at_home] == [("P-102", 6)]
    assert [(g["group"][:8], g["seals"]) for g in theirs] == [("machine ", 6)]
