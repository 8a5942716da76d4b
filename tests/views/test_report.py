"""The report: what it says, that it is safe, that it is the same each time."""

from __future__ import annotations

import base64
import hashlib
import re
import struct
import zlib

import pytest

from diagnose.advice.actions import actions
from diagnose.casefile.reader import read_case
from diagnose.inference.run import infer
from diagnose.judgement.judge import judge
from diagnose.reading.figures import percent
from diagnose.views.report import html, markdown
from diagnose.views.report.blocks import Figures, Heading, Items, Paragraph, Picture, Table
from diagnose.views.report.pictures import day_of
from tests.support.commands import Done, diagnose
from tests.support.places import LARGE, ROOT, mostly_slow
from tests.support.reasoned import ONE_VERDICT
from tests.views.test_markup import Reader

SCENARIOS = sorted((ROOT / "scenarios").glob("*.yaml"))


def section(report, id):
    return next((s for s in report.sections if s.id == id), None)


def told(*blocks) -> str:
    """All the text of blocks, as a reader sees it."""
    return Reader("".join(html._block(b) for b in blocks)).told


def row_with(report, id, *words) -> str:
    """The one table row of a section that holds all the words."""
    rows = [told(Table(t.columns, [row])) for t in section(report, id).blocks if isinstance(t, Table) for row in t.rows]
    (found,) = [r for r in rows if all(w in r for w in words)]
    return found


# ---- one file, safe and the same each time ----------------------------------------------------------------------------


@pytest.mark.parametrize("path", mostly_slow(SCENARIOS), ids=lambda p: p.stem)
def test_every_scenario_makes_a_report_under_a_megabyte_and_a_half_that_names_nothing_outside(build, path):
    page = html.page(build(path))
    assert len(page.encode()) < 1_500_000
    outside = set(re.findall(r"""(?:https?:|//|url\(|@import|src=|href=)[^\s"'<>)]*""", page))
    assert {x for x in outside if not x.startswith(("url(#", "href=", "src=", "//"))} <= {"http://www.w3.org/2000/svg"}
    assert all(h.startswith("#") or h == "data:," for h in re.findall(r'\bhref="([^"]*)"', page))
    assert " style=" not in page and " onclick" not in page


@pytest.mark.slow
def test_the_policy_names_each_style_and_script_and_nothing_else(large):
    page = html.page(large)
    policy = Reader(page).attributes[[a for a, _ in Reader(page).attributes].index("content")][1]
    inline = re.findall(r"<(style|script)>(.*?)</\1>", page, re.S)
    hashes = {f"'sha256-{base64.b64encode(hashlib.sha256(code.encode()).digest()).decode()}'" for _, code in inline}
    assert set(re.findall(r"'sha256-[^']+'", policy)) == hashes
    assert policy.startswith("default-src 'none'") and "unsafe" not in policy and "*" not in policy


@pytest.mark.slow
def test_the_order_of_records_changes_only_line_numbers_and_digest(build, tmp_path, whole_base):
    text = (ROOT / "scenarios" / "transfer-pump-tilted-gland.yaml").read_text("utf-8")
    head, _, rest = text.partition("observations:\n")
    lines, _, tail = rest.partition("measurements:\n")
    turned = tmp_path / "case.yaml"
    turned.write_text(
        head + "observations:\n" + "\n".join(reversed(lines.rstrip("\n").split("\n"))) + "\nmeasurements:\n" + tail,
        "utf-8",
    )

    def bare(path):
        page = html.page(build(path))
        return re.sub(r"\(case line \d+\)|[0-9a-f]{16,64}", "", page)

    assert bare(turned) == bare(ROOT / "scenarios" / "transfer-pump-tilted-gland.yaml")


HOSTILE = """<script>window.ran=1</script><img src=x onerror="window.ran=1"> **bold** | [x](javascript:1) `code` </style> ${1}"""


