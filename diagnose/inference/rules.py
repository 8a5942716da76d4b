"""From conditions to branches: every rule becomes a few plain conjunctions of premises.

A premise is one pattern on one table of facts. A branch is a list of premises with one conclusion. Branches are what
experta runs, and what explanations, coverage and the checks of the workshop read.
"""

from __future__ import annotations

import itertools
import math
import operator
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from msgspec import Struct

from diagnose.knowledge.conditions import EXTENTS, LEAVES, negate, walk
from diagnose.knowledge.grammar import Slots
from diagnose.knowledge.model import Condition, Knowledge
from diagnose.reading.entry import replace
from diagnose.reading.problems import BadInput, Problem, Where

MOST_BRANCHES = 200
Scalar = str | float | int | bool


class Premise(Struct, frozen=True):
    """`key`: the table, and the term that a fact must share with the premise to matter to it at all; `equals`: slot values that must match; `compare`: (slot, operator, value) or none;
    `at`: "" for the rule's own position, other, inboard, outboard or any; `negated`: no such fact."""

    table: str
    key: tuple[str, Scalar]
    equals: tuple[tuple[str, Scalar], ...]
    compare: tuple[str, str, Scalar] | None = None
    negated: bool = False
    at: str = ""
    same_part: bool = False
    condition: Condition = Condition("all")

    def __eq__(self, other: object) -> bool:
        return type(other) is Premise and self._asked() == other._asked()

    def __hash__(self) -> int:
        return hash((self.equals, self.compare, self.negated))

    def _asked(self) -> tuple[Any, ...]:
        return self.table, self.equals, self.compare, self.negated, self.at, self.same_part

    def passes(self, value: Any) -> bool:
        """Whether the compared slot's value satisfies the comparison; a value of another type or none does not."""
        assert self.compare
        _, sign, wanted = self.compare
        if value is None or value == "" or isinstance(value, str) != isinstance(wanted, str):
            return False
        return bool(_OPERATORS[sign](value, wanted))

    def allows(self, row: Mapping[str, Any]) -> bool:
        """Whether a fact of the premise's table satisfies it, its position aside."""
        if any(row.get(slot) != value for slot, value in self.equals):
            return False
        return self.compare is None or self.passes(row.get(self.compare[0]))


_OPERATORS = {
    "<": operator.lt,
    "<=": operator.le,
    ">": operator.gt,
    ">=": operator.ge,
    "==": operator.eq,
    "!=": operator.ne,
}
KEY_SLOT = {"seen": "feature", "setting": "setting", "state": "variable", "act": "did", "amount": "quantity", "limit": "quantity", "found": "finding",
             "marks": "pair"}  # fmt: skip


class Conclusion(Struct, frozen=True):
    """kind: found (state present or absent), ruled out, common (`state` is the word) or caution."""

    kind: str
    name: str
    state: str = ""


class Branch(Struct, frozen=True):
    """One conjunction of one rule. `rule` is the item's name; `number` tells its branches apart."""

    rule: str
    id: str
    number: int
    premises: tuple[Premise, ...]
    conclusion: Conclusion
    where: Where
    because: str = ""

    @property
    def name(self) -> str:
        return f"{self.conclusion.kind} {self.conclusion.state} {self.rule} {self.number}"


