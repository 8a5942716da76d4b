"""What a phrase was read as."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field


@dataclass(frozen=True)
class Statement:
    """One thing said. `family` is feature, state, act, setting or reading; `state` present, absent or not looked at; `on`
    a kind of part or a point, "" where none was named or is known; `more`: side, degree, extent, runs, colour, texture, made
    of, which, of, count, when; the value of a state or reading; with what an act was done."""

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
    """A statement as a sentence, which reads back to it: "soft face: edge chips, outer edge, light"; "flush line:
    temperature low"; "seal chamber: vent not done"."""
    s, more = statement, dict(statement.more)
    said = f"{s.term} {more.pop('value')}" if "value" in more else s.term
    if s.family == "act":
        said += " not done" if s.state == "absent" else " done"
    else:
        said = STATES[s.state] + said
    with_ = f"with {more['with']}" if more.get("with") else ""
    which = more.get("which", "") + (f" of {more['of']}" if "of" in more else "")
    rest = [*(more.get(k, "") for k in ("side", "degree", "extent", "runs", "colour", "texture", "made of")), which,
            *(more.get(k, "") for k in ("count", "when"))]  # fmt: skip
    return (f"{s.on}: " if s.on else "") + ", ".join(x for x in (said, with_, *rest) if x)


def entry(statement: Statement) -> tuple[str, dict[str, str]]:
    """(section, entry) as a case file writes it: of observations, states or acts; "" for what stands elsewhere."""
    s, more = statement, dict(statement.more)
    denied = {"not": "true"} if s.state == "absent" else {}
    when = {"when": more["when"]} if "when" in more else {}
    if s.family == "state":
        return "states", {"at": s.on, s.term: more["value"], **when, **denied}
    if s.family == "act":
        return "acts", {
            "did": s.term,
            **({"to": s.on} if s.on else {}),
            **({"with": more["with"]} if "with" in more else {}),
            **when,
            **denied,
        }
    if s.family != "feature":
        return "", {}
    key = {"present": "saw", "absent": "absent", "not looked at": "not looked at"}[s.state]
    if count := more.pop("count", ""):
        more |= {"of": count.split()[-1], "note": count}
    return "observations", {**({"on": s.on} if s.on else {}), key: s.term, **more}
