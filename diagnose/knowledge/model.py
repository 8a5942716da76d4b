"""The rule base as objects. Everything is immutable; `where` never takes part in comparisons."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

from diagnose.knowledge.grammar import Grammar, Slots, lineage_of
from diagnose.knowledge.lexicon import Lexicon
from diagnose.reading.problems import Where
from diagnose.reading.terms import plain

NOWHERE = Where("")
KNOWN_BY = ("number", "look", "gross look", "fine look", "event", "habit", "record")
"""Kinds of reading: a number against a limit; a look at a mark, at one that nobody overlooks, at a fine grade; a question
about a dated event or about a habit; what a record says."""
FORMULAS = {"difference": 2, "ratio": 2, "sum": 0, "spread": 1, "mean": 1}
"""Simple formulas of a quantity and how many readings each takes; 0: two or more."""
SLOTS = ("part", "parts", "position", "extent", "quantity")
"""What a finding's sentence may leave open, to be filled from the records it rests on."""


def _place() -> Any:
    return field(default=NOWHERE, compare=False, repr=False)


@dataclass(frozen=True)
class Kind:
    """A kind of part. `above` are the kinds it belongs to, nearest first; `place` is seal or machine."""

    name: str
    means: str = ""
    above: tuple[str, ...] = ()
    also: tuple[str, ...] = ()
    place: str = "seal"
    group: str = ""
    where: Where = _place()


@dataclass(frozen=True)
class Feature:
    """Something that can be looked for on a kind of part, or asked for about the leak and the history. `sound`: seen on
    a part that did its job, so no damage. `gone`: the part itself is not there, so nothing else can be on it; `excludes`:
    features that cannot be on the same part with it.

    `form`: a general word, that can be seen on any part unless `on` says otherwise. `above`: the forms it is, nearest first;
    `qualifiers` say which such mark it is. `statements`: states and acts that say as much, each as its table and parts; the
    first is what the feature says, so that denying it denies the feature.
    """

    name: str
    means: str
    on: tuple[str, ...]
    also: tuple[str, ...] = ()
    how: str = ""
    lost: str = ""
    sides: tuple[str, ...] = ()
    sound: bool = False
    gone: bool = False
    excludes: tuple[str, ...] = ()
    form: bool = False
    above: tuple[str, ...] = ()
    qualifiers: Slots = field(default_factory=dict)
    statements: tuple[tuple[str, Slots], ...] = ()
    where: Where = _place()


@dataclass(frozen=True)
class NamedStatement:
    """A state or an act that says as much as a feature; `so`: it says that it is so; `first`: it is what the feature says."""

    feature: Feature
    table: str
    slots: Slots
    so: bool
    first: bool


@dataclass(frozen=True)
class Reading:
    """A number that can be read: a measurement on a part, or a figure of a case section.

    `above` and `below` name figures between which this one must lie, `unless` the term of a setting that frees it;
    `absolute`: a pressure that is told absolute where nothing is said. `not_with`: terms of settings with which there is no
    such figure, so that it is not asked for; `stated`: the point and variable of a state whose reading is this figure.
    """

    name: str
    unit: str
    means: str = ""
    on: tuple[str, ...] = ()
    section: str = ""
    also: tuple[str, ...] = ()
    least: str = ""
    most: str = ""
    several: bool = False
    above: str = ""
    below: str = ""
    unless: Mapping[str, str] = field(default_factory=dict)
    absolute: bool = False
    not_with: Mapping[str, str] = field(default_factory=dict)
    stated: Slots = field(default_factory=dict)
    where: Where = _place()


@dataclass(frozen=True)
class Setting:
    """A fact about the case chosen from terms. `single`: one term at most, so the others are known not to hold."""

    name: str
    section: str
    terms: Mapping[str, tuple[str, ...]]
    single: bool = False
    means: str = ""
    where: Where = _place()


@dataclass(frozen=True)
class QuantityTerm:
    """A computed quantity that rules may name. `formula` is a simple one (difference, ratio, sum, spread or mean) and the
    readings it takes; without one the formula is in diagnose.quantities."""

    name: str
    unit: str
    means: str
    on: tuple[str, ...] = ()
    formula: str = ""
    takes: tuple[str, ...] = ()
    where: Where = _place()


