"""Records, numbers, premises and the authors' sentences as text, for every view of the reasoning."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from functools import cached_property

from diagnose.casefile.model import Act, Case, Measured, Observation, SettingFact, State
from diagnose.casefile.wording import describe, describe_act, describe_reading, describe_state, extent_text
from diagnose.inference.rules import Premise
from diagnose.inference.run import Inference
from diagnose.knowledge.model import Knowledge, Limit
from diagnose.knowledge.wording import phrase
from diagnose.quantities.model import Quantity
from diagnose.reading.entry import replace
from diagnose.reading.figures import listed
from diagnose.reading.units import show

_SIGNS = {"<": "<", "<=": "≤", ">": ">", ">=": "≥", "==": "is", "!=": "is not"}
_BLANK = {"part": "the part", "parts": "the parts", "extent": "an extent not recorded", "quantity": "the number"}
_QUALIFIERS = {"extent": "extent", "side": "side", "rank": "degree"}


def position_name(position: str) -> str:
    return position if position in ("seal", "machine", "") else f"{position} seal"


def record_text(record: Observation | Measured | SettingFact | State | Act, case: Case, knowledge: Knowledge) -> str:
    """One record in one line."""
    if isinstance(record, Observation):
        return describe(record, case)
    if isinstance(record, Measured):
        return describe_reading(record, knowledge.vocabulary.readings[record.what].unit)
    if isinstance(record, State):
        return describe_state(record)
    if isinstance(record, Act):
        return describe_act(record)
    return f"{record.setting}: {'' if record.holds else 'not '}{record.term}"


def quantity_text(q: Quantity) -> str:
    """A computed quantity with its value and the ends of its uncertainty where they differ."""
    if q.value is None:
        return f"{q.name} {q.word}" if q.word else f"{q.name}: {q.problem}"
    ends = f" ({show(q.low, q.unit)} to {show(q.high, q.unit)})" if q.high > q.low else ""
    return f"{q.name} {show(q.value, q.unit)}{ends}" + (f", {q.word}" if q.word else "")


def premise_text(premise: Premise, knowledge: Knowledge) -> str:
    """What a premise asks for, as the rule's author wrote it; denial said as denial, limits with their values."""
    c, wanted = premise.condition, dict(premise.equals)
    if premise.table != "seen":
        text = phrase(replace(c, form="found") if c.form == "not found" else c)
        if premise.table == "limit":
            text += f" ({_limit_text(knowledge.limits[c.limit], knowledge.vocabulary.quantities[c.term].unit)})"
        return f"not known: {text}" if premise.negated else text
    asked = phrase(replace(c, form="saw"))
    if c.form == "saw":
        return f"no {asked} on record" if premise.negated else asked
    if premise.negated:
        unsaid = next((word for slot, word in _QUALIFIERS.items() if wanted.get(slot, "said") in ("", 0)), "")
        return f"no record of {c.term} that leaves its {unsaid} open" if unsaid else f"no {asked} on record"
    if wanted["state"] == "absent":
        return f"{asked} not there"
    return f"{phrase(replace(c, form='saw', extent='', side='', degree=''))}, but not {c.extent or c.side or c.degree}"


def _limit_text(limit: Limit, unit: str) -> str:
    values = dict.fromkeys(show(v.value, unit) for v in sorted(limit.values, key=lambda v: v.value))
    return f"{limit.sense} {' or '.join(values)}"


def compared(premise: Premise, q: Quantity, knowledge: Knowledge) -> str:
    """A number against what it was compared with: track width 4.6 mm > 4 mm."""
    if premise.table == "limit":
        limit = knowledge.limits[str(dict(premise.equals)["limit"])]
        outside = dict(premise.equals)["verdict"] == "outside"
        sign = (">" if outside else "≤") if limit.sense == "at most" else ("<" if outside else "≥")
        value = limit.lax if outside else limit.strict
        source = next(v.source for v in limit.values if v.value == value)
        return f"{quantity_text(q)} {sign} {show(value, q.unit)}, the limit {limit.name!r} ({knowledge.sources[source].title})"
    assert premise.compare
    _, sign, wanted = premise.compare
    return f"{quantity_text(q)} {_SIGNS[sign]} {wanted if isinstance(wanted, str) else show(wanted, q.unit)}"


class Sentences:
    """The author's sentence of each finding, its slots filled from the records the finding rests on."""

    def __init__(self, inference: Inference):
        self.inference = inference

    @cached_property
    def _records(self) -> Mapping[str, Observation]:
        return {o.id: o for o in self.inference.case.observations}

    @cached_property
    def _quantities(self) -> Mapping[str, Quantity]:
        return {q.id: q for q in self.inference.quantities}

    def of(self, finding: str, position: str) -> str:
        """What the finding reads as; where it is absent, that it was looked for; plain where it is not recorded."""
        card = self.inference.base.knowledge.findings[finding]
        deduced = self.inference.findings[position].get(finding)
        if deduced is not None and deduced.state == "absent":
            return f"Looked for, and not so: {finding}."
        ids = self._facts_below(finding, position)
        return re.sub(r"\{(\w+)\}", lambda m: self._fill(m.group(1), ids, position), card.reads)

    def _facts_below(self, finding: str, position: str) -> list[str]:
        """Ids of observations and quantities under a finding, in the order of its premises."""
        deduced = self.inference.findings[position].get(finding)
        ids: list[str] = []
        for firing in deduced.firings if deduced else ():
            for id in (i for supports in firing.supports for i in supports):
                if id.startswith("f:"):
                    name, _, place = id[2:].rpartition("@")
                    ids += self._facts_below(name, place)
                else:
                    ids += id.split("+")
        return list(dict.fromkeys(ids))

    def _fill(self, slot: str, ids: Iterable[str], position: str) -> str:
        ids = list(ids)
        if slot == "position":
            return "the " + (position_name(position) if position != "machine" else "machine")
        if slot == "quantity":
            found = [quantity_text(self._quantities[i]) for i in ids if i in self._quantities]
        elif slot == "extent":
            found = [extent_text(self._records[i].extent) for i in ids if i in self._records]
        else:
            found = [self._part(i) for i in ids if i in self._records or i in self._quantities]
        found = list(dict.fromkeys(f for f in found if f))
        if not found:
            return _BLANK[slot]
        return found[0] if slot != "parts" else listed(found)

    def _part(self, id: str) -> str:
        thing = self._records.get(id) or self._quantities[id]
        part = self.inference.case.part(thing.part)
        return f"{part.name} ({part.item})" if part else f"the {thing.kind}" if thing.kind else ""
