"""From a case to everything that can be deduced of it."""

from __future__ import annotations

import gc
from collections.abc import Mapping, Set
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

from msgspec import Struct

from diagnose.casefile.model import Case
from diagnose.inference.at_odds import Odd, Odds
from diagnose.inference.engine import Firing, Reasoner, finding_id
from diagnose.inference.facts import Fact, case_facts, inputs_of, make, records_of, seal_positions
from diagnose.inference.rules import RuleSet, compile_rules
from diagnose.knowledge.cache import open_knowledge, read_knowledge
from diagnose.knowledge.model import Knowledge
from diagnose.quantities.compute import compute
from diagnose.quantities.model import Quantity

COLLECTED = 50_000
"""New objects after which those that hold each other are collected."""


@dataclass(frozen=True, eq=False)
class RuleBase:
    """A rule base read and compiled once, used for any number of cases."""

    knowledge: Knowledge
    rules: RuleSet

    @cached_property
    def reasoner(self) -> Reasoner:
        """The engine with its rules; for one case at a time, so threads need a rule base each."""
        return Reasoner(self.rules.branches)

    @cached_property
    def odds(self) -> Odds:
        """What of it can be at odds on record."""
        return Odds(self.knowledge, self.rules)


class Deduced(Struct, frozen=True):
    """A finding at a position: present or absent, the firings that say so, and those that say the opposite."""

    finding: str
    position: str
    state: str
    firings: tuple[Firing, ...]
    against: tuple[Firing, ...] = ()


@dataclass(frozen=True)
class Inference:
    """Everything deduced of a case. Mappings by position, then name."""

    case: Case
    base: RuleBase
    quantities: tuple[Quantity, ...]
    facts: tuple[Fact, ...]
    firings: tuple[Firing, ...]
    findings: Mapping[str, Mapping[str, Deduced]]
    ruled_out: Mapping[str, Mapping[str, tuple[Firing, ...]]]
    common: Mapping[str, Mapping[str, Firing]]
    cautions: Mapping[str, tuple[Firing, ...]]

    @cached_property
    def at_odds(self) -> tuple[Odd, ...]:
        """What on record does not go together."""
        return self.base.odds.of(self.case, self.quantities)

    @cached_property
    def contradicted(self) -> Mapping[str, frozenset[tuple[str, int]]]:
        """By position: the actions that the record contradicts, as card and place on it."""
        fired = [(f.position, f.branch.conclusion) for f in self.firings if f.branch.conclusion.kind == "contradicted"]
        return {p: frozenset((c.name, int(c.state)) for place, c in fired if place == p) for p in self.case.positions}

    @cached_property
    def _inputs(self) -> dict[str, frozenset[str]]:
        return inputs_of(self.quantities)

    @cached_property
    def rows(self) -> dict[tuple[str, Any], list[Mapping[str, Any]]]:
        """Facts by table and term, once `match.facts_of` has laid them out."""
        return {}

    @cached_property
    def _leaves(self) -> dict[str, frozenset[str]]:
        return {}

    def leaves(self, fact_id: str) -> frozenset[str]:
        """The ids of the recorded observations, readings and settings that a fact rests on."""
        if fact_id in self._leaves:
            return self._leaves[fact_id]
        if fact_id.startswith("f:"):
            name, _, position = fact_id[2:].rpartition("@")
            deduced = self.findings[position].get(name)
            firings = deduced.firings if deduced else ()
            told = {fact_id} if deduced and not firings else set()
            result = frozenset(x for f in firings for ids in f.supports for i in ids for x in self.leaves(i)) | told
        else:
            result = records_of(fact_id, self._inputs)
        self._leaves[fact_id] = result
        return result

    def take_leaves(self, before: Inference, moved: Set[str]) -> None:
        """Takes over what facts rest on from the deduction of a case little changed, but for the findings that moved."""
        gone = {finding_id(name, position) for name in moved for position in self.case.positions}
        self._leaves.update((fact_id, leaves) for fact_id, leaves in before._leaves.items() if fact_id not in gone)

    def leaves_of_finding(self, finding: str, position: str) -> frozenset[str]:
        return self.leaves(finding_id(finding, position))


