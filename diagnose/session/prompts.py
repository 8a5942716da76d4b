"""How one question is asked: with editing and completion in a terminal, as a plain line in a pipe."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable

from diagnose.reading.terms import plain

Words = dict[str, str]
Ask = Callable[[str, Words], str]
"""Asks one question; `Words` maps every spelling to complete to what it stands for. Raises EOFError to leave."""

MEANS, HELP = "=", "?"
MOST_SIGNS = 4000


def edits_lines(plain_prompts: bool = False) -> bool:
    """Whether both ends are a terminal that can edit a line, and nobody asked for plain prompts."""
    known = os.environ.get("TERM", "dumb") not in ("", "dumb", "unknown")
    return not plain_prompts and known and sys.stdin.isatty() and sys.stdout.isatty()


def asker(plain_prompts: bool = False) -> Ask:
    """What asks; an answer that is too long, as when a file is pasted, is told and asked again."""
    once = _terminal() if edits_lines(plain_prompts) else _plain

    def ask(question: str, words: Words) -> str:
        while len(answer := once(question, words)) > MOST_SIGNS:
            print(f"  {len(answer):,} signs are no one answer; at most {MOST_SIGNS:,} are taken, say it in pieces")
        return answer

    return ask


def _plain(question: str, words: Words) -> str:
    sys.stdout.write(question)
    sys.stdout.flush()
    try:
        line = sys.stdin.readline()
    except KeyboardInterrupt:
        line = ""
    if not line:
        raise EOFError
    if not sys.stdin.isatty():
        sys.stdout.write("\n")
    return line.strip()


def _terminal() -> Ask:
    from prompt_toolkit import PromptSession
    from prompt_toolkit.completion import FuzzyCompleter, WordCompleter
    from prompt_toolkit.key_binding import KeyBindings, KeyPressEvent
    from prompt_toolkit.keys import Keys
    from prompt_toolkit.output.vt100 import Vt100_Output

    keys = KeyBindings()

    @keys.add(Keys.Vt100MouseEvent)
    def pass_over(event: KeyPressEvent) -> None:
        """Nobody asked for the mouse, so it is pasted text; the library raises where it is not as a mouse sends it."""

    @keys.add("tab")
    def complete(event: KeyPressEvent) -> None:
        buffer = event.current_buffer
        if buffer.complete_state:
            buffer.complete_next()
        else:
            buffer.start_completion(select_first=True)

    # asking the terminal for its cursor costs a round trip a question, so it is not asked
    output = Vt100_Output.from_pty(sys.stdout, term=os.environ.get("TERM"))
    output.enable_cpr = False
    session: PromptSession[str] = PromptSession(
        output=output, key_bindings=keys, complete_while_typing=False, reserve_space_for_menu=4
    )

    def ask(question: str, words: Words) -> str:
        meta = {word: f"= {term}" for word, term in words.items() if plain(word) != plain(term)}
        completer = FuzzyCompleter(WordCompleter(list(words), ignore_case=True, meta_dict=meta, sentence=True))
        try:
            return session.prompt(question, completer=completer).strip()
        except KeyboardInterrupt:
            raise EOFError from None

    return ask