@pytest.mark.slow
def test_markup_in_a_case_is_shown_as_text(build, case_file):
    note = HOSTILE.replace('"', "'")
    made = build(
        case_file(
            f'{{part: 2, saw: edge chips, extent: at 3, note: "{note}"}}',
            name=f'"{note}"',
            more=f'history: {{note: "{note}", events: [{{what: "{note}"}}]}}',
        )
    )
    page = html.page(made)
    read = Reader(page)
    assert read.tags.count("script") == 1 and "img" not in read.tags and "b" not in read.tags
    assert read.told.count(note) >= 3
    text = markdown.page(made)
    assert "<" not in text and "\\*\\*bold\\*\\*" in text and "\\[x\\](javascript:1)" in text and "\\`code\\`" in text


# ---- what it says -----------------------------------------------------------------------------------------------------


@pytest.mark.slow
def test_page_one_has_what_happened_cause_certainty_chain_reasons_changes_and_cautions(build, whole_base):
    report = build(ROOT / "scenarios" / "condensate-pump-dry-start.yaml")
    (answer,) = report.answers
    lead, page = answer.leaders[0], Reader(html.page(report, short=True)).told
    judgement = judge(
        infer(read_case(ROOT / "scenarios" / "condensate-pump-dry-start.yaml", whole_base.knowledge), whole_base)
    )[0]
    best = judgement.causes[0]
    assert (lead.cause, lead.standing, lead.shown) == (best.name, best.standing, percent(best.probability))
    assert lead.why and lead.change and report.cautions and lead.chain[0] == best.name and len(lead.chain) > 2
    order = ["Why it failed", "What happened: ", best.name, "What to change", "How sure", "Take care"]
    places = [page.index(words) for words in order[:-1]] + [page.rindex(order[-1])]
    assert places == sorted(places)
    for words in (best.name, *lead.chain, "Invented case", told(Items(lead.change, True))[:30]):
        assert words in page


@pytest.mark.slow
def test_no_raised_caution_is_left_unnamed_on_page_one_and_an_action_names_its_own(build, whole_base):
    path = ROOT / "scenarios" / "crude-pump-barrier-lost.yaml"
    report, case = build(path), read_case(path, whole_base.knowledge)
    inference = infer(case, whole_base)
    page = Reader(html.page(report, short=True)).told
    raised = [name for name in inference.cautions if not whole_base.knowledge.cautions[name].always]
    assert len(raised) > 3 and all(name in page.lower() for name in raised)
    careful = [a for a in actions(judge(inference)) if set(a.cautions) & set(raised)]
    assert careful
    for action in careful:
        assert all(c in row_with(report, "changes", action.do) for c in set(action.cautions) & set(raised))


@pytest.mark.slow
def test_actions_have_columns_for_owner_and_day_to_fill_in(build):
    changes, repairs = (b for b in section(build(LARGE), "changes").blocks if isinstance(b, Table))
    for table in (changes, repairs):
        assert table.columns[-2:] == (("owner", "fill"), ("due", "fill"))
        assert table.rows and all(row[-2:] == ("", "") for row in table.rows)


def test_decibans_and_bits_are_explained_where_they_first_stand(large):
    page = Reader(html.page(large)).told
    assert page.index("Decibans are ten times the logarithm") < page.index(" dB")
    assert "A bit is what the answer to one even question tells" in told(*section(large, "gaps").blocks)


# ---- sound seals and pairs ---------------------------------------------------------------------------------------------

SOUND = """case: Sound seal out on schedule
service: {fluid: water, is: [water]}
seal: {arrangement: single, design: pusher}
observations:
  - {on: soft face, saw: full even track}
  - {on: hard face, absent: [radial cracks, scored face]}
"""


@pytest.fixture
def written(build, tmp_path):
    def make(text: str):
        path = tmp_path / "written.yaml"
        path.write_text(text, "utf-8")
        return build(path)

    return make


@pytest.mark.slow
def test_a_sound_seal_is_said_to_be_so_first_and_nothing_is_said_to_have_failed(written):
    report = written(SOUND)
    (answer,) = report.answers
    assert answer.first == "No damage to this seal is on record." and not answer.leaders
    page = Reader(html.page(report, short=True)).told.rsplit("}", 1)[-1].strip()
    page = page.replace("worn or failed bearings", "")  # the name of a mechanism, of no seal
    assert (
        page.startswith("Seal report, one page")
        and "failed" not in page.split("How sure")[0]
        and "could be named" not in page
    )
    assert page.index(answer.first) < page.index("What happened: ")
    text = markdown.page(report, short=True)
    assert "## What was found" in text and text.index(answer.first) < text.index("What happened: ")
    hurt = written(SOUND.replace("saw: full even track", "saw: blisters"))
    assert not hurt.answers[0].first and hurt.answers[0].title == "Why it failed" and hurt.kind == "Seal failure report"


