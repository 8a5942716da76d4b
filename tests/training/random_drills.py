"""Many drawn seals, each held to be possible, and how often the tool finds their cause on the full record.

    python -m tests.training.random_drills 1000 > runs.txt

The levels take turns. The full record is that of somebody who saw all there was, sound parts left out.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator

from diagnose.casefile.model import Case
from diagnose.casefile.reader import read_case
from diagnose.inference.run import RuleBase, load
from diagnose.judgement.diagnosis import Diagnosis
from diagnose.training.hidden import Hidden
from diagnose.training.invented import SEAL, drawn, sheets_of
from tests.support.places import KNOWLEDGE, SCENARIOS


def wrong_with(case: Case, base: RuleBase) -> list[str]:
    """What cannot be of a drawn seal."""
    hidden, words, wrong = Hidden(case, base), base.knowledge.vocabulary, []
    at = Diagnosis(case, base).at(SEAL)
    for o in case.observations:
        if not words.can_be_on(o.feature, o.kind):
            wrong.append(f"{o.feature} cannot be on {o.kind}")
        same = [x for x in case.observations if x.part == o.part and x.kind == o.kind and x.id != o.id]
        wrong += [f"{o.feature} beside {x.feature}" for x in same if x.feature in words.features[o.feature].excludes]
        if hidden.last_stage(o.feature, o.kind) not in (*words.stages[1:], "never"):
            wrong.append(f"{o.feature} at no stage")
    expected = case.expected
    assert expected is not None
    out = {j.name for j in (*at.causes, *at.mechanisms) if j.standing == "ruled out"}
    wrong += [f"{n} is ruled out" for n in (*expected.roots, *expected.mechanisms, *expected.also) if n in out]
    for name in (*expected.roots, *expected.mechanisms):
        seen = base.knowledge.words.seen
        shown = {r.finding for r in base.knowledge.card(name).leaves if seen[r.seen] >= seen["as often as not"]}
        wrong += [f"{f} is absent and {name} leaves it" for f in sorted(shown) if at.states.get(f) is False]
    return wrong


def ranks(count: int, base: RuleBase, first: int = 0) -> Iterator[tuple[int, int, str, int, int, list[str]]]:
    """(number, level, cause, its place on the full record, that of the mechanism, what is wrong) of each."""
    sheets = sheets_of([read_case(p, base.knowledge) for p in SCENARIOS], base)
    for number in range(first, first + count):
        level = number % 3 + 1
        case = drawn(base, sheets, number, level)
        assert case.expected is not None
        at = Diagnosis(case, base).at(SEAL)
        causes = [j.name for j in at.causes]
        mechanisms = [j.name for j in at.mechanisms]
        yield (
            number,
            level,
            case.expected.roots[0],
            causes.index(case.expected.roots[0]),
            mechanisms.index(case.expected.mechanisms[0]),
            wrong_with(case, base),
        )


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    first = int(sys.argv[2]) if len(sys.argv) > 2 else 0
    places: dict[int, list[tuple[int, int]]] = {1: [], 2: [], 3: []}
    bad = 0
    for number, level, cause, root, mechanism, wrong in ranks(count, load(KNOWLEDGE), first):
        places[level].append((root, mechanism))
        bad += bool(wrong)
        print(number, level, cause, root, mechanism, "; ".join(wrong), flush=True)
    for level, found in places.items():
        root, mechanism = (sum(x[i] < 3 for x in found) / max(len(found), 1) for i in (0, 1))
        print(f"level {level}: {len(found)} seals, cause among the first three {root:.1%}, mechanism {mechanism:.1%}")
    every = [x for found in places.values() for x in found]
    print(f"all: cause among the first three {sum(r < 3 for r, _ in every) / len(every):.1%}; {bad} not possible")


if __name__ == "__main__":
    main()
