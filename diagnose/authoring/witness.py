"""Records that make a conjunction of premises hold, and the smallest changes that undo it.

From these the tests of a rule are drafted; a person then gives them better names.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any

from diagnose.inference.rules import Premise
from diagnose.knowledge.conditions import EXTENTS
from diagnose.knowledge.model import Condition, Feature, Knowledge
from diagnose.knowledge.wording import phrase

Record = dict[str, Any]
DUAL = "dual pressurised"
_NUMBER = re.compile(r"^\s*([-+]?[\d.,]+(?:[eE][-+]?\d+)?)\s*(.*)$")
_INDEX = {"stationary": "top dead centre", "rotating": "set screw 1"}
STEP = 0.02
"""Values beside a threshold lie this share of it away."""


class NoWitness(ValueError):
    """No records can make these premises hold."""


@dataclass(frozen=True)
class Fragment:
    """Short records for a test, the position it is about ("" where there is one seal) and what it shows; `edge` where
    a value stands at or beside a threshold."""

    records: tuple[tuple[str, Record], ...] = ()
    at: str = ""
    shows: str = ""
    edge: bool = False

    def plain(self) -> list[Record]:
        return [r for _, r in self.records]


@dataclass
class Witness:
    """Builds records for premises of one rule base."""

    knowledge: Knowledge
    items: dict[str, Record] = field(default_factory=dict)

    def of(self, premises: Sequence[Premise], shows: str = "") -> Fragment:
        """Records under which all positive premises hold. Raises NoWitness."""
        positive = [p for p in premises if not p.negated]
        self.items = {}
        arrangement = next((str(dict(p.equals)["term"]) for p in positive
                            if p.table == "setting" and _says(p, "arrangement", True)), "")  # fmt: skip
        paired = any(p.at for p in positive)
        if paired and not arrangement:
            arrangement = DUAL
        at = "inboard" if paired else ""
        shared = self._shared_item(positive)
        records: list[tuple[str, Record]] = []
        if paired and not any(_says(p, "arrangement", True) for p in positive):
            records.append(("", {"setting": {"arrangement": arrangement}}))
        done: set[tuple[Any, ...]] = set()
        for p in positive:
            if p.table in ("amount", "limit"):
                key = _amount_key(p)
                if key not in done:
                    done.add(key)
                    group = [q for q in positive if q.table in ("amount", "limit") and _amount_key(q) == key]
                    records.append((_label(p), self._placed(self._amount(group), p, at)))
            elif p.table == "marks":
                records += [(_label(p), r) for r in self._marks(p)]
            else:
                records.append((_label(p), self._placed(self._single(p, shared), p, at)))
        parts = [("", item) for item in self.items.values()]
        return Fragment((*parts, *records), at, shows)

    # ---- one premise --------------------------------------------------------------------------------------

    def _single(self, p: Premise, shared: str) -> Record:
        slots = dict(p.equals)
        if p.table == "setting":
            return {"setting" if slots["holds"] else "not setting": {str(slots["setting"]): str(slots["term"])}}
        if p.table in ("state", "act"):
            return self._said(p, slots)
        if p.table == "found":
            return {"found" if slots["state"] == "present" else "found absent": str(slots["finding"])}
        return self._seen(p, slots, shared if p.same_part else "")

    def _said(self, p: Premise, slots: dict[str, Any]) -> Record:
        """A state or an act as asked for; a number a tenth beyond the one it is compared with."""
        denied = "" if slots["holds"] else "not "
        said = {k: v for k, v in slots.items() if k not in ("holds", "variable", "value")}
        if p.table == "state":
            value = slots.get("value", "")
            if p.compare:
                number, unit = split(p.condition.written)
                value = f"{number + (1 if p.compare[1] == '>' else -1) * (abs(number) / 10 or 1):g} {unit}"
            said = {"at": said.pop("at"), str(slots["variable"]): value, **said}
        return {f"{denied}{p.table}": said}

    def _seen(self, p: Premise, slots: dict[str, Any], item: str) -> Record:
        feature = self.knowledge.vocabulary.features[p.condition.term]
        record: Record = {"saw" if slots["state"] == "present" else "absent": feature.name, **dict(p.condition.such)}
        if item:
            record["part"] = int(item)
        else:
            kind = str(slots.get("on", "")) or (feature.on or ("metal part",))[0]
            if len(feature.on) != 1 or kind != feature.on[0]:
                record["on"] = self._recordable(kind, feature)
        for key in ("group", "face"):
            if slots.get(key) and not item:
                record[key] = slots[key]
        rank = slots.get("rank", 0) or (p.compare[2] if p.compare else 0)
        if rank:
            record["degree"] = self.knowledge.vocabulary.degrees[int(rank) - 1]
        for key in ("extent", "side"):
            if slots.get(key):
                record[key] = slots[key]
        return record

    def _recordable(self, kind: str, feature: Feature) -> str:
        """The kind itself, or the first kind below it that the feature is recorded on."""
        if self.knowledge.vocabulary.fits(kind, feature.on):
            return kind
        raise NoWitness(f"{feature.name} is not recorded on {kind}")

    def _amount(self, premises: list[Premise]) -> Record:
        """One stated quantity that satisfies every comparison on it."""
        slots = dict(premises[0].equals)
        c = premises[0].condition
        record: Record = {"quantity": str(slots["quantity"])}
        record |= self._value([p.condition for p in premises])
        if slots.get("on"):
            record["on"] = slots["on"]
        for key in ("group", "face"):
            if slots.get(key):
                record[key] = slots[key]
        if c.same_part and self.items:
            record["part"] = next(iter(self.items))
        return record

    def _value(self, conditions: list[Condition]) -> Record:
        lows: list[str] = []
        highs: list[str] = []
        for c in conditions:
            if c.test == "is":
                return {"word": c.value}
            if c.test == "is not":
                return {"word": f"not {c.value}"}
            low, high = bounds(c, self.knowledge)
            lows += [low] if low else []
            highs += [high] if high else []
        if lows and highs:
            (least, name), (most, _) = max(map(split, lows)), min(map(split, highs))
            if least >= most:
                raise NoWitness("no value satisfies every comparison")
            return {"value": written((least + most) / 2, name)}
        if lows:
            return {"value": shifted(max(lows, key=lambda t: split(t)[0]), +10 * STEP)}
        return {"value": shifted(min(highs, key=lambda t: split(t)[0]), -10 * STEP)}

    def _marks(self, p: Premise) -> list[Record]:
        vocabulary = self.knowledge.vocabulary
        first, second = p.condition.parts
        kinds = [c.on or vocabulary.features[c.term].on[0] for c in (first, second)]
        fixed = [c.group or vocabulary.kinds[k].group for c, k in zip((first, second), kinds, strict=True)]
        group = next((g for g in fixed if g), "stationary")
        if any(g and g != group for g in fixed):
            raise NoWitness("a rotating and a stationary clock cannot be compared")
        places = {"same place": ("at 3", "at 3"), "opposite": ("at 3", "at 9"), "apart": ("at 3", "at 6")}[
            p.condition.value
        ]
        result = []
        for c, kind, place in zip((first, second), kinds, places, strict=True):
            item = str(len(self.items) + 1)
            self.items[item] = {"item": int(item), "kind": kind, "group": group, "index": _INDEX[group],
                                "seen from": "driver end"}  # fmt: skip
            result.append({"part": int(item), "saw": c.term, "extent": place})
        return result

    # ---- where it lies ------------------------------------------------------------------------------------

    def _placed(self, record: Record, p: Premise, at: str) -> Record:
        if not at or not {"saw", "absent", "quantity", "found", "found absent"} & set(record) or "part" in record:
            return record
        if p.table == "found":
            other = {"inboard": "outboard", "outboard": "inboard"}[at]
            return record | {"position": {"": at, "any": at, "other": other}.get(p.at, p.at)}
        kind = str(dict(p.equals).get("on", ""))
        if not kind:
            named = self.knowledge.vocabulary
            owner = named.features.get(str(record.get("saw") or record.get("absent") or ""))
            kind = str(record.get("on") or next(iter(owner.on if owner else ()), ""))
        if kind and self.knowledge.vocabulary.kinds[kind].place == "machine":
            return record
        other = {"inboard": "outboard", "outboard": "inboard"}[at]
        return record | {"position": {"": at, "any": at, "other": other}.get(p.at, p.at)}

    def _shared_item(self, premises: list[Premise]) -> str:
        """The part that all premises tied together speak of, as item 1."""
        tied = [dict(p.equals) for p in premises if p.same_part and p.table == "seen"]
        if not tied:
            return ""
        vocabulary = self.knowledge.vocabulary
        wanted = {str(s["on"]) for s in tied if s.get("on")}
        allowed = [vocabulary.features[str(s["feature"])].on for s in tied]
        fitting = [
            k for k, line in vocabulary.lineage.items()
            if wanted <= set(line) and all(not on or set(on) & set(line) for on in allowed)
        ]  # fmt: skip
        if not fitting:
            raise NoWitness("no kind of part carries all of these")
        kind = min(fitting, key=lambda k: (len(vocabulary.lineage[k]), k))
        item: Record = {"item": 1, "kind": kind}
        for key, name in (("group", "group"), ("face", "carries")):
            value = next((s[key] for s in tied if s.get(key)), "")
            if value:
                item[name] = value
        self.items["1"] = item
        return "1"

    # ---- the smallest changes -----------------------------------------------------------------------------

    def undone(self, premises: Sequence[Premise]) -> Iterable[Fragment]:
        """The fragment changed in one place at a time so that this conjunction no longer holds, weakest first."""
        whole = self.of(premises)
        for p in premises:
            if p.negated:
                yield from self._with(premises, p)
                continue
            label = _label(p)
            if p.table in ("amount", "limit"):
                yield from self._beside(whole, label, p)
                continue
            mine = [r for name, r in whole.records if name == label]
            for said, changed in self._changes(p, mine):
                kept = [(name, r) for name, r in whole.records if name != label]
                records = (*kept, *((label, r) for r in changed))
                yield Fragment(records, whole.at, said)

    def _with(self, premises: Sequence[Premise], denied: Premise) -> Iterable[Fragment]:
        """The fragment with a premise that must not hold made to hold too."""
        from diagnose.reading.entry import replace

        if any(p.table == denied.table and not p.negated and _clash(p, denied) for p in premises):
            return
        told = replace(denied, negated=False)
        positive = [p for p in premises if not p.negated]
        try:
            yield Fragment(*_bits(self.of([*positive, told])), shows=f"with {phrase(denied.condition)} as well")
        except NoWitness:
            return

    def _changes(self, p: Premise, mine: list[Record]) -> Iterable[tuple[str, list[Record]]]:
        if p.table == "setting":
            slots = dict(p.equals)
            term = {str(slots["setting"]): str(slots["term"])}
            said = f"{slots['setting']} {'not ' if slots['holds'] else ''}{slots['term']}"
            yield f"with {said}", [{"not setting" if slots["holds"] else "setting": term}]
        elif p.table in ("state", "act"):
            ((key, said),) = self._said(p, dict(p.equals)).items()
            turned = key.removeprefix("not ") if key.startswith("not ") else f"not {key}"
            yield f"with {phrase(p.condition)} turned round", [{turned: said}]
        elif p.table == "found":
            slots = dict(p.equals)
            present = slots["state"] == "present"
            said = f"{slots['finding']} {'found absent' if present else 'found'}"
            place = {k: v for k, v in mine[0].items() if k == "position"}
            yield f"with {said}", [{"found absent" if present else "found": str(slots["finding"])} | place]
            if place:
                other = "outboard" if place["position"] == "inboard" else "inboard"
                yield f"with {slots['finding']} on the {other} seal only", [mine[0] | {"position": other}]
        elif p.table == "marks":
            other = "at 6" if p.condition.value != "apart" else "at 3"
            yield f"with the two marks {'apart' if other == 'at 6' else 'at the same place'}", [
                mine[0], mine[1] | {"extent": other}]  # fmt: skip
        else:
            yield from self._other_marks(p, mine[0])
        yield f"with nothing said of {_about(p)}", []

    def _other_marks(self, p: Premise, record: Record) -> Iterable[tuple[str, list[Record]]]:
        vocabulary = self.knowledge.vocabulary
        state = "saw" if "saw" in record else "absent"
        feature = str(record[state])
        bare = {k: v for k, v in record.items() if k not in ("degree", "extent", "side")}
        if state == "absent":
            yield f"with {feature} seen", [{"saw": feature} | {k: v for k, v in record.items() if k != "absent"}]
            return
        if record.get("degree"):
            rank = vocabulary.degrees.index(record["degree"])
            if rank:
                lower = vocabulary.degrees[rank - 1]
                yield f"with {feature} only {lower}", [record | {"degree": lower}]
        if record.get("extent"):
            other = next(e for e in reversed(EXTENTS) if e != record["extent"])
            yield f"with {feature} in {other}" if other != "all round" else f"with {feature} all round", [
                record | {"extent": other}]  # fmt: skip
        if record.get("side"):
            sides = vocabulary.features[feature].sides or vocabulary.sides
            other = next((s for s in sides if s != record["side"]), "")
            if other:
                yield f"with {feature} at the {other}", [record | {"side": other}]
        if record.get("group"):
            other = "stationary" if record["group"] == "rotating" else "rotating"
            yield f"with {feature} on the {other} part", [record | {"group": other}]
        if record.get("face"):
            other = "wide" if record["face"] == "nose" else "nose"
            yield f"with {feature} on the {'wider ring' if other == 'wide' else 'ring that carries the nose'}", [
                record | {"face": other}]  # fmt: skip
        sibling = self._sibling(dict(p.equals).get("on"), feature) if "part" not in record else ""
        if sibling:
            yield f"with {feature} on {sibling} only", [record | {"on": sibling}]
        if record.get("position"):
            other = "outboard" if record["position"] == "inboard" else "inboard"
            yield f"with {feature} on the {other} seal only", [record | {"position": other}]
        yield f"with {feature} looked for and not there", [
            {"absent": feature} | {k: v for k, v in bare.items() if k != "saw"}]  # fmt: skip

    def _sibling(self, on: Any, feature: str) -> str:
        """A kind the feature is recorded on that is neither the rule's kind nor related to it."""
        vocabulary = self.knowledge.vocabulary
        if not on:
            return ""
        allowed = vocabulary.features[feature].on
        for kind in vocabulary.kinds:
            line = vocabulary.lineage[kind]
            fits = any(a in line for a in allowed)
            same_place = vocabulary.kinds[kind].place == vocabulary.kinds[on].place
            if fits and same_place and on not in line and kind not in vocabulary.lineage[on]:
                return kind
        return ""

    def _beside(self, whole: Fragment, label: str, p: Premise) -> Iterable[Fragment]:
        """The stated value moved to each threshold and a step to either side of it."""
        mine = next(r for name, r in whole.records if name == label)
        changes: list[tuple[str, Record | None, bool]] = []
        c = p.condition
        if "word" in mine:
            known = c.test == "is not"
            word = c.value if known else "another"
            changes.append(
                (f"with {c.term} {c.value}" if known else f"with another {c.term}", mine | {"word": word}, False)
            )
        else:
            for edge in edges(c, self.knowledge):
                step = STEP if split(edge)[0] >= 0 else -STEP
                name = f"{c.limit} limit of {edge}" if c.limit else f"threshold of {edge}"
                changes += [
                    (f"at the {name} itself", mine | {"value": edge}, True),
                    (f"just below the {name}", mine | {"value": shifted(edge, -step)}, True),
                    (f"just above the {name}", mine | {"value": shifted(edge, step)}, True),
                    (f"where the uncertainty spans the {name}", mine | {"value": spanning(edge)}, False),
                ]
        changes.append((f"with {c.term} not worked out", None, False))
        for said, record, edge_ in changes:
            records = tuple((n, record if n == label else r) for n, r in whole.records if n != label or record)
            yield Fragment(records, whole.at, said, edge_)  # type: ignore[arg-type]


