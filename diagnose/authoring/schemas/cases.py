"""Schemas of case files and rule tests."""

from __future__ import annotations

from diagnose.authoring.rule_test_reader import FINDINGS
from diagnose.authoring.schemas import grammar
from diagnose.authoring.schemas.parts import (
    NUMBER,
    TEXT,
    YES,
    Schema,
    keys,
    listed,
    of,
    ref,
    said,
    some,
    words,
)
from diagnose.authoring.schemas.terms import Terms
from diagnose.casefile.format import AT_HAND, ENDS, REMARK, REMOVALS, SECTIONS, STATES, TEXTS, TRAITS
from diagnose.knowledge.conditions import GROUPS


class CaseSchemas(Terms):
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
                **grammar.qualifiers(self.v.grammar),
            }
            return keys({key: some(self.feature), **placed, **many, "degree": words(self.v.degrees), "extent": some(TEXT),
                         "side": words(self.v.sides), "face": words(("nose", "wide")), **note}, (key,))  # fmt: skip
        return keys({"measured": self.reading, **placed, "reading": TEXT, "readings": some(TEXT), "unit": TEXT, "at": some(TEXT),
                     "labels": some(TEXT), "resolution": TEXT, "instrument": TEXT, "temperature": TEXT, **note}, ("measured",))  # fmt: skip

    def _part(self) -> Schema:
        texts = dict.fromkeys(("item", "name", "position", "index", "index at", "tag", "note"), TEXT)
        texts["lost"] = said(TEXT, "How it was lost: nobody can look at it any more.")
        return keys({**texts, "kind": self.kind, "group": words(GROUPS), "carries": words(("nose", "wide")),
                     "seen from": words(ENDS), "touches": some(TEXT), "towards": words(ENDS), "sat in": some(TEXT)}, ("item", "kind"))  # fmt: skip

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
            **grammar.records(self.v.grammar),
            "measurements": listed(self._record("measured")), "remarks": listed(keys(dict.fromkeys(REMARK, TEXT))), "stage": words(self.v.stages), "at hand": words(AT_HAND), "expected": expected,
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
