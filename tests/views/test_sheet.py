"""Bench sheets and tags: everything that perishes is on them, within the page, and the codes are read back."""

from __future__ import annotations

import re

import numpy
import pytest
import zxingcpp

from diagnose.casefile import walk
from diagnose.casefile.reader import parse_case, read_case
from diagnose.casefile.sheet import case_of, sheet
from diagnose.casefile.writer import render
from diagnose.cli.report import made
from diagnose.reading.entry import replace
from diagnose.reading.problems import Problems
from diagnose.views.report import html
from diagnose.views.sheet import pages as view
from diagnose.views.sheet.document import PAPERS, Paper
from diagnose.views.sheet.qr import qr
from diagnose.views.sheet.tags import LABEL, code_of, tags
from tests.support.commands import diagnose
from tests.support.places import SMALL

OTHERS = ["dual", "dual pressurised", "dual unpressurised", "dry gas", "three stages", "staged"]
ARRANGEMENTS = ["single", *(pytest.param(x, marks=pytest.mark.slow) for x in OTHERS)]


@pytest.fixture(scope="module")
def knowledge(whole_base):
    return whole_base.knowledge


@pytest.fixture(scope="module")
def begun(knowledge):
    """A case that was just begun, by its arrangement."""

    def make(arrangement: str):
        document = walk.usual_document(
            f"Pump with {arrangement} <&>", arrangement, knowledge.arrangements.usual[arrangement], ""
        )
        return parse_case(render(document), "", knowledge, Problems())

    return make


def read_back(svg: str) -> str:
    """What a code reads after it was drawn at four dots a module, by a reader that is no part of this project."""
    side = int(re.search(r'viewBox="0 0 (\d+)', svg)[1])
    dots = numpy.full((side, side), 255, numpy.uint8)
    for x, y in re.findall(r"M(\d+) (\d+)h1v1h-1z", svg):
        dots[int(y), int(x)] = 0
    found = zxingcpp.read_barcode(numpy.kron(dots, numpy.ones((4, 4), numpy.uint8)))
    return found.text if found else ""


@pytest.mark.parametrize("arrangement", ARRANGEMENTS)
def test_what_can_be_lost_of_a_seal_is_on_one_side_and_what_is_written_on_its_back(arrangement, begun, knowledge):
    case = begun(arrangement)
    made = sheet(case, knowledge)
    assert [(p.position, p.side) for p in made.pages] == [
        (p, s) for p in ("", *case.positions) for s in ("looks", "written")
    ]
    cautions = [c for c in knowledge.cautions.values() if c.always]
    for paper in PAPERS.values():
        for page in made.pages:
            (laid,) = view.laid_out(made, page, case, knowledge.vocabulary, cautions, paper)
            side = view.SIDES[page.side]
            assert len(laid.columns) <= side.columns and laid.row >= side.tightest, (arrangement, page.position)
            assert all(not column[-1].leads for column in laid.columns), (arrangement, page.position)
            assert all("<h2" in c[0].markup or "<h3" in c[0].markup or "known" in c[0].markup for c in laid.columns), (
                "a column says whose boxes it has"
            )


def test_what_one_side_has_no_room_for_goes_on_another(begun, knowledge):
    case = begun("single")
    made, narrow = sheet(case, knowledge), Paper(190.0, 160.0)
    page = next(p for p in made.pages if p.position)
    laid = view.laid_out(made, page, case, knowledge.vocabulary, [], narrow)
    whole = "".join(p.markup for x in laid for c in x.columns for p in c)
    assert len(laid) > 1 and all(f">{b.number}<" in whole for b in page.boxes())


def test_a_pair_has_pages_for_each_seal_and_all_that_perishes_is_on_one(begun, knowledge):
    case = begun("dual pressurised")
    made = sheet(case, knowledge)
    boxes = made.boxes()
    assert list(boxes) == list(range(1, len(boxes) + 1))
    asked = {(t.part or t.kind, f) for t in walk.topics(case, knowledge) for f in t.features if walk.is_lost_after(knowledge.vocabulary, f, t.step)}  # fmt: skip
    assert asked == {(b.part or b.kind, b.term) for b in boxes.values() if b.what == "feature"} & asked
    for page in made.pages:
        if page.position:
            assert {case.part(b.part).position for b in page.boxes()} == {page.position}


def test_every_head_asks_what_the_clock_and_the_turning_are_told_by_and_prints_what_is_known(knowledge):
    text = (
        "case: Pump 3\nequipment: {rotation: clockwise}\nseal: {arrangement: single}\nindex: {rotating: keyway}\nparts:\n"
        "  - {item: 1, name: Carbon ring, kind: rotating soft face}\n"
    )
    case = parse_case(text.encode(), "", knowledge, Problems())
    made = sheet(case, knowledge)
    told = {b.term: b.said for b in made.data}
    assert told == {
        "index.rotating": "keyway",
        "index.stationary": "",
        "equipment.seen from": "",
        "equipment.rotation": "clockwise",
    }
    page = view.pages(made, case, knowledge.vocabulary, (), "A4", False)
    heads = re.findall(r'<div class="data">.*?</div>', page)
    assert len(heads) == 2 and all(
        ">keyway<" in h and ">clockwise<" in h and f"<b>{made.data[1].number}<" in h for h in heads
    )