@dataclass(frozen=True)
class Vocabulary:
    """The words of the trade that records and rules may use; mappings by name."""

    kinds: Mapping[str, Kind]
    features: Mapping[str, Feature]
    readings: Mapping[str, Reading]
    settings: Mapping[str, Setting]
    quantities: Mapping[str, QuantityTerm]
    stages: tuple[str, ...]
    degrees: tuple[str, ...]
    sides: tuple[str, ...]
    lexicon: Lexicon = Lexicon()
    grammar: Grammar = Grammar()

    @cached_property
    def names(self) -> dict[str, dict[str, str]]:
        """For each family of terms: every accepted spelling (in plain form) to its term."""
        tables: dict[str, dict[str, str]] = {}
        families: dict[str, Mapping[str, Any]] = {
            "kind": self.kinds, "feature": self.features, "reading": self.readings,
        }  # fmt: skip
        for family, terms in families.items():
            general_first = sorted(terms.items(), key=lambda item: not getattr(item[1], "form", False))
            table = {plain(also): name for name, term in general_first for also in term.also}
            tables[family] = table | {plain(name): name for name in terms}
        tables["quantity"] = {plain(name): name for name in self.quantities}
        tables["setting"] = {plain(name): name for name in self.settings}
        for name, setting in self.settings.items():
            table = {plain(also): term for term, alsos in setting.terms.items() for also in alsos}
            tables["setting:" + name] = table | {plain(term): term for term in setting.terms}
        tables |= {family: _spellings(terms) for family, terms in self._combining().items()}
        tables["to"] = {**tables["kind"], **tables["substance"], **tables["point"]}
        return tables

    def _combining(self) -> dict[str, Mapping[str, Any]]:
        """The families of words that combine: form, point, variable, act, substance, moment, qualifier:NAME, value:VARIABLE."""
        g = self.grammar
        return {
            "form": self.forms, "point": g.points, "variable": g.variables, "act": g.acts, "substance": g.substances,
            "moment": g.moments, **{f"qualifier:{name}": table for name, table in g.qualifiers.items()},
            **{f"value:{name}": variable.words for name, variable in g.variables.items()},
        }  # fmt: skip

    @cached_property
    def forms(self) -> dict[str, Feature]:
        """The general words among the features."""
        return {name: feature for name, feature in self.features.items() if feature.form}

    @cached_property
    def form_lineage(self) -> dict[str, tuple[str, ...]]:
        """For each feature: itself and every form it is, nearest first."""
        return lineage_of(self.features)

    @cached_property
    def special(self) -> dict[str, tuple[str, ...]]:
        """For each feature: itself and every feature that it is the general word for."""
        table: dict[str, list[str]] = {name: [] for name in self.features}
        for name, line in self.form_lineage.items():
            for above in line:
                table[above].append(name)
        return {name: tuple(names) for name, names in table.items()}

    @cached_property
    def named_statements(self) -> tuple[NamedStatement, ...]:
        """The states and acts that say as much as a feature does."""
        return tuple(NamedStatement(f, table, {k: v for k, v in said.items() if k != "not"}, said.get("not") != "true", not i)
                     for f in self.features.values() for i, (table, said) in enumerate(f.statements))  # fmt: skip

    def named(self, feature: str, qualifiers: Slots, kind: str) -> tuple[str, dict[str, str]]:
        """The name of a mark said by form and qualifiers on a kind of part, with the qualifiers that the name does not say:
        of the features so composed the one that says most; the form itself where none, or more than one, says it."""
        forms, kinds = set(self.form_lineage[feature]), set(self.lineage.get(kind, ()))
        said = [name for name, f in self.features.items() if f.qualifiers and forms & set(f.above) and kinds & set(f.on)
                and self.grammar.implies(qualifiers, f.qualifiers)]  # fmt: skip
        most = max((len(self.features[f].qualifiers) for f in said), default=0)
        best = [f for f in said if len(self.features[f].qualifiers) == most]
        name = best[0] if len(best) == 1 else feature
        own = self.features[name].qualifiers
        return name, {k: v for k, v in sorted(qualifiers.items()) if own.get(k) != v}

    def find(self, family: str, word: str) -> str | None:
        """The term behind a spelling, or None; a rule base need not have every family of terms."""
        return self.names.get(family, {}).get(plain(word))

    @cached_property
    def spelled(self) -> dict[str, tuple[str, ...]]:
        """The features behind each spelling, one so named first and a form last; several where no kind of part can have both,
        or where a special word for some parts is a general one for the others."""
        special = {name: f for name, f in self.features.items() if not f.form}
        table: dict[str, list[str]] = {plain(name): [name] for name in special}
        for name, feature in [*special.items(), *((n, f) for n, f in self.forms.items())]:
            for spelling in map(plain, (name, *feature.also)):
                table.setdefault(spelling, []).append(name)
        return {word: tuple(dict.fromkeys(names)) for word, names in table.items()}

    def can_be_on(self, feature: str, kind: str) -> bool:
        """Whether a feature can be seen on a kind of part; one without kinds can be on any."""
        line, on = self.lineage, self.features[feature].on
        return not on or any(a in line[kind] or kind in line[a] for a in on)

    def feature(self, word: str, kind: str = "") -> str | None:
        """The feature behind a spelling; of several the one that can be on a kind of part."""
        named = self.spelled.get(plain(word), ())
        return next((n for n in named if kind and self.can_be_on(n, kind)), named[0] if named else None)

    @cached_property
    def lineage(self) -> dict[str, tuple[str, ...]]:
        """For each kind: itself and every kind above it."""
        return lineage_of(self.kinds)

    def under(self, kind: str) -> tuple[str, ...]:
        """The kind and every kind below it."""
        return tuple(name for name, line in self.lineage.items() if kind in line)


