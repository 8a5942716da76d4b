"""A sheet filled in by hand says on record what its boxes say, by the numbers it was printed with."""

from __future__ import annotations

from time import process_time

import pytest

from diagnose.casefile.format import ALONE
from diagnose.casefile.reader import read_case
from diagnose.casefile.recorder import Recorder
from diagnose.casefile.sheet import case_of, sheet
from diagnose.reading.problems import BadInput
from diagnose.session.filled_sheet import FilledSheet
from tests.session.script import NOON
from tests.support.commands import diagnose


@pytest.fixture
def recorder(case, knowledge):
    with Recorder(case, knowledge, "ann", lambda: NOON) as r:
        yield r


def box(found, what: str, term: str, part: str = "") -> int:
    (number,) = [n for n, b in found.boxes().items() if (b.what, b.term, b.part) == (what, term, part)]
    return number


def taken(recorder, *lines: str):
    return FilledSheet(recorder, "paper.txt").take(lines)


def test_each_kind_of_box_goes_on_record_as_it_was_meant(recorder):
    s = FilledSheet(recorder, "").sheet
    cracks, chips, width = (
        box(s, w, t, part)
        for w, t, part in (
            ("feature", "radial cracks", "1"),
            ("feature", "hot spots", "1"),
            ("reading", "track width", "2"),
        )
    )
    taken(
        recorder, f"sheet: {s.code}", "# by the apprentice", "", f"{cracks}: x, 10 to 2, severe", f"{chips}: no",
        f"{box(s, 'feature', 'pits in the track', '2')}: ?", f"{width}: 5.1 5.2 mm", f"{box(s, 'figure', 'speed')}: 2950",
        f"{box(s, 'figure', 'service')}: hot water, food",
    )  # fmt: skip
    case = recorder.case_now()
    told = {(o.part, o.feature): (o.state, o.degree, o.extent.arcs) for o in case.observations}
    assert told == {
        ("1", "radial cracks"): ("present", "severe", ((300.0, 60.0),)), ("1", "hot spots"): ("absent", "", ()),
        ("2", "pits in the track"): ("not looked at", "", ()),
    }  # fmt: skip
    (read,) = [m for m in case.measured if m.part == "2"]
    assert [r.written for r in read.readings] == ["5.1 mm", "5.2 mm"]
    assert {s.term for s in case.settings if s.setting == "service"} == {"hot water", "food"}


def test_a_range_of_boxes_says_the_same_of_each_and_typing_it_again_changes_nothing(recorder):
    s = FilledSheet(recorder, "").sheet
    first = box(s, "feature", "radial cracks", "1")
    assert len(taken(recorder, f"{first}-{first + 3}, {first + 6}: no")) == 5
    assert taken(recorder, f"{first + 3}-{first}: no") == ()


def test_a_minus_behind_a_box_is_no_range_without_a_colon(recorder):
    s = FilledSheet(recorder, "").sheet
    number = next(n for n, b in s.boxes().items() if b.what == "reading" and b.term == "track margin" and b.part == "2")
    with pytest.raises(BadInput) as caught:
        taken(recorder, f"{number} -5 apples")
    assert "apples" in caught.value.problems[0].says
    taken(recorder, f"{number} 0.5 mm")
    (read,) = [m for m in recorder.case_now().measured if m.what == "track margin"]
    assert read.readings[0].written == "0.5 mm"


def test_every_photo_of_a_box_is_kept(recorder):
    for name in ("a.png", "b.png"):
        (recorder.case.parent / name).write_bytes(b"\x89PNG\r\n\x1a\n" + name.encode())
    number = box(FilledSheet(recorder, "").sheet, "feature", "hot spots", "1")
    taken(recorder, f"{number}: x, 2 to 4, photo a.png, photo b.png")
    case = recorder.case_now()
    assert [o.photo for o in case.observations] == ["a.png"]
    assert [(r.photo, r.part) for r in case.remarks] == [("b.png", "1")]


def test_own_words_are_read_or_kept_as_said_and_none_of_them_is_lost(recorder):
    s = FilledSheet(recorder, "").sheet
    words = next(n for n, b in s.boxes().items() if b.what == "words" and b.part == "3")
    taken(recorder, f"{words}: gone hard", f"{words}: like a squashed frog", f"{words}: sat in the zorgle")
    case = recorder.case_now()
    assert [(o.part, o.feature, o.said) for o in case.observations] == [("3", "hard", "gone hard")]
    assert case.not_understood == ("part 3: like a squashed frog", "part 3: sat in the zorgle")