def test_what_is_on_record_is_left_out_or_filled_in_and_every_box_keeps_its_number(knowledge):
    parts = "parts:\n  - {item: 1, name: Ring, kind: rotating soft face}\n  - {item: 2, name: Seat, kind: stationary hard face}\n"
    bare = "case: Pump 3\nequipment: {speed: 2950 rpm}\nseal: {arrangement: single}\n" + parts
    told = bare + (
        "observations:\n  - {part: 1, saw: radial cracks}\n  - {part: 2, absent: radial cracks}\n"
        "  - {part: 1, saw: hot spots}\n  - {part: 2, not looked at: full even track}\n"
        "measurements:\n  - {part: 1, measured: track width, readings: [5.1 mm]}\n"
        "  - {part: 2, measured: track width, readings: [5.2 mm]}\n  - {part: 1, measured: nose height, readings: [2.4 mm]}\n"
    )
    (one, before), (other, after) = (
        (c, sheet(c, knowledge)) for t in (bare, told) for c in [parse_case(t.encode(), "", knowledge, Problems())]
    )
    assert before.code == after.code and list(before.boxes()) == list(after.boxes())

    def terms(case, made):
        page = view.pages(made, case, knowledge.vocabulary, (), "A4", False)
        return page, set(re.findall(r'class="term">(?:<b>! </b>)?([^<]*)<', page))

    (_, asked), (page, left) = terms(one, before), terms(other, after)
    assert asked - left == {"radial cracks", "track width, mm"} and left <= asked and "speed, rpm" not in asked
    assert "speed: 2950 rpm" in page and '<span class="cell none">yes</span>' in page and ">2.4 mm</span>" in page


def test_the_side_of_looks_says_what_it_holds_and_what_is_measured_overleaf(begun, knowledge):
    case = begun("single")
    made = sheet(case, knowledge)
    page = view.pages(made, case, knowledge.vocabulary, (), "A4", False)
    assert page.count("This side holds what can be lost") == 2 and "diagnose record CASE" in page
    stage = next(s for p in made.pages if p.position and p.side == "written" for s in p.stages if s.boxes("reading"))
    numbers = [b.number for b in stage.boxes("reading")]
    assert f"Measure before its end: {view._ranges(numbers)}, overleaf." in page


def test_steps_stand_in_order_and_what_is_gone_after_a_step_stands_first(begun, knowledge):
    order = [s.name for s in knowledge.arrangements.steps]
    for page in sheet(begun("single"), knowledge).pages:
        at = [order.index(s.title) for s in page.stages if s.ends]
        assert at == sorted(at)
        for stage in page.stages:
            for group in stage.groups:
                kinds = [r.perishes for r in group.rows if r.what == "feature"]
                assert kinds == sorted(kinds, reverse=True)


def test_the_code_of_a_sheet_says_whose_it_is_and_which_boxes_it_has(begun, knowledge):
    one, other = begun("single"), begun("single")
    assert sheet(one, knowledge) == sheet(other, knowledge)
    others = [replace(one, name="Pump 4"), replace(one, texts={"equipment.tag": "P-4"}), replace(one, texts={"seal.serial": "77"}), begun("dry gas")]  # fmt: skip
    codes = [sheet(c, knowledge).code for c in (one, *others)]
    assert len(set(codes)) == len(codes)


def test_two_arrangements_of_the_same_parts_have_sheets_of_their_own(knowledge):
    one, other = (sheet(case_of(x, knowledge), knowledge) for x in ("dual pressurised", "dual unpressurised"))
    assert [b.term for b in one.boxes().values()] == [b.term for b in other.boxes().values()] and one.code != other.code


@pytest.mark.parametrize("arrangement", ARRANGEMENTS)
def test_every_ring_that_has_boxes_has_a_dial(arrangement, begun, knowledge):
    case, lineage = begun(arrangement), knowledge.vocabulary.lineage
    made = sheet(case, knowledge)
    for page in (p for p in made.pages if p.side == "looks"):
        rings = {
            b.part for b in page.boxes() if b.part and {"face", "elastomer"} & set(lineage[case.part(b.part).kind])
        }
        rows = view._dialled(page, case, knowledge.vocabulary)
        assert rings <= {p.item for row in rows for p in row}
        assert all(len(row) <= view.DIALS_ACROSS for row in rows)


@pytest.mark.parametrize(
    "text", ["case: Pump 3\nitem: 2\npart: Ring", 'case: Wäscher <3> & "co"\nitem: 12a', "x" * 400]
)
def test_a_code_is_read_back(text):
    assert read_back(qr(text, 20)) == text


