"""The words of the trade that records and rules may use, as objects."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cached_property
from typing import Any

from msgspec import Raw, field, json

from diagnose.knowledge.grammar import Grammar, Slots, lineage_of
from diagnose.knowledge.lexicon import EXTENTS, Lexicon
from diagnose.knowledge.sketches import Sketch
from diagnose.reading.entry import NOWHERE, Entry, replace
from diagnose.reading.problems import Where
from diagnose.reading.terms import plain

FORMULAS = {"difference": 2, "ratio": 2, "sum": 0, "spread": 1, "mean": 1}
"""Simple formulas of a quantity and how many readings each takes; 0: two or more."""


class Kind(Entry, frozen=True):
    """A kind of part. `above` are the kinds it belongs to, nearest first; `place` is seal or machine. `drawing`: the
    line drawing of such a part, `not_drawn` why there is none; what is left out holds as with the kind above."""

    name: str
    means: str = ""
    above: tuple[str, ...] = ()
    also: tuple[str, ...] = ()
    place: str = "seal"
    group: str = ""
    drawing: str = ""
    not_drawn: str = ""
    where: Where = NOWHERE


class Feature(Entry, frozen=True):
    """Something that can be looked for on a kind of part, or asked for about the leak and the history. `sound`: seen on
    a part that did its job, so no damage. `gone`: the part itself is not there, so nothing else can be on it; `excludes`:
    features that cannot be on the same part with it. `shared_with`: kinds of part that show it as well, where a part that shows it
    touches them. `lasting`: what is strong of it can still be seen, or remembered, once `lost` is past.

    `form`: a general word, that can be seen on any part unless `on` says otherwise. `above`: the forms it is, nearest first;
    `qualifiers` say which such mark it is. `statements`: states and acts that say as much, each as its table and parts; the
    first is what the feature says, so that denying it denies the feature. `sketch`: how it is drawn, if not as its form is.
    `not_made_of`: substances of which nothing of this form is made, as they only touched it: what cracked in water is no water.
    """

    name: str
    means: str
    on: tuple[str, ...]
    also: tuple[str, ...] = ()
    how: str = ""
    lost: str = ""
    lasting: bool = False
    sides: tuple[str, ...] = ()
    sound: bool = False
    gone: bool = False
    excludes: tuple[str, ...] = ()
    shared_with: tuple[str, ...] = ()
    form: bool = False
    above: tuple[str, ...] = ()
    qualifiers: Slots = field(default_factory=dict)
    statements: tuple[tuple[str, Slots], ...] = ()
    sketch: Sketch | None = None
    not_made_of: tuple[str, ...] = ()
    where: Where = NOWHERE


class NamedStatement(Entry, frozen=True):
    """A state or an act that says as much as a feature; `so`: it says that it is so; `first`: it is what the feature says."""

    feature: Feature
    table: str
    slots: Slots
    so: bool
    first: bool


class Reading(Entry, frozen=True):
    """A number that can be read: a measurement on a part, or a figure of a case section.

    `above` and `below` name figures between which this one must lie, `unless` the term of a setting that frees it;
    `absolute`: a pressure that is told absolute where nothing is said. `not_with`: terms of settings with which there is no
    such figure, so that it is not asked for; `stated`: the points and variable of a state whose reading is this figure, the
    first point of which there is one; `highest`: of several readings the highest counts, not their mean; `lost`: the last stage at
    which it can be measured, "" where the part is enough.
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
    stated: tuple[Slots, ...] = ()
    highest: bool = False
    lost: str = ""
    where: Where = NOWHERE


class Setting(Entry, frozen=True):
    """A fact about the case chosen from terms. `single`: one term at most, so the others are known not to hold."""

    name: str
    section: str
    terms: Mapping[str, tuple[str, ...]]
    single: bool = False
    means: str = ""
    where: Where = NOWHERE


class QuantityTerm(Entry, frozen=True):
    """A computed quantity that rules may name. `formula` is a simple one (difference, ratio, sum, spread or mean) and the
    readings it takes; without one the formula is in diagnose.quantities."""

    name: str
    unit: str
    means: str
    on: tuple[str, ...] = ()
    formula: str = ""
    takes: tuple[str, ...] = ()
    where: Where = NOWHERE