def test_the_paper_of_a_seal_without_its_machine_has_no_boxes_about_the_machine(case, knowledge, tmp_path):
    machine = set(knowledge.arrangements.with_machine)

    def of_machine(found) -> list:
        kinds = {p.item: p.kind for p in read_case(case, knowledge).parts}
        return [b for b in found.boxes().values() if machine & set(knowledge.vocabulary.lineage.get(b.kind or kinds.get(b.part, ""), ()))]  # fmt: skip

    page = tmp_path / "sheet.html"
    with Recorder(case, knowledge, "ann", lambda: NOON) as r:
        whole = FilledSheet(r, "").sheet
        r.accept({"set": ["at hand"], "to": ALONE})
        alone = FilledSheet(r, "paper.txt")
        assert of_machine(whole) and not of_machine(alone.sheet)
        code, number = alone.sheet.code, box(alone.sheet, "feature", "radial cracks", "1")
        alone.take([f"sheet: {whole.code}", f"{box(whole, 'feature', 'hot spots', '1')}: x"])
        FilledSheet(r, "paper.txt").take([f"sheet: {code}", f"{number}: x"])
        assert {o.feature for o in r.case_now().observations} == {"hot spots", "radial cracks"}
    diagnose("sheet", str(case), "-o", str(page))
    told = page.read_text("utf-8")
    assert "Rotating ring" in told and "Gland bolts" not in told and "Flush line" not in told


def test_a_paper_keeps_its_numbers_while_the_case_goes_on(recorder):
    before = sheet(recorder.case_now(), recorder.knowledge)
    number = box(before, "feature", "red-brown debris at the drive", "11")
    lost = recorder.state.part_record("3")
    recorder.accept(
        {"add": "parts", "entry": {**lost.entry, "lost": "thrown away"}, "instead of": lost.id, "why": "gone"}
    )
    assert sheet(recorder.case_now(), recorder.knowledge).boxes().get(number) != before.boxes()[number]
    taken(recorder, f"sheet: {before.code}", f"{number}: x")
    assert [(o.part, o.feature) for o in recorder.case_now().observations] == [("11", "red-brown debris at the drive")]


def test_the_paper_of_an_arrangement_serves_a_case_of_it(recorder, knowledge):
    bare = sheet(case_of("single", knowledge), knowledge)
    recorder.accept({"add": "parts", "entry": {"item": "99", "name": "Guard ring", "kind": "soft face"}})
    taken(recorder, f"sheet: {bare.code}", f"{box(bare, 'feature', 'hot spots', '2')}: no")
    assert [(o.part, o.state) for o in recorder.case_now().observations] == [("2", "absent")]


def test_all_mistakes_are_told_at_their_place_and_nothing_is_recorded(recorder):
    s = FilledSheet(recorder, "").sheet
    cracks, spots, width = (
        box(s, "feature", "radial cracks", "1"),
        box(s, "feature", "hot spots", "1"),
        box(s, "reading", "track width", "2"),
    )
    lines = [
        f"{cracks}: x",
        "9999: x",
        f"{spots}: 10 to 2, sevre",
        f"{width}: blue",
        "hello",
        "sheet: 000000",
        f"{spots}:",
    ]
    with pytest.raises(BadInput) as caught:
        taken(recorder, *lines)
    told = [(str(p.where).partition(":")[2], p.code) for p in caught.value.problems]
    assert told == [
        ("2:1", "box"), (f"3:{len(str(spots)) + 12}", "box"), (f"4:{len(str(width)) + 3}", "unit"), ("5:1", "box"),
        ("6:8", "sheet-code"), (f"7:{len(str(spots)) + 2}", "box"),
    ]  # fmt: skip
    assert recorder.case_now().observations == () and all(p.way_out for p in caught.value.problems)


def test_lines_that_contradict_each_other_are_told_and_nothing_is_recorded(recorder):
    cracks = box(FilledSheet(recorder, "").sheet, "feature", "radial cracks", "1")
    with pytest.raises(BadInput, match=":2:"):
        taken(recorder, f"{cracks}: x", f"{cracks}: no")
    assert recorder.case_now().observations == ()


