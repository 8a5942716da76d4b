"""Taking a seal apart and planning the work, as objects."""

from __future__ import annotations

from collections.abc import Mapping

from msgspec import field

from diagnose.knowledge.grammar import Slots
from diagnose.reading.entry import NOWHERE, Entry
from diagnose.reading.problems import Where


class UsualPart(Entry, frozen=True):
    """A part that a seal of some arrangement usually has; `touches` are item numbers."""

    item: str
    kind: str
    name: str
    position: str = ""
    group: str = ""
    carries: str = ""
    touches: tuple[str, ...] = ()
    where: Where = NOWHERE


class Look(Entry, frozen=True):
    """What to look for and measure on every part of a kind; with `always`, on the kind itself, part or no part. `given`:
    terms by setting, of which the case must say one for every setting. `carries`: only on rings that may carry that side of
    the pair of faces, `touching`: only where the part touches one of these kinds, or nobody said what it touches. `foremost`: always among
    the few looks that are made first."""

    on: str
    features: tuple[str, ...] = ()
    readings: tuple[str, ...] = ()
    always: bool = False
    how: str = ""
    given: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    carries: str = ""
    touching: tuple[str, ...] = ()
    foremost: bool = False
    where: Where = NOWHERE


class LeftOut(Entry, frozen=True):
    """What is neither asked, looked for nor measured, and the kinds that nobody is asked about, where the case says one of the
    terms of every setting in `given`, and its seal usually has and lists no part of the kind `without`. `on`: only on parts of
    these kinds; `states` that cannot be, and the `terms` by setting that are not offered; `struck_off`: only where such a part was struck off the usual list; `alone`: only where the seal came without its machine; `until`: only before that stage, at which all that earlier steps look for on them is looked for."""

    given: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    asks: tuple[str, ...] = ()
    features: tuple[str, ...] = ()
    readings: tuple[str, ...] = ()
    kinds: tuple[str, ...] = ()
    on: tuple[str, ...] = ()
    until: str = ""
    without: str = ""
    alone: bool = False
    struck_off: str = ""
    states: tuple[Slots, ...] = ()
    terms: Mapping[str, tuple[str, ...]] = field(default_factory=dict)


class Step(Entry, frozen=True):
    """One step of taking a seal apart. `stage` is the last one at which its looks can be made; `ends` says what the
    next step destroys; `asks` are settings and figures of the case; `separates`: kinds of part that no longer sit as they sat
    once it has ended, so that they must be marked before."""

    name: str
    stage: str
    do: str = ""
    ends: str = ""
    asks: tuple[str, ...] = ()
    looks: tuple[Look, ...] = ()
    separates: tuple[str, ...] = ()
    where: Where = NOWHERE


class Marking(Entry, frozen=True):
    """How parts of a kind are marked so that the mark survives; `takes` False where they take none."""

    on: str
    how: str
    takes: bool = True


class Arrangements(Entry, frozen=True):
    """Usual parts by arrangement, and the order of dismantling. `nominal` names for a reading the figure it should be
    near; a reading further off than `doubt` times (or one in `doubt`) is asked again, one that `wears` only where it is more, and a length
    `far_over` times over its widest limit. `alike`: kinds whose parts are asked
    about together; `with_machine`: kinds that stay behind where the seal comes alone; `only_with`: the kind of part a figure
    or setting is asked with; `marking`: the nearest kind above a part counts. `says`: terms by setting that an arrangement says
    by its name, `called` by other names of it; `one_of`: features of which one is so wherever a seal failed; `left_out`: what means nothing beside a term;
    `not_every`: kinds that not every machine has; `by_plan`: the piping plans with which there is such a part."""

    usual: Mapping[str, tuple[UsualPart, ...]] = field(default_factory=dict)
    steps: tuple[Step, ...] = ()
    nominal: Mapping[str, str] = field(default_factory=dict)
    doubt: float = 0.0
    alike: tuple[str, ...] = ()
    with_machine: tuple[str, ...] = ()
    only_with: Mapping[str, str] = field(default_factory=dict)
    marking: Mapping[str, Marking] = field(default_factory=dict)
    says: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    one_of: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    left_out: tuple[LeftOut, ...] = ()
    not_every: tuple[str, ...] = ()
    wears: tuple[str, ...] = ()
    called: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    far_over: float = 0.0
    by_plan: Mapping[str, tuple[str, ...]] = field(default_factory=dict)


class Looks(Entry, frozen=True):
    """What planning reckons with: `minutes` of a plain look by kind of part, kinds whose features are `asked` for, how
    often an honest look `cannot_tell`, the bits that make work `worth` planning, what a bit about the `mechanisms` that
    tells nothing of the causes counts against one about the causes, and the chance from which an outcome is `reckoned`
    with."""

    minutes: Mapping[str, float] = field(default_factory=dict)
    asked: tuple[str, ...] = ()
    cannot_tell: Mapping[str, float] = field(default_factory=dict)
    worth: float = 0.02
    mechanisms: float = 1.0
    reckoned: float = 0.02
