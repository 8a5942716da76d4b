"""What to look at and measure next: ordered, before the evidence is gone.

Work is valued in bits of expected fall of entropy over causes and, by a factor, mechanisms, for each minute. Two constraints stand above
that: what the next step of dismantling or cleaning destroys comes first, and what destroys evidence comes last. Within
these, work on a part in hand is done together.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from functools import cached_property
from typing import TypeVar

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from diagnose.advice.information import binary_entropy, by_ratio, entropy
from diagnose.advice.outlook import Belief, outlook
from diagnose.advice.reach import LOST, Look, Reach, Status, stage_of
from diagnose.advice.reach import OPEN as IN_REACH
from diagnose.advice.stopping import OPEN, SOUND, Stop, Worst, stopping
from diagnose.advice.valuation import Job, Valuation
from diagnose.inference.facts import holds_at
from diagnose.inference.run import Inference
from diagnose.judgement.judge import Judged, Judgement
from diagnose.judgement.sound import nothing_failed
from diagnose.knowledge.model import Knowledge, Measurement
from diagnose.knowledge.teardown import seen_from

T = TypeVar("T")
MOST_RESULTS = 3
MOST_PARTED = 3
MOST_RECORDED = 5
NOW, ANY_TIME, LAST = "first", "any time", "last"


class Shift(Struct, frozen=True):
    """The probability of a cause as it is judged, and after a result."""

    cause: str
    before: float
    after: float


class Result(Struct, frozen=True):
    """What one way for a finding to turn out would make of the ranking; the leading explanation before and after."""

    finding: str
    position: str
    there: bool
    chance: float
    before: tuple[str, ...]
    after: tuple[str, ...]
    shifts: tuple[Shift, ...]


class Step(Struct, frozen=True):
    """One piece of work on the plan. `measurement` is "" for a plain look, which `look` then describes.

    `findings` are what it decides, most telling first, `bits` what it adds to the steps chosen before it; `when` says
    whether it comes first because the next step of dismantling or cleaning destroys it, last because it destroys
    evidence itself, or at any time between.
    """

    measurement: str
    look: Look | None
    positions: tuple[str, ...]
    part: str
    items: tuple[str, ...]
    findings: tuple[str, ...]
    minutes: float
    bits: float
    stage: str
    when: str
    parts: tuple[str, ...]
    results: tuple[Result, ...]
    cannot_tell: float

    @property
    def name(self) -> str:
        return self.look.question if self.look else self.measurement

    @property
    def finding(self) -> str:
        """The finding that tells most."""
        return self.findings[0]

    @property
    def per_minute(self) -> float:
        return self.bits / self.minutes


class Gone(Struct, frozen=True):
    """A finding that would have told something and can no longer be decided."""

    finding: str
    position: str
    why: str
    bits: float


class Plan(Struct, frozen=True):
    """The ordered steps (the first of `count`, which take `minutes`), what is lost, and whether anything could still
    change the answer. `record` is what would still be worth doing for the record where nothing could. `open_bits` is
    the entropy over the cause sets now."""

    steps: tuple[Step, ...]
    count: int
    minutes: float
    lost: tuple[Gone, ...]
    stop: Stop
    record: tuple[Step, ...]
    stage: str
    open_bits: float


def plan(judgements: Sequence[Judgement], minutes: float | None = None, most: int = 0) -> Plan:
    """The plan for the given positions of one case; with `minutes`, the best set of work within that time. With `most`
    only so many steps are given, what the next step of dismantling destroys and then what tells most a minute, and
    without what each result would do."""
    inference = judgements[0].inference
    places = [_Open(judgement) for judgement in judgements]
    stage, looks = stage_of(inference.case, inference.base.knowledge), inference.base.knowledge.looks
    if all(map(nothing_failed, judgements)):
        return Plan((), 0, 0.0, (), Stop(SOUND, (), 0, 0, looks.reckoned), (), stage, sum(map(_doubt, places)))
    works = _works(inference, places)
    outlooks = [place.outlook for place in places]
    valuation = Valuation(outlooks, [w.job for w in works])
    if minutes is None:
        chosen = [replace(works[j], bits=bits) for j, bits in valuation.in_order(looks.worth)]
    else:
        within = [works[j] for j in valuation.best_within(minutes, looks.worth)]
        chosen = [replace(within[j], bits=b) for j, b in Valuation(outlooks, [w.job for w in within]).in_order(0.0)]
    order = arrange(chosen, inference.base.knowledge, stage)
    kept = _first(order, [(when != NOW, *_value(w)) for w, when in order], most) if most else order
    stop = _stop(inference, places, works)
    return Plan(
        tuple(_step(inference, places, work, when, not most) for work, when in kept),
        len(order), sum(work.job.minutes for work in chosen), _lost(inference, places), stop,
        _for_the_record(inference, places, works, not most) if stop.state != OPEN else (), stage,
        sum(_doubt(place) for place in places),
    )  # fmt: skip


def best_looks(
    judgements: Sequence[Judgement], tells: Sequence[Mapping[str, Collection[str]]], most: int
) -> list[tuple[int, dict[str, float]]]:
    """Up to so many of some looks, each the one that adds most to those before it: its place, and the bits of each finding that
    it decides alone. `tells`: the findings that a look can decide, by seal position."""
    places = [_Open(judgement) for judgement in judgements]
    jobs = [
        Job(f"{i:04}", 1.0, tuple(tuple(sorted(t.get(p.position, ()))) for p in places)) for i, t in enumerate(tells)
    ]
    chosen = Valuation([p.outlook for p in places], jobs).in_order(0.0, per_minute=False, most=most)
    return [(i, {f: _bits(p, f) for p in places for f in tells[i].get(p.position, ()) if f in p.outlook.row})
            for i, bits in chosen if bits > 0]  # fmt: skip


class _Open:
    """One position: its belief, what its open findings would tell, and what can still be reached."""

    def __init__(self, judgement: Judgement):
        self.judgement, self.position = judgement, judgement.position
        self.reach = Reach(judgement.inference, self.position)
        self.net = judgement.net
        self.belief = Belief(judgement.found)
        self.gone: dict[str, Status] = {}
        unknown = [f for f in self.net.findings if f not in judgement.states]
        self.outlook = outlook(self.belief, unknown, self._silent, judgement.knowledge.looks.mechanisms)
        self.leading = [j for j in judgement.causes if j.name in judgement.explanation.causes]

    @property
    def answer(self) -> list[Judged]:
        """What the answer is made of: causes, the leading mechanism and every established one."""
        first, *others = self.judgement.mechanisms
        return [*self.judgement.causes, first, *(j for j in others if j.standing == "established")]

    def _silent(self, finding: str) -> float | None:
        """The chance that work on an open finding leaves it open; None where nothing can decide it."""
        status = self.reach.of(finding)
        if status.state == LOST:
            self.gone[finding] = status
        if status.state != IN_REACH:
            return None
        if not self.reach.told_by(finding) and not self.look(finding):
            too_late = self.reach.too_late(finding)
            if too_late:
                self.gone[finding] = Status(LOST, too_late)
            return None
        return self.reach.cannot_tell(finding)

    def look(self, finding: str) -> Look | None:
        """A plain look, where no measurement that is left decides the finding."""
        return None if self.reach.told_by(finding) else self.reach.look(finding)

    @cached_property
    def telling(self) -> dict[str, tuple[str, ...]]:
        """The open findings that each measurement decides."""
        telling: dict[str, list[str]] = {}
        for finding in self.outlook.findings:
            for name in self.reach.told_by(finding):
                telling.setdefault(name, []).append(finding)
        return {name: tuple(findings) for name, findings in telling.items()}


def _doubt(place: _Open) -> float:
    """Entropy over the leading cause sets, in bits."""
    return float(entropy(place.judgement.found.weights))


class Work(Struct, frozen=True):
    """A measurement or a plain look, and the open findings it decides by position. `stage`: the last at which it decides
    all of them that are worth it; "" or never where it always does. `bits`: what it adds to a plan."""

    job: Job
    measurement: Measurement | None
    look: Look | None
    tells: Mapping[str, tuple[str, ...]]
    stage: str
    bits: float = 0.0

    @property
    def name(self) -> str:
        return self.look.question if self.look else self.job.name

    @property
    def part(self) -> str:
        return self.measurement.part if self.measurement else self.look.part if self.look else ""


def _works(inference: Inference, places: Sequence[_Open]) -> list[Work]:
    """Everything that can still be done, by name: measurements first, then looks at what no measurement decides.

    Work on the machine is done once for every seal position.
    """
    knowledge = inference.base.knowledge
    result = []

    def add(means: Measurement | Look, name: str, tells: Mapping[str, tuple[str, ...]]) -> None:
        shared = not means.part or knowledge.vocabulary.kinds[means.part].place == "machine"
        for some in [tells] if shared else [{position: findings} for position, findings in tells.items()]:
            found = {position: findings for position, findings in some.items() if findings}
            if found:
                job = Job(name, means.minutes, tuple(found.get(place.position, ()) for place in places))
                card, look = (means, None) if isinstance(means, Measurement) else (None, means)
                result.append(Work(job, card, look, found, _last(means, places, found)))

    for name, card in sorted(knowledge.measurements.items()):
        add(card, name, {place.position: place.telling.get(name, ()) for place in places})
    looks: dict[tuple[str, str], dict[str, list[Look]]] = {}
    for place in places:
        for look in filter(None, map(place.look, place.outlook.findings)):
            looks.setdefault((look.question, look.part), {}).setdefault(place.position, []).append(look)
    for (question, _), by_position in sorted(looks.items()):
        (first, *_), *_ = by_position.values()
        add(first, question, {p: tuple(x.finding for x in same) for p, same in by_position.items()})
    return result


def _last(means: Measurement | Look, places: Sequence[_Open], tells: Mapping[str, tuple[str, ...]]) -> str:
    """The last stage at which work decides every finding that is worth it."""
    if isinstance(means, Look) or not places:
        return means.stage
    knowledge = places[0].judgement.knowledge
    stages, worth = knowledge.vocabulary.stages, knowledge.looks.worth
    lasts = [
        place.reach.last_stage(means, f)
        for place in places
        for f in tells.get(place.position, ())
        if _bits(place, f) >= worth
    ]
    return min((s for s in lasts if s and s in stages), key=stages.index, default=means.stage)


def _step(inference: Inference, places: Sequence[_Open], work: Work, when: str, results: bool = True) -> Step:
    case, words, part = inference.case, inference.base.knowledge.vocabulary, work.part
    telling = [(place, f) for place in places for f in work.tells.get(place.position, ())]
    telling.sort(key=lambda x: (-_bits(*x), x[1]))
    shown = telling[:MOST_RESULTS]
    items = tuple(
        p.item for p in case.parts
        if part and part in words.lineage[p.kind] and any(holds_at(p.position, position) for position in work.tells)
    )  # fmt: skip
    return Step(
        work.measurement.name if work.measurement else "", work.look, tuple(work.tells), part, items,
        tuple(dict.fromkeys(f for _, f in telling)), work.job.minutes, work.bits,
        work.stage if work.stage in words.stages else "", when, _parted(shown),
        tuple(r for place, finding in shown for r in _results(place, finding)) if results else (),
        max((place.reach.cannot_tell(f) for place, f in shown), default=0.0),
    )  # fmt: skip


def _bits(place: _Open, finding: str) -> float:
    return round(float(place.outlook.bits[place.outlook.row[finding]]), 12)


def _results(place: _Open, finding: str) -> list[Result]:
    """There and not there, each with the causes that it moves most. How far is reckoned over the ways in which things may stand
    now, from the probability that the causes are judged to have; what a record would really do is asked by `what-if`."""
    belief, found = place.belief, []
    now, lead = belief.share(belief.weight), belief.leader(belief.weight)
    for there, chance in _chances(place, finding):
        weight = belief.told({finding: there})
        then = belief.share(weight)
        order = np.argsort(-np.round(np.abs(then - now), 12), kind="stable")[:MOST_PARTED]
        named = [(place.judgement.of(place.net.causes[i]), float(now[i]), float(then[i])) for i in order]
        shifts = tuple(Shift(j.name, j.probability, _as_moved(j.probability, *moved)) for j, *moved in named)
        found.append(Result(finding, place.position, there, chance, lead, belief.leader(weight), shifts))
    return found


def _as_moved(probability: float, before: float, after: float) -> float:
    """A probability after the odds have changed as they do from one to the other."""
    if min(before, after, probability) <= 0.0 or max(before, after, probability) >= 1.0:
        return after
    odds = probability / (1 - probability) * after / (1 - after) * (1 - before) / before
    return odds / (1 + odds)


def _chances(place: _Open, finding: str) -> tuple[tuple[bool, float], tuple[bool, float]]:
    chance = place.belief.chance(finding)
    return (True, chance), (False, 1 - chance)


def _parted(strongest: Sequence[tuple[_Open, str]]) -> tuple[str, ...]:
    """The causes that the strongest findings are expected to move most."""
    moved: dict[str, float] = {}
    for place, finding in strongest:
        belief = place.belief
        now = belief.share(belief.weight)
        for there, chance in _chances(place, finding):
            shifts = chance * np.abs(belief.share(belief.told({finding: there})) - now)
            for cause, shift in zip(place.net.causes, shifts.tolist(), strict=True):
                moved[cause] = moved.get(cause, 0.0) + shift
    return tuple(sorted(moved, key=lambda c: (-round(moved[c], 9), c))[:MOST_PARTED])


def arrange(works: Sequence[Work], knowledge: Knowledge, stage: str) -> list[tuple[Work, str]]:
    """The order of the plan, with when each comes.

    Work goes by the stage that it must not come after, the next one first, so that nothing on the plan is lost on the
    way. Within a stage what destroys evidence comes last, and what destroys a part comes last of all; else the better
    bits per minute come first, with all work on a part in hand together. Work that no stage ends comes in by its bits
    per minute, once what the next step destroys is done and its part is in view.
    """
    stages = knowledge.vocabulary.stages

    def in_view(work: Work) -> int:
        return seen_from(knowledge.teardown, knowledge.vocabulary, work.part, work.stage)

    left: list[list[Work]] = [[] for _ in range(len(stages) + 1)]
    spoiling: list[list[Work]] = [[] for _ in range(len(stages) + 1)]
    for work in works:
        card = work.measurement
        spoils = stages.index(card.spoils) if card and card.spoils else -1
        last = stages.index(work.stage) if work.stage in stages else len(stages)
        if card and card.destructive:
            spoiling[-1].append(work)
        elif spoils >= (stages.index(stage) if stage else 0):
            spoiling[max(last, spoils)].append(work)
        else:
            left[last].append(work)
    result = []
    for number in range(len(stages)):
        urgent = stages[number] == stage
        at_hand = left[number] if urgent else [*left[number], *(w for w in left[-1] if in_view(w) <= number)]
        while left[number]:
            chosen = _with_part(knowledge, min(at_hand, key=_value), at_hand)
            result += [(work, NOW if urgent else ANY_TIME) for work in chosen]
            at_hand = [w for w in at_hand if w not in chosen]
            left[number], left[-1] = ([w for w in left[k] if w not in chosen] for k in (number, -1))
        result += [(work, NOW if urgent else LAST) for work in sorted(spoiling[number], key=_value)]
    while left[-1]:
        chosen = _with_part(knowledge, min(left[-1], key=lambda w: (in_view(w), *_value(w))), left[-1])
        result += [(work, ANY_TIME) for work in chosen]
        left[-1] = [w for w in left[-1] if w not in chosen]
    return [*result, *((work, LAST) for work in sorted(spoiling[-1], key=_value))]


def foremost(steps: Sequence[Step], most: int) -> list[Step]:
    """So many of the steps of a plan, as a plan of no more would have them."""
    return _first(steps, [(s.when != NOW, -round(s.bits / s.minutes, 12), s.name) for s in steps], most)


def _first(order: Sequence[T], ranks: Sequence[tuple[bool, float, str]], most: int) -> list[T]:
    """So many of some work, in its order: what cannot wait, then the best."""
    return [order[i] for i in sorted(sorted(range(len(order)), key=ranks.__getitem__)[:most])]


def _value(work: Work) -> tuple[float, str]:
    return -round(work.bits / work.job.minutes, 12), work.job.name


def _with_part(knowledge: Knowledge, first: Work, works: Sequence[Work]) -> list[Work]:
    """The work and all other work on the same part in hand, best first."""
    lineage = knowledge.vocabulary.lineage

    def in_hand(other: Work) -> bool:
        related = other.part in lineage.get(first.part, ()) or first.part in lineage.get(other.part, ())
        return other is first or (tuple(other.tells) == tuple(first.tells) and related)

    return sorted(filter(in_hand, works), key=lambda w: (w is not first, w.part != first.part, *_value(w)))


def _stop(inference: Inference, places: Sequence[_Open], works: Sequence[Work]) -> Stop:
    knowledge = inference.base.knowledge
    reckoned = knowledge.looks.reckoned
    worst = {s.position: Worst(s.belief, s.answer, knowledge.words, reckoned) for s in places}
    telling = sorted(
        works,
        key=lambda w: (-round(sum(_bits(s, f) for s in places for f in w.tells.get(s.position, ())), 9), w.job.name),
    )
    return stopping(worst, [(w.name, w.tells) for w in telling], reckoned)


def _for_the_record(
    inference: Inference, places: Sequence[_Open], works: Sequence[Work], results: bool
) -> tuple[Step, ...]:
    """The measurements that the cards of the leading causes name to confirm them, by probability for each minute, and
    what the next step destroys."""
    stage = stage_of(inference.case, inference.base.knowledge)
    sure = {m: j.probability for s in places for j in sorted(s.leading, key=lambda j: j.rank, reverse=True)
            for m in j.card.confirm}  # fmt: skip
    chosen = [w for w in works if w.job.name in sure or (stage and w.measurement and w.measurement.stage == stage)]
    order = by_ratio([sure.get(w.job.name, 0.0) for w in chosen], [w.job.minutes for w in chosen])[:MOST_RECORDED]
    valuation = Valuation([s.outlook for s in places], [w.job for w in chosen])
    return tuple(_step(inference, places, replace(chosen[i], bits=valuation.gain(i)), ANY_TIME, results) for i in order)


def _lost(inference: Inference, places: Sequence[_Open]) -> tuple[Gone, ...]:
    """What would have told something worth its while: first what the record itself says is lost, then by bits."""
    worth, found = inference.base.knowledge.looks.worth, []
    for place in places:
        names = sorted(place.gone)
        shown = place.belief.shown(names)
        told = binary_entropy(shown @ place.belief.weight) - binary_entropy(shown) @ place.belief.weight
        for name, bits in zip(names, told.tolist(), strict=True):
            status = place.gone[name]
            if status.recorded or bits >= worth:
                found.append((not status.recorded, Gone(name, place.position, status.why, bits)))
    found.sort(key=lambda x: (x[0], -round(x[1].bits, 9), x[1].finding, x[1].position))
    return tuple(gone for _, gone in found)
