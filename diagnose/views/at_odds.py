"""What on record does not go together, in words."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from itertools import chain

from diagnose.casefile.behind import way_to_correct
from diagnose.casefile.model import Act, Case, Measured, Observation, SettingFact
from diagnose.casefile.model import State as SaidState
from diagnose.casefile.recorder import Recorder
from diagnose.casefile.replay import State
from diagnose.inference.at_odds import Odd, Odds
from diagnose.knowledge.model import Knowledge
from diagnose.reading.figures import count
from diagnose.reading.problems import COMMANDS, BadInput, Does, WayOut
from diagnose.trail.wording import record_text

CARRIES = {"nose": ", carries the nose", "wide": ", carries the wide face"}


def _records(case: Case) -> Iterator[Observation | Measured | SettingFact | SaidState | Act]:
    """Everything that can be at odds."""
    return chain(case.observations, case.measured, case.settings, case.states, case.acts)


def told(odd: Odd, case: Case, knowledge: Knowledge) -> str:
    """Both sides in one sentence."""
    texts = {x.id: record_text(x, case, knowledge) for x in _records(case)}

    def text(ids: Iterable[str]) -> str:
        return " and ".join(dict.fromkeys(texts[i] for i in ids if i in texts))

    parts = [
        f"part {p.item} {p.name} ({p.kind}{CARRIES.get(p.carries, '')})" for p in case.parts if p.item in odd.parts
    ]
    other = text(odd.other) if odd.other else ", ".join(parts)
    return f"'{text(odd.one)}' does not go with '{other}'"


def place_of(odd: Odd, case: Case) -> str:
    """The seal of a pair that what is at odds is about; "" where it is about both, the machine, or the only one."""
    if len(case.positions) < 2:
        return ""
    about = {x.position for x in _records(case) if x.id in (*odd.one, *odd.other)}
    about |= {p.position for p in case.parts if p.item in odd.parts}
    seals = [p for p in case.positions if p in about]
    return seals[0] if len(seals) == 1 else ""


def by_place(odds: Iterable[Odd], case: Case, knowledge: Knowledge) -> dict[str, list[str]]:
    """What is at odds, in words, by the seal that it is about; "" is told of the case as a whole."""
    found: dict[str, list[str]] = {}
    for odd in odds:
        found.setdefault(place_of(odd, case), []).append(told(odd, case, knowledge))
    return found


def not_understood(case: Case) -> str:
    """How much of what was said took no part in the answer; "" where all of it did."""
    if not (number := len(case.not_understood)):
        return ""
    return f"{count(number, 'remark')} {'was' if number == 1 else 'were'} not understood and took no part in this"


class ToldOdds:
    """Tells what does not go together any more since an answer. `known`: what did not before it; `here`: how it is corrected
    where it is told."""

    def __init__(self, recorder: Recorder, odds: Odds | None = None, here: Mapping[Does, str] = COMMANDS):
        self.recorder, self.odds, self.here = recorder, odds or Odds(recorder.knowledge), here
        self.known = self._now()

    def since(self, correcting: bool = True) -> list[str]:
        """What is new since it was asked last, with how either side is corrected."""
        before, self.known = self.known, self._now()
        fresh = [odd for odd in self.known if odd not in before]
        return list(self._texts(fresh, correcting)) if fresh else []

    def _texts(self, fresh: Iterable[Odd], correcting: bool) -> Iterator[str]:
        case, state, knowledge = self.recorder.case_now(), self.recorder.state, self.recorder.knowledge
        for odd in fresh:
            how = ways(odd, case, state, knowledge, self.here) if correcting else ""
            yield f"{told(odd, case, knowledge)}. Both stand" + (f"; to correct: {how}" if how else "")

    def _now(self) -> tuple[Odd, ...]:
        """Nothing of a case that cannot be read: the answer may be what mends it."""
        try:
            return self.odds.of(self.recorder.case_now())
        except BadInput:
            return ()


def ways(odd: Odd, case: Case, state: State, knowledge: Knowledge, here: Mapping[Does, str]) -> str:
    """How either side is corrected, as it is typed here."""
    found = [way_to_correct(i, case, state, knowledge.vocabulary) for i in (*odd.one, *odd.other)]
    found += [WayOut("change part", item) for item in odd.parts[:1]]
    return " or ".join(dict.fromkeys(way.typed(here) for way in found if way))
