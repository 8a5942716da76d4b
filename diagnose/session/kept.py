"""What was said at a look and not understood: kept as said, and asked about before anything it may be is denied."""

from __future__ import annotations

import re
from collections.abc import Callable

from diagnose.casefile.cards import Card
from diagnose.casefile.format import NOT_UNDERSTOOD
from diagnose.casefile.spoken import not_understood
from diagnose.reading.terms import plain
from diagnose.session.entries import NONE
from diagnose.session.talk import Talk

OfTheList = Callable[[Card, int, str, str], bool]


class Kept:
    """`of_the_list` records a choice of a card by its number, of a part, as what somebody said."""

    def __init__(self, talk: Talk, of_the_list: OfTheList):
        self.talk, self._of_the_list = talk, of_the_list
        self._said: list[tuple[str, frozenset[str]]] = []
        self._settled: set[str] = set()

    def keep(self, phrase: str, card: Card, item: str) -> bool:
        """Keeps the words as said, of the part they were said of, as nothing of them can be put on record."""
        topics = [t for t in card.topics if item in ("", t.part)]
        told = f"part {topics[0].part}: {phrase}" if len(topics) == 1 and topics[0].part else phrase
        self._said.append((told, frozenset(t.id for t in topics)))
        self.talk.record(not_understood(told, self.talk.recorder.state))
        return False

    def none_may_be_it(self, card: Card) -> bool:
        """Whether nothing that is kept as said of what is asked here may be one of the marks that are about to be denied."""
        for told in self._open(card):
            self.talk.say(f"  kept as said: {told}", hang=4)
            if not self._is_clear(card, told):
                self.talk.say(
                    "  nothing is denied, as that may be one of them; absent 3-5 denies some by number", hang=4
                )
                return False
            self._settled.add(told)
        return True

    def _open(self, card: Card) -> list[str]:
        """What is kept of what a card asks about, as long as nobody said what of the list it is."""
        before = self.talk.recorder.state.value([NOT_UNDERSTOOD])
        on_record = [str(x) for x in (before if isinstance(before, list) else [before] if before else [])]
        leads, ids = tuple(f"part {t.part}: " for t in card.topics if t.part), {t.id for t in card.topics}
        mine = [x for x in on_record if leads and x.startswith(leads)]
        mine += [x for x, of in self._said if x in on_record and of & ids]
        return [x for x in dict.fromkeys(mine) if x not in self._settled]

    def _is_clear(self, card: Card, told: str) -> bool:
        """Whether somebody says which of the list the words are, which is on record then, or that they are none of it."""
        match = re.match(r"part (\S+): ", told)
        item, words = (match[1], told[match.end() :]) if match else ("", told)
        while answer := self.talk.ask(
            "  which of the list is it (its number; none: none of these; Enter: not clear): "
        ):
            numbers = [int(n) for n in re.findall(r"\d{1,4}", answer)]
            if plain(answer) in NONE:
                return True
            if numbers and all(0 < n <= len(card.choices) for n in numbers):
                return all(self._of_the_list(card, n, item, words) for n in numbers)
            self.talk.say(f"  {answer!r} is none of the answers here: Enter, 1-{len(card.choices)}, none", hang=4)
        return False
