"""Changes to rules that a test should notice: one condition, word or threshold at a time."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from diagnose.authoring.witness import bounds, shifted
from diagnose.knowledge.conditions import EXTENTS, LEAVES, RELATIONS, negate
from diagnose.knowledge.model import Cause, Caution, Condition, Explained, Finding, Knowledge
from diagnose.knowledge.wording import HEADS, phrase
from diagnose.reading.entry import replace
from diagnose.reading.problems import Where
from diagnose.reading.units import amount

SHIFT = 0.05
"""Thresholds are moved by this share of themselves."""
_FLIPPED = {"saw": "absent", "absent": "saw", "found": "found absent", "found absent": "found", "not found": "found",
            "setting": "not setting", "not setting": "setting", "state": "not state", "not state": "state",
            "act": "not act", "not act": "act"}  # fmt: skip
_SWAPPED = {"at": {"inboard": "outboard", "outboard": "inboard", "other": "", "any": ""},
            "group": {"rotating": "stationary", "stationary": "rotating"}, "face": {"nose": "wide", "wide": "nose"},
            "test": {"above": "below", "below": "above", "outside limit": "within limit",
                     "within limit": "outside limit", "is": "is not"}}  # fmt: skip


@dataclass(frozen=True)
class Mutant:
    """One changed card. `part` says what was changed: when, absent when, otherwise, common, leaves, brings about, answers,
    common when or needs; `about` are the findings whose weight changes with it (none: any finding's may)."""

    kind: str
    rule: str
    part: str
    where: Where
    old: str
    new: str
    card: Finding | Explained | Caution
    about: tuple[str, ...] = ()

    def __str__(self) -> str:
        return f"{self.where}: {self.rule}, {self.part}: {self.old} -> {self.new}"


Change = tuple[Where, str, str, Condition]


def mutants(knowledge: Knowledge) -> Iterator[Mutant]:
    """Every mutant of a rule base, in file order of the cards."""
    for finding in knowledge.findings.values():
        yield from of_finding(finding, knowledge)
    below = _below(knowledge)
    for mechanism in knowledge.mechanisms.values():
        for word in beside(mechanism.otherwise, knowledge.words.seen):
            yield Mutant("mechanism", mechanism.name, "otherwise", mechanism.where, mechanism.otherwise, word,
                         replace(mechanism, otherwise=word), below[mechanism.name])  # fmt: skip
        yield from of_explained("mechanism", mechanism, knowledge, below)
    for cause in knowledge.causes.values():
        yield from of_cause(cause, knowledge, below)
    for caution in knowledge.cautions.values():
        for where, old, new, c in changes(caution.when, knowledge):
            yield Mutant("caution", caution.name, "when", where, old, new, replace(caution, when=c))


def of_finding(f: Finding, knowledge: Knowledge) -> Iterator[Mutant]:
    derived = f.when is not None and f.absent_when == negate(f.when)
    for where, old, new, c in changes(f.when, knowledge):
        card = replace(f, when=c, absent_when=negate(c) if derived else f.absent_when)
        yield Mutant("finding", f.name, "when", where, old, new, card)
    if not derived:
        for where, old, new, c in changes(f.absent_when, knowledge):
            yield Mutant("finding", f.name, "absent when", where, old, new, replace(f, absent_when=c))
    for word in beside(f.otherwise, knowledge.words.seen):
        yield Mutant("finding", f.name, "otherwise", f.where, f.otherwise, word, replace(f, otherwise=word), (f.name,))


def _below(knowledge: Knowledge) -> dict[str, tuple[str, ...]]:
    """The findings that each mechanism leaves, itself or through those it brings about."""
    found: dict[str, tuple[str, ...]] = {}

    def visit(name: str) -> tuple[str, ...]:
        if name not in found:
            card = knowledge.mechanisms[name]
            rows = [r.finding for r in card.leaves] + [f for x in card.brings_about for f in visit(x.mechanism)]
            found[name] = tuple(dict.fromkeys(rows))
        return found[name]

    for name in knowledge.mechanisms:
        visit(name)
    return found


def of_explained(
    kind: str, card: Explained, knowledge: Knowledge, below: Mapping[str, tuple[str, ...]]
) -> Iterator[Mutant]:
    """Each row, link and need dropped or changed."""
    seen = knowledge.words.seen
    for part, slot, about in (
        ("leaves", "leaves", lambda row: (row.finding,)),
        ("brings about", "brings_about", lambda x: below[x.mechanism]),
    ):
        rows = getattr(card, slot)
        for i, row in enumerate(rows):
            said = f"{getattr(row, 'finding', '') or row.mechanism} {row.seen}"
            kept: dict[str, Any] = {slot: rows[:i] + rows[i + 1 :]}
            yield Mutant(kind, card.name, part, row.where, said, "dropped", replace(card, **kept), about(row))
            for word in beside(row.seen, seen):
                changed: dict[str, Any] = {slot: (*rows[:i], replace(row, seen=word), *rows[i + 1 :])}
                yield Mutant(kind, card.name, part, row.where, said, word, replace(card, **changed), about(row))
    for i, need in enumerate(card.needs):
        kept_needs = card.needs[:i] + card.needs[i + 1 :]
        yield Mutant(
            kind, card.name, "needs", need.where, phrase(need.condition), "dropped", replace(card, needs=kept_needs)
        )
        for where, old, new, c in changes(need.condition, knowledge):
            changed_needs = (*card.needs[:i], replace(need, condition=c), *card.needs[i + 1 :])
            yield Mutant(kind, card.name, "needs", where, old, new, replace(card, needs=changed_needs))


def of_cause(cause: Cause, knowledge: Knowledge, below: Mapping[str, tuple[str, ...]]) -> Iterator[Mutant]:
    words = knowledge.words
    for word in beside(cause.common, words.common):
        yield Mutant("cause", cause.name, "common", cause.where, cause.common, word, replace(cause, common=word))
    yield from of_explained("cause", cause, knowledge, below)
    for question, row in cause.answers.items():
        for answer, said in row.items():
            for word in beside(said, words.seen):
                answers = {**cause.answers, question: {**row, answer: word}}
                yield Mutant("cause", cause.name, "answers", cause.where, f"{answer} {said}", word,
                             replace(cause, answers=answers), tuple(knowledge.questions[question].answers))  # fmt: skip
    for i, prior in enumerate(cause.common_when):
        said = f"common {prior.common}"
        for word in beside(prior.common, words.common):
            kept = (*cause.common_when[:i], replace(prior, common=word), *cause.common_when[i + 1 :])
            yield Mutant("cause", cause.name, "common when", prior.where, said, word, replace(cause, common_when=kept))
        for where, old, new, c in changes(prior.when, knowledge):
            kept = (*cause.common_when[:i], replace(prior, when=c), *cause.common_when[i + 1 :])
            yield Mutant("cause", cause.name, "common when", where, old, new, replace(cause, common_when=kept))


def beside(word: str, table: Mapping[str, float]) -> list[str]:
    """The words one step more and one step less likely."""
    order = sorted(table, key=lambda w: table[w])
    i = order.index(word)
    return [order[k] for k in (i - 1, i + 1) if 0 <= k < len(order)]


def changes(c: Condition | None, knowledge: Knowledge) -> Iterator[Change]:
    """(where, old, new, whole condition with that one change) for everything that can be changed in a condition."""
    if c is None:
        return
    if c.form in LEAVES:
        for changed in leaf_changes(c, knowledge):
            yield c.where, phrase(c), phrase(changed), changed
        return
    for i, part in enumerate(c.parts):
        if len(c.parts) > max(1, c.count):
            yield part.where, phrase(part), "dropped", replace(c, parts=c.parts[:i] + c.parts[i + 1 :])
        for where, old, new, changed in changes(part, knowledge):
            yield where, old, new, replace(c, parts=(*c.parts[:i], changed, *c.parts[i + 1 :]))
    if len(c.parts) > 1:
        for form, count in {"all": [("any", 0)], "any": [("all", 0)], "none": [],
                            "at least": [("at least", c.count - 1), ("at least", c.count + 1)]}[c.form]:  # fmt: skip
            if form != "at least" or 1 <= count <= len(c.parts):
                yield (
                    c.where,
                    HEADS[c.form].format(c.count),
                    HEADS[form].format(count),
                    replace(c, form=form, count=count),
                )


def leaf_changes(c: Condition, knowledge: Knowledge) -> Iterator[Condition]:
    vocabulary = knowledge.vocabulary
    if c.form in _FLIPPED:
        yield replace(c, form=_FLIPPED[c.form])
    for slot, table in _SWAPPED.items():
        value = getattr(c, slot)
        if value in table:
            changed: dict[str, Any] = {slot: table[value]}
            yield replace(c, **changed)
    if c.form == "marks":
        yield from (replace(c, value=r) for r in RELATIONS if r != c.value)
    if c.extent:
        yield from (replace(c, extent=e) for e in ("", *EXTENTS) if e != c.extent)
    if c.side:
        yield from (replace(c, side=s) for s in ("", *_other_sides(c, knowledge))[:2])
    if c.degree:
        rank = vocabulary.degrees.index(c.degree)
        yield from (
            replace(c, degree=vocabulary.degrees[k]) for k in (rank - 1, rank + 1) if 0 <= k < len(vocabulary.degrees)
        )
    if c.form == "quantity" and c.low is not None and c.test in ("above", "below", "between"):
        yield from _shifted_thresholds(c)
    if c.limit:
        yield from _shifted_limit(c, knowledge)


def _shifted_limit(c: Condition, knowledge: Knowledge) -> Iterator[Condition]:
    """The comparison with a limit as one with a number, the limit moved to either side."""
    low, high = bounds(c, knowledge)
    outside = c.test == "outside limit"
    test = ("above" if outside else "at least") if low else ("below" if outside else "at most")
    for share in (-SHIFT, SHIFT):
        moved = shifted(low or high, share)
        yield replace(c, test=test, limit="", low=amount(moved).value, written=moved)


def _other_sides(c: Condition, knowledge: Knowledge) -> list[str]:
    sides = knowledge.vocabulary.features[c.term].sides or knowledge.vocabulary.sides
    return [s for s in sides if s != c.side]


def _shifted_thresholds(c: Condition) -> Iterator[Condition]:
    ends = c.written.split(" to ")
    for i, end in enumerate(ends):
        for share in (-SHIFT, SHIFT):
            moved = [*ends[:i], shifted(end, share), *ends[i + 1 :]]
            values = [amount(t).value for t in moved]
            if values == sorted(values):
                high = values[1] if c.test == "between" else None
                yield replace(c, low=values[0], high=high, written=" to ".join(moved))
