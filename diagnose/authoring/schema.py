"""JSON Schemas of every kind of file, so that an editor completes keys and words and shows what they mean.

Made from a rule base: its features, kinds, settings, findings and so on become the words to choose from. They stand
once, in terms.json, and the schema of each kind of file points there. The strict reader stays the judge; a test holds
every file of the rule base against its schema.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from diagnose.authoring import grammar_schema, sketch_schema
from diagnose.authoring.rule_test_reader import FINDINGS
from diagnose.authoring.schema_parts import NUMBER, TEXT, YES, Schema, each, keys, listed, of, ref, said, some, words
from diagnose.casefile.format import ENDS, REMARK, REMOVALS, SECTIONS, STATES, TEXTS, TRAITS
from diagnose.judgement.judge import STANDINGS
from diagnose.knowledge.card_reader import STATUSES
from diagnose.knowledge.conditions import EXTENTS, FORMS, GROUPS, POSITIONS, RELATIONS
from diagnose.knowledge.explained import FIELDS
from diagnose.knowledge.lexicon import CUES, lexicon_terms
from diagnose.knowledge.looks import WAYS
from diagnose.knowledge.model import FORMULAS, KNOWN_BY, Knowledge, Vocabulary
from diagnose.knowledge.reader import SOURCE_KINDS
from diagnose.knowledge.tables import SHAPES

DRAFT = "http://json-schema.org/draft-07/schema#"
_FOLDERS = {
    "finding": "findings",
    "mechanism": "mechanisms",
    "cause": "causes",
    "measurement": "measurements",
    "caution": "cautions",
    "limit": "limits",
    "arrangement": "arrangements",
}


def _spellings(terms: Mapping[str, Any]) -> dict[str, str]:
    """Every accepted spelling with what it means; a synonym points at the term."""
    table = {name: getattr(term, "means", "") or name for name, term in terms.items()}
    for name, term in terms.items():
        for also in getattr(term, "also", ()):
            table.setdefault(also, f"another word for {name}")
    return table


def schemas(knowledge: Knowledge) -> dict[str, Schema]:
    """Every schema by the name of its file."""
    made = _Maker(knowledge)
    result = {kind: _file_or_tests(getattr(made, kind)()) for kind in ("finding", "mechanism", "cause", "caution")}
    result |= {"measurement": made.measurement(), "limit": made.limit(), "case": made.case(), **made.vocabulary()}
    result |= {
        "arrangement": made.arrangement(),
        "looks": made.looks(),
        "hazards": made.hazards(),
        "version": keys({"version": TEXT}, ("version",)),
    }
    result |= {f"table-{name}": made.table(shape) for name, shape in SHAPES.items()}
    result["terms"] = {"definitions": made.terms}
    return {name: {"$schema": DRAFT, "title": name, **schema} for name, schema in sorted(result.items())}


def _file_or_tests(card: Schema) -> Schema:
    """A card's file is a mapping, its tests beside it a list; both match the same pattern of file names."""
    return {"if": {"type": "array"}, "then": ref("tests"), "else": card}


def write(knowledge: Knowledge, folder: Path) -> list[Path]:
    folder.mkdir(parents=True, exist_ok=True)
    paths = []
    for name, schema in schemas(knowledge).items():
        path = folder / f"{name}.json"
        path.write_text(json.dumps(schema, ensure_ascii=False, separators=(",", ":")) + "\n", "utf-8")
        paths.append(path)
    return paths


def editor_settings(folder: str = "knowledge") -> Schema:
    """The lines of .vscode/settings.json that tie the schemas to the files."""
    globs = {kind: f"{folder}/{place}/*.yaml" for kind, place in _FOLDERS.items()}
    globs |= {
        name: f"{folder}/vocabulary/{name}.yaml"
        for name in (
            "parts",
            "forms",
            "features",
            "points",
            "variables",
            "acts",
            "qualifiers",
            "custody",
            "moved",
            "settings",
            "readings",
            "quantities",
            "scales",
        )
    }
    globs |= {
        name: f"{folder}/{name}.yaml" for name in ("words", "questions", "sources", "looks", "hazards", "version")
    }
    globs["lexicon"] = f"{folder}/vocabulary/words/*.yaml"
    globs |= {f"table-{name}": f"{folder}/tables/{name}.yaml" for name in SHAPES}
    globs["case"] = "scenarios/*.yaml"
    return {"yaml.schemas": {f"./{folder}/schema/{name}.json": glob for name, glob in sorted(globs.items())}}


