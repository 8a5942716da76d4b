"""What every part of the report is told from: the reasoning about one case, and the words for its parts and places."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import networkx as nx

from diagnose.advice.actions import actions
from diagnose.advice.plan import Plan
from diagnose.casefile.model import Case, Extent, Measured, Observation
from diagnose.casefile.wording import extent_text
from diagnose.inference.run import Inference
from diagnose.judgement.chains import leaders
from diagnose.judgement.judge import Judged, Judgement
from diagnose.knowledge.model import Caution, Knowledge
from diagnose.quantities.model import Quantity
from diagnose.reading.units import show
from diagnose.trail.wording import Sentences
from diagnose.views.explanation import cautions
from diagnose.views.leading import not_looked_at, nothing_to_explain
from diagnose.views.report.blocks import Cite

MOST_LEDGERS = 3


@dataclass(frozen=True)
class Photo:
    """A photo named in the case. `data` is None where it cannot be shown, and `problem` says why."""

    data: bytes | None
    kind: str = ""
    digest: str = ""
    problem: str = ""


@dataclass(frozen=True)
class Material:
    """All that a report is made from."""

    inference: Inference
    judgements: Sequence[Judgement]
    graph: nx.DiGraph
    plan: Plan
    version: str
    photos: Mapping[str, Photo]
    journal: str = ""
    """How far a journal vouches for the case file, in a sentence."""
    earlier: Mapping[str, Any] = field(default_factory=dict)
    """The seals of this machine that are in the library, as plain data."""


class Told:
    """The material with its words. Sources get their numbers in the order in which they are first cited."""

    def __init__(self, material: Material):
        self.judgements, self.graph, self.plan = material.judgements, material.graph, material.plan
        self.inference, self.version, self.photos = material.inference, material.version, material.photos
        self.journal = material.journal
        self.case: Case = material.inference.case
        self.knowledge: Knowledge = material.inference.base.knowledge
        self.sentences = Sentences(material.inference)
        self.earlier = material.earlier
        self.advice = actions([x for x in material.judgements if not nothing_to_explain(material.inference, x)])
        self.several = len(self.case.positions) > 1
        self.odds = self.inference.at_odds
        self.numbers: dict[str, int] = {}

    def cite(self, *keys: str) -> Cite:
        known = [k for k in dict.fromkeys(keys) if k in self.knowledge.sources]
        return Cite(tuple(self.numbers.setdefault(k, len(self.numbers) + 1) for k in known))

    # ---- places and parts ---------------------------------------------------------------------------------------

    def place(self, position: str) -> str:
        """The seal position in words; "" where the case has only one."""
        return (
            f"{position} seal" if self.several and position not in ("machine", "") else position if self.several else ""
        )

    def at(self, position: str) -> str:
        return f" [{self.place(position)}]" if self.place(position) else ""

    def at_each(self, positions: Iterable[str]) -> str:
        """Several seal positions in words; of a pair both."""
        found = dict.fromkeys(positions)
        if self.several and set(found) == set(self.case.positions):
            return " [both seals]" if len(found) == 2 else " [all seals]"
        return "".join(map(self.at, found))

    def on(self, x: Observation | Measured | Quantity) -> str:
        """The part a record is about, else its kind, else its place."""
        part = self.case.part(x.part)
        if part:
            return f"{part.name} ({part.item})"
        place = "machine" if x.position in ("machine", "") else self.place(x.position) or "seal"
        return f"{x.kind}, {place}" if x.kind and self.several and place != "machine" else x.kind or place

    def is_at_odds(self, q: Quantity) -> bool:
        """Whether a quantity rests on a record with which another does not go."""
        return any(record and any(record in (*o.one, *o.other) for o in self.odds) for _, _, record in q.inputs)

    @cached_property
    def order(self) -> dict[str, int]:
        """Item numbers in their order; what is on no numbered part comes first."""
        return {"": -1} | {p.item: i for i, p in enumerate(self.case.parts)}

    # ---- the case in words --------------------------------------------------------------------------------------

    def figure(self, name: str) -> str:
        """A figure of the case as written; those of two seals side by side."""
        found = dict.fromkeys(
            r.written for x in self.case.measured if x.what == name and not x.part for r in x.readings
        )
        return " / ".join(found)

    def terms(self, setting: str) -> str:
        """The terms of a setting; where the seals of a pair differ, with the seal of each."""
        of = {s.position: s.term for s in self.case.settings if s.setting == setting and s.holds}
        if self.several and len(set(of.values())) > 1 and set(of) <= set(self.case.positions):
            return ", ".join(f"{of[place]} {place}" for place in self.case.positions if place in of)
        return ", ".join(dict.fromkeys(s.term for s in self.case.settings if s.setting == setting and s.holds))

    @cached_property
    def cautions(self) -> list[Caution]:
        return cautions(self.inference, self.judgements)

    @cached_property
    def raised(self) -> list[Caution]:
        """Those that a rule raised from this record, without those of every seal."""
        return [c for c in self.cautions if c.name in self.inference.cautions and not c.always]

    # ---- what is shown at length --------------------------------------------------------------------------------

    @cached_property
    def shown(self) -> list[tuple[Judgement, list[Judged]]]:
        """The causes whose ledgers are shown: the leading ones and the next best; none of a seal that was not looked at."""
        result = []
        for x in self.judgements:
            best = leaders(x)
            if not best and (not_looked_at(self.inference, x) or nothing_to_explain(self.inference, x)):
                result.append((x, best))
                continue
            rest = [j for j in x.causes if j not in best and j.standing != "ruled out"]
            result.append((x, [*best, *rest[: max(1, 2 - len(best))]][:MOST_LEDGERS]))
        return result


def hours(degrees: float) -> str:
    """A place on the clock: 3, 4:30."""
    return extent_text(Extent(arcs=((degrees, degrees),))).removeprefix("at ")


def with_ends(q: Quantity) -> str:
    """A quantity's word or value, with the ends of its uncertainty where they differ."""
    if q.value is None:
        return q.word
    scale = 1e-9 * max(abs(q.low), abs(q.high))
    low, high = (show(e if abs(e) > scale else 0.0, q.unit).removesuffix(q.unit).strip() for e in (q.low, q.high))
    return f"{q.word + ', ' if q.word else ''}{show(q.value, q.unit)}{f' ({low} to {high})' if low != high else ''}"
