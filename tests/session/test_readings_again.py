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
