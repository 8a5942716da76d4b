"""Pages of the terminal: the plan, what the answer hangs on, how long lines are told."""

from __future__ import annotations

import re

import pytest
import yaml
from typer.testing import CliRunner

from diagnose.cli.main import app
from diagnose.reading.figures import count, percent
from diagnose.views.next_steps import minutes
from diagnose.views.page import Page
from tests.support.places import ROOT

PUMP = "condensate-pump-dry-start"


def page(*words: str) -> str:
    done = CliRunner().invoke(app, [*words], env={"COLUMNS": "80", "NO_COLOR": "1"})
    assert done.exit_code == 0, done.output
    return done.output


@pytest.mark.parametrize(
    ("p", "digits", "said"),
    [
        (0, 0, "under 1 %"),
        (0.0099, 0, "under 1 %"),
        (0.01, 0, "1 %"),
        (0.5, 0, "50 %"),
        (0.99, 0, "99 %"),
        (0.9951, 0, "over 99 %"),
        (1, 0, "over 99 %"),
        (0.0004, 1, "under 0.1 %"),
        (0.941, 1, "94.1 %"),
        (0.99995, 1, "over 99.9 %"),
    ],
)
def test_a_probability_is_never_none_or_all(p, digits, said):
    assert percent(p, digits) == said


def test_no_line_parts_a_number_from_its_percent_sign_and_headings_fold():
    made = Page(24, False)
    made.say("a cause that has some 27 % of it all, and 8 % more", indent=2)
    made.heading("a heading that is longer than the page is wide")
    made.ends("  a left side that is too long for it", "99 %")
    assert all(len(line) <= 24 and not line.lstrip().startswith("%") for line in made.lines)


@pytest.mark.slow
def test_the_plan_counts_one_piece_and_tells_short_times_in_seconds():
    assert minutes(1 / 3) == "20 s" and minutes(0) == "0 min" and minutes(12.34) == "12.3 min"
    told = page("next", PUMP, "--budget", "5min")
    assert "1 piece of work, 5 min of the 5 min given" in told
    assert "0 min of the 20 s given" in page("next", PUMP, "--budget", "20s")


@pytest.mark.slow
def test_a_listed_part_is_in_hand_under_its_name_and_a_reason_does_not_say_the_name_again():
    told = page("next", PUMP)
    parts = yaml.safe_load((ROOT / "scenarios" / f"{PUMP}.yaml").read_text("utf-8"))["parts"]
    hands = re.findall(r"^  in hand: (.*)$", told, re.M)
    assert any(f"{p['name']} ({p['item']})" in hand for p in parts for hand in hands)
    assert not {p["kind"] for p in parts} & set(hands)
    lost = told.split("\nLost\n")[1].split("\n\n")[0]
    assert ": " in lost and not re.search(r"^  ([^:]+): \1:", lost, re.M)


@pytest.mark.slow
def test_what_the_answer_hangs_on_is_told_in_words_and_the_title_folds():
    told = page("fragile", PUMP)
    assert re.search(r"left out: [a-z ]+ only (probable|possible)", " ".join(told.split()))
    assert max(map(len, told.splitlines())) <= 80


@pytest.mark.slow
def test_the_share_of_a_set_is_labelled_after_the_cause_s_own_probability():
    told = " ".join(page("why-not", PUMP, "flashing").split())
    assert re.search(r"leads in its place: [a-z ]+ \((over )?\d+ %\); alone, with no other cause: \d+ %", told)


def test_one_thing_is_not_told_as_many():
    assert count(1, "record") == "1 record" and count(0, "case") == "0 cases" and count(12, "card") == "12 cards"
