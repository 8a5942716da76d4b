"""Which spellings are worth holding against a clause, and the most each can score there: reckoned for all of them at once, so that
few are held in full."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from itertools import zip_longest
from typing import TYPE_CHECKING, Any

import numpy as np

from diagnose.phrases.clauses import QUALIFYING, Clause
from diagnose.phrases.hold import CLAIMED, FAMILY, LOOSE, NO_HEADS, ROUNDED, UNREAD, loss, other_words
from diagnose.phrases.index import Sense, Term
from diagnose.phrases.said_of import NO_PART, WRONG_PART, Parts, place_of

if TYPE_CHECKING:
    from diagnose.phrases.index import Index

MOST_HELD = 260
NAMED = 0.3
"""What it tells for a spelling that the clause names a part above or below one it asks for."""
BRIEF = 1.5
"""What is added to all that a spelling asks for, so that one that asks for little is not looked at before one of which more is said."""

NONE = np.zeros(0, int)


class Ranks:
    """The spellings of an index as arrays, made ready once. A set of senses of which one is enough has one row, whatever
    spellings ask for it; the first row is that of nothing."""

    def __init__(self, index: Index):
        self.index = index
        spellings = index.spellings
        rows: dict[frozenset[Sense], int] = {frozenset(): 0}
        self.asked = _table([rows.setdefault(a, len(rows)) for a in s.asked] for s in spellings)
        self.alone = np.array(
            [rows.setdefault(index.alone.get(s.term.name, frozenset()), len(rows)) for s in spellings]
        )
        self.rows = _users(rows)
        self.weights = np.array([max((index.weights[s] for s in senses), default=0.0) for senses in rows])
        self.of_parts = np.array([all(s[0] == "part" for s in senses) for senses in rows])
        self.denied = np.array([("cue", "denied") in senses for senses in rows])
        self.by_sense = _users(frozenset().union(*s.asked) for s in spellings)
        stems = {stem: n for n, stem in enumerate(dict.fromkeys(x for s in spellings for x in s.stems), 1)}
        self.numbers = stems
        self.stems = _table([stems[x] for x in s.stems] for s in spellings)
        self.lengths = np.array([max(1, len(s.stems)) for s in spellings])
        self.loose = np.array([s.loose and bool(s.stems) for s in spellings])
        self.families = np.array([FAMILY[s.term.family] for s in spellings])
        self.others = np.array([other_words(s.term) for s in spellings])
        self.implied: dict[tuple[str, ...], Any] = {}
        groups: dict[tuple[tuple[str, ...], bool], int] = {}
        self.groups = np.array([groups.setdefault(place_of(s.term), len(groups)) for s in spellings])
        self.first_of = {n: s.term for n, s in zip(self.groups.tolist(), spellings, strict=True)}
        self.totals = np.array(index.totals)

    def of(self, clause: Clause, parts: Parts) -> Iterable[tuple[float, int, int]]:
        """(the most it can score, its rank by what the clause says of it, its number) of the spellings of which the clause says most,
        those that can score most first."""
        numbers = self._ranked(clause, parts.named)
        if not len(numbers):
            return []
        most = self._most(numbers, clause, parts)
        order = np.argsort(-most, kind="stable")
        return zip(most[order].tolist(), order.tolist(), numbers[order].tolist(), strict=True)

    def _ranked(self, clause: Clause, named: Iterable[str]) -> Any:
        """The numbers of the spellings of which the clause says most, those first of which it says more than parts."""
        vocabulary = self.index.vocabulary
        said, headed = np.zeros(len(self.totals)), np.zeros(len(self.totals), bool)
        for sense in clause.senses:
            numbers = self.by_sense.get(sense, NONE)
            said[numbers] += self.index.weights.get(sense, 0.0)
            headed[numbers] |= sense[0] not in NO_HEADS
        for kind in named:
            for other in (*vocabulary.lineage[kind], *vocabulary.under(kind)):
                said[self.by_sense.get(("part", other), NONE)] += NAMED
        found = np.flatnonzero(said)
        return found[np.lexsort((-said[found] / (BRIEF + self.totals[found]), ~headed[found]))[:MOST_HELD]]

    def _most(self, numbers: Any, clause: Clause, parts: Parts) -> Any:
        """The most some spellings can score on a clause, nought where a denial they ask for is not said."""
        asked = self.asked[numbers]
        groups, of_each = np.unique(self.groups[numbers], return_inverse=True)
        placed = [parts.of(self.first_of[n]) for n in groups.tolist()]
        said = self._said(clause, parts)
        implied = np.array(
            [self._implied(on, self.first_of[n]) for n, (on, _, _) in zip(groups.tolist(), placed, strict=True)]
        )
        unsaid = ~(said[asked] | implied[of_each[:, None], asked])
        claimed = (self.weights[asked] * unsaid).sum(1)
        beside = {p for slot in ("part", *QUALIFYING) for s in clause.slots.get(slot, ()) for p in s.places}
        telling = sorted(clause.content - beside - clause.lifted.keys() - clause.bare.keys())
        named = sorted({p for places in parts.named.values() for p in places})
        used = self._used(numbers, clause, parts, [*telling, *named])
        unread = np.einsum(
            "ij,j->i", ~used[:, : len(telling)], np.array([loss(clause, p, self.index) for p in telling])
        )
        matched = self.totals[numbers] - claimed
        share = matched / (matched + CLAIMED * claimed + UNREAD * unread) * self.families[numbers]
        fit = np.array([fit for _, fit, _ in placed])[of_each]
        fit[(fit == WRONG_PART) & used[:, len(telling) :].all(1)] = NO_PART
        denied = (unsaid & self.denied[asked]).any(1)
        return np.where(denied, 0.0, share * fit * self._worded(numbers, clause) + ROUNDED)

    def _said(self, clause: Clause, parts: Parts) -> Any:
        """Which rows a clause says, or says of a part that is, or is above, one it names."""
        said = np.zeros(len(self.weights), bool)
        for sense in (
            *clause.senses,
            *(("part", k) for kind in parts.named for k in self.index.vocabulary.lineage[kind]),
        ):
            said[self.rows.get(sense, NONE)] = True
        return said

    def _implied(self, on: str, term: Term) -> Any:
        """Which rows go without saying of a part, or where none is known of those a term can be on."""
        key = (on,) if on else term.on
        if key not in self.implied:
            lineage = self.index.vocabulary.lineage
            found = self.implied[key] = np.zeros(len(self.weights), bool)
            for kind in {k for o in key for k in lineage.get(o, ())}:
                found[self.rows.get(("part", kind), NONE)] = True
            found &= self.of_parts
            found[0] = True
        return self.implied[key]

    def _used(self, numbers: Any, clause: Clause, parts: Parts, places: list[int]) -> Any:
        """Which of some places of a clause each spelling may take up."""
        column = {place: n for n, place in enumerate(places)}
        used = np.zeros((len(self.weights), len(places)), bool)
        for sense, spans in clause.senses.items():
            for place in {column[p] for s in spans for p in s.places if p in column}:
                used[self.rows.get(sense, NONE), place] = True
        for kind, at in parts.named.items():
            for above in self.index.vocabulary.lineage[kind]:
                for place in at:
                    used[self.rows.get(("part", above), NONE), column[place]] = True
        return used[self.asked[numbers]].any(1) | used[self.alone[numbers]]

    def _worded(self, numbers: Any, clause: Clause) -> Any:
        """What it counts that a clause has the very words of each spelling."""
        said = np.zeros(len(self.numbers) + 1)
        said[[self.numbers[t.stem] for t in clause.tokens if t.stem in self.numbers]] = 1.0
        share, other = said[self.stems[numbers]].sum(1) / self.lengths[numbers], self.others[numbers]
        return (other + (1 - other) * share) * np.where(self.loose[numbers] & (share < 1), LOOSE, 1.0)


def _users(every: Iterable[frozenset[Sense]]) -> dict[Sense, Any]:
    """For each sense the numbers of the sets it is in."""
    users: dict[Sense, list[int]] = defaultdict(list)
    for number, senses in enumerate(every):
        for sense in senses:
            users[sense].append(number)
    return {sense: np.array(numbers) for sense, numbers in users.items()}


def _table(rows: Iterable[list[int]]) -> Any:
    """Rows of different length as an array, filled up with nought."""
    return np.array(list(zip_longest(*rows, fillvalue=0))).T