def test_the_head_says_what_the_clock_is_counted_from_for_the_parts_it_is_told_of(recorder):
    s = FilledSheet(recorder, "").sheet
    spots = box(s, "feature", "hot spots", "1")
    taken(
        recorder, f"{spots}: x, 10 to 2", f"{box(s, 'figure', 'index.rotating')}: keyway", f"{box(s, 'figure', 'index.stationary')}: top",
        f"{box(s, 'figure', 'equipment.seen from')}: impeller", f"{box(s, 'figure', 'equipment.rotation')}: cw",
    )  # fmt: skip
    case = recorder.case_now()
    assert case.index == {"rotating": "keyway", "stationary": "top"}
    assert (case.texts["equipment.seen from"], case.texts["equipment.rotation"]) == ("impeller end", "clockwise")
    assert [(p.index, p.seen_from) for p in case.parts if p.item in ("1", "2")] == [
        ("keyway", "impeller end"),
        ("", ""),
    ]
    FilledSheet(recorder, "").take_one(f"{box(s, 'feature', 'hot spots', '2')}: x, 4", 1)
    assert (recorder.case_now().part("2").index, recorder.case_now().part("2").seen_from) == ("top", "impeller end")


def test_an_end_or_a_turning_that_is_none_is_told_with_those_there_are(recorder):
    s = FilledSheet(recorder, "").sheet
    for term, said in (("equipment.seen from", "left"), ("equipment.rotation", "c")):
        with pytest.raises(BadInput) as caught:
            taken(recorder, f"{box(s, 'figure', term)}: {said}")
        assert "one of: " in caught.value.problems[0].way_out and "none of what box" in caught.value.problems[0].says


@pytest.mark.parametrize("what, term, one, other", [
    ("reading", "track width", "5.1 mm", "5.3 mm"), ("figure", "speed", "1450", "2950"), ("feature", "hot spots", "x", "x, severe"),
])  # fmt: skip
def test_a_box_that_is_filled_in_twice_is_told_at_the_second_line(recorder, what, term, one, other):
    number = box(FilledSheet(recorder, "").sheet, what, term, "" if what == "figure" else "2")
    with pytest.raises(BadInput) as caught:
        taken(
            recorder,
            f"{number}: {one}",
            "",
            f"{number - 1}-{number}: {other}" if what == "feature" else f"{number}: {other}",
        )
    (told,) = (p for p in caught.value.problems if p.code == "box-twice")
    assert told.where.line == 3 and f"line 1 says {one!r}" in told.says
    assert (f"{number}: 5.1 5.3 mm" in told.way_out) == (what == "reading")
    assert len(recorder.lines) == 1
    assert len(taken(recorder, f"{number}: {one}", f"{number}: {one}")) == 1


def test_a_line_that_was_refused_may_be_typed_again(recorder):
    filled = FilledSheet(recorder, "typed")
    number = box(filled.sheet, "reading", "track width", "2")
    with pytest.raises(BadInput):
        filled.take_one(f"{number}: blue", 1)
    assert filled.take_one(f"{number}: 5.1 mm", 2)
    with pytest.raises(BadInput, match="filled in twice"):
        filled.take_one(f"{number}: 5.2 mm", 3)


@pytest.mark.parametrize(
    "what, term, said",
    [("feature", "hot spots", "maybe"), ("reading", "track width", "~5"), ("figure", "service", "hot watr")],
)
def test_what_cannot_be_read_is_shown_the_box_of_own_words_and_taken_there(recorder, what, term, said):
    s = FilledSheet(recorder, "").sheet
    number = box(s, what, term, "" if what == "figure" else "2")
    with pytest.raises(BadInput) as caught:
        taken(recorder, f"{number}: {said}")
    way_out = caught.value.problems[0].way_out.rpartition("in own words: ")[2]
    words = s.boxes()[int(way_out.partition(":")[0])]
    assert words.what == "words" and words.part == ("" if what == "figure" else "2")
    taken(recorder, way_out)
    case = recorder.case_now()
    assert any(said in x for x in case.not_understood) or any(said in o.said for o in case.observations)


