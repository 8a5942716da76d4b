"""Taking a seal apart act by act: what each shows, what it takes, and what it ends for good. Pure functions."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from diagnose.knowledge.model import Handling, Measurement
from diagnose.training.bench import CLOCK, EVERYTHING, GONE, LOOK, MEASURE, PLACE, Act, Bench, Done, Loss, Outcome, Seen
from diagnose.training.hidden import Hidden, Trace
from diagnose.training.looking import ahead, decided, joined, look, measure


def do(bench: Bench, act: Act) -> tuple[Bench, Outcome]:
    """The bench after an act, and what it came to. A refused act leaves everything as it was."""
    if act.verb == LOOK:
        outcome = look(bench, act)
    elif act.verb == MEASURE:
        outcome = measure(bench, act)
    else:
        handling = bench.hidden.teardown.acts[act.verb]
        refused = _refused(bench, handling, act)
        items = _items(bench.hidden, handling, act)
        outcome = Outcome(refused=refused, minutes=handling.minutes * (len(items) if handling.each else 1))
    if outcome.refused:
        return bench, outcome
    number = len(bench.done)
    after = replace(
        bench, done=(*bench.done, Done(act, outcome.minutes)), sound=joined(bench.sound, outcome.sound),
        sound_by_act=(*bench.sound_by_act, frozenset(o.id for o in outcome.sound)),
        seen=(*bench.seen, *(s for s in outcome.seen if _is_news(bench, s))),
    )  # fmt: skip
    if act.verb == MEASURE and act.card:
        after = _spoiled(after, bench.hidden.knowledge.measurements[act.card])
        after = replace(after, told=after.told | decided(bench, bench.hidden.knowledge.measurements[act.card]))
    elif act.verb not in (LOOK, MEASURE):
        after = _handled(after, bench.hidden.teardown.acts[act.verb], act)
    return replace(after, losses=(*bench.losses, *_losses(bench, after, number))), outcome


def _is_news(bench: Bench, s: Seen) -> bool:
    """Whether a trace is not on record yet, or not so well."""
    known = [k for k in bench.seen if k.trace == s.trace]
    return not any(k.clock >= s.clock and k.place >= s.place for k in known)


# ---- what acts change -----------------------------------------------------------------------------------------


def _spoiled(bench: Bench, card: Measurement) -> Bench:
    """What a measurement itself ends: a stage of the parts that it is made on."""
    hidden, stages = bench.hidden, bench.hidden.words.stages
    ends = card.spoils or (stages[-1] if card.destructive else "")
    if ends not in stages:
        return bench
    items = [p.item for p in hidden.case.parts if card.part in hidden.words.lineage[p.kind]]
    return replace(bench, ended=bench.ended | {(i, stages.index(ends)) for i in items or [card.part]})


def _items(hidden: Hidden, handling: Handling, act: Act) -> tuple[str, ...]:
    """The parts an act is done to: those named, else all it can be done to."""
    lines = hidden.words.lineage
    wanted = act.items or (() if act.kinds else tuple(hidden.parts))
    return tuple(i for i in wanted if not handling.of or set(handling.of) & set(lines[hidden.parts[i].kind]))


def _refused(bench: Bench, handling: Handling, act: Act) -> str:
    hidden, stages = bench.hidden, bench.hidden.words.stages
    if handling.needs and bench.opened < stages.index(handling.needs):
        return f"That cannot be done yet: {', '.join(ahead(bench, stages.index(handling.needs)))} first."
    if handling.ends and not handling.each and bench.opened > stages.index(handling.ends):
        return "That is done already."
    if handling.keeps and act.kinds and not act.items:
        return "That is done to parts on the list only; parts shows them. Look at the rest to have it on record."
    if handling.each and act.items and not _items(hidden, handling, act):
        return f"That is done to {' or '.join(handling.of)} only."
    return ""


def _handled(bench: Bench, handling: Handling, act: Act) -> Bench:
    hidden, stages, lines = bench.hidden, bench.hidden.words.stages, bench.hidden.words.lineage
    items = _items(hidden, handling, act)
    ended, past, opened = bench.ended, bench.past, bench.opened
    if handling.ends and not handling.each:
        opened = max(opened, stages.index(handling.ends) + 1)
        past = max(past, opened)
    elif handling.ends:
        places = {*items, *act.kinds, *(() if act.items or act.kinds else (EVERYTHING,))}
        ended |= {(p, stages.index(handling.ends)) for p in places}
    whole = tuple(hidden.parts) if not handling.each else items
    freed = {i for i in whole if set(handling.frees) & set(lines[hidden.parts[i].kind])}
    kept = {(i, what) for i in items for what in handling.keeps if what != "clock" or i not in bench.freed}
    pictured = {t.id for t in hidden.traces if "sight" in handling.keeps and t.part in items and _pictured(bench, t)}
    return replace(
        bench, opened=opened, past=past, ended=ended, kept=bench.kept | kept, freed=bench.freed | freed,
        pictured=bench.pictured | pictured, mixed=_mixed(bench, items) if handling.heaps else bench.mixed,
    )  # fmt: skip


def _pictured(bench: Bench, trace: Trace) -> bool:
    """Whether a photograph taken now shows a trace with all that is known of it."""
    hidden = bench.hidden
    shown = set(hidden.teardown.shows) & set(hidden.words.form_lineage.get(trace.what, ()))
    there = not trace.gone and not bench.gone(trace) and bench.clock(trace)
    return bool(shown) and there and bench.opened >= hidden.seen_from(trace.kind, trace.lost)


def _mixed(bench: Bench, items: Sequence[str]) -> tuple[frozenset[str], ...]:
    """Untagged parts of one kind that now lie together are one group; groups that share a part become one."""
    hidden, groups = bench.hidden, list(bench.mixed)
    for kind in hidden.teardown.alike:
        alike = {
            i for i in items if kind in hidden.words.lineage[hidden.parts[i].kind] and (i, PLACE) not in bench.kept
        }
        if len(alike) > 1:
            joined = frozenset(alike).union(*(g for g in groups if g & alike))
            groups = [g for g in groups if not g & joined] + [joined]
    return tuple(sorted(groups, key=sorted))


# ---- losses ---------------------------------------------------------------------------------------------------


def _losses(before: Bench, after: Bench, number: int) -> list[Loss]:
    """What an act took for good of traces that are not on record."""
    result, recorded = [], {s.trace for s in after.seen}
    for t in after.hidden.traces:
        if t.gone or t.id in recorded:
            continue
        if after.gone(t) and not before.gone(t):
            result.append(Loss(t.id, number, GONE, t.lost))
        elif not after.gone(t):
            if before.clock(t) and not after.clock(t):
                result.append(Loss(t.id, number, CLOCK))
            if len(after.group(t.part)) > 1 and len(before.group(t.part)) == 1:
                result.append(Loss(t.id, number, PLACE))
    return result
