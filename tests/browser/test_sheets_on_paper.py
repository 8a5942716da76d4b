"""Sheets and tags as a browser lays them out: nothing is cut off, a page a sheet, and every code is read from the picture."""

from __future__ import annotations

import io

import pytest
import zxingcpp
from PIL import Image
from pypdf import PdfReader

from diagnose.casefile import walk
from diagnose.casefile.reader import parse_case
from diagnose.casefile.sheet import sheet
from diagnose.casefile.writer import render
from diagnose.reading.problems import Problems
from diagnose.views.sheet.pages import pages
from diagnose.views.sheet.tags import LABEL, code_of, tags

pytestmark = pytest.mark.slow

CUT = """() => [...document.querySelectorAll('.page,.column,.columns,.datum,.datum b,.known,.cell,.term,.care,.how,.stage,.dials,.page>footer,.key figure,.tag,.told,.tag p')]
    .filter(e => e.scrollHeight > e.clientHeight + 1 || e.scrollWidth > e.clientWidth + 1)
    .map(e => e.className + ': ' + e.textContent.slice(0, 60))"""


SMALLER = """([what, wide, high]) => [...document.querySelectorAll(what)].map(e => e.getBoundingClientRect())
    .filter(b => b.width < wide * 96 / 25.4 - 0.05 || b.height < high * 96 / 25.4 - 0.05).length"""
"""How many boxes are smaller than so many millimetres: a gloved hand with a pencil needs 5 by 5 to tick, 18 by 7 to write in."""


TOUCHING = """() => [...document.querySelectorAll('.row .cell:not(.none), .datum b:not(.said)')].filter(e => {
    const text = document.createRange(); text.selectNode([...e.childNodes].find(n => n.nodeType === 3))
    const [t, b, near] = [text.getBoundingClientRect(), e.getBoundingClientRect(), 0.6 * 96 / 25.4]
    return t.left - b.left < near || b.right - t.right < near || t.top - b.top < near || b.bottom - t.bottom < near
}).map(e => e.textContent)"""
"""Numbers of boxes that stand less than 0.6 mm from the edge of their box, line and all."""


@pytest.fixture(scope="module")
def knowledge(whole_base):
    return whole_base.knowledge


@pytest.fixture(scope="module")
def begun(knowledge):
    def make(arrangement: str):
        usual = knowledge.arrangements.usual[arrangement]
        return parse_case(
            render(walk.usual_document("Return pump, unit 4", arrangement, usual, "")), "", knowledge, Problems()
        )

    return make


def opened(chromium, text: str):
    page = chromium.new_page(viewport={"width": 1000, "height": 900}, device_scale_factor=2)
    page.set_content(text)
    page.emulate_media(media="print")
    return page


@pytest.mark.parametrize("paper", ["A4", "Letter"])
@pytest.mark.parametrize(
    "arrangement", ["single", "dual", "dual pressurised", "dual unpressurised", "three stages", "staged", "dry gas"]
)
def test_a_sheet_is_a_page_each_with_nothing_cut_off(arrangement, paper, chromium, begun, knowledge):
    case = begun(arrangement)
    made = sheet(case, knowledge)
    cautions = sorted((c for c in knowledge.cautions.values() if c.always), key=lambda c: c.name)
    page = opened(chromium, pages(made, case, knowledge.vocabulary, cautions, paper, key=True))
    assert (page.evaluate(CUT), page.evaluate(TOUCHING)) == ([], [])
    small = {
        x
        for x, (w, h) in {".tick": (5, 5), ".write": (18, 7)}.items()
        if page.evaluate(SMALLER, [f".row{x} .cell:not(.none)", w, h])
    }
    assert not small and page.evaluate(SMALLER, [".datum b", 18, 7]) == 0
    sheets = page.locator(".page").count()
    data = page.pdf(prefer_css_page_size=True)
    page.close()
    printed = PdfReader(io.BytesIO(data)).pages
    assert len(printed) == sheets > len(made.pages) == 2 * (len(case.positions) + 1)
    side = {"A4": [595.3, 841.9], "Letter": [612, 792]}[paper]
    assert all([float(p.mediabox.width), float(p.mediabox.height)] == pytest.approx(side, abs=1) for p in printed)