def _spellings(terms: Mapping[str, Any]) -> dict[str, str]:
    return {plain(also): name for name, term in terms.items() for also in term.also} | {plain(name): name for name in terms}


@dataclass(frozen=True)
class Source:
    """Where a statement of the rule base comes from; `seen` says how much of it."""

    key: str
    title: str
    year: str
    section: str
    kind: str
    seen: str = ""
    where: Where = _place()


@dataclass(frozen=True)
class LimitValue:
    """One published value in SI, as written, and its source."""

    value: float
    written: str
    source: str
    note: str = ""


@dataclass(frozen=True)
class Limit:
    """A limit on a quantity. `sense` is "at most" or "at least"; several values when sources disagree."""

    name: str
    quantity: str
    sense: str
    values: tuple[LimitValue, ...]
    means: str = ""
    when: Any = None
    where: Where = _place()

    @property
    def strict(self) -> float:
        values = [v.value for v in self.values]
        return min(values) if self.sense == "at most" else max(values)

    @property
    def lax(self) -> float:
        values = [v.value for v in self.values]
        return max(values) if self.sense == "at most" else min(values)


@dataclass(frozen=True)
class Condition:
    """One condition of a rule, as written.

    form: saw, absent, quantity, found, found absent, not found, setting, not setting, state, not state, act, not act, marks,
    or all, any, none, at least (with `parts`). `such`: the qualifiers of a mark, or the further parts of a state or an act.
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
    where: Where = _place()


@dataclass(frozen=True)
class Card:
    """What every item of the rule base carries."""

    name: str
    id: str
    status: str
    since: str
    reviewed: str
    sources: tuple[str, ...]
    where: Where = _place()


@dataclass(frozen=True)
class Finding(Card):
    """What observations and quantities amount to. `otherwise` is the word for how often it is there whatever the cause,
    `known_by` the kind of reading that tells it (its chances of error are in words.yaml)."""

    reads: str = ""
    otherwise: str = ""
    known_by: str = ""
    when: Condition | None = None
    absent_when: Condition | None = None
    muted: bool = False


@dataclass(frozen=True)
class Row:
    """One line of a card: how often the cause or mechanism leaves the finding."""

    finding: str
    seen: str
    sources: tuple[str, ...] = ()
    where: Where = _place()


@dataclass(frozen=True)
class Link:
    """A mechanism that a cause or mechanism brings about, and how often."""

    mechanism: str
    seen: str
    sources: tuple[str, ...] = ()
    where: Where = _place()


@dataclass(frozen=True)
class Prior:
    """A setting that changes how common a cause is."""

    when: Condition
    common: str
    where: Where = _place()


@dataclass(frozen=True)
class Need:
    """Without this condition the cause cannot be; known false, it rules the cause out."""

    condition: Condition
    because: str
    where: Where = _place()


@dataclass(frozen=True)
class LookAlike:
    """Another cause (or, on a mechanism's card, another mechanism) easily taken for this one. `finding` parts them;
    present, it `favours` one of the two."""

    other: str
    finding: str
    favours: str
    told_apart_by: str
    where: Where = _place()


@dataclass(frozen=True)
class Action:
    """What to change or repair. `field` is operation, installation, maintenance, design or material; `cautions` are those
    of doing it; known to hold, `unless` takes it off the list."""

    do: str
    field: str
    worked_if: str = ""
    cautions: tuple[str, ...] = ()
    unless: Condition | None = None
    where: Where = _place()


@dataclass(frozen=True)
class Explained(Card):
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


@dataclass(frozen=True)
class Cause(Explained):
    """A root cause: what somebody can change. `leaves` are its direct signs; `answers` maps a question to the word of each
    of its answers; `then` is what to change."""

    common: str = ""
    common_when: tuple[Prior, ...] = ()
    answers: Mapping[str, Mapping[str, str]] = field(default_factory=dict)


@dataclass(frozen=True)
class Mechanism(Explained):
    """What happened in the seal or the machine. `otherwise`: how often it comes about for a reason outside this rule
    base; `leak_path`: where chains end, so that it never leads; `then` is repair."""

    otherwise: str = ""
    leak_path: bool = False


@dataclass(frozen=True)
class Question:
    """Findings of which one holds: `answers` in the order in which they strike, so that of several causes at work the
    earliest answer is found; `otherwise` the word of each where no cause is known."""

    name: str
    means: str
    answers: tuple[str, ...]
    otherwise: Mapping[str, str]
    where: Where = _place()


@dataclass(frozen=True)
class Misread:
    """Chances of a kind of reading: `missed` of overlooking what is there, `mistaken` of recording what is not."""

    missed: float
    mistaken: float


@dataclass(frozen=True)
class Measurement(Card):
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


@dataclass(frozen=True)
class Caution(Card):
    """A hazard of the work at the bench, and whose rules come first."""

    says: str = ""
    defer: str = ""
    always: bool = False
    when: Condition | None = None


@dataclass(frozen=True)
class Hazard:
    """What a step of work can do to people: a step with one of the `words` in its text (none of them inside a phrase of
    `but_not`), or made at one of the `stages`, must name the `cautions`."""

    name: str
    means: str
    words: tuple[str, ...] = ()
    but_not: tuple[str, ...] = ()
    stages: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    where: Where = _place()


@dataclass(frozen=True)
class Retired:
    """An item no longer in use; its id is never given again and its successor stands in its place."""

    kind: str
    name: str
    id: str
    replaced_by: str
    where: Where = _place()


@dataclass(frozen=True)
class Words:
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
    exponent: float = 1.0


@dataclass(frozen=True)
class UsualPart:
    """A part that a seal of some arrangement usually has; `touches` are item numbers."""

    item: str
    kind: str
    name: str
    position: str = ""
    group: str = ""
    carries: str = ""
    touches: tuple[str, ...] = ()
    where: Where = _place()


@dataclass(frozen=True)
class Look:
    """What to look for and measure on every part of a kind; with `always`, on the kind itself, part or no part."""

    on: str
    features: tuple[str, ...] = ()
    readings: tuple[str, ...] = ()
    always: bool = False
    how: str = ""
    where: Where = _place()


@dataclass(frozen=True)
class Step:
    """One step of taking a seal apart. `stage` is the last one at which its looks can be made; `ends` says what the
    next step destroys; `asks` are settings and figures of the case."""

    name: str
    stage: str
    do: str = ""
    ends: str = ""
    asks: tuple[str, ...] = ()
    looks: tuple[Look, ...] = ()
    where: Where = _place()


@dataclass(frozen=True)
class Arrangements:
    """Usual parts by arrangement, and the order of dismantling. `nominal` names for a reading the figure it should be
    near; a reading further off than `doubt` times (or one in `doubt`) is asked again."""

    usual: Mapping[str, tuple[UsualPart, ...]] = field(default_factory=dict)
    steps: tuple[Step, ...] = ()
    nominal: Mapping[str, str] = field(default_factory=dict)
    doubt: float = 0.0


@dataclass(frozen=True)
class Looks:
    """What planning reckons with: `minutes` of a plain look by kind of part, kinds whose features are `asked` for, how
    often an honest look `cannot_tell`, the bits that make work `worth` planning, what a bit about the `mechanisms` that
    tells nothing of the causes counts against one about the causes, and the chance from which an outcome is `reckoned`
    with."""

    minutes: Mapping[str, float] = field(default_factory=dict)
    asked: tuple[str, ...] = ()
    cannot_tell: Mapping[str, float] = field(default_factory=dict)
    worth: float = 0.02
    mechanisms: float = 1.0
    reckoned: float = 0.02


@dataclass(frozen=True)
class Knowledge:
    """The whole rule base, checked. `digest` is made from the bytes of all its files; `tables` are the trade's
    number tables as plain texts, by file stem, for the quantities; `files` maps each file to the digest of its bytes."""

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