def settle() -> None:
    """What has been read lasts, so that collecting leaves it alone; and it is seldom worth it for what one case leaves."""
    gc.freeze()
    gc.set_threshold(COLLECTED)
    gc.enable()


def load(folder: Path, drafts: bool = False, kept: bool = True) -> RuleBase:
    """Reads and compiles a rule base folder, by its kept copy unless `kept` is False. Raises BadInput."""
    knowledge = open_knowledge(folder, drafts) if kept else read_knowledge(folder, drafts)
    return RuleBase(knowledge, compile_rules(knowledge))


def infer(case: Case, base: RuleBase) -> Inference:
    """Deduces findings, priors, exclusions and cautions. Pure: the same case and base give the same result."""
    return deduce(case, base, compute(case, base.knowledge))


def deduce(
    case: Case, base: RuleBase, quantities: tuple[Quantity, ...], told: Mapping[str, str] | None = None
) -> Inference:
    """As `infer`, from given quantities; `told` maps findings taken as given, everywhere as FINDING or at one seal as
    FINDING@POSITION, to present or absent."""
    facts = case_facts(case, base.knowledge, quantities, base.rules)
    places = seal_positions(case)
    given = {p: _told_at(told or {}, p) for p, _ in places}
    facts += tuple(
        make("found", finding_id(f, p), finding=f, state=state, position=p, other=other)
        for p, other in places for f, state in sorted(given[p].items())
    )  # fmt: skip
    return gathered(case, base, quantities, facts, base.reasoner.run(facts, places), given)


def gathered(
    case: Case, base: RuleBase, quantities: tuple[Quantity, ...], facts: tuple[Fact, ...], firings: tuple[Firing, ...],
    given: Mapping[str, Mapping[str, str]],
) -> Inference:  # fmt: skip
    """What firings amount to; `given` are the findings told at each position, with their states."""
    findings: dict[str, dict[str, Deduced]] = {}
    ruled_out: dict[str, dict[str, tuple[Firing, ...]]] = {}
    common: dict[str, dict[str, Firing]] = {}
    for position in case.positions:
        here = [f for f in firings if f.position == position]
        findings[position] = _findings(here, position)
        findings[position] |= {f: Deduced(f, position, state, ()) for f, state in given.get(position, {}).items()}
        ruled_out[position] = _grouped([f for f in here if f.branch.conclusion.kind == "ruled out"])
        priors = _grouped([f for f in here if f.branch.conclusion.kind == "common"])
        common[position] = {cause: _strongest(fs, cause, base.knowledge) for cause, fs in priors.items()}
    cautions = _grouped([f for f in firings if f.branch.conclusion.kind == "caution"])
    return Inference(case, base, quantities, facts, firings, findings, ruled_out, common, cautions)


def _told_at(told: Mapping[str, str], position: str) -> dict[str, str]:
    named = ((key.partition("@"), state) for key, state in told.items())
    return {finding: state for (finding, _, place), state in named if place in ("", position)}


def _grouped(firings: list[Firing]) -> dict[str, tuple[Firing, ...]]:
    groups: dict[str, list[Firing]] = {}
    for f in firings:
        groups.setdefault(f.branch.conclusion.name, []).append(f)
    return {name: tuple(groups[name]) for name in sorted(groups)}


def _findings(firings: list[Firing], position: str) -> dict[str, Deduced]:
    """Present wins where rules say both: one mark seen outweighs another place where it was not."""
    said: dict[str, tuple[list[Firing], list[Firing]]] = {}
    for f in firings:
        conclusion = f.branch.conclusion
        if conclusion.kind == "found":
            said.setdefault(conclusion.name, ([], []))[conclusion.state != "present"].append(f)
    result = {}
    for name, (present, absent) in sorted(said.items()):
        sides = ("present", tuple(present), tuple(absent)) if present else ("absent", tuple(absent))
        result[name] = Deduced(name, position, *sides)
    return result


def _strongest(firings: tuple[Firing, ...], cause: str, knowledge: Knowledge) -> Firing:
    """Of several settings that change how common a cause is, the one that changes it most."""
    words = knowledge.words.common
    base = words[knowledge.causes[cause].common]

    def change(f: Firing) -> float:
        ratio = words[f.branch.conclusion.state] / base
        return max(ratio, 1 / ratio)

    return max(firings, key=change)