def test_a_sheet_with_every_caution_a_long_name_and_many_parts_of_long_names_is_not_cut(chromium, begun, knowledge):
    parts = "".join(
        f"  - {{item: {i}, name: {LONG} number {i}, kind: {kind}, position: {position}}}\n"
        for i, (kind, position) in enumerate(((k, p) for k in ("stationary hard face", "rotating soft face", "gland O-ring", "dynamic O-ring", "sleeve") for p in ("inboard", "outboard") for _ in range(3)), 1)
    )  # fmt: skip
    head = f"case: {'Liquor booster pump 14-P-1207 B, fourth seal ' * 4}\nseal: {{arrangement: dual}}\nindex: {{rotating: {LONG}}}\n"
    problems = Problems()
    case = parse_case(f"{head}parts:\n{parts}".encode(), "", knowledge, problems)
    page = opened(
        chromium,
        pages(
            sheet(case, knowledge), case, knowledge.vocabulary, list(knowledge.cautions.values()), "Letter", key=False
        ),
    )
    assert problems.errors() == [] and page.evaluate(CUT) == []
    assert len(PdfReader(io.BytesIO(page.pdf(prefer_css_page_size=True))).pages) == page.locator(".page").count() > 6
    page.close()


LONG = "Stationary ring of the outboard cartridge with a step on its back"


@pytest.mark.parametrize("label", [(60, 34), (62, 40), (70, 37), (90, 50), (101.6, 50.8), (105, 74), (60, 148)])
def test_long_names_marks_hazards_and_cases_stand_whole_on_every_label(label, chromium, knowledge):
    head = 'case: "Liquor booster pump 14-P-1207 B, fourth seal within a year, found leaking at the gland"\nindex: {rotating: keyway}\nparts:\n'
    text = head + (
        f"  - {{item: 1, name: {LONG}, kind: hard face, group: stationary, index: second keyway counted from the vent, index at: 4, seen from: impeller end}}\n"
        "  - {item: 2207/14-b, name: Ring, kind: soft face, group: rotating, seen from: driver end}\n"
        "  - {item: 3, name: Seat, kind: hard face, seen from: driver end}\n"
        f"  - {{item: 4, name: {'x' * 70}, kind: hard face}}\n"
    )
    problems = Problems()
    case = parse_case(text.encode(), "", knowledge, problems)
    hazards = [c for c in knowledge.cautions.values() if not c.always]
    page = opened(chromium, tags(case, hazards[:8], LABEL, label))
    assert problems.errors() == [] and page.evaluate(CUT) == []
    told = page.locator(".tag").all_inner_texts()
    assert (
        LONG in told[0]
        and "second keyway counted from the vent, at 4 of the datum, seen from the impeller end" in told[0]
    )
    assert (
        "keyway, seen from the driver end" in told[3]
        and "2207/14-b" in told[3]
        and ", seen from the driver end" in told[1]
    )
    assert all(c.name in t for t in told for c in hazards[:8]) and all("found leaking at the gland" in t for t in told)
    page.close()


def test_what_goes_on_no_label_is_cut_where_the_code_tells_it_and_no_hazard_is(chromium, knowledge):
    case = parse_case(
        f"case: {'long ' * 100}\nparts:\n  - {{item: 1, name: {'ring ' * 60}, kind: hard face}}\n".encode(),
        "",
        knowledge,
        Problems(),
    )
    hazards = [c for c in knowledge.cautions.values() if not c.always][:6]
    page = opened(chromium, tags(case, hazards, LABEL, (60, 34)))
    (told,) = page.locator(".tag").all_inner_texts()
    assert page.evaluate(CUT) == [] and "…" in told and all(c.name in told for c in hazards)
    page.close()


@pytest.mark.parametrize(("paper", "label"), [("A4", (70, 37)), ("Letter", (101.6, 50.8)), (LABEL, (62, 40))])
def test_every_tag_fits_its_label_and_its_code_is_read_from_the_picture(paper, label, chromium, begun, knowledge):
    case = begun("dual pressurised")
    cautions = [c for c in knowledge.cautions.values() if c.always]
    page = opened(chromium, tags(case, cautions, paper, label))
    assert page.evaluate(CUT) == []
    found = set()
    for code in page.locator(".qr").all():
        picture = Image.open(io.BytesIO(code.screenshot())).convert("L")
        found.add(zxingcpp.read_barcode(picture).text)
    assert found == {code_of(case, p) for p in case.parts}
    printed = PdfReader(io.BytesIO(page.pdf(prefer_css_page_size=True))).pages
    page.close()
    assert len(printed) == (
        len(case.parts) if paper == LABEL else -(-len(case.parts) // {"A4": 24, "Letter": 10}[paper])
    )