def _bits(fragment: Fragment) -> tuple[Any, str]:
    return fragment.records, fragment.at


def _clash(p: Premise, denied: Premise) -> bool:
    """Whether making the denied premise hold would only restate another premise of the rule."""
    return p.equals == denied.equals and p.compare == denied.compare and p.at == denied.at


def _says(p: Premise, setting: str, holds: bool) -> bool:
    slots = dict(p.equals)
    return p.table == "setting" and slots["setting"] == setting and slots["holds"] == holds


def _amount_key(p: Premise) -> tuple[Any, ...]:
    slots = dict(p.equals)
    return slots["quantity"], slots.get("on"), slots.get("group"), slots.get("face"), p.at


def _label(p: Premise) -> str:
    if p.table in ("amount", "limit"):
        return f"amount {_amount_key(p)}"
    return f"{p.table} {p.equals} {p.at}"


def _about(p: Premise) -> str:
    c = p.condition
    if p.table == "marks":
        return "where the marks lie"
    if p.table == "setting":
        return f"{c.term} ({c.value})"
    on = f" on {c.on}" if c.on else ""
    return c.term + on


# ---- numbers as written -----------------------------------------------------------------------------------


def split(text: str) -> tuple[float, str]:
    """(number, unit) of a value as written."""
    found = _NUMBER.match(text)
    assert found, text
    return float(found.group(1).replace(",", ".")), found.group(2)


