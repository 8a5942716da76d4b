"""A slip in a reading is asked back, and a second reading where one is taken corrects the first."""

from __future__ import annotations

import pytest

from tests.session.script import Script, session, to_step

SHAFT = "Shaft @ "


def floats(case):
    return [[r.written for r in x.readings] for x in case.measured if x.what == "axial float"]


def test_a_length_far_over_every_limit_is_asked_back(case, knowledge):
    script = Script(*to_step(3), (SHAFT + "Seen", "axial float: 18"), stop_at="Step 4")
    assert floats(session(case, knowledge, script)) == []
    assert "axial float 18 mm, where at most 0.25 mm is usual. Is that so" in " ".join(script.text.split())


@pytest.mark.parametrize(("answer", "stands"), [("y", "0.15 mm"), ("", "0.2 mm")])
def test_a_second_reading_where_one_is_taken_is_asked_as_a_correction(case, knowledge, answer, stands):
    script = Script(
        *to_step(3),
        (SHAFT + "Seen", "axial float: 0.2"),
        (SHAFT + "Seen", "axial float: 0.15"),
        ("0.15 mm instead", answer),
        stop_at="Step 4",
    )
    assert floats(session(case, knowledge, script)) == [[stands]]
    assert "0.15 mm instead of it" in " ".join(script.text.split())


@pytest.mark.parametrize(
    ("answers", "around", "told"),
    [
        (["none"], (), ""),
        (["n"], (), ""),
        (["all of them", "12 3 6"], (0.0, 90.0, 180.0), "'all' is no clock position"),
        (["12 3"], (), "3 readings but 2 clock positions: they are recorded without"),
        (["at 12, 3 and 6"], (0.0, 90.0, 180.0), ""),
    ],
)
def test_readings_are_never_lost_by_the_clock_and_none_is_no_mark(case, knowledge, answers, around, told):
    ring = "1 Rotating ring @ "
    asked = [("at clock positions", x) for x in answers]
    script = Script(
        *to_step(7), (ring + "Seen", "nose width: 2.9 2.9 3.0"), *asked, ("counted from which mark", "none"), stop_at="2 Stationary"
    )  # fmt: skip
    now = session(case, knowledge, script)
    (widths,) = [x for x in now.measured if x.what == "nose width"]
    assert [r.written for r in widths.readings] == ["2.9 mm", "2.9 mm", "3.0 mm"] and widths.around == around
    assert now.part("1").index == "" and told in " ".join(script.text.split())
    assert ("counted from which mark" in script.text) == bool(around)
