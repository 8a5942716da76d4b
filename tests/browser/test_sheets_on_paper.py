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

CUT = """() => [...document.querySelectorAll('.page,.column,.term,.care,.how,.stage,.dials,.page>footer,.key figure,.tag,.told,.tag p')]
    .filter(e => e.scrollHeight > e.clientHeight + 1 || e.scrollWidth > e.clientWidth + 1)
    .map(e => e.className + ': ' + e.textContent.slice(0, 60))"""


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
@pytest.mark.parametrize("arrangement", ["single", "dual pressurised", "three stages", "dry gas"])
def test_a_sheet_is_a_page_each_with_nothing_cut_off(arrangement, paper, chromium, begun, knowledge):
    case = begun(arrangement)
    made = sheet(case, knowledge)
    cautions = sorted((c for c in knowledge.cautions.values() if c.always), key=lambda c: c.name)
    page = opened(chromium, pages(made, case, knowledge.vocabulary, cautions, paper, key=True))
    assert page.evaluate(CUT) == []
    sheets = page.locator(".page").count()
    data = page.pdf(prefer_css_page_size=True)
    page.close()
    printed = PdfReader(io.BytesIO(data)).pages
    assert len(printed) == sheets > len(made.pages) == len(case.positions) + 1
    side = {"A4": [595.3, 841.9], "Letter": [612, 792]}[paper]
    assert all([float(p.mediabox.width), float(p.mediabox.height)] == pytest.approx(side, abs=1) for p in printed)


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
