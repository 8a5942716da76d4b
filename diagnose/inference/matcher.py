"""A matcher for experta that asks only what a fact can touch.

The stock Rete network hands every fact to every root check, asks every conflict-set node after every change and walks
all nodes on reset, so its cost grows with the number of rules. Here a fact goes straight to the patterns that name one
of its values; only rules with a touched pattern, and with a fact for each of their patterns, are joined again; reset
forgets only what was touched. Rules are conjunctions of patterns, some of them denied; other conditional elements are
refused.
"""

from __future__ import annotations

import bisect
from collections import defaultdict
from collections.abc import Iterable, Iterator
from typing import Any

from diagnose.inference.experta_shim import AND, NOT, Activation, Fact, Matcher, P, Rule, Strategy, W


class Alpha:
    """The facts of one class that satisfy the literals and predicates of a pattern, whatever its variables."""

    __slots__ = ("facts", "kind", "literals", "tests", "users", "wanted_by")

    def __init__(self, kind: type, literals: dict[str, Any], tests: tuple[tuple[str, Any], ...]):
        self.kind, self.literals, self.tests = kind, tuple(literals.items()), tests
        self.facts: dict[int, Fact] = {}
        self.users: list[Node] = []
        self.wanted_by: list[Node] = []

    def takes(self, fact: Fact) -> bool:
        get = fact.get
        for slot, value in self.literals:
            if get(slot, self) != value:
                return False
        return all(slot in fact and test(fact[slot]) for slot, test in self.tests)


class Node:
    """A rule, the memories of its patterns and its live activations. `missing`: how many wanted memories are empty."""

    __slots__ = ("denied", "live", "missing", "rule", "wanted")

    def __init__(self, rule: Rule):
        self.rule = rule
        self.wanted: list[tuple[Alpha, tuple[tuple[str, str], ...], str | None]] = []
        self.denied: list[tuple[Alpha, tuple[tuple[str, str], ...]]] = []
        self.live: dict[tuple[int, ...], Activation] = {}
        self.missing = 0

    def join(self, came: list[Activation], went: list[Activation]) -> None:
        """Brings the live activations up to date and tells which came and which went."""
        before, self.live = self.live, {}
        for ids, facts, bound in () if self.missing else self._extend(0, [], {}):
            kept = before.pop(ids, None)
            if kept is None:
                kept = Activation(self.rule, facts, bound)
                came.append(kept)
            self.live[ids] = kept
        went.extend(before.values())

    def _extend(
        self, level: int, facts: list[Fact], bound: dict[str, Any]
    ) -> Iterator[tuple[tuple[int, ...], list[Fact], dict[str, Any]]]:
        if level == len(self.wanted):
            if not any(_agrees(f, names, bound) for alpha, names in self.denied for f in alpha.facts.values()):
                yield tuple([f["__factid__"] for f in facts]), list(facts), bound
            return
        alpha, names, alias = self.wanted[level]
        for fact in alpha.facts.values():
            further = bound
            for slot, name in names:
                value = fact[slot]
                if name in further:
                    if further[name] != value:
                        break
                else:
                    further = {**further, name: value}
            else:
                if alias:
                    further = {**further, alias: fact}
                facts.append(fact)
                yield from self._extend(level + 1, facts, further)
                facts.pop()


def _agrees(fact: Fact, names: tuple[tuple[str, str], ...], bound: dict[str, Any]) -> bool:
    return all(name not in bound or fact[slot] == bound[name] for slot, name in names)