def written(number: float, name: str) -> str:
    return f"{number:.6g} {name}".strip()


def shifted(text: str, share: float) -> str:
    """The value moved by a share of itself; a value of nought by that share of one."""
    number, name = split(text)
    return written(number + (abs(number) or 1.0) * share, name)


def spanning(text: str) -> str:
    number, name = split(text)
    return f"{number:.6g} ± {(abs(number) or 1.0) * STEP:.6g} {name}".strip()


def bounds(c: Condition, knowledge: Knowledge) -> tuple[str, str]:
    """(lowest, highest) value that satisfies a comparison, as written; "" where there is no such bound."""
    if c.test in ("outside limit", "within limit"):
        limit = knowledge.limits[c.limit]
        values = sorted(limit.values, key=lambda v: v.value)
        outside = c.test == "outside limit"
        if limit.sense == "at most":
            return (values[-1].written, "") if outside else ("", values[0].written)
        return ("", values[0].written) if outside else (values[-1].written, "")
    ends = c.written.split(" to ")
    return {
        "above": (ends[0], ""), "at least": (ends[0], ""), "below": ("", ends[0]), "at most": ("", ends[0]),
        "between": (ends[0], ends[-1]), "not between": (ends[-1], ""),
    }[c.test]  # fmt: skip


def edges(c: Condition, knowledge: Knowledge) -> list[str]:
    """Every threshold of a comparison, as written."""
    if c.limit:
        return list(dict.fromkeys(v.written for v in knowledge.limits[c.limit].values))
    return list(dict.fromkeys(c.written.split(" to ")))
