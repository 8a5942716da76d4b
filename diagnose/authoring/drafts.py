"""Drafts for authors: the tests of a finding or caution worked out from its rule.

Of the many fragments that could test a rule, those are kept that exercise a condition in a new way or notice a
change to the rule that no fragment before noticed. What a fragment must show follows from how it was built; a
fragment on which the rule says otherwise is dropped, never turned into an expectation.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any

import yaml

from diagnose.authoring.matching import Matcher
from diagnose.authoring.mutants import Mutant, of_finding
from diagnose.authoring.rule_test_reader import RuleTest, parse_tests
from diagnose.authoring.rule_test_runner import Workshop
from diagnose.authoring.witness import Fragment, NoWitness, Record, Witness
from diagnose.inference.match import facts_of
from diagnose.inference.rules import TooWide
from diagnose.inference.run import Inference
from diagnose.knowledge.model import Caution, Condition, Finding
from diagnose.reading.problems import Problems

PRESENT, ABSENT, OPEN = "present", "absent", "open"
MOST = 8
"""So many fragments of one sort are tried at most."""
_KEY = {PRESENT: "finds", ABSENT: "finds absent", OPEN: "leaves open"}


@dataclass
class Draft:
    """One test to be written. `fragments` with more than one entry become `given each`."""

    name: str
    fragments: list[Fragment]
    expects: dict[str, Any]
    at: str = ""


@dataclass
class Drafter:
    workshop: Workshop
    witness: Witness = field(init=False)
    matcher: Matcher = field(init=False)

    def __post_init__(self) -> None:
        self.knowledge = self.workshop.base.knowledge
        self.witness, self.matcher = Witness(self.knowledge), Matcher(self.knowledge)

    # ---- findings -----------------------------------------------------------------------------------------

    def finding(self, f: Finding) -> list[Draft]:
        """Tests of a finding: what shows it, what shows that it is not so, and what leaves it open."""
        kept: dict[tuple[str, str], list[Fragment]] = {}
        waiting = list(of_finding(f, self.knowledge))
        waiting = [m for m in waiting if m.part != "otherwise"]
        seen: set[tuple[Condition, bool | None]] = set()
        tried: set[str] = set()
        for fragment, intended in self._candidates(f):
            content = str(fragment.plain())
            if content in tried:
                continue
            tried.add(content)
            inference = self.try_out(fragment)
            if inference is None:
                continue
            position = fragment.at or inference.case.positions[0]
            here = inference.findings[position].get(f.name)
            state = here.state if here else OPEN
            if state not in intended:
                continue
            new = self._truths(f, inference, position) - seen
            noticed = [m for m in waiting if self._state(m, inference, position) != state]
            group = kept.setdefault((state, fragment.at), [])
            if not (new or noticed or (state == PRESENT and not group) or fragment.edge or not fragment.records):
                continue
            seen |= new
            waiting = [m for m in waiting if m not in noticed]
            group.append(fragment)
        order = [PRESENT, ABSENT, OPEN]
        groups = sorted(kept.items(), key=lambda item: (order.index(item[0][0]), item[0][1]))
        names = {PRESENT: "{} follows from", ABSENT: "{} is not so by", OPEN: "{} stays open with"}
        result = []
        for (state, at), fragments in groups:
            which = "each of these" if len(fragments) > 1 else "this" if fragments[0].records else "nothing on record"
            name = f"{names[state].format(capital(f.name))} {which}" + (f" on the {at} seal" if at else "")
            result.append(Draft(name, fragments, {_KEY[state]: [f.name]}, at))
        return result

    def _candidates(self, f: Finding) -> Iterator[tuple[Fragment, set[str]]]:
        yield Fragment((), "", "nothing on record"), {OPEN, ABSENT}
        present = self.matcher.expanded(f.when) if f.when else []
        absent = self.matcher.expanded(f.absent_when) if f.absent_when else []
        for premises in present:
            yield from self.built(premises, {PRESENT})
        for premises in absent:
            yield from self.built(premises, {ABSENT})
        for premises in present:
            yield from self.undone(premises, {ABSENT, OPEN, PRESENT})
        for premises in absent:
            yield from self.undone(premises, {PRESENT, OPEN, ABSENT})

    def built(self, premises: Sequence[Any], intended: set[str]) -> Iterator[tuple[Fragment, set[str]]]:
        try:
            yield self.witness.of(premises), intended
        except NoWitness:
            return

    def undone(self, premises: Sequence[Any], intended: set[str]) -> Iterator[tuple[Fragment, set[str]]]:
        try:
            for fragment in self.witness.undone(premises):
                yield fragment, intended
        except NoWitness:
            return

    def _truths(self, f: Finding, inference: Inference, position: str) -> set[tuple[Condition, bool | None]]:
        facts = facts_of(inference)
        return {
            (leaf.condition, leaf.truth)
            for c in (f.when, f.absent_when) if c
            for leaf in self.matcher.match(c, facts, position).leaves() if leaf.truth is not None
        }  # fmt: skip

    def _state(self, mutant: Mutant, inference: Inference, position: str) -> str:
        card, facts = mutant.card, facts_of(inference)
        assert isinstance(card, Finding)
        try:
            if self.matcher.holds(card.when, facts, position):
                return PRESENT
            return ABSENT if self.matcher.holds(card.absent_when, facts, position) else OPEN
        except TooWide:
            return "refused"

    def test_of(self, records: Sequence[Record], **expects: Any) -> RuleTest | None:
        """A fragment through the reader of tests; None where it contradicts itself."""
        text = dump([{"test": "draft", "given": list(records), **(expects or {"leaves open": []})}])
        problems = Problems()
        tests = parse_tests(text.encode(), "draft", "finding", "", self.knowledge, problems)
        return None if problems.found or not tests else tests[0]

    def try_out(self, fragment: Fragment) -> Inference | None:
        test = self.test_of(fragment.plain())
        return self.workshop.infer(test) if test else None

    # ---- cautions -----------------------------------------------------------------------------------------

    def caution(self, caution: Caution) -> list[Draft]:
        if caution.when is None:
            return [Draft(f"{capital(caution.name)} always stands", [Fragment()], {"cautions": [caution.name]})]
        raised: list[Fragment] = []
        silent: list[Fragment] = []
        for premises in self.matcher.expanded(caution.when):
            raised += [f for f, _ in self.built(premises, set())]
            silent += [f for f, _ in self.undone(premises, set())]
        raised = unique(f for f in raised if self._raised(caution, f))
        silent = unique([Fragment(), *(f for f in silent if self._raised(caution, f) is False)])
        return [
            Draft(f"{capital(caution.name)} is raised by each of these", raised, {"cautions": [caution.name]}),
            Draft(f"{capital(caution.name)} is not raised by each of these", silent[:MOST],
                  {"no cautions": [caution.name]}),
        ]  # fmt: skip

    def _raised(self, caution: Caution, fragment: Fragment) -> bool | None:
        inference = self.try_out(fragment)
        return None if inference is None else caution.name in inference.cautions


def unique(fragments: Iterable[Fragment]) -> list[Fragment]:
    """Each content once, in order."""
    return list({str(f.plain()): f for f in reversed(list(fragments))}.values())[::-1]


def dump(value: Any) -> str:
    return yaml.safe_dump(value, sort_keys=False, allow_unicode=True, default_flow_style=False, width=10_000)


def capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def told(present: Iterable[str], absent: Iterable[str] = ()) -> list[Record]:
    """Records of findings taken as given."""
    named = {"found": list(present), "found absent": list(absent)}
    return [{key: names} for key, names in named.items() if names]


def given(records: Iterable[Record]) -> Fragment:
    return Fragment(tuple(("", r) for r in records))


def ordinal(n: int) -> str:
    words = ("first", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth", "ninth", "tenth")
    return words[n - 1] if n <= len(words) else f"{n}th"
