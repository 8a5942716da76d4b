"""Changes to rules that a test should notice: one condition, word or threshold at a time.

A mutant is survived where every test and scenario still holds. A finding's new state is worked out premise by premise
on the facts of each test; where it does not differ from the old one, that test cannot notice.
"""

from __future__ import annotations

import multiprocessing
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from typing import Any

from diagnose.authoring.matching import Matcher
from diagnose.authoring.rule_test_reader import RuleTest
from diagnose.authoring.rule_test_runner import Outcome, Workshop, failures, ranked
from diagnose.authoring.witness import bounds, shifted
from diagnose.casefile.model import Case
from diagnose.inference.engine import Firing
from diagnose.inference.match import Facts, facts_of
from diagnose.inference.rules import Branch, Conclusion, TooWide
from diagnose.inference.run import Deduced, Inference, RuleBase, infer
from diagnose.judgement.judge import judge
from diagnose.judgement.network import Network, build
from diagnose.knowledge.conditions import EXTENTS, LEAVES, RELATIONS, negate, walk
from diagnose.knowledge.model import Cause, Caution, Condition, Explained, Finding, Knowledge
from diagnose.knowledge.wording import HEADS, phrase
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


# ---- making them ------------------------------------------------------------------------------------------


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
    for part, slot, about in (("leaves", "leaves", lambda row: (row.finding,)), ("brings about", "brings_about", lambda x: below[x.mechanism])):
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
        yield Mutant(kind, card.name, "needs", need.where, phrase(need.condition), "dropped", replace(card, needs=kept_needs))
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


# ---- trying them ------------------------------------------------------------------------------------------


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
