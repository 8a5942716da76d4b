"""Words that combine: points and variables of states, acts, and the qualifiers of marks.

Every family is a hierarchy, general above special. What is on record as special is on record as general too; what is known
not to be so in general is known not to be so in any special way.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import cached_property
from typing import Any

from msgspec import field

from diagnose.reading.entry import NOWHERE, Entry
from diagnose.reading.problems import Where
from diagnose.reading.terms import plain

Slots = Mapping[str, str]
"""The parts of a statement by name; a part that is left out is not said."""


class Term(Entry, frozen=True):
    """A word, the nearest words above it, and its other spellings."""

    name: str
    means: str = ""
    above: tuple[str, ...] = ()
    also: tuple[str, ...] = ()
    where: Where = NOWHERE


class Variable(Term, frozen=True, dict=True):
    """What can be so at a point. `values` and `courses` exclude each other each among themselves, unless the variable takes
    `several`; with a `unit` it can be read as a number; `at`: the points it is meant of where a phrase names none."""

    unit: str | None = None
    values: Mapping[str, Term] = field(default_factory=dict)
    courses: Mapping[str, Term] = field(default_factory=dict)
    several: bool = False
    at: tuple[str, ...] = ()

    @cached_property
    def words(self) -> dict[str, Term]:
        return {**self.values, **self.courses}

    @cached_property
    def lineage(self) -> dict[str, tuple[str, ...]]:
        return lineage_of(self.words)

    def contrary(self, one: str, other: str) -> bool:
        """Whether one value shuts the other out."""
        same_axis = (one in self.values) == (other in self.values)
        return not self.several and same_axis and self.lineage[one][-1] != self.lineage[other][-1]


class Act(Term, frozen=True):
    """What is done or happens; `to` and `using` say to what and with what it usually is, for those who ask; `setting`: the
    terms of settings that say as much."""

    to: tuple[str, ...] = ()
    using: tuple[str, ...] = ()
    setting: Mapping[str, str] = field(default_factory=dict)


class Moved(Entry, frozen=True):
    """A term of a setting that is an observation now."""

    setting: str
    term: str
    saw: str
    on: str


class Grammar(Entry, frozen=True, dict=True):
    """Mappings by name; `qualifiers` are those of marks, each a hierarchy of its values. `moments`: when it was so; `kinds`: the kinds of part,
    to which something can be done as well. `moved`: observations in place of old terms, by "setting: plain
    spelling". `custody`: what is done with parts; `confirmed`: how an outcome was confirmed."""

    points: Mapping[str, Term] = field(default_factory=dict)
    variables: Mapping[str, Variable] = field(default_factory=dict)
    acts: Mapping[str, Act] = field(default_factory=dict)
    qualifiers: Mapping[str, Mapping[str, Term]] = field(default_factory=dict)
    substances: Mapping[str, Term] = field(default_factory=dict)
    moments: Mapping[str, Term] = field(default_factory=dict)
    kinds: Mapping[str, Term] = field(default_factory=dict)
    moved: Mapping[str, Moved] = field(default_factory=dict)
    custody: Mapping[str, Term] = field(default_factory=dict)
    confirmed: Mapping[str, Term] = field(default_factory=dict)

    def moved_from(self, setting: str, word: str) -> Moved | None:
        """What stands in place of a word for an old term of a setting."""
        return self.moved.get(f"{setting}: {plain(word)}")

    @cached_property
    def lineages(self) -> dict[str, dict[str, tuple[str, ...]]]:
        """By family of words: each word with everything above it, itself first."""
        families: dict[str, Mapping[str, Any]] = {
            "at": self.points, "to": {**self.kinds, **self.substances, **self.points}, "did": self.acts, "with": self.substances, "when": self.moments, **self.qualifiers,
            **{f"value:{name}": variable.words for name, variable in self.variables.items()},
        }  # fmt: skip
        return {name: lineage_of(table) for name, table in families.items()}

    @cached_property
    def acts_of_settings(self) -> tuple[Act, ...]:
        """The acts that say as much as a setting."""
        return tuple(act for act in self.acts.values() if act.setting)

    def is_a(self, family: str, special: str, general: str) -> bool:
        """Whether a word is the general one or below it; words of no hierarchy are only themselves."""
        return special == general or general in self.lineages.get(family, {}).get(special, ())

    def implies(self, special: Slots, general: Slots) -> bool:
        """Whether whatever is said by `special` says `general` too; what a statement leaves out it does not say."""
        for slot, word in general.items():
            said = special.get(slot)
            if said is None:
                return False
            family = f"value:{special.get('variable', '')}" if slot == "value" else slot
            if said != word and not self.is_a(family, said, word):
                return False
        return True


def lineage_of(terms: Mapping[str, Any]) -> dict[str, tuple[str, ...]]:
    """For each term: itself and every term above it, nearest first."""
    result: dict[str, tuple[str, ...]] = {}
    for name in terms:
        line, todo = [name], list(terms[name].above)
        while todo:
            above = todo.pop(0)
            if above not in line and above in terms:
                line.append(above)
                todo.extend(terms[above].above)
        result[name] = tuple(line)
    return result
