"""What is asked of a seal whose first steps are past: what stays on its parts, with what is looked for when they are next in hand."""

from __future__ import annotations

import pytest

from diagnose.casefile.cards import cards
from diagnose.casefile.reader import parse_case
from diagnose.casefile.walk import usual_document
from diagnose.casefile.writer import render
from diagnose.reading.entry import replace
from diagnose.reading.problems import Problems
from diagnose.views.page import Page
from diagnose.views.stack import page
from tests.session.script import Script, session, to_step


def of(case, knowledge, part: str):
    """Marks and readings that are still asked for on a part of a washed seal, and at which stages."""
    found = cards(replace(case, alone=True), knowledge, (), "before relapping")
    marks = {c.feature for card in found for c in card.choices for t in c.topics if t.part == part}
    readings = {name for card in found for name, on in card.readings for t in on if t.part == part}
    return marks, readings, {card.step.stage for card in found if part in {t.part for t in card.topics}}


@pytest.mark.parametrize(
    ("part", "stays", "measured", "gone"),
    [
        ("2", {"track wider than the nose", "track narrower than the nose", "heat tint"}, {"track width"}, "product film"),
        ("3", {"extruded edge", "flat on both sides", "swollen"}, {"hardness", "cross-section"}, "twisted in the groove"),
        ("5", {"corroded springs"}, {"springs found"}, "clogged outside the liquid"),
        ("9", {"fretting band", "heat tint", "rub mark"}, set(), "deposit beside the O-ring"),
        ("8", {"unequal bite"}, {"set screw bite"}, "loose"),
    ],
)  # fmt: skip
def test_of_a_washed_seal_what_survives_washing_is_asked_with_the_clean_part(knowledge, part, stays, measured, gone):
    usual = usual_document("x", "single", knowledge.arrangements.usual["single"], "before relapping")
    case = parse_case(render(usual), "x", knowledge, Problems())
    marks, readings, stages = of(case, knowledge, part)
    assert stays <= marks and measured <= readings and gone not in marks and "set screw torque" not in readings
    assert stages <= {"before relapping", "before sectioning"}


def test_the_leak_is_asked_of_people_where_recording_begins_later(case, knowledge):
    script = Script(*to_step(3), ("Leak @ Seen", "leak at the shaft exit"), stop_at="Step 3")
    assert "leak at the shaft exit" in {o.feature for o in session(case, knowledge, script).observations}
    assert "leak rate running" not in script.text


def test_looking_again_tells_and_takes_what_can_no_longer_be_measured(case, knowledge):
    script = Script(
        *to_step(3), ("Fit; Shaft @ Seen", "none"), ("Look again", "1"), ("Fit @ Seen", "working length 31.2 mm"), stop_at="Step 4"
    )  # fmt: skip
    now = session(case, knowledge, script)
    told = " ".join(script.text.partition("Before you go on")[2].split())
    assert (
        "to measure: working length" in told
        and "gland gap" in told
        and "axial float" not in told.partition("Look again")[0]
    )
    assert [x.readings[0].written for x in now.measured if x.what == "working length"] == ["31.2 mm"]


@pytest.mark.parametrize(
    ("stage", "told"), [("while running", "Mark them first"), ("before relapping", "separated by now")]
)
def test_parts_that_are_separated_are_not_said_to_be_marked_first(knowledge, stage, told):
    usual = usual_document("x", "single", knowledge.arrangements.usual["single"], stage)
    out = Page(80, False)
    page(parse_case(render(usual), "x", knowledge, Problems()), knowledge, out)
    said = " ".join(out.text().split())
    assert [t in said for t in ("Mark them first", "separated by now")].count(True) == 1 and told in said
