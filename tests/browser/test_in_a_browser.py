"""Reports in a browser: nothing asked from outside, proofs light up, nothing recorded runs, paper comes out as it should."""

from __future__ import annotations

import io
import re

import networkx as nx
import pytest
from pypdf import PdfReader
from typer.testing import CliRunner

from diagnose.casefile.reader import read_case
from diagnose.casefile.sheet import case_of, sheet
from diagnose.casefile.walk import usual_document
from diagnose.casefile.writer import render
from diagnose.cli.main import app
from diagnose.cli.report import made
from diagnose.judgement.diagnosis import Diagnosis
from diagnose.trail.graph import build, proof
from diagnose.views.graph_drawing import draw
from diagnose.views.report import html
from diagnose.views.report.blocks import Graph, Heading, Proof, Strong, Table, pieces
from diagnose.views.report.printing import find_browser, fitted, pdf_of
from tests.support.places import LARGE, ROOT

pytestmark = pytest.mark.slow

SCENARIOS = sorted((ROOT / "scenarios").glob("*.yaml"))


def test_it_opens_in_under_a_second_without_a_complaint_or_a_request(open_file, large_file):
    opened = [open_file(large_file) for _ in range(5)]
    taken = [o.page.evaluate("performance.getEntriesByType('navigation')[0].loadEventEnd") for o in opened]
    assert 0 < min(taken) < 1000
    for told in opened:
        assert told.complaints == [] and told.requests == [large_file.as_uri()]


@pytest.mark.parametrize("width", [1600, 1100, 400])
def test_nothing_sticks_out_at_any_width(open_file, large_file, width):
    page = open_file(large_file, width).page
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")


@pytest.fixture(scope="module")
def reasoned(whole_base):
    return build(Diagnosis(read_case(LARGE, whole_base.knowledge), whole_base))


def lit(page) -> set[str]:
    return set(page.eval_on_selector_all(".canvas g.node.lit", "all => all.map(g => g.dataset.node)"))


def expected(reasoned, node: str) -> set[str]:
    """What of a node's proof is in the picture, from the graph and not from the picture's lines."""
    drawn = draw(reasoned)
    lines = nx.DiGraph(drawn.lines)
    reached = nx.ancestors(lines, node) | {node} if node in lines else {node}
    assert reached <= set(proof(reasoned, node))
    return reached


@pytest.mark.parametrize("node", ["c:shaft runout@seal", "f:shaft runs out@seal"])
def test_a_click_lights_the_proof_and_a_second_puts_it_out(open_file, large_file, reasoned, node):
    page = open_file(large_file).page
    box = page.locator(f'.canvas g.node[data-node="{node}"]')
    box.click()
    assert lit(page) == expected(reasoned, node) and len(lit(page)) > 2
    assert box.get_attribute("aria-pressed") == "true"
    assert page.locator("svg.asked").count() == 1
    assert "Rests on:" in page.locator(".lit-now").inner_text()
    dark = page.locator(".canvas g.node:not(.lit)").first
    assert float(dark.evaluate("g => getComputedStyle(g).opacity")) < 0.3
    box.click()
    assert lit(page) == set() and page.locator("svg.asked").count() == 0


def test_a_conclusion_named_on_page_one_leads_to_its_lit_proof(open_file, large_file, reasoned):
    page = open_file(large_file).page
    page.locator("#summary a.lights", has_text="shaft runout").first.click()
    assert lit(page) == expected(reasoned, "c:shaft runout@seal")
    assert page.locator('.canvas g.node[data-node="c:shaft runout@seal"]').evaluate(
        "g => { const r = g.getBoundingClientRect(); return r.top >= 0 && r.bottom <= window.innerHeight; }"
    )


def test_the_graph_is_worked_by_keyboard_alone(open_file, large_file):
    page = open_file(large_file).page
    page.locator(".canvas").focus()
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.matches('.canvas g.node[tabindex]')")
    page.locator('.canvas g.node[data-node="c:shaft runout@seal"]').focus()
    page.keyboard.press("Enter")
    assert "c:shaft runout@seal" in lit(page)
    page.keyboard.press("ArrowLeft")
    before = page.evaluate("document.activeElement.dataset.node")
    assert before.startswith(("f:", "r:"))
    page.keyboard.press("Escape")
    assert lit(page) == set()


