"""Conditions of rules: from YAML nodes to objects, and their negation."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass

from diagnose.knowledge.model import Condition, Limit, Vocabulary
from diagnose.reading.entry import replace
from diagnose.reading.located import Node, only_keys
from diagnose.reading.problems import Problems
from diagnose.reading.terms import did_you_mean
from diagnose.reading.units import BadUnit, amount, unit

EXTENTS = ("all round", "one sector", "patches")
GROUPS = ("rotating", "stationary")
POSITIONS = ("inboard", "outboard", "other", "any")
RELATIONS = ("same place", "opposite", "apart")
_COMPARED = re.compile(r"(?P<test>above|below) (?P<number>.+)")
_PLACED = ["on", "group", "face", "at", "same part"]
FORMS = {
    "saw": [*_PLACED, "extent", "degree", "side", "when"],
    "absent": [*_PLACED, "extent", "degree", "side", "when"],
    "quantity": [*_PLACED, "above", "below", "between", "outside limit", "within limit", "is"],
    "found": ["at"],
    "found absent": ["at"],
    "not found": ["at"],
    "setting": ["at"],
    "not setting": ["at"],
    "state": ["at"],
    "not state": ["at"],
    "act": ["at"],
    "not act": ["at"],
    "marks": ["are", "at"],
    "all": [],
    "any": [],
    "none": [],
    "at least": [],
}
LEAVES = ("saw", "absent", "quantity", "found", "found absent", "not found", "setting", "not setting", "state", "not state", "act",
          "not act", "marks")  # fmt: skip


@dataclass
class ConditionReader:
    """Turns nodes into conditions, checking every term; problems are collected."""

    vocabulary: Vocabulary
    limits: dict[str, Limit]
    findings: set[str]
    problems: Problems
    successor: Callable[[str], str] = lambda name: ""

    def read(self, node: Node | None) -> Condition | None:
        if node is None:
            return None
        if not node.is_map:
            self._say(node, "condition", "a condition is a mapping such as {saw: blisters, on: soft face}")
            return None
        forms = [key for key, _ in node.items() if key in FORMS]
        if len(forms) != 1:
            keys = ", ".join(k for k, _ in node.items()) or "nothing"
            way_out = f"exactly one of: {', '.join(FORMS)}"
            guess = next((did_you_mean(k, FORMS) for k, _ in node.items() if did_you_mean(k, FORMS)), "")
            self._say(node, "condition-form", f"no single condition form among {keys}", guess or way_out)
            return None
        form = forms[0]
        more = self.vocabulary.grammar.qualifiers if form in ("saw", "absent") else ()
        only_keys(node, [form, *FORMS[form], *more], f"a condition {form!r}", self.problems)
        value = node.get(form)
        assert value is not None
        if form in ("all", "any", "none"):
            parts = tuple(c for c in map(self.read, value.each()) if c)
            if not value.each():
                self._say(value, "condition-empty", f"{form!r} needs at least one condition")
            return Condition(form, parts=parts, where=node.where)
        if form == "at least":
            return self._at_least(node, value)
        if form == "marks":
            return self._marks(node, value)
        if form in ("setting", "not setting"):
            return self._setting(node, form, value)
        if form in ("state", "not state"):
            return self._state(node, form, value)
        if form in ("act", "not act"):
            return self._act(node, form, value)
        if form.endswith(("found", "found absent")):
            return self._finding(node, form, value)
        if form == "quantity":
            return self._quantity(node, value)
        return self._seen(node, form, value)

    def _say(self, node: Node, code: str, says: str, way_out: str = "") -> None:
        self.problems.add(node.where, code, says, way_out)

    def term(self, family: str, node: Node, what: str) -> str:
        """The preferred term for a word, or "" with a problem added."""
        found = self.vocabulary.find(family, node.text()) if isinstance(node.value, str) else None
        if found is None:
            self._say(node, f"unknown-{family.split(':')[0]}", f"{node.text()!r} is no {what} of the vocabulary",
                      did_you_mean(node.text(), self.vocabulary.names[family]))  # fmt: skip
            return ""
        return found

    def choice(self, node: Node | None, allowed: tuple[str, ...], what: str) -> str:
        if node is None:
            return ""
        if node.text() not in allowed:
            way_out = did_you_mean(node.text(), allowed) or f"allowed: {', '.join(allowed)}"
            self._say(node, "unknown-word", f"{node.text()!r} is no {what}", way_out)
            return ""
        return node.text()

    def _placed(self, node: Node) -> dict[str, object]:
        on = node.get("on")
        same = node.get("same part")
        return {
            "on": self.term("kind", on, "kind of part") if on else "",
            "group": self.choice(node.get("group"), GROUPS, "group"),
            "face": self.choice(node.get("face"), ("nose", "wide"), "side of the pair of faces"),
            "at": self.choice(node.get("at"), POSITIONS, "seal position"),
            "same_part": self.choice(same, ("true", "false"), "answer") == "true",
            "where": node.where,
        }

    def _seen(self, node: Node, form: str, value: Node) -> Condition:
        feature = self.term("feature", value, "feature")
        placed = self._placed(node)
        if feature and placed["on"]:
            kinds = self.vocabulary.features[feature].on
            on = str(placed["on"])
            related = any(on in self.vocabulary.lineage.get(k, ()) or k in self.vocabulary.lineage[on] for k in kinds)
            if kinds and not related:
                self._say(node, "never-holds", f"{feature!r} is never recorded on {on!r}",
                          f"it is recorded on: {', '.join(kinds)}")  # fmt: skip
        side = node.get("side")
        said = {name: self.term(f"qualifier:{name}", inner, f"word for {name!r}")
                for name in self.vocabulary.grammar.qualifiers if (inner := node.get(name))}  # fmt: skip
        feature, left = self.vocabulary.named(feature, said, str(placed["on"])) if feature and said else (feature, said)
        when = node.get("when")
        such = {**left, "when": self.term("moment", when, "moment")} if when else left
        return Condition(
            form, feature, **placed, such=tuple(such.items()),  # type: ignore[arg-type]
            extent=self.choice(node.get("extent"), EXTENTS, "extent"),
            degree=self.choice(node.get("degree"), self.vocabulary.degrees, "degree"),
            side=self.choice(side, self.vocabulary.sides, "side") if side else "",
        )  # fmt: skip

    def _finding(self, node: Node, form: str, value: Node) -> Condition:
        if value.text() not in self.findings:
            self._say(value, "unknown-finding", f"there is no finding {value.text()!r}",
                      self.successor(value.text()) or did_you_mean(value.text(), self.findings))  # fmt: skip
        at = self.choice(node.get("at"), POSITIONS, "seal position")
        return Condition(form, value.text(), at=at, where=node.where)

    def _setting(self, node: Node, form: str, value: Node) -> Condition | None:
        leaves = []
        at = self.choice(node.get("at"), POSITIONS, "seal position")
        for key, item in value.items():
            name = self.vocabulary.find("setting", key)
            if name is None:
                self._say(item, "unknown-setting", f"{key!r} is no setting of the vocabulary",
                          did_you_mean(key, self.vocabulary.settings))  # fmt: skip
                continue
            term = self.term(f"setting:{name}", item, f"term of {name!r}")
            leaves.append(Condition(form, name, value=term, at=at, where=node.where))
        if not leaves:
            if not value.is_map:
                self._say(value, "setting", "a setting is written {KEY: TERM}")
            return None
        return leaves[0] if len(leaves) == 1 else Condition("all", parts=tuple(leaves), where=node.where)

    def _state(self, node: Node, form: str, value: Node) -> Condition | None:
        """{at: POINT, VARIABLE: WORD, when: MOMENT}; in place of the word, above or below a number with its unit."""
        variables = self.vocabulary.grammar.variables
        said = [key for key, _ in value.items() if key in variables]
        only_keys(value, ["at", "when", *variables], "a state", self.problems)
        if len(said) != 1 or not value.get("at"):
            self._say(value, "state", "a state is written {at: POINT, VARIABLE: VALUE}")
            return None
        such = {slot: self.term(family, inner, what) for slot, family, what in (("at", "point", "point"), ("when", "moment", "moment"))
                if (inner := value.get(slot))}  # fmt: skip
        variable, operand = variables[said[0]], value.get(said[0])
        assert operand is not None
        at = self.choice(node.get("at"), POSITIONS, "seal position")
        compared = _COMPARED.fullmatch(operand.text())
        if not compared:
            word = self.term(f"value:{variable.name}", operand, f"word for {variable.name!r}")
            return Condition(form, variable.name, at=at, value=word, such=tuple(such.items()), where=node.where)
        number = None
        try:
            found = amount(compared["number"])
            if variable.unit is None or found.kind != unit(variable.unit).kind:
                raise BadUnit(f"{operand.text()!r} is not in a unit of {variable.name}")
            number = found.value
        except BadUnit as error:
            self._say(operand, "unit", str(error), f"write it in {variable.unit}" if variable.unit else "")
        return Condition(form, variable.name, at=at, test=compared["test"], low=number, written=compared["number"],
                         such=tuple(such.items()), where=node.where)  # fmt: skip

    def _act(self, node: Node, form: str, value: Node) -> Condition | None:
        """{did: ACT, to: POINT or PART, with: SUBSTANCE, when: MOMENT}; what is left out may be anything."""
        only_keys(value, ["did", "to", "with", "when"], "an act", self.problems)
        did = value.get("did")
        if did is None:
            self._say(value, "act", "an act is written {did: ACT, to: POINT or PART, with: SUBSTANCE}")
            return None
        such = {slot: self.term(family, inner, what) for slot, family, what in (
            ("to", "to", "point, part or substance"), ("with", "substance", "substance"), ("when", "moment", "moment"))
                if (inner := value.get(slot))}  # fmt: skip
        at = self.choice(node.get("at"), POSITIONS, "seal position")
        return Condition(form, self.term("act", did, "act"), at=at, such=tuple(such.items()), where=node.where)

    def _quantity(self, node: Node, value: Node) -> Condition:
        name = self.term("quantity", value, "quantity")
        tests = [key for key in ("above", "below", "between", "outside limit", "within limit", "is") if node.get(key)]
        placed = self._placed(node)
        if len(tests) != 1:
            self._say(node, "quantity-test", "a quantity is compared once",
                      "one of: above, below, between, outside limit, within limit, is")  # fmt: skip
            return Condition("quantity", name, **placed)  # type: ignore[arg-type]
        test, operand = tests[0], node.get(tests[0])
        assert operand is not None
        low = high = None
        limit = ""
        if test.endswith("limit"):
            limit = operand.text()
            if limit not in self.limits:
                self._say(operand, "unknown-limit", f"there is no limit {limit!r}", did_you_mean(limit, self.limits))
            elif name and self.limits[limit].quantity != name:
                self._say(operand, "limit-of-another", f"the limit {limit!r} is on {self.limits[limit].quantity!r}")
        elif test == "between":
            ends = operand.each()
            if len(ends) != 2:
                self._say(operand, "between", "between takes two values, lowest first")
            else:
                low, high = self._number(ends[0], name), self._number(ends[1], name)
                if low is not None and high is not None and low >= high:
                    self._say(operand, "never-holds", "no number lies between these two", "write the lower one first")
        elif test in ("above", "below"):
            low = self._number(operand, name)
        written = " to ".join(x.text() for x in operand.each())
        return Condition("quantity", name, test=test, limit=limit, low=low, high=high, written=written,
                         value=operand.text() if test == "is" else "", **placed)  # type: ignore[arg-type]  # fmt: skip

    def _number(self, node: Node, quantity: str) -> float | None:
        try:
            number = amount(node.text())
            if quantity:
                wanted = unit(self.vocabulary.quantities[quantity].unit)
                if number.kind != wanted.kind:
                    raise BadUnit(f"{node.text()!r} is not in a unit of {quantity}")
            return number.value
        except BadUnit as error:
            way_out = f"write it in {self.vocabulary.quantities[quantity].unit}" if quantity else ""
            self._say(node, "unit", str(error), way_out)
            return None

    def _marks(self, node: Node, value: Node) -> Condition:
        parts = tuple(c for c in map(self.read, value.each()) if c)
        if len(parts) != 2 or any(p.form != "saw" for p in parts):
            self._say(value, "marks", "marks compares two conditions of the form saw")
        relation = self.choice(node.get("are"), RELATIONS, "relation on the clock")
        if not relation:
            self._say(node, "marks", "marks needs are: same place, opposite or apart")
        return Condition("marks", value=relation, parts=parts, where=node.where)

    def _at_least(self, node: Node, value: Node) -> Condition | None:
        of = value.get("of")
        count = value.get("count")
        only_keys(value, ["count", "of"], "'at least'", self.problems)
        parts = tuple(c for c in map(self.read, of.each()) if c) if of else ()
        number = int(count.text()) if count and re.fullmatch("[0-9]{1,6}", count.text()) else 0
        if of is None or not 1 <= number <= len(of.each()):
            self._say(value, "at-least", "at least takes {count: N, of: [...]} with N among the conditions")
            return None
        return Condition("at least", count=number, parts=parts, where=node.where)


def negate(c: Condition) -> Condition | None:
    """The condition that holds when `c` is known not to; None where that cannot be known."""
    other = {"saw": "absent", "absent": "saw", "found": "found absent", "found absent": "found", "not found": "found",
             "setting": "not setting", "not setting": "setting", "state": "not state", "not state": "state", "act": "not act",
             "not act": "act"}  # fmt: skip
    if c.form in other:
        return replace(c, form=other[c.form], same_part=False)
    if c.form == "quantity":
        tests = {"above": "at most", "at most": "above", "below": "at least", "at least": "below", "is": "is not",
                 "is not": "is", "outside limit": "within limit", "within limit": "outside limit",
                 "between": "not between", "not between": "between"}  # fmt: skip
        return replace(c, test=tests[c.test], same_part=False) if c.test else None
    if c.form == "marks":
        kept = tuple(replace(c, value=r) for r in RELATIONS if r != c.value)
        return Condition("any", parts=kept, where=c.where)
    if c.form == "none":
        return Condition("any", parts=c.parts, where=c.where)
    parts = tuple(n for n in map(negate, c.parts) if n)
    if c.form == "any":
        return Condition("all", parts=parts, where=c.where) if len(parts) == len(c.parts) else None
    if not parts:
        return None
    if c.form == "all":
        return Condition("any", parts=parts, where=c.where)
    needed = len(c.parts) - c.count + 1
    return replace(c, count=needed, parts=parts) if len(parts) >= needed else None


def walk(c: Condition | None) -> list[Condition]:
    """The condition and all conditions inside it."""
    if c is None:
        return []
    return [c, *[x for p in c.parts for x in walk(p)]] if c.parts else [c]


def known_by(condition: Condition | None, vocabulary: Vocabulary, asked: tuple[str, ...]) -> str:
    """The kind of reading that tells a finding: of what it rests on, that which errs most often. `asked` are the kinds
    of part whose features are asked for."""
    told = {_reading(c, vocabulary, asked) for c in walk(condition)} - {""}
    return next((kind for kind in ("habit", "record", "event", "look") if kind in told), "number" if told else "look")


def _reading(c: Condition, vocabulary: Vocabulary, asked: tuple[str, ...]) -> str:
    if c.form in ("setting", "not setting"):
        return "record"
    if c.form == "quantity":
        return "number"
    if c.form not in ("saw", "absent"):
        return ""
    kinds = [c.on] if c.on else vocabulary.features[c.term].on if c.term in vocabulary.features else ()
    above = {k for kind in kinds if kind in vocabulary.lineage for k in vocabulary.lineage[kind]}
    return "event" if above & set(asked) else "look"
