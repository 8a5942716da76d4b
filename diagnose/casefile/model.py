"""A case as recorded. Everything is immutable; numbers are SI, angles degrees clockwise as recorded."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cached_property

from msgspec import field

from diagnose.reading.entry import NOWHERE, Entry
from diagnose.reading.problems import Where
from diagnose.reading.units import Amount


class Extent(Entry, frozen=True):
    """How far a mark goes. `word`: all round, one sector, patches or "" (not said). Arcs run clockwise
    from start to end, degrees from the part's index as seen from the recorded end."""

    word: str = ""
    arcs: tuple[tuple[float, float], ...] = ()


class Part(Entry, frozen=True):
    """One physical item. `seen_from`: driver end or impeller end; `carries`: nose, wide or "".
    `touches`: item numbers of the parts it touches. `lost`: why nobody can look at it any more, "" where it is in hand.
    `towards`: the end that its face or head points to; `sat_in`: (thing, place) of what one item number has several of, as a
    spring in a pocket."""

    item: str
    name: str
    kind: str
    position: str
    group: str = ""
    index: str = ""
    seen_from: str = ""
    carries: str = ""
    index_offset: float | None = None
    tag: str = ""
    touches: tuple[str, ...] = ()
    lost: str = ""
    towards: str = ""
    sat_in: tuple[tuple[str, str], ...] = ()
    where: Where = NOWHERE


class Observation(Entry, frozen=True):
    """state: present, absent, not looked at, lost. `such`: qualifiers that the feature's name does not say; `which` of how many
    (`of`, 0 where not said) have it; `when` it was so; `said`: the words as said. `photo_digest`: sha256 of the photo when it
    was recorded."""

    id: str
    feature: str
    state: str
    kind: str
    position: str
    part: str = ""
    group: str = ""
    carries: str = ""
    degree: str = ""
    side: str = ""
    extent: Extent = Extent()
    note: str = ""
    photo: str = ""
    photo_digest: str = ""
    such: tuple[tuple[str, str], ...] = ()
    which: tuple[str, ...] = ()
    of: int = 0
    when: str = ""
    said: str = ""
    where: Where = NOWHERE

    @property
    def looked_for(self) -> bool:
        """Whether it is known to be there or not."""
        return self.state in ("present", "absent")


class Measured(Entry, frozen=True):
    """Readings in SI. `around`: clock positions in degrees, one a reading, or empty."""

    id: str
    what: str
    readings: tuple[Amount, ...]
    position: str
    part: str = ""
    kind: str = ""
    group: str = ""
    around: tuple[float, ...] = ()
    labels: tuple[str, ...] = ()
    resolution: float = 0.0
    instrument: str = ""
    temperature: Amount | None = None
    note: str = ""
    where: Where = NOWHERE


class SettingFact(Entry, frozen=True):
    """A term that holds (or, with holds False, is known not to) for a setting at a position ("" = everywhere)."""

    id: str
    setting: str
    term: str
    holds: bool
    position: str = ""
    where: Where = NOWHERE


class Remark(Entry, frozen=True):
    """Something said or photographed that is no mark: of the whole, or of a part by its item number. `of`: the mark of which
    it is a further photo."""

    note: str = ""
    part: str = ""
    photo: str = ""
    photo_digest: str = ""
    of: str = ""
    where: Where = NOWHERE


class Span(Entry, frozen=True):
    """A reading or a range in SI, as written; an end that is not known is None."""

    low: float | None
    high: float | None
    written: str


class State(Entry, frozen=True):
    """How something stood at a point. `values` are words of the variable, those that follow from the readings among them;
    `readings` in the order of time, `when` as many moments, one for all, or none. `holds` False: known not to be so."""

    id: str
    point: str
    variable: str
    values: tuple[str, ...]
    readings: tuple[Span, ...] = ()
    when: tuple[str, ...] = ()
    holds: bool = True
    position: str = ""
    said: str = ""
    note: str = ""
    where: Where = NOWHERE


class Act(Entry, frozen=True):
    """What was done or happened: to what, with what, when; `holds` False: known not to have been done."""

    id: str
    did: str
    to: str = ""
    using: str = ""
    when: str = ""
    holds: bool = True
    position: str = ""
    said: str = ""
    note: str = ""
    where: Where = NOWHERE


class Event(Entry, frozen=True):
    """Something that happened to the machine, with its day as written."""

    date: str
    what: str


class Custody(Entry, frozen=True):
    """What was done with parts (item numbers, none: the whole seal) outside the machine: by whom, from and to whom, when
    (ISO 8601), where, and the number of the bag, box or tamper seal."""

    did: str
    parts: tuple[str, ...]
    by: str
    given_by: str = ""
    to: str = ""
    when: str = ""
    at: str = ""
    bag: str = ""
    note: str = ""
    where: Where = NOWHERE


class Outcome(Entry, frozen=True):
    """What was confirmed after all: root causes and mechanisms by their names in the rule base; `none_of_these`: no root
    cause of it; `said`: in own words. `position`: "" for every seal. `how`: laboratory, measurement, strip-down, worked
    after change; `when`: a date as ISO 8601 writes it; `changed`: what was done about it."""

    roots: tuple[str, ...] = ()
    mechanisms: tuple[str, ...] = ()
    none_of_these: bool = False
    said: str = ""
    position: str = ""
    by: str = ""
    how: str = ""
    when: str = ""
    changed: tuple[str, ...] = ()
    note: str = ""
    where: Where = NOWHERE


class Expected(Entry, frozen=True):
    """What a test case should show. `roots` and `mechanisms`: right as the leading one of its level; `one_of`: the source
    lists alternatives."""

    roots: tuple[str, ...] = ()
    mechanisms: tuple[str, ...] = ()
    one_of: bool = False
    also: tuple[str, ...] = ()
    position: str = ""
    ruled_out: tuple[str, ...] = ()
    none_of_these: bool = False
    source: str = ""
    shows: str = ""


class Case(Entry, frozen=True, dict=True):
    """One failed seal. `positions`: its seal positions, in order; `lost`: the positions whose whole seal is gone, and why; `alone`:
    it is in hand without its machine."""

    name: str
    path: str
    digest: str
    invented: bool
    about: str
    positions: tuple[str, ...]
    texts: Mapping[str, str]
    settings: tuple[SettingFact, ...]
    parts: tuple[Part, ...]
    observations: tuple[Observation, ...]
    measured: tuple[Measured, ...]
    events: tuple[Event, ...] = ()
    remarks: tuple[Remark, ...] = ()
    index: Mapping[str, str] = field(default_factory=dict)
    stage: str = ""
    lost: Mapping[str, str] = field(default_factory=dict)
    expected: Expected | None = None
    states: tuple[State, ...] = ()
    acts: tuple[Act, ...] = ()
    not_understood: tuple[str, ...] = ()
    custody: tuple[Custody, ...] = ()
    outcomes: tuple[Outcome, ...] = ()
    alone: bool = False

    def part(self, item: str) -> Part | None:
        return next((p for p in self.parts if p.item == item), None)

    @cached_property
    def seen(self) -> dict[tuple[str, str], list[Observation]]:
        """Observations by part and "", or by "" and kind where they are of no part; present ones last."""
        table: dict[tuple[str, str], list[Observation]] = {}
        for o in sorted(self.observations, key=lambda o: o.state == "present"):
            table.setdefault((o.part, "" if o.part else o.kind), []).append(o)
        return table


def lone(o: Observation) -> Case:
    """A single seal of which one observation is on record and nothing else."""
    return Case(o.feature, "", "", False, "", ("seal",), {}, (), (), (o,), ())
