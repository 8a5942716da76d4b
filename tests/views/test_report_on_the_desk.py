"""What a report is used for: to be filled in and signed, to see what the words mean, to lay the clock over a photo."""

from __future__ import annotations

import re

import pytest

from diagnose.casefile.reader import parse_case, read_case
from diagnose.cli.report import made
from diagnose.inference.run import infer
from diagnose.judgement.judge import judge
from diagnose.reading.figures import percent, signed
from diagnose.reading.problems import Problems
from diagnose.views.report import html, markdown
from diagnose.views.report.blocks import Figures, Paragraph, Picture, Table
from tests.support.places import LARGE, ROOT
from tests.views.test_markup import Reader
from tests.views.test_report import png, section, told

DRY = ROOT / "scenarios" / "condensate-pump-dry-start.yaml"
WORN = """case: Pump 9
history: {running hours: 31000 h, design life: 25000 h, removal: %s}
equipment: {work order: W-118}
seal: {serial: S-4}
parts: [{item: 1, name: Carbon, kind: soft face, group: rotating, carries: nose}]
observations:
  - {part: 1, saw: [full even track, nose used up, normal wear]}
  - {on: history, saw: failed after years}
"""


@pytest.fixture
def written(tmp_path, whole_base):
    def make(text: str):
        path = tmp_path / "case.yaml"
        path.write_text(text, "utf-8")
        problems = Problems()
        case = parse_case(text.encode(), str(path), whole_base.knowledge, problems)
        problems.raise_errors()
        return made(path, case, whole_base)

    return make


def test_page_one_has_a_form_with_its_actions_where_there_is_room_and_less_where_there_is_not(build):
    roomy, tight, full = build(DRY), build(LARGE), build(ROOT / "scenarios" / "crude-pump-barrier-lost.yaml")
    assert roomy.form and tight.form is None and full.form is None
    for report in (roomy, tight, full):
        page = html.page(report, short=True)
        assert all(f"<dt>{x}</dt>" in page for x in ("Work order", "Seal serial", "Earlier seals", "Checked by, date"))
        assert ("Owner" in page) == bool(report.form)
    actions = {told for a in roomy.answers for x in a.leaders for told in (line[0] for line in x.change)}
    assert actions & set(roomy.form.to_do)
    page = html.page(roomy, short=True)
    assert all(f'<th scope="col">{word}</th>' in page for word in ("Owner", "Due", "Done"))
    assert "| To be done | Owner | Due | Done |" in markdown.page(roomy, short=True)


@pytest.mark.slow
def test_what_is_on_record_is_told_and_not_asked_for_again(build, written):
    told = written(WORN % "failed")
    assert {("Work order", "W-118"), ("Seal serial", "S-4"), ("Earlier seals", "")} <= set(told.asked)
    assert ("Work order", "") in build(DRY).asked
    assert "- Work order: W-118" in markdown.page(told) and "- Earlier seals: \\_" not in markdown.page(told)


@pytest.mark.slow
def test_a_seal_that_was_taken_out_sound_is_not_told_as_a_failure(written):
    sound, failed = written(WORN % "sound"), written(WORN % "failed")
    assert (sound.kind, sound.answers[0].title) == ("Seal report", "What was found")
    assert (failed.kind, failed.answers[0].title) == ("Seal failure report", "Why it failed")
    told = Reader(html.page(sound, short=True)).told.rsplit("}", 1)[-1].split("How sure")[0]
    for finding in ("failed after", "failed far short of its expected life"):  # names, here of what was not so
        told = told.replace(finding, "")
    assert "failed" not in told


def test_each_mark_that_is_there_is_drawn_on_its_kind_of_part(build):
    made_report = build(DRY)
    (figures,) = [b for b in section(made_report, "sketches").blocks if isinstance(b, Figures)]
    told = [f.drawing.says for f in figures.figures]
    assert "Sketch: radial cracks on hard face" in told or any("radial cracks" in x for x in told)
    assert not any("gas" in x or "vented" in x for x in told)
    assert all(f.drawing.svg.startswith("<svg") for f in figures.figures)


@pytest.mark.slow
def test_a_report_without_a_mark_has_no_sketches(written):
    assert section(written("case: Told\nobservations: [{on: sound, saw: squeal}]"), "sketches") is None


@pytest.mark.slow
def test_a_photo_has_the_clock_laid_over_it_where_its_marks_have_a_place(build, case_file):
    path = case_file(
        "{part: 2, saw: edge chips, extent: 2 to 4, photo: chips.png}", "{part: 1, saw: blisters, photo: whole.png}"
    )
    for name in ("chips.png", "whole.png"):
        (path.parent / name).write_bytes(png())
    pictures = [b for b in section(build(path), "photos").blocks if isinstance(b, Picture)]
    with_clock, without = pictures
    assert without.over is None and with_clock.over
    x, y = map(float, re.search(r'd="M([\d.]+) ([\d.]+)A', with_clock.over.svg).groups())
    assert x == pytest.approx(50 + 46.6 * 3**0.5 / 2, abs=0.1) and y == pytest.approx(50 - 46.6 / 2, abs=0.1)
    page = html.page(build(path))
    assert 'class="over"' in page and "seen square on" in page


