"""Many drawn seals, each held to be possible, and how often the tool finds their cause on the full record.

    python -m tests.training.random_drills 1000 > runs.txt

The levels take turns. The full record is that of somebody who looked at and measured everything in the order of
dismantling: all that is there, and all that was looked for and found sound.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from dataclasses import dataclass

from diagnose.casefile.model import Case
from diagnose.casefile.reader import read_case
from diagnose.inference.run import RuleBase, load
from diagnose.judgement.judge import Judgement
from diagnose.training.bench import Bench
from diagnose.training.hidden import NEVER, Hidden
from diagnose.training.invented import SEAL, drawn, sheets_of
from diagnose.training.record import diagnosis_of
from diagnose.training.ways import checklist
from tests.support.places import KNOWLEDGE, SCENARIOS
from tests.training.drills import played

AMONG = 3


@dataclass(frozen=True)
class Tried:
    """A drawn seal, the places of its cause and mechanism on the full record, and what cannot be of it."""

    number: int
    level: int
    cause: str
    root: int
    mechanism: int
    wrong: list[str]


def tried(case: Case, base: RuleBase, number: int, level: int) -> Tried:
    hidden, expected = Hidden(case, base), case.expected
    assert expected is not None
    bench = played(hidden, checklist(hidden))
    full = diagnosis_of(bench).at(SEAL)
    causes, mechanisms = [j.name for j in full.causes], [j.name for j in full.mechanisms]
    wrong = [*_marks(hidden), *_stages(bench), *_told(hidden, full)]
    root, mechanism = expected.roots[0], expected.mechanisms[0]
    return Tried(number, level, root, causes.index(root), mechanisms.index(mechanism), wrong)


def wrong_with(case: Case, base: RuleBase) -> list[str]:
    """What cannot be of a drawn seal."""
    return tried(case, base, 0, 0).wrong


def _marks(hidden: Hidden) -> Iterator[str]:
    """Marks that cannot be where they are, or not beside each other."""
    seen, words = hidden.case.observations, hidden.words
    for o in seen:
        if not words.can_be_on(o.feature, o.kind):
            yield f"{o.feature} cannot be on {o.kind}"
        same = [x for x in seen if x.part == o.part and x.kind == o.kind and x.id != o.id]
        yield from (f"{o.feature} beside {x.feature}" for x in same if x.feature in words.features[o.feature].excludes)


def _stages(bench: Bench) -> Iterator[str]:
    """What nobody could find, however early they look; what the order of dismantling never brings to light, or too late."""
    hidden, seen = bench.hidden, {s.trace for s in bench.seen}
    stages = hidden.words.stages
    for t in hidden.traces:
        if t.lost != NEVER and hidden.seen_from(t.kind, t.lost) > stages.index(t.lost):
            yield f"{t.what} is lost before {t.kind} is in view"
        if t.id not in seen:
            yield f"{t.what} of {t.part or t.kind} is not found" + (f": {t.gone}" if t.gone else "")
    yield from (f"{hidden.by_id[x.trace].what} is lost in the order of dismantling" for x in bench.losses)


def _told(hidden: Hidden, full: Judgement) -> Iterator[str]:
    """What the story shows and the record denies."""
    base, expected, truth = hidden.base, hidden.case.expected, hidden.diagnosis.at(SEAL)
    assert expected is not None
    for record, at in (("what is there", truth), ("the full record", full)):
        out = {j.name for j in (*at.causes, *at.mechanisms) if j.standing == "ruled out"}
        yield from (
            f"{n} is ruled out by {record}" for n in (*expected.roots, *expected.mechanisms, *expected.also) if n in out
        )
    yield from (
        f"{f} is there and absent on the full record"
        for f, there in truth.states.items()
        if there and full.states.get(f) is False
    )
    seen = base.knowledge.words.seen
    for name in (*expected.roots, *expected.mechanisms):
        shown = {r.finding for r in base.knowledge.card(name).leaves if seen[r.seen] >= seen["as often as not"]}
        yield from (f"{f} is absent and {name} leaves it" for f in sorted(shown) if truth.states.get(f) is False)


def every(count: int, base: RuleBase, first: int = 0) -> Iterator[Tried]:
    sheets = sheets_of([read_case(p, base.knowledge) for p in SCENARIOS], base)
    for number in range(first, first + count):
        level = number % 3 + 1
        yield tried(drawn(sheets, number, level), base, number, level)


def summary(name: str, found: list[Tried]) -> str:
    def share(hits: list[bool]) -> str:
        return f"{sum(hits) / max(len(hits), 1):.1%}"

    among, first = share([x.root < AMONG for x in found]), share([x.root == 0 for x in found])
    mechanism = share([x.mechanism < AMONG for x in found])
    wrong = sum(bool(x.wrong) for x in found)
    return f"{name}: {len(found)} seals, cause first {first}, among the first three {among}, mechanism {mechanism}; {wrong} not possible"


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    first = int(sys.argv[2]) if len(sys.argv) > 2 else 0
    found = []
    for x in every(count, load(KNOWLEDGE), first):
        found.append(x)
        print(x.number, x.level, x.cause, x.root, x.mechanism, "; ".join(x.wrong), sep=" | ", flush=True)
    for level in (1, 2, 3):
        print(summary(f"level {level}", [x for x in found if x.level == level]))
    print(summary("all", found))


if __name__ == "__main__":
    main()
