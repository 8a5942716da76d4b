"""The cards of a rule base, and what stands on them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from msgspec import field

from diagnose.reading.entry import NOWHERE, Entry
from diagnose.reading.problems import Where

KNOWN_BY = ("number", "look", "gross look", "fine look", "event", "habit", "record")
"""Kinds of reading: a number against a limit; a look at a mark, at one that nobody overlooks, at a fine grade; a question
about a dated event or about a habit; what a record says."""
SLOTS = ("part", "parts", "position", "extent", "quantity")
"""What a finding's sentence may leave open, to be filled from the records it rests on."""


class Source(Entry, frozen=True):
    """Where a statement of the rule base comes from; `seen` says how much of it."""

    key: str
    title: str
    year: str
    section: str
    kind: str
    seen: str = ""
    where: Where = NOWHERE


class LimitValue(Entry, frozen=True):
    """One published value in SI, as written, and its source."""

    value: float
    written: str
    source: str
    note: str = ""


class Limit(Entry, frozen=True):
    """A limit on a quantity. `sense` is "at most" or "at least"; several values when sources disagree."""

    name: str
    quantity: str
    sense: str
    values: tuple[LimitValue, ...]
    means: str = ""
    when: Any = None
    where: Where = NOWHERE

    @property
    def strict(self) -> float:
        values = [v.value for v in self.values]
        return min(values) if self.sense == "at most" else max(values)

    @property
    def lax(self) -> float:
        values = [v.value for v in self.values]
        return max(values) if self.sense == "at most" else min(values)


class Condition(Entry, frozen=True):
    """One condition of a rule, as written.

    form: saw, absent, quantity, found, found absent, not found, setting, not setting, state, not state, act, not act, marks,
    or all, any, none, at least (with `parts`). `such`: the qualifiers and the moment of a mark, or the further parts of a state or an act.
    """

    form: str
    term: str = ""
    on: str = ""
    group: str = ""
    face: str = ""
    at: str = ""
    extent: str = ""
    degree: str = ""
    side: str = ""
    test: str = ""
    limit: str = ""
    low: float | None = None
    high: float | None = None
    written: str = ""
    value: str = ""
    same_part: bool = False
    count: int = 0
    such: tuple[tuple[str, str], ...] = ()
    parts: tuple[Condition, ...] = ()
    where: Where = NOWHERE


class AtOdds(Entry, frozen=True):
    """What does not go together on record: what `when` asks for and, where kinds stand `beside` it, a part of one of them."""

    when: Condition
    beside: tuple[str, ...] = ()
    where: Where = NOWHERE


class Card(Entry, frozen=True):
    """What every item of the rule base carries."""

    name: str
    id: str
    status: str
    since: str
    reviewed: str
    sources: tuple[str, ...]
    where: Where = NOWHERE


class Finding(Card, frozen=True):
    """What observations and quantities amount to. `otherwise` is the word for how often it is there whatever the cause,
    `known_by` the kind of reading that tells it (its chances of error are in words.yaml), `no_failure` says that where it is
    present nothing failed, so that no cause is wanted."""

    reads: str = ""
    otherwise: str = ""
    known_by: str = ""
    when: Condition | None = None
    absent_when: Condition | None = None
    no_failure: bool = False
    muted: bool = False


class Row(Entry, frozen=True):
    """One line of a card: how often the cause or mechanism leaves the finding."""

    finding: str
    seen: str
    sources: tuple[str, ...] = ()
    where: Where = NOWHERE


class Link(Entry, frozen=True):
    """A mechanism that a cause or mechanism brings about, and how often."""

    mechanism: str
    seen: str
    sources: tuple[str, ...] = ()
    where: Where = NOWHERE


class Prior(Entry, frozen=True):
    """A setting that changes how common a cause is."""

    when: Condition
    common: str
    where: Where = NOWHERE


class Need(Entry, frozen=True):
    """Without this condition the cause cannot be; known false, it rules the cause out."""

    condition: Condition
    because: str
    where: Where = NOWHERE


class LookAlike(Entry, frozen=True):
    """Another cause (or, on a mechanism's card, another mechanism) easily taken for this one. `finding` parts them;
    present, it `favours` one of the two."""

    other: str
    finding: str
    favours: str
    told_apart_by: str
    where: Where = NOWHERE


class Action(Entry, frozen=True):
    """What to change or repair. `field` is operation, installation, maintenance, design or material; `cautions` are those
    of doing it; known to hold, `unless` takes it off the list, and so does that a part of the kinds `on` is not there."""

    do: str
    field: str
    worked_if: str = ""
    cautions: tuple[str, ...] = ()
    unless: Condition | None = None
    on: tuple[str, ...] = ()
    where: Where = NOWHERE


class Explained(Card, frozen=True):
    """What root causes and mechanisms have in common: both bring mechanisms about and leave findings."""

    means: str = ""
    family: str = ""
    scope: str = "seal"
    needs: tuple[Need, ...] = ()
    brings_about: tuple[Link, ...] = ()
    leaves: tuple[Row, ...] = ()
    look_alikes: tuple[LookAlike, ...] = ()
    confirm: tuple[str, ...] = ()
    then: tuple[Action, ...] = ()
    cautions: tuple[str, ...] = ()
    class_14224: str = ""
    class_from: str = ""


class Cause(Explained, frozen=True):
    """A root cause: what somebody can change. `leaves` are its direct signs; `answers` maps a question to the word of each
    of its answers; `then` is what to change."""

    common: str = ""
    common_when: tuple[Prior, ...] = ()
    answers: Mapping[str, Mapping[str, str]] = field(default_factory=dict)


class Mechanism(Explained, frozen=True):
    """What happened in the seal or the machine. `otherwise`: how often it comes about for a reason outside this rule
    base; `leak_path`: where chains end, so that it never leads; `between`: passes on what began elsewhere, and is half as ready
    to lead; `then` is repair."""

    otherwise: str = ""
    leak_path: bool = False
    between: bool = False


class Question(Entry, frozen=True):
    """Findings of which one holds: `answers` in the order in which they strike, so that of several causes at work the
    earliest answer is found; `otherwise` the word of each where no cause is known."""

    name: str
    means: str
    answers: tuple[str, ...]
    otherwise: Mapping[str, str]
    where: Where = NOWHERE


class Measurement(Card, frozen=True):
    """A piece of bench work and the findings it decides. `minutes` of work; `stage` is the last one that allows it."""

    tells: tuple[str, ...] = ()
    part: str = ""
    how: str = ""
    instrument: str = ""
    at: str = ""
    readings: str = ""
    limit: str = ""
    no_limit: str = ""
    minutes: float = 0.0
    stage: str = ""
    destroys: tuple[str, ...] = ()
    spoils: str = ""
    destructive: bool = False
    cautions: tuple[str, ...] = ()


class Caution(Card, frozen=True):
    """A hazard of the work at the bench, and whose rules come first."""

    says: str = ""
    defer: str = ""
    always: bool = False
    when: Condition | None = None


class Hazard(Entry, frozen=True):
    """What a step of work can do to people: a step with one of the `words` in its text (none of them inside a phrase of
    `but_not`), or made at one of the `stages`, must name the `cautions`."""

    name: str
    means: str
    words: tuple[str, ...] = ()
    but_not: tuple[str, ...] = ()
    stages: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    where: Where = NOWHERE


class Retired(Entry, frozen=True):
    """An item no longer in use; its id is never given again and its successor stands in its place."""

    kind: str
    name: str
    id: str
    replaced_by: str
    where: Where = NOWHERE
