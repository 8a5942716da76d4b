"""Which of a few terms a phrase means: the reading of phrases, limited to what can be answered."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

from diagnose.knowledge.model import Vocabulary
from diagnose.phrases.clauses import Clause, phrase_of
from diagnose.phrases.hold import OF_THE_WHOLE, Held, held_as
from diagnose.phrases.index import Index, index_of
from diagnose.phrases.read import TIE, joined
from diagnose.phrases.told import DENIED

SAID, IN_FULL = 0.6, 0.75
"""How well the words of a phrase fit a setting that is read in them, and one that they say in full."""
NEARLY, BESIDE, MOST = 0.62, 0.06, 3
"""How near a term must be that no word says, how far behind the nearest another may be, and how many are told."""


@dataclass(frozen=True)
class Choice:
    """The terms that a phrase may mean, best first; `denied`: it says that it is not so; `clear`: it says the first in its own
    words and no other as well."""

    terms: tuple[str, ...]
    denied: bool = False
    clear: bool = False


def chosen(phrase: str, setting: str, terms: Collection[str], vocabulary: Vocabulary) -> Choice:
    """Which terms of a setting a phrase means; none where it says none of them."""
    index = index_of(vocabulary)
    clauses = phrase_of(phrase, index).clauses
    if not clauses:
        return Choice(())
    whole = clauses[0]
    for clause in clauses[1:]:
        whole = joined(whole, clause)
    names = {f"{setting}: {term}": term for term in terms}
    said = tuple(t.stem for t in whole.tokens if t.is_word)
    for name, term in names.items():
        if said in (index.split(index.spellings[n].text)[1] for n in index.of_term["setting", name]):
            return Choice((term,), clear=True)
    held = sorted(_best(whole, names, index).items(), key=lambda x: (-x[1].score, list(names).index(x[0])))
    if held and held[0][1].score >= SAID:
        best = held[0][1]
        among = tuple(names[n] for n, h in held[:MOST] if best.score - h.score < TIE)
        denied = best.statement.state == "absent"
        in_full = best.score >= IN_FULL and {OF_THE_WHOLE, DENIED}.issuperset(best.asks)
        return Choice(among, denied, in_full and len(among) == 1)
    return _near(whole, names, index)


def _best(clause: Clause, names: dict[str, str], index: Index) -> dict[str, Held]:
    """How well each term is said, by the best of its spellings."""
    found: dict[str, Held] = {}
    for name in names:
        for number in index.of_term["setting", name]:
            held = held_as(number, clause, index)
            if held and (name not in found or held.score > found[name].score):
                found[name] = held
    return found


def _near(clause: Clause, names: dict[str, str], index: Index) -> Choice:
    """The terms that are near to what no word says."""
    near = index.sayings.near(clause)
    known = {name: near.of(("setting", name, "")) or 0.0 for name in names}
    best = max(known.values(), default=0.0)
    order = sorted(names, key=lambda n: (-known[n], list(names).index(n)))
    among = [n for n in order[:MOST] if best >= NEARLY and known[n] >= best - BESIDE]
    denied = bool(clause.cues("denied") or clause.cues("denied before"))
    return Choice(tuple(names[n] for n in among), denied)
