"""Drafts for authors: the tests of a finding, cause or caution worked out from its rule, and skeletons of new cards.

Of the many fragments that could test a rule, those are kept that exercise a condition in a new way or notice a
change to the rule that no fragment before noticed. What a fragment must show follows from how it was built; a
fragment on which the rule says otherwise is dropped, never turned into an expectation.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any

import yaml

from diagnose.authoring.matching import Matcher
from diagnose.authoring.mutation import Mutant, of_finding
from diagnose.authoring.rule_tests import RuleTest, Workshop, best_odds, parse_tests, ranked
from diagnose.authoring.witness import Fragment, NoWitness, Record, Witness
from diagnose.inference.match import facts_of
from diagnose.inference.rules import TooWide
from diagnose.inference.run import Inference, deduce
from diagnose.judgement.judge import decibans, judge
from diagnose.knowledge.conditions import negate
from diagnose.knowledge.model import Cause, Caution, Condition, Finding, LookAlike
from diagnose.reading.problems import Problems

PRESENT, ABSENT, OPEN = "present", "absent", "open"
MARGIN = 0.3
"""Decibans by which a parting finding should decide between two causes."""
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
            yield from self._built(premises, {PRESENT})
        for premises in absent:
            yield from self._built(premises, {ABSENT})
        for premises in present:
            yield from self._undone(premises, {ABSENT, OPEN, PRESENT})
        for premises in absent:
            yield from self._undone(premises, {PRESENT, OPEN, ABSENT})

    def _built(self, premises: Sequence[Any], intended: set[str]) -> Iterator[tuple[Fragment, set[str]]]:
        try:
            yield self.witness.of(premises), intended
        except NoWitness:
            return

    def _undone(self, premises: Sequence[Any], intended: set[str]) -> Iterator[tuple[Fragment, set[str]]]:
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
        return deduce(test.case, self.workshop.base, test.quantities, test.told) if test else None

    # ---- causes -------------------------------------------------------------------------------------------

    def cause(self, cause: Cause) -> list[Draft]:
        """Tests of a cause: it leads on its typical findings, each row weighs what it weighs, look-alikes part."""
        drafts = [*self._leads(cause), *self._weights(cause)]
        for other in cause.look_alikes:
            twin = any(x.cause == cause.name and x.finding == other.finding
                       for x in self.knowledge.causes[other.cause].look_alikes)  # fmt: skip
            if not twin or cause.name < other.cause:
                drafts += self._parted(cause, other)
        return [*drafts, *self._needs(cause), *self._commons(cause)]

    def told(self, present: Iterable[str], absent: Iterable[str] = ()) -> list[Record]:
        named = {"found": list(present), "found absent": list(absent)}
        return [{key: names} for key, names in named.items() if names]

    def judged(self, records: Sequence[Record]) -> Any:
        test = self.test_of(records)
        if test is None:
            return None
        inference = deduce(test.case, self.workshop.base, test.quantities, test.told)
        return inference, judge(inference, self.workshop.net)

    def typical(self, cause: Cause) -> list[str]:
        """The findings that a cause mostly shows, one a line, by what each can be expected to weigh."""
        seen = self.knowledge.words.seen
        worth: dict[str, float] = {}
        for row in cause.leaves:
            p, b = seen[row.seen], seen[self.knowledge.findings[row.finding].otherwise]
            worth[row.finding] = p * math.log10(p / b)
        order = sorted((f for f in worth if worth[f] > 0.05), key=lambda f: (-worth[f], f))
        lines: dict[str, str] = {}
        for finding in order:
            lines.setdefault(self.knowledge.findings[finding].line, finding)
        return list(lines.values())

    def _leads(self, cause: Cause) -> Iterator[Draft]:
        """The fewest of its typical findings, heaviest first, on which the cause leads and is at least probable."""
        context = self._context(cause)
        typical = self.typical(cause)
        for n in range(min(2, len(typical)), len(typical) + 1):
            records = context + self.told(typical[:n])
            result = self.judged(records)
            if result is None:
                return
            _, judgements = result
            best = ranked(judgements)[0]
            if best.cause == cause.name and best.standing in ("established", "probable"):
                fragment = Fragment(tuple(("", r) for r in records))
                word = best.standing if best.standing == "established" else "at least probable"
                expects = {"leads": cause.name, "standing": {cause.name: word}}
                yield Draft(f"{capital(cause.name)} leads on its typical findings", [fragment], expects)
                return

    def _context(self, cause: Cause) -> list[Record]:
        """Settings under which nothing rules the cause out."""
        records: list[Record] = []
        for need in cause.needs:
            for premises in self.matcher.expanded(need.condition):
                try:
                    made = self.witness.of(premises).plain()
                except NoWitness:
                    continue
                records += [r for r in made if r not in records]
                break
        return records

    def _weights(self, cause: Cause) -> Iterator[Draft]:
        """Every row present where it counts, in as few tests as the lines of evidence allow."""
        context, left = self._context(cause), [r.finding for r in cause.leaves]
        number = 0
        while left:
            lines: dict[str, str] = {}
            for finding in left:
                lines.setdefault(self.knowledge.findings[finding].line, finding)
            chosen = list(lines.values())
            counting = self._counting(cause, context, chosen)
            if not counting:
                chosen = chosen[:1]
                counting = self._counting(cause, context, chosen)
            left = [f for f in left if f not in (counting or chosen)]
            if counting:
                number += 1
                records = context + self.told(chosen)
                fragment = Fragment(tuple(("", r) for r in records))
                inference = self.try_out(fragment)
                assert inference
                yield Draft(f"What the findings of {cause.name} weigh together, {ordinal(number)} set", [fragment],
                            {"odds": {cause.name: self.odds(inference, cause)}})  # fmt: skip

    def _counting(self, cause: Cause, context: list[Record], chosen: list[str]) -> list[str]:
        """Those of the chosen findings that count themselves, not through another of their line."""
        inference = self.try_out(Fragment(tuple(("", r) for r in context + self.told(chosen))))
        if inference is None:
            return []
        best = best_odds(inference, self.workshop.net, cause.name, inference.case.positions)
        return [f for f, state, _ in best.weights if f in chosen and state == PRESENT]

    def _parted(self, cause: Cause, other: LookAlike) -> Iterator[Draft]:
        """With the parting finding one of the two stands first, without it the other."""
        favoured = other.favours
        against = other.cause if favoured == cause.name else cause.name
        cards = self.knowledge.causes
        context = self._context(cards[favoured])
        context += [r for r in self._context(cards[against]) if r not in context]
        rows = {r.finding for r in cards[favoured].leaves}
        shared = [f for f in self.typical(cards[against]) if f in rows and f != other.finding]
        alone = [f for f in self.typical(cards[against]) if f not in rows and f != other.finding]
        usual = [shared[:3], shared[:1], [], *([*shared[:2], *alone[:n]] for n in (1, 2))]
        for given in (*usual, *self._balanced(favoured, against, other.finding)):
            if self._turns(context, given, other.finding, favoured, against):
                first = Fragment(tuple(("", r) for r in context + self.told([*given, other.finding])))
                second = Fragment(tuple(("", r) for r in context + self.told(given, [other.finding])))
                name = f"{capital(other.finding)}: {favoured} before {against}"
                yield Draft(name, [first], {"ranks": [favoured, against]})
                name = f"Without {other.finding}: {against} before {favoured}"
                yield Draft(name, [second], {"ranks": [against, favoured]})
                return

    def _turns(self, context: list[Record], given: list[str], finding: str, favoured: str, against: str) -> bool:
        """Whether the finding, present or absent beside what is given, makes the one or the other cause rank first."""
        orders = []
        for told in (self.told([*given, finding]), self.told(given, [finding])):
            result = self.judged(context + told)
            names = [j.cause for j in ranked(result[1]) if j.standing != "ruled out"] if result else []
            if favoured not in names or against not in names:
                return False
            orders.append(names.index(favoured) < names.index(against))
        return orders == [True, False]

    def _balanced(self, favoured: str, against: str, finding: str) -> Iterator[list[str]]:
        """Sets of up to three typical findings beside which the two causes stand so close that the finding decides."""
        net, cards = self.workshop.net, self.knowledge.causes
        a, b, row = net.column[favoured], net.column[against], net.row[finding]
        start = decibans(net.prior[a] / net.prior[b])
        there = float(net.if_present[row, a] - net.if_present[row, b])
        not_there = float(net.if_absent[row, a] - net.if_absent[row, b])
        typical = dict.fromkeys((*self.typical(cards[against])[:10], *self.typical(cards[favoured])[:10]))
        typical.pop(finding, None)
        apart = {f: float(net.if_present[net.row[f], a] - net.if_present[net.row[f], b]) for f in typical}
        for size in (1, 2, 3):
            for given in itertools.combinations(typical, size):
                stands = start + sum(apart[f] for f in given)
                if stands + not_there < -MARGIN and stands + there > MARGIN:
                    yield list(given)

    def _needs(self, cause: Cause) -> Iterator[Draft]:
        out: list[Fragment] = []
        kept: list[Fragment] = []
        for need in cause.needs:
            denied = negate(need.condition)
            for premises in self.matcher.expanded(denied) if denied else ():
                out += self._fragments(premises)
                kept += self._changed(premises)
            for premises in self.matcher.expanded(need.condition):
                kept += self._fragments(premises)
        out = unique(f for f in out if self._ruled(cause, f))
        kept = unique([*(f for f in kept if self._ruled(cause, f) is False), Fragment()])
        if out:
            yield Draft(f"{capital(cause.name)} cannot be with each of these", out, {"rules out": [cause.name]})
            yield Draft(
                f"{capital(cause.name)} stays possible with each of these", kept, {"does not rule out": [cause.name]}
            )

    def _ruled(self, cause: Cause, fragment: Fragment) -> bool | None:
        inference = self.try_out(fragment)
        if inference is None:
            return None
        return any(cause.name in out for out in inference.ruled_out.values())

    def _fragments(self, premises: Sequence[Any]) -> list[Fragment]:
        return [f for f, _ in self._built(premises, set())]

    def _changed(self, premises: Sequence[Any]) -> list[Fragment]:
        return [f for f, _ in self._undone(premises, set())] if len(premises) > 1 else []

    def _commons(self, cause: Cause) -> Iterator[Draft]:
        """The odds before anything is seen: as such, with each setting that changes them, and with part of it."""
        by_odds: dict[str, list[Fragment]] = {}
        for prior in cause.common_when:
            denied = negate(prior.when)
            holding, failing = self.matcher.expanded(prior.when), self.matcher.expanded(denied) if denied else []
            tried = [f for p in holding for f in self._fragments(p)] + [
                f for p in failing[:MOST] for f in self._fragments(p)
            ]
            for fragment in unique([*tried, *(f for p in holding[:MOST] for f in self._changed(p))]):
                said = self._prior(cause, fragment)
                if said:
                    by_odds.setdefault(said, []).append(fragment)
        for said, fragments in by_odds.items():
            yield Draft(
                f"How likely {cause.name} is in these settings, {said}", unique(fragments), {"odds": {cause.name: said}}
            )
        said = self._prior(cause, Fragment())
        yield Draft(f"How likely {cause.name} is before anything is seen", [Fragment()], {"odds": {cause.name: said}})

    def _prior(self, cause: Cause, fragment: Fragment) -> str:
        inference = self.try_out(fragment)
        return "" if inference is None else self.odds(inference, cause)

    def odds(self, inference: Inference, cause: Cause) -> str:
        return f"{best_odds(inference, self.workshop.net, cause.name, inference.case.positions).alone:+.1f} dB"

    # ---- cautions -----------------------------------------------------------------------------------------

    def caution(self, caution: Caution) -> list[Draft]:
        if caution.when is None:
            return [Draft(f"{capital(caution.name)} always stands", [Fragment()], {"cautions": [caution.name]})]
        raised: list[Fragment] = []
        silent: list[Fragment] = []
        for premises in self.matcher.expanded(caution.when):
            raised += [f for f, _ in self._built(premises, set())]
            silent += [f for f, _ in self._undone(premises, set())]
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


def ordinal(n: int) -> str:
    words = ("first", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth", "ninth", "tenth")
    return words[n - 1] if n <= len(words) else f"{n}th"
