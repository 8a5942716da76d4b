"""Reads the words of the trade that records and rules may use."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from diagnose.knowledge import model as m
from diagnose.knowledge.card_reader import CardReader
from diagnose.knowledge.conditions import GROUPS
from diagnose.knowledge.grammar import Grammar
from diagnose.knowledge.grammar_reader import read_forms, read_grammar, read_moved, statement
from diagnose.knowledge.lexicon import LexiconReader, lexicon_terms
from diagnose.knowledge.sketches import read_drawing, read_sketch
from diagnose.reading.entry import replace
from diagnose.reading.located import Node, only_keys
from diagnose.reading.terms import did_you_mean, plain
from diagnose.reading.units import BadUnit, unit


@dataclass(frozen=True)
class VocabularyReader:
    """Turns the files of vocabulary/ into one Vocabulary; problems are the reader's."""

    reader: CardReader

    def read(self) -> m.Vocabulary:
        scales = self.reader.file("vocabulary/scales.yaml")
        only_keys(scales, ["stages", "degrees", "sides"], "this file", self.reader.problems)
        stages, degrees, sides = (self.reader.texts(scales, k) for k in ("stages", "degrees", "sides"))
        kinds = {}
        parts = self.reader.section("vocabulary/parts.yaml", "parts")
        for name, node in parts.items():
            only_keys(
                node,
                ["is", "also", "means", "place", "group", "drawing", "not drawn"],
                f"the kind {name!r}",
                self.reader.problems,
            )
            kinds[name] = m.Kind(
                name, self.reader.text(node, "means"), self.reader.texts(node, "is"), self.reader.texts(node, "also"),
                self.reader.word(node, "place", ("seal", "machine"), "place", False) or "seal",
                self.reader.word(node, "group", GROUPS, "group", False), *read_drawing(self.reader, node), node.where,
            )  # fmt: skip
            self.reader.known(node, "is", [k for k, _ in parts.items()], "kind")
        settings = self.read_settings()
        grammar = read_grammar(self.reader, kinds, settings)

        def feature(name: str, node: Node, form: bool = False) -> m.Feature:
            return self.read_feature(name, node, form, kinds, stages, sides, grammar)

        features = read_forms(self.reader, feature)
        for name, node in self.reader.section("vocabulary/features.yaml", "features").items():
            if name in features:
                self.reader.say(node.where, "twice", f"{name!r} stands in forms.yaml too", "keep one")
            features[name] = feature(name, node)
        for read in features.values():
            for above in read.above:
                if above not in features:
                    self.reader.say(read.where, "unknown-form", f"there is no form {above!r}",
                             did_you_mean(above, [n for n, f in features.items() if f.form]))  # fmt: skip
            for other in read.excludes:
                if other not in features:
                    self.reader.say(
                        read.where, "unknown-feature", f"there is no feature {other!r}", did_you_mean(other, features)
                    )
        readings = self.read_readings(kinds, settings, grammar, stages)
        vocabulary = m.Vocabulary(
            kinds,
            features,
            readings,
            settings,
            self.read_quantities(kinds, readings),
            stages,
            degrees,
            sides,
            grammar=grammar,
        )
        self.refuse_twins(vocabulary)
        vocabulary = replace(vocabulary, grammar=replace(grammar, moved=read_moved(self.reader, vocabulary)))
        lexicon = LexiconReader(
            self.reader.nodes, lexicon_terms(vocabulary), self.reader.sources, self.reader.problems
        ).read()
        return vocabulary.with_lexicon(lexicon)

    def read_feature(
        self, name: str, node: Node, form: bool, kinds: Mapping[str, m.Kind], stages: tuple[str, ...], sides: tuple[str, ...],
        grammar: Grammar,
    ) -> m.Feature:  # fmt: skip
        """A feature, or the form that is its general word."""
        above = "is" if form else "form"
        allowed = [
            "means",
            "also",
            "on",
            "how",
            "lost",
            "lasting",
            "sides",
            "sound",
            "gone",
            "excludes",
            "shared with",
            "sketch",
            above,
            *(("not made of",) if form else (*grammar.qualifiers, "state", "act")),
        ]
        only_keys(node, allowed, f"the {'form' if form else 'feature'} {name!r}", self.reader.problems)
        self.reader.known(node, "sides", sides, "side")
        said = (
            {}
            if form
            else {
                q: self.reader.word(node, q, table, f"value of {q!r}")
                for q, table in grammar.qualifiers.items()
                if node.get(q)
            }
        )
        return m.Feature(
            name, self.reader.text(node, "means"), self.reader.known(node, "on", kinds, "kind"), self.reader.texts(node, "also"),
            self.reader.text(node, "how"), self.reader.word(node, "lost", (*stages, "never"), "stage", False),
            self.reader.text(node, "lasting") == "true",
            self.reader.texts(node, "sides"), self.reader.text(node, "sound") == "true",
            self.reader.text(node, "gone") == "true", self.reader.texts(node, "excludes"),
            self.reader.known(node, "shared with", kinds, "kind"), form, self.reader.texts(node, above), said,
            tuple((table, said) for table, value in node.items() if table in ("state", "act") for inner in value.each()
                  if (said := statement(self.reader, inner, grammar, table == "act"))),
            read_sketch(self.reader, node, kinds), self.reader.known(node, "not made of", grammar.substances, "substance"), node.where,
        )  # fmt: skip

    def read_readings(
        self,
        kinds: Mapping[str, m.Kind],
        settings: Mapping[str, m.Setting],
        grammar: Grammar,
        stages: tuple[str, ...],
    ) -> dict[str, m.Reading]:
        result = {}
        readings = self.reader.section("vocabulary/readings.yaml", "readings")
        figures = [name for name, node in readings.items() if node.get("section")]
        for name, node in readings.items():
            allowed = ["unit", "means", "on", "section", "also", "least", "most", "several", "above", "below", "unless",
                       "absolute", "not with", "stated", "highest", "lost"]  # fmt: skip
            only_keys(node, allowed, f"the reading {name!r}", self.reader.problems)
            here = self.reader.text(node, "unit")
            for key in ("least", "most"):
                value = node.get(key)
                if value is not None:
                    self.reader.amount(value, here)
            self.reader.check_unit(node, here)
            result[name] = m.Reading(
                name, here, self.reader.text(node, "means"), self.reader.known(node, "on", kinds, "kind"),
                self.reader.word(node, "section", ("equipment", "service", "seal", "history"), "section", False),
                self.reader.texts(node, "also"), self.reader.text(node, "least"), self.reader.text(node, "most"),
                self.reader.text(node, "several") == "true",
                self.reader.word(node, "above", figures, "figure of a case", False),
                self.reader.word(node, "below", figures, "figure of a case", False), self.reader.read_terms(node, "unless", settings),
                self.reader.text(node, "absolute") == "true", self.reader.read_terms(node, "not with", settings),
                self.read_stated(node, grammar), self.reader.text(node, "highest") == "true",
                self.reader.word(node, "lost", stages, "stage", False), node.where,
            )  # fmt: skip
        return result

    def read_stated(self, node: Node, grammar: Grammar) -> tuple[dict[str, str], ...]:
        """{at: POINT or POINTS, variable: VARIABLE} under `stated`, one for each point."""
        value = node.get("stated")
        if value is None:
            return ()
        only_keys(value, ["at", "variable"], "stated", self.reader.problems)
        variable = self.reader.word(value, "variable", grammar.variables, "variable")
        return tuple({"at": p, "variable": variable} for p in self.reader.known(value, "at", grammar.points, "point"))

    def read_quantities(
        self, kinds: Mapping[str, m.Kind], readings: Mapping[str, m.Reading]
    ) -> dict[str, m.QuantityTerm]:
        result = {}
        for name, node in self.reader.section("vocabulary/quantities.yaml", "quantities").items():
            only_keys(node, ["unit", "means", "on", "formula"], f"the quantity {name!r}", self.reader.problems)
            own = self.reader.text(node, "unit")
            self.reader.check_unit(node, own)
            form, takes = self.read_formula(node, own, readings)
            result[name] = m.QuantityTerm(
                name,
                own,
                self.reader.text(node, "means"),
                self.reader.known(node, "on", kinds, "kind"),
                form,
                takes,
                node.where,
            )
        return result

    def read_formula(self, node: Node, own: str, readings: Mapping[str, m.Reading]) -> tuple[str, tuple[str, ...]]:
        """A simple formula and the readings it takes: {difference: [one, other]}."""
        formula = node.get("formula")
        if formula is None:
            return "", ()
        only_keys(formula, list(m.FORMULAS), "a formula", self.reader.problems)
        form = next((key for key, _ in formula.items() if key in m.FORMULAS), "")
        if not form:
            return "", ()
        takes = self.reader.known(formula, form, readings, "reading")
        wanted, listed = m.FORMULAS[form], (formula.get(form) or formula).each()
        if len(listed) != wanted and (wanted or len(listed) < 2):
            self.reader.say(formula.where, "formula", f"a {form} takes {wanted or 'two or more'} reading{'s' if wanted != 1 else ''}",
                     f"{form}: [{', '.join(['READING'] * (wanted or 2))}]")  # fmt: skip
        if form == "ratio" and own not in ("", "%"):
            self.reader.say(formula.where, "unit", f"a ratio has no unit, not {own!r}", "unit: '%', or none")
        units = [(t, readings[t].unit) for t in takes] + ([] if form == "ratio" else [("the quantity", own)])
        for what, other in units[1:]:
            if _kind_of_unit(other) != _kind_of_unit(units[0][1]):
                self.reader.say(formula.where, "unit", f"{what} is in {other or 'a bare number'}, {units[0][0]} in {units[0][1] or 'a bare number'}",
                         "readings of one kind")  # fmt: skip
        return form, takes

    def read_settings(self) -> dict[str, m.Setting]:
        result = {}
        for name, node in self.reader.section("vocabulary/settings.yaml", "settings").items():
            only_keys(node, ["section", "single", "terms", "means"], f"the setting {name!r}", self.reader.problems)
            terms = node.get("terms")
            table = {term: tuple(a.text() for a in also.each()) for term, also in terms.items()} if terms else {}
            result[name] = m.Setting(
                name, self.reader.word(node, "section", ("equipment", "service", "seal", "history"), "section"), table,
                self.reader.text(node, "single") == "true", self.reader.text(node, "means"), node.where,
            )  # fmt: skip
        return result

    def refuse_twins(self, v: m.Vocabulary) -> None:
        """Two terms of a family must not share a spelling, but for features that no kind of part can both have."""
        families: list[tuple[str, Mapping[str, Any]]] = [
            ("kind", v.kinds), ("feature", v.features), ("reading", v.readings)
        ]  # fmt: skip
        for family, terms in families:
            owner: dict[str, str] = {}
            for name, term in terms.items():
                for spelling in {plain(name), *map(plain, term.also)}:
                    apart = family == "feature" and spelling in owner and (term.form != v.features[owner[spelling]].form or (
                        term.on and not any(v.can_be_on(owner[spelling], kind) for kind in term.on)
                    ))  # fmt: skip
                    if spelling in owner and not apart:
                        self.reader.say(term.where, "shared-word", f"{spelling!r} names two {family}s: {owner[spelling]!r} and {name!r}",
                                 "keep it with one of them")  # fmt: skip
                    owner[spelling] = name


def _kind_of_unit(name: str) -> object:
    """What a unit measures; None for one that is told to be wrong elsewhere."""
    try:
        return unit(name).kind
    except BadUnit:
        return None
