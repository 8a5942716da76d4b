"""A case shown piece by piece to a trainee, whose choices and answer are then set beside the tool's own reasoning."""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence, Set
from dataclasses import dataclass, replace
from typing import Any

from diagnose.advice.plan import plan
from diagnose.authoring.rule_test_runner import Workshop, ranked
from diagnose.casefile.model import Case, Measured, Observation
from diagnose.casefile.wording import describe, describe_reading
from diagnose.judgement.diagnosis import Diagnosis
from diagnose.judgement.judge import Judged
from diagnose.knowledge.model import Knowledge
from diagnose.reading.figures import percent
from diagnose.reading.terms import nearest, plain

Ask = Callable[[str], str]
Say = Callable[[str], None]


@dataclass(frozen=True)
class Piece:
    """What lies on the bench under one name: the records of one part or kind."""

    name: str
    observations: tuple[Observation, ...]
    measured: tuple[Measured, ...]

    def lines(self, case: Case, workshop: Workshop) -> list[str]:
        readings = workshop.base.knowledge.vocabulary.readings
        lines = [describe(o, case) for o in self.observations]
        return lines + [describe_reading(x, readings[x.what].unit) for x in self.measured]


@dataclass(frozen=True)
class Step:
    """One round: what the trainee looked at and thought, and what the tool made of the same records: the leading root
    cause and, above it in the record, mechanism."""

    looked_at: str
    thought: str
    leading: Judged
    mechanism: Judged | None
    would_ask: str
    bits: float


@dataclass(frozen=True)
class Result:
    """What the trainee said of a case and what it is, at both levels; `right`: the root where the case names one, else
    the mechanism."""

    case: str
    steps: tuple[Step, ...]
    mechanism: str
    answer: str
    tool: tuple[str, str]
    expected: tuple[str, ...]
    right: bool


def pieces(case: Case) -> list[Piece]:
    """The records of a case in groups, parts by number, then the kinds; figures of the case are told from the start."""
    named: dict[str, tuple[list[Observation], list[Measured]]] = {}

    def name_of(x: Observation | Measured) -> str:
        part = case.part(x.part)
        place = f", {x.position}" if len(case.positions) > 1 and x.position in case.positions else ""
        return f"{part.name} ({part.item}){place}" if part else f"{x.kind}{place}"

    order = {p.item: i for i, p in enumerate(case.parts)}
    for o in sorted(case.observations, key=lambda o: (order.get(o.part, len(order)), o.kind, o.id)):
        named.setdefault(name_of(o), ([], []))[0].append(o)
    for x in sorted((x for x in case.measured if x.kind), key=lambda x: (order.get(x.part, len(order)), x.kind, x.id)):
        named.setdefault(name_of(x), ([], []))[1].append(x)
    return [Piece(name, tuple(seen), tuple(read)) for name, (seen, read) in named.items()]


def known_so_far(case: Case, shown: Sequence[Piece]) -> Case:
    seen = tuple(o for o in case.observations if any(o in p.observations for p in shown))
    read = tuple(x for x in case.measured if not x.kind or any(x in p.measured for p in shown))
    return replace(case, observations=seen, measured=read)


def opening(case: Case, workshop: Workshop) -> list[str]:
    readings = workshop.base.knowledge.vocabulary.readings
    lines = [case.about] if case.about else []
    lines += [f"{key.partition('.')[2]}: {value}" for key, value in sorted(case.texts.items()) if value]
    lines += [
        f"{s.setting}: {'' if s.holds else 'not '}{s.term}" + (f" ({s.position})" if s.position else "")
        for s in case.settings
    ]
    lines += sorted({describe_reading(x, readings[x.what].unit) for x in case.measured if not x.kind})
    return lines + [f"{e.date}: {e.what}".lstrip(": ") for e in case.events]


def play(case: Case, workshop: Workshop, ask: Ask, say: Say) -> Result:
    """One case. An empty answer means: seen enough, or no opinion yet."""
    left, shown, steps = pieces(case), list[Piece](), list[Step]()
    k = workshop.base.knowledge
    on_record = {f for found in Diagnosis(case, workshop.base).inference.findings.values() for f in found}
    say(case.name)
    for line in opening(case, workshop):
        say("  " + line)
    while left:
        say("")
        say("Still to look at:")
        for i, other in enumerate(left, 1):
            say(f"  {i}. {other.name}")
        before = known_so_far(case, shown)
        piece = _choose(left, workshop, ask, say)
        if piece is None:
            break
        left.remove(piece)
        shown.append(piece)
        for line in piece.lines(case, workshop):
            say("  " + line)
        thought = named(
            ask("What do you think of? (a mechanism or a cause, Enter: nothing yet) "), (*k.mechanisms, *k.causes), say
        )
        steps.append(_step(piece, thought, before, known_so_far(case, shown), on_record, workshop))
    happened = named(ask("What happened? (the mechanism) "), k.mechanisms, say)
    answer = named(ask("What is the cause? "), k.causes, say)
    return _review(case, steps, happened, answer, workshop, say)


def _choose(left: Sequence[Piece], workshop: Workshop, ask: Ask, say: Say) -> Piece | None:
    """What the trainee wants to see, by number, name or something measured on it; None for enough."""
    while wanted := plain(ask("What do you look at next? (number or name, Enter: enough) ")):
        choice = _meant(wanted, left, workshop)
        if choice is None:
            say("  (nothing here is called so: give a number of the list, a part or something measured)")
            continue
        if plain(choice.name) != wanted:
            say(f"  ({choice.name})")
        return choice
    return None


