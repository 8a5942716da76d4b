"""What looks, questions and measurements show of a seal as it stands; nothing is changed by showing it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from diagnose.casefile.model import Measured, Observation, Part
from diagnose.knowledge.model import Measurement
from diagnose.training.bench import Act, Bench, Outcome, Seen
from diagnose.training.hidden import HISTORY, NEVER, SEAL, Hidden, Trace


def look(bench: Bench, act: Act) -> Outcome:
    hidden = bench.hidden
    named = act.items or act.kinds
    items = act.items if named else tuple(hidden.parts)
    kinds = act.kinds if named else hidden.kinds
    outcomes = [_look_at(bench, item, hidden.parts[item].kind, act.features) for item in _unrepeated(bench, items)]
    outcomes += [_look_at(bench, "", kind, act.features) for kind in kinds]
    unseen = tuple(n for o in outcomes for n in o.unseen)
    did = [o for o in outcomes if not o.unseen or o.seen or o.sound or o.late]
    if not did:
        return Outcome(
            unseen=unseen, refused=_not_in_view(bench, unseen, [*(hidden.parts[i].kind for i in items), *kinds])
        )
    return Outcome(
        tuple(s for o in did for s in o.seen), tuple(s for o in did for s in o.sound),
        tuple(dict.fromkeys(x for o in did for x in o.late)), unseen, sum(o.minutes for o in did),
    )  # fmt: skip


def _unrepeated(bench: Bench, items: Sequence[str]) -> list[str]:
    """Of parts mixed up with each other one, which then stands for all."""
    return list({min(bench.group(i)): i for i in items}.values())


def _look_at(bench: Bench, item: str, kind: str, features: Sequence[str]) -> Outcome:
    """One part, or everything of a kind that is no part of the list."""
    hidden = bench.hidden
    group = bench.group(item) if item else frozenset()
    wanted = features or hidden.looked_for(kind)
    seen, late = [], []
    for t in hidden.traces:
        here = t.part in group if t.part else hidden.related(t.kind, kind)
        if (
            not here
            or (features and not _says(hidden, t, features))
            or (isinstance(t.record, Measured) and t.record.kind)
        ):
            continue
        if t.gone or bench.gone(t):
            late += [t.what] if t.gone else []
        elif bench.opened >= hidden.seen_from(t.kind, t.lost):
            seen.append(_seen(bench, t))
    part = hidden.parts.get(item)
    lost = part is not None and bool(hidden.case.lost.get(part.position) or part.lost)
    visible = [f for f in wanted if bench.opened >= hidden.seen_from(kind, hidden.last_stage(f, kind))]
    open_ones = [f for f in visible if not lost and not any(
        bench.over(hidden.last_stage(f, kind), i, kind) for i in (group or [""]))]  # fmt: skip
    late += [f for f in visible if f not in open_ones]
    whole = bench.opened >= hidden.in_view(kind)
    name = part.name if part else kind
    return Outcome(
        tuple(seen), tuple(_sound(bench, f, kind, item) for f in open_ones if not _there(hidden, f, kind, group)),
        tuple(late), () if whole else (name,), 0.0 if not visible and not seen else minutes_of(hidden, kind),
    )  # fmt: skip


def _says(hidden: Hidden, trace: Trace, features: Sequence[str]) -> bool:
    special = hidden.words.special
    return any(trace.what in special.get(f, (f,)) for f in features)


def _seen(bench: Bench, trace: Trace) -> Seen:
    return Seen(trace.id, len(bench.done), bench.clock(trace), len(bench.group(trace.part)) == 1)


def _there(hidden: Hidden, feature: str, kind: str, group: frozenset[str]) -> bool:
    """Whether a feature, a special case of it or a general word for it is true of a part or kind, so that it cannot be
    put down as absent; nor can answers to a question, nor of what is no part of the list what would deny a finding."""
    words = hidden.words
    said = {*words.special.get(feature, ()), *words.form_lineage.get(feature, ())}
    here = (t for t in hidden.traces if (t.part in group if t.part and group else hidden.related(t.kind, kind)))
    denies = not group and feature in hidden.denying
    return denies or feature in hidden.answers or any(t.what in said for t in here)


def _sound(bench: Bench, feature: str, kind: str, item: str) -> Observation:
    """What was looked for and is not there; of parts mixed up, on their kind in common."""
    hidden = bench.hidden
    group = bench.group(item) if item else frozenset()
    parts = [hidden.parts[i] for i in sorted(group)]
    if len(parts) == 1:
        p = parts[0]
        return Observation(f"sound {feature} {item}", feature, "absent", p.kind, p.position, p.item, p.group, p.carries)
    kind = common_kind(hidden, parts) if parts else kind
    place = "machine" if hidden.words.kinds[kind].place == "machine" else hidden.case.positions[0]
    position = parts[0].position if parts else place
    return Observation(f"sound {feature} {kind}", feature, "absent", kind, position)


def common_kind(hidden: Hidden, parts: Sequence[Part]) -> str:
    """The nearest kind that all the parts are of."""
    lines = [hidden.words.lineage[p.kind] for p in parts]
    return next((k for k in lines[0] if all(k in line for line in lines)), parts[0].kind)


def minutes_of(hidden: Hidden, kind: str) -> float:
    minutes = hidden.knowledge.looks.minutes
    return next((minutes[k] for k in hidden.words.lineage.get(kind, ()) if k in minutes), 5.0)


def _not_in_view(bench: Bench, names: Sequence[str], kinds: Sequence[str]) -> str:
    last = max(map(bench.hidden.in_view, kinds), default=0)
    acts = ", ".join(ahead(bench, last))
    shown = ["The inside of the seal" if n.lower() == SEAL else n for n in dict.fromkeys(names)]
    return f"{', '.join(shown) or 'That'} cannot be seen yet" + (f": {acts} first." if acts else ".")


def ahead(bench: Bench, place: int) -> list[str]:
    """The acts that open the seal on the way to a stage, in their order; none where it is reached."""
    stages = bench.hidden.words.stages
    acts = [(stages.index(a.ends), a.name) for a in bench.hidden.teardown.acts.values() if a.ends and not a.each]
    return [name for ends, name in sorted(acts) if bench.opened <= ends < place]


def opening(bench: Bench, place: int) -> str:
    """The next of them; "" where there is none."""
    return next(iter(ahead(bench, place)), "")


# ---- measuring ------------------------------------------------------------------------------------------------


def measure(bench: Bench, act: Act) -> Outcome:
    hidden = bench.hidden
    if not act.card:
        return _plain_reading(bench, act)
    card = hidden.knowledge.measurements[act.card]
    if bench.opened < hidden.seen_from(card.part, hidden.last_of(card)):
        return Outcome(refused=_not_in_view(bench, [card.part.capitalize()], [card.part]))
    seen, sound, late = [], [], []
    for t in bearing(hidden, card):
        if t.gone or bench.gone(t):
            late.append(t.what)
        elif _told_or_in_view(bench, card, t.kind, t.lost):
            seen.append(_seen(bench, t))
    seen += [_seen(bench, t) for t in _in_hand(bench, card)]
    is_late = too_late(bench, card)
    for feature, on in _features(hidden, card) if not is_late else ():
        for kind, item in _places(hidden, on):
            group, last = bench.group(item) if item else frozenset(), hidden.last_stage(feature, kind)
            there = _there(hidden, feature, kind, group)
            if not there and not bench.over(last, item, kind) and bench.opened >= hidden.seen_from(kind, last):
                sound.append(_sound(bench, feature, kind, item))
    return Outcome(
        tuple(dict.fromkeys(seen)) if not is_late else (), tuple(joined((), sound)),
        tuple(dict.fromkeys(late)) or ((card.name,) if is_late else ()), (), card.minutes,
    )  # fmt: skip


def _in_hand(bench: Bench, card: Measurement) -> list[Trace]:
    """What plainly shows on the parts that a measurement is made on: who has a part in hand sees its marks."""
    hidden = bench.hidden
    return [
        t for t in hidden.traces
        if t.part and isinstance(t.record, Observation) and card.part in hidden.words.lineage[hidden.parts[t.part].kind]
        and not t.gone and not bench.gone(t) and bench.opened >= hidden.seen_from(t.kind, t.lost)
    ]  # fmt: skip


def _told_or_in_view(bench: Bench, card: Measurement, kind: str, last: str) -> bool:
    """Whether a measurement can show what is on a kind of part: people tell of any, the machine is measured from outside;
    else the part is in view."""
    outside = bench.hidden.words.kinds[kind].place == "machine" if kind in bench.hidden.words.kinds else False
    return bench.hidden.asked(card.part) or outside or bench.opened >= bench.hidden.seen_from(kind, last)


def _plain_reading(bench: Bench, act: Act) -> Outcome:
    hidden = bench.hidden
    named = (act.reading, f" {act.reading}")
    here = [
        t
        for t in hidden.traces
        if (t.what == named[0] or t.what.endswith(named[1])) and (not act.items or t.part in act.items)
    ]
    kinds = hidden.words.readings[act.reading].on or tuple(hidden.parts[i].kind for i in act.items)
    if here and all(bench.opened < hidden.seen_from(t.kind, t.lost) for t in here):
        return Outcome(refused=_not_in_view(bench, [here[0].kind.capitalize()], [here[0].kind]))
    if not here and kinds and all(bench.opened < hidden.read_from(act.reading, k) for k in kinds):
        return Outcome(refused=_not_in_view(bench, [kinds[0].capitalize()], [kinds[0]]))
    late = [t for t in here if t.gone or bench.gone(t)]
    seen = tuple(_seen(bench, t) for t in here if t not in late)
    return Outcome(seen, (), (act.reading,) if late else (), (), hidden.teardown.reading)


def too_late(bench: Bench, card: Measurement) -> bool:
    hidden = bench.hidden
    last = hidden.last_of(card)
    if last == NEVER or last == hidden.words.stages[0]:
        return last != NEVER and bench.past > 0
    parts = [p.item for p in hidden.case.parts if card.part in hidden.words.lineage[p.kind]]
    return all(bench.over(last, item, card.part) for item in parts or [""])


def _features(hidden: Hidden, card: Measurement) -> list[tuple[str, tuple[str, ...]]]:
    """(feature, kinds) that a measurement looks for."""
    found = []
    for finding in card.tells:
        for c in hidden.conditions(finding):
            if c.form in ("saw", "absent"):
                found.append((c.term, (c.on,) if c.on else hidden.words.features[c.term].on))
    return list(dict.fromkeys(found))


def _places(hidden: Hidden, on: Sequence[str]) -> list[tuple[str, str]]:
    """(kind, item) of the parts of some kinds; a kind of which no part is listed stands for itself."""
    found = []
    for kind in on:
        parts = [(p.kind, p.item) for p in hidden.case.parts if kind in hidden.words.lineage[p.kind]]
        found += parts or [(kind, "")]
    return list(dict.fromkeys(found))


def bearing(hidden: Hidden, card: Measurement) -> list[Trace]:
    """The traces from which a measurement tells something."""
    features = _features(hidden, card)
    numbers = {q for f in card.tells for q in hidden.quantities_of(f)}
    inputs = {i for q in hidden.diagnosis.quantities if q.name in numbers for _, _, i in q.inputs}
    found = []
    for t in hidden.traces:
        if t.kind == HISTORY and not isinstance(t.record, Observation) and not hidden.asked(card.part):
            continue
        said = any(_says(hidden, t, [f]) and any(hidden.related(t.kind, k) for k in on) for f, on in features)
        if t.id in inputs or (isinstance(t.record, Observation) and said):
            found.append(t)
    return found


def decided(bench: Bench, card: Measurement) -> frozenset[str]:
    """The findings that a measurement shows not to be so, as far as it goes by numbers or by what people tell, and nothing
    of them is lost."""
    hidden = bench.hidden
    if too_late(bench, card):
        return frozenset()
    answers = {f for q in hidden.knowledge.questions.values() for f in q.answers}
    lost = any(t.gone or bench.gone(t) or not bench.clock(t) or not _told_or_in_view(bench, card, t.kind, t.lost)
               for t in bearing(hidden, card))  # fmt: skip
    if lost:
        return frozenset()
    told = hidden.asked(card.part)
    return frozenset(f for f in card.tells if f not in answers | hidden.there and (told or hidden.quantities_of(f)))


def joined(known: tuple[Observation, ...], new: Iterable[Observation]) -> tuple[Observation, ...]:
    ids = {o.id for o in known}
    return (*known, *(o for o in new if o.id not in ids))