@dataclass(frozen=True)
class RuleSet:
    """Every branch of a rule base in the one order in which they may fire."""

    branches: tuple[Branch, ...]

    @cached_property
    def premises(self) -> tuple[Premise, ...]:
        """Every premise once, in the order of the branches."""
        return tuple({id(p): p for b in self.branches for p in b.premises}.values())

    @cached_property
    def asked(self) -> dict[tuple[str, Scalar], frozenset[str]]:
        """For each mark and quantity, the kinds of part that premises on it name; "" where one takes the kind as recorded."""
        result: dict[tuple[str, Scalar], set[str]] = {}
        for premise in self.premises:
            if premise.table in ("seen", "amount", "limit"):
                result.setdefault(premise.key, set()).add(str(dict(premise.equals).get("on", "")))
        return {key: frozenset(kinds) for key, kinds in result.items()}

    @cached_property
    def asked_marks(self) -> dict[str, dict[str, Slots]]:
        """For each feature that premises ask for: the names under which they do, with the qualifiers each stands for."""
        result: dict[str, dict[str, Slots]] = {}
        for c in walked(self.premises):
            result.setdefault(c.term, {})[mark_name(c)] = dict(c.such)
        return result

    @cached_property
    def asked_statements(self) -> dict[tuple[str, str], tuple[Slots, ...]]:
        """The states and acts that premises ask for, by table and variable (acts have none: ""), each once."""
        result: dict[tuple[str, str], dict[tuple[Any, ...], Slots]] = {}
        for premise in self.premises:
            if premise.table in ("state", "act"):
                slots = {k: str(v) for k, v in premise.equals if k != "holds"}
                result.setdefault((premise.table, slots.get("variable", "")), {})[tuple(slots.items())] = slots
        return {about: tuple(found.values()) for about, found in result.items()}

    @cached_property
    def compared(self) -> tuple[tuple[str, tuple[str, str], tuple[str, str]], ...]:
        """The pairs of marks that premises compare: the name of the pair, and of each mark its name and the kind of part."""
        return tuple((name, (mark_name(first), first.on), (mark_name(second), second.on))
                     for name, (first, second) in self.marks.items())  # fmt: skip

    @cached_property
    def marks(self) -> dict[str, tuple[Condition, Condition]]:
        """The pairs of marks that premises compare, by name."""
        pairs = {str(p.key[1]): p.condition.parts for p in self.premises if p.table == "marks"}
        return {name: (first, second) for name, (first, second) in sorted(pairs.items())}


def compile_rules(knowledge: Knowledge) -> RuleSet:
    """All branches, stratum by stratum. Raises BadInput where a condition cannot be compiled."""
    problems: list[Problem] = []
    branches: list[Branch] = []

    def add(card: Any, condition: Condition | None, conclusion: Conclusion, where: Where, because: str = "") -> None:
        if condition is None:
            return
        try:
            alternatives = expand(condition, knowledge)
        except TooWide as error:
            problems.append(Problem(condition.where, "too-wide", str(error), "split it into findings of its own"))
            return
        for number, premises in enumerate(alternatives, 1):
            branches.append(Branch(card.name, card.id, number, premises, conclusion, where, because))

    for finding in findings_in_order(knowledge):
        add(finding, finding.when, Conclusion("found", finding.name, "present"), finding.where)
        add(finding, finding.absent_when, Conclusion("found", finding.name, "absent"), finding.where)
    for card in sorted((*knowledge.causes.values(), *knowledge.mechanisms.values()), key=lambda c: c.name):
        for need in card.needs:
            add(card, negate(need.condition), Conclusion("ruled out", card.name), need.where, need.because)
        for number, action in enumerate(card.then):
            add(card, action.unless, Conclusion("contradicted", card.name, str(number)), action.where, action.do)
    for cause in sorted(knowledge.causes.values(), key=lambda c: c.name):
        for prior in cause.common_when:
            add(cause, prior.when, Conclusion("common", cause.name, prior.common), prior.where)
    for caution in sorted(knowledge.cautions.values(), key=lambda c: c.name):
        add(caution, caution.when, Conclusion("caution", caution.name), caution.where, caution.says)
    if problems:
        raise BadInput(problems)
    return RuleSet(tuple(branches))


def findings_in_order(knowledge: Knowledge) -> list[Any]:
    """Findings so that each comes after those it rests on; by name where that leaves a choice."""
    rank: dict[str, int] = {}

    def depth(name: str) -> int:
        if name not in rank:
            finding = knowledge.findings[name]
            needs = {c.term for c in [*walk(finding.when), *walk(finding.absent_when)] if "found" in c.form}
            rank[name] = 1 + max((depth(n) for n in needs if n in knowledge.findings), default=0)
        return rank[name]

    return [knowledge.findings[n] for n in sorted(knowledge.findings, key=lambda n: (depth(n), n))]