def test_markup_in_a_case_is_inert(open_file, whole_base, tmp_path):
    hostile = "<script>window.ran=1</script><img src=x onerror=window.ran=1><a href=javascript:window.ran=1>x</a>"
    case = tmp_path / "case.yaml"
    case.write_text(
        f"case: '{hostile}'\nseal: {{arrangement: single}}\nparts:\n  - {{item: 1, name: '{hostile}', kind: hard face, tag: '{hostile}'}}\n"
        f"observations:\n  - {{part: 1, saw: radial cracks, extent: all round, note: '{hostile}'}}\n"
        f"history: {{events: [{{what: '{hostile}'}}]}}\n",
        "utf-8",
    )
    path = tmp_path / "report.html"
    path.write_text(html.page(made(case, read_case(case, whole_base.knowledge), whole_base)), "utf-8")
    told = open_file(path)
    assert told.page.evaluate("window.ran") is None and told.complaints == []
    assert told.page.locator("img").count() == 0 and told.page.locator("h1").inner_text() == hostile
    assert hostile in told.page.locator("#record").inner_text()


def test_the_policy_stops_what_it_does_not_know(open_file, large_file):
    told = open_file(large_file)
    told.page.evaluate(
        "() => { const s = document.createElement('script'); s.textContent = 'window.ran = 1'; document.body.append(s);"
        " const i = document.createElement('img'); i.src = 'https://example.org/x.png'; document.body.append(i); }"
    )
    assert told.page.evaluate("window.ran") is None
    assert any("Content Security Policy" in c for c in told.complaints)
    assert told.stopped == {"https://example.org/x.png": "csp"}


def printed(page, paper: str) -> PdfReader:
    return PdfReader(io.BytesIO(page.pdf(format=paper, print_background=True)))


def test_the_summary_is_one_page_for_every_scenario_on_both_papers(chromium, build):
    page = chromium.new_page()
    for path in SCENARIOS:
        report = build(path)
        page.set_content(html.page(report, short=True))
        papers = ("A4", "Letter") if report.type == "dense" else ("Letter",)
        assert [len(printed(page, paper).pages) for paper in papers] == [1] * len(papers), path.stem
    page.close()


def test_the_large_report_prints_its_summary_first_and_in_the_appendix_its_proofs_across(open_file, build, tmp_path):
    path = tmp_path / "report.html"
    path.write_text(html.page(build(LARGE), appendix=True), "utf-8")
    pages = printed(open_file(path).page, "A4").pages
    text = [re.sub(r"\s+", " ", p.extract_text()) for p in pages]
    assert "Why it failed" in text[0] and "Findings for and against" not in text[0]
    assert text[1].lstrip("0123456789/ ").startswith("Findings for and against")
    across = [i for i, p in enumerate(pages) if p.mediabox.width > p.mediabox.height]
    report = build(LARGE)
    proofs = next(b.printed for s in report.sections for b in s.blocks if isinstance(b, Graph))
    wide = sum(f.role == "across" for f in proofs)
    assert len(proofs) == len(report.answers[0].leaders) and wide
    assert across == list(range(len(pages) - wide, len(pages)))
    sides = [sorted((float(p.mediabox.width), float(p.mediabox.height))) for p in pages]
    assert all(side == pytest.approx([595.3, 841.9], abs=1.0) for side in sides)
    assert 20 <= len(pages) <= 30
    assert all(f"{i} / {len(pages)}" in t for i, t in enumerate(text, 1))


@pytest.mark.parametrize(
    ("name", "paper"),
    [
        ("thin-record", "A4"),
        ("sound-on-schedule", "Letter"),
        ("condensate-pump-dry-start", "A4"),
        ("cracked-tapping", "A4"),
    ],
)
def test_no_page_is_left_mostly_empty(name, paper, build):
    """Held by where the words stand in the PDF; the printer goes by where the pieces end."""
    report = build(ROOT / "scenarios" / f"{name}.yaml")
    mostly_full(PdfReader(io.BytesIO(fitted(lambda size: html.page(report, False, paper, size), find_browser()))))