class Vocabulary(Entry, frozen=True, dict=True):
    """The words of the trade that records and rules may use; mappings by name. `said`: the lexicon, written as JSON."""

    kinds: Mapping[str, Kind]
    features: Mapping[str, Feature]
    readings: Mapping[str, Reading]
    settings: Mapping[str, Setting]
    quantities: Mapping[str, QuantityTerm]
    stages: tuple[str, ...]
    degrees: tuple[str, ...]
    sides: tuple[str, ...]
    said: Raw = Raw(b"{}")
    grammar: Grammar = Grammar()

    @cached_property
    def lexicon(self) -> Lexicon:
        """What people say for these words, read when it is first asked for: most commands need none of it."""
        return json.decode(self.said, type=Lexicon)

    def with_lexicon(self, lexicon: Lexicon) -> Vocabulary:
        return replace(self, said=Raw(json.encode(lexicon)))

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
        """The families of words that combine: form, point, variable, act, substance, moment, custody, confirmed, qualifier:NAME,
        value:VARIABLE."""
        g = self.grammar
        return {
            "form": self.forms, "point": g.points, "variable": g.variables, "act": g.acts, "substance": g.substances,
            "moment": g.moments, "custody": g.custody, "confirmed": g.confirmed, **{f"qualifier:{name}": table for name, table in g.qualifiers.items()},
            **{f"value:{name}": variable.words for name, variable in g.variables.items()},
        }  # fmt: skip

    @cached_property
    def forms(self) -> dict[str, Feature]:
        """The general words among the features."""
        return {name: feature for name, feature in self.features.items() if feature.form}

    @cached_property
    def detail_of(self) -> dict[str, tuple[str, str]]:
        """For each word (in plain form) for how much, on which side or how far round a mark goes, as people say it: degree, side
        or extent, and its term."""
        slots = {"degrees": ("degree", self.degrees), "sides": ("side", self.sides), "extents": ("extent", EXTENTS)}
        table: dict[str, tuple[str, str]] = {}
        for section, (slot, terms) in slots.items():
            said = self.lexicon.qualifiers.get(section, {})
            table |= {plain(s.text): (slot, term) for term in terms for s in said.get(term, ())}
            table |= {plain(term): (slot, term) for term in terms}
        return table

    @cached_property
    def form_lineage(self) -> dict[str, tuple[str, ...]]:
        """For each feature: itself and every form it is, nearest first."""
        return lineage_of(self.features)

    def not_made_of(self, feature: str) -> frozenset[str]:
        """The substances, and those that are such, that a mark is not made of."""
        named = {s for name in self.form_lineage[feature] for s in self.features[name].not_made_of}
        return frozenset(s for s in self.grammar.substances for n in named if self.grammar.is_a("made of", s, n))

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

    @cached_property
    def statements_on(self) -> dict[str, tuple[NamedStatement, ...]]:
        """The same by variable; acts have none: ""."""
        table: dict[str, list[NamedStatement]] = {}
        for named in self.named_statements:
            table.setdefault(named.slots.get("variable", ""), []).append(named)
        return {variable: tuple(named) for variable, named in table.items()}

    @cached_property
    def composed(self) -> dict[str, tuple[str, ...]]:
        """For each form: the features that are it with qualifiers."""
        table: dict[str, list[str]] = {}
        for name, feature in self.features.items():
            for above in feature.above if feature.qualifiers else ():
                table.setdefault(above, []).append(name)
        return {form: tuple(names) for form, names in table.items()}

    def named(self, feature: str, qualifiers: Slots, kind: str) -> tuple[str, dict[str, str]]:
        """The name of a mark said by form and qualifiers on a kind of part, with the qualifiers that the name does not say:
        of the features so composed the one that says most; the form itself where none, or more than one, says it. A special
        mark keeps its name: scale that lies beside the O-ring is still a deposit beside the O-ring."""
        said = self._composed_of(feature, qualifiers, kind)
        most = max((len(self.features[f].qualifiers) for f in said), default=0)
        best = [f for f in said if len(self.features[f].qualifiers) == most]
        renamed = len(best) == 1 and (feature in self.forms or feature in self.form_lineage[best[0]])
        name = best[0] if renamed else feature
        own = self.features[name].qualifiers
        return name, {k: v for k, v in sorted(qualifiers.items()) if own.get(k) != v}

    def also_named(self, feature: str, qualifiers: Slots, kind: str) -> tuple[str, ...]:
        """Every name of a mark with qualifiers on a kind of part: the feature, the forms it is, the features that a form of it
        with its qualifiers is; sugar that sticks is crystals, and a sticky residue too."""
        composed = self._composed_of(feature, qualifiers, kind)
        return tuple(dict.fromkeys(name for n in (feature, *composed) for name in self.form_lineage[n]))

    def _composed_of(self, feature: str, qualifiers: Slots, kind: str) -> list[str]:
        """The features that a form of a feature is with qualifiers, on a kind of part."""
        kinds = set(self.lineage.get(kind, ()))
        composed = dict.fromkeys(name for form in self.form_lineage[feature] for name in self.composed.get(form, ()))
        return [name for name in composed if kinds.intersection(self.features[name].on)
                and self.grammar.implies(qualifiers, self.features[name].qualifiers)]  # fmt: skip

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
        return self.fits(kind, self.features[feature].on)

    def feature(self, word: str, kind: str = "") -> str | None:
        """The feature behind a spelling; of several the one that can be on a kind of part."""
        named = self.spelled.get(plain(word), ())
        return next((n for n in named if kind and self.can_be_on(n, kind)), named[0] if named else None)

    @cached_property
    def lineage(self) -> dict[str, tuple[str, ...]]:
        """For each kind: itself and every kind above it."""
        return lineage_of(self.kinds)

    def related(self, kind: str, other: str) -> bool:
        """Whether two kinds are the same, or one is above the other."""
        return other in self.lineage[kind] or kind in self.lineage[other]

    def fits(self, kind: str, allowed: tuple[str, ...]) -> bool:
        """Whether a kind is related to one that is allowed; with none named, any is."""
        return not allowed or any(self.related(kind, on) for on in allowed)

    def under(self, kind: str) -> tuple[str, ...]:
        """The kind and every kind below it."""
        return tuple(name for name, line in self.lineage.items() if kind in line)


def _spellings(terms: Mapping[str, Any]) -> dict[str, str]:
    return {plain(also): name for name, term in terms.items() for also in term.also} | {
        plain(name): name for name in terms
    }
