"""Which changes to the rules the tests and scenarios notice.

A mutant is survived where every test and scenario still holds. A finding's new state is worked out premise by premise
on the facts of each test; where it does not differ from the old one, that test cannot notice.
"""

from __future__ import annotations

import multiprocessing
from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from typing import Any

from diagnose.authoring.matching import Matcher
from diagnose.authoring.mutants import Mutant, mutants
from diagnose.authoring.rule_test_reader import RuleTest
from diagnose.authoring.rule_test_runner import Outcome, Workshop, failures, ranked
from diagnose.casefile.model import Case
from diagnose.inference.engine import Firing
from diagnose.inference.match import Facts, facts_of
from diagnose.inference.rules import Branch, Conclusion, TooWide
from diagnose.inference.run import Deduced, Inference, RuleBase, infer
from diagnose.judgement.judge import judge
from diagnose.judgement.network import Network, build
from diagnose.knowledge.conditions import LEAVES, negate, walk
from diagnose.knowledge.model import Cause, Caution, Condition, Explained, Finding
from diagnose.reading.entry import replace


@dataclass(frozen=True)
class Trial:
    """A test or scenario that holds on the unchanged rule base, ready to be asked again."""

    inference: Inference
    facts: Facts
    fails: Callable[[Inference, Network], bool]
    judged: bool
    weighs: bool
    told: frozenset[str] = frozenset()
    rule: str = ""


def trials(outcomes: Iterable[Outcome]) -> list[Trial]:
    """The tests that hold; one that fails already can notice nothing more."""

    def ask(test: RuleTest) -> Callable[[Inference, Network], bool]:
        def fails(inference: Inference, net: Network) -> bool:
            return next(iter(failures(test, inference, net)), None) is not None

        return fails

    return [
        Trial(o.inference, facts_of(o.inference), ask(o.test), o.test.judged, o.test.judged or bool(o.test.speaks_for or o.test.common),
              frozenset(key.partition("@")[0] for key in o.test.told), o.test.rule)
        for o in outcomes if not o.failures
    ]  # fmt: skip


def scenario_trials(cases: Iterable[Case], workshop: Workshop) -> list[Trial]:
    """Cases whose leading cause (or mechanism, where only that is known) is as expected, or whose standing is low where none is; the others notice nothing."""

    def ask(case: Case) -> Callable[[Inference, Network], bool]:
        expected = case.expected
        assert expected

        def fails(inference: Inference, net: Network) -> bool:
            judgements = [x for x in judge(inference, net) if expected.position in ("", x.position)]
            if expected.none_of_these:
                return any(j.standing in ("established", "probable") for j in ranked(judgements))
            kind, named = ("cause", expected.roots) if expected.roots else ("mechanism", expected.mechanisms)
            return ranked(judgements, kind)[0].name not in (*named, *expected.also)

        return fails

    result = []
    for case in cases:
        if case.expected:
            inference, fails = infer(case, workshop.base), ask(case)
            if not fails(inference, workshop.net):
                result.append(Trial(inference, facts_of(inference), fails, True, True))
    return result


