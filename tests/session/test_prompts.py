"""How a question is asked where no terminal edits the line."""

from __future__ import annotations

import io
import sys

import pytest

from diagnose.session.prompts import MOST_SIGNS, asker


def test_a_file_pasted_as_an_answer_is_told_and_the_question_asked_again(monkeypatch, capsys):
    monkeypatch.setattr(sys, "stdin", io.StringIO(f"{'look at 1 and ' * 80_000}\n{'x' * MOST_SIGNS}\nwater\n"))
    ask = asker(True)
    assert ask("fluid: ", {}) == "x" * MOST_SIGNS
    assert "1,119,999 signs are no one answer" in capsys.readouterr().out
    assert ask("fluid: ", {}) == "water"
    with pytest.raises(EOFError):
        ask("fluid: ", {})
