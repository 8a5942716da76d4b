"""Schemas of the files that hold no cards: vocabulary, words, dismantling, hazards, plain looks, tables."""

from __future__ import annotations

from typing import Any

from diagnose.authoring.schemas import grammar, sketches
from diagnose.authoring.schemas.parts import (
    NUMBER,
    TEXT,
    YES,
    Schema,
    each,
    keys,
    listed,
    of,
    ref,
    said,
    some,
    words,
)
from diagnose.authoring.schemas.terms import Terms
from diagnose.casefile.format import SECTIONS
from diagnose.knowledge.conditions import GROUPS
from diagnose.knowledge.lexicon import CUES, OTHER_WORDS, SAID_OTHERWISE, lexicon_terms
from diagnose.knowledge.looks import WAYS
from diagnose.knowledge.model import FORMULAS, KNOWN_BY
from diagnose.knowledge.reader import SOURCE_KINDS


class FileSchemas(Terms):
    def arrangement(self) -> Schema:
        """The usual parts of an arrangement, or the order of dismantling, which stands in the same folder."""
        part = keys({"item": TEXT, "kind": self.kind, "name": TEXT, "position": words(("inboard", "middle", "outboard", "machine")),
                     "group": words(GROUPS), "carries": words(("nose", "wide")), "touches": some(TEXT)}, ("item", "kind", "name"))  # fmt: skip
        said_too = keys(
            {s: ref(f"setting {s}") for s in self.v.settings}, (), "Terms that the arrangement says by its name."
        )
        usual = keys(
            {"arrangement": some(ref("setting arrangement")), "says": said_too, "parts": listed(part),
             "called": {"type": "object", "additionalProperties": said_too, "description": "What its other names say besides."}},
            ("arrangement", "parts"),
        )  # fmt: skip
        figures = [*self.v.settings, *(r.name for r in self.v.readings.values() if r.section)]
        given = {s: some(ref(f"setting {s}")) for s in self.v.settings}
        look = {
            "look for": some(self.feature), "measure": some(self.reading), "how": TEXT,
            "given": keys(given, (), "Due only where the case says one of these."),
            "carries": said(words(("nose", "wide")), "Only on rings that may carry that side of the pair."),
            "foremost": said({"enum": [True, "true"]}, "Always among the few looks that are made first."),
            "touching": said(some(self.kind), "Only where it touches one of these."),
            "on": said(self.kind, "Every part of that kind on the case's list."),
            "about": said(self.kind, "The kind itself, part or no part."),
        }  # fmt: skip
        either = [
            keys({k: v for k, v in look.items() if k != other}, (key,))
            for key, other in (("on", "about"), ("about", "on"))
        ]
        step = keys({"step": TEXT, "stage": words(self.v.stages, "The last stage at which these looks can be made."),
                     "do": TEXT, "ends": said(TEXT, "What is lost with the next step."), "ask": some(words(figures)), "separates": said(some(self.kind), "What no longer sits as it sat once it has ended."),
                     "looks": listed({"anyOf": either})}, ("step", "stage", "do", "ends"))  # fmt: skip
        order = keys({
            "doubt": said(NUMBER, "A reading this many times off its nominal is asked again."),
            "far over a limit": said(NUMBER, "A length measured on a part, this many times over its widest limit, is asked again."),
            "nominal": keys(dict.fromkeys(self.v.readings, self.reading)), "steps": listed(step),
            "wears": said(some(self.reading), "Wear takes it far below its nominal, so only more is asked again."),
            "alike": said(some(self.kind), "Parts of such a kind are asked about together."),
            "with the machine": said(some(self.kind), "What stays behind where the seal comes alone."),
            "only with": keys(dict.fromkeys(self.v.kinds, some(words(figures))), (), "Asked only where there is such a part."),
            "marking": listed({"anyOf": [keys({"on": self.kind, key: TEXT}, ("on", key)) for key in ("mark", "none")]}),
            "one of": {"type": "object", "additionalProperties": some(self.feature), "description": "Of which one is so where a seal failed."},
            "left out": listed(keys({
                "given": keys(given, (), "Where the case says one of these."), "ask": some(words(figures)), "look for": some(self.feature),
                "measure": some(self.reading), "about": some(self.kind), "on": said(some(self.kind), "Only on parts of these kinds."),
                "alone": {"enum": [True, "true"], "description": "Where the seal came without its machine."},
                "without": said(self.kind, "Where the seal has no part of that kind."),
                "until": said(words(self.v.stages), "Closed in before that stage: all looks at these kinds wait for it."),
                "struck off": said(self.kind, "Where such a part was struck off the usual list."),
                "states": said(listed(ref("state")), "What cannot stand so."), "terms": keys(given, (), "Not offered."),
            })),
            "by plan": keys(dict.fromkeys(self.v.kinds, given.get("plan", TEXT)), (), "The piping plans with which there is such a part."),
            "not every machine": said(some(self.kind), "Asked once whether it is there, unless the kind of machine says it."),
        }, ("steps", "doubt"))  # fmt: skip
        return {"if": {"required": ["steps"]}, "then": order, "else": usual}

    def hazards(self) -> Schema:
        hazard = keys({
            "means": TEXT, "words": some(said(TEXT, "In the text of a step; WORD* stands for all that begin so.")),
            "but not": some(said(TEXT, "A phrase in which such a word means something else.")),
            "stages": some(words(self.v.stages, "A measurement made at one of them.")), "cautions": some(self.caution_name),
        }, ("means", "cautions"))  # fmt: skip
        return keys({"hazards": {"type": "object", "additionalProperties": hazard}}, ("hazards",))

    def at_odds(self) -> Schema:
        entry = keys(
            {
                "when": self.condition,
                "beside": said(some(self.kind), "And a part of one of these kinds is on the list."),
            },
            ("when",),
        )
        counted = keys(
            dict.fromkeys(self.v.kinds, self.reading), (), "The figure that tells how many parts of a kind there are."
        )
        return keys({"at odds": listed(entry), "counted by": counted})

    def looks(self) -> Schema:
        ways = keys(dict.fromkeys(WAYS, NUMBER), WAYS, "How often the work is done and leaves the finding open.")
        return keys({
            "minutes": keys(dict.fromkeys(self.v.kinds, NUMBER), (), "A plain look or question, by kind of part."),
            "asked": some(self.kind), "cannot tell": ways,
            "worth": said(NUMBER, "Bits that work must be expected to tell to be put on the plan."),
            "mechanisms": said(NUMBER, "What a bit about mechanisms counts that tells nothing of the causes, from 0 to 1."),
            "reckoned with": said(NUMBER, "An outcome less likely than this is not expected to change the answer."),
        }, ("minutes", "asked", "cannot tell", "worth", "mechanisms", "reckoned with"))  # fmt: skip

    def table(self, shape: Any) -> Schema:
        """The schema of a shape of knowledge/tables.py."""
        if isinstance(shape, list):
            return listed(self.table(shape[0])) | {"minItems": 1}
        if isinstance(shape, dict):
            named = {key.removesuffix("?"): self.table(inner) for key, inner in shape.items() if key[0] != "*"}
            made = keys(named, [key for key in shape if key[0] != "*" and key[-1] != "?"])
            free = [self.table(inner) for key, inner in shape.items() if key[0] == "*"]
            return made | {"additionalProperties": free[0] if free else False}
        plain = {"text": TEXT, "source": self.source, "number": NUMBER}
        return plain.get(shape) or said(TEXT, f"With its unit, for example in {shape}." if shape else "A plain number.")

    def lexicon(self) -> Schema:
        """A file of words people use for terms."""
        source = words(list(self.k.sources))
        said = {"anyOf": [TEXT, keys({"word": TEXT, "met in": source, "ask": TEXT}, ("word",))]}
        terms = lexicon_terms(self.v)
        said_of = {"same": each(listed(said)), **{section: of(names, listed(said)) for section, names in terms.items()}}
        others = keys({section: of(terms[section], TEXT) for section in SAID_OTHERWISE})
        return keys(
            {"met in": source, **said_of, "cues": of(CUES, listed(TEXT)), "idle": listed(TEXT), "whole": listed(TEXT),
             OTHER_WORDS: others},
            ("met in",),
        )  # fmt: skip

    def vocabulary(self) -> dict[str, Schema]:
        stage = words((*self.v.stages, "never"))
        kind = self.kind
        part = keys(
            {
                "is": some(kind),
                "also": some(TEXT),
                "means": TEXT,
                "place": words(("seal", "machine")),
                "group": words(GROUPS),
                **sketches.kind(),
            }
        )
        shared = {"means": TEXT, "also": some(TEXT), "on": some(kind), "how": TEXT, "lost": stage, "lasting": YES, "sides": some(words(self.v.sides)),
                  "sound": YES, "gone": YES, "excludes": some(self.feature), "shared with": some(kind), "sketch": sketches.sketch(kind)}  # fmt: skip
        named = {
            "state": some(grammar.state(self.v.grammar, {"not": YES})),
            "act": some(grammar.act({"not": YES})),
        }
        feature = keys({**shared, "form": some(TEXT), **grammar.qualifiers(self.v.grammar), **named})
        reading = keys({"unit": TEXT, "means": TEXT, "on": some(kind), "section": words(SECTIONS), "also": some(TEXT), "least": TEXT,
                        "most": TEXT, "several": YES, "above": TEXT, "below": TEXT, "unless": each(TEXT), "absolute": YES, "highest": YES, "not with": each(TEXT), "stated": keys({"at": some(TEXT), "variable": TEXT}), "lost": words(self.v.stages)}, ("unit",))  # fmt: skip
        setting = keys(
            {"section": words(SECTIONS), "single": YES, "means": TEXT, "terms": each(some(TEXT))}, ("section", "terms")
        )
        formula = {"anyOf": [keys({form: some(self.reading)}, (form,)) for form in FORMULAS]}
        quantity = keys({"unit": TEXT, "means": TEXT, "on": some(kind), "formula": formula}, ("unit",))
        question = keys({"means": TEXT, "answers": listed(self.finding_name), "otherwise": of(self.k.findings, self.seen)},
                        ("means", "answers", "otherwise"))  # fmt: skip
        misread = keys({"missed": NUMBER, "mistaken": NUMBER}, ("missed", "mistaken"))
        source = keys(
            {"title": TEXT, "year": TEXT, "section": TEXT, "kind": words(SOURCE_KINDS), "seen": TEXT}, ("title", "kind")
        )
        standing = keys(dict.fromkeys(("established", "probable", "possible", "lines needed", "line counts from", "decisive", "trial weight"), NUMBER))  # fmt: skip
        return {
            **grammar.files(self.v, shared), "parts": keys({"parts": each(part)}), "features": keys({"features": each(feature)}),
            "settings": keys({"settings": each(setting)}), "readings": keys({"readings": each(reading)}),
            "quantities": keys({"quantities": each(quantity)}), "sources": keys({"sources": each(source)}),
            "scales": keys({key: listed(TEXT) for key in ("stages", "degrees", "sides")}),
            "lexicon": self.lexicon(),
            "words": keys({"seen": each(NUMBER), "common": each(NUMBER), "reading": of(KNOWN_BY, misread), "rare marks": keys({"common": NUMBER, "least": NUMBER}, ("common", "least")), "exponent": NUMBER, "wrong record": NUMBER, "none of these": NUMBER,
                           "standing": standing}),
            "questions": keys({"questions": each(question)}),
        }  # fmt: skip