class IndexedMatcher(Matcher):
    """experta's matcher interface over an index from (class, slot, value) to patterns."""

    def __init__(self, engine: Any):
        super().__init__(engine)
        self.alphas: dict[tuple[Any, ...], Alpha] = {}
        self.index: dict[type, dict[str, dict[Any, list[Alpha]]]] = {}
        self.open: dict[type, list[Alpha]] = defaultdict(list)
        self.dirty: list[Alpha] = []
        self.awake: dict[Node, None] = {}
        self.add_rules(engine.get_rules())

    def add_rules(self, rules: Iterable[Rule]) -> None:
        """Builds the patterns of rules; may be called again for more rules between runs."""
        rules = list(rules)
        values: dict[tuple[type, str], set[Any]] = defaultdict(set)
        for rule in rules:
            for pattern, _ in _patterns(rule):
                for slot, value in _literals(pattern).items():
                    values[type(pattern), slot].add(value)
        for rule in rules:
            node = Node(rule)
            for pattern, denied in _patterns(rule):
                alpha = self._alpha(pattern, values)
                names = tuple((s, v.__bind__) for s, v in _slots(pattern) if isinstance(v, W) and v.__bind__)
                if denied:
                    node.denied.append((alpha, names))
                else:
                    node.wanted.append((alpha, names, pattern.__bind__))
                    if node not in alpha.wanted_by:
                        alpha.wanted_by.append(node)
                        node.missing += not alpha.facts
                alpha.users.append(node)

    def _alpha(self, pattern: Fact, values: dict[tuple[type, str], set[Any]]) -> Alpha:
        literals = _literals(pattern)
        tests = tuple((s, v.match) for s, v in _slots(pattern) if isinstance(v, P))
        tests += tuple((s, _anything) for s, v in _slots(pattern) if isinstance(v, W))
        key = (type(pattern), tuple(sorted(literals.items())), tests)
        if key not in self.alphas:
            alpha = self.alphas[key] = Alpha(type(pattern), literals, tests)
            if literals:
                slot = max(literals, key=lambda s: (len(values[alpha.kind, s]), s))
                by_value = self.index.setdefault(alpha.kind, {}).setdefault(slot, {})
                by_value.setdefault(literals[slot], []).append(alpha)
            else:
                self.open[alpha.kind].append(alpha)
        return self.alphas[key]

    def changes(self, adding: Any = None, deleting: Any = None) -> tuple[list[Activation], list[Activation]]:
        """(activations that came, activations that went) by these changes of the fact list."""
        touched: dict[Alpha, None] = {}
        for fact in deleting or ():
            for alpha in self._reached(fact):
                if alpha.facts.pop(fact["__factid__"], None) is not None:
                    touched[alpha] = None
                    if not alpha.facts:
                        for node in alpha.wanted_by:
                            node.missing += 1
        for fact in adding or ():
            for alpha in self._reached(fact):
                if alpha.takes(fact):
                    touched[alpha] = None
                    if not alpha.facts:
                        self.dirty.append(alpha)
                        for node in alpha.wanted_by:
                            node.missing -= 1
                    alpha.facts[fact["__factid__"]] = fact
        came: list[Activation] = []
        went: list[Activation] = []
        for node in dict.fromkeys(n for alpha in touched for n in alpha.users if n.live or not n.missing):
            node.join(came, went)
            if node.live:
                self.awake[node] = None
        return came, went

    def _reached(self, fact: Fact) -> Iterator[Alpha]:
        kind = type(fact)
        for slot, by_value in self.index.get(kind, {}).items():
            if slot in fact:
                yield from by_value.get(fact[slot], ())
        yield from self.open.get(kind, ())

    def reset(self) -> None:
        for alpha in self.dirty:
            if alpha.facts:
                alpha.facts.clear()
                for node in alpha.wanted_by:
                    node.missing += 1
        for node in self.awake:
            node.live = {}
        self.dirty, self.awake = [], {}


class BySalience(Strategy):
    """Highest salience first; activations of one rule in the order of their facts."""

    def _update_agenda(self, agenda: Any, added: list[Activation], removed: list[Activation]) -> None:
        if removed:
            gone = {id(a) for a in removed}
            agenda.activations[:] = [a for a in agenda.activations if id(a) not in gone]
        for activation in added:
            activation.key = (activation.rule.salience, sorted([-f["__factid__"] for f in activation.facts]))
            bisect.insort(agenda.activations, activation)


def _anything(value: Any) -> bool:
    return True


def _slots(pattern: Fact) -> list[tuple[str, Any]]:
    return [(s, v) for s, v in pattern.items() if not pattern.is_special(s)]


def _literals(pattern: Fact) -> dict[str, Any]:
    return {s: v for s, v in _slots(pattern) if not isinstance(v, (P, W))}


def _patterns(rule: Rule) -> Iterator[tuple[Fact, bool]]:
    """Each pattern of a rule and whether it is denied. Raises TypeError for what this matcher does not take."""
    parts = [p for part in rule for p in (part if isinstance(part, AND) else (part,))]
    for part in parts:
        denied = isinstance(part, NOT)
        pattern = part[0] if denied else part
        if not isinstance(pattern, Fact) or (denied and len(part) != 1):
            raise TypeError(f"a rule is a conjunction of patterns and denied patterns, not {type(pattern).__name__}")
        if any(
            hasattr(v, "__iter__") and isinstance(v, tuple) and not isinstance(v, (P, W)) for _, v in _slots(pattern)
        ):
            raise TypeError("field constraints other than a value, a predicate or a variable are not taken")
        yield pattern, denied