PAIR = """case: Pair
service: {fluid: resin, is: [abrasive solids]}
seal: {arrangement: dual pressurised, design: pusher}
parts:
  - {item: 1, name: Inner carbon, kind: soft face, position: inboard}
  - {item: 11, name: Outer carbon, kind: soft face, position: outboard}
observations:
  - {part: 1, saw: [scored face, concentric grooves]}
"""


@pytest.mark.slow
def test_a_seal_of_a_pair_that_was_not_looked_at_gets_that_sentence_and_no_block(written):
    inner, outer = written(PAIR).answers
    assert not inner.first and outer.first == "The outboard seal was not looked at: nothing on record is about it."
    assert not outer.leaders and not outer.happened and not outer.beside and outer.title == "The outboard seal"
    assert not any(
        "outboard" in b.text
        for b in section(written(PAIR), "findings").blocks
        if isinstance(b, Heading) and "Ledger" in b.text
    )
    _, seen = written(PAIR + "  - {part: 11, saw: blisters}\n").answers
    assert not seen.first and seen.happened


@pytest.mark.slow
def test_one_verdict_for_two_seals_has_one_block(build, tmp_path):
    (tmp_path / "pair.yaml").write_text(ONE_VERDICT)
    inner, outer = build(tmp_path / "pair.yaml").answers
    (lead,) = inner.leaders
    assert (
        not outer.leaders
        and lead.cause in told(Items(outer.also))
        and "as at the inboard seal" in told(Items(outer.also))
    )


@pytest.mark.slow
def test_a_cause_that_stands_by_the_same_evidence_as_a_likelier_one_has_no_block(build):
    for path in SCENARIOS[:6]:
        for answer in build(path).answers:
            whys = [{told(Paragraph(line)) for line in x.why} for x in answer.leaders]
            assert all(a != b for i, a in enumerate(whys) for b in whys[i + 1 :]), path.stem


@pytest.mark.slow
def test_marks_from_both_ends_stand_on_one_clock(build, case_file):
    made = build(
        case_file(
            "{part: 1, saw: edge chips, side: outer edge, extent: 1 to 3}",
            "{part: 2, saw: edge chips, side: inner edge, extent: 7 to 8}",
        )
    )
    (dials,) = (b.figures for b in section(made, "marks").blocks if isinstance(b, Figures))
    assert [told(*d.beside).count("edge chips") for d in dials] == [1, 1]
    assert "from 1 to 3" in dials[0].drawing.says
    assert "from 4 to 5" in dials[1].drawing.says and "recorded from 7 to 8 seen from the impeller end" in told(
        *dials[1].beside
    )


@pytest.mark.slow
def test_a_mark_on_a_part_of_no_recorded_seal_is_drawn_too(build, case_file):
    path = case_file("{part: 2, saw: edge chips, extent: 7 to 8}")
    path.write_text(path.read_text("utf-8").replace("arrangement: single", "arrangement: dual pressurised"), "utf-8")
    (dial,) = (f for b in section(build(path), "marks").blocks if isinstance(b, Figures) for f in b.figures)
    assert "seal not recorded" in dial.drawing.says and "from 4 to 5" in dial.drawing.says


def test_a_part_that_was_not_indexed_stands_apart_and_is_said_to(large):
    blocks = section(large, "marks").blocks
    common, own = (b for b in blocks if isinstance(b, Figures))
    dials, apart = " ".join(f.drawing.says for f in common.figures), told(own)
    assert "Retainer (12)" not in dials and "Retainer (12)" in apart and "Apart because" in apart


def test_conflicting_published_limits_are_all_shown(large):
    inside = told(*(b for b in section(large, "measurements").blocks if isinstance(b, Paragraph)))
    assert "Inside every published limit: " in inside and "axial float" not in inside.split("Figures of the case")[0]
    row = row_with(large, "measurements", "axial float", "at most")
    for value in ("0.075 mm", "0.1 mm", "0.13 mm", "0.25 mm"):
        assert value in row
    assert "between the values given" in row
    assert "ABOVE" in row_with(large, "measurements", "track excess", "ABOVE")
    usual = told(*(b for b in section(large, "quantities").blocks if isinstance(b, Items)))
    assert "running hours machine 1650 h, above: first day, at most 24 h" in usual


