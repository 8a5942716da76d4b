"""Parts at the bench: what each one is, its tag and marks, which are lost, and which this seal has not."""

from __future__ import annotations

import re
from typing import Any

from diagnose.casefile.model import Part
from diagnose.casefile.replay import Record
from diagnose.session.figures import CHOICES
from diagnose.session.prompts import Words
from diagnose.session.talk import Talk

KEYS = ("item", "kind", "name", "tag", "group", "carries", "index", "index at", "seen from", "touches")


class Parts:
    def __init__(self, talk: Talk):
        self.talk, self.words = talk, talk.words
        self._no_index: set[str] = set()

    def identified(self, part: Part) -> str:
        """Asks what a part is; its item number after that, or "" where it is lost or this seal has none."""
        self.talk.say("")
        self.talk.say(described(part))
        question = "Enter if so; m to tag or change it; l if lost; x if this seal has none: "
        answer = self.talk.choose(
            question, {"": "yes", "y": "yes", "yes": "yes", "m": "m", "l": "l", "lost": "l", "x": "x", "none": "x"}
        )
        record = self._record(part.item)
        if answer == "l":
            how = self.talk.ask("  how was it lost: ")
            if how and self._corrected(record, {**record.entry, "lost": how}):
                return ""
        elif answer == "x":
            self._drop_touches(part.item)
            self.talk.record({"withdraw": record.id, "why": "this seal has none"})
            return ""
        elif answer == "m":
            return self.change(part.item)
        return part.item

    def change(self, item: str) -> str:
        """What is different about a part, key by key; its item number after that."""
        self.talk.say(f"  what can be changed: {', '.join(KEYS)}", hang=4)
        question = "  change (for example tag T-9, index keyway; Enter: done): "
        entry = dict(self._record(item).entry)
        while answer := self.talk.ask(question, {k: k for k in KEYS}):
            told = [self._told(x) for x in re.split(r"\s*[,;]\s*", answer) if x]
            changed = entry | {k: v for k, v in told if k}
            if all(k for k, _ in told) and self._corrected(self._record(str(entry["item"])), changed):
                entry = changed
                self.talk.seen_from = str(entry.get("seen from", self.talk.seen_from))
        return str(entry["item"])

    def _told(self, text: str) -> tuple[str, Any]:
        """Key and value of "tag T-9", or ("", ""), told, where it is none; a key alone is asked for its value."""
        key = next(
            (k for k in sorted(KEYS, key=len, reverse=True) if text.lower() == k or text.lower().startswith(k + " ")),
            "",
        )
        if not key:
            self.talk.say(f"  {text!r} begins with none of: {', '.join(KEYS)} (for example: tag T-9)", hang=4)
            return "", ""
        spelled = self.kinds() if key == "kind" else CHOICES.get(key, {})
        value = text[len(key) :].strip(" :=") or self.talk.ask(f"  {key}: ", spelled)
        if not value:
            return "", ""
        if key == "touches":
            return key, value.split()
        if spelled:
            term = self.talk.term(value, key, spelled)
            return (key, term) if term else ("", "")
        return key, value

    def add(self, rest: str = "") -> None:
        """Puts another part on the list."""
        item = rest or self.talk.ask("  item number: ")
        kind = self.talk.ask("  kind of part: ", self.kinds()) if item else ""
        if kind and self.talk.record({"add": "parts", "entry": {"item": item, "kind": kind}}):
            self.change(item)

    def kinds(self) -> Words:
        return {also: kind for kind, k in self.words.kinds.items() for also in (kind, *k.also)}

    def index(self, item: str) -> None:
        """A clock position needs the mark it is counted from and the end it is seen from; asked once a part."""
        case, record = self.talk.case, self._record(item)
        part = case.part(item)
        if part is None or (part.index and part.seen_from) or item in self._no_index:
            return
        self._no_index.add(item)
        entry = dict(record.entry)
        datum = part.index or case.index.get(part.group, "")
        seen_from = self.talk.seen_from or case.texts.get("equipment.seen from", "")
        index = self.talk.ask(f"  counted from which mark [{datum or 'not said'}]: ") or datum
        question, spelled = (
            f"  seen from (1 driver end, 2 impeller end) [{seen_from or 'not said'}]: ",
            CHOICES["seen from"],
        )
        while (answer := self.talk.ask(question, spelled)) and not (term := self.talk.term(answer, "end", spelled)):
            pass
        view = term if answer else seen_from
        entry |= {k: v for k, v in (("index", index), ("seen from", view)) if v}
        if entry != record.entry and self._corrected(record, entry, "marked at the bench"):
            self.talk.seen_from = view

    def _corrected(self, record: Record, entry: dict[str, Any], why: str = "identified at the bench") -> bool:
        return entry == record.entry or self.talk.record(
            {"add": "parts", "entry": entry, "instead of": record.id, "why": why}
        )

    def _record(self, item: str) -> Record:
        record = self.talk.recorder.state.part_record(item)
        assert record is not None
        return record

    def _drop_touches(self, item: str) -> None:
        for record in self.talk.recorder.state.records:
            if record.place == "parts" and item in record.entry.get("touches", ()):
                rest = [t for t in record.entry["touches"] if t != item]
                entry = {k: v for k, v in record.entry.items() if k != "touches"} | ({"touches": rest} if rest else {})
                self.talk.record({"add": "parts", "entry": entry, "instead of": record.id, "why": f"there is no part {item}"},
                                 quiet=True)  # fmt: skip


def described(part: Part) -> str:
    bits = [part.kind, part.position if part.position not in ("seal", "machine") else "", part.group]
    bits.append({"nose": "carries the nose", "wide": "the wide ring"}.get(part.carries, ""))
    bits += [f"tag {part.tag}" if part.tag else "", f"index: {part.index}" if part.index else ""]
    bits += [f"touches {', '.join(part.touches)}" if part.touches else ""]
    return f"Item {part.item}, {part.name}: {', '.join(b for b in bits if b)}"