class TooWide(ValueError):
    """A condition has more branches than a reader could follow, or a form inside `none` that cannot be denied."""


Alternatives = list[tuple[Premise, ...]]


def expand(c: Condition, knowledge: Knowledge) -> Alternatives:
    """The condition as alternatives, each a tuple of premises, positive ones first. Raises TooWide."""
    result = [
        a if len(a) == 1 else tuple(sorted(dict.fromkeys(a), key=lambda p: p.negated)) for a in _expand(c, knowledge)
    ]
    return result if len(result) == 1 else list(dict.fromkeys(result))


def _expand(c: Condition, knowledge: Knowledge) -> Alternatives:
    if c.form in LEAVES:
        return _leaf(c, knowledge)
    if c.form == "none":
        return [tuple(p for part in c.parts for p in _deny(part, knowledge))]
    inner = [_expand(part, knowledge) for part in c.parts]
    together = {"any": 1, "all": len(inner)}.get(c.form, c.count)
    ways = _ways([len(alternatives) for alternatives in inner], together)
    if ways > MOST_BRANCHES:
        shown = ways if ways < 10**9 else "over a thousand million"
        raise TooWide(f"the condition has {shown} alternatives, more than {MOST_BRANCHES}")
    if together == 1:
        return list(itertools.chain.from_iterable(inner))
    return [
        tuple(itertools.chain.from_iterable(chosen))
        for some in itertools.combinations(inner, together)
        for chosen in itertools.product(*some)
    ]


def _ways(sizes: Sequence[int], together: int) -> int:
    """In how many ways one can be chosen from each of so many of some sets: the elementary symmetric polynomial, and of
    very many sets at least as many."""
    if together == len(sizes):
        return math.prod(sizes)
    if together == 1:
        return sum(sizes)
    if len(sizes) > MOST_BRANCHES:
        return math.comb(len(sizes), together)
    ways = [1] + [0] * together
    for size in sizes:
        for i in range(together, 0, -1):
            ways[i] += ways[i - 1] * size
    return ways[together]


def _deny(c: Condition, knowledge: Knowledge) -> list[Premise]:
    """Premises that say of each leaf that it is not known to hold."""
    if c.form == "any":
        return [p for part in c.parts for p in _deny(part, knowledge)]
    alternatives = _leaf(c, knowledge) if c.form in LEAVES else []
    if not alternatives or any(len(a) != 1 or a[0].negated for a in alternatives):
        raise TooWide(f"{c.form!r} cannot stand inside none: use saw, found, setting, quantity or marks there")
    return [replace(a[0], negated=True, same_part=False) for a in alternatives]


def _leaf(c: Condition, knowledge: Knowledge) -> Alternatives:
    if c.form in ("setting", "not setting"):
        return [(_premise(c, "setting", setting=c.term, term=c.value, holds=c.form == "setting"),)]
    if c.form in ("act", "not act"):
        said: dict[str, Any] = {"did": c.term, "holds": c.form == "act", **dict(c.such)}
        return [(_premise(c, "act", **said),)]
    if c.form in ("state", "not state"):
        return _state(c)
    if c.form in ("found", "found absent"):
        return [(_premise(c, "found", finding=c.term, state="present" if c.form == "found" else "absent"),)]
    if c.form == "not found":
        return [(_premise(c, "found", negated=True, finding=c.term, state="present"),)]
    if c.form == "marks":
        return [(_premise(c, "marks", pair=pair_key(c), relation=c.value),)]
    return _quantity(c) if c.form == "quantity" else _seen(c, knowledge)


def _premise(
    c: Condition, table: str, compare: tuple[str, str, Scalar] | None = None, negated: bool = False,
    **slots: Any,
) -> Premise:  # fmt: skip
    kept = tuple(sorted([(k, v) for k, v in slots.items() if v is not None]))
    return Premise(table, (table, slots[KEY_SLOT[table]]), kept, compare, negated, c.at, c.same_part and not negated, c)


