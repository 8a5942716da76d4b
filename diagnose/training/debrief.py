"""What a trainee is told at the end: what was there, what was lost and by what, what the plan would have done."""

from __future__ import annotations

from dataclasses import dataclass, field

from diagnose.casefile.model import Event
from diagnose.judgement.chains import chain
from diagnose.judgement.diagnosis import Diagnosis
from diagnose.judgement.judge import Judged, Judgement
from diagnose.knowledge.model import LookAlike
from diagnose.trail.wording import record_text
from diagnose.training.bench import CLOCK, GONE, LOOK, MEASURE, Act, Bench, Loss
from diagnose.training.hidden import HISTORY, NEVER, SEAL, Hidden, Trace
from diagnose.training.record import diagnosis_of
from diagnose.training.scoring import NONE, Answer, Score, Truth, Weighty, lost_of, mattered, score, truth_of

IN_VAIN = 0.5
"""dB below which what was found sound tells nothing of what is right."""
MOST_LOOK_ALIKES = 4


@dataclass(frozen=True)
class Lost:
    """What one act took: the act's number and words, and each loss with the trace as it would have read."""

    number: int
    act: str
    losses: tuple[tuple[Loss, str], ...]


@dataclass(frozen=True)
class Debrief:
    """Everything that is told at the end of a drill. `own` is the tool's judgement of the trainee's own record, `plan` the
    bench as the plan leaves it, `ended` why the plan stops there."""

    bench: Bench = field(repr=False)
    truth: Truth
    answer: Answer
    score: Score
    own: Judgement = field(repr=False)
    plan: Bench = field(repr=False)
    ended: str
    weighty: tuple[Weighty, ...]
    missed: tuple[Trace, ...]
    lost: tuple[Lost, ...]
    vain: tuple[tuple[int, str, float], ...]
    differently: tuple[str, str]

    @property
    def hidden(self) -> Hidden:
        return self.bench.hidden


def debrief(bench: Bench, answer: Answer, planned: tuple[Bench, str], hints: int = 0) -> Debrief:
    hidden = bench.hidden
    truth = truth_of(hidden)
    found = diagnosis_of(bench)
    own = found.at(truth.at.position)
    present = {f for f, there in own.states.items() if there}
    weighty = mattered(hidden, truth)
    result = score(bench, truth, answer, present, planned[0].minutes, hints)
    seen, gone = {s.trace for s in bench.seen}, {x.trace for x in bench.losses if x.what == GONE}
    missed = tuple(t for t in hidden.traces if t.id not in seen | gone and not t.gone)
    vain = tuple(_in_vain(bench, found, truth, weighty))
    lost = _lost(bench)
    made = Debrief(bench, truth, answer, result, own, *planned, weighty, missed, lost, vain, ("", ""))
    return Debrief(**{**vars(made), "differently": _differently(made, present)})


def sure_of(own: Judgement, name: str) -> Judged | None:
    """How sure a record makes the tool of a cause or mechanism; None where it is none of the rule base."""
    return next((j for j in (*own.causes, *own.mechanisms) if j.name == name), None)


def leaders(at: Judgement) -> tuple[Judged, Judged | None]:
    """The leading root cause and mechanism."""
    return at.causes[0], next((m for m in at.mechanisms if not m.ends_chain), None)


def chain_of(truth: Truth) -> tuple[str, ...]:
    """From the root cause, or the mechanism where only that is known, down to the leak, as far as the record carries it."""
    name = next((n for n in truth.first if n != NONE), "")
    return chain(truth.at, name).main if name and sure_of(truth.at, name) else ()


def look_alikes(hidden: Hidden, truth: Truth, answer: Answer) -> list[tuple[str, LookAlike]]:
    """(card, look-alike) of what is right, those that the trainee named first."""
    named = {answer.root, answer.mechanism}
    k, found = hidden.knowledge, []
    for name in truth.first:
        if name in k.causes or name in k.mechanisms:
            found += [(name, x) for x in k.card(name).look_alikes]
    for name in sorted(named - set(truth.roots) - set(truth.mechanisms) - {"", NONE}):
        found += [(name, x) for x in k.card(name).look_alikes if x.other in truth.first]
    found.sort(key=lambda x: (not {x[0], x[1].other} & named, x[0], x[1].other))
    return found[:MOST_LOOK_ALIKES]


def text_of(hidden: Hidden, trace: Trace) -> str:
    """A trace in one line, as it would stand on record."""
    r = trace.record
    if isinstance(r, Event):
        return f"{r.date}: {r.what}".lstrip(": ")
    return record_text(r, hidden.case, hidden.knowledge)


def act_text(hidden: Hidden, act: Act) -> str:
    """An act in a few words."""
    names = [hidden.parts[i].name for i in act.items] + list(act.kinds)
    on = ", ".join(names)
    if act.verb == MEASURE:
        return f"measure: {act.card or act.reading}" + (f" ({on})" if on else "")
    if act.verb == LOOK:
        asked = bool(act.kinds) and all(hidden.asked(k) for k in act.kinds) and not act.items
        verb = "ask about" if asked else "look at"
        sought = f" for {' and '.join(act.features)}" if act.features else ""
        return f"{verb} {on or 'everything'}{sought}"
    return f"{act.verb}: {on}" if on else act.verb


