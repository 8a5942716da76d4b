"""start, note and journal as commands: what they print, what they put on record, and how they refuse."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path

import pytest

from diagnose.casefile.reader import read_case
from diagnose.knowledge.reader import read_knowledge
from tests.support.commands import ended

SMALL = Path(__file__).parents[1] / "small" / "knowledge"


@pytest.fixture
def diagnose(tmp_path, monkeypatch, capsys):
    """Runs a command in a folder of its own; returns (exit code, output, errors)."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("DIAGNOSE_KNOWLEDGE", str(SMALL))
    monkeypatch.setenv("DIAGNOSE_BY", "ann")

    def run(*words):
        code, out, err = ended(monkeypatch, capsys, *words)
        assert "Traceback" not in err
        return code, out, err

    return run


@pytest.fixture
def begun(diagnose):
    assert diagnose("start", "p.yaml", "--arrangement", "single", "--name", "Pump 3")[0] == 0
    assert (
        diagnose(
            "note", "p.yaml", "--add-part", "15", "--kind", "carbon ring", "--name", "Carbon", "--group", "rotating"
        )[0]
        == 0
    )
    return diagnose


def case():
    return read_case(Path("p.yaml"), read_knowledge(SMALL))


def test_start_makes_a_case_once(diagnose):
    code, out, _ = diagnose("start", "p.yaml", "--arrangement", "double")
    assert code == 0 and "dual pressurised" in out
    assert case().positions == ("inboard", "outboard")
    code, _, err = diagnose("start", "p.yaml", "--arrangement", "single")
    assert (code, "exists already" in err) == (2, True)
    code, _, err = diagnose("start", "q.yaml", "--arrangement", "singel")
    assert (code, "did you mean: single" in err) == (2, True)
    assert not Path("q.yaml").exists() and not Path("q.yaml.lock").exists()


@pytest.mark.slow
def test_everything_can_be_noted_without_a_question(begun):
    Path("seat.jpg").write_bytes(b"light")
    for words in (
        ["--part", "15", "--saw", "heat checks", "--from", "10", "--to", "2", "--degree", "moderate"],
        ["--part", "15", "--absent", "edge chips", "--photo", "seat.jpg", "--note", "under the loupe"],
        ["--on", "O-ring", "--lost", "hardened"],
        ["--not-looked-at", "leak when standing"],
        [
            "--on",
            "shaft",
            "--measured",
            "shaft runout",
            "--readings",
            "0.02 mm",
            "--resolution",
            "0.005 mm",
            "--instrument",
            "dial",
        ],
        [
            "--set",
            "service=dirty",
            "--set",
            "service=hot water",
            "--set",
            "fluid=liquor",
            "--set",
            "index.rotating=key",
        ],
        ["--event", "started", "--date", "2026-03-02"],
        ["--part", "15", "--index", "key", "--index-at", "3", "--seen-from", "driver end", "--tag", "T-1"],
        ["--stage", "before washing"],
    ):
        code, out, err = begun("note", "p.yaml", *words)
        assert (code, err) == (0, ""), (words, err)
        assert out
    now = case()
    marks = {(o.feature, o.state, o.part) for o in now.observations}
    assert marks == {
        ("radial cracks", "present", "15"),
        ("edge chips", "absent", "15"),
        ("hardened", "lost", ""),
        ("leak when standing", "not looked at", ""),
    }
    assert now.part("15").index_offset == 90 and now.part("15").tag == "T-1"
    assert {s.term for s in now.settings} == {"single", "hot water", "solids"}
    assert (now.texts["service.fluid"], now.events[0].what, now.stage) == ("liquor", "started", "before washing")
    assert [x.instrument for x in now.measured] == ["dial"]
    assert [o.photo_digest for o in now.observations if o.photo] == [hashlib.sha256(b"light").hexdigest()]


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["--saw", "radial craks", "--part", "15"], "radial cracks"),
        (["--saw", "radial cracks", "--part", "16"], "no part has the item number '16'"),
        (["--saw", "radial cracks", "--part", "15", "--from", "10"], "--from and --to go together"),
        (["--part", "15"], "nothing was said"),
        (["--set", "service"], "is no KEY=VALUE"),
        (["--set", "servise=dirty"], "did you mean: service"),
        (["--measured", "shaft runout", "--on", "shaft", "--readings", "2 kg"], "wrong kind of unit"),
        (["--measured", "shaft runout", "--on", "shaft"], "readings"),
        (["--withdraw", "99", "--why", "x"], "there is no record '99'"),
        (["--saw", "bent", "--on", "shaft", "--instead-of", "2"], "says why"),
        (["--saw", "bent", "--on", "shaft", "--photo", "no.jpg"], "cannot be read"),
        (["--part", "9", "--index", "key"], "--add-part"),
        (["--event", "started", "--date", "gestern"], "'gestern' is no date (write year, month and day"),
        (["--event", "started", "--date", "2026-13-40"], "'2026-13-40' is no date"),
        (["--date", "2026-03-02"], "--date goes with --event"),
        (["--readings", "2 mm"], "--readings goes with --measured"),
        (
            ["--measured", "shaft runout", "--on", "shaft", "--readings", "2 mm", "--resolution", "-1 mm"],
            "smallest step",
        ),
    ],
)
def test_a_wrong_note_says_what_is_wrong_and_records_nothing(begun, words, says):
    before = Path("p.yaml.journal").read_bytes(), Path("p.yaml").read_bytes()
    code, out, err = begun("note", "p.yaml", *words)
    assert (code, out) == (2, "")
    assert says in err
    assert (Path("p.yaml.journal").read_bytes(), Path("p.yaml").read_bytes()) == before


