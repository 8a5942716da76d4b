"""Rules held against each other: conditions that can never hold, rules that say the same, rules that contradict.

Each rule is a list of conjunctions of premises (inference.rules). One premise implies another where every fact that
satisfies the first satisfies the second; from this follow what can never hold, what is shadowed and what clashes.
Numbers of different quantities are not held against each other.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from diagnose.authoring.checks.base import background, chance
from diagnose.authoring.matching import Matcher
from diagnose.inference.rules import Premise
from diagnose.knowledge.conditions import negate, walk
from diagnose.knowledge.model import Condition, Explained, Finding, Knowledge
from diagnose.knowledge.wording import phrase
from diagnose.reading.entry import replace
from diagnose.reading.problems import Problem, Where

CODES = {
    "never-holds": "A condition contradicts itself, so that no record could satisfy it.",
    "says-both": "A finding would be absent wherever it is present.",
    "shadowed": "Another alternative of the same condition holds whenever this one does.",
    "against-need": "A row or prior speaks of something that cannot be where the card can.",
    "equal-rules": "Two findings hold on exactly the same records.",
    "words-contradict": "A row's word is the lowest or highest there is and yet moves belief the other way, a finding is always "
    "there, or one that implies another is said to be seen more often than that.",
}
Conjunction = tuple[Premise, ...]


def check(knowledge: Knowledge) -> list[Problem]:
    return sorted(set(_Logic(knowledge).problems()))


class _Logic:
    def __init__(self, knowledge: Knowledge):
        self.knowledge, self.lineage = knowledge, knowledge.vocabulary.lineage
        self.cards: tuple[Explained, ...] = (*knowledge.causes.values(), *knowledge.mechanisms.values())
        self.matcher = Matcher(knowledge)
        self.asked: dict[int, frozenset[object]] = {}
        self.present = {f.name: self.expanded(f.when) for f in knowledge.findings.values()}
        self.absent = {f.name: self.expanded(f.absent_when) for f in knowledge.findings.values()}

    def expanded(self, c: Condition | None) -> list[Conjunction]:
        return self.matcher.expanded(c) if c is not None else []

    def problems(self) -> Iterator[Problem]:
        for f in self.knowledge.findings.values():
            yield from self.possible(f.when)
            if f.absent_when != (negate(f.when) if f.when else None):
                yield from self.possible(f.absent_when)
            yield from self.says_both(f)
            yield from self.shadowed_alternatives(f)
        for card in self.cards:
            for whole in [n.condition for n in card.needs] + [p.when for p in getattr(card, "common_when", ())]:
                yield from self.possible(whole)
            yield from self.against_needs(card)
        for caution in self.knowledge.cautions.values():
            yield from self.possible(caution.when)
        yield from self.pairs()

    # ---- what can never hold ------------------------------------------------------------------------------

    def possible(self, c: Condition | None) -> Iterator[Problem]:
        """Alternatives of a condition that no record could satisfy."""
        for premises in self.expanded(c):
            why = self.clash(premises)
            if why:
                where = premises[0].condition.where if len(premises) == 1 else _where(c, premises)
                yield Problem(where, "never-holds", f"this can never hold: {why}", "mend or take out one of the two")

    def clash(self, premises: Sequence[Premise]) -> str:
        """Why a conjunction can never hold; empty where it can."""
        for i, p in enumerate(premises):
            if not p.negated:
                why = self._alone(p)
                if why:
                    return why
            for q in premises[i + 1 :]:
                if self._exclude(p, q) or self._exclude(q, p):
                    return f"{_said(p)}, and {_said(q)}"
        return ""

    def _alone(self, p: Premise) -> str:
        """A premise that no record could satisfy: the other seal of a part of the machine, a turning fixed part."""
        slots = dict(p.equals)
        kinds = self.knowledge.vocabulary.kinds
        kind = kinds.get(str(slots.get("on", "")))
        if kind is None:
            return ""
        if p.at and kind.place == "machine":
            return f"{kind.name!r} belongs to the machine, not to one of a pair of seals"
        fixed = next((kinds[k].group for k in self.lineage[kind.name] if kinds[k].group), "")
        if slots.get("group") and fixed and fixed != slots["group"]:
            return f"{kind.name!r} is {fixed}, never {slots['group']}"
        return ""

    def _exclude(self, p: Premise, q: Premise) -> bool:
        if p.negated:
            return False
        if q.negated:
            return self.implies(p, replace(q, negated=False)) and not q.same_part
        if p.table != q.table or p.at != q.at or p.key != q.key:
            return False
        a, b = dict(p.equals), dict(q.equals)
        if p.table == "setting":
            if self.knowledge.vocabulary.settings[str(a["setting"])].single and a["holds"] and b["holds"]:
                return bool(a["term"] != b["term"])
            return bool(a["term"] == b["term"] and a["holds"] != b["holds"])
        if p.table == "found":
            return bool(a["state"] != b["state"])
        if p.table in ("state", "act"):
            return {**a, "holds": ""} == {**b, "holds": ""} and a["holds"] != b["holds"]
        return p.table == "amount" and self._empty(p, q)

    def _empty(self, p: Premise, q: Premise) -> bool:
        """Two comparisons of one number that leave no number; of numbers on parts only where the part is shared."""
        of_part = bool(self.knowledge.vocabulary.quantities[str(dict(p.equals)["quantity"])].on)
        if p.equals != q.equals or (of_part and not (p.same_part and q.same_part)) or not (p.compare and q.compare):
            return False
        (_, sign, low), (_, other, high) = p.compare, q.compare
        if sign == other == "==":
            return low != high
        if sign[0] == ">" and other[0] == "<" and isinstance(low, float) and isinstance(high, float):
            return low > high or (low == high and "=" not in sign + other)
        return False

    # ---- one premise and another --------------------------------------------------------------------------

    def implies(self, p: Premise, q: Premise) -> bool:
        """Whether every fact that satisfies `p` satisfies `q`; of two denials, whether p's leaves q's no room."""
        if p.negated != q.negated:
            return False
        if p.negated:
            p, q = q, p
        if p.table != q.table or q.at not in (p.at, "any"):
            return False
        if q.same_part and not p.same_part:
            return False
        a, b = dict(p.equals), dict(q.equals)
        if p.table in ("state", "act") and not a["holds"] and not b["holds"]:
            a, b = b, a  # what was not done at all was not done in any special way; the other way round nothing follows
        for slot, value in b.items():
            if slot == "own":
                continue
            if slot == "on":
                if not all(str(value) in self.lineage[k] for k in self._kinds(a)):
                    return False
            elif a.get(slot) != value:
                return False
        return q.compare is None or (p.compare is not None and _tighter(p.compare, q.compare))

    def _kinds(self, slots: dict[str, Any]) -> tuple[str, ...]:
        """The kinds a premise may be about: the one it names, else those its feature or quantity is recorded on."""
        if slots.get("on"):
            return (str(slots["on"]),)
        v = self.knowledge.vocabulary
        term = v.features.get(str(slots.get("feature")).partition(", ")[0]) or v.quantities.get(
            str(slots.get("quantity"))
        )
        return (term.on if term else ()) or tuple(v.kinds)

    def follows(self, a: Conjunction, b: Conjunction) -> bool:
        """Whether conjunction `b` holds whenever `a` does."""
        return self._asked(b) <= self._asked(a) and all(any(self.implies(p, q) for p in a) for q in b)

    def _asked(self, a: Conjunction) -> frozenset[object]:
        """The terms that a conjunction asks for; kept by identity, since conjunctions are made once."""
        known = self.asked.get(id(a))
        if known is None:
            known = self.asked[id(a)] = frozenset(p.key for p in a if not p.negated)
        return known

    def covers(self, some: list[Conjunction], others: list[Conjunction]) -> bool:
        """Whether each of `some` is followed by one of `others`."""
        return bool(some) and all(any(self.follows(a, b) for b in others) for a in some)

    # ---- one rule and another -----------------------------------------------------------------------------

    def says_both(self, f: Finding) -> Iterator[Problem]:
        for a in self.present[f.name]:
            for b in self.absent[f.name]:
                if self.follows(a, b):
                    yield Problem(_where(f.absent_when, b), "says-both", f"{f.name!r} would be absent wherever it is present: "
                                  f"{', '.join(map(_said, b))}", "a condition under 'absent when' that the other excludes")  # fmt: skip

    def shadowed_alternatives(self, f: Finding) -> Iterator[Problem]:
        for c, alternatives in ((f.when, self.present[f.name]), (f.absent_when, self.absent[f.name])):
            if c is None or c.form != "any":
                continue
            for part in c.parts:
                rest = [x for other in c.parts if other is not part for x in self.expanded(other)]
                if self.covers(self.expanded(part), rest) and len(alternatives) > 1:
                    yield Problem(part.where, "shadowed", f"another alternative holds whenever this does: {phrase(part)}",
                                  "take it out, or make the other one narrower", "advice")  # fmt: skip

    def against_needs(self, card: Explained) -> Iterator[Problem]:
        needs = [self.expanded(n.condition) for n in card.needs]
        rows = [(self.present[r.finding], r.where, f"{r.finding!r}") for r in card.leaves]
        rows += [(self.expanded(p.when), p.where, phrase(p.when)) for p in getattr(card, "common_when", ())]
        for alternatives, where, said in rows:
            for need, wanted in zip(card.needs, needs, strict=True):
                both = [(*a, *b) for a in alternatives for b in wanted]
                if both and all(self.clash(x) for x in both):
                    yield Problem(where, "against-need", f"{said} cannot be where {card.name!r} can: it needs {phrase(need.condition)}",
                                  "take out the row, or mend the need")  # fmt: skip

    def pairs(self) -> Iterator[Problem]:
        """Findings of which one holds whenever the other does."""
        by_key: dict[object, list[str]] = {}
        for name, alternatives in self.present.items():
            for key in {p.key for a in alternatives for p in a}:
                by_key.setdefault(key, []).append(name)
        told: set[tuple[str, str]] = set()
        for names in by_key.values():
            for a in names:
                for b in names:
                    if a != b and (a, b) not in told and self.covers(self.present[a], self.present[b]):
                        told.add((a, b))
        for name, f in self.knowledge.findings.items():
            told |= {(name, other) for other in _always_found(f) if other in self.present}
        for a, b in sorted(told):
            yield from self._pair(self.knowledge.findings[a], self.knowledge.findings[b], (b, a) in told)

    def _pair(self, a: Finding, b: Finding, both: bool) -> Iterator[Problem]:
        """A draft may still say what another finding says."""
        if both:
            if a.name < b.name and "draft" not in (a.status, b.status):
                yield Problem(
                    b.where, "equal-rules", f"{b.name!r} holds exactly when {a.name!r} does", "keep one of the two"
                )
            return
        yield from self._more_often(a, b)

    def _more_often(self, a: Finding, b: Finding) -> Iterator[Problem]:
        """`a` implies `b`, so it cannot be seen more often than `b`, whatever happened and for each cause and mechanism."""
        if background(self.knowledge, a.name) > background(self.knowledge, b.name):
            yield Problem(a.where, "words-contradict", f"{a.name!r} is seen {a.otherwise!r} and {b.name!r}, which holds whenever "
                          f"it does, only {b.otherwise!r}", "a lower word here or a higher one there")  # fmt: skip
        for card in self.cards:
            chances = chance(self.knowledge, card)
            row = next((r for r in card.leaves if r.finding == a.name), None)
            other = chances.get(b.name, background(self.knowledge, b.name))
            if row and chances[a.name] > other:
                yield Problem(row.where, "words-contradict", f"{card.name!r} leaves {a.name!r} {row.seen!r}, more often than {b.name!r}, "
                              "which holds whenever it does", f"a row for {b.name!r} with the same word or a higher one", "advice")  # fmt: skip


def _always_found(f: Finding) -> set[str]:
    """Findings that must be present for `f`: named outright, not among alternatives."""
    todo, found = [f.when] if f.when else [], set()
    while todo:
        c = todo.pop()
        if c.form == "found" and not c.at:
            found.add(c.term)
        elif c.form == "all" or (c.form == "any" and len(c.parts) == 1):
            todo += c.parts
    return found


def _tighter(p: tuple[str, str, object], q: tuple[str, str, object]) -> bool:
    (slot, sign, a), (other, wanted, b) = p, q
    if isinstance(a, str) or isinstance(b, str) or slot not in (other, {"low": "high", "high": "low"}.get(other, "")):
        return p == q
    if sign[0] != wanted[0]:
        return False
    assert isinstance(a, int | float) and isinstance(b, int | float)
    if a == b:
        return sign == wanted or "=" in wanted
    return a > b if sign[0] == ">" else a < b


def _said(p: Premise) -> str:
    return ("no " if p.negated and p.condition.form != "not found" else "") + phrase(p.condition)


def _where(c: Condition | None, premises: Sequence[Premise]) -> Where:
    """The innermost condition that holds all the premises' conditions, as the place to look at."""
    assert c is not None
    wanted = {id(p.condition) for p in premises}
    best = c
    for inner in walk(c):
        if wanted <= {id(x) for x in walk(inner)}:
            best = inner
    return best.where
