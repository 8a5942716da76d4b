"""Runs branches on facts with experta and records every firing at the moment it happens.

Each rule has a salience of its own, from the order of the branches, so that firing order is fixed; rules only add
facts, and what they deny lies in an earlier stratum, so that the result would be the same in any order.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from msgspec import Struct

from diagnose.inference.experta_shim import AND, AS, MATCH, NOT, Agenda, FactList, KnowledgeEngine, P, Rule
from diagnose.inference.experta_shim import Fact as EngineFact
from diagnose.inference.facts import Fact
from diagnose.inference.matcher import BySalience, IndexedMatcher
from diagnose.inference.rules import KEY_SLOT, Branch, Premise, Scalar


class Row(EngineFact):
    """A fact whose slots are plain values already; experta would freeze each of them again."""

    table = ""

    __init__ = dict.__init__

    def __hash__(self) -> int:
        return hash(self.get("id"))


class Place(Row):
    """A seal position; every rule starts from one."""


class Seen(Row):
    """An observation."""

    table = "seen"


class Setting(Row):
    """A setting of the case."""

    table = "setting"


class State(Row):
    """How something stood at a point."""

    table = "state"


class Act(Row):
    """What was done or happened."""

    table = "act"


class Amount(Row):
    """A computed quantity."""

    table = "amount"


class Limit(Row):
    """A quantity judged against a limit."""

    table = "limit"


class Found(Row):
    """A deduced finding."""

    table = "found"


class Marks(Row):
    """Two marks compared on the clock."""

    table = "marks"


TABLES = {kind.table: kind for kind in (Seen, Setting, State, Act, Amount, Limit, Found, Marks)}


class Firing(Struct, frozen=True):
    """One branch fired at one position. `supports`: for each premise, the ids of the facts it matched (none where it
    denies)."""

    branch: Branch
    position: str
    supports: tuple[tuple[str, ...], ...]


def finding_id(finding: str, position: str) -> str:
    return f"f:{finding}@{position}"


class Facts(FactList):
    """experta's fact list for rows, which need none of experta's checks."""

    def add(self, fact: EngineFact) -> None:
        """Declares a fact that is known to be new."""
        dict.__setitem__(fact, "__factid__", self.last_index)
        self[self.last_index] = fact
        self.last_index += 1
        self.added.append(fact)


class CaseEngine(KnowledgeEngine):
    """experta's engine with rules given as a list instead of class attributes, and our matcher and agenda order."""

    __matcher__ = IndexedMatcher
    __strategy__ = BySalience

    def __init__(self) -> None:
        self.rules: list[Rule] = []
        super().__init__()

    def get_rules(self) -> list[Rule]:
        return self.rules

    def get_deffacts(self) -> list[Any]:
        return []

    def reset(self, **kwargs: Any) -> None:
        self.agenda, self.facts = Agenda(), Facts()
        self.matcher.reset()

    def run(self, steps: float = float("inf")) -> None:
        """Fires until nothing is left to fire; experta's own loop also writes every firing for its log and asks for changes
        after firings that made none."""
        self.running = True
        while self.running:
            if self.facts.added or self.facts.removed:
                came, went = self.get_activations()
                self.strategy.update_agenda(self.agenda, came, went)
            activation = self.agenda.get_next()
            if activation is None:
                break
            activation.rule(self, **activation.context)
        self.running = False

    def declare_all(self, facts: Iterable[EngineFact]) -> None:
        """Declares facts that are known to differ and to hold plain values, then brings the agenda up to date once."""
        for fact in facts:
            self.facts.add(fact)
        came, went = self.get_activations()
        self.strategy.update_agenda(self.agenda, came, went)


