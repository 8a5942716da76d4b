"""What a phrase says beside a mark, whichever mark is meant: on which side, how much and where."""

from __future__ import annotations

from diagnose.knowledge.model import Vocabulary
from diagnose.phrases.clauses import phrase_of
from diagnose.phrases.index import index_of

SLOTS = ("side", "degree", "extent", "colour")


def beside(phrase: str, mark: str, vocabulary: Vocabulary) -> dict[str, str]:
    """Side, degree, extent and colour said in a phrase, the first of each, without what the name of the mark says itself."""
    more: dict[str, str] = {}
    named = set(mark.split())
    for clause in phrase_of(phrase, index_of(vocabulary)).clauses:
        for slot in SLOTS:
            for span in clause.slots.get(slot, ()):
                own = named & {clause.tokens[p].text for p in span.places}
                if not own and not span.guessed and not clause.likened(span.first):
                    more.setdefault(slot, span.sense[1])
        for lifted in clause.lifted.values():
            if lifted.kind == "extent" and not lifted.guessed:
                more.setdefault("extent", lifted.text)
    return more