@pytest.fixture
def springs(diagnose, monkeypatch):
    """A case of the shipped rule base, where readings have nominals: item 2 a spring, item 3 a face."""
    monkeypatch.setenv("DIAGNOSE_KNOWLEDGE", str(Path(__file__).parents[2] / "knowledge"))
    assert diagnose("start", "p.yaml", "--arrangement", "single")[0] == 0
    assert diagnose("note", "p.yaml", "--add-part", "52", "--kind", "spring")[0] == 0
    assert diagnose("note", "p.yaml", "--add-part", "53", "--kind", "soft face", "--position", "seal")[0] == 0
    return diagnose


def test_readings_off_their_set_are_noted_only_by_somebody_who_is_sure(springs):
    words = ["--part", "52", "--measured", "free length", "--readings", "22.0 mm; 2.19 mm; 22.0 mm"]
    before = Path("p.yaml.journal").read_bytes()
    code, out, err = springs("note", "p.yaml", *words)
    assert (code, out) == (2, "") and "free length 2.19 mm, but the others are far from it (--sure if it is so)" in err
    assert Path("p.yaml.journal").read_bytes() == before
    assert springs("note", "p.yaml", *words, "--sure")[0] == 0
    assert springs("note", "p.yaml", "--saw", "leak when standing")[0] == 0  # what was insisted on is not asked again


@pytest.mark.parametrize("height_first", [True, False])
def test_a_reading_off_its_nominal_is_refused_whichever_comes_first(springs, height_first):
    notes = [["--part", "53", "--measured", "nose height", "--readings", "28"], ["--set", "new nose height=3.0 mm"]]
    first, second = notes if height_first else reversed(notes)
    assert springs("note", "p.yaml", *first)[0] == 0
    code, _, err = springs("note", "p.yaml", *second)
    assert code == 2 and "nose height 28 mm, but new nose height is 3 mm" in err


def test_bare_numbers_get_the_unit_of_their_reading(springs):
    words = [
        "--part",
        "52",
        "--measured",
        "free length",
        "--readings",
        "22.0 21.9",
        "--resolution",
        "0.05",
        "--temperature",
        "20",
    ]
    assert springs("note", "p.yaml", *words, "--set", "shaft diameter=50")[0] == 0
    text = Path("p.yaml").read_text("utf-8")
    for written in ("22.0 mm", "21.9 mm", "0.05 mm", "20 °C", "50 mm"):
        assert written in text
    code, _, err = springs("note", "p.yaml", "--part", "52", "--measured", "free length", "--readings", "22 kg")
    assert code == 2 and "wrong kind of unit" in err


def test_a_correction_stays_visible_beside_the_old_answer(begun):
    begun("note", "p.yaml", "--part", "15", "--absent", "radial cracks")
    code, _, err = begun("note", "p.yaml", "--part", "15", "--saw", "radial cracks")
    assert code == 2 and "--instead-of 3" in err
    words = ["--part", "15", "--saw", "radial cracks", "--instead-of", "3", "--by", "bob", "--why", "seen under dye"]
    code, out, _ = begun("note", "p.yaml", *words, "--json")
    (line,) = json.loads(out)
    assert (line["number"], line["who"], line["what"]["why"]) == (4, "bob", "seen under dye")
    code, out, _ = begun("journal", "p.yaml")
    text = " ".join(out.split())
    assert "ann: part 15: absent radial cracks [corrected by 4]." in text
    assert "bob: part 15: saw radial cracks, in place of 3. Why: seen under dye." in text
    begun("note", "p.yaml", "--withdraw", "4", "--why", "wrong ring")
    assert case().observations == ()
    assert "[withdrawn by 5]" in " ".join(begun("journal", "p.yaml")[1].split())


def test_the_same_twice_is_told(begun):
    begun("note", "p.yaml", "--on", "shaft", "--saw", "bent")
    code, out, _ = begun("note", "p.yaml", "--on", "shaft", "--saw", "bent")
    assert (code, out) == (0, "already on record\n")