def until(hidden: Hidden, trace: Trace) -> str:
    """Until when a trace was to be had."""
    if hidden.asked(trace.kind) or trace.kind == HISTORY:
        return "people can tell it to the end"
    return "it stays there" if trace.lost == NEVER else f"to be had only {trace.lost}"


def _lost(bench: Bench) -> tuple[Lost, ...]:
    hidden, by_act = bench.hidden, dict[int, list[Loss]]()
    gone = {x.trace for x in bench.losses if x.what == GONE}
    for loss in bench.losses:
        if loss.what == GONE or loss.trace not in gone:
            by_act.setdefault(loss.act, []).append(loss)
    return tuple(
        Lost(n, act_text(hidden, bench.done[n].act), tuple((x, text_of(hidden, hidden.by_id[x.trace])) for x in losses))
        for n, losses in sorted(by_act.items())
    )  # fmt: skip


def _in_vain(
    bench: Bench, found: Diagnosis, truth: Truth, weighty: tuple[Weighty, ...]
) -> list[tuple[int, str, float]]:
    """Looks and measurements that brought nothing that mattered, and found nothing sound that tells of what is right."""
    hidden, useful = bench.hidden, {t for w in weighty for t in w.traces}
    own = found.at(truth.at.position)
    speaking = {e.finding for n in (*truth.roots, *truth.mechanisms) if n != NONE for e in own.evidence(n)
                if e.state == "absent" and abs(e.weight) >= IN_VAIN}  # fmt: skip
    inference = found.inference
    telling = {i for f in speaking for i in inference.leaves_of_finding(f, own.position)}
    result = []
    for n, (done, sound) in enumerate(zip(bench.done, bench.sound_by_act, strict=True)):
        act = done.act
        if act.verb not in (LOOK, MEASURE):
            continue
        brought = {s.trace for s in bench.seen if s.act == n}
        tells = hidden.knowledge.measurements[act.card].tells if act.card else ()
        if not brought & useful and not sound & telling and not set(tells) & speaking & bench.told:
            result.append((n, act_text(hidden, act), done.minutes))
    return result


def _differently(d: Debrief, present: set[str]) -> tuple[str, str]:
    """Two sentences: what to do for the evidence, and what for time, answer or confidence."""
    return _about_evidence(d, present), _about_answer(d)


def _about_evidence(d: Debrief, present: set[str]) -> str:
    hidden, gone = d.hidden, lost_of(d.bench, d.weighty, present)
    blamed = {x.trace: x for x in d.bench.losses}
    if gone:
        loss = next(blamed[t] for t in gone[0].traces if t in blamed)
        trace, act = hidden.by_id[loss.trace], d.bench.done[loss.act].act.verb
        if loss.what == GONE:
            return f"Before you {act}, record what that takes: here {trace.what}, to be had only {loss.stage}."
        keep = "mark every part against an index" if loss.what == CLOCK else "tag every part"
        return f"Before you {act}, {keep}: where {trace.what} belonged could not be told any more."
    unseen = [w for w in d.weighty if w.finding not in present]
    if unseen:
        trace = hidden.by_id[unseen[0].traces[0]]
        if hidden.asked(trace.kind) or trace.kind == HISTORY:
            return f"Ask about the {trace.kind} as well: the answer would have spoken most plainly ({trace.what})."
        place = hidden.parts[trace.part].name if trace.part else f"the {trace.kind}"
        whole = " as a whole" if trace.kind == SEAL and not trace.part else ""
        return f"Look at {place}{whole} as well, for {trace.what}: that would have spoken most plainly."
    return "You kept and saw all that mattered; do it in this order again."


def _about_answer(d: Debrief) -> str:
    right, sure = d.score.right, (d.answer.root_confidence, d.answer.mechanism_confidence)
    for said, good, p in zip((d.answer.root, d.answer.mechanism), right, sure, strict=True):
        if said == NONE and not good and p > 0.5:
            return f"Go through the usual ones again, each against your record, before you are {p:.0%} sure that it is none of them."
        if said and not good and p > 0.5:
            parted = next((x for _, x in look_alikes(d.hidden, d.truth, d.answer) if said in (_, x.other)), None)
            how = f" {parted.told_apart_by}" if parted else ""
            return f"Ask what else could have left the same marks before you are {p:.0%} sure of {said}.{how}"
    if d.bench.minutes > 1.5 * d.plan.minutes and d.plan.minutes:
        return f"The plan needs {d.plan.minutes:.0f} minutes where you took {d.bench.minutes:.0f}: begin with what tells most a minute and stop when nothing could change the answer."
    for said, good, p in zip((d.answer.root, d.answer.mechanism), right, sure, strict=True):
        if good and p < 0.5:
            return f"You were right about {said} and only {p:.0%} sure: say how sure the record makes you, no less."
    if not all(right):
        return "Name what happened first and then who could have changed it: a mechanism without its cause comes back."
    return "Write down what else it could have been and what told it apart, so that others can check you."