def _place(c: Condition) -> dict[str, Any]:
    return {"group": c.group or None, "face": c.face or None, "on": c.on or None, "own": None if c.on else True}


def _state(c: Condition) -> Alternatives:
    slots: dict[str, Any] = {"variable": c.term, **dict(c.such)}
    if not c.test:
        return [(_premise(c, "state", value=c.value, holds=c.form == "state", **slots),)]
    above = (c.test == "above") == (c.form == "state")
    compare: tuple[str, str, Scalar] = ("low", ">", c.low or 0.0) if above else ("high", "<", c.low or 0.0)
    return [(_premise(c, "state", compare, holds=True, **slots),)]


def _quantity(c: Condition) -> Alternatives:
    slots: dict[str, Any] = {"quantity": c.term, **_place(c)}
    if c.test in ("outside limit", "within limit"):
        verdict = "outside" if c.test == "outside limit" else "inside"
        return [(_premise(c, "limit", limit=c.limit, verdict=verdict, **slots),)]
    low, high = c.low or 0.0, c.high or 0.0
    tests: dict[str, list[list[tuple[str, str, Scalar]]]] = {
        "above": [[("low", ">", low)]],
        "at most": [[("high", "<=", low)]],
        "below": [[("high", "<", low)]],
        "at least": [[("low", ">=", low)]],
        "between": [[("low", ">=", low), ("high", "<=", high)]],
        "not between": [[("high", "<", low)], [("low", ">", high)]],
        "is": [[("word", "==", c.value)]],
        "is not": [[("word", "!=", c.value)]],
    }
    return [tuple(_premise(c, "amount", compare, **slots) for compare in together) for together in tests[c.test]]


def _seen(c: Condition, knowledge: Knowledge) -> Alternatives:
    """Absent with a qualifier holds when the feature is absent, or present and known to be otherwise."""
    rank = knowledge.vocabulary.degrees.index(c.degree) + 1 if c.degree else 0
    enough: tuple[str, str, Scalar] | None = ("rank", ">=", rank) if rank else None
    slots: dict[str, Any] = {"feature": mark_name(c), **_place(c)}
    wanted: dict[str, Any] = {"state": "present", "extent": c.extent or None, "side": c.side or None, **slots}
    if c.form == "saw":
        return [(_premise(c, "seen", enough, **wanted),)]
    nowhere = _premise(c, "seen", enough, negated=True, **wanted)
    result: Alternatives = [
        (_premise(c, "seen", state="absent", side=side, extent=extent, **slots), nowhere)
        for side in dict.fromkeys(("", c.side))
        for extent in dict.fromkeys(("", c.extent))
    ]
    present: dict[str, Any] = {"state": "present", **slots}
    others: list[tuple[str, Scalar, list[Scalar]]] = []
    if c.extent:
        others.append(("extent", "", [e for e in EXTENTS if e != c.extent]))
    if c.side:
        others.append(("side", "", [s for s in knowledge.vocabulary.sides if s != c.side]))
    if rank:
        others.append(("rank", 0, list(range(1, rank))))
    for slot, unsaid, values in others:
        open_question = _premise(c, "seen", negated=True, **{**present, slot: unsaid})
        result += [(_premise(c, "seen", **{**present, slot: v}), nowhere, open_question) for v in values]
    return result


def walked(premises: Iterable[Premise]) -> Iterable[Condition]:
    """The conditions on marks under premises, those compared on the clock among them."""
    return (
        c for p in premises if p.table in ("seen", "marks") for c in walk(p.condition) if c.form in ("saw", "absent")
    )


def mark_name(c: Condition) -> str:
    """A name for a mark with its qualifiers, the same in every rule that asks for it."""
    return c.term + "".join([f", {name} {value}" for name, value in sorted(c.such)]) if c.such else c.term


def pair_key(c: Condition) -> str:
    """A name for two marks to be compared, the same in every rule that compares them."""
    return " & ".join(f"{mark_name(p)} on {p.on or 'any part'}" for p in c.parts)
