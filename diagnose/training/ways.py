"""Ways through a drill: as the tool plans the work, as a checklist runs, and in the worst order."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from diagnose.advice.plan import Step, plan
from diagnose.advice.stopping import NOTHING
from diagnose.advice.stopping import OPEN as COULD_CHANGE
from diagnose.inference.run import RuleBase
from diagnose.judgement.diagnosis import Diagnosis
from diagnose.knowledge.model import Handling
from diagnose.reading.entry import replace
from diagnose.training.bench import LOOK, MEASURE, Act, Bench, start
from diagnose.training.drill import do
from diagnose.training.hidden import HISTORY, Hidden
from diagnose.training.looking import opening
from diagnose.training.record import diagnosis_of

MOST_STEPS = 40
PLANNED_ANEW = 4
PERISHING = 0.1
"""What is about to be lost is worth doing from this part of the bits a minute that other work tells."""
MOST_PLANNED = 200
"""More steps than any plan has: they are wanted in order, without what each result would do."""


def keeping(hidden: Hidden) -> list[Handling]:
    """Acts that keep clock and place and can be done while the seal is together, quickest first, one for each."""
    found: dict[tuple[str, ...], Handling] = {}
    for a in hidden.teardown.acts.values():
        if set(a.keeps) & {"clock", "place"} and not a.of:
            found.setdefault(a.keeps, a)
    return list(found.values())


def opened_for(bench: Bench, place: int) -> Iterator[Act]:
    """The acts by which the seal comes to a stage, with every part marked and tagged before it is unbolted."""
    hidden = bench.hidden
    kept = {d.act.verb for d in bench.done}
    while act := opening(bench, place):
        if hidden.case.parts:
            for a in keeping(hidden):
                if a.name not in kept:
                    kept.add(a.name)
                    yield Act(a.name)
        yield Act(act)
        bench, _ = do(bench, Act(act))


def planned(hidden: Hidden) -> tuple[Bench, str]:
    """The seal taken apart as the plan says until nothing could change the answer, and why it ends. What can be done as the
    seal stands comes first, the best bits per minute before others; the plan is made anew where work showed something, and
    after some pieces of work that showed nothing. Before the seal is opened further, what that would take is done even
    where it is expected to tell little."""
    bench, done = start(hidden), set[str]()
    while len(done) < MOST_STEPS:
        found = plan(diagnosis_of(bench).judgements, most=MOST_PLANNED)
        left = [s for s in found.steps if _name(s) not in done]
        if found.stop.state == NOTHING or (found.stop.stands and found.stop.state != COULD_CHANGE):
            return bench, "no single piece of work could change the answer any more"
        if not left:
            return bench, "nothing is left that is expected to tell enough"
        for step in _by_rate(bench, left)[:PLANNED_ANEW]:
            known, act = len(bench.seen), act_of(hidden, step)
            if careful := _perishing(bench, act, done):
                for other in careful:
                    bench = _stepped(bench, other, done)
                break
            bench = _stepped(bench, step, done)
            if len(bench.seen) > known:
                break
    return bench, f"{MOST_STEPS} steps are done"


def _by_rate(bench: Bench, steps: Sequence[Step]) -> list[Step]:
    """The steps in order of the bits per minute, those of opening the seal for it reckoned in; what spoils evidence last."""
    hidden = bench.hidden

    def order(step: Step) -> tuple[bool, float, str]:
        act = act_of(hidden, step)
        minutes = step.minutes + sum(_minutes_of(hidden, a) for a in opened_for(bench, place_of(hidden, act)))
        return _spoils(hidden, act) >= 0, -round(step.bits / minutes, 12), _name(step)

    return sorted(steps, key=order)


def _minutes_of(hidden: Hidden, act: Act) -> float:
    handling = hidden.teardown.acts[act.verb]
    return handling.minutes * (len(hidden.parts) if handling.each else 1)


def _spoils(hidden: Hidden, act: Act) -> int:
    """The place of the stage that a measurement itself ends; -1 where it ends none."""
    stages, card = hidden.words.stages, hidden.knowledge.measurements.get(act.card)
    last = "" if card is None else card.spoils or (stages[-1] if card.destructive else "")
    return stages.index(last) if last in stages else -1


def _stepped(bench: Bench, step: Step, done: set[str]) -> Bench:
    """The bench after a step of the plan, the seal opened for it as far as need be."""
    done.add(_name(step))
    act = act_of(bench.hidden, step)
    for one in (*opened_for(bench, place_of(bench.hidden, act)), act):
        bench, _ = do(bench, one)
    return bench


def _perishing(bench: Bench, act: Act, done: set[str]) -> list[Step]:
    """Steps not done yet that could not be done any more after an act, or once the seal is opened for it: those that tell
    at least a part of what other work tells a minute."""
    hidden, stages = bench.hidden, bench.hidden.words.stages
    place, spoils, card = place_of(hidden, act), _spoils(hidden, act), hidden.knowledge.measurements.get(act.card)
    opens = bool(opening(bench, place))
    if not opens and spoils < 0:
        return []
    found = diagnosis_of(bench)
    base, looks = found.base, found.base.knowledge.looks
    patient = RuleBase(replace(base.knowledge, looks=replace(looks, worth=looks.worth * PERISHING)), base.rules)
    steps = plan(Diagnosis(found.case, patient, found.told).judgements, most=MOST_PLANNED).steps
    rate = sum(s.bits for s in steps) / sum(s.minutes for s in steps) if steps else 0.0
    left = [
        (s, stages.index(s.stage)) for s in steps
        if s.stage in stages and _name(s) not in done and s.bits / s.minutes >= PERISHING * rate
    ]  # fmt: skip
    return [
        s for s, last in left
        if (opens and last < place)
        or (card and card.name != s.measurement and last == spoils and hidden.related(s.part, card.part))
    ]  # fmt: skip


def _name(step: Step) -> str:
    return f"{step.name} on {step.part}"


def act_of(hidden: Hidden, step: Step) -> Act:
    """A step of the plan as an act."""
    if step.measurement:
        return Act(MEASURE, card=step.measurement)
    asks = step.look.asks if step.look else ()
    features = tuple(a for a in asks if a in hidden.words.features)
    kind = step.part or HISTORY
    items = tuple(p.item for p in hidden.case.parts if kind in hidden.words.lineage[p.kind])
    return Act(LOOK, items, () if items else (kind,), features)


def place_of(hidden: Hidden, act: Act) -> int:
    """The place of the stage from which an act can be done."""
    if act.card:
        card = hidden.knowledge.measurements[act.card]
        return hidden.seen_from(card.part, hidden.last_of(card))
    kinds = [hidden.parts[i].kind for i in act.items] + list(act.kinds)
    return max((hidden.seen_from(k, hidden.last_stage(f, k)) for k in kinds for f in act.features),
               default=max((hidden.in_view(k) for k in kinds), default=0))  # fmt: skip


def checklist(hidden: Hidden) -> list[Act]:
    """Everything, in the order of dismantling: looks first, then measurements, before the act that ends each stage."""
    stages, acts = hidden.words.stages, list[Act]()
    open_at, asked = 1, set[str]()
    for place, stage in enumerate(stages):
        acts += _to_open(hidden, open_at, place)
        open_at = max(open_at, min(place, hidden.in_view("face") if "face" in hidden.words.kinds else place))
        acts += _looks(hidden, stage)
        cards = [m for m in hidden.knowledge.measurements.values() if hidden.last_of(m) == stage]
        cards.sort(key=lambda m: (m.spoils != "", m.destructive, m.name))
        acts += [Act(MEASURE, card=m.name) for m in cards if not m.destructive]
        asked |= {m.name for m in cards}
        acts += [
            Act(a.name)
            for a in hidden.teardown.acts.values()
            if a.each and a.ends == stage and a.heaps and hidden.parts
        ]
    never = [m for m in hidden.knowledge.measurements.values() if m.name not in asked and not m.destructive]
    return acts + [Act(MEASURE, card=m.name) for m in sorted(never, key=lambda m: m.name)]


def _to_open(hidden: Hidden, now: int, place: int) -> list[Act]:
    bench = start(hidden)
    acts = []
    while bench.opened < now and (name := opening(bench, now)):
        bench, _ = do(bench, Act(name))
    for act in opened_for(bench, place):
        if bench.opened >= now:
            acts.append(act)
        bench, _ = do(bench, act)
    return acts


def _looks(hidden: Hidden, stage: str) -> list[Act]:
    """A look at every part and kind that the order of dismantling names at a stage, and every reading it asks for."""
    step = next((s for s in hidden.knowledge.arrangements.steps if s.stage == stage), None)
    lines, found, readings = hidden.words.lineage, list[Act](), list[Act]()
    for look in step.looks if step else ():
        items = tuple(p.item for p in hidden.case.parts if look.on in lines[p.kind] and not look.always)
        about = look.always or hidden.words.kinds[look.on].place == "machine"
        if items or about:
            found.append(Act(LOOK, items, () if items else (look.on,)))
            readings += [Act(MEASURE, reading=r) for r in look.readings]
    return list(dict.fromkeys([*found, *readings]))


def worst(hidden: Hidden) -> list[Act]:
    """Everything that destroys first, with nothing marked or tagged, then the checklist."""
    stages = hidden.words.stages
    destroying = [a for a in hidden.teardown.acts.values() if a.ends]
    order = sorted(destroying, key=lambda a: (a.each, stages.index(a.ends)))
    done = {a.name for a in destroying} | {a.name for a in hidden.teardown.acts.values() if a.keeps}
    return [Act(a.name) for a in order] + [a for a in checklist(hidden) if a.verb not in done]
