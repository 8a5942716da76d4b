"""A trainer's story of a drill: what the trainee is told at the start, and hints, each locked until something is reached.

title: The pump that screamed        # NAME.drill beside NAME.yaml
says: What the shift found in the morning.
gentle: true
hints:
  - {says: Ask who started it., after: 10 min}          # minutes of the trainee's own work
  - {says: Look at both faces., after: before washing}  # once this stage is reached
  - {says: It ran dry., word: kestrel}                  # once the trainer has told the word; with `after`, then only
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from diagnose.reading.located import Node, only_keys, read_bytes, read_text, text_under
from diagnose.reading.problems import Problems
from diagnose.reading.terms import did_you_mean
from diagnose.reading.units import BadUnit, amount, unit
from diagnose.training.bench import Bench

KEYS = ("title", "says", "gentle", "hints")
HINT_KEYS = ("says", "after", "word")
ENDING = ".drill"


@dataclass(frozen=True)
class Hint:
    """`minutes` of work or `stage` to be reached before it can be had; then a `word` of the trainer's opens it."""

    says: str
    minutes: float = 0.0
    stage: str = ""
    word: str = ""

    @property
    def opens(self) -> str:
        """When it opens, in a few words; "" where it is open from the start."""
        when = self.stage or (f"after {self.minutes:g} min" if self.minutes else "")
        return ", ".join(x for x in (when, f"word: {self.word}" if self.word else "") if x)

    def locked(self, bench: Bench) -> str:
        """Why it cannot be had yet, a word apart; "" where it can."""
        stages = bench.hidden.words.stages
        if self.stage and bench.opened < stages.index(self.stage):
            return f"This hint opens once the seal stands at: {self.stage}."
        if bench.minutes < self.minutes:
            return f"This hint opens after {self.minutes:g} minute{'s' * (self.minutes != 1)} of work."
        return ""


@dataclass(frozen=True)
class Story:
    title: str = ""
    says: str = ""
    gentle: bool = False
    hints: tuple[Hint, ...] = ()


def read_story(path: Path, stages: Sequence[str]) -> Story:
    """The story in a file. Raises BadInput with everything that is wrong."""
    problems = Problems()
    data = read_bytes(path, str(path), problems)
    node = read_text(data, str(path), problems) if data is not None else None
    if node is not None and not node.is_map:
        problems.add(node.where, "mapping", "a story is a mapping of keys", f"keys: {', '.join(KEYS)}")
        node = None
    story = _story(node, stages, problems) if node else Story()
    problems.raise_errors()
    return story


def _story(node: Node, stages: Sequence[str], problems: Problems) -> Story:
    only_keys(node, list(KEYS), "a drill's story", problems)
    hints, gentle = node.get("hints"), text_under(node, "gentle", problems)
    if gentle not in ("", "true", "false"):
        problems.add((node.get("gentle") or node).where, "unknown-word", f"'gentle' is true or false, not {gentle!r}")
    return Story(
        text_under(node, "title", problems), text_under(node, "says", problems), gentle == "true",
        tuple(_hint(n, stages, problems) for n in (hints.each() if hints else ())),
    )  # fmt: skip


def _hint(node: Node, stages: Sequence[str], problems: Problems) -> Hint:
    if not node.is_map:
        problems.add(node.where, "hint", "a hint is a mapping that says something", "{says: TEXT, after: 10 min}")
        return Hint("")
    only_keys(node, list(HINT_KEYS), "a hint", problems)
    says, after = text_under(node, "says", problems, needed=True), text_under(node, "after", problems)
    minutes, stage = 0.0, ""
    if after in stages:
        stage = after
    elif after:
        try:
            minutes = _minutes(after)
        except BadUnit:
            way_out = did_you_mean(after, stages) or "a time such as 10 min, or a stage"
            problems.add(
                (node.get("after") or node).where, "hint-after", f"a hint cannot open after {after!r}", way_out
            )
    return Hint(says, minutes, stage, text_under(node, "word", problems))


def _minutes(text: str) -> float:
    time = amount(text)
    if time.kind != unit("min").kind or time.value < 0:
        raise BadUnit("it is no time")
    return time.value / 60
