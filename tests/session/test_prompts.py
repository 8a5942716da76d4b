"""How a question is asked where no terminal edits the line."""

from __future__ import annotations

import io
import sys
from concurrent.futures import ThreadPoolExecutor

import pytest

from diagnose.session import prompts
from diagnose.session.prompts import MOST_SIGNS, asker


def test_a_file_pasted_as_an_answer_is_told_and_the_question_asked_again(monkeypatch, capsys):
    monkeypatch.setattr(sys, "stdin", io.StringIO(f"{'look at 1 and ' * 80_000}\n{'x' * MOST_SIGNS}\nwater\n"))
    ask = asker(True)
    assert ask("fluid: ", {}) == "x" * MOST_SIGNS
    assert "1,119,999 signs are no one answer" in capsys.readouterr().out
    assert ask("fluid: ", {}) == "water"
    with pytest.raises(EOFError):
        ask("fluid: ", {})


def test_what_looks_like_a_mouse_is_no_exception(monkeypatch):
    from prompt_toolkit.application import create_app_session
    from prompt_toolkit.input import create_pipe_input
    from prompt_toolkit.output import DummyOutput
    from prompt_toolkit.output.vt100 import Vt100_Output

    monkeypatch.setattr(Vt100_Output, "from_pty", lambda *_, **__: DummyOutput())
    monkeypatch.setattr(prompts, "edits_lines", lambda _: True)

    def asked() -> str:
        with create_pipe_input() as typed, create_app_session(input=typed, output=DummyOutput()):
            typed.send_text("wa\x1b[31mter\r")
            return prompts.asker()("fluid: ", {})

    # in a thread of its own, since a test of a browser may have left a loop of events running in this one
    with ThreadPoolExecutor(1) as thread:
        assert thread.submit(asked).result() == "water"