def mostly_full(whole: PdfReader) -> None:
    for p in whole.pages:
        high: list[float] = []

        def seen(text, user, matrix, *_, high=high):
            if text.strip() and not re.fullmatch(r"\d+ / \d+", text.strip()):
                high.append(matrix[5] * user[3] + user[5])

        p.extract_text(visitor_text=seen)
        room = float(p.mediabox.height) - 28 / 25.4 * 72
        assert (float(p.mediabox.height) - 13 / 25.4 * 72 - min(high)) / room > 0.45


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_a_pair_of_which_everything_was_looked_at_prints_on_few_pages_and_none_of_them_is_mostly_empty(
    paper, whole_base, tmp_path
):
    k = whole_base.knowledge
    pair, seen = (
        case_of("dual pressurised", k),
        {"barrier lost", "concentric grooves", "heat tint", "squeal", "carbon dust", "pinched"},
    )
    states = {True: "saw", False: "absent"}
    records = [
        {**b.about(), states[b.term in seen]: b.term} for b in sheet(pair, k).boxes().values() if b.what == "feature"
    ]
    path = tmp_path / "pair.yaml"
    document = usual_document("Pair", "dual pressurised", k.arrangements.usual["dual pressurised"], "")
    path.write_bytes(render({**document, "observations": records}))
    report = made(path, read_case(path, k), whole_base)
    whole = PdfReader(io.BytesIO(fitted(lambda size: html.page(report, False, paper, size), find_browser())))
    assert len(whole.pages) <= 12
    mostly_full(whole)


def test_a_report_prints_on_letter_too(open_file, build, tmp_path):
    path = tmp_path / "report.html"
    path.write_text(html.page(build(ROOT / "scenarios" / "crude-pump-barrier-lost.yaml")), "utf-8")
    pages = printed(open_file(path).page, "Letter").pages
    sides = [sorted((float(p.mediabox.width), float(p.mediabox.height))) for p in pages]
    assert all(side == pytest.approx([612, 792], abs=1.0) for side in sides)
    text = [p.extract_text() for p in pages[:2]]
    assert "Take care" in text[0] and "Findings for and against" in text[1]


def test_the_command_prints_the_same_pdf_each_time(chromium, build, tmp_path):
    one = tmp_path / "one.pdf"
    done = CliRunner().invoke(app, ["report", "thin-record", "-o", str(one), "--short"])
    assert done.exit_code == 0, done.output
    two = pdf_of(html.page(build(ROOT / "scenarios" / "thin-record.yaml"), True, "A4"), find_browser())
    assert one.read_bytes() == two
    (page,) = PdfReader(io.BytesIO(one.read_bytes())).pages
    assert [round(float(x)) for x in page.mediabox[2:]] == [595, 842]


@pytest.mark.parametrize(
    ("name", "paper"),
    [
        ("shaft-runout-large-record", "A4"),
        ("fire-pump-ran-backwards", "Letter"),
        ("return-pump-throttled", "Letter"),
        ("transfer-pump-tilted-gland", "A4"),
        ("slurry-pump-two-causes", "A4"),
        ("crude-pump-barrier-lost", "A4"),
    ],
)
def test_no_heading_no_head_of_a_table_and_no_head_of_a_group_is_left_at_the_foot_of_a_page(name, paper, build):
    def letters(text: str) -> str:
        return re.sub(r"\W", "", text)

    report = build(ROOT / "scenarios" / f"{name}.yaml")
    titles = {letters(f"{number}{s.title}") for number, s in report.numbered}
    blocks = [b for s in report.sections for b in s.blocks]
    titles |= {letters(b.text) for b in blocks if isinstance(b, Heading)}
    heads = {letters("".join(name for name, _ in b.columns)) for b in blocks if isinstance(b, Table)}
    ledgers = [b for s in report.sections if s.id in ("findings", "ledgers") for b in s.blocks if isinstance(b, Table)]
    groups = {
        letters(
            "".join(
                p.text if isinstance(p, (Strong, Proof)) else p
                for line in b.rows[i]
                for p in pieces(line)
                if isinstance(p, (str, Strong, Proof))
            )
        )
        for b in ledgers
        for i in b.strong
    }
    whole = PdfReader(
        io.BytesIO(fitted(lambda size: html.page(report, False, paper, size, True), find_browser()))
    ).pages
    text = [p.extract_text(extraction_mode="layout").splitlines() for p in whole]
    feet = [
        [letters(line) for line in lines if line.strip() and not re.fullmatch(r"\s*\d+ / \d+\s*", line)][-2:]
        for lines in text
    ]
    found = {letters(line) for lines in text for line in lines}
    assert len(titles & found) > len(titles) / 2 and heads & found
    assert groups & found or not groups
    assert not [foot for foot in feet if foot[-1] in titles | heads | groups or foot[0] in heads]