def _meant(wanted: str, left: Sequence[Piece], workshop: Workshop) -> Piece | None:
    if wanted.isdigit():
        return left[int(wanted) - 1] if 1 <= int(wanted) <= len(left) else None
    for p in left:
        if wanted in plain(p.name) or any(wanted in plain(x.what) for x in p.measured):
            return p
    k = workshop.base.knowledge
    near = nearest(wanted, [*(p.name for p in left), *k.causes, *k.mechanisms], 1)
    return next((p for p in left if p.name in near), None)


def named(word: str, names: Collection[str], say: Say) -> str:
    """The cause or mechanism a trainee means, or "" for none; the nearest name is taken and said."""
    wanted = plain(word)
    if not wanted:
        return ""
    exact = [n for n in names if plain(n) == wanted] or [n for n in names if wanted in plain(n)]
    found = sorted(exact, key=len)[:1] or nearest(wanted, names, 1)
    if not found:
        say("  (nothing of this rule base has such a name)")
        return ""
    if found[0] != word:
        say(f"  ({found[0]})")
    return found[0]


def _leaders(case: Case, workshop: Workshop) -> tuple[Judged, Judged | None]:
    """The leading root cause and mechanism; a rule base need not have mechanisms."""
    judgements = Diagnosis(case, workshop.base).judgements
    return ranked(judgements)[0], next(iter(ranked(judgements, "mechanism")), None)


def _step(piece: Piece, thought: str, before: Case, after: Case, on_record: Set[str], workshop: Workshop) -> Step:
    """The tool asks for the best of the work that the case has a result of, as the trainee can see no other."""
    steps = plan(Diagnosis(before, workshop.base).judgements).steps
    best = next((s for s in steps if not on_record.isdisjoint(s.findings)), None)
    asked = (best.measurement or ", ".join(best.findings[:3])) if best else ""
    return Step(piece.name, thought, *_leaders(after, workshop), asked, best.bits if best else 0.0)


def _told(j: Judged) -> str:
    return f"{j.name} ({j.standing}, {percent(j.probability)})"


def _review(case: Case, steps: Sequence[Step], happened: str, answer: str, workshop: Workshop, say: Say) -> Result:
    root, mechanism = _leaders(case, workshop)
    say("")
    say("Your way beside the tool's:")
    for i, s in enumerate(steps, 1):
        say(f"  {i}. you looked at {s.looked_at}" + (f" and thought of {s.thought}" if s.thought else ""))
        if s.would_ask:
            say(f"     the tool would have asked for: {s.would_ask} ({s.bits:.2f} bits)")
        said = f"{_told(s.mechanism)}; cause: " if s.mechanism else ""
        say(f"     with this on record it has {said}{_told(s.leading)}")
    say("")
    for level, j in (("What happened", mechanism), ("Why", root)):
        if j:
            say(f"{level}, on the whole record: {_told(j)}")
            for e in [e for e in j.evidence if e.state != "unrecorded" and not e.through][:6]:
                say(f"  {e.weight:+6.1f} dB alone  {e.finding}{'' if e.state == 'present' else ' (absent)'}")
    tool = (root.name, mechanism.name if mechanism else "")
    expected = case.expected
    roots = expected.roots if expected and expected.roots else () if expected and expected.mechanisms else (root.name,)
    mechanisms = expected.mechanisms if expected else ()
    also = expected.also if expected else ()
    if expected and (roots or mechanisms):
        says = [
            f"the cause {' or '.join(roots)}" if roots else "",
            f"the mechanism {' or '.join(mechanisms)}" if mechanisms else "",
        ]
        say(f"The case says: {', '.join(x for x in says if x)}.")
    k = workshop.base.knowledge
    rights = []
    for said, good in ((answer, roots), (happened, mechanisms)):
        if good:
            rights.append(said in (*good, *also))
            if said and not rights[-1]:
                say(_apart(said, good[0], k))
    right = bool(rights) and rights[0]
    missing = [r for r in roots if r != answer] if right and expected and not expected.one_of else []
    if missing:
        say(f"At work as well: {', '.join(missing)}.")
    say("Right." if right else "Not this time." if answer or happened else "No answer given.")
    return Result(case.name, tuple(steps), happened, answer, tool, (*roots, *mechanisms) if expected else (), right)


def _apart(said: str, right: str, knowledge: Knowledge) -> str:
    """What was said, and what tells it from what is right."""
    for one, other in ((said, right), (right, said)):
        parted = next((x for x in knowledge.card(one).look_alikes if x.other == other), None)
        if parted:
            return f"You said {said}. Told apart by: {parted.told_apart_by}"
    return f"You said {said}."


def document(result: Result) -> dict[str, Any]:
    root, mechanism = result.tool
    return {
        "case": result.case,
        "mechanism": result.mechanism,
        "answer": result.answer,
        "tool": {"mechanism": mechanism, "root": root},
        "expected": list(result.expected),
        "right": result.right,
        "steps": [
            {
                "looked_at": s.looked_at,
                "thought": s.thought,
                "mechanism": s.mechanism.name if s.mechanism else "",
                "leading": s.leading.name,
                "probability": round(s.leading.probability, 4),
                "would_ask": s.would_ask,
            }
            for s in result.steps
        ],
    }
