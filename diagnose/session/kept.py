"""What was said at a look and not understood: kept as said, and asked about before anything it may be is denied."""

from __future__ import annotations

import re
from collections.abc import Callable

from diagnose.casefile.cards import Card
from diagnose.casefile.format import NOT_UNDERSTOOD
from diagnose.casefile.spoken import not_understood
from diagnose.phrases.read import read
from diagnose.reading.terms import plain
from diagnose.session.entries import NONE
from diagnose.session.talk import Talk

OfTheList = Callable[[Card, int, str, str], bool]
Take = Callable[[Card, str], bool]
_NUMBERS = re.compile(r"\d{1,4}(?:(?:\s*[,&]\s*|\s+and\s+|\s+)\d{1,4})*")


class Kept:
    """`of_the_list` records a choice of a card by its number, of a part, as what somebody said; `take` an answer at the look."""

    def __init__(self, talk: Talk, of_the_list: OfTheList, take: Take):
        self.talk, self._of_the_list, self._take = talk, of_the_list, take
        self._said: list[tuple[str, frozenset[str]]] = []
        self._settled: set[str] = set()
        self._none_of_it: set[str] = set()

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

    def may_name(self, card: Card) -> set[str]:
        """The features that the words kept of what a card asks about may name, but where they were said to be none of the list:
        that they are one of them does not deny the others."""
        words, found = self.talk.words, set[str]()
        for told in self._of(card):
            if told in self._none_of_it:
                continue
            item, phrase = _parted(told)
            for kind in {t.kind for t in card.topics if item in ("", t.part)}:
                named = [s for r in read(phrase, words, kind) for s in r.statements if s.term in words.features]
                found |= {f for s in named for f in (s.term, *words.also_named(s.term, dict(s.more), kind))}
        return found

    def _open(self, card: Card) -> list[str]:
        """What is kept of what a card asks about, as long as nobody said what of the list it is."""
        return [x for x in self._of(card) if x not in self._settled]

    def _of(self, card: Card) -> list[str]:
        """What is kept of what a card asks about."""
        before = self.talk.recorder.state.value([NOT_UNDERSTOOD])
        on_record = [str(x) for x in (before if isinstance(before, list) else [before] if before else [])]
        leads, ids = tuple(f"part {t.part}: " for t in card.topics if t.part), {t.id for t in card.topics}
        mine = [x for x in on_record if leads and x.startswith(leads)]
        mine += [x for x, of in self._said if x in on_record and of & ids]
        return list(dict.fromkeys(mine))

    def _is_clear(self, card: Card, told: str) -> bool:
        """Whether somebody says which of the list the words are, which is on record then, or that they are none of it. A whole
        line of a look is taken as that."""
        item, words = _parted(told)
        while answer := self.talk.ask(
            "  which of the list is it (its number; none: none of these; Enter: not clear): "
        ):
            if plain(answer) in NONE:
                self._none_of_it.add(told)
                return True
            if re.search("[;:]", answer):
                self.talk.say("  that is taken as said at the look, and not of the words that are kept", hang=4)
                self._take(card, answer)
                return False
            numbers = [int(n) for n in re.findall(r"\d+", answer)] if _NUMBERS.fullmatch(answer) else []
            if numbers and all(0 < n <= len(card.choices) for n in numbers):
                return all(self._of_the_list(card, n, item, words) for n in numbers)
            self.talk.say(f"  {answer!r} is none of the answers here: Enter, 1-{len(card.choices)}, none", hang=4)
        return False


def _parted(told: str) -> tuple[str, str]:
    """The item number of the part that words were kept of, "" where it was none, and the words."""
    match = re.match(r"part (\S+): ", told)
    return (match[1], told[match.end() :]) if match else ("", told)
