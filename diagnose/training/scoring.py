"""What a drill is worth: evidence kept of what mattered, time, the answer at both levels, confidence against right.

Confidence is scored by the Brier score, (p - o) squared with o 1 where right, else 0 (G. W. Brier, Verification of forecasts
expressed in terms of probability, 1950, from memory): a proper score, so that saying what one thinks pays best.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from diagnose.judgement.judge import Judgement
from diagnose.training.bench import Bench
from diagnose.training.hidden import Hidden

NONE = "none of these"
POINTS = {"evidence": 40, "minutes": 15, "root cause": 20, "mechanism": 15, "confidence": 10}
HINT = 5


@dataclass(frozen=True)
class Truth:
    """What is right at a position: root causes and mechanisms, any of them; `first` as the case names them; `told` which
    of the two the case itself names, the other being what the tool makes of the whole record."""

    at: Judgement = field(repr=False)
    roots: tuple[str, ...]
    mechanisms: tuple[str, ...]
    first: tuple[str, str]
    told: tuple[bool, bool]
    one_of: bool = False


@dataclass(frozen=True)
class Answer:
    """What a trainee named, each with a confidence between 0 and 1; "" for no answer, NONE for none of these."""

    root: str = ""
    mechanism: str = ""
    root_confidence: float = 0.0
    mechanism_confidence: float = 0.0


@dataclass(frozen=True)
class Weighty:
    """A finding that mattered: it speaks for what is right by `weight` dB alone; `traces` are what it rests on."""

    finding: str
    weight: float
    traces: tuple[str, ...]


@dataclass(frozen=True)
class Score:
    """Points by line of POINTS, out of 100 in all, less what hints cost; `kept` and `seen` of what mattered, each from 0 to
    1; `brier` at both levels, from 0 (best) to 1."""

    points: dict[str, float]
    kept: float
    seen: float
    right: tuple[bool, bool]
    brier: tuple[float, float]
    hints: int = 0

    @property
    def total(self) -> float:
        return max(0.0, sum(self.points.values()) - HINT * self.hints)


def truth_of(hidden: Hidden) -> Truth:
    """What is right: as the case says, else as the tool judges the whole record."""
    judgements, expected = hidden.diagnosis.judgements, hidden.case.expected
    place = expected.position if expected else ""
    at = next((j for j in judgements if j.position == place), None)
    if at is None:
        at = min(judgements, key=lambda j: (j.causes[0].rank, j.position))
    leading = at.causes[0].name, next((m.name for m in at.mechanisms if not m.ends_chain), NONE)
    if expected is None:
        return Truth(at, (leading[0],), (leading[1],), leading, (False, False))
    if expected.none_of_these:
        return Truth(at, (NONE,), (NONE,), (NONE, NONE), (True, True))
    first = (
        expected.roots[0] if expected.roots else leading[0],
        expected.mechanisms[0] if expected.mechanisms else leading[1],
    )
    k = hidden.knowledge
    roots = expected.roots or (leading[0],)
    mechanisms = expected.mechanisms or (leading[1],)
    return Truth(
        at, (*roots, *(x for x in expected.also if x in k.causes)), (*mechanisms, *(x for x in expected.also if x in k.mechanisms)),
        first, (bool(expected.roots), bool(expected.mechanisms)), expected.one_of,
    )  # fmt: skip


def mattered(hidden: Hidden, truth: Truth) -> tuple[Weighty, ...]:
    """The findings that speak for what is right, heaviest first."""
    least = hidden.knowledge.words.line_counts_from
    best: dict[str, float] = {}
    for name in dict.fromkeys((*truth.roots, *truth.mechanisms)):
        if name == NONE:
            continue
        for e in truth.at.evidence(name):
            if e.state == "present" and e.weight >= least and not e.through:
                best[e.finding] = max(best.get(e.finding, 0.0), e.weight)
    known = {t.id for t in hidden.traces}
    inference, place = hidden.diagnosis.inference, truth.at.position
    found = [Weighty(f, w, tuple(sorted(inference.leaves_of_finding(f, place) & known))) for f, w in best.items()]
    return tuple(sorted((w for w in found if w.traces), key=lambda w: (-round(w.weight, 9), w.finding)))


def lost_of(bench: Bench, weighty: tuple[Weighty, ...], found: set[str]) -> tuple[Weighty, ...]:
    """What mattered and cannot be had any more: not among the findings on record, and something it rests on is lost."""
    lost = {x.trace for x in bench.losses}
    return tuple(w for w in weighty if w.finding not in found and lost & set(w.traces))


def score(bench: Bench, truth: Truth, answer: Answer, found: set[str], plan_minutes: float, hints: int = 0) -> Score:
    """The score of a drill. `found`: findings present on the trainee's own record. Time counts as far as the answer is
    right: full where it took no longer than the plan, in proportion where it took longer."""
    weighty = mattered(bench.hidden, truth)
    lost = lost_of(bench, weighty, found)
    whole = sum(w.weight for w in weighty)
    kept = 1 - sum(w.weight for w in lost) / whole if whole else 1.0
    seen = sum(w.weight for w in weighty if w.finding in found) / whole if whole else 1.0
    right = answer.root in truth.roots, answer.mechanism in truth.mechanisms
    brier = (answer.root_confidence - right[0]) ** 2, (answer.mechanism_confidence - right[1]) ** 2
    gained = POINTS["root cause"] * right[0] + POINTS["mechanism"] * right[1]
    quick = min(1.0, plan_minutes / bench.minutes) if bench.minutes else 1.0
    points = {
        "evidence": POINTS["evidence"] * kept,
        "minutes": POINTS["minutes"] * quick * gained / (POINTS["root cause"] + POINTS["mechanism"]),
        "root cause": float(POINTS["root cause"] * right[0]),
        "mechanism": float(POINTS["mechanism"] * right[1]),
        "confidence": POINTS["confidence"] * (1 - sum(brier) / 2),
    }  # fmt: skip
    return Score(points, kept, seen, right, brier, hints)
