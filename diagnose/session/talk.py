"""One session's talk: questions with commands at every one of them, records acknowledged in words, refusals told."""

from __future__ import annotations

import re
import shutil
import textwrap
from collections.abc import Callable, Mapping

from diagnose.casefile.model import Case
from diagnose.casefile.recorder import DOUBTFUL, EDITED, EXCHANGED, Recorder
from diagnose.casefile.replay import State, What
from diagnose.casefile.walk import Topic
from diagnose.phrases.choose import Choice, chosen
from diagnose.reading.problems import BadInput
from diagnose.reading.terms import nearest
from diagnose.session.entries import NONE, YES, meant, numbers_choices
from diagnose.session.prompts import Ask, Words
from diagnose.session.wording import TYPED, acknowledged
from diagnose.views.at_odds import ToldOdds
from diagnose.views.journal import clean, sentence
from diagnose.views.page import Page

BOUND = "\u00a0"
"""A blank at which no line ends: between a number and what it stands for."""
ROOM = 72
"""Signs of a question that leave room for an answer on a line of 80."""
BARE = ("back", "skip", "quit", "log", "help")
"""Commands that stand for themselves at any question, without a slash."""
ENDING = ("disk", "view", EDITED, EXCHANGED)
"""Codes of refusals after which a session cannot go on."""


class Skip(Exception):
    """The topic is left for later."""


class Back(Exception):
    """The question before is asked again."""


