"""A case shown piece by piece to a trainee, whose choices and answer are then set beside the tool's own reasoning."""

from __future__ import annotations

from collections.abc import Callable, Sequence, Set
from dataclasses import dataclass, replace
from typing import Any

from diagnose.advice.plan import plan
from diagnose.authoring.rule_tests import Workshop, ranked
from diagnose.casefile.model import Case, Measured, Observation
from diagnose.casefile.wording import describe, describe_reading
from diagnose.inference.run import Inference, infer
from diagnose.judgement.judge import Judged, judge
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
    """One round: what the trainee looked at and thought, and what the tool made of the same records."""

    looked_at: str
    thought: str
    leading: str
    standing: str
    probability: float
    would_ask: str
    bits: float


@dataclass(frozen=True)
class Result:
    case: str
    steps: tuple[Step, ...]
    answer: str
    tool: str
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
    on_record = {f for found in infer(case, workshop.base).findings.values() for f in found}
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
        thought = cause_named(ask("Which cause do you think of? (Enter: none yet) "), workshop, say)
        steps.append(_step(piece, thought, before, known_so_far(case, shown), on_record, workshop))
    answer = cause_named(ask("What is the cause? "), workshop, say)
    return _review(case, steps, answer, workshop, say)


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
    near = nearest(wanted, [*(p.name for p in left), *workshop.base.knowledge.causes], 1)
    return next((p for p in left if p.name in near), None)


def cause_named(word: str, workshop: Workshop, say: Say) -> str:
    """The cause a trainee means, or "" for none; the nearest name is taken and said."""
    wanted = plain(word)
    causes = workshop.base.knowledge.causes
    if not wanted:
        return ""
    exact = [c for c in causes if plain(c) == wanted] or [c for c in causes if wanted in plain(c)]
    found = sorted(exact, key=len)[:1] or nearest(wanted, causes, 1)
    if not found:
        say("  (no cause of this rule base has such a name)")
        return ""
    if found[0] != word:
        say(f"  ({found[0]})")
    return found[0]


def _judged(case: Case, workshop: Workshop) -> tuple[Inference, list[Judged], tuple[Any, ...]]:
    inference = infer(case, workshop.base)
    judgements = judge(inference, workshop.net)
    return inference, ranked(judgements), judgements


def _step(piece: Piece, thought: str, before: Case, after: Case, on_record: Set[str], workshop: Workshop) -> Step:
    """The tool asks for the best of the work that the case has a result of, as the trainee can see no other."""
    inference, _, judgements = _judged(before, workshop)
    steps = plan(judgements).steps
    best = next((s for s in steps if not on_record.isdisjoint(s.findings)), None)
    asked = (best.measurement or ", ".join(best.findings[:3])) if best else ""
    _, order, _ = _judged(after, workshop)
    top = order[0]
    bits = best.bits if best else 0.0
    return Step(piece.name, thought, top.cause, top.standing, top.probability, asked, bits)


def _review(case: Case, steps: Sequence[Step], answer: str, workshop: Workshop, say: Say) -> Result:
    _, order, _ = _judged(case, workshop)
    top = order[0]
    expected = case.expected.causes if case.expected else ()
    good = (*expected, *(case.expected.also if case.expected else ())) or (top.cause,)
    say("")
    say("Your way beside the tool's:")
    for i, s in enumerate(steps, 1):
        say(f"  {i}. you looked at {s.looked_at}" + (f" and thought of {s.thought}" if s.thought else ""))
        if s.would_ask:
            say(f"     the tool would have asked for: {s.would_ask} ({s.bits:.2f} bits)")
        say(f"     with this on record it has {s.leading} ({s.standing}, {percent(s.probability)})")
    say("")
    say(f"On the whole record the tool has {top.cause} ({top.standing}, {percent(top.probability)}):")
    for e in [e for e in top.evidence if e.state != "unrecorded" and not e.through][:8]:
        say(f"  {e.weight:+6.1f} dB  {e.finding}{'' if e.state == 'present' else ' (absent)'}")
    if expected:
        say(f"The case says: {' or '.join(expected)}.")
    right = answer in good
    if answer and not right:
        parted = next((x for x in workshop.base.knowledge.causes[top.cause].look_alikes if x.cause == answer), None)
        say(f"You said {answer}." + (f" Told apart by: {parted.told_apart_by}" if parted else ""))
    say("Right." if right else "Not this time." if answer else "No answer given.")
    return Result(case.name, tuple(steps), answer, top.cause, expected, right)


def document(result: Result) -> dict[str, Any]:
    return {"case": result.case, "answer": result.answer, "tool": result.tool, "expected": list(result.expected), "right": result.right,
            "steps": [{"looked_at": s.looked_at, "thought": s.thought, "leading": s.leading, "probability": round(s.probability, 4),
                       "would_ask": s.would_ask} for s in result.steps]}  # fmt: skip