def test_the_wear_figure_gives_the_numbers_of_the_quantities(large, whole_base):
    inference = infer(read_case(LARGE, whole_base.knowledge), whole_base)
    lobe = next(q for q in inference.quantities if q.name == "wear one lobe" and q.part == "1")
    figures = [f for b in section(large, "round-the-clock").blocks for f in b.figures]
    carbon, mating = (
        next(f for f in figures if f.drawing.says.startswith(f"wear depth on {n}"))
        for n in ("Carbon ring", "Mating ring")
    )
    assert f"wear one lobe {lobe.value * 1e6:.3g} µm" in told(carbon)
    heights = [
        float(y)
        for y in re.findall(r"[ML][\d.]+ ([\d.]+)", re.search(r'class="fit" d="([^"]*)"', carbon.drawing.svg)[1])
    ]
    per_micron = (168 - 12) / 10
    assert max(heights) - min(heights) == pytest.approx(2 * lobe.value * 1e6 * per_micron, rel=0.02)
    assert "not told from noise" in told(mating)
    flat = re.findall(r"[ML][\d.]+ ([\d.]+)", re.search(r'class="fit" d="([^"]*)"', mating.drawing.svg)[1])
    assert len(set(flat)) == 1


def test_the_short_spring_is_marked(large):
    figure = section(large, "springs").blocks[0].figures[0]
    assert "5 20.6 mm outlier" in figure.drawing.says and figure.drawing.svg.count('class="against"') == 1


def test_lost_and_not_looked_at_are_told_apart_with_their_notes(large):
    gaps = told(*section(large, "gaps").blocks)
    assert "carbon dust, atmosphere side: the chamber was hosed out before anyone looked" in gaps
    assert gaps.index("Recorded as not looked at") < gaps.index("bearing damaged") < gaps.index("Lost before")
    assert "Drive collar (8)" in gaps


def test_every_citation_has_its_source(large):
    page = html.page(large)
    cited = {int(n) for n in re.findall(r'class="cite">\[(\d+)\]', page)}
    listed = [int(line[0].text) for line in section(large, "sources").blocks[0].lines]
    assert cited <= set(listed) and listed == list(range(1, len(listed) + 1))


def test_digests_are_those_of_the_bytes(large):
    digest = hashlib.sha256(LARGE.read_bytes()).hexdigest()
    assert digest in told(*section(large, "verification").blocks)
    assert digest[:16] in html.page(large, short=True)


@pytest.mark.slow
def test_a_thin_record_names_no_cause(build):
    made = build(ROOT / "scenarios" / "thin-record.yaml")
    page = Reader(html.page(made, short=True)).told
    assert not made.answers[0].leaders and "No cause could be named." in page and "No cause of this rule base" in page


def test_dates_to_days():
    assert day_of("2026-03-01") - day_of("2026-02") == 28 and day_of("2026") == day_of("2026-01-01")
    assert day_of("spring 2026") is None and day_of("2026-13-01") is None


# ---- photos -----------------------------------------------------------------------------------------------------------


def png() -> bytes:
    """A grey picture of two by two points."""

    def chunk(name: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))

    rows = b"\x00\x80\x80" * 2
    head = struct.pack(">IIBBBBB", 2, 2, 8, 0, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(rows)) + chunk(b"IEND", b"")


@pytest.mark.slow
def test_photos_beside_the_case_are_in_the_file_with_their_digest(build, case_file):
    path = case_file("{part: 2, saw: edge chips, photo: chips.png}")
    (path.parent / "chips.png").write_bytes(png())
    made = build(path)
    (picture,) = section(made, "photos").blocks
    assert isinstance(picture, Picture) and picture.data == png()
    page = html.page(made)
    assert f"data:image/png;base64,{base64.b64encode(png()).decode()}" in page
    assert hashlib.sha256(png()).hexdigest() in page


