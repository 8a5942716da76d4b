"""The rule base as objects, all of them importable from here. Everything is immutable."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cached_property
from typing import Any

from msgspec import field

from diagnose.knowledge.cards import (
    KNOWN_BY,
    SLOTS,
    Action,
    AtOdds,
    Card,
    Cause,
    Caution,
    Condition,
    Explained,
    Finding,
    Hazard,
    Limit,
    LimitValue,
    Link,
    LookAlike,
    Measurement,
    Mechanism,
    Need,
    Prior,
    Question,
    Retired,
    Row,
    Source,
)
from diagnose.knowledge.dismantling import (
    Arrangements,
    LeftOut,
    Look,
    Looks,
    Marking,
    Step,
    UsualPart,
)
from diagnose.knowledge.teardown import Handling, Teardown
from diagnose.knowledge.vocabulary import (
    FORMULAS,
    Feature,
    Kind,
    NamedStatement,
    QuantityTerm,
    Reading,
    Setting,
    Vocabulary,
)
from diagnose.reading.entry import NOWHERE, Entry

__all__ = [
    "FORMULAS",
    "KNOWN_BY",
    "NOWHERE",
    "SLOTS",
    "Action",
    "Arrangements",
    "AtOdds",
    "Card",
    "Cause",
    "Caution",
    "Condition",
    "Explained",
    "Feature",
    "Finding",
    "Handling",
    "Hazard",
    "Kind",
    "Knowledge",
    "LeftOut",
    "Limit",
    "LimitValue",
    "Link",
    "Look",
    "LookAlike",
    "Looks",
    "Marking",
    "Measurement",
    "Mechanism",
    "Misread",
    "NamedStatement",
    "Need",
    "Prior",
    "QuantityTerm",
    "Question",
    "Reading",
    "Retired",
    "Row",
    "Setting",
    "Source",
    "Step",
    "Teardown",
    "UsualPart",
    "Vocabulary",
    "Words",
]


class Misread(Entry, frozen=True):
    """Chances of a kind of reading: `missed` of overlooking what is there, `mistaken` of recording what is not."""

    missed: float
    mistaken: float


class RareMarks(Entry, frozen=True):
    """How `mistaken` falls for what is rare: it holds as it stands from a share `common` of failed seals on, and falls in
    proportion below, at most to `least` of it."""

    common: float
    least: float


class Words(Entry, frozen=True):
    """The numbers behind the words, once for the whole rule base."""

    seen: Mapping[str, float]
    common: Mapping[str, float]
    established: float
    probable: float
    possible: float
    lines_needed: int
    line_counts_from: float
    decisive: float
    trial_weight: float
    reading: Mapping[str, Misread] = field(default_factory=dict)
    rare_marks: RareMarks | None = None
    exponent: float = 1.0
    wrong_record: float = 0.0
    none_of_these: float = 0.0


CARDS = ("findings", "mechanisms", "causes", "measurements", "cautions")
"""The parts of a rule base whose cards people write with an id, a status and sources."""


class Knowledge(Entry, frozen=True, dict=True):
    """The whole rule base, checked. `digest` is made from the bytes of all its files; `tables` are the trade's
    number tables as plain texts, by file stem, for the quantities; `files` maps each file to the digest of its bytes; `counted_by`: the figure that tells how many
    parts of a kind there are."""

    version: str
    digest: str
    folder: str
    vocabulary: Vocabulary
    words: Words
    sources: Mapping[str, Source]
    limits: Mapping[str, Limit]
    findings: Mapping[str, Finding]
    mechanisms: Mapping[str, Mechanism]
    causes: Mapping[str, Cause]
    questions: Mapping[str, Question]
    measurements: Mapping[str, Measurement]
    cautions: Mapping[str, Caution]
    tables: Mapping[str, Any] = field(default_factory=dict)
    files: Mapping[str, str] = field(default_factory=dict)
    retired: Mapping[str, Retired] = field(default_factory=dict)
    arrangements: Arrangements = Arrangements()
    looks: Looks = Looks()
    hazards: Mapping[str, Hazard] = field(default_factory=dict)
    teardown: Teardown = Teardown()
    at_odds: tuple[AtOdds, ...] = ()
    counted_by: Mapping[str, str] = field(default_factory=dict)

    @cached_property
    def limits_on(self) -> dict[str, tuple[Limit, ...]]:
        """The limits on each quantity."""
        named = dict.fromkeys(limit.quantity for limit in self.limits.values())
        return {q: tuple(limit for limit in self.limits.values() if limit.quantity == q) for q in named}

    def card(self, name: str) -> Cause | Mechanism:
        """The cause or mechanism of a name. Raises KeyError."""
        return self.causes[name] if name in self.causes else self.mechanisms[name]

    def present_name(self, name: str) -> str:
        """The name of a card today, for one that it had before."""
        old = self.retired.get(name)
        return old.replaced_by if old and old.replaced_by else name
