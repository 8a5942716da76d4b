"""A trainer's story: its form, mistakes in it, and when its hints open."""

from __future__ import annotations

import pytest
from typer.testing import CliRunner

from diagnose.cli.main import commands
from diagnose.reading.problems import BadInput
from diagnose.reading.terms import plain
from diagnose.training.bench import Act, start
from diagnose.training.scoring import truth_of
from diagnose.training.story import Hint, Story, read_story
from tests.support.places import ROOT, SMALL
from tests.training.drills import hidden_of, played

STORIES = sorted((ROOT / "scenarios").glob("*.drill"))
STAGES = ("while running", "before anything is touched", "before unbolting", "before washing")


def read(tmp_path, text: str) -> Story:
    path = tmp_path / "a.drill"
    path.write_text(text, encoding="utf-8")
    return read_story(path, STAGES)


def wrong(tmp_path, text: str) -> list[str]:
    with pytest.raises(BadInput) as told:
        read(tmp_path, text)
    return [str(p).replace(f"{tmp_path}/", "") for p in told.value.problems]


def test_a_story_has_a_title_a_start_and_hints_in_their_order(tmp_path):
    story = read(
        tmp_path,
        "title: The pump\nsays: It stands.\ngentle: true\nhints:\n"
        "  - {says: One.}\n  - {says: Two., after: 1.5 h}\n"
        "  - {says: Three., after: before washing}\n  - {says: Four., after: 10 min, word: kestrel}\n",
    )
    hints = Hint("One."), Hint("Two.", 90), Hint("Three.", stage="before washing"), Hint("Four.", 10, word="kestrel")
    assert story == Story("The pump", "It stands.", True, hints)
    assert read(tmp_path, "says: It stands.\n") == Story("", "It stands.")


def test_every_mistake_in_a_story_is_told_at_its_place_and_all_at_once(tmp_path):
    told = wrong(
        tmp_path,
        "titel: The pump\nsays: [It, stands]\ngentle: perhaps\nhints:\n"
        "  - {after: 10 min}\n  - {says: Two., after: before wasching}\n  - {says: Three., after: 10 bar}\n"
        "  - {says: Four., after: -5 min}\n  - Five\n  - {says: Six., until: noon}\n",
    )
    assert [(t.split(" ")[0], t.rsplit("[")[-1]) for t in told] == [
        ("a.drill:1:1:", "unknown-key]"),
        ("a.drill:2:7:", "text]"),
        ("a.drill:3:9:", "unknown-word]"),
        ("a.drill:5:5:", "missing-key]"),
        ("a.drill:6:25:", "hint-after]"),
        ("a.drill:7:27:", "hint-after]"),
        ("a.drill:8:26:", "hint-after]"),
        ("a.drill:9:5:", "hint]"),
        ("a.drill:10:18:", "unknown-key]"),
    ]
    assert "before washing" in told[4] and "a time such as 10 min, or a stage" in told[5]


@pytest.mark.parametrize("text, place", [("- a\n", "1:1"), ("title: {\n", "2:1"), ("", "1:1"), ("a: 1\na: 2\n", "2:1")])
def test_what_is_no_mapping_is_told_not_thrown(tmp_path, text, place):
    assert f"a.drill:{place}:" in {t.split(" ")[0] for t in wrong(tmp_path, text)}


def test_a_hint_opens_at_its_minute_or_stage_and_not_before(condensate):
    late, off = Hint("", minutes=45), Hint("", stage="before separating the faces")
    before, after = start(condensate), played(condensate, [Act("isolate and drain"), Act("unbolt")])
    assert after.minutes == 65
    assert "after 45 minutes" in late.locked(before) and "before separating the faces" in off.locked(before)
    assert not late.locked(after) and not off.locked(after) and not Hint("").locked(before)


def test_the_teacher_s_page_says_when_each_hint_opens():
    story = ROOT / "scenarios" / "gasoline-pump-uneven-screws.drill"
    hints = read_story(story, ("before unbolting", "before washing")).hints
    assert [h.opens for h in hints] == [
        "after 10 min",
        "before unbolting",
        "before washing",
        "before washing, word: lantern",
    ]


@pytest.fixture
def drilled(tmp_path, monkeypatch):
    """What a drill of the small case says with a story beside it."""
    monkeypatch.setenv("COLUMNS", "80")
    case = tmp_path / "case.yaml"
    case.write_bytes((SMALL / "case.yaml").read_bytes())

    def play(story: str, *typed: str) -> str:
        case.with_suffix(".drill").write_text(story, encoding="utf-8")
        words = ["drill", str(case), "--plain", "--knowledge", str(SMALL / "knowledge")]
        return CliRunner().invoke(commands(), words, input="\n".join(typed) + "\n").output

    return play


def test_hints_come_in_their_order_each_once_and_a_word_opens_none_before_its_time(drilled):
    story = (
        "title: The pump\nhints: [{says: First.}, {says: Second., after: 1 min, word: The Kestrel}, {says: Third.}]\n"
    )
    said = drilled(story, "hint", "hint", "seat", "hint", "crow", "hint", "the kestrel", "hint", "hint", "leave")
    assert said.startswith("The pump\n")
    order = ["First.", "after 1 minute of", "opens with a word", "Second.", "Third.", "no further hint"]
    assert sorted(order, key=said.index) == order and said.count("the trainer's word") == 2
    assert all(said.count(o) == 1 for o in order)


@pytest.mark.slow
def test_a_hint_that_was_had_costs_points(drilled):
    answered = ("answer", "faces overheated", "80", "dry running", "90")
    told = [drilled("hints: [{says: First.}]\n", *hint, *answered) for hint in ((), ("hint",))]
    assert "-5.0" not in told[0] and "-5.0        1 hint" in told[1]


def test_who_has_no_idea_gives_no_answer(drilled):
    said = " ".join(drilled("title: The pump\n", "answer", "no idea", "I don't know").split())
    assert said.count("you gave no answer") == 2 and "which (number" not in said


def test_a_drill_with_a_wrong_story_is_not_begun(tmp_path):
    case = tmp_path / "case.yaml"
    case.write_bytes((SMALL / "case.yaml").read_bytes())
    case.with_suffix(".drill").write_text("hints: [{after: noon}]\n")
    words = ["drill", str(case), "--plain", "--knowledge", str(SMALL / "knowledge")]
    result = CliRunner().invoke(commands(), words)
    assert isinstance(result.exception, BadInput) and "what do you do" not in result.output


@pytest.mark.parametrize("path", STORIES, ids=lambda p: p.stem)
def test_a_shipped_story_says_it_is_invented_locks_its_hints_and_gives_nothing_away(path, whole_base):
    hidden = hidden_of(path.with_suffix(".yaml"), whole_base)
    story = read_story(path, hidden.words.stages)
    assert "invented" in plain(story.says)
    assert story.hints and all(h.locked(start(hidden)) or h.word for h in story.hints)
    text = plain(" ".join([story.title, story.says, *(h.says for h in story.hints)]))
    truth = truth_of(hidden)
    named = {*truth.roots, *truth.mechanisms, *(t.what for t in hidden.traces)}
    assert not [n for n in named if plain(n) in text]
    assert path.with_suffix(".yaml").is_file()


def test_a_story_is_shipped():
    assert STORIES