class Talk:
    """Asks, says and records. `commands` are what a slash starts at any question; `help` says what is asked now."""

    def __init__(self, recorder: Recorder, ask: Ask, say: Callable[[str], None] = print, styled: bool | None = None):
        self.recorder, self._ask, self._say, self._styled = recorder, ask, say, styled
        self.knowledge = recorder.knowledge
        self.words = recorder.knowledge.vocabulary
        self.topic: Topic | None = None
        self.seen_from = ""
        self.commands: dict[str, Callable[[str], None]] = {}
        self.help: dict[str, str] = {}
        self._read: tuple[State, Case] | None = None
        self._odds = ToldOdds(recorder, here=TYPED)

    @property
    def case(self) -> Case:
        if self._read is None or self._read[0] is not self.recorder.state:
            self._read = self.recorder.state, self.recorder.case_now()
        return self._read[1]

    # ---- questions --------------------------------------------------------------------------------------------

    def ask(self, question: str, words: Words | None = None) -> str:
        """One answer in free words; "" for Enter. A command is done and the question asked again."""
        while True:
            answer = self._ask(clean(question), words or {})
            command, _, rest = (answer[0], "", answer[1:]) if answer[:1] in tuple("?=") else answer.partition(" ")
            command = command if command in self.commands or rest else f"/{command.lower()}"
            if command in self.commands and (answer[0] in "/?=" or answer.lower() in BARE):
                self.commands[command](rest.strip())
            elif answer.startswith("/"):
                self.say(f"  there is no command {answer.split()[0]!r}; ? shows them")
            else:
                return answer

    def choose(self, question: str, options: Mapping[str, str]) -> str:
        """One of a few answers, by any spelling in `options` or a beginning that only one has; "" only where that is one of
        them. Anything else is told and asked again, so that no text is taken for Enter."""
        while True:
            answer = self.ask(question, {k: v for k, v in options.items() if k})
            found = options.get(answer.lower())
            if found is None and answer and not answer.isdecimal():
                begun = meant(answer, {k: v for k, v in options.items() if k})
                found = begun[0] if len(begun) == 1 else None
            if found is not None:
                return found
            numbers = [k for k in options if k.isdecimal()]
            span = [f"{numbers[0]}-{numbers[-1]}"] if len(numbers) > 2 else numbers
            first = {v: k for k, v in reversed(list(options.items()))}
            words = [k for k, v in options.items() if k and first[v] == k and v not in map(options.get, numbers)]
            known = ", ".join(["Enter"] * ("" in options) + span + words)
            self.say(f"  {answer!r} is none of the answers here: {known}", hang=4)

    def term(self, answer: str, what: str, spelled: Words, setting: str = "") -> str:
        """The term that an answer stands for; "", told, where it is none or may be several. What is no spelling is read as a phrase
        where the terms are those of a setting, and then compared by its letters, as a slip of the keyboard."""
        found = meant(answer, spelled)
        if len(found) == 1:
            return found[0]
        if found:
            self.say(f"  {answer!r} may be: {', '.join(found[:12])}", hang=4)
            return ""
        read = chosen(answer, setting, list(dict.fromkeys(spelled.values())), self.words) if setting else Choice(())
        if read.terms and read.denied:
            self.say(f"  {answer!r} is read as: not {' or '.join(read.terms)}; asked is what is so "
                     "(/note TEXT keeps it as a remark)", hang=4)  # fmt: skip
            return ""
        if read.clear:
            self.say(f"  read as: {read.terms[0]}", hang=4)
            return read.terms[0]
        near = list(read.terms) or list(dict.fromkeys(spelled[word] for word in nearest(answer, spelled)))
        if len(near) == 1:
            return near[0] if self.sure(f"  {answer!r} is no {what}; is {near[0]} meant (y; Enter: no)? ") else ""
        known = f"did you mean {', '.join(near)}?" if near else "? lists them, /note TEXT keeps it as a remark"
        self.say(f"  {answer!r} is no {what} ({known})", hang=4)
        return ""

    def sure(self, question: str) -> bool:
        """Whether the answer is yes; what a long question tells before it asks is said first, so that no line is cut."""
        told, *rest = re.split(r": (?=[^:]*\(y)", question)
        if rest and len(question) > ROOM:
            self.say(f"{told}:", hang=4)
            question = f"  {': '.join(rest)}"
        return self.choose(question, dict.fromkeys(YES, "y") | dict.fromkeys(("", *NONE), "")) == "y"

    # ---- records ----------------------------------------------------------------------------------------------

    def record(self, *whats: What, quiet: bool = False, sure: bool = False) -> bool:
        """Whether it is on record now; a refusal is told and nothing is recorded, a doubtful reading is asked again.

        Raises BadInput where the session cannot go on.
        """
        try:
            lines = self.recorder.accept(*whats, sure=sure)
        except BadInput as error:
            codes = {p.code for p in error.problems}
            if codes == {DOUBTFUL}:
                odd = "; ".join(p.says for p in error.problems)
                return self.sure(f"  {odd}. Is that so (y; Enter: no, leave it out)? ") and self.record(
                    *whats, quiet=quiet, sure=True
                )
            if codes == {EDITED} and self._took_edits_over(error):
                return self.record(*whats, quiet=quiet, sure=sure)
            self.tell(error)
            if codes & set(ENDING):
                if codes & {EDITED, EXCHANGED}:
                    self.say(f"  not on record: {'; '.join(map(sentence, whats))}", hang=4)
                raise
            return False
        if not quiet:
            for text in acknowledged(lines, self.case) or ["already on record"]:
                self.say(f"  {text}", hang=4)
            for text in self._odds.since():
                self.say(f"  {text}", hang=4)
        return True

    def could(self, what: What) -> bool:
        """Whether a correction can be put on record once it is said why; a refusal is told."""
        try:
            self.recorder.check({**what, "why": "asked next"}, sure=True)
        except BadInput as error:
            self.tell(error)
            return False
        return True

    def _took_edits_over(self, error: BadInput) -> bool:
        """Whether the hand edits of the case file are journal lines now."""
        self.say("  The case file was edited by hand while this session was open.")
        if not self.sure("  Take the edits over and go on (y, Enter: leave with both kept)? "):
            return False
        try:
            lines = self.recorder.adopt("edited by hand while a session was open")
        except BadInput as problem:
            self.tell(problem)
            return False
        for text in acknowledged(lines, self.case):
            self.say(f"  {text}", hang=4)
        return True

    # ---- out --------------------------------------------------------------------------------------------------

    def tell(self, error: BadInput) -> None:
        for p in error.problems:
            self.say(f"  {p.told(TYPED)}", hang=4)

    def say(self, text: str, hang: int = 0, bold: bool = False) -> None:
        page = Page(min(shutil.get_terminal_size((80, 24)).columns, 100), self._styled)
        indent = " " * (len(text) - len(text.lstrip(" ")))
        text = BOUND.join(map(clean, text.strip().split(BOUND)))
        lines = textwrap.wrap(text, page.width - 1, subsequent_indent=indent + " " * hang, initial_indent=indent,
                              break_on_hyphens=False) or [""]  # fmt: skip
        for line in lines:
            line = line.replace(BOUND, " ")
            self._say(page.bold(line) if bold else line)

    def lines(self, text: str) -> None:
        """Lines as they are written."""
        for line in text.splitlines():
            self._say(line)


def numbered(terms: list[str]) -> str:
    """Choices in a row, with numbers where those can be typed."""
    if numbers_choices(terms):
        return ", ".join(f"{i}{BOUND}{t}" for i, t in enumerate(terms, 1))
    return ", ".join(t.replace(" ", BOUND) for t in terms)