@pytest.mark.slow
def test_missing_changed_and_strange_photos_are_said_to_be_so(build, case_file):
    path = case_file(
        "{part: 2, saw: edge chips, photo: gone.jpg}",
        f"{{part: 1, saw: blisters, photo: now.png, photo digest: {'0' * 64}}}",
        "{part: 1, saw: fracture, photo: script.svg}",
    )
    (path.parent / "now.png").write_bytes(png())
    (path.parent / "script.svg").write_text(
        "<svg xmlns='http://www.w3.org/2000/svg'><script>alert(1)</script></svg>", "utf-8"
    )
    blocks = section(build(path), "photos").blocks
    gone, now, strange = (told(b) for b in blocks)
    assert "missing beside the case file" in gone
    assert f"not the file that was recorded, whose sha256 was {'0' * 64}" in now
    assert isinstance(blocks[2], Paragraph) and "no PNG, JPEG, GIF or WebP image" in strange


@pytest.mark.slow
def test_a_link_that_leads_away_from_the_case_is_not_read(build, case_file, tmp_path_factory):
    outside = tmp_path_factory.mktemp("outside") / "secret.png"
    outside.write_bytes(png())
    path = case_file("{part: 2, saw: edge chips, photo: link.png}")
    (path.parent / "link.png").symlink_to(outside)
    made = build(path)
    assert "does not lie beside the case" in told(*section(made, "photos").blocks) and "base64" not in html.page(made)


# ---- the command ------------------------------------------------------------------------------------------------------


def command(*arguments: str, **env: str) -> Done:
    return diagnose("report", *arguments, **env)


@pytest.mark.slow
def test_the_endings_choose_the_form(tmp_path):
    assert command("thin-record", "-o", str(tmp_path / "r.md"), "--short").returncode == 0
    assert (tmp_path / "r.md").read_text("utf-8").startswith("# Cooling water pump P-70")
    assert command("thin-record", "-o", str(tmp_path / "r.html")).returncode == 0
    assert (tmp_path / "r.html").read_text("utf-8").startswith("<!doctype html>")


def test_without_a_browser_printing_says_what_to_do(tmp_path):
    done = command("thin-record", "-o", str(tmp_path / "r.pdf"), PATH=str(tmp_path))
    assert done.returncode == 2 and "install the package chromium" in done.stderr and "Traceback" not in done.stderr
    assert not (tmp_path / "r.pdf").exists()


@pytest.mark.parametrize("wrong", [("--pdf", "--markdown"), ("--paper", "A3"), ("-o", "/no/such/folder/r.html")])
def test_a_wrong_call_is_refused_with_a_way_out(tmp_path, wrong):
    done = command("thin-record", "-o", str(tmp_path / "r.html"), *wrong)
    assert done.returncode == 2 and done.stderr.strip() and "Traceback" not in done.stderr


@pytest.mark.parametrize("name", ["r.txt", "r", "r.htm"])
def test_a_report_of_an_unknown_ending_is_refused_with_the_known_ones(tmp_path, name):
    done = command("thin-record", "-o", str(tmp_path / name))
    assert done.returncode == 2 and "end the name in .html, .md, .pdf" in done.stderr
    assert not (tmp_path / name).exists()


def test_markdown_tells_the_same_as_the_page(large):
    text = markdown.page(large)
    for words in (
        "# Glycol circulation pump P-118",
        f"**{large.answers[0].leaders[0].standing}, {large.answers[0].leaders[0].shown}: {large.answers[0].leaders[0].cause}.**",
        "## 1 Findings for and against",
        "ABOVE",
    ):
        assert words in text
    tables = re.findall(r"(?:^\|.*\n)+", text, re.M)
    assert len(tables) > 10
    for table in tables:
        assert len({len(re.findall(r"(?<!\\)\|", row)) for row in table.splitlines()}) == 1


@pytest.mark.slow
def test_page_one_names_first_what_the_answer_at_the_terminal_names_first(build):
    name = "crude-pump-barrier-lost"
    first = [line for line in diagnose("explain", name).stdout.splitlines() if re.match(r"  [12]\. ", line)]
    told = [str(x).partition(" [")[0] for x in build(ROOT / "scenarios" / f"{name}.yaml").open]
    assert len(told) == 2 and all(f". {x}" in line for x, line in zip(told, first, strict=True))
