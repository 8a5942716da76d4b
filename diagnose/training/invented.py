"""Seals drawn from the network, to be taken apart as drills. They never were, and say so.

A root cause is drawn by how common it is, of those that the job sheet allows; then each mechanism by what brings it about;
then the marks by how often they are left. From the second level on marks of something easily taken for it mislead, on the
third an old defect of no consequence is there too. Marks become records by what their rules ask for.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence, Set
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from diagnose.authoring.witness import NoWitness, Record, Witness
from diagnose.casefile.format import record_id
from diagnose.casefile.model import Act, Case, Expected, Extent, Observation, Part, SettingFact, State
from diagnose.inference.rules import Branch
from diagnose.inference.run import RuleBase
from diagnose.judgement.diagnosis import Diagnosis, network_of
from diagnose.knowledge.model import Feature, Knowledge
from diagnose.reading.entry import replace
from diagnose.training.hidden import HISTORY, NEVER, Hidden

SINGLE, SEAL, MACHINE = "single", "seal", "machine"
MOST_TRIES = 200
LEAST_MARKS, LEAST_SIGNS = 3, 1
MISLEADING = 2
EXPECTED = 0.5
"""How often a mark is left, from which a record that rules it out tells another story."""
EVERYWHERE = 0.05
"""How often a mark is seen whatever happened, from which it may be of an earlier life."""
EARLIER = "old: worn smooth and stained over, of an earlier life"
PLAIN, MISLEADS, OLD_TOO = 1, 2, 3


class NothingDrawn(ValueError):
    """The rule base and the job sheets allow no seal."""


def drawn(sheets: Sequence[Diagnosis], number: int, level: int) -> Case:
    """The seal of a number and level on one of the job sheets. Raises NothingDrawn."""
    draw = np.random.default_rng([number, level])
    if not sheets:
        raise NothingDrawn
    for _ in range(MOST_TRIES):
        sheet = sheets[int(draw.integers(len(sheets)))]
        seal = _Seal(sheet.base, sheet.case, frozenset(sheet.inference.ruled_out[SEAL]), draw).drawn(level)
        if seal is not None:
            return replace(seal, name=f"Drawn seal {number}, level {level}", path=f"drawn-{number}-{level}")
    raise NothingDrawn


def sheets_of(cases: Sequence[Case], base: RuleBase) -> list[Diagnosis]:
    """Job sheets of single seals on which no finding stands yet, with all the usual parts of such a seal in hand."""
    found = []
    for case in cases:
        single = any(s.setting == "arrangement" and s.term == SINGLE and s.holds for s in case.settings)
        bare = replace(Hidden(case, base).known, parts=tuple(_usual(base.knowledge)), lost={})
        if not single or not bare.parts:
            continue
        sheet = Diagnosis(bare, base)
        if not any(d.state == "present" for d in sheet.inference.findings[SEAL].values()):
            found.append(sheet)
    return found


def _usual(knowledge: Knowledge) -> Iterator[Part]:
    for p in knowledge.arrangements.usual.get(SINGLE, ()):
        kind = knowledge.vocabulary.kinds[p.kind]
        yield Part(p.item, p.name, p.kind, MACHINE if kind.place == MACHINE else SEAL, p.group or kind.group,
                   carries=p.carries, touches=p.touches)  # fmt: skip


@dataclass
class _Seal:
    """One seal being drawn. `out`: the causes and mechanisms that its job sheet rules out."""

    base: RuleBase
    sheet: Case
    out: Set[str]
    draw: np.random.Generator
    observations: dict[str, Observation] = field(default_factory=dict)
    states: dict[str, State] = field(default_factory=dict)
    acts: dict[str, Act] = field(default_factory=dict)
    settings: dict[str, SettingFact] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.knowledge, self.net = self.base.knowledge, network_of(self.base)
        self.words, self.hidden = self.knowledge.vocabulary, Hidden(self.sheet, self.base)

    def drawn(self, level: int) -> Case | None:
        """The seal as a case; None where too little of what happened left a mark that could be written down."""
        cause = self._cause()
        happened = self._mechanisms(cause)
        if not happened:
            return None
        signs = [r.finding for r in self.knowledge.causes[cause].leaves if self._left(r.finding, r.seen)]
        marks = [
            r.finding for m in happened for r in self.knowledge.mechanisms[m].leaves if self._left(r.finding, r.seen)
        ]
        self._answers(cause)
        found = Diagnosis(self._case(), self.base).inference.findings[SEAL]
        there = {f for f, d in found.items() if d.state == "present"}
        expected_of = [
            r
            for n in (cause, *happened)
            for r in self.knowledge.card(n).leaves
            if self.knowledge.words.seen[r.seen] >= EXPECTED
        ]
        if len(there & set(signs)) < LEAST_SIGNS or len(there & {*signs, *marks}) < LEAST_MARKS:
            return None
        if level >= MISLEADS and not self._misleading(cause, happened):
            return None
        if level >= OLD_TOO and not self._old({*signs, *marks}):
            return None
        if self._denied({r.finding for r in expected_of}):
            return None
        main = [m for m in happened if not self.knowledge.mechanisms[m].leak_path] or happened
        expected = Expected((cause,), (main[0],), False, tuple(main[1:]), SEAL, source="drawn from the rule base")
        return self._case(expected)

    def _denied(self, findings: Set[str]) -> bool:
        """Whether what is on record, misleading and old marks with it, rules out any of these."""
        found = Diagnosis(self._case(), self.base).inference.findings[SEAL]
        return any(f in found and found[f].state != "present" for f in findings)

    def _case(self, expected: Expected | None = None) -> Case:
        return replace(
            self.sheet, invented=True, observations=tuple(self.observations.values()), states=tuple(self.states.values()),
            acts=tuple(self.acts.values()), settings=(*self.sheet.settings, *self.settings.values()), expected=expected,
        )  # fmt: skip

    def _cause(self) -> str:
        allowed = [c for c in self.net.causes if c not in self.out]
        weight = np.array([self.net.prior[self.net.column[c]] for c in allowed])
        return allowed[int(self.draw.choice(len(allowed), p=weight / weight.sum()))]

    def _mechanisms(self, cause: str) -> list[str]:
        """What the cause brought about, those first that bring others about."""
        net, column, happened = self.net, self.net.column[cause], list[str]()
        for i, name in enumerate(net.mechanisms):
            keep = net.to_mechanism.inhibition[i, column]
            for above in happened:
                keep *= net.between.inhibition[i, net.mechanism[above]]
            if self.draw.random() < 1 - keep and name not in self.out:
                happened.append(name)
        return happened

    def _left(self, finding: str, seen: str) -> bool:
        """Whether a mark is left and can be written down."""
        p = self.knowledge.words.seen[seen]
        otherwise = self.knowledge.words.seen[self.knowledge.findings[finding].otherwise]
        return p > otherwise and float(self.draw.random()) < p and self._written(finding)

    def _answers(self, cause: str) -> None:
        for told in self.knowledge.causes[cause].answers.values():
            names = list(told)
            weight = np.array([self.knowledge.words.seen[told[n]] for n in names])
            self._written(names[int(self.draw.choice(len(names), p=weight / weight.sum()))])

    def _misleading(self, cause: str, happened: Sequence[str]) -> bool:
        """Marks of something easily taken for what happened, but not the one that tells the two apart."""
        cards = [self.knowledge.card(n) for n in (cause, *happened)]
        others = [(x.other, x.finding) for card in cards for x in card.look_alikes if x.other not in (cause, *happened)]
        for i in self.draw.permutation(len(others)).tolist():
            other, parting = others[i]
            rows = [r.finding for r in self.knowledge.card(other).leaves if r.finding != parting]
            added = 0
            for j in self.draw.permutation(len(rows)).tolist():
                added += added < MISLEADING and self._written(rows[j])
            if added:
                return True
        return False

    def _old(self, ours: Set[str]) -> bool:
        """A defect of an earlier life: a mark on a part that is seen whatever happened and that nothing of this left."""
        seen, cards = self.knowledge.words.seen, self.knowledge.findings.values()
        names = [f.name for f in cards if seen[f.otherwise] >= EVERYWHERE and f.name not in ours]
        for i in self.draw.permutation(len(names)).tolist():
            before = dict(self.observations)
            written = self._written(names[i])
            new = {k: o for k, o in self.observations.items() if k not in before}
            marks = all(o.part and len(self.words.form_lineage[o.feature]) > 1 for o in new.values())
            if written and new and marks:
                self.observations |= {k: replace(o, note=EARLIER) for k, o in new.items()}
                return True
            self.observations = before
        return False

    # ---- findings as records ----------------------------------------------------------------------------------

    def _written(self, finding: str) -> bool:
        """Records under which a finding should be present, put down where they fit what is there; whether there are any."""
        for branch in self.base.rules.branches:
            c = branch.conclusion
            if c.kind != "found" or c.state != "present" or c.name != finding:
                continue
            before = dict(self.observations), dict(self.states), dict(self.acts), dict(self.settings)
            if self._write(branch):
                return True
            self.observations, self.states, self.acts, self.settings = before
        return False

    def _write(self, branch: Branch) -> bool:
        try:
            records = Witness(self.knowledge).of(branch.premises).plain()
        except NoWitness:
            return False
        items = {str(r["item"]): r for r in records if "item" in r}
        return all(self._put(r, items) for r in records if "item" not in r)

    def _put(self, record: Record, items: dict[str, Record]) -> bool:
        if "saw" in record:
            return self._seen(record, items)
        if "setting" in record:
            ((setting, term),) = record["setting"].items()
            if self.words.settings[setting].section != HISTORY:
                return any(s.setting == setting and s.term == term and s.holds for s in self.sheet.settings)
            self.settings[f"{setting} {term}"] = SettingFact(record_id("s", setting, term), setting, term, True)
            return True
        return self._said(record)

    def _said(self, record: Record) -> bool:
        if "state" in record:
            said = dict(record["state"])
            at, when = str(said.pop("at", "")), str(said.pop("when", ""))
            ((variable, value),) = said.items() if len(said) == 1 else (("", ""),)
            if not variable or any(c.isdecimal() for c in str(value)):
                return False
            s = State(
                record_id("t", at, variable, value),
                at,
                variable,
                (str(value),),
                (),
                (when,) if when else (),
                position=MACHINE,
            )
            self.states[s.id] = s
            return True
        if "act" in record:
            said = record["act"]
            a = Act(record_id("a", str(said)), str(said["did"]), str(said.get("to", "")), str(said.get("with", "")),
                    str(said.get("when", "")), position=MACHINE)  # fmt: skip
            self.acts[a.id] = a
            return True
        return False

    def _seen(self, record: Record, items: dict[str, Record]) -> bool:
        feature = self.words.features[record["saw"]]
        wanted = items.get(str(record.get("part", "")), record)
        kind = str(record.get("on") or wanted.get("kind") or (feature.on or (SEAL,))[0])
        group, carries = str(wanted.get("group", "")), str(wanted.get("carries", record.get("face", "")))
        parts = [p for p in self._parts(kind, group, carries) if self._shows(feature, p)]
        part = next((p for p in parts if feature.name in self.hidden.looked_for(p.kind)), parts[0] if parts else None)
        around = kind in (SEAL, "atmosphere side", "leak", "fit")
        if part is None and self.words.kinds[kind].place == SEAL and not around:
            return False
        if part is None and not around and feature.form:
            # a general word on a part of the machine is what somebody may say, not what a checklist looks for
            return False
        if not self._fits(feature, part):
            return False
        o = self._observation(feature.name, part, record, kind)
        self.observations[o.id] = o
        return True

    def _parts(self, kind: str, group: str, carries: str) -> Iterator[Part]:
        lines = self.words.lineage
        for p in self.sheet.parts:
            of = kind in lines[p.kind] or (p.kind in lines[kind] and self.words.kinds[kind].place == SEAL)
            if of and group in ("", p.group) and (not carries or carries == p.carries):
                yield p

    def _shows(self, feature: Feature, part: Part) -> bool:
        """Whether a mark can be on a part, and what perishes is looked for there as the seal is taken apart."""
        stays = self.hidden.last_stage(feature.name, part.kind) == NEVER
        return self.words.can_be_on(feature.name, part.kind) and (
            stays or feature.name in self.hidden.looked_for(part.kind)
        )

    def _fits(self, feature: Feature, part: Part | None) -> bool:
        """Whether a mark can be on a part beside what is there already."""
        here = [self.words.features[o.feature] for o in self.observations.values() if part and o.part == part.item]
        clash = any(
            feature.name in h.excludes
            or h.name in feature.excludes
            or h.gone
            or (feature.gone and h.name != feature.name)
            for h in here
        )
        return not clash

    def _observation(self, feature: str, part: Part | None, record: Record, kind: str = "") -> Observation:
        words = self.words
        named = part.kind if part else kind
        place = part.position if part else (MACHINE if words.kinds[kind].place == MACHINE else SEAL)
        such: tuple[tuple[str, str], ...] = tuple(
            sorted((k, str(v)) for k, v in record.items() if k in words.grammar.qualifiers)
        )
        content: tuple[Any, ...] = (
            feature,
            named,
            part.item if part else "",
            record.get("extent", ""),
            record.get("side", ""),
        )
        return Observation(
            record_id("o", *content), feature, "present", named, place, part.item if part else "", part.group if part else str(record.get("group", "")),
            part.carries if part else "", str(record.get("degree", "")), str(record.get("side", "")), Extent(str(record.get("extent", ""))),
            str(record.get("note", "")), such=such,
        )  # fmt: skip
