"""Mistakes in what people wrote: where, what is wrong, and the way out."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Literal

from msgspec import Struct
from msgspec.structs import replace

from diagnose.reading.terms import did_you_mean, printable

MOST_HINTS = 300
WIDEST_LINE = 160
"""Signs of a source line that are shown, around the place that is meant."""


class Where(Struct, frozen=True, order=True, array_like=True):
    """A place in a file; line and column count from 1."""

    file: str
    line: int = 1
    column: int = 1

    def __str__(self) -> str:
        return f"{self.file}:{self.line}:{self.column}"


Does = Literal[
    "correct", "set", "change part", "keep one", "mend one", "sure", "look words up", "look records up", "keep location"
]  # fmt: skip
COMMANDS: Mapping[Does, str] = {
    "correct": "--instead-of {} --why TEXT",
    "set": '--set "{}=…" --why TEXT',
    "change part": "--part {} --kind … --why TEXT",
    "keep one": "",
    "mend one": "{}",
    "sure": "--sure if it is so",
    "look words up": "see: diagnose terms",
    "look records up": "see: diagnose journal",
    "keep location": "--keep-location",
}
"""What there is to do, as it is typed on the command line."""


class WayOut(Struct, frozen=True):
    """A way out that is typed in another way in another place: what there is to do, `of` what, with the
    words `before` it."""

    does: Does
    of: str = ""
    before: str = ""

    def typed(self, here: Mapping[Does, str]) -> str:
        return self.before + here.get(self.does, COMMANDS[self.does]).format(self.of)

    def __str__(self) -> str:
        return self.typed(COMMANDS)


class Problem(Struct, frozen=True, order=True):
    """One mistake. `code` is stable; `level` is "error" or "advice"."""

    where: Where
    code: str
    says: str
    way_out: str | WayOut = ""
    level: str = "error"

    def at(self, where: Where) -> Problem:
        """The same mistake, told of another place."""
        return replace(self, where=where)

    def pointed(self, line: str) -> list[str]:
        """The source line with its number and a caret under the place; of a long line the part around it."""
        column = min(self.where.column, len(line) + 1) - 1
        begin = max(0, min(column - WIDEST_LINE // 2, len(line) - WIDEST_LINE))
        lead = f"{self.where.line:>6} | " + ("…" if begin else "")
        shown = printable(line)[begin : begin + WIDEST_LINE]
        return [lead + shown, " " * (len(lead) + column - begin) + "^"]

    def told(self, here: Mapping[Does, str] = COMMANDS) -> str:
        """What is wrong, with the way out behind it as it is typed here."""
        out = self.way_out.typed(here) if isinstance(self.way_out, WayOut) else self.way_out
        return f"{self.says} ({out})" if out else self.says

    def __str__(self) -> str:
        kind = "" if self.level == "error" else f"{self.level}: "
        return f"{self.where}: {kind}{self.told()} [{self.code}]"


def in_order(problems: Iterable[Problem]) -> list[Problem]:
    """Each problem once, in the order of places; by a key, which for very many is several times faster."""
    return sorted(
        set(problems),
        key=lambda p: (p.where.file, p.where.line, p.where.column, p.code, p.says, str(p.way_out), p.level),
    )


@dataclass
class Problems:
    """Collects every mistake of a run, so that all are told at once."""

    found: list[Problem] = field(default_factory=list)

    def add(self, where: Where, code: str, says: str, way_out: str | WayOut = "", level: str = "error") -> None:
        self.found.append(Problem(where, code, says, way_out, level))

    def near(self, word: str, known: Iterable[str]) -> str:
        """The known words nearest to a wrong one, as a way out. They take long to find, so a file that is wrong all
        through is given them for its first mistakes."""
        return did_you_mean(word, known) if len(self.found) < MOST_HINTS else ""

    def sorted(self) -> list[Problem]:
        return in_order(self.found)

    def errors(self) -> list[Problem]:
        return [p for p in self.sorted() if p.level == "error"]

    def raise_errors(self) -> None:
        """Raises BadInput when any problem is an error."""
        errors = self.errors()
        if errors:
            raise BadInput(errors)


class BadInput(Exception):
    """What was given cannot be used; carries every problem found."""

    def __init__(self, problems: Iterable[Problem]):
        self.problems = in_order(problems)
        super().__init__("\n".join(str(p) for p in self.problems))
