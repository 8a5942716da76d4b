"""Which spellings are worth holding against a clause, and the most each can score there: reckoned for all of them at once, so that
few are held in full."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from itertools import chain
from typing import TYPE_CHECKING, Any

import numpy as np

from diagnose.phrases.clauses import QUALIFYING, Clause
from diagnose.phrases.hold import BARE, CLAIMED, FAMILY, LOOSE, NO_HEADS, ROUNDED, UNREAD, loss, other_words
from diagnose.phrases.index import Sense, Term
from diagnose.phrases.said_of import NO_PART, WRONG_PART, Parts, place_of

if TYPE_CHECKING:
    from diagnose.phrases.index import Index

MOST_HELD = 260
NAMED = 0.3
"""What it tells for a spelling that the clause names a part above or below one it asks for."""
BRIEF = 1.5
"""What is added to all that a spelling asks for, so that one that asks for little is not looked at before one of which more is said."""

MOST_PLACES = 62
"""As many as a number has bits for; the rare places beyond count as taken up."""
SAID = 1 << MOST_PLACES
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
        self.whole = np.array([s.term.family == "setting" for s in spellings])
        self.bare = np.array([s.bare and len(s.asked) == 1 for s in spellings])
        self.beside: dict[str, Any] = {}
        self.implied: dict[tuple[str, ...], Any] = {}
        groups: dict[tuple[tuple[str, ...], bool], int] = {}
        self.groups = np.array([groups.setdefault(place_of(s.term), len(groups)) for s in spellings])
        self.first_of = {n: s.term for n, s in zip(self.groups.tolist(), spellings, strict=True)}
        self.totals = np.array(index.totals)

    def of(self, clause: Clause, parts: Parts, least: float) -> Iterable[tuple[float, int, int]]:
        """(the most it can score, its rank by what the clause says of it, its number) of the spellings of which the clause says most
        and that can score the least that is asked, those that can score most first."""
        numbers = self._ranked(clause, parts.named)
        bits = self._bits(clause, parts)
        share = self._share(numbers, clause, bits, self.of_parts[self.asked[numbers]])
        ranks = np.flatnonzero(share >= least)
        if not len(ranks):
            return []
        numbers = numbers[ranks]
        most = self._placed(numbers, clause, bits, parts)
        order = np.argsort(-most, kind="stable")
        return zip(most[order].tolist(), ranks[order].tolist(), numbers[order].tolist(), strict=True)

    def _ranked(self, clause: Clause, named: Iterable[str]) -> Any:
        """The numbers of the spellings of which the clause says most, those first of which it says more than parts, and of all general
        words that it says."""
        said, headed = np.zeros(len(self.totals)), np.zeros(len(self.totals), bool)
        for sense in (s for s in clause.senses if s in self.by_sense):
            numbers = self.by_sense[sense]
            said[numbers] += self.index.weights[sense]
            if sense[0] not in NO_HEADS:
                headed[numbers] = True
        for kind in named:
            np.add.at(said, self._beside(kind), NAMED)
        found = np.flatnonzero(said)
        most = found[np.lexsort((-said[found] / (BRIEF + self.totals[found]), ~headed[found]))[:MOST_HELD]]
        generals = np.array([n for sense in clause.senses for n in self.index.generals.get(sense, ())], int)
        return np.concatenate([most, np.setdiff1d(generals, most)])

    def _share(self, numbers: Any, clause: Clause, bits: Any, implied: Any) -> Any:
        """The most some spellings can score on a clause whatever the part, where some of what they ask for is `implied`; nought where
        a denial they ask for is not said."""
        asked = self.asked[numbers]
        said = bits[asked]
        unsaid = (said == 0) & ~implied
        claimed = (self.weights[asked] * unsaid).sum(1)
        beside = {p for slot in ("part", *QUALIFYING) for s in clause.slots.get(slot, ()) for p in s.places}
        content = clause.content - beside - clause.lifted.keys() - clause.bare.keys()
        telling = sorted(p for p in content if p < MOST_PLACES)
        used = np.bitwise_or.reduce(said, axis=1) | bits[self.alone[numbers]]
        left = (~used[:, None] & np.array([1 << p for p in telling], np.int64)) != 0
        unread = np.einsum("ij,j->i", left, np.array([loss(clause, p, self.index) for p in telling]))
        matched = self.totals[numbers] - claimed
        share = matched / (matched + CLAIMED * claimed + UNREAD * unread) * self.families[numbers]
        share[self.whole[numbers] & (unread > 0)] *= WRONG_PART
        if not clause.cues("done"):
            share[self.bare[numbers]] *= BARE
        share[(unsaid & self.denied[asked]).any(1)] = 0.0
        return share * self._worded(numbers, clause) + ROUNDED

    def _placed(self, numbers: Any, clause: Clause, bits: Any, parts: Parts) -> Any:
        """The most some spellings can score on a clause, each said of the part it is said of."""
        asked = self.asked[numbers]
        groups, of_each = np.unique(self.groups[numbers], return_inverse=True)
        terms = [self.first_of[n] for n in groups.tolist()]
        placed = [parts.of(term) for term in terms]
        implied = np.array([self._implied(on, term) for (on, _, _), term in zip(placed, terms, strict=True)])
        fit = np.array([fit for _, fit, _ in placed])[of_each]
        if parts.named:
            named = _bits(p for places in parts.named.values() for p in places)
            used = np.bitwise_or.reduce(bits[asked], axis=1)
            fit[(fit == WRONG_PART) & (used & named == named)] = NO_PART
        return self._share(numbers, clause, bits, implied[of_each[:, None], asked]) * fit + ROUNDED

    def _implied(self, on: str, term: Term) -> Any:
        """Which rows go without saying of a part, or where none is known of those a term can be on."""
        key = (on,) if on else term.on
        if key not in self.implied:
            lineage = self.index.vocabulary.lineage
            found = self.implied[key] = np.zeros(len(self.weights), bool)
            for kind in {k for o in key for k in lineage.get(o, ())}:
                if ("part", kind) in self.rows:
                    found[self.rows["part", kind]] = True
            found &= self.of_parts
            found[0] = True
        return self.implied[key]

    def _beside(self, kind: str) -> Any:
        """The numbers of the spellings that ask for a part above or below a kind, once for each they ask for."""
        if kind not in self.beside:
            v = self.index.vocabulary
            senses = (("part", other) for other in (*v.lineage[kind], *v.under(kind)))
            self.beside[kind] = np.concatenate([NONE, *(self.by_sense[s] for s in senses if s in self.by_sense)])
        return self.beside[kind]

    def _bits(self, clause: Clause, parts: Parts) -> Any:
        """For each row the places of a clause that it may take up, one bit each, and one more where it is said at all."""
        bits = np.zeros(len(self.weights), np.int64)
        for sense, spans in clause.senses.items():
            if sense in self.rows:
                bits[self.rows[sense]] |= SAID | _bits(p for s in spans for p in s.places)
        for kind, places in parts.named.items():
            for above in self.index.vocabulary.lineage[kind]:
                if ("part", above) in self.rows:
                    bits[self.rows["part", above]] |= SAID | _bits(places)
        return bits

    def _worded(self, numbers: Any, clause: Clause) -> Any:
        """What it counts that a clause has the very words of each spelling."""
        said = np.zeros(len(self.numbers) + 1)
        said[[self.numbers[t.stem] for t in clause.tokens if t.stem in self.numbers]] = 1.0
        share, other = said[self.stems[numbers]].sum(1) / self.lengths[numbers], self.others[numbers]
        return (other + (1 - other) * share) * np.where(self.loose[numbers] & (share < 1), LOOSE, 1.0)


def _bits(places: Iterable[int]) -> int:
    bits = 0
    for place in places:
        bits |= 1 << place if place < MOST_PLACES else 0
    return bits


def _users(every: Iterable[frozenset[Sense]]) -> dict[Sense, Any]:
    """For each sense the numbers of the sets it is in."""
    users: dict[Sense, list[int]] = defaultdict(list)
    for number, senses in enumerate(every):
        for sense in senses:
            users[sense].append(number)
    return {sense: np.array(numbers) for sense, numbers in users.items()}


def _table(rows: Iterable[list[int]]) -> Any:
    """Rows of different length as an array, filled up with nought."""
    every = list(rows)
    lengths = np.array([len(row) for row in every])
    table = np.zeros((len(every), lengths.max()), int)
    table[np.arange(lengths.max()) < lengths[:, None]] = list(chain.from_iterable(every))
    return table
