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
from operator import attrgetter
from typing import Any

from diagnose.inference.experta_shim import AND, NOT, Activation, Fact, Matcher, P, Rule, Strategy, W


class Alpha:
    """The facts of one class that satisfy the literals and predicates of a pattern, whatever its variables."""

    __slots__ = ("facts", "kind", "literals", "tests", "users", "wanted_by")

    def __init__(self, kind: type, literals: dict[str, Any], tests: tuple[tuple[str, Any], ...]):
        self.kind, self.literals, self.tests = kind, literals.items(), tests
        self.facts: dict[int, Fact] = {}
        self.users: list[Node] = []
        self.wanted_by: list[Node] = []

    def takes(self, fact: Fact) -> bool:
        if not self.literals <= fact.items():
            return False
        return all(slot in fact and test(fact[slot]) for slot, test in self.tests)


class Node:
    """A rule, the memories of its patterns and its live activations. `missing`: how many wanted memories are empty,
    those of patterns without literals, which nearly every rule shares, not counted."""

    __slots__ = ("alphas", "denied", "live", "missing", "rule", "wanted")

    def __init__(self, rule: Rule):
        self.rule = rule
        self.wanted: list[tuple[Alpha, tuple[tuple[str, str], ...], str | None]] = []
        self.denied: list[tuple[Alpha, tuple[tuple[str, str], ...]]] = []
        self.live: dict[tuple[int, ...], Activation] = {}
        self.alphas: set[Alpha] = set()
        self.missing = 0

    def join(self, came: list[Activation], went: list[Activation]) -> None:
        """Brings the live activations up to date and tells which came and which went."""
        before, self.live = self.live, {}
        for facts, bound in () if self.missing else self._matches():
            ids = tuple([fact["__factid__"] for fact in facts])
            kept = before.pop(ids, None)
            if kept is None:
                kept = Activation(self.rule, facts, bound)
                came.append(kept)
            self.live[ids] = kept
        went.extend(before.values())

    def _matches(self) -> list[tuple[tuple[Fact, ...], dict[str, Any]]]:
        """(facts, what the variables stand for) of every way in which facts satisfy all patterns."""
        rows: list[tuple[tuple[Fact, ...], dict[str, Any]]] = [((), {})]
        for alpha, names, alias in self.wanted:
            longer = []
            for facts, bound in rows:
                for fact in alpha.facts.values():
                    further = bound.copy()
                    for slot, name in names:
                        value = fact[slot]
                        if further.setdefault(name, value) != value:
                            break
                    else:
                        if alias:
                            further[alias] = fact
                        longer.append(((*facts, fact), further))
            rows = longer
        if self.denied:
            rows = [r for r in rows if not any(
                _agrees(f, names, r[1]) for alpha, names in self.denied for f in alpha.facts.values())]  # fmt: skip
        return rows


def _agrees(fact: Fact, names: tuple[tuple[str, str], ...], bound: dict[str, Any]) -> bool:
    """Whether a denied pattern's variables can stand for the fact's values, beside what they stand for already."""
    stands = dict(bound)
    return all(stands.setdefault(name, fact[slot]) == fact[slot] for slot, name in names)


