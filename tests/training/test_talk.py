"""What a trainee is told line by line."""

from __future__ import annotations

import pytest

from diagnose.training.talk import Talk
from diagnose.views.page import Page


@pytest.fixture
def drilling(condensate):
    """A drill that is given lines; what it said, and its answer where it came to one."""

    def play(*lines: str, answer: bool = False):
        left, said = list(lines), list[str]()

        def ask(question: str) -> str:
            said.append(question)
            return left.pop(0)

        def say(page: Page) -> None:
            said.append(page.text())

        talk = Talk(condensate, ask, say)
        given = talk.answer() if answer else talk.play()
        return " ".join(" ".join(said).split()), given

    return play


def test_a_misspelt_act_is_done_once_it_is_said_to_be_meant(drilling):
    said, _ = drilling("drain", "unblot", "", "time", "unblot", "y", "leave")
    assert said.count("Do you mean: unbolt") == 2 and said.count("unbolt (45 min)") == 1 and "20 minutes in all" in said


def test_what_is_too_late_says_until_when_it_was_to_be_had(drilling):
    said, _ = drilling(
        "drain", "unbolt", "part the faces", "wash", "look at the sleeve", "measure working length", "leave"
    )
    assert "too late to say (to be had only before washing):" in said
    assert "too late to say (to be had only before unbolting): working length" in said


def test_what_one_of_two_rings_shows_is_not_said_to_be_missing(drilling):
    said, _ = drilling("drain", "unbolt", "part the faces", "look at both faces", "leave")
    there, _, missing = said.partition("looked for and not there:")
    assert "radial cracks on Mating ring" in there and "radial cracks" not in missing


def test_what_was_not_understood_beside_what_is_done_is_told(drilling):
    said, _ = drilling("drain", "unbolt", "part the faces", "look at the sleeve and the shiny thing", "leave")
    assert "look at Sleeve" in said and "but not 'shiny thing'" in said


def test_who_names_a_cause_for_what_happened_is_told_so_and_asked_again(drilling):
    said, answer = drilling(
        "pump run without liquid", "dry running", "80", "flashing", "gas not vented", "70", answer=True
    )
    assert "Pump run without liquid says why it happened; that is asked next" in said
    assert "Flashing says what happened. What brought it about?" in said
    assert (answer.mechanism, answer.root) == ("dry running", "gas not vented")


def test_all_the_names_can_be_seen_before_one_is_chosen(drilling):
    said, answer = drilling("?", "", "?", "", answer=True)
    assert "carbon blistering; " in said and "axial float; " in said and (answer.mechanism, answer.root) == ("", "")


def test_one_name_that_is_only_near_is_asked_about(drilling):
    said, answer = drilling("warped", "1", "60", "", answer=True)
    assert "1. face not flat as made:" in said and answer.mechanism == "face not flat as made"
