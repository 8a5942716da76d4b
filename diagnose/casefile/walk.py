"""The order in which a guided session goes through a case: steps of dismantling, and topics within a step."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass

from diagnose.casefile.elsewhere import elsewhere
from diagnose.casefile.model import Case, Measured, Observation, Part
from diagnose.knowledge.model import Arrangements, Knowledge, LeftOut, Look, Step, UsualPart, Vocabulary
from diagnose.reading.entry import replace
from diagnose.reading.units import show, unit


@dataclass(frozen=True)
class Topic:
    """What is asked in one go: figures and settings of the case (`asks`), or one part or kind with what to look for
    and measure on it, of one seal of a pair where it has a `position`. `id` stays the same from session to session."""

    id: str
    step: Step
    asks: tuple[str, ...] = ()
    part: str = ""
    kind: str = ""
    features: tuple[str, ...] = ()
    readings: tuple[str, ...] = ()
    how: str = ""
    position: str = ""

    def about(self) -> dict[str, str]:
        """The keys by which a record says what it is about."""
        return {"part": self.part} if self.part else {"on": self.kind}


def usual_document(name: str, arrangement: str, parts: tuple[UsualPart, ...], stage: str) -> dict[str, object]:
    """A case with the usual parts of an arrangement and nothing recorded."""
    entries: list[dict[str, object]] = []
    for p in parts:
        entry: dict[str, object] = {"item": p.item, "name": p.name, "kind": p.kind}
        entry |= {k: v for k, v in (("position", p.position), ("group", p.group), ("carries", p.carries)) if v}
        entry |= {"touches": list(p.touches)} if p.touches else {}
        entries.append(entry)
    document: dict[str, object] = {"case": name, "seal": {"arrangement": arrangement}}
    return document | ({"parts": entries} if entries else {}) | ({"stage": stage} if stage else {})


def topics(case: Case, knowledge: Knowledge, away: Collection[str] = ()) -> tuple[Topic, ...]:
    """Every topic of a case, in order: step by step, the case's figures first, then kinds and parts as the step's looks
    name them, without what this seal does not have. A part that several looks name is one topic. `away`: further kinds that are
    not at hand."""
    result: dict[str, Topic] = {}
    words, steps = knowledge.vocabulary, knowledge.arrangements.steps
    out = {p: left_out(case, knowledge, p) for p in ("", *case.positions, "machine")}
    gone = {*away, *not_there(case, knowledge, out[""])}
    unsure = {*gone, *not_known(case, knowledge)}
    given = [(n, x) for n, step in enumerate(steps) for x in step.looks
             if not (unsure if x.always else gone) & set(words.lineage[x.on]) and _is_given(case, knowledge, x)]  # fmt: skip
    parts = [p for p in case.parts if not why_lost(case, p) and not gone & set(words.lineage[p.kind])]
    opened = {p.item: _opened(knowledge, out.get(p.position, out[""]), p.kind) for p in parts}
    for number, step in enumerate(steps):
        if step.asks:
            left = {a for x in out[""] for a in x.asks}
            id = f"{step.stage} / case"
            result[id] = Topic(
                id, step, asks=tuple(a for a in step.asks if a not in left and not _ruled_out(case, knowledge, a))
            )
        late = [p for p in parts if opened[p.item] == number]
        of_this_step = [(n, x) for n, x in given if n == number]
        for n, look in [*of_this_step, *((n, x) for n, x in given if n < number and late)]:
            if look.always:
                id = f"{step.stage} / {look.on}"
                if n == number and id not in result:
                    looks = [x for at, x in given if at == n and x.always and x.on == look.on]
                    result[id] = _gathered(id, step, looks, words, out[""], kind=look.on)
                continue
            for part in late if n < number else parts:
                id = f"{step.stage} / part {part.item}"
                if opened[part.item] <= number and look.on in words.lineage[part.kind] and id not in result:
                    due = [x for at, x in given if max(at, opened[part.item]) == number]
                    result[id] = _of_part(case, id, step, part, due, words, out.get(part.position, out[""]))
    return tuple(t for t in result.values() if t.asks or t.features or t.readings)


def not_at_hand(case: Case, knowledge: Knowledge) -> tuple[str, ...]:
    """The kinds that stayed behind where the seal came without its machine."""
    return knowledge.arrangements.with_machine if case.alone else ()


def not_there(case: Case, knowledge: Knowledge, out: Collection[LeftOut]) -> frozenset[str]:
    """The kinds of which nothing is to be looked at: left behind, without meaning beside what the case says, struck off the usual
    list, or of no piping plan that this seal has or could have."""
    by_plan, lacking = knowledge.arrangements.by_plan, not_fitted(case, knowledge)
    idle = {t for x in out for t in x.terms.get("plan", ())} | {p for k in lacking for p in by_plan.get(k, ())}
    plans = said_terms(case, knowledge).get("plan") or {p for of in by_plan.values() for p in of if p not in idle}
    other = {k for k, of in by_plan.items() if not plans & set(of) and not _is_told_of(case, knowledge, k)}
    return frozenset({*not_at_hand(case, knowledge), *(k for x in out for k in x.kinds), *lacking, *other})


def not_known(case: Case, knowledge: Knowledge) -> frozenset[str]:
    """The kinds of which nobody said whether there is one, as no piping plan is on record and such a seal may do without."""
    if said_terms(case, knowledge).get("plan"):
        return frozenset()
    usual = {u.kind for u in _usual(case, knowledge)}
    return frozenset(
        k for k in knowledge.arrangements.by_plan if k not in usual and not _is_told_of(case, knowledge, k)
    )


def not_fitted(case: Case, knowledge: Knowledge) -> frozenset[str]:
    """The usual kinds that a list of parts lacks which has most of the others: such a list was made from the usual one."""
    words, usual = knowledge.vocabulary, _usual(case, knowledge)
    kinds = {p.kind for p in case.parts}
    lacking = {u.kind for u in usual if not any(words.related(u.kind, k) for k in kinds)}
    if 2 * sum(u.kind in lacking for u in usual) >= len(usual):
        return frozenset()
    return frozenset(k for k in lacking if not _is_told_of(case, knowledge, k))


def _usual(case: Case, knowledge: Knowledge) -> list[UsualPart]:
    arrangements = said_terms(case, knowledge).get("arrangement", ())
    return [u for a in sorted(arrangements) for u in knowledge.arrangements.usual.get(a, ())]


def _is_told_of(case: Case, knowledge: Knowledge, kind: str) -> bool:
    """Whether such a part is on the list, or something is on record that was there or happened to it."""
    words = knowledge.vocabulary
    told = {p.kind for p in case.parts} | {
        o.kind for o in case.observations if o.state == "present" and o.feature != "missing"
    }
    points = {*(s.point for s in case.states if s.holds), *(a.to for a in case.acts if a.holds)}
    return any(words.related(kind, k) for k in told if k) or any(words.grammar.is_a("to", p, kind) for p in points if p)


def said_terms(case: Case, knowledge: Knowledge, position: str = "") -> dict[str, set[str]]:
    """The terms by setting that a case says, of one seal of a pair where a position is given, and those that its arrangement
    says by its name."""
    said: dict[str, set[str]] = {}
    for s in case.settings:
        if s.holds and (position == "" or s.position in ("", position)):
            said.setdefault(s.setting, set()).add(s.term)
    for arrangement in sorted(said.get("arrangement", ())):
        for setting, term in knowledge.arrangements.says.get(arrangement, {}).items():
            said.setdefault(setting, {term})
    return said


def left_out(case: Case, knowledge: Knowledge, position: str = "") -> tuple[LeftOut, ...]:
    """What is neither asked nor looked for beside what the case says."""
    said, settings = said_terms(case, knowledge, position), knowledge.vocabulary.settings
    usual, lacking = [u.kind for u in _usual(case, knowledge)], not_fitted(case, knowledge)
    lineages = [knowledge.vocabulary.lineage[k] for k in (*(p.kind for p in case.parts), *usual)]

    def holds(setting: str, terms: Collection[str]) -> bool:
        told = said.get(setting, set())
        return bool(told) and (told <= set(terms) if settings[setting].single else bool(told & set(terms)))

    def lacks(kind: str) -> bool:
        return not kind or (bool(case.parts and usual) and not any(kind in lineage for lineage in lineages))

    return tuple(
        x
        for x in knowledge.arrangements.left_out
        if (case.alone or not x.alone)
        and x.struck_off in ("", *lacking)
        and lacks(x.without)
        and all(holds(s, terms) for s, terms in x.given.items())
    )


def is_left_out(out: Collection[LeftOut], words: Vocabulary, kind: str, term: str) -> bool:
    """Whether a feature or reading means nothing on a kind of part."""
    return any(term in (*x.features, *x.readings) and (not x.on or set(x.on) & set(words.lineage[kind])) for x in out)


def last_stage(knowledge: Knowledge, out: Collection[LeftOut], feature: str, kind: str) -> str:
    """The last stage at which a feature can be seen on a kind of part: what is closed in is there as long as it is."""
    stages, lost = knowledge.vocabulary.stages, knowledge.vocabulary.features[feature].lost
    closed = [x.until for x in out if x.until and set(x.on) & set(knowledge.vocabulary.lineage[kind])]
    return max(lost, *closed, key=stages.index) if closed and lost in stages else lost


def _opened(knowledge: Knowledge, out: Collection[LeftOut], kind: str) -> int:
    """The number of the first step at which a kind of part is not closed in any more."""
    stages, lineage = [s.stage for s in knowledge.arrangements.steps], set(knowledge.vocabulary.lineage[kind])
    return max((stages.index(x.until) for x in out if x.until in stages and lineage & set(x.on)), default=0)


def open_kinds(case: Case, knowledge: Knowledge) -> list[str]:
    """Kinds that not every machine has, where neither the machine nor a record says whether this one has them."""
    if said_terms(case, knowledge).get("machine"):
        return []
    seen = {p.kind for p in case.parts} | {o.kind for o in case.observations}
    return [k for k in knowledge.arrangements.not_every if k not in seen]


def _ruled_out(case: Case, knowledge: Knowledge, key: str) -> bool:
    """Whether the case says a term with which there is no such figure, or has no part of the kind that it needs."""
    reading, kind = knowledge.vocabulary.readings.get(key), knowledge.arrangements.only_with.get(key)
    terms = reading.not_with if reading else {}
    if kind and case.parts and not any(kind in knowledge.vocabulary.lineage[p.kind] for p in case.parts):
        return True
    return any(s.holds and terms.get(s.setting) == s.term for s in case.settings)


def _is_given(case: Case, knowledge: Knowledge, look: Look) -> bool:
    """Whether the case says one of the terms of every setting that a look needs."""
    said: Mapping[str, set[str]] = said_terms(case, knowledge) if look.given else {}
    return all(said.get(setting, set()) & set(terms) for setting, terms in look.given.items())


def _touches(case: Case, look: Look, part: Part, words: Vocabulary) -> bool:
    """Whether a part touches what a look needs; what it touches may be said by the other one alone."""
    others = [p for p in case.parts if p.item in part.touches or part.item in p.touches]
    return not look.touching or not others or any(set(look.touching) & set(words.lineage[p.kind]) for p in others)


def _of_part(
    case: Case, id: str, step: Step, part: Part, due: list[Look], words: Vocabulary, out: tuple[LeftOut, ...]
) -> Topic:
    looks = [x for x in due if not x.always and x.on in words.lineage[part.kind]
             and (not x.carries or part.carries in ("", x.carries)) and _touches(case, x, part, words)]  # fmt: skip
    return _gathered(id, step, looks, words, out, part)


def _gathered(
    id: str, step: Step, looks: list[Look], words: Vocabulary, out: tuple[LeftOut, ...],
    part: Part | None = None, kind: str = "",
) -> Topic:  # fmt: skip
    """One topic of several looks, without what is left out: what is lost first stands first, else in the written order."""
    kind = part.kind if part else kind
    features = [
        f for x in looks for f in x.features
        if words.fits(kind, words.features[f].on) and not is_left_out(out, words, kind, f)
    ]  # fmt: skip
    features = sorted(dict.fromkeys(features), key=lambda f: not is_lost_after(words, f, step))
    readings = [
        r for x in looks for r in x.readings
        if words.fits(kind, words.readings[r].on) and not is_left_out(out, words, kind, r)
    ]  # fmt: skip
    return Topic(
        id, step, (), part.item if part else "", kind, tuple(features), tuple(dict.fromkeys(readings)),
        " ".join(look.how for look in looks if look.how), part.position if part and part.position != "machine" else "",
    )  # fmt: skip


def what_stays(topic: Topic, words: Vocabulary) -> Topic | None:
    """What of a topic can still be answered and measured when its step is past; None where that is nothing."""
    features = tuple(f for f in topic.features if words.features[f].lasting or not is_lost_after(words, f, topic.step))
    readings = tuple(r for r in topic.readings if words.readings[r].lost != topic.step.stage)
    return replace(topic, features=features, readings=readings) if features or readings or topic.asks else None


def everything_on(case: Case, knowledge: Knowledge, item: str, kind: str) -> Topic:
    """All that any step looks for and measures on a part, or on a kind of part, as one topic without an order."""
    found = [t for t in topics(case, knowledge) if (t.part == item if item else t.kind == kind and not t.part)]
    features = tuple(dict.fromkeys(f for t in found for f in t.features))
    readings = tuple(dict.fromkeys(r for t in found for r in t.readings))
    return Topic(
        f"anything / {item or kind}",
        replace(knowledge.arrangements.steps[-1], stage="anything"),
        (),
        item,
        kind,
        features,
        readings,
    )


def is_lost_after(words: Vocabulary, feature: str, step: Step) -> bool:
    """Whether this step is the last at which the feature can still be seen; what was closed in before, it opens."""
    lost, stages = words.features[feature].lost, words.stages
    if lost not in stages or step.stage not in stages:
        return False
    before = stages.index(lost) - stages.index(step.stage)
    return before == 0 or (before < 0 and not words.features[feature].lasting)


def why_lost(case: Case, part: Part) -> str:
    """Why nobody can look at a part any more; "" where it is in hand."""
    return part.lost or case.lost.get(part.position, "")


def lost_kind(case: Case, knowledge: Knowledge, position: str, kind: str, group: str = "") -> str:
    """Why no part of the kind is left at a position; "" where one is, or may be: a list shorter than usual may leave one out.
    What people can be asked about stays."""
    words = knowledge.vocabulary
    of_the_seal = words.kinds[kind].place == "seal" and not set(knowledge.looks.asked) & set(words.lineage[kind])
    if of_the_seal and position in case.lost:
        return f"the seal: {case.lost[position]}"
    parts = [p for p in case.parts if p.position in (position, "machine", "") and (not group or p.group in (group, ""))
             and (kind in words.lineage[p.kind] or p.kind in words.lineage[kind])]  # fmt: skip
    usual = [u for s in case.settings if s.setting == "arrangement" and s.holds for u in knowledge.arrangements.usual.get(s.term, ())
             if u.position in (position, "machine", "") and kind in words.lineage[u.kind]]  # fmt: skip
    if len(parts) < len(usual) or not all(why_lost(case, p) for p in parts):
        return ""
    return "; ".join(f"{p.name} ({p.item}): {why_lost(case, p)}" for p in parts)


def lost_things(case: Case) -> list[tuple[str, str]]:
    """What is lost as a whole, seals before parts, with the reason."""
    several = len(case.positions) > 1
    seals = [(f"the {p} seal" if several else "the seal", case.lost[p]) for p in case.positions if p in case.lost]
    return seals + [(f"{p.name} ({p.item})", p.lost) for p in case.parts if p.lost]


def answers(case: Case, topic: Topic) -> dict[str, Observation]:
    """What is on record about the features of a topic, by feature; present counts before any other answer."""
    on = case.seen.get((topic.part, "" if topic.part else topic.kind), ())
    return {o.feature: o for o in on if o.feature in topic.features}


def said_by_special(case: Case, topic: Topic, words: Vocabulary) -> frozenset[str]:
    """Words that need no answer on a topic, as what was seen there says them as well: what is hard everywhere is hard."""
    on = case.seen.get((topic.part, "" if topic.part else topic.kind), ())
    named = ((o, words.also_named(o.feature, dict(o.such), o.kind)) for o in on if o.state == "present")
    return frozenset(name for o, names in named for name in names if name != o.feature)


def settled(case: Case, topic: Topic, words: Vocabulary) -> frozenset[str]:
    """Features of which nobody need be asked on a topic: answered there, said by a special one, or said elsewhere."""
    told = (answers(case, topic), said_by_special(case, topic, words), elsewhere(case, words, topic.part, topic.kind))
    return frozenset(f for found in told for f in found)


def unanswered(case: Case, topic: Topic, words: Vocabulary) -> list[str]:
    """Features of a topic of which nothing is on record."""
    known = settled(case, topic, words)
    return [f for f in topic.features if f not in known]


def doubts(case: Case, knowledge: Knowledge) -> dict[tuple[str, str], str]:
    """What is odd about readings: far off their nominal or off the others of their set, or far over every limit. By record and text."""
    arrangements, told = knowledge.arrangements, dict[tuple[str, str], str]()
    nominals = [x for x in case.measured if x.what in set(arrangements.nominal.values())]
    for x in case.measured:
        if far := _far_over_limits(x, knowledge):
            told[x.id, far] = far
        if x.what not in arrangements.nominal:
            continue
        nominal = nominal_of(nominals, arrangements, x)
        values, wears = [r.value for r in x.readings], x.what in arrangements.wears
        odd = doubtful(values, nominal[1] if nominal else None, arrangements.doubt, wears)
        if odd:
            spelling = knowledge.vocabulary.readings[x.what].unit
            against = f"{nominal[0]} is {show(nominal[1], spelling)}" if nominal else "the others are far from it"
            text = f"{x.what} {', '.join(show(v, spelling) for v in odd)}, but {against}"
            told[x.id, text] = text
    return told


def _far_over_limits(measured: Measured, knowledge: Knowledge) -> str:
    """What is odd of a length on a part that is far over its widest limit: a slip of the decimal point, or of its number for it."""
    reading, factor = knowledge.vocabulary.readings[measured.what], knowledge.arrangements.far_over
    limits = [x for x in knowledge.limits_on.get(measured.what, ()) if x.sense == "at most"]
    if not (factor and reading.on and limits and unit(reading.unit).kind == unit("mm").kind):
        return ""
    widest = max(limit.lax for limit in limits)
    odd = [r.value for r in measured.readings if r.value > factor * widest]
    shown = ", ".join(show(v, reading.unit) for v in odd)
    return f"{measured.what} {shown}, where at most {show(widest, reading.unit)} is usual" if odd else ""


def nominal_of(nominals: list[Measured], arrangements: Arrangements, measured: Measured) -> tuple[str, float] | None:
    """Name and SI value of what a reading should be near, if that is on record: on the same part, else of its seal."""
    name = arrangements.nominal.get(measured.what, "")
    found = [
        x for x in nominals if x.what == name and x.part in (measured.part, "") and x.position == measured.position
    ]
    found.sort(key=lambda x: (x.part != measured.part, x.id))
    return (name, found[0].readings[0].value) if found else None


def doubtful(values: list[float], nominal: float | None, factor: float, wears: bool = False) -> list[float]:
    """Readings further than `factor` times off the nominal, where it `wears` above it, or off the middle one of their own set."""
    if factor <= 1:
        return []
    middle = sorted(values)[len(values) // 2] if len(values) > 2 else None
    return [
        v for v in values
        if (nominal is not None and not (wears and v <= nominal) and _far(v, nominal, factor))
        or (middle is not None and _far(v, middle, factor))
    ]  # fmt: skip


def _far(value: float, near: float, factor: float) -> bool:
    return near > 0 and not near / factor <= value <= near * factor