def test_a_question_mark_in_a_box_to_write_in_says_nothing(recorder):
    s = FilledSheet(recorder, "").sheet
    assert taken(recorder, f"{box(s, 'reading', 'track width', '2')}: ?", f"{box(s, 'figure', 'speed')}: ?") == ()


@pytest.mark.parametrize("written", ["box {}: no", "Boxes {}; no", "{} = no"])
def test_a_line_is_taken_as_people_write_it(recorder, written):
    number = box(FilledSheet(recorder, "").sheet, "feature", "hot spots", "1")
    taken(recorder, written.format(number))
    assert [(o.feature, o.state) for o in recorder.case_now().observations] == [("hot spots", "absent")]


def test_what_is_on_record_otherwise_is_corrected_by_another_command(recorder):
    number = box(FilledSheet(recorder, "").sheet, "figure", "speed")
    taken(recorder, f"{number}: 1450")
    with pytest.raises(BadInput) as caught:
        taken(recorder, f"{number}: 2950")
    assert "diagnose note" in caught.value.problems[0].way_out


def test_a_range_of_ranges_is_none(recorder):
    with pytest.raises(BadInput, match="no range of boxes"):
        taken(recorder, "1-2-3: x")


@pytest.mark.parametrize("line", ["{box}: x{gap}y", "sheet{gap}x"])
def test_a_long_gap_in_a_line_takes_no_time(recorder, line):
    cracks = box(FilledSheet(recorder, "").sheet, "feature", "radial cracks", "1")
    began = process_time()
    with pytest.raises(BadInput):
        taken(recorder, line.format(box=cracks, gap=" " * 200_000))
    assert process_time() - began < 2


def test_a_reading_far_off_is_asked_back_unless_it_is_said_to_be_so(recorder):
    s = FilledSheet(recorder, "").sheet
    length = box(s, "reading", "free length", "5")
    with pytest.raises(BadInput) as caught:
        taken(recorder, f"{length}: 22 22.1 182 mm")
    assert "! behind it" in caught.value.problems[0].way_out
    assert taken(recorder, f"{length}: 22 22.1 182 mm!")


def test_what_was_cut_short_is_gone_on_with_by_giving_the_file_again(case, knowledge, monkeypatch):
    with Recorder(case, knowledge, "ann", lambda: NOON) as first:
        s = FilledSheet(first, "").sheet
        lines = [f"{box(s, 'feature', x, '1')}: no" for x in ("hot spots", "radial cracks", "comet marks")]
        write = first._write

        def dies_at_the_third(whats, after):
            if len(first.lines) == 3:
                raise KeyboardInterrupt
            return write(whats, after)

        monkeypatch.setattr(first, "_write", dies_at_the_third)
        told = []
        with pytest.raises(KeyboardInterrupt):
            FilledSheet(first, "paper.txt").take(lines, told.append)
        assert [x.what["entry"]["absent"] for x in told] == ["hot spots", "radial cracks"]
    with Recorder(case, knowledge, "ann", lambda: NOON) as again:
        assert len(again.case_now().observations) == 2
        assert len(taken(again, *lines)) == 1
        assert {o.feature for o in again.case_now().observations} == {"hot spots", "radial cracks", "comet marks"}


def test_the_command_takes_a_file_or_what_is_typed(case, tmp_path, knowledge):
    code = sheet(case_of("single", knowledge), knowledge)
    paper = tmp_path / "paper.txt"
    paper.write_text(f"sheet: {code.code}\n{box(code, 'feature', 'hot spots', '2')}: no\n", "utf-8")
    done = diagnose("record", str(case), "--sheet", str(paper), "--by", "ann")
    assert done.returncode == 0 and "part 2: absent hot spots" in done.stdout
    assert "already on record" in diagnose("record", str(case), "--sheet", str(paper)).stdout
    missing = diagnose("record", str(case), "--sheet", str(tmp_path / "none.txt"))
    assert missing.returncode == 2 and "cannot be read" in missing.stderr
    paper.write_text(f"sheet: {code.code}\n9999: x\n", "utf-8")
    wrong = diagnose("record", str(case), "--sheet", str(paper))
    assert wrong.returncode == 2 and "no box 9999" in wrong.stderr and "nothing of" in wrong.stdout + wrong.stderr
    paper.write_bytes(b"\xff\xfe12")
    assert "is no text" in diagnose("record", str(case), "--sheet", str(paper)).stderr


