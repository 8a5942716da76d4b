"""What a note takes without a mark, several photos, and what it tells of pressures; and the versions."""

from __future__ import annotations

import hashlib
import re
from pathlib import Path

import pytest

from diagnose.casefile.reader import read_case
from diagnose.knowledge.cache import open_knowledge
from tests.support.commands import ended

KNOWLEDGE = Path(__file__).parents[2] / "knowledge"
PICTURE = b"\xff\xd8\xff\xe0 light"


@pytest.fixture
def diagnose(tmp_path, monkeypatch, capsys):
    """Runs a command in a folder of its own; returns (exit code, output, errors)."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("DIAGNOSE_BY", "ann")

    def run(*words):
        code, out, err = ended(monkeypatch, capsys, *words)
        assert "Traceback" not in err
        return code, out, err

    return run


@pytest.fixture
def begun(diagnose):
    assert diagnose("start", "p.yaml", "--arrangement", "single")[0] == 0
    return diagnose


def case():
    return read_case(Path("p.yaml"), open_knowledge(KNOWLEDGE))


def test_several_photos_of_a_mark_are_all_on_record_even_from_another_folder(begun, tmp_path_factory):
    phone = tmp_path_factory.mktemp("phone") / "a.jpg"
    for path in (phone, Path("b.jpg"), Path("c.jpg")):
        path.write_bytes(PICTURE + path.name.encode())
    words = [
        "--part",
        "1",
        "--saw",
        "blisters",
        "--photo",
        str(phone),
        "--photo",
        "b.jpg",
        "--photo",
        "c.jpg",
        "--note",
        "wet",
    ]
    code, out, err = begun("note", "p.yaml", *words)
    assert (code, err) == (0, "") and "remark on part 1" in out
    now = case()
    (mark,) = now.observations
    assert (mark.photo, mark.note) == ("a.jpg", "wet")
    assert [(r.part, r.photo) for r in now.remarks] == [("1", "b.jpg"), ("1", "c.jpg")]
    assert mark.photo_digest == hashlib.sha256(Path("a.jpg").read_bytes()).hexdigest()
    assert Path("a.jpg").read_bytes() == phone.read_bytes()


@pytest.mark.slow
@pytest.mark.parametrize(
    "words", [["--photo", "b.jpg"], ["--note", "smelt burnt"], ["--part", "2", "--note", "oily", "--photo", "b.jpg"]]
)
def test_a_photo_or_a_remark_stands_without_a_mark(begun, words):
    Path("b.jpg").write_bytes(PICTURE)
    code, _, err = begun("note", "p.yaml", *words)
    assert (code, err) == (0, "")
    (remark,) = case().remarks
    told = dict(zip(words[::2], words[1::2], strict=True))
    assert (remark.part, remark.note, remark.photo) == (
        told.get("--part", ""),
        told.get("--note", ""),
        told.get("--photo", ""),
    )
    code, _, _ = begun("report", "p.yaml", "-o", "r.md")
    text = Path("r.md").read_text()
    assert all(x in text for x in (remark.note, remark.photo)) and code == 0
    Path("b.jpg").write_bytes(b"dark")
    assert ("no longer the one" in begun("journal", "p.yaml", "--check")[1]) == bool(remark.photo)


def test_a_remark_can_be_withdrawn_and_adopted_by_hand(begun):
    begun("note", "p.yaml", "--note", "smelt burnt")
    Path("p.yaml").write_text(Path("p.yaml").read_text().replace("smelt burnt", "smelt sour"))
    assert begun("journal", "p.yaml", "--adopt", "--why", "misheard")[0] == 0
    assert [r.note for r in case().remarks] == ["smelt sour"]
    number = re.findall(r"^(\d+)  remark", begun("note", "p.yaml", "--note", "warm")[1], re.M)[0]
    assert begun("note", "p.yaml", "--withdraw", number, "--why", "no")[0] == 0
    assert [r.note for r in case().remarks] == ["smelt sour"]


@pytest.mark.parametrize(
    ("value", "told"), [("4.5", True), ("65 psi", True), ("4.5 bar g", False), ("4.5 bar a", False)]
)
def test_a_pressure_without_gauge_or_absolute_is_told(begun, value, told):
    code, out, err = begun("note", "p.yaml", "--set", f"chamber pressure={value}")
    assert code == 0 and "chamber pressure" in out
    assert ("says neither g (gauge) nor a (absolute)" in err) == told
    assert begun("note", "p.yaml", "--set", "vapour pressure=1.2")[2] == ""


def test_an_index_without_a_part_says_where_a_groups_mark_is_set(begun):
    code, _, err = begun("note", "p.yaml", "--index", "keyway")
    assert code == 2 and '--set "index.rotating=keyway"' in err


def test_a_thousands_comma_is_asked_about(begun):
    code, _, err = begun("note", "p.yaml", "--set", "speed=2,950 rpm")
    assert code == 2 and "write 2950, or 2.950 with the point" in err
    assert "speed" not in Path("p.yaml").read_text()


def test_the_versions_are_told(diagnose):
    code, out, _ = diagnose("--version")
    assert code == 0 and re.fullmatch(r"diagnose \d+\.\d+\.\d+, rule base \S+ \([0-9a-f]{16}\)\n", out)


def test_what_does_not_go_together_is_told_beside_the_record_and_mended_by_what_is_told(begun):
    assert begun("note", "p.yaml", "--measured", "leak rate", "--readings", "12 drops/min")[0] == 0
    code, out, err = begun("note", "p.yaml", "--absent", "leaking", "--on", "leak")
    assert code == 0 and "absent leak" in out
    assert (
        "'leak rate on leak: 36 mL/h' does not go with 'looked for, not there: leak'. Both stand; to correct: " in err
    )
    number = re.search(r"--instead-of (\d+) --why TEXT", err)
    assert number
    told = begun(
        "note",
        "p.yaml",
        "--measured",
        "leak rate",
        "--readings",
        "0 drops/min",
        "--instead-of",
        number[1],
        "--why",
        "misread",
    )
    assert told[0] == 0 and told[2] == "" and "does not go with" not in begun("explain", "p.yaml")[1]


def test_a_setting_against_the_list_of_parts_is_told_in_the_answer_too(begun):
    assert begun("note", "p.yaml", "--set", "springs=single coil")[2].startswith(
        "'springs: single coil' does not go with"
    )
    assert "does not go with" in begun("explain", "p.yaml")[1]
