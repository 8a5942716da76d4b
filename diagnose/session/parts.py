"""Parts at the bench: what each one is, its tag and marks, which are lost or found again, and which this seal has not."""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import Any

from diagnose.casefile import walk
from diagnose.casefile.cards import unmarked
from diagnose.casefile.model import Part
from diagnose.casefile.replay import Record, State, What, replay
from diagnose.knowledge.model import Step
from diagnose.reading.terms import plain
from diagnose.session.entries import ALL, NONE, UNKNOWN, listed, meant
from diagnose.session.figures import CHOICES, WITHDRAW
from diagnose.session.prompts import Words
from diagnose.session.talk import BOUND, Talk, numbered
from diagnose.views.stack import ways_to_mark

KEYS = (
    "item",
    "kind",
    "name",
    "tag",
    "group",
    "carries",
    "index",
    "index at",
    "seen from",
    "touches",
    "towards",
    "sat in",
)

DIFFERS = "none 16: not fitted   lost 5: HOW   found 5   part 2 tag T-9   more snap ring"

_ITEM = re.compile(r"(?=\D*\d)[^\s:;,]{1,12}")


class Parts:
    def __init__(self, talk: Talk):
        self.talk, self.words = talk, talk.words
        self._no_index: set[str] = set()
        self._machine_asked = False

    def overview(self) -> None:
        """The parts list, with what differs from it: parts this seal has not, lost ones, others, and what is different about
        one."""
        self.talk.say("")
        self.talk.say("The parts, as such a seal usually has them", bold=True)
        self.talk.say(", ".join(f"part{BOUND}{p.item}{BOUND}{p.name}" for p in self.talk.case.parts), hang=2)
        self.talk.help = _help(self.talk.case.parts)
        self.talk.lines(DIFFERS)
        question = "What differs (Enter: nothing): "
        while (answer := self.talk.ask(question)) and answer.lower() not in NONE:
            for bit in (b.strip() for b in answer.split(";") if b.strip()):
                self._differs(bit)

    def _differs(self, text: str) -> None:
        word, _, rest = text.partition(" ")
        word, rest = word.lower(), rest.strip()
        if word in (*NONE, WITHDRAW):
            for item in self._items(rest.partition(":")[0]):
                self._drop(item)
        elif word == "lost":
            self.lost(rest)
        elif word == "found":
            self.found(rest)
        elif word == "part" and self._items(rest.partition(" ")[0]):
            number, _, told = rest.partition(" ")
            self.change(number, told)
        elif word == "more":
            self.add(kind=rest)
        elif word != "part":
            self.talk.say(f"  {text!r} is not taken; say it as one of these:", hang=4)
            self.talk.lines(f"  {DIFFERS}")

    def lost(self, text: str) -> None:
        """Parts that are gone, and how: "5, 7: swept away", "springs thrown away"."""
        items, how = self._parts_and_how(text)
        known = self._items(items)
        how = how or (self.talk.ask("  how was it lost: ") if known else "")
        if known and not how:
            self.talk.say("  left as it is: a lost part says how it was lost")
        for item in known if how and self._is_gone(known) else ():
            record = self._record(item)
            self._corrected(record, {**record.entry, "lost": how})

    def _is_gone(self, items: list[str]) -> bool:
        """Whether parts are lost; asked where marks or readings of them are on record, as somebody had them in hand."""
        records = self.talk.recorder.state.records
        told = [f"part {i} ({n} on record)" for i in items if (n := sum(r.entry.get("part") == i for r in records))]
        return not told or self.talk.sure(
            f"  {', '.join(told)}: what is on record stays, nothing more is asked. Lost (y; Enter: no)? "
        )

    def found(self, text: str) -> None:
        """Parts that are there after all: lost ones, and those that it was said this seal has none of."""
        known = {p.item for p in self.talk.case.parts}
        for item in re.findall(r"[^\s,]+", re.sub(r"\b(?:parts?|and)\b", " ", text)):
            if item not in known and self._dropped(item):
                self._put_back(item)
            elif self._items(item):
                record = self._record(item)
                if "lost" in record.entry:
                    self._without(record, "lost")
                else:
                    self.talk.say(f"  part {item} is not on record as lost")

    def _without(self, record: Record, key: str) -> None:
        entry = {k: v for k, v in record.entry.items() if k != key}
        self._corrected(record, entry, "found again" if key == "lost" else "identified at the bench")

    def _dropped(self, item: str) -> State | None:
        """The case before it was said that there is no such part; None where nobody said so."""
        lines = self.talk.recorder.lines
        for n in (n for n in range(len(lines) - 1, 0, -1) if "withdraw" in lines[n].what):
            found = replay(lines[:n]).part_record(item)
            if found and lines[n].what["withdraw"] == found.id:
                while lines[n - 1].what.get("why") == _none_such(item):
                    n -= 1
                return replay(lines[:n])
        return None

    def _put_back(self, item: str, kind: str = "") -> bool:
        """Whether a part that was taken off the list, of that kind where one is said, is back as it was, with what it touches
        and with what touches it."""
        before, state = self._dropped(item), self.talk.recorder.state
        old = before.part_record(item) if before else None
        if (
            before is None
            or old is None
            or state.part_record(item)
            or (kind and old.entry["kind"] != self.words.find("kind", kind))
        ):
            return False
        there = {p.item for p in self.talk.case.parts}
        whats: list[What] = [{"add": "parts", "entry": {k: [t for t in v if t in there] if k == "touches" else v
                                                        for k, v in old.entry.items()}}]  # fmt: skip
        for part in before.records:
            now = state.part_record(str(part.entry.get("item"))) if part.place == "parts" else None
            if now and item in part.entry.get("touches", ()):
                touches = [t for t in part.entry["touches"] if t == item or t in now.entry.get("touches", ())]
                entry = {**now.entry, "touches": touches}
                whats.append({"add": "parts", "entry": entry, "instead of": now.id, "why": f"part {item} is there"})
        if not self.talk.record(*whats, quiet=True):
            return False
        self.talk.say(f"  on record again: part {item} {old.entry.get('name', old.entry['kind'])}, as it was", hang=4)
        return True

    def _parts_and_how(self, text: str) -> tuple[str, str]:
        """Parts and how they were lost, by a colon or by where item numbers or a part's name end: "5, 7 thrown away"."""
        items, colon, how = (x.strip() for x in text.partition(":"))
        if colon:
            return items, how
        words, names = text.split(), {p.name: p.item for p in self.talk.case.parts}
        numbers = next((i for i, w in enumerate(words) if not self._in_a_list(w)), len(words))
        for n in [numbers] if numbers else range(len(words), 0, -1):
            if numbers or len(meant(" ".join(words[:n]), names)) == 1:
                return " ".join(words[:n]), " ".join(words[n:])
        return text, ""

    def _in_a_list(self, word: str) -> bool:
        return word.strip(",") in ("", "and", "part", "parts") or self.talk.case.part(word.strip(",")) is not None

    def _items(self, text: str) -> list[str]:
        """Parts of a list, by item number or by a name that only one has; what is none is told, and then nothing is taken."""
        names = {p.name: p.item for p in self.talk.case.parts}
        items: list[str] = []
        text = re.sub(
            r"\b(\d+)\s*(?:-|–|\bto\b)\s*(\d+)\b",
            lambda m: ", ".join(map(str, range(int(m[1]), min(int(m[2]), int(m[1]) + 99) + 1))),
            text,
        )
        for bit in (b.strip() for b in re.split(r",|\band\b", text.replace("part ", " ")) if b.strip()):
            named = [] if bit[0].isdecimal() else meant(bit, names)
            items += named if len(named) == 1 else bit.split()
        strange = [x for x in items if self.talk.case.part(x) is None]
        if strange or not items:
            known = ", ".join(p.item for p in self.talk.case.parts)
            self.talk.say(
                f"  no part has the item number {', '.join(strange) or 'that is missing'} (there are: {known})", hang=4
            )
            return []
        return items

    def _drop(self, item: str) -> None:
        part = self.talk.case.part(item)
        self._drop_touches(item)
        if part and self.talk.record({"withdraw": self._record(item).id, "why": "this seal has none"}, quiet=True):
            self.talk.say(f"  on record: this seal has no {part.name} (part {item})", hang=4)

    def missing_of_the_machine(self) -> list[str]:
        """Kinds of part that not every machine has and this one has not, or nobody knows: asked where its kind says nothing."""
        kinds = [] if self._machine_asked else walk.open_kinds(self.talk.case, self.talk.knowledge)
        self._machine_asked = True
        if not kinds:
            return []
        self.talk.help = {f"{i} {k}": self.words.kinds[k].means for i, k in enumerate(kinds, 1)}
        self.talk.say(f"not every machine has: {numbered(kinds)}", hang=2)
        question = "this one has (their numbers; all; none; Enter: not known): "
        table = {plain(k): k for k in kinds}
        while (answer := self.talk.ask(question, {k: k for k in kinds})) and plain(answer) not in (*NONE, *UNKNOWN):
            there = kinds if plain(answer) in ALL else listed(answer, kinds, lambda word: table.get(plain(word), ""))
            if there:
                return [k for k in kinds if k not in there]
            self.talk.say(f"  {answer!r} is none of the answers here: Enter, 1-{len(kinds)}, all, none", hang=4)
        return kinds

    def marks(self, step: Step) -> None:
        """Before a step separates parts: which of those that touch two others have no mark, and how one survives."""
        open_ones = unmarked(self.talk.case, self.talk.knowledge, step)
        if not open_ones:
            return
        self.talk.say("")
        self.talk.say("Without a mark yet, and nobody knows afterwards how they sat", bold=True)
        self.talk.say(", ".join(f"part{BOUND}{p.item}{BOUND}{p.name}" for p in open_ones), hang=2)
        for how, items in ways_to_mark(open_ones, self.talk.knowledge):
            self.talk.say(f"{items}: {how}", hang=2)
        self.talk.help = _help(open_ones)
        question = "Marked in line with the datum of their group (all; 1 2 9; Enter: not yet): "
        while (answer := self.talk.ask(question)) and answer.lower() not in NONE:
            chosen = [p.item for p in open_ones] if answer.lower() in ALL else self._items(answer)
            for item in chosen:
                self._marked(item)
            if chosen:
                self._ask_owed_marks(chosen)
                return

    def _ask_owed_marks(self, items: list[str]) -> None:
        """What stands at 12 o'clock on a group is asked where parts were marked in line with it and nobody said it yet."""
        groups = {p.group for i in items if (p := self.talk.case.part(i)) and p.group}
        for group in sorted(groups - self.talk.case.index.keys()):
            told = "keyway" if group == "rotating" else "top dead centre"
            mark = self.talk.ask(f"  index mark of the {group} parts ({told}; Enter: not known): ")
            if mark and plain(mark) not in (*NONE, *UNKNOWN):
                self.talk.record({"set": ["index", group], "to": mark})
            else:
                self.talk.say(
                    f"  still owed: without it the clocks of the {group} parts hold within each part only", hang=4
                )

    def _marked(self, item: str) -> None:
        record, case = self._record(item), self.talk.case
        part = case.part(item)
        datum = case.index.get(part.group, "") if part else ""
        seen_from = case.texts.get("equipment.seen from", "")
        entry = {**record.entry, "index": datum or "mark at 12 o'clock"}
        if seen_from:
            entry["seen from"] = seen_from
        self._corrected(record, entry, "marked at the bench")

    def change(self, item: str, answer: str = "") -> str:
        """What is different about a part, as said or asked for key by key; its item number after that."""
        question, entry, told_once = (
            "  change (tag T-9, index keyway, tag none; withdraw; Enter: done): ",
            dict(self._record(item).entry),
            bool(answer),
        )
        if not answer:
            self.talk.say(f"  what can be changed: {', '.join(KEYS)}; withdraw takes the last change back", hang=4)
        while answer := answer or self.talk.ask(question, {k: k for k in KEYS}):
            if plain(answer) == WITHDRAW:
                self._take_back(item)
                return item
            if plain(answer) in ("found", "lost none"):
                self.found(item)
                return item
            told = [self._told(x) for x in re.split(r"\s*[,;]\s*", answer) if x]
            changed = {k: v for k, v in (entry | dict(told)).items() if k and v is not None}
            if all(k for k, _ in told) and self._corrected(self._record(str(entry["item"])), changed):
                entry = changed
                self.talk.seen_from = str(entry.get("seen from", self.talk.seen_from))
            if told_once:
                break
            answer = ""
        return str(entry["item"])

    def _take_back(self, item: str) -> None:
        """The part as it was before the last change of it."""
        record, lines = self._record(item), self.talk.recorder.lines
        line = next((x for x in lines if str(x.number) == record.id and "instead of" in x.what), None)
        old = replay(lines[: line.number - 1]).record(str(line.what["instead of"])) if line else None
        if old is None:
            self.talk.say(f"  part {item} was not changed; that this seal has none is said by: none {item}", hang=4)
        elif why := self.talk.ask("  why is it taken back: "):
            self._corrected(record, dict(old.entry), why)

    def _told(self, text: str) -> tuple[str, Any]:
        """Key and value of "tag T-9", or ("", ""), told, where it is none; a key alone is asked for its value. "tag none" takes
        away what not every part has."""
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
        if plain(value) in NONE and key not in ("item", "kind", "name"):
            return key, None
        if key == "touches":
            return key, value.split()
        if key == "sat in":
            return key, [x.strip() for x in value.split(" and ")]
        if spelled:
            term = self.talk.term(value, key, spelled)
            return (key, term) if term else ("", "")
        return key, value

    def add(self, rest: str = "", kind: str = "") -> None:
        """Puts another part on the list."""
        free = self._free_number()
        item = rest or self.talk.ask(f"  item number [{free}]: ") or free
        while not _ITEM.fullmatch(item):
            self.talk.say(
                f"  {item!r} is no item number: it has a digit and no blank (what is different is asked next)", hang=4
            )
            item = self.talk.ask(f"  item number [{free}]: ") or free
        if self._put_back(item, kind):
            return
        kind = kind or self.talk.ask("  kind of part: ", self.kinds())
        if not kind:
            self.talk.say("  left as it is: a part is put on the list with its kind")
        elif self.talk.record({"add": "parts", "entry": {"item": item, "kind": kind, "name": kind.capitalize()}}):
            self.change(item)

    def _free_number(self) -> str:
        """The first item number above all that parts have or had."""
        whats = [x.what for x in self.talk.recorder.lines]
        entries = [e for w in whats for e in (w.get("entry", {}), *w.get("start", {}).get("parts", ()))]
        return str(1 + max((int(i) for e in entries if (i := str(e.get("item", ""))).isdecimal()), default=0))

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
        if datum and seen_from:
            entry |= {"index": datum, "seen from": seen_from}
            self._corrected(record, entry, "marked at the bench")
            return
        index = self.talk.ask(f"  counted from which mark [{datum or 'not said'}]: ") or datum
        if plain(index) in (*NONE, *UNKNOWN):
            index = ""
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
                self.talk.record({"add": "parts", "entry": entry, "instead of": record.id, "why": _none_such(item)},
                                 quiet=True)  # fmt: skip


def _none_such(item: str) -> str:
    return f"there is no part {item}"


def described(part: Part) -> str:
    bits = [part.kind, part.position if part.position not in ("seal", "machine") else "", part.group]
    bits.append({"nose": "carries the nose", "wide": "the wide ring"}.get(part.carries, ""))
    bits += [f"tag {part.tag}" if part.tag else "", f"index: {part.index}" if part.index else ""]
    bits += [f"touches {', '.join(part.touches)}" if part.touches else ""]
    return f"part {part.item} {part.name}: {', '.join(b for b in bits if b)}"


def _help(parts: Iterable[Part]) -> dict[str, str]:
    return dict(described(p).split(": ", 1) for p in parts)