class IndexedMatcher(Matcher):
    """experta's matcher interface over an index from (class, slot, value) to patterns."""

    def __init__(self, engine: Any):
        super().__init__(engine)
        self.alphas: dict[tuple[Any, ...], Alpha] = {}
        self.index: dict[type, dict[str, dict[Any, list[Alpha]]]] = {}
        self.open: dict[type, list[Alpha]] = defaultdict(list)
        self.dirty: list[Alpha] = []
        self.awake: dict[Node, None] = {}
        self.ready: dict[Node, None] = {}
        self.add_rules(engine.get_rules())

    def add_rules(self, rules: Iterable[Rule]) -> None:
        """Builds the patterns of rules; may be called again for more rules between runs."""
        read = [(rule, [_Pattern(part) for part in _parts(rule)]) for rule in rules]
        values: dict[tuple[type, str], set[Any]] = defaultdict(set)
        for _, patterns in read:
            for p in patterns:
                for slot, value in p.literals.items():
                    values[p.kind, slot].add(value)
        for rule, patterns in read:
            node = Node(rule)
            for p in patterns:
                alpha = self._alpha(p, values)
                if p.denied:
                    node.denied.append((alpha, p.names))
                else:
                    node.wanted.append((alpha, p.names, p.alias))
                    if alpha.literals and node not in alpha.wanted_by:
                        alpha.wanted_by.append(node)
                        node.missing += not alpha.facts
                alpha.users.append(node)
                node.alphas.add(alpha)
            if not node.missing:
                self.ready[node] = None

    def _alpha(self, p: _Pattern, values: dict[tuple[type, str], set[Any]]) -> Alpha:
        key = (p.kind, frozenset(p.literals.items()), p.tests)
        if key not in self.alphas:
            alpha = self.alphas[key] = Alpha(p.kind, p.literals, p.tests)
            if p.literals:
                slot = max(p.literals, key=lambda s: (len(values[p.kind, s]), s))
                by_value = self.index.setdefault(p.kind, {}).setdefault(slot, {})
                by_value.setdefault(p.literals[slot], []).append(alpha)
            else:
                self.open[p.kind].append(alpha)
        return self.alphas[key]

    def changes(self, adding: Any = None, deleting: Any = None) -> tuple[list[Activation], list[Activation]]:
        """(activations that came, activations that went) by these changes of the fact list."""
        touched: dict[Alpha, None] = {}
        for fact in deleting or ():
            for alpha in self._reached(fact):
                if alpha.facts.pop(fact["__factid__"], None) is not None:
                    touched[alpha] = None
                    if not alpha.facts:
                        self._empty(alpha)
        for fact in adding or ():
            for alpha in self._reached(fact):
                if alpha.takes(fact):
                    touched[alpha] = None
                    if not alpha.facts:
                        self.dirty.append(alpha)
                        for node in alpha.wanted_by:
                            node.missing -= 1
                            if not node.missing:
                                self.ready[node] = None
                    alpha.facts[fact["__factid__"]] = fact
        came: list[Activation] = []
        went: list[Activation] = []
        for node in {node: None for alpha in touched for node in self._asked(alpha)}:
            node.join(came, went)
            if node.live:
                self.awake[node] = None
        return came, went

    def _asked(self, alpha: Alpha) -> list[Node]:
        """The rules with this pattern that have something to join or to let go; few of them where many share it."""
        if len(alpha.users) < len(self.ready) + len(self.awake):
            return [n for n in alpha.users if n.live or not n.missing]
        return [n for n in {**self.ready, **self.awake} if alpha in n.alphas and (n.live or not n.missing)]

    def _empty(self, alpha: Alpha) -> None:
        for node in alpha.wanted_by:
            node.missing += 1
            self.ready.pop(node, None)

    def _reached(self, fact: Fact) -> list[Alpha]:
        kind = type(fact)
        found: list[Alpha] = []
        for slot, by_value in self.index.get(kind, {}).items():
            if slot in fact:
                found += by_value.get(fact[slot], ())
        return found + self.open.get(kind, [])

    def reset(self) -> None:
        for alpha in self.dirty:
            if alpha.facts:
                alpha.facts.clear()
                for node in alpha.wanted_by:
                    node.missing += 1
        for node in self.awake:
            node.live = {}
        self.dirty, self.awake = [], {}
        self.ready = {node: None for node in self.ready if not node.missing}


_KEY = attrgetter("key")


class BySalience(Strategy):
    """Highest salience first; activations of one rule in the order of their facts."""

    def _update_agenda(self, agenda: Any, added: list[Activation], removed: list[Activation]) -> None:
        if removed:
            gone = {id(a) for a in removed}
            agenda.activations[:] = [a for a in agenda.activations if id(a) not in gone]
        for activation in added:
            activation.key = (activation.rule.salience, sorted([-f["__factid__"] for f in activation.facts]))
            bisect.insort(agenda.activations, activation, key=_KEY)


def _anything(value: Any) -> bool:
    return True


class _Pattern:
    """A pattern taken apart: literals by slot, (slot, test) pairs, (slot, variable) pairs and the name it is bound to.
    Raises TypeError for what this matcher does not take."""

    __slots__ = ("alias", "denied", "kind", "literals", "names", "tests")

    def __init__(self, part: Any):
        self.denied = isinstance(part, NOT)
        pattern = part[0] if self.denied else part
        if not isinstance(pattern, Fact) or (self.denied and len(part) != 1):
            raise TypeError(f"a rule is a conjunction of patterns and denied patterns, not {type(pattern).__name__}")
        self.kind, self.alias = type(pattern), pattern.__bind__
        self.literals: dict[str, Any] = {}
        tests: list[tuple[str, Any]] = []
        names: list[tuple[str, str]] = []
        for slot, value in pattern.items():
            if pattern.is_special(slot):
                continue
            if isinstance(value, W):
                tests.append((slot, _anything))
                if value.__bind__:
                    names.append((slot, value.__bind__))
            elif isinstance(value, P):
                tests.append((slot, value.match))
            elif isinstance(value, tuple):
                raise TypeError("field constraints other than a value, a predicate or a variable are not taken")
            else:
                self.literals[slot] = value
        self.tests, self.names = tuple(tests), tuple(names)


def _parts(rule: Rule) -> Iterator[Any]:
    for part in rule:
        yield from part if isinstance(part, AND) else (part,)
