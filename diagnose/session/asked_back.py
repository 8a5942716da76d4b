"""Answers that go against what is on record beside them are asked back, so that no slip stands as a fact."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from diagnose.casefile.model import Observation, Part
from diagnose.casefile.replay import Record, What
from diagnose.session.talk import Talk


class AskedBack:
    def __init__(self, talk: Talk):
        self.talk, self.words = talk, talk.words

    def denied(self, whats: Sequence[What]) -> list[What]:
        """Marks that are not there, those turned into marks seen that a part shows which touches theirs."""
        result = []
        for what in whats:
            entry = what.get("entry", {})
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
