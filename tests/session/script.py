"""A person at the bench who answers by the beginning of a question, and keeps all that was said."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

from diagnose.casefile.model import Case
from diagnose.casefile.recorder import Recorder
from diagnose.knowledge.model import Knowledge
from diagnose.session.dialogue import Dialogue

NOON = datetime(2026, 11, 25, 12, tzinfo=UTC)


class Script:
    """`answers`: (HEADING @ QUESTION, answer), each used once; Enter to every other question. `stop_at`: leaves at the
    question before which that was said."""

    def __init__(self, *answers: tuple[str, str], stop_at: str = "") -> None:
        self.answers, self.stop_at, self.told, self.asked = list(answers), stop_at, [], 0

    def say(self, text: str) -> None:
        self.told.append(text)

    def ask(self, question: str, words: dict[str, str]) -> str:
        self.told.append(question)
        fresh = "\n".join(self.told[self.asked :])
        self.asked = len(self.told)
        if self.stop_at and self.stop_at in fresh and not question.startswith("What differs"):
            raise EOFError
        for i, (begins, answer) in enumerate(self.answers):
            if question.strip().startswith(begins.split(" @ ")[-1]) and self.here(begins):
                del self.answers[i]
                return answer
        return ""

    def here(self, begins: str) -> bool:
        heading = begins.split(" @ ")[0] if " @ " in begins else ""
        return not heading or heading in self.topic()

    def topic(self) -> str:
        """What was said since the last empty line."""
        start = max((i for i, t in enumerate(self.told) if t == ""), default=0)
        return "\n".join(self.told[start:])

    @property
    def text(self) -> str:
        return "\n".join(self.told)


def session(
    case: Path,
    knowledge: Knowledge,
    script: Script,
    who: str = "ann",
    quick: bool = False,
    photos_from: Path | None = None,
) -> Case:
    with Recorder(case, knowledge, who, lambda: NOON) as r:
        Dialogue(r, script.ask, script.say, photos_from=photos_from).run(quick)
        return r.case_now()


def to_step(n: int) -> list[tuple[str, str]]:
    """Answers that begin at the n-th step, with the machine at hand."""
    return [("Where does the work stand", str(n)), ("What is there", "1")]