@pytest.mark.slow
def test_the_seals_before_this_one_are_told_where_the_case_lies_in_a_library(tmp_path, whole_base):
    from diagnose.library.store import Entry, Held, written
    from tests.library import site

    path = tmp_path / "now.yaml"
    path.write_text((WORN % "failed").replace("W-118}", "W-118, tag: P-7}"), "utf-8")
    case = read_case(path, whole_base.knowledge)
    assert "Earlier seals of" not in html.page(made(path, case, whole_base))
    with written(tmp_path) as store:
        seals = [site.seal(tag="P-7", hours=h, removed=f"202{n}-01-02") for n, h in ((3, 900.0), (4, 1200.0))]
        store.put([Entry(f"s{i}.yaml", Held(str(i), "", "k", ""), (s,)) for i, s in enumerate(seals)])
    report = made(path, case, whole_base)
    assert dict(report.asked)["Earlier seals"].startswith("2 of 2 failed")
    told = Reader(html.page(report)).told
    assert "Earlier seals of P-7 in this library" in told and "900 h" in told and "1 200 h" in told


def test_each_mark_and_each_reading_stands_in_the_record_once_and_what_was_not_there_in_the_appendix(large, whole_base):
    case = read_case(LARGE, whole_base.knowledge)
    (table,) = (b for b in section(large, "record").blocks if isinstance(b, Table))
    absent = told(*section(large, "absent").blocks)
    for part in case.parts:
        rows = [row for row in table.rows if row[0] == f"{part.name} ({part.item})"]
        seen = {o.feature for o in case.observations if o.part == part.item and o.state == "present"}
        taken = {m.what for m in case.measured if m.part == part.item}
        assert len(rows) == bool(seen or taken)
        for row in rows:
            words = told(Table(table.columns, rows))
            assert all(f in words for f in seen) and all(row[2].count(f"{w} ") >= 1 for w in taken)
    assert all(o.feature in absent for o in case.observations if o.state == "absent" and o.part)


def test_the_appendix_is_on_the_page_and_printed_only_where_it_is_asked_for(large):
    apart = [s.id for s in large.sections if s.apart]
    assert apart == ["ledgers", "quantities", "absent", "parts", "reasoning"]
    for paper, appendix, there in (("", False, True), ("A4", False, False), ("A4", True, True)):
        page = html.page(large, paper=paper, appendix=appendix)
        assert all((f'id="{id}"' in page) == there for id in apart)
        assert ('<main class="whole">' in page) == appendix and "main:not(.whole) .apart{display:none}" in page
    assert "--appendix" in told(*section(large, "verification").blocks)


@pytest.mark.slow
def test_the_seals_of_a_pair_are_ranked_side_by_side(build, whole_base):
    path = ROOT / "scenarios" / "crude-pump-barrier-lost.yaml"
    judgements = judge(infer(read_case(path, whole_base.knowledge), whole_base))
    happened, why = (
        b for b in section(build(path), "findings").blocks if isinstance(b, Table) and "inboard" in dict(b.columns)
    )
    for table in (happened, why):
        names = [told(Paragraph(row[0])) for row in table.rows]
        assert len(set(names)) == len(names)
        for row in table.rows:
            if (name := told(Paragraph(row[0]))) != "none of these causes":
                assert [row[2], row[5]] == [percent(x.of(name).probability) for x in judgements]


@pytest.mark.slow
@pytest.mark.parametrize("name", ["shaft-runout-large-record", "slurry-pump-two-causes"])
def test_a_ledger_has_groups_in_bold_with_their_marks_beneath_and_no_sum(build, whole_base, name):
    path = ROOT / "scenarios" / f"{name}.yaml"
    (judgement, *_) = judge(infer(read_case(path, whole_base.knowledge), whole_base))
    report = build(path)
    brief, ledgers = (
        [b for b in section(report, id).blocks if isinstance(b, Table) and b.columns[0][0] == "dB"]
        for id in ("findings", "ledgers")
    )
    assert len(ledgers) >= 2 and section(report, "ledgers").apart
    groups = judgement.weights.groups(report.answers[0].leaders[0].cause)
    strong = [ledgers[0].rows[i] for i in sorted(ledgers[0].strong)]
    telling = [g for g in groups if any(signed(w).strip("+-") != "0.0" for w in (g.weight, *g.alone.values()))]
    assert [row[0] for row in strong] == [signed(g.weight) for g in telling]
    assert len(ledgers[0].rows) == 1 + sum(1 + len(g.alone) for g in telling)
    (silent, *_) = (b for b in section(report, "ledgers").blocks if "nothing either way" in told(b))
    assert len(telling) < len(groups)
    assert all(f in told(silent) for g in groups if g not in telling for f in (g.mechanism, *g.alone))
    carrying = [g for g in groups if abs(g.weight) >= 1]
    assert [brief[0].rows[i][0] for i in sorted(brief[0].strong)] == [signed(g.weight) for g in carrying]
    assert len(brief[0].rows) == 1 + sum(1 + sum(abs(w) >= 1 for w in g.alone.values()) for g in carrying)


NOTHING = "case: Pump 9\nseal: {arrangement: single}\nparts: [{item: 1, name: Carbon, kind: soft face}]\n"


@pytest.mark.parametrize(
    ("more", "says"),
    [
        ("history: {removal: sound}\n", "The seal was taken out sound: nothing failed, so there is no cause to find."),
        ("", "Nothing was looked at, asked or measured yet, so nothing can be said of why the seal failed."),
    ],
)
def test_a_seal_of_which_nothing_is_to_be_explained_is_said_to_be_so_and_no_cause_is_missed(
    more, says, written, tmp_path
):
    report = written(NOTHING + more)
    (answer,) = report.answers
    assert (answer.first, answer.title, report.kind) == (says, "What was found", "Seal report")
    assert not (answer.happened or answer.sure or answer.beside or answer.leaders)
    assert section(report, "findings") is None and section(report, "changes") is None
    assert "could be named" not in html.page(report, short=True) and "No cause" not in markdown.page(report)
    hurt = written(NOTHING + more + "observations: [{part: 1, saw: blisters}]\n")
    assert hurt.answers[0].first != says and section(hurt, "findings")
