"""Schemas of the cards and their conditions."""

from __future__ import annotations

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
from diagnose.knowledge.card_reader import STATUSES
from diagnose.knowledge.conditions import EXTENTS, FORMS, GROUPS, POSITIONS, RELATIONS
from diagnose.knowledge.explained import FIELDS


class CardSchemas(Terms):
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
            "is": TEXT, "are": words(RELATIONS), "when": TEXT,
        }  # fmt: skip
        such = grammar.qualifiers(self.v.grammar) if form in ("saw", "absent") else {}
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
            "when": self.condition, "absent when": {"anyOf": [self.condition, {"const": "never"}]}, "no failure": YES, "muted": YES,
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
            "between": said(YES, "It passes on what began elsewhere, and is half as ready to lead."),
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
                                 "on": said(some(self.kind), "Not proposed where one of these is not there."),
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
