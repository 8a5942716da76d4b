"""How things stand in a drill: what was done, what is on record, what is over and what was lost."""

from __future__ import annotations

from dataclasses import dataclass, field

from diagnose.casefile.model import Measured, Observation
from diagnose.training.hidden import Hidden, Trace

LOOK, MEASURE = "look", "measure"
EVERYTHING = "*"
GONE, CLOCK, PLACE = "gone", "clock", "place"


@dataclass(frozen=True)
class Act:
    """What a trainee does: `look` (also to ask), `measure`, or an act of `teardown.yaml`. `items` are parts, `kinds` what
    is looked at though it is no part of the list; neither means all. `features` narrow a look; `card` is a measurement,
    `reading` a plain one; `words` as typed, of which `unheard` were not understood."""

    verb: str
    items: tuple[str, ...] = ()
    kinds: tuple[str, ...] = ()
    features: tuple[str, ...] = ()
    card: str = ""
    reading: str = ""
    words: str = ""
    unheard: tuple[str, ...] = ()


@dataclass(frozen=True)
class Seen:
    """A trace on the trainee's record: by which act, and whether with its clock position and with its part known."""

    trace: str
    act: int
    clock: bool = True
    place: bool = True


@dataclass(frozen=True)
class Loss:
    """A trace that nobody saw in time: `what` is the whole of it, its clock position, or to which part it belongs; `stage`
    the one that ended, "" where none did."""

    trace: str
    act: int
    what: str
    stage: str = ""


@dataclass(frozen=True)
class Done:
    """An act done and the minutes it took."""

    act: Act
    minutes: float


@dataclass(frozen=True)
class Outcome:
    """What an act came to: `seen` traces, what was looked for and is `sound`, `late` what could not be looked for any
    more, `unseen` parts not yet in view; `refused` says why nothing was done."""

    seen: tuple[Seen, ...] = ()
    sound: tuple[Observation, ...] = ()
    late: tuple[str, ...] = ()
    unseen: tuple[str, ...] = ()
    minutes: float = 0.0
    refused: str = ""


@dataclass(frozen=True)
class Bench:
    """How things stand. `opened`: the stage reached, as a place in the order; `past`: stages before this place are over
    for the whole seal; `ended`: (part, kind or everything; place of a stage) over for these alone."""

    hidden: Hidden = field(repr=False, compare=False)
    opened: int = 1
    past: int = 1
    ended: frozenset[tuple[str, int]] = frozenset()
    kept: frozenset[tuple[str, str]] = frozenset()
    freed: frozenset[str] = frozenset()
    mixed: tuple[frozenset[str], ...] = ()
    pictured: frozenset[str] = frozenset()
    done: tuple[Done, ...] = ()
    seen: tuple[Seen, ...] = ()
    sound: tuple[Observation, ...] = ()
    sound_by_act: tuple[frozenset[str], ...] = ()
    told: frozenset[str] = frozenset()
    losses: tuple[Loss, ...] = ()

    @property
    def minutes(self) -> float:
        return sum(d.minutes for d in self.done)

    @property
    def stage(self) -> str:
        """The stage reached, as a case names it."""
        stages = self.hidden.words.stages
        return stages[min(self.past, len(stages) - 1)] if stages else ""

    def over(self, stage: str, item: str = "", kind: str = "") -> bool:
        """Whether a stage is over for a part, for what is on no part of the list, or for all parts of a kind."""
        stages = self.hidden.words.stages
        if stage not in stages:
            return False
        place = stages.index(stage)
        if place < self.past or (EVERYTHING, place) in self.ended:
            return True
        if item:
            return (item, place) in self.ended
        parts = [p.item for p in self.hidden.case.parts if self.hidden.related(p.kind, kind)]
        return (kind, place) in self.ended or (bool(parts) and all((i, place) in self.ended for i in parts))

    def gone(self, trace: Trace) -> bool:
        return trace.id not in self.pictured and self.over(trace.lost, trace.part, trace.kind)

    def group(self, item: str) -> frozenset[str]:
        """The parts that a part was mixed up with, itself included."""
        return next((g for g in self.mixed if item in g), frozenset({item}))

    def clock(self, trace: Trace) -> bool:
        """Whether the clock position of a trace can be read, as far as it has one."""
        if not has_clock(trace) or trace.id in self.pictured or trace.part not in self.freed:
            return True
        return (trace.part, CLOCK) in self.kept


def start(hidden: Hidden) -> Bench:
    """A trainee before an assembled seal: the machine stands, nothing is touched."""
    first = 1 if len(hidden.words.stages) > 1 else 0
    return Bench(hidden, first, first)


def has_clock(trace: Trace) -> bool:
    r = trace.record
    return bool(r.extent.arcs) if isinstance(r, Observation) else bool(isinstance(r, Measured) and r.around)
