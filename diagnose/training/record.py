"""A trainee's record as a case, and what the tool makes of it."""

from __future__ import annotations

from diagnose.casefile.model import Act, Case, Event, Extent, Measured, Observation, SettingFact, State
from diagnose.inference.run import infer
from diagnose.judgement.diagnosis import Diagnosis
from diagnose.reading.entry import replace
from diagnose.training.bench import Bench, Seen
from diagnose.training.hidden import Record
from diagnose.training.looking import common_kind

MOST_APART = 300.0
"""Degrees; a mark that runs further is no longer in one sector."""


def record_of(bench: Bench) -> Case:
    """What the trainee has on record, at the stage reached."""
    known, records = bench.hidden.known, recorded(bench)

    def of(kind: type) -> tuple:  # type: ignore[type-arg]
        return tuple(r for r in records if isinstance(r, kind))

    return replace(
        known, stage=bench.stage, observations=(*of(Observation), *bench.sound), measured=(*known.measured, *of(Measured)),
        settings=(*known.settings, *of(SettingFact)), states=of(State), acts=of(Act), events=of(Event),
    )  # fmt: skip


def recorded(bench: Bench) -> list[Record]:
    """The records of what was seen, each once and as well as it was seen, in the order of the truth."""
    best: dict[str, Seen] = {}
    for s in bench.seen:
        held = best.get(s.trace)
        better = Seen(s.trace, held.act, held.clock or s.clock, held.place or s.place) if held else s
        best[s.trace] = better
    found = (as_seen(bench, best[t.id]) for t in bench.hidden.traces if t.id in best)
    return [r for r in found if r is not None]


def as_seen(bench: Bench, s: Seen) -> Record | None:
    """A record without what was lost of it; None where nobody can say to which seal it belongs."""
    record = bench.hidden.by_id[s.trace].record
    if not isinstance(record, Observation | Measured):
        return record
    if not s.clock:
        record = without_clock(record)
    if s.place:
        return record
    parts = [bench.hidden.parts[i] for i in sorted(bench.group(record.part))]
    if len({p.position for p in parts}) > 1:
        return None
    kind = common_kind(bench.hidden, parts)
    group = parts[0].group if len({p.group for p in parts}) == 1 else ""
    return replace(record, part="", kind=kind, group=group)


def without_clock(record: Observation | Measured) -> Observation | Measured:
    """Where a mark sat on the clock is not known any more; how far it went is."""
    if isinstance(record, Measured):
        return replace(record, around=())
    arcs = record.extent.arcs
    wide = sum((b - a) % 360 for a, b in arcs)
    word = "all round" if wide > MOST_APART else "one sector" if len(arcs) == 1 else "patches"
    return replace(record, extent=Extent(word) if arcs else record.extent)


def diagnosis_of(bench: Bench) -> Diagnosis:
    """The tool's own answer on the trainee's record; what measurements showed not to be so is taken as given."""
    case, base = record_of(bench), bench.hidden.base
    known = infer(case, base).findings
    told = {f"{f}@{p}": "absent" for p in case.positions for f in sorted(bench.told) if f not in known[p]}
    return Diagnosis(case, base, told)