@pytest.mark.slow
def test_the_codes_of_sheets_and_tags_say_case_item_and_position(begun, knowledge):
    case = begun("dual pressurised")
    page = tags(case, (), "A4", (70, 37))
    codes = re.findall(r"<svg[^>]*>(?:(?!</svg>).)*</svg>", page)
    assert [read_back(c) for c in codes] == [code_of(case, p) for p in case.parts]
    assert "position: outboard" in code_of(case, case.parts[-1]) or "machine" in code_of(case, case.parts[-1])
    made = sheet(case, knowledge)
    head = re.findall(
        r'<svg[^>]*class="qr"[^>]*>(?:(?!</svg>).)*</svg>',
        view.pages(made, case, knowledge.vocabulary, (), "A4", False),
    )
    assert {read_back(c) for c in head} == {f"case: {case.name}\nsheet: {made.code}"}


@pytest.mark.slow
def test_what_is_recorded_cannot_become_markup(begun, knowledge):
    case = begun("single")
    for page in (
        tags(case, (), LABEL, (70, 37)),
        view.pages(sheet(case, knowledge), case, knowledge.vocabulary, (), "Letter", True),
    ):
        assert "<&>" not in page and "&lt;&amp;&gt;" in page and "<script" not in page and "http" not in re.sub(r"http-equiv|http://www.w3.org/2000/svg", "", page)  # fmt: skip


def test_tags_say_index_and_hazard_and_leave_out_parts_that_are_gone(knowledge, begun):
    text = (
        "case: Pump 3\nindex: {rotating: keyway}\nparts:\n"
        "  - {item: 1, name: Carbon ring, kind: soft face, group: rotating, seen from: driver end}\n"
        "  - {item: 2, name: Seat, kind: hard face}\n  - {item: 3, name: Cup, kind: seat cup, lost: thrown away}\n"
    )
    case = parse_case(text.encode(), "", knowledge, Problems())
    page = tags(case, [knowledge.cautions["hot parts"]], "Letter", (90, 50))
    assert page.count('class="tag"') == 2 and "Datum: keyway, seen from the driver end" in page
    assert 'class="line"' in page and "hot parts" in page and "Cup" not in page


@pytest.mark.slow
@pytest.mark.parametrize("words, says", [
    (["single", "-o", "x.png"], "cannot be written"), (["single", "--paper", "A3"], "is no paper"),
    (["triple trouble"], "no case file and no arrangement"), (["single", "--tags", "--label", "big"], "no size of a label"),
    (["single", "--tags", "--label", "30x20"], "too small"), (["single", "--tags", "--label", "300x50"], "larger than"),
    (["single", "--paper", "label"], "is no paper"),
])  # fmt: skip
def test_a_call_that_cannot_be_met_is_refused(words, says):
    done = diagnose("sheet", *words)
    assert done.returncode == 2 and says in done.stderr and "Traceback" not in done.stderr


@pytest.mark.slow
def test_the_command_writes_a_sheet_that_is_the_same_each_time(tmp_path):
    for name in ("a.html", "b.html"):
        done = diagnose("sheet", "single", "-o", str(tmp_path / name), "--key")
        assert done.returncode == 0, done.stderr
    assert (tmp_path / "a.html").read_bytes() == (tmp_path / "b.html").read_bytes()


@pytest.mark.slow
def test_what_has_no_parts_no_order_or_a_name_without_end_is_met(tmp_path):
    long, out = tmp_path / "long.yaml", tmp_path / "x.html"
    long.write_text(f"case: {'x' * 3000}\nseal: {{arrangement: single}}\n")
    assert diagnose("sheet", str(long), "-o", str(out)).returncode == 0 and "xxx…" in out.read_text("utf-8")
    done = diagnose("sheet", str(long), "--tags", "-o", str(out))
    assert done.returncode == 2 and "lists no part" in done.stderr
    done = diagnose("sheet", str(SMALL / "case.yaml"), "--knowledge", str(SMALL / "knowledge"), "-o", str(out))
    assert done.returncode == 2 and "no order of dismantling" in done.stderr


@pytest.mark.slow
def test_a_shipped_scenario_goes_by_its_name(tmp_path):
    out = tmp_path / "sheet.html"
    assert diagnose("sheet", "condensate-pump-dry-start", "-o", str(out)).returncode == 0
    assert "Condensate" in out.read_text("utf-8")


def test_tag_parts_view_and_report_tell_an_index_mark_and_a_part_without_one_in_the_same_words(
    knowledge, whole_base, tmp_path
):
    path = tmp_path / "case.yaml"
    path.write_text(
        "case: Pump 3\nindex: {rotating: keyway}\nseal: {arrangement: single}\nparts:\n"
        "  - {item: 1, name: Carbon ring, kind: soft face, group: rotating, index: paint dot, index at: 3, seen from: driver end, touches: [2]}\n"
        "  - {item: 2, name: Sleeve, kind: sleeve, group: rotating, touches: [1]}\n", "utf-8",
    )  # fmt: skip
    case = read_case(path, knowledge)
    on_tag, of_parts = tags(case, (), "A4", (90, 50)), diagnose("parts", str(path)).stdout
    in_report = html.page(made(path, case, whole_base))
    mark = "paint dot, at 3 of the datum, seen from the driver end"
    assert all(mark in " ".join(x.split()) for x in (on_tag, of_parts, in_report))
    assert "Datum: keyway" in on_tag and all("no index mark of its own" in x for x in (of_parts, in_report))