class Hunt:
    """Tries mutants of one rule base against trials."""

    def __init__(self, workshop: Workshop, found: Sequence[Trial]):
        self.knowledge, self.net, self.trials = workshop.base.knowledge, workshop.net, list(found)
        self.base = workshop.base
        self.matcher = Matcher(self.knowledge)
        self.beside: dict[str, list[Trial]] = {}
        self.by_key: dict[tuple[str, Any], list[Trial]] = {}
        for trial in self.trials:
            self.beside.setdefault(trial.rule, []).append(trial)
            for key in trial.facts:
                self.by_key.setdefault(key, []).append(trial)
        self.weighing = [t for t in self.trials if t.weighs]
        self.by_finding: dict[str, list[Trial]] = {}
        for trial in self.weighing:
            for finding in sorted({f for here in trial.inference.findings.values() for f in here}):
                self.by_finding.setdefault(finding, []).append(trial)

    def notices(self, mutant: Mutant) -> bool:
        """Whether any trial fails on the changed rule base."""
        changed = self._changed(mutant)
        try:
            for net, trial in self._asked(mutant, changed):
                inference = self._reinfer(mutant, trial, changed)
                if inference is not None and trial.fails(inference, net):
                    return True
        except TooWide:
            return True
        return False

    def _asked(self, mutant: Mutant, changed: RuleBase) -> Iterator[tuple[Network, Trial]]:
        mine = self.beside.get(mutant.rule, [])
        if mutant.part in ("when", "absent when", "needs", "common when"):
            keys = {p.key for c in self._conditions(mutant) for leaf in walk(c) if leaf.form in LEAVES
                    for premises in self.matcher.expanded(leaf) for p in premises}  # fmt: skip
            others = [t for key in sorted(keys, key=str) for t in self.by_key.get(key, ())]
            seen: set[int] = set()
            for trial in (*mine, *others):
                if id(trial) not in seen:
                    seen.add(id(trial))
                    yield self.net, trial
            return
        net = build(changed.knowledge)
        could = self.weighing
        if mutant.about:
            could = list({id(t): t for f in mutant.about for t in self.by_finding.get(f, ())}.values())
        for trial in sorted(could, key=lambda t: (t.rule != mutant.rule, t.judged)):
            yield net, trial

    def _conditions(self, mutant: Mutant) -> list[Condition]:
        old = getattr(self.knowledge, mutant.kind + "s")[mutant.rule]
        return [c for card in (old, mutant.card) for c in _conditions_of(card)]

    def _changed(self, mutant: Mutant) -> RuleBase:
        key = mutant.kind + "s"
        changed: dict[str, Any] = {key: {**getattr(self.knowledge, key), mutant.rule: mutant.card}}
        return replace(self.base, knowledge=replace(self.knowledge, **changed))

    def _reinfer(self, mutant: Mutant, trial: Trial, changed: RuleBase) -> Inference | None:
        """The inference as the changed rule would make it; None where nothing differs."""
        inference, card = trial.inference, mutant.card
        if isinstance(card, Finding) and mutant.part != "otherwise":
            return None if card.name in trial.told else self._new_states(card, trial)
        if isinstance(card, Caution):
            raised = any(self.matcher.holds(card.when, trial.facts, p) for p in inference.case.positions)
            if raised == (card.name in inference.cautions):
                return None
            kept = {n: f for n, f in inference.cautions.items() if n != card.name}
            return replace(inference, cautions=kept | ({card.name: ()} if raised else {}))
        if mutant.part == "needs":
            return self._ruled(mutant, trial)
        if mutant.part == "common when":
            return self._common(mutant, trial)
        return replace(inference, base=changed)

    def _new_states(self, card: Finding, trial: Trial) -> Inference | None:
        inference = trial.inference
        findings = {p: dict(here) for p, here in inference.findings.items()}
        differs = False
        for position, here in findings.items():
            old = here[card.name].state if card.name in here else ""
            new = ""
            if self.matcher.holds(card.when, trial.facts, position):
                new = "present"
            elif self.matcher.holds(card.absent_when, trial.facts, position):
                new = "absent"
            if new != old:
                differs = True
                here.pop(card.name, None)
                if new:
                    here[card.name] = Deduced(card.name, position, new, ())
        return replace(inference, findings=findings) if differs else None

    def _ruled(self, mutant: Mutant, trial: Trial) -> Inference | None:
        cause, inference = mutant.card, trial.inference
        assert isinstance(cause, Explained)
        ruled = {p: dict(out) for p, out in inference.ruled_out.items()}
        for position, out in ruled.items():
            if any(
                (denied := negate(n.condition)) and self.matcher.holds(denied, trial.facts, position)
                for n in cause.needs
            ):
                out[cause.name] = out.get(cause.name, ())
            else:
                out.pop(cause.name, None)
        return None if ruled == inference.ruled_out else replace(inference, ruled_out=ruled)

    def _common(self, mutant: Mutant, trial: Trial) -> Inference | None:
        cause, inference = mutant.card, trial.inference
        assert isinstance(cause, Cause)
        words = self.knowledge.words.common
        base = words[cause.common]
        common = {p: dict(here) for p, here in inference.common.items()}
        for position, here in common.items():
            said = [p.common for p in cause.common_when if self.matcher.holds(p.when, trial.facts, position)]
            here.pop(cause.name, None)
            if said:
                word = max(said, key=lambda w: max(words[w] / base, base / words[w]))
                branch = Branch(cause.name, cause.id, 0, (), Conclusion("common", cause.name, word), cause.where)
                here[cause.name] = Firing(branch, position, ())
        old = {p: {c: f.branch.conclusion.state for c, f in here.items()} for p, here in inference.common.items()}
        new = {p: {c: f.branch.conclusion.state for c, f in here.items()} for p, here in common.items()}
        return None if old == new else replace(inference, common=common)


def _conditions_of(card: Finding | Explained | Caution) -> list[Condition]:
    if isinstance(card, Explained):
        return [n.condition for n in card.needs] + [p.when for p in getattr(card, "common_when", ())]
    found = [card.when, card.absent_when] if isinstance(card, Finding) else [card.when]
    return [c for c in found if c is not None]


def try_all(
    workshop: Workshop, found: Sequence[Trial], only: Collection[tuple[str, str]] = ()
) -> list[tuple[Mutant, bool]]:  # fmt: skip
    """Every mutant, or those of some (kind, name), and whether anything notices it; shared out among processes where possible."""
    chosen = [i for i, m in enumerate(mutants(workshop.base.knowledge)) if not only or (m.kind, m.rule) in only]
    _AT_WORK[:] = [Hunt(workshop, found), list(mutants(workshop.base.knowledge))]
    if len(chosen) < 200 or "fork" not in multiprocessing.get_all_start_methods():
        return [_try(i) for i in chosen]
    with ProcessPoolExecutor(mp_context=multiprocessing.get_context("fork")) as pool:
        return list(pool.map(_try, chosen, chunksize=50))


_AT_WORK: list[Any] = []
"""The hunt and its mutants, handed to worker processes by forking: facts and rules are too large to send."""


def _try(number: int) -> tuple[Mutant, bool]:
    hunt, every = _AT_WORK
    return every[number], hunt.notices(every[number])


def document(tried: Sequence[tuple[Mutant, bool]]) -> dict[str, Any]:
    """The result as plain data: totals and every survivor with its place."""
    survivors = [m for m, noticed in tried if not noticed]
    parts = sorted({m.part for m, _ in tried})
    return {
        "mutants": len(tried),
        "survived": len(survivors),
        "share": len(survivors) / len(tried) if tried else 0.0,
        "parts": {p: {"mutants": sum(m.part == p for m, _ in tried), "survived": sum(m.part == p for m in survivors)}
                  for p in parts},
        "survivors": [
            {"where": str(m.where), "kind": m.kind, "rule": m.rule, "part": m.part, "old": m.old, "new": m.new}
            for m in survivors
        ],
    }  # fmt: skip