def test_caustic_is_an_alkali_and_nothing_else(knowledge):
    named = [term for term, also in knowledge.vocabulary.settings["service"].terms.items() if "caustic" in also]
    assert named == ["strong alkali"]


def test_a_filled_sheet_says_where_the_work_now_stands_and_its_paper_stays_good_by_its_code(case, knowledge, tmp_path):
    """The work goes on only, by looks at the seal: not by a word on the machine, by what nobody looked at, or by what is told."""
    found = sheet(read_case(case, knowledge), knowledge)
    film, cracks = box(found, "feature", "product film", "2"), box(found, "feature", "hot spots", "1")
    leak, bearing = (
        next(n for n, b in found.boxes().items() if b.kind == kind and b.what == "feature")
        for kind in ("leak", "bearing")
    )
    paper = tmp_path / "paper.txt"

    def typed(*lines: str) -> tuple[int, str]:
        paper.write_text("\n".join(lines))
        done = diagnose("record", str(case), "--sheet", str(paper))
        return done.returncode, read_case(case, knowledge).stage

    assert typed(f"{leak}: no", f"{bearing}: no", f"{cracks}: ?") == (0, "while running")
    assert typed(f"{film}: no") == (0, "before washing")
    paper_now = sheet(read_case(case, knowledge), knowledge)
    assert paper_now.code != found.code and box(paper_now, "feature", "hot spots", "1") != cracks
    assert typed(f"{cracks}: x") == (2, "before washing"), "of which of the two papers is the number?"
    assert typed(f"sheet: {found.code}", f"{cracks}: x") == (0, "before relapping")
    assert typed(f"sheet: {found.code}", f"{film}: no") == (0, "before relapping")
    seen = [(o.part, o.feature) for o in read_case(case, knowledge).observations if o.part and o.state == "present"]
    assert seen == [("1", "hot spots")]


def test_how_the_seal_came_out_and_the_fluid_have_boxes_and_another_box_points_to_them(recorder):
    s = FilledSheet(recorder, "").sheet
    out, fluid, past = (box(s, "figure", t) for t in ("history.removal", "service.fluid", "history"))
    with pytest.raises(BadInput) as caught:
        taken(recorder, f"{past}: sound, at the overhaul")
    assert f"write it into the box for it: {out}: sound, at the overhaul" in caught.value.problems[0].way_out
    taken(recorder, f"{out}: sound, at the overhaul", f"{fluid}: black liquor")
    case = recorder.case_now()
    assert (case.texts["history.removal"], case.texts["service.fluid"]) == ("sound", "black liquor")
    assert [r.note for r in case.remarks] == ["at the overhaul"]
    known = sheet(case, recorder.knowledge).boxes()
    assert (known[out].said, known[fluid].said) == ("sound", "black liquor")


def test_what_does_not_go_together_is_told_as_a_sheet_is_typed(case, knowledge, tmp_path):
    with Recorder(case, knowledge, "ann", lambda: NOON) as r:
        s = FilledSheet(r, "").sheet
    wide, as_wide = (box(s, "feature", f"track {t} the nose", "2") for t in ("wider than", "as wide as"))
    paper = tmp_path / "paper.txt"
    paper.write_text(f"{wide}: x\n{as_wide}: x\n", "utf-8")
    done = diagnose("record", str(case), "--sheet", str(paper), "--by", "ann")
    assert done.returncode == 0 and "does not go with" in done.stdout and "to correct: --instead-of" in done.stdout


def test_each_of_own_words_is_told_once_as_it_is_kept(case, knowledge, tmp_path):
    with Recorder(case, knowledge, "ann", lambda: NOON) as r:
        words = next(n for n, b in FilledSheet(r, "").sheet.boxes().items() if b.what == "words" and b.part == "3")
    paper = tmp_path / "paper.txt"
    paper.write_text(f"{words}: like a squashed frog\n{words}: sat in the zorgle\n", "utf-8")
    out = diagnose("record", str(case), "--sheet", str(paper), "--by", "ann").stdout
    assert (out.count("squashed frog"), out.count("zorgle")) == (1, 1)