class Reasoner:
    """A set of branches made ready for any number of cases. Rules are built when a case first can use them."""

    def __init__(self, branches: Sequence[Branch]):
        self.branches = tuple(branches)
        self.engine = CaseEngine()
        self.built: set[int] = set()
        self.recorded: dict[tuple[int, str], list[set[str]]] = {}
        self.said: set[tuple[str, str, str]] = set()
        self.others: dict[str, str] = {}
        self.wanted: list[int] = []
        # equal premises are held against a fact once for all branches that share them
        self.sharing: dict[Premise, list[int]] = {}
        for i, branch in enumerate(self.branches):
            positive = [premise for premise in branch.premises if not premise.negated]
            self.wanted.append(len(positive))
            for premise in positive:
                self.sharing.setdefault(premise, []).append(i)
        self.by_key: dict[tuple[str, Scalar], list[Premise]] = {}
        for premise in self.sharing:
            self.by_key.setdefault(premise.key, []).append(premise)

    def run(self, facts: Iterable[Fact], positions: Iterable[tuple[str, str]]) -> tuple[Firing, ...]:
        """Fires everything that can fire; firings in the order of the branches, then of the positions."""
        rows = [TABLES[f.table](f.slots, id=f.id) for f in facts]
        self.others = dict(positions)
        self.recorded, self.said = {}, set()
        if len(self.built) < len(self.branches):
            self.build(self.candidates(rows))
        self.engine.reset()
        self.engine.declare_all([*(Place(position=position) for position in self.others), *rows])
        self.engine.run()
        return tuple(
            Firing(self.branches[i], place, tuple([tuple(sorted(ids)) for ids in supports]))
            for (i, place), supports in sorted(self.recorded.items())
        )

    def build(self, numbers: Iterable[int] | None = None) -> None:
        """Builds the rules of these branches, or of all: worth it once where many cases follow."""
        wanted = range(len(self.branches)) if numbers is None else numbers
        new = [i for i in wanted if i not in self.built]
        self.built.update(new)
        self.engine.matcher.add_rules([self._rule(i) for i in new])

    def candidates(self, rows: Iterable[Row]) -> list[int]:
        """The branches whose every positive premise is met by some fact on record, or one that could be deduced, at
        whatever position."""
        missing = list(self.wanted)
        met: set[Premise] = set()
        chosen: list[int] = []
        todo = list(rows)

        def choose(i: int) -> None:
            chosen.append(i)
            c = self.branches[i].conclusion
            if c.kind == "found":
                todo.append(Found(finding=c.name, state=c.state))

        for i, wanted in enumerate(self.wanted):
            if not wanted:
                choose(i)
        while todo:
            row = todo.pop()
            for premise in self.by_key.get((row.table, row[KEY_SLOT[row.table]]), ()):
                if premise in met or not premise.allows(row):
                    continue
                met.add(premise)
                for i in self.sharing[premise]:
                    missing[i] -= 1
                    if not missing[i]:
                        choose(i)
        return sorted(chosen)

    def _rule(self, i: int) -> Rule:
        branch = self.branches[i]
        patterns = [_pattern(p, k) for k, p in enumerate(branch.premises)]
        rule = Rule(AND(Place(position=MATCH.place), *patterns), salience=len(self.branches) - i)
        names = [(k, f"fact{k}") for k, p in enumerate(branch.premises) if not p.negated]
        c = branch.conclusion
        finds = c.kind == "found"

        def fire(engine: CaseEngine, place: str, **bound: Any) -> None:
            if (i, place) not in self.recorded:
                self.recorded[i, place] = [set() for _ in branch.premises]
            supports = self.recorded[i, place]
            for k, name in names:
                supports[k].add(bound[name]["id"])
            finding = c.name, c.state, place
            if finds and finding not in self.said:
                self.said.add(finding)
                other, id = self.others[place], finding_id(c.name, place)
                engine.facts.add(Found(finding=c.name, state=c.state, position=place, other=other, id=id))

        # what `rule(fire)` does, but for reading the signature of every single action
        rule._wrapped, rule.__name__ = fire, f"{branch.rule} {branch.number}"
        return rule


def _pattern(premise: Premise, number: int) -> Any:
    slots: dict[str, Any] = dict(premise.equals)
    if premise.compare:
        slots[premise.compare[0]] = P(premise.passes)
    if premise.at in ("", "other"):
        slots["position" if premise.at == "" else "other"] = MATCH.place
    elif premise.at != "any":
        slots["position"] = premise.at
    if premise.same_part:
        slots["part"] = MATCH.part
    pattern = TABLES[premise.table](**slots)
    if premise.negated:
        return NOT(pattern)
    return getattr(AS, f"fact{number}") << pattern