def test_check_has_nothing_against_a_sound_journal_and_names_the_first_broken_line(begun):
    begun("note", "p.yaml", "--on", "shaft", "--saw", "bent")
    code, out, _ = begun("journal", "p.yaml", "--check")
    said, head = out.splitlines()
    assert (code, said) == (0, "3 lines, every one follows the one before it") and head.startswith("head ")
    path = Path("p.yaml.journal")
    sound = path.read_text()
    path.write_text(sound.replace("Carbon", "Karbon"))
    code, out, _ = begun("journal", "p.yaml", "--check")
    assert code == 1 and "p.yaml.journal:2:1: line 2 was changed" in out
    code, out, err = begun("journal", "p.yaml")
    assert code == 2 and "case begun" in out and "line 2 was changed" in err
    code, out, _ = begun("journal", "p.yaml", "--check", "--json")
    assert code == 1 and json.loads(out)["sound"] is False
    path.write_text(sound[:-40])
    code, out, _ = begun("journal", "p.yaml", "--check")
    assert code == 1 and "cut off" in out
    path.write_text(sound)
    assert begun("journal", "p.yaml", "--check")[0] == 0


def test_check_tells_of_edits_and_of_photos_that_changed(begun):
    Path("a.jpg").write_bytes(b"light")
    begun("note", "p.yaml", "--on", "shaft", "--saw", "bent", "--photo", "a.jpg")
    Path("a.jpg").write_bytes(b"dark")
    Path("p.yaml").write_text(Path("p.yaml").read_text().replace("Pump 3", "Pump 4"))
    code, out, _ = begun("journal", "p.yaml", "--check")
    assert code == 1
    assert "edited by hand" in out and "photo a.jpg (record 3) is no longer the one" in out


def test_hand_edits_are_adopted_with_a_reason_or_undone(begun):
    recorded = Path("p.yaml").read_text()
    Path("p.yaml").write_text(recorded.replace("Pump 3", "Pump 4"))
    assert begun("note", "p.yaml", "--on", "shaft", "--saw", "bent")[0] == 2
    assert "why they were made" in begun("journal", "p.yaml", "--adopt")[2]
    code, out, _ = begun("journal", "p.yaml", "--adopt", "--why", "name plate read", "--by", "eve")
    assert code == 0 and "case = Pump 4" in out
    assert case().name == "Pump 4"
    Path("p.yaml").write_text(Path("p.yaml").read_text().replace("Pump 4", "Pump 5"))
    code, out, _ = begun("journal", "p.yaml", "--restore")
    assert code == 0 and "p.yaml.edited" in out
    assert case().name == "Pump 4" and "Pump 5" in Path("p.yaml.edited").read_text()
    assert begun("journal", "p.yaml", "--restore")[0] == 2


def test_nothing_recorded_can_steer_the_screen(begun):
    code, _, err = begun("note", "p.yaml", "--on", "shaft", "--saw", "bent", "--note", "\x1b[2J")
    assert code == 2 and "U+001B" in err
    begun("note", "p.yaml", "--on", "shaft", "--saw", "bent", "--note", "line\nbreak \u202e turned")
    _, out, _ = begun("journal", "p.yaml")
    assert "\u202e" not in out and "\x1b" not in out


def test_without_a_journal_or_a_case_the_way_out_is_told(diagnose):
    code, _, err = diagnose("journal", "p.yaml")
    assert code == 2 and "has no journal" in err
    code, _, err = diagnose("note", "p.yaml", "--saw", "bent")
    assert code == 2 and "diagnose start p.yaml" in err
    Path("d").mkdir()
    code, _, err = diagnose("note", "d", "--on", "shaft", "--saw", "bent")
    assert code == 2 and err


def test_a_part_and_a_whole_seal_can_be_noted_as_lost(begun):
    assert begun("note", "p.yaml", "--part", "15", "--lost-part", "fell into the sump")[0] == 0
    assert begun("note", "p.yaml", "--set", "seal.lost=scrapped before anyone looked")[0] == 0
    now = case()
    assert now.part("15").lost == "fell into the sump" and now.lost == {"seal": "scrapped before anyone looked"}


def test_one_seal_of_a_pair_can_be_noted_as_lost(diagnose):
    diagnose("start", "p.yaml", "--arrangement", "double")
    assert diagnose("note", "p.yaml", "--set", "seal.lost=scrapped", "--position", "outboard")[0] == 0
    assert case().lost == {"outboard": "scrapped"}


def test_the_note_of_the_readme_works_on_a_case_that_start_made(springs):
    row = next(
        line
        for line in (Path(__file__).parents[2] / "README.md").read_text("utf-8").splitlines()
        if "diagnose note FILE" in line
    )
    words = row.split("`")[1].split()[3:]
    assert springs("start", "q.yaml", "--arrangement", "single")[0] == 0
    code, _, err = springs("note", "q.yaml", *words)
    assert (code, err) == (0, "")
