"""What a phrase was read as."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

SURENESS = ("sure", "likely", "weak")


@dataclass(frozen=True)
class Statement:
    """One thing said. `family` is feature, setting or reading; `state` present, absent or not looked at; `on` a kind of
    part, "" where none was named or is known; `more`: side, degree, extent, which, of, value."""

    family: str
    term: str
    on: str = ""
    state: str = "present"
    more: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Reading:
    """A phrase in terms of the vocabulary, in the order of its clauses. `asks`: why it must be shown before it is taken;
    none where it is sure. `unread` words stand as written."""

    statements: tuple[Statement, ...]
    sureness: str
    score: float
    used: tuple[str, ...] = ()
    unread: tuple[str, ...] = ()
    asks: tuple[str, ...] = ()

    @property
    def text(self) -> str:
        """The reading in full words."""
        return "; ".join(map(rendered, self.statements))


STATES = {"present": "", "absent": "looked for and not there, ", "not looked at": "not looked at, "}


def rendered(statement: Statement) -> str:
    """A statement as a sentence, which reads back to it: "soft face: edge chips, outer edge, light"."""
    more = [statement.more[k] for k in ("value", "side", "degree", "extent", "which", "of") if statement.more.get(k)]
    on = f"{statement.on}: " if statement.on else ""
    return on + ", ".join([STATES[statement.state] + statement.term, *more])


def entry(statement: Statement) -> dict[str, str]:
    """An observation as a case file writes it. Only of features."""
    key = {"present": "saw", "absent": "absent", "not looked at": "not looked at"}[statement.state]
    more = {k: v for k, v in statement.more.items() if k in ("side", "degree", "extent")}
    return ({"on": statement.on} if statement.on else {}) | {key: statement.term} | more
