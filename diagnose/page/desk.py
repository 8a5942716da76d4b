"""One case on the page: answers go in through the recorder, each once, and what is on record comes out."""

from __future__ import annotations

import hashlib
import threading
from collections import OrderedDict
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, cast

from diagnose.casefile import journal as j
from diagnose.casefile.model import Case
from diagnose.casefile.reader import case_of, read_document
from diagnose.casefile.recorder import DOUBTFUL, EDITED, EXCHANGED, Recorder, look, signature
from diagnose.casefile.replay import State, begun
from diagnose.inference.at_odds import Odds
from diagnose.knowledge.model import Knowledge
from diagnose.page.answers import Answer, lines_of, whats_of
from diagnose.reading.problems import BadInput, Problems
from diagnose.session.wording import acknowledged
from diagnose.views.at_odds import ToldOdds

RECORDED, REFUSED, ASKED = "recorded", "refused", "doubtful"
PATIENCE = 2.0
"""Seconds that answers wait for a note to be done; a longer session is told instead."""
HOLDING = {"locked", "disk", "view", EDITED, EXCHANGED, "journal-broken", "unreadable"}
"""Codes of refusals that say nothing of the answer: it stays on the tablet and is sent again."""
MOST_REMEMBERED = 5000
Doc = dict[str, Any]


@dataclass
class Taken:
    """What became of the answers that were sent, and why those left over have to wait."""

    acknowledged: list[Doc] = field(default_factory=list)
    held: str = ""


@dataclass(frozen=True)
class Read:
    """A case as it stands on disk after so many journal lines."""

    number: int
    state: State
    case: Case
    lines: tuple[j.Line, ...]


class Desk:
    """One case. Safe to use from several threads; the lock of the case is held only while answers are written."""

    def __init__(self, path: Path, knowledge: Knowledge, clock: j.Clock = j.now):
        self.knowledge, self._clock = knowledge, clock
        self._recorder = Recorder(path, knowledge, "page", clock, patience=PATIENCE)
        self.path = self._recorder.case
        self._taking = threading.Lock()
        self._odds = Odds(knowledge)
        self._without_line: OrderedDict[str, Doc] = OrderedDict()
        self._read: tuple[tuple[int, ...], Read] | None = None

    # ---- in ---------------------------------------------------------------------------------------------------

    def take(self, answers: Sequence[Answer]) -> Taken:
        """Records answers in the order given; one that cannot be written now holds those behind it up."""
        taken = Taken()
        with self._taking:
            try:
                with self._recorder:
                    self._recorder.told.clear()
                    for answer in answers:
                        taken.acknowledged.append(self._one(answer))
                    found = self._recorder
                    now = Read(len(found.lines), found.state, found.case_now(), found.lines)
                    self._read = self.signature(), now  # so that it is not read again from the disk
            except BadInput as error:
                taken.held = "; ".join(p.told() for p in error.problems)
        return taken

    def _one(self, answer: Answer) -> Doc:
        """Raises BadInput where nothing can be written now."""
        if answer.id in self._without_line:
            return self._without_line[answer.id]
        recorder = self._recorder
        before, odds = lines_of(answer, recorder.lines), ToldOdds(recorder, self._odds)
        try:
            whats = whats_of(
                answer, before.keys(), recorder.case, recorder.state, self.knowledge.vocabulary, self._clock()
            )
            recorder.who = answer.who
            lines = recorder.accept(*whats, sure=answer.sure) if whats else ()
        except ValueError as error:
            return _told(answer, REFUSED, [str(error)])
        except BadInput as error:
            codes = {p.code for p in error.problems}
            if codes & HOLDING:
                raise
            return _told(answer, ASKED if codes == {DOUBTFUL} else REFUSED, [p.says for p in error.problems])
        made = [line for line in recorder.lines if line.number in before.values()]
        says = [*acknowledged([*made, *lines], recorder.case_now()), *odds.since(correcting=False)]
        done = _told(answer, RECORDED, says or ["already on record"], [*before.values(), *(x.number for x in lines)])
        if not done["lines"]:
            self._without_line[answer.id] = done
            if len(self._without_line) > MOST_REMEMBERED:
                self._without_line.popitem(last=False)
        return done

    # ---- out --------------------------------------------------------------------------------------------------

    def signature(self) -> tuple[int, ...]:
        """What changes whenever the case or its journal does."""
        return signature(self.path)

    def read(self) -> Read:
        """The case as it is now, without the lock. Raises BadInput."""
        now = self.signature()
        if self._read is None or self._read[0] != now:
            self._read = now, self._fresh()
        return self._read[1]

    def _fresh(self) -> Read:
        if j.journal_path(self.path).exists():
            found = look(self.path)
            state, lines = found.state, found.journal.lines
        else:
            _, node = read_document(self.path, self.knowledge)
            state, lines = begun(cast("dict[str, Any]", node.plain())), ()
        problems = Problems()
        digest = hashlib.sha256(state.text).hexdigest()
        case = case_of(state.node, str(self.path), digest, self.knowledge, problems)
        problems.raise_errors()
        return Read(len(lines), state, case, lines)

    def recording_elsewhere(self) -> str:
        """Which other session records this case now."""
        return j.held(self.path, j.RECORDS)


def _told(answer: Answer, became: str, says: list[str], lines: Sequence[int] = ()) -> Doc:
    return {"id": answer.id, "became": became, "says": says, "lines": list(lines)}