class _Maker:
    def __init__(self, knowledge: Knowledge):
        self.k, self.v = knowledge, knowledge.vocabulary
        v: Vocabulary = self.v
        k = knowledge
        settings = {
            name: said(words(dict.fromkeys((*s.terms, *(a for alsos in s.terms.values() for a in alsos)))), s.means)
            for name, s in v.settings.items()
        }  # fmt: skip
        self.terms: dict[str, Schema] = {
            "kind": words(_spellings(v.kinds)), "feature": words(_spellings(v.features)),
            "reading": words(_spellings(v.readings)), "quantity": words(_spellings(v.quantities)),
            "finding": words({n: f.reads for n, f in k.findings.items()}),
            "cause": words({n: c.means for n, c in k.causes.items()}),
            "mechanism": words({n: c.means for n, c in k.mechanisms.items()}),
            "either": words({n: c.means for n, c in (*k.causes.items(), *k.mechanisms.items())}),
            "named": words([*k.causes, *k.mechanisms, *k.retired], "A cause or mechanism, by its name of today or an old one."),
            "caution": words({n: c.says for n, c in k.cautions.items()}),
            "limit": words({n: x.means for n, x in k.limits.items()}),
            "measurement": words({n: x.how for n, x in k.measurements.items()}),
            "source": words({n: " ".join(x for x in (s.title, s.year, s.section) if x) for n, s in k.sources.items()}),
            "seen": words({w: f"{p:g}" for w, p in k.words.seen.items()}),
            "common": words({w: f"{p:g}" for w, p in k.words.common.items()}),
            **{f"setting {name}": schema for name, schema in settings.items()}, **grammar_schema.terms(v),
            "setting": keys({name: ref(f"setting {name}") for name in settings}),
            "standing": words([f"{lead}{s}" for s in STANDINGS for lead in ("", "at most ", "at least ")]),
        }  # fmt: skip
        self.kind, self.feature, self.reading, self.quantity = map(ref, ("kind", "feature", "reading", "quantity"))
        self.finding_name, self.cause_name, self.caution_name = map(ref, ("finding", "cause", "caution"))
        self.mechanism_name, self.either = map(ref, ("mechanism", "either"))
        self.limit_name, self.measurement_name, self.source = map(ref, ("limit", "measurement", "source"))
        self.seen, self.common, self.setting, self.condition = map(ref, ("seen", "common", "setting", "condition"))
        self.terms["condition"] = {"anyOf": [self._form(form) for form in FORMS]}
        self.terms |= {f"section {name}": self._section(name) for name in SECTIONS}
        self.terms["case"] = keys(self._case_keys())
        self.terms["tests"] = self.tests()

    def _form(self, form: str) -> Schema:
        operand = {
            "saw": self.feature, "absent": self.feature, "quantity": self.quantity, "found": self.finding_name,
            "found absent": self.finding_name, "not found": self.finding_name, "setting": self.setting,
            "not setting": self.setting, "marks": listed(self.condition), "all": listed(self.condition), "any": listed(self.condition),
            "none": listed(self.condition),
            "at least": keys({"count": NUMBER, "of": listed(self.condition)}, ("count", "of")),
            **dict.fromkeys(("state", "not state"), ref("state")), **dict.fromkeys(("act", "not act"), ref("act said")),
        }[form]  # fmt: skip
        also: dict[str, Schema] = {
            "on": self.kind, "group": words(GROUPS), "face": words(("nose", "wide")), "at": words(POSITIONS), "same part": YES,
            "extent": words(EXTENTS), "degree": words(self.v.degrees), "side": words(self.v.sides), "above": TEXT,
            "below": TEXT, "between": listed(TEXT), "outside limit": self.limit_name, "within limit": self.limit_name,
            "is": TEXT, "are": words(RELATIONS),
        }  # fmt: skip
        such = grammar_schema.qualifiers(self.v.grammar) if form in ("saw", "absent") else {}
        return keys({form: operand, **{key: also[key] for key in FORMS[form]}, **such}, (form,))

    def _card(self, kind: str, properties: dict[str, Schema], needed: tuple[str, ...] = ()) -> Schema:
        common: dict[str, Schema] = {
            kind: said(TEXT, "The name; the file is named after it."), "id": said(TEXT, "Never changed, never given again."),
            "status": words({"draft": "runs only when asked", "trial": "its weight counts in part and is marked",
                             "accepted": "", "retired": "replaced by another"}),
            "since": said(TEXT, "Version of the rule base."), "reviewed": said(TEXT, "Year and month."),
            "sources": some(self.source), "replaced by": said(TEXT, "Where this is retired: what stands in its place."),
            "formerly": said(some(TEXT), "Names it had before; whoever writes one means this."),
        }  # fmt: skip
        assert set(common["status"]["enum"]) == set(STATUSES)
        alive = {"properties": {"status": {"not": {"const": "retired"}}}, "required": list(needed)}
        retired = {"properties": {"status": {"const": "retired"}}, "required": ["replaced by"]}
        head = (kind, "id", "status", "since", "reviewed", "sources")
        return keys({**common, **properties}, head) | {"anyOf": [alive, retired]}

    def finding(self) -> Schema:
        return self._card("finding", {
            "reads": said(TEXT, "The sentence shown; slots: {part} {parts} {position} {extent} {quantity}."),
            "otherwise": said(self.seen, "How often this is seen whatever happened."),
            "known by": words({k: f"missed {e.missed:g}, mistaken {e.mistaken:g}" for k, e in self.k.words.reading.items()},
                              "How it is known; where left out, told by its conditions."),
            "when": self.condition, "absent when": {"anyOf": [self.condition, {"const": "never"}]}, "muted": YES,
        }, ("reads", "otherwise", "when"))  # fmt: skip

    def cause(self) -> Schema:
        questions = {q: of(card.answers, self.seen) for q, card in self.k.questions.items()}
        return self._card("cause", {
            **self._explained("cause", self.cause_name, "Its direct signs: what shows this itself, whatever it brings about."),
            "common": said(self.common, "How common before anything is seen."),
            "common when": some(keys({"when": self.condition, "common": self.common}, ("when", "common"))),
            "answers": said(keys(questions), "For each question how often each answer; they sum to about one."),
        }, ("means", "scope", "common"))  # fmt: skip

    def mechanism(self) -> Schema:
        return self._card("mechanism", {
            **self._explained("mechanism", self.mechanism_name, "Its marks: what it leaves, and how often."),
            "otherwise": said(self.seen, "How often it comes about for a reason outside this rule base."),
            "leak path": said(YES, "A way out for the leak: chains end there, and it never leads."),
        }, ("means", "scope", "otherwise"))  # fmt: skip

    def _explained(self, kind: str, name: Schema, leaves: str) -> dict[str, Schema]:
        """What the cards of causes and mechanisms share."""
        seen, sources = self.seen, some(self.source)
        row = keys({"finding": self.finding_name, "seen": seen, "sources": sources}, ("finding", "seen"))
        link = keys({"mechanism": self.mechanism_name, "seen": seen, "sources": sources}, ("mechanism", "seen"))
        alike = keys({kind: name, "finding": said(self.finding_name, "The finding that parts the two."),
                      "favours": said(name, f"The {kind} it speaks for when present."), "told apart by": TEXT},
                     (kind, "finding", "favours", "told apart by"))  # fmt: skip
        return {
            "family": TEXT, "means": TEXT, "scope": words(("seal", "machine")),
            "needs": some(keys({"condition": self.condition, "because": TEXT}, ("condition", "because"))),
            "brings about": said(listed(link), "The mechanisms that follow, and how often."), "leaves": said(listed(row), leaves),
            "look-alikes": listed(alike), "confirm": some(self.measurement_name),
            "then": listed(keys({"do": TEXT, "field": words(FIELDS), "worked if": TEXT,
                                 "unless": said(self.condition, "Not proposed where this holds."),
                                 "cautions": some(said(self.caution_name, "The hazards of doing it."))}, ("do", "field"))),
            "cautions": some(self.caution_name), "iso 14224": keys({"class": TEXT, "from": TEXT}),
        }  # fmt: skip

    def measurement(self) -> Schema:
        stage = words(self.v.stages)
        return self._card("measurement", {
            "tells": some(said(self.finding_name, "The findings it decides.")), "part": self.kind, "how": TEXT,
            "instrument": TEXT, "at": TEXT, "readings": TEXT, "limit": self.limit_name,
            "no limit": said(TEXT, "Why there is none."), "minutes": NUMBER, "stage": words((*self.v.stages, "never")),
            "destroys": some(TEXT), "spoils": {"anyOf": [stage, {"const": ""}]}, "destructive": YES, "cautions": some(self.caution_name),
        }, ("how", "minutes"))  # fmt: skip

    def caution(self) -> Schema:
        return self._card(
            "caution", {"says": TEXT, "defer": TEXT, "always": YES, "when": self.condition}, ("says", "defer")
        )

    def limit(self) -> Schema:
        value = keys({"value": TEXT, "source": self.source, "where": TEXT, "note": TEXT}, ("value", "source"))
        return keys({"limit": TEXT, "quantity": self.quantity, "at most": some(value), "at least": some(value), "means": TEXT},
                    ("limit", "quantity"))  # fmt: skip

    # ---- arrangements, plain looks, tables -----------------------------------------------------------------

    def arrangement(self) -> Schema:
        """The usual parts of an arrangement, or the order of dismantling, which stands in the same folder."""
        part = keys({"item": TEXT, "kind": self.kind, "name": TEXT, "position": words(("inboard", "middle", "outboard", "machine")),
                     "group": words(GROUPS), "carries": words(("nose", "wide")), "touches": some(TEXT)}, ("item", "kind", "name"))  # fmt: skip
        usual = keys({"arrangement": some(ref("setting arrangement")), "parts": listed(part)}, ("arrangement", "parts"))
        figures = [*self.v.settings, *(r.name for r in self.v.readings.values() if r.section)]
        look = {
            "look for": some(self.feature), "measure": some(self.reading), "how": TEXT,
            "given": keys({s: some(ref(f"setting {s}")) for s in self.v.settings}, (), "Due only where the case says one of these."),
            "on": said(self.kind, "Every part of that kind on the case's list."),
            "about": said(self.kind, "The kind itself, part or no part."),
        }  # fmt: skip
        either = [
            keys({k: v for k, v in look.items() if k != other}, (key,))
            for key, other in (("on", "about"), ("about", "on"))
        ]
        step = keys({"step": TEXT, "stage": words(self.v.stages, "The last stage at which these looks can be made."),
                     "do": TEXT, "ends": said(TEXT, "What is lost with the next step."), "ask": some(words(figures)),
                     "looks": listed({"anyOf": either})}, ("step", "stage", "do", "ends"))  # fmt: skip
        order = keys({
            "doubt": said(NUMBER, "A reading this many times off its nominal is asked again."),
            "nominal": keys(dict.fromkeys(self.v.readings, self.reading)), "steps": listed(step),
            "alike": said(some(self.kind), "Parts of such a kind are asked about together."),
            "with the machine": said(some(self.kind), "What stays behind where the seal comes alone."),
            "only with": keys(dict.fromkeys(self.v.kinds, some(words(figures))), (), "Asked only where there is such a part."),
            "marking": listed({"anyOf": [keys({"on": self.kind, key: TEXT}, ("on", key)) for key in ("mark", "none")]}),
        }, ("steps", "doubt"))  # fmt: skip
        return {"if": {"required": ["steps"]}, "then": order, "else": usual}

    def hazards(self) -> Schema:
        hazard = keys({
            "means": TEXT, "words": some(said(TEXT, "In the text of a step; WORD* stands for all that begin so.")),
            "but not": some(said(TEXT, "A phrase in which such a word means something else.")),
            "stages": some(words(self.v.stages, "A measurement made at one of them.")), "cautions": some(self.caution_name),
        }, ("means", "cautions"))  # fmt: skip
        return keys({"hazards": {"type": "object", "additionalProperties": hazard}}, ("hazards",))

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

    # ---- tests and cases ----------------------------------------------------------------------------------

    def _record(self, key: str) -> Schema:
        placed = {
            "position": words(("inboard", "middle", "outboard", "machine", "seal")),
            "group": words(GROUPS),
            "part": TEXT,
            "on": self.kind,
        }
        note = {"note": TEXT, "photo": TEXT, "photo digest": TEXT}
        if key in STATES:
            many = {
                "which": some(TEXT),
                "of": NUMBER,
                "when": TEXT,
                "said": TEXT,
                **grammar_schema.qualifiers(self.v.grammar),
            }
            return keys({key: some(self.feature), **placed, **many, "degree": words(self.v.degrees), "extent": some(TEXT),
                         "side": words(self.v.sides), "face": words(("nose", "wide")), **note}, (key,))  # fmt: skip
        return keys({"measured": self.reading, **placed, "reading": TEXT, "readings": some(TEXT), "unit": TEXT, "at": some(TEXT),
                     "labels": some(TEXT), "resolution": TEXT, "instrument": TEXT, "temperature": TEXT, **note}, ("measured",))  # fmt: skip

    def _part(self) -> Schema:
        texts = dict.fromkeys(("item", "name", "position", "index", "index at", "tag", "note"), TEXT)
        texts["lost"] = said(TEXT, "How it was lost: nobody can look at it any more.")
        return keys({**texts, "kind": self.kind, "group": words(GROUPS), "carries": words(("nose", "wide")),
                     "seen from": words(ENDS), "touches": some(TEXT)}, ("item", "kind"))  # fmt: skip

    def _section(self, name: str, nested: bool = False) -> Schema:
        made: dict[str, Schema] = dict.fromkeys(TEXTS[name], TEXT)
        made |= {"lost": said(TEXT, "How the whole seal was lost.")} if name == "seal" else {}
        for setting, s in self.v.settings.items():
            if s.section != name:
                continue
            terms = ref(f"setting {setting}")
            for key in ("is", setting) if TRAITS[name] == setting else (setting,):
                made[key] = terms if s.single else some(terms)
                for denied in ("is not", "not is") if key == "is" else (f"not {key}",):
                    made[denied] = some(terms)
        for r in self.v.readings.values():
            if r.section == name:
                made |= {spelling: said(TEXT, f"{r.means} [{r.unit}]") for spelling in (r.name, *r.also)}
        if name == "equipment":
            made |= {"rotation": words(("clockwise", "counterclockwise")), "seen from": words(ENDS)}
        if name == "history":
            made["removal"] = words(REMOVALS)
            made["events"] = listed(keys({"date": TEXT, "what": TEXT}, ("what",)))
        if name in ("seal", "service") and not nested:
            made |= {place: self._section(name, True) for place in ("inboard", "middle", "outboard")}
        return keys(made)

    def _case_keys(self) -> dict[str, Schema]:
        named = ref("named")
        level = {"root": some(named), "mechanism": some(named), "cause": some(named)}
        expected = keys({**level, "one of": listed(named), "also": some(named), "position": TEXT,
                         "ruled out": some(named), "none of these": YES, "source": TEXT, "shows": TEXT})  # fmt: skip
        return {
            "case": TEXT, "invented": YES, "about": TEXT, **{name: ref(f"section {name}") for name in SECTIONS},
            "index": keys(dict.fromkeys(GROUPS, TEXT)), "parts": listed(self._part()),
            "observations": listed({"anyOf": [self._record(state) for state in STATES]}),
            **grammar_schema.records(self.v.grammar),
            "measurements": listed(self._record("measured")), "remarks": listed(keys(dict.fromkeys(REMARK, TEXT))), "stage": words(self.v.stages), "expected": expected,
        }  # fmt: skip

    def case(self) -> Schema:
        return {"allOf": [ref("case"), {"required": ["case"]}]}

    def tests(self) -> Schema:
        told = {
            key: keys({key: some(self.finding_name), "position": TEXT}, (key,)) for key in ("found", "found absent")
        }
        settings = {key: keys({key: self.setting, "position": TEXT}, (key,)) for key in ("setting", "not setting")}
        settings |= {key: keys({key: ref("act said" if key.endswith("act") else "state said"), "position": TEXT}, (key,))
                     for key in ("state", "not state", "act", "not act")}  # fmt: skip
        stated = keys({"quantity": self.quantity, "value": TEXT, "word": TEXT, "on": self.kind, "part": TEXT, "group": words(GROUPS),
                       "face": words(("nose", "wide")), "position": TEXT}, ("quantity",))  # fmt: skip
        records = [
            *(self._record(s) for s in STATES),
            self._record("measured"),
            self._part(),
            *told.values(),
            *settings.values(),
            stated,
        ]
        self.terms["record"] = {"anyOf": records}
        self.terms["fragment"] = {"anyOf": [listed(ref("record")), ref("case")]}
        fragment: Schema = ref("fragment")
        each_fragment = {"anyOf": [fragment, ref("record")]}
        standing = ref("standing")
        test = keys({
            "test": said(TEXT, "A sentence that says what must follow."), "given": said(fragment, "A fragment of a case, or short records."),
            "given each": said(listed(each_fragment), "Fragments, each of them a test of its own."), "at": words(("inboard", "middle", "outboard", "seal")),
            **{key: some(self.finding_name) for key in FINDINGS},
            "leads": self.either, "ranks": listed(self.either), "standing": self._by_name(standing),
            "speaks for": said(self._by_name(TEXT), "What the findings given are worth together, in dB."),
            "common": of(self.k.causes, self.common), "rules out": some(self.either), "does not rule out": some(self.either),
            "cautions": some(self.caution_name), "no cautions": some(self.caution_name),
        }, ("test",))  # fmt: skip
        return listed(test)

    def _by_name(self, item: Schema) -> Schema:
        """A mapping from causes or mechanisms."""
        return of((*self.k.causes, *self.k.mechanisms), item)

    # ---- vocabulary and words -----------------------------------------------------------------------------

    def lexicon(self) -> Schema:
        """A file of words people use for terms."""
        source = words(list(self.k.sources))
        said = {"anyOf": [TEXT, keys({"word": TEXT, "met in": source, "ask": TEXT}, ("word",))]}
        said_of = {
            "same": each(listed(said)), **{section: of(terms, listed(said)) for section, terms in lexicon_terms(self.v).items()},
        }  # fmt: skip
        return keys(
            {"met in": source, **said_of, "cues": of(CUES, listed(TEXT)), "idle": listed(TEXT), "whole": listed(TEXT)},
            ("met in",),
        )

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
                **sketch_schema.kind(),
            }
        )
        shared = {"means": TEXT, "also": some(TEXT), "on": some(kind), "how": TEXT, "lost": stage, "sides": some(words(self.v.sides)),
                  "sound": YES, "gone": YES, "excludes": some(self.feature), "sketch": sketch_schema.sketch(kind)}  # fmt: skip
        named = {
            "state": some(grammar_schema.state(self.v.grammar, {"not": YES})),
            "act": some(grammar_schema.act({"not": YES})),
        }
        feature = keys({**shared, "form": some(TEXT), **grammar_schema.qualifiers(self.v.grammar), **named})
        reading = keys({"unit": TEXT, "means": TEXT, "on": some(kind), "section": words(SECTIONS), "also": some(TEXT), "least": TEXT,
                        "most": TEXT, "several": YES, "above": TEXT, "below": TEXT, "unless": each(TEXT), "absolute": YES, "not with": each(TEXT), "stated": keys({"at": TEXT, "variable": TEXT})}, ("unit",))  # fmt: skip
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
            **grammar_schema.files(self.v, shared), "parts": keys({"parts": each(part)}), "features": keys({"features": each(feature)}),
            "settings": keys({"settings": each(setting)}), "readings": keys({"readings": each(reading)}),
            "quantities": keys({"quantities": each(quantity)}), "sources": keys({"sources": each(source)}),
            "scales": keys({key: listed(TEXT) for key in ("stages", "degrees", "sides")}),
            "lexicon": self.lexicon(),
            "words": keys({"seen": each(NUMBER), "common": each(NUMBER), "reading": of(KNOWN_BY, misread), "exponent": NUMBER, "wrong record": NUMBER,
                           "standing": standing}),
            "questions": keys({"questions": each(question)}),
        }  # fmt: skip
