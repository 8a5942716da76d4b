"""Answers that go against what is on record beside them are asked back, so that no slip stands as a fact."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence

from diagnose.casefile.behind import record_behind
from diagnose.casefile.elsewhere import elsewhere
from diagnose.casefile.format import RUNNING, SOUND
from diagnose.casefile.model import Observation, Part
from diagnose.casefile.replay import Record, What
from diagnose.reading.terms import plain
from diagnose.session.talk import Talk


class AskedBack:
    def __init__(self, talk: Talk):
        self.talk, self.words = talk, talk.words

    def denied(self, whats: Sequence[What]) -> list[What]:
        """Marks that are not there, without those that go against the record, which are told; those turned into marks seen that
        a part shows which touches theirs. Of what one must be so, none is denied alone: it is not known which."""
        result, unknown = [], self._not_known(whats)
        for what in whats:
            entry = what.get("entry", {})
            if what in unknown:
                result.append({**what, "entry": {"not looked at" if k == "absent" else k: v for k, v in entry.items()}})
                continue
            if told := self._on_record(entry):
                self.talk.say(f"  {entry['absent']}: not denied, it {told}", hang=4)
                continue
            if told := self._just_said(entry):
                self.talk.say(f"  {entry['absent']}: not denied, as that was said: {told}", hang=4)
                continue
            beside = self._beside(entry.get("part", ""), str(entry.get("absent", "")), "present")
            if beside and self.talk.sure(
                f"  {entry['absent']} is on record on {_named(beside)}, which touches part {entry['part']}: "
                "there as well (y; Enter: not there)? "
            ):
                what = {**what, "entry": {"saw" if k == "absent" else k: v for k, v in entry.items()}}
            result.append(what)
        return result

    def seen(self, whats: Sequence[What]) -> list[What]:
        """Marks that were seen, without those that stand as not there after all; with them what is there as well on a part
        that touches theirs."""
        result = []
        for what in whats:
            entry = what.get("entry", {})
            feature, part = str(entry.get("saw", "")), str(entry.get("part", ""))
            against = self._against(feature, entry)
            if against and not self.talk.sure(f"  {against.feature} is on record: {feature} as well (y; Enter: no)? "):
                continue
            denied = self._denied(feature, entry)
            if denied:
                where = f" on part {part}" if part else ""
                if not self.talk.sure(
                    f"  {feature} is on record as not there{where} (r{denied.id}): there after all (y; Enter: no)? "
                ):
                    continue
                what = {**what, "instead of": denied.id, "why": "seen after all"}
            result.append(what)
            beside = self._beside(part, feature, "absent")
            other = beside and self._denied(feature, {"part": beside.item})
            if (
                beside
                and other
                and self.talk.sure(
                    f"  {_named(beside)}, which touches part {part}, is on record without it: there as well (y; Enter: no)? "
                )
            ):
                mark = {"add": "observations", "entry": {"part": beside.item, "saw": feature}}
                result.append({**mark, "instead of": other.id, "why": f"seen on part {part} as well"})
        return result

    def _on_record(self, entry: dict[str, str]) -> str:
        """Where a mark that is denied, or a special one of it, is on record as there, and how that is corrected."""
        feature, case = entry["absent"], self.talk.case
        kind = part.kind if (part := case.part(entry.get("part", ""))) else entry.get("on", "")
        here = case.seen.get((entry.get("part", ""), "" if part else kind), ())
        seen = next(
            (
                o
                for o in here
                if o.state == "present" and feature in self.words.also_named(o.feature, dict(o.such), o.kind)
            ),
            None,
        )
        told = elsewhere(case, self.words, entry.get("part", ""), kind).get(feature) if seen is None else None
        if seen is None and (told is None or told.state != "present"):
            return ""
        behind = record_behind(seen.id if seen else told.id if told else "", case, self.talk.recorder.state)
        number = f"r{behind.id}" if behind else ""
        where = (seen.feature if seen.feature != feature else "here") if seen else f"by {told.about}" if told else ""
        return f"is on record as there: {where}{f' ({number}; /fix {number} corrects it)' if number else ' (log shows it)'}"

    def _just_said(self, entry: dict[str, str]) -> str:
        """The words in which, with another mark of the same part, one that is denied was said, as "clogged, crystalline"."""
        names = {entry["absent"], *self.words.features[entry["absent"]].also}
        for o in self.talk.case.observations:
            if not entry.get("part") or o.part != entry["part"] or o.state != "present":
                continue
            said = {plain(w) for text in (o.said, o.note) for w in re.split(r"[,;]", text) if text}
            values = {v for k, v in o.such} | said
            for table in self.words.grammar.qualifiers.values():
                values |= {x for name, term in table.items() if {name, *term.also} & values for x in (name, *term.also)}
            if names & values:
                return o.said or o.note or ", ".join(v for _, v in o.such)
        return ""

    def _not_known(self, whats: Sequence[What]) -> list[What]:
        """Denials that would leave nothing of what one must be so, where the seal failed."""
        case, unknown = self.talk.case, list[What]()
        if case.texts.get("history.removal") in (SOUND, RUNNING):
            return unknown
        for question, features in self.talk.knowledge.arrangements.one_of.items():
            mine = [w for w in whats if w.get("entry", {}).get("absent") in features]
            answers = {o.feature: o.state for o in case.observations if o.feature in features}
            denied = {w["entry"]["absent"] for w in mine} | {f for f, state in answers.items() if state == "absent"}
            if mine and "present" not in answers.values() and denied >= set(features):
                unknown += mine
                self.talk.say(
                    f"  {question}: one of these must be so and none is named, so all of them stand as not known",
                    hang=4,
                )
        return unknown

    def _beside(self, item: str, feature: str, state: str) -> Part | None:
        """The part that touches this one and has the mark in that state, where such a mark is on both."""
        part, shared = self.talk.case.part(item), self.words.features[feature].shared_with if feature else ()
        if part is None or not shared:
            return None
        for other in self.talk.case.parts:
            touching = other.item in part.touches or part.item in other.touches
            both = any(k in self.words.lineage[p.kind] for p in (part, other) for k in shared)
            if touching and both and any(o.part == other.item and o.state == state for o in self._told(feature)):
                return other
        return None

    def _told(self, feature: str) -> Iterator[Observation]:
        return (o for o in self.talk.case.observations if o.feature == feature)

    def _against(self, feature: str, entry: dict[str, str]) -> Observation | None:
        """What was seen that the feature excludes, where no part is named; on one part the recorder refuses it."""
        if not feature or entry.get("part"):
            return None
        excludes = self.words.features[feature].excludes
        return next(
            (o for o in self.talk.case.observations if o.state == "present" and o.kind == entry.get("on")
             and (o.feature in excludes or feature in self.words.features[o.feature].excludes)), None,
        )  # fmt: skip

    def _denied(self, feature: str, entry: dict[str, str]) -> Record | None:
        """The record that this feature is not there, on the same part or kind."""
        about = ("part", "on", "position")
        return next(
            (r for r in self.talk.recorder.state.records if r.place == "observations" and r.entry.get("absent") == feature
             and feature and all(r.entry.get(k) == entry.get(k) for k in about)), None,
        )  # fmt: skip


def _named(part: Part) -> str:
    return f"part {part.item} {part.name}"
