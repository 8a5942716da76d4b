"""What to look at and measure next: ordered, before the evidence is gone.

Work is valued in bits of expected fall of entropy over the cause sets, for each minute. Two constraints stand above
that: what the next step of dismantling or cleaning destroys comes first, and what destroys evidence comes last. Within
these, work on a part in hand is done together.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from diagnose.advice.information import by_ratio, entropy, gain, with_unknown
from diagnose.advice.outlook import MOST_CAUSES, Belief, outlook
from diagnose.advice.reach import LOST, Look, Reach
from diagnose.advice.reach import OPEN as IN_REACH
from diagnose.advice.stopping import OPEN, Stop, Worst, stopping
from diagnose.advice.valuation import Job, Valuation
from diagnose.inference.facts import holds_at
from diagnose.inference.run import Inference
from diagnose.judgement.judge import Judgement, priors_at
from diagnose.judgement.network import Network
from diagnose.knowledge.model import Knowledge, Measurement

MOST_RESULTS = 3
MOST_PARTED = 3
MOST_RECORDED = 5
NOW, ANY_TIME, LAST = "first", "any time", "last"


@dataclass(frozen=True)
class Shift:
    """The probability of a cause before and after a result."""

    cause: str
    before: float
    after: float


@dataclass(frozen=True)
class Result:
    """What one way for a finding to turn out would make of the ranking; the leading explanation before and after."""

    finding: str
    position: str
    there: bool
    chance: float
    before: tuple[str, ...]
    after: tuple[str, ...]
    shifts: tuple[Shift, ...]


@dataclass(frozen=True)
class Step:
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
        return f"look for {' and '.join(self.look.asks)}" if self.look else self.measurement

    @property
    def finding(self) -> str:
        """The finding that tells most."""
        return self.findings[0]

    @property
    def per_minute(self) -> float:
        return self.bits / self.minutes


@dataclass(frozen=True)
class Gone:
    """A finding that would have told something and can no longer be decided."""

    finding: str
    position: str
    why: str
    bits: float


@dataclass(frozen=True)
class Plan:
    """The ordered steps (the first of `count`, which take `minutes`), what is lost, and whether anything could still
    change the answer. `record` is what would still be worth doing for the record where nothing could. `open_bits` is
    the entropy of the ranking now."""

    steps: tuple[Step, ...]
    count: int
    minutes: float
    lost: tuple[Gone, ...]
    stop: Stop
    record: tuple[Step, ...]
    stage: str
    open_bits: float


def plan(
    inference: Inference, judgements: Sequence[Judgement], net: Network, minutes: float | None = None, most: int = 0
) -> Plan:
    """The plan for the given positions of a case; with `minutes`, the best set of work within that time. With `most`
    only so many steps are worked out."""
    seats = [_Seat(inference, judgement, net) for judgement in judgements]
    works = _works(inference, seats)
    worth = inference.base.knowledge.looks.worth
    outlooks = [seat.outlook for seat in seats]
    valuation = Valuation(outlooks, [w.job for w in works])
    if minutes is None:
        chosen = [replace(works[j], bits=bits) for j, bits in valuation.in_order(worth)]
    else:
        within = [works[j] for j in valuation.best_within(minutes, worth)]
        chosen = [replace(within[j], bits=b) for j, b in Valuation(outlooks, [w.job for w in within]).in_order(0.0)]
    order = arrange(chosen, inference.base.knowledge, inference.case.stage)
    stop = _stop(inference, seats, works)
    return Plan(
        tuple(_step(inference, seats, work, when) for work, when in (order[:most] if most else order)),
        len(order), sum(work.job.minutes for work in chosen), _lost(inference, seats), stop,
        _for_the_record(inference, seats, works) if stop.state != OPEN else (), inference.case.stage,
        sum(float(entropy(seat.belief.weight)) for seat in seats),
    )  # fmt: skip


class _Seat:
    """One position: its belief, what its open findings would tell, and what can still be reached."""

    def __init__(self, inference: Inference, judgement: Judgement, net: Network):
        knowledge = inference.base.knowledge
        self.judgement, self.position = judgement, judgement.position
        self.reach = Reach(inference, self.position)
        likely = [net.column[j.cause] for j in judgement.causes if j.standing != "ruled out"][:MOST_CAUSES]
        lines = {name: finding.line for name, finding in knowledge.findings.items()}
        self.belief = Belief(net, likely, priors_at(inference, net, self.position), judgement.counted, lines)
        self.gone: dict[str, str] = {}
        unknown = [f for f in net.findings if f not in inference.findings[self.position]]
        self.outlook = outlook(self.belief, unknown, self._silent)
        self.leading = [j for j in judgement.causes if j.cause in judgement.explanation.causes]

    def _silent(self, finding: str) -> float | None:
        status = self.reach.of(finding)
        if status.state == LOST:
            self.gone[finding] = status.why
        return self.reach.cannot_tell(finding) if status.state == IN_REACH else None


@dataclass(frozen=True)
class Work:
    """A measurement or a plain look, and the open findings it decides by position. `bits`: what it adds to a plan."""

    job: Job
    measurement: Measurement | None
    look: Look | None
    tells: Mapping[str, tuple[str, ...]]
    bits: float = 0.0

    @property
    def part(self) -> str:
        return self.measurement.part if self.measurement else self.look.part if self.look else ""

    @property
    def stage(self) -> str:
        """The last stage that allows it; "" or never where it can always be done."""
        return self.measurement.stage if self.measurement else self.look.stage if self.look else ""


def _works(inference: Inference, seats: Sequence[_Seat]) -> list[Work]:
    """Everything that can still be done, by name: measurements first, then looks at what no measurement decides.

    Work on the machine is done once for every seal position.
    """
    knowledge, kinds = inference.base.knowledge, inference.base.knowledge.vocabulary.kinds
    result = []
    decided: set[tuple[str, str]] = set()

    def add(
        name: str, minutes: float, m: Measurement | None, look: Look | None, tells: dict[str, tuple[str, ...]]
    ) -> None:
        found = {p: fs for p, fs in tells.items() if fs}
        if found:
            job = Job(name, minutes, tuple(found.get(seat.position, ()) for seat in seats))
            result.append(Work(job, m, look, found))

    for name in sorted(knowledge.measurements):
        m = knowledge.measurements[name]
        tells = {
            s.position: tuple(f for f in m.tells if f in s.outlook.row) for s in seats if name in s.reach.measurements
        }
        decided |= {(p, f) for p, fs in tells.items() for f in fs}
        if not m.part or kinds[m.part].place == "machine":
            add(name, m.minutes, m, None, tells)
        else:
            for position, findings in tells.items():
                add(name, m.minutes, m, None, {position: findings})
    told = {f for m in knowledge.measurements.values() for f in m.tells}
    for seat in seats:
        looks: dict[tuple[tuple[str, ...], str], list[Look]] = {}
        for finding in seat.outlook.findings:
            if (seat.position, finding) in decided:
                continue
            look = seat.reach.look(finding, finding not in told)
            if look:
                looks.setdefault((look.asks, look.part), []).append(look)
            else:
                stages = [knowledge.measurements[n].stage for n in sorted(knowledge.measurements)
                          if finding in knowledge.measurements[n].tells]  # fmt: skip
                seat.gone[finding] = f"to be measured only {stages[0]}" if stages else ""
        for (asks, _), same in sorted(looks.items()):
            add(" and ".join(asks), same[0].minutes, None, same[0], {seat.position: tuple(x.finding for x in same)})
    return result


def _step(inference: Inference, seats: Sequence[_Seat], work: Work, when: str) -> Step:
    case, words, part = inference.case, inference.base.knowledge.vocabulary, work.part
    telling = [(seat, f) for seat in seats for f in work.tells.get(seat.position, ())]
    telling.sort(key=lambda x: (-_bits(*x), x[1]))
    strongest: dict[tuple[str, str], tuple[_Seat, str]] = {}
    for seat, finding in telling:
        strongest.setdefault((seat.position, seat.belief.lines[finding]), (seat, finding))
    shown = list(strongest.values())[:MOST_RESULTS]
    results = tuple(r for seat, finding in shown for r in _results(seat, finding))
    items = tuple(
        p.item for p in case.parts
        if part and part in words.lineage[p.kind] and any(holds_at(p.position, position) for position in work.tells)
    )  # fmt: skip
    return Step(
        work.measurement.name if work.measurement else "", work.look, tuple(work.tells), part, items,
        tuple(dict.fromkeys(f for _, f in telling)), work.job.minutes, work.bits,
        work.stage if work.stage in words.stages else "", when, _parted(results), results,
        max((seat.reach.cannot_tell(f) for seat, f in shown), default=0.0),
    )  # fmt: skip


def _bits(seat: _Seat, finding: str) -> float:
    return round(float(seat.outlook.bits[seat.outlook.row[finding]]), 12)


def _results(seat: _Seat, finding: str) -> list[Result]:
    """There and not there, each with the causes that it moves most."""
    belief = seat.belief
    now, lead = belief.share(belief.weight), belief.leader(belief.weight)
    chance = float(seat.outlook.shown[seat.outlook.row[finding]] @ belief.weight)
    found = []
    for there, p in ((True, chance), (False, 1 - chance)):
        weight = belief.after(finding, there)
        then = belief.share(weight)
        order = np.argsort(-np.round(np.abs(then - now), 12), kind="stable")[:MOST_PARTED]
        shifts = tuple(Shift(belief.net.causes[belief.causes[i]], float(now[i]), float(then[i])) for i in order)
        found.append(Result(finding, seat.position, there, p, lead, belief.leader(weight), shifts))
    return found


def _parted(results: Sequence[Result]) -> tuple[str, ...]:
    """The causes that the results are expected to move most."""
    moved: dict[str, float] = {}
    for r in results:
        for s in r.shifts:
            moved[s.cause] = moved.get(s.cause, 0.0) + r.chance * abs(s.after - s.before)
    return tuple(sorted(moved, key=lambda c: (-round(moved[c], 9), c))[:MOST_PARTED])


def arrange(works: Sequence[Work], knowledge: Knowledge, stage: str) -> list[tuple[Work, str]]:
    """The order of the plan, with when each comes. First what the next step of dismantling or cleaning destroys, then
    what it does not, then what destroys evidence, and at the very end what destroys the part; within each by bits per
    minute, with all work on a part in hand together."""
    stages = knowledge.vocabulary.stages
    now = stages.index(stage) if stage else -1
    heaps: list[list[Work]] = [[] for _ in range(5)]

    def spoils(work: Work) -> int:
        return stages.index(work.measurement.spoils) if work.measurement and work.measurement.spoils else -1

    for work in works:
        urgent = work.stage == stage != ""
        if work.measurement and work.measurement.destructive:
            heaps[4].append(work)
        elif spoils(work) >= max(now, 0) and not (urgent and spoils(work) == now):
            heaps[3].append(work)
        else:
            heaps[2 if not urgent else 1 if spoils(work) >= 0 else 0].append(work)
    result = []
    for heap, when in zip(heaps, (NOW, NOW, ANY_TIME, LAST, LAST), strict=True):
        ordered = sorted(heap, key=lambda w: (spoils(w), *_value(w))) if when == LAST else _by_part(knowledge, heap)
        result += [(work, when) for work in ordered]
    return result


def _value(work: Work) -> tuple[float, str]:
    return -round(work.bits / work.job.minutes, 12), work.job.name


def _by_part(knowledge: Knowledge, works: Sequence[Work]) -> list[Work]:
    """Best first, and with it everything on the same part in hand."""
    lineage = knowledge.vocabulary.lineage

    def in_hand(first: Work, other: Work) -> bool:
        related = other.part in lineage.get(first.part, ()) or first.part in lineage.get(other.part, ())
        return other is first or (tuple(other.tells) == tuple(first.tells) and related)

    left, result = sorted(works, key=_value), []
    while left:
        first = left[0]
        result += sorted((w for w in left if in_hand(first, w)), key=lambda w: w.part != first.part)
        left = [w for w in left if not in_hand(first, w)]
    return result


def _stop(inference: Inference, seats: Sequence[_Seat], works: Sequence[Work]) -> Stop:
    knowledge = inference.base.knowledge
    reckoned = knowledge.looks.reckoned
    worst = {s.position: Worst(s.belief, s.leading, knowledge.words, reckoned) for s in seats}
    telling = sorted(
        works,
        key=lambda w: (-round(sum(_bits(s, f) for s in seats for f in w.tells.get(s.position, ())), 9), w.job.name),
    )
    return stopping(worst, [(w.job.name, w.tells) for w in telling], reckoned)


def _for_the_record(inference: Inference, seats: Sequence[_Seat], works: Sequence[Work]) -> tuple[Step, ...]:
    """The measurements that the cards of the leading causes name to confirm them, by probability for each minute, and
    what the next step destroys."""
    knowledge, stage = inference.base.knowledge, inference.case.stage
    sure = {m: j.probability for s in seats for j in sorted(s.leading, key=lambda j: j.probability)
            for m in knowledge.causes[j.cause].confirm}  # fmt: skip
    chosen = [w for w in works if w.job.name in sure or (stage and w.measurement and w.measurement.stage == stage)]
    order = by_ratio([sure.get(w.job.name, 0.0) for w in chosen], [w.job.minutes for w in chosen])[:MOST_RECORDED]
    valuation = Valuation([s.outlook for s in seats], [w.job for w in chosen])
    return tuple(_step(inference, seats, replace(chosen[i], bits=valuation.gain(i)), ANY_TIME) for i in order)


def _lost(inference: Inference, seats: Sequence[_Seat]) -> tuple[Gone, ...]:
    """What would have told something worth its while, most telling first."""
    worth, found = inference.base.knowledge.looks.worth, []
    for seat in seats:
        names = sorted(f for f in seat.gone if seat.belief.speaks_of(f))
        shown = seat.belief.shown(names)
        bits = gain(seat.belief.weight, with_unknown(shown, np.zeros(len(names))))
        found += [
            Gone(f, seat.position, seat.gone[f], float(b)) for f, b in zip(names, bits, strict=True) if b >= worth
        ]
    return tuple(sorted(found, key=lambda g: (-round(g.bits, 9), g.finding, g.position)))
