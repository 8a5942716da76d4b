"""From a phrase to what it says in terms of the vocabulary: its clauses read one by one, then put together."""

from __future__ import annotations

import functools
import math
from collections.abc import Iterable
from dataclasses import replace

from diagnose.knowledge.model import Vocabulary
from diagnose.phrases.blend import IN_OTHER_WORDS, blended
from diagnose.phrases.clauses import Clause, contrasted, denials, halves, phrase_of
from diagnose.phrases.hold import MOST_READINGS, OF_THE_WHOLE, SAYS_MORE, SURE, Held, hold
from diagnose.phrases.index import Index, index_of
from diagnose.phrases.model import Reading, Statement
from diagnose.phrases.said_of import named_kinds
from diagnose.phrases.sentence import statements_of
from diagnose.phrases.told import DENIED, NOT_READ
from diagnose.phrases.whole import in_whole

LIKELY, ONE = 0.60, 0.80
TIE, AMONG, PIECE = 0.03, 0.55, 0.45
"""`PIECE`: how well a clause among several must be read not to be left unread."""
FAINT, FEW = 0.5, 2
"""How faint a reading is that is none where so many words are unread against each that is read."""
OF_THE_SUBSTANCE = "it may be said of what lies there, not of the part"
KNOWN = 0.9
"""How near the nearest saying must be of a phrase that names no part and may be about something else."""
STRANGE = 0.13
"""What share of the words of a phrase may be strange where no part it was said of is known."""
FITS_BETTER = "another reading fits better"
MOST_NEARLY_READ = 4
"""Of how many clauses a phrase is at most whose clauses are read by a saying that is near or two as one: it takes time, and a longer one is
hardly a phrase."""


def read(phrase: str, vocabulary: Vocabulary, part_kind: str = "") -> tuple[Reading, ...]:
    """What a phrase may say, best first, at most four; none where it is not understood. `part_kind` is the kind of part
    it was said of, as far as known."""
    if written := statements_of(phrase, vocabulary):
        asks = (DENIED,) if any(s.state != "present" for s in written) else ()
        return (Reading(written, "likely" if asks else "sure", 1.0, (phrase,), (), asks),)
    index = index_of(vocabulary)
    if not index.spellings:
        return ()
    if setting := index.settings.get(" ".join(phrase.lower().split())):
        return (Reading((setting,), "likely", ONE, (phrase,), (), (OF_THE_WHOLE,)),)
    parted = phrase_of(phrase, index)
    contrasts = [contrasted(c) for c in _attached(parted.clauses, index)]
    pieces = [clause for clause, _ in contrasts]
    unread = [*parted.beyond, *(w for _, against in contrasts for w in against)]
    pieced: list[tuple[Clause, list[Held]]] = []
    subject = part_kind
    strange = sum(_strange(c, index) for c in parted.clauses)
    named = bool(part_kind) or any(
        c.partly or c.senses.keys() & {("point", p) for p in vocabulary.grammar.points} for c in parted.clauses
    )
    nearest = 0.0 if named else KNOWN
    words = sum(len(c.content) for c in parted.clauses)
    if len(pieces) > MOST_NEARLY_READ or (strange > (STRANGE * words if named else 0) and not part_kind):
        nearest = math.inf
    for clause in _as_one(pieces, index, subject):
        best = _clause(clause, index, subject)
        for piece, lexical in best:
            held = blended(piece, lexical, index, subject, nearest)
            if held and (len(pieces) * len(best) == 1 or held[0].score >= PIECE):
                pieced.append((piece, held))
                subject = _subject(piece, index, held) or subject
            else:
                unread += piece.words(piece.content)
    chosen = _said_in_words(pieced)
    unread += [w for piece, held in pieced if (piece, held) not in chosen for w in piece.words(piece.content)]
    readings = list(_readings(chosen, tuple(unread), index))
    if nearest == 0.0 and pieces and not (readings and readings[0].sureness == "sure"):
        readings = in_whole(readings, functools.reduce(joined, pieces), pieces, index, part_kind)
    to_the_point = [r for r in readings if not _beside_the_point(r, strange, named, part_kind)][:MOST_READINGS]
    return tuple(r if n == 0 else replace(r, asks=(*r.asks, FITS_BETTER)) for n, r in enumerate(to_the_point))


def _said_in_words(pieced: list[tuple[Clause, list[Held]]]) -> list[tuple[Clause, list[Held]]]:
    """The pieces without those that are only guessed at beside one that is read in its own words: a phrase must not bring along
    what it does not say. Words that only name parts say no mark of them."""
    guessed = [held[0].used <= piece.partly or (held[0].score < LIKELY and not {SAYS_MORE, IN_OTHER_WORDS}.isdisjoint(held[0].asks))
               for piece, held in pieced]  # fmt: skip
    return pieced if all(guessed) else [x for x, guess in zip(pieced, guessed, strict=True) if not guess]


def _strange(clause: Clause, index: Index) -> int:
    """How many words of a clause the vocabulary does not know at all."""
    known = {p for s in clause.spans if not s.guessed for p in s.places}
    figures = clause.lifted.keys() | clause.bare.keys()
    return sum(t.is_word and n not in known and n not in figures for n, t in enumerate(clause.tokens))


def _beside_the_point(reading: Reading, strange: int, named: bool, part_kind: str) -> bool:
    """Whether a weak reading of no part rests on few words of many, one on fewer words than nobody here knows, or on one of several where no part is named, so that the
    phrase is about something else."""
    alone = len(reading.used) == 1 and len(reading.unread) > 1
    known = len(reading.used) - sum("is taken for" in why for why in reading.asks)
    lexical = not any(IN_OTHER_WORDS in why for why in reading.asks)
    little = not part_kind and lexical and reading.score < FAINT and len(reading.unread) >= FEW * len(reading.used)
    return (
        little
        or strange > known
        or (strange == known and (not named or reading.score < LIKELY))
        or (alone and not named)
    )


def _subject(clause: Clause, index: Index, held: list[Held]) -> str:
    """The part a clause is about, which the next one speaks of too."""
    named = named_kinds(clause)
    return held[0].statement.on if held and held[0].statement.on in named else next(iter(named), "")


def _attached(clauses: list[Clause], index: Index) -> list[Clause]:
    """Clauses with those that only name a part or only qualify joined to the one they belong to; denials carried on."""
    result: list[Clause] = []
    waiting: Clause | None = None
    for clause in clauses:
        begins_denied = any(cue.first == 0 for kind in ("denied", "denied before") for cue in clause.cues(kind))
        if result and clause.joined == "?" and begins_denied:
            result[-1].denied = True
        if not clause.heads and not (clause.cues("denied") and not clause.content):
            clause = clause.without(clause.sizes)
            if begins_denied and waiting is None:
                result.append(clause)  # it denies its own and nothing beside it: "stone cold, not on"
                continue
            if result and not clause.partly and waiting is None:
                result[-1] = joined(result[-1], clause)
            else:
                waiting = joined(waiting, clause) if waiting else clause
            continue
        if not clause.content and clause.cues("denied") and (result or waiting):
            if waiting:
                result.append(waiting)
                waiting = None
            result[-1] = joined(result[-1], clause)
            continue
        if waiting:
            clause, waiting = joined(waiting, clause), None
        result.append(clause)
    if waiting:
        if result:
            result[-1] = joined(result[-1], waiting)
        else:
            result.append(waiting)
    return result


def _as_one(clauses: list[Clause], index: Index, subject: str) -> list[Clause]:
    """The clauses, two of them as one where a single term says both: "drips when stopped, dry when running"; not in a long list."""
    if len(clauses) > MOST_NEARLY_READ:
        return clauses
    result = list(clauses)
    for n in range(len(result) - 2, -1, -1):
        if result[n].cues("denied") or result[n + 1].cues("denied"):
            continue  # neither denies the other: "not set yet, still runny"
        both = joined(result[n], result[n + 1])
        whole = hold(both, index, subject)
        if whole and whole[0].score >= ONE and len(whole[0].used & both.heads) == len(both.heads):
            result[n : n + 2] = [both]
    return result


def joined(a: Clause, b: Clause) -> Clause:
    """Two clauses as one."""
    by = len(a.tokens)
    moved = [replace(s, first=s.first + by, last=s.last + by) for s in b.spans]
    return Clause(
        [*a.tokens, *b.tokens], [*a.spans, *moved], {**a.lifted, **{p + by: x for p, x in b.lifted.items()}}, a.joined
    )


def _clause(clause: Clause, index: Index, subject: str) -> list[tuple[Clause, list[Held]]]:
    """The clause read as one, or parted at and, or, nor where that reads more of it."""
    whole = hold(clause, index, subject)
    if whole and (rest := _second_figure(clause, whole[0], index, subject)):
        return [(clause, whole), rest]
    parts = halves(clause)
    if len(parts) < 2 and (not whole or whole[0].score < 0.95) and len(sides := denials(clause)) > 1:
        read = [(p, hold(p, index, subject)) for p in sides]
        return (
            read
            if all(h and h[0].score > max(ONE, whole[0].score if whole else 0.0) for _, h in read)
            else [(clause, whole)]
        )
    if len(parts) < 2 or (whole and whole[0].score >= 0.95):
        return [(clause, whole)]
    parts = _shared(parts)
    read = [(p, hold(p, index, subject)) for p in parts]
    mean = sum(h[0].score if h else 0.0 for _, h in read) / len(read)
    return read if mean > (whole[0].score if whole else 0.0) else [(clause, whole)]


def _second_figure(clause: Clause, first: Held, index: Index, subject: str) -> tuple[Clause, list[Held]] | None:
    """What a further figure of the clause says: "track 6.5 on 5 nose"."""
    figures = ({p for p, x in clause.lifted.items() if x.kind == "amount"} | clause.bare.keys()) - clause.earlier
    if "value" not in first.statement.more or not figures & first.used or not figures - first.used:
        return None
    rest = clause.without(first.used | clause.earlier)
    held = [h for h in hold(rest, index, subject) if h.statement.family in ("reading", "state") and h.score >= AMONG]
    return (rest, held) if held else None


def _shared(parts: list[Clause]) -> list[Clause]:
    """Parts of one clause lend each other what only one of them has: the head, the part, a denial before "or"."""
    headed = [p for p in parts if p.heads]
    if headed and not parts[0].heads:
        parts = [p if p.heads else joined(p, _without_parts(headed[0])) for p in parts]
    for n, piece in enumerate(parts):
        before = parts[:n]
        if any(b.cues("denied") or b.denied for b in before) and piece.joined in ("or", "nor", "/", "and"):
            piece.denied = not piece.cues("denied")
        if not piece.partly and (lender := next((p for p in [*reversed(before), *parts[n:]] if p.partly), None)):
            parts[n] = joined(_only_parts(lender), piece)
            parts[n].denied = piece.denied
    return parts


def _without_parts(clause: Clause) -> Clause:
    gone = clause.partly
    first = min((p for p in range(len(clause.tokens)) if p not in gone), default=0)
    last = max((p for p in range(len(clause.tokens)) if p not in gone), default=0)
    return clause.part(first, last + 1)


def _only_parts(clause: Clause) -> Clause:
    return clause.part(min(clause.partly), max(clause.partly) + 1)


def _readings(chosen: list[tuple[Clause, list[Held]]], unread: tuple[str, ...], index: Index) -> Iterable[Reading]:
    """The best of every clause together, then those in which one clause is read otherwise."""
    if not chosen:
        return []
    best = [held[0] for _, held in chosen]
    ties = [f"{held[0].statement.term!r} and {held[1].statement.term!r} fit alike"
            for _, held in chosen if len(held) > 1 and held[0].score - held[1].score < TIE and not _agree(held[0], held[1], index)]  # fmt: skip
    others = [held[1:] for _, held in chosen]
    picks = [best]
    for n in range(
        MOST_READINGS - 1
    ):  # every clause that is not sure is read otherwise in each of the further readings
        pick = [
            o[n] if n < len(o) and (h.score < SURE or o[n].score >= AMONG) else h
            for h, o in zip(best, others, strict=True)
        ]
        if pick != best:
            picks.append(pick)
    result = []
    for pick in picks:
        used = [w for (clause, _), h in zip(chosen, pick, strict=True) for w in clause.words(h.used)]
        left = [w for (clause, _), h in zip(chosen, pick, strict=True) for w in clause.words(h.left)]
        asks = list(dict.fromkeys(a for h in pick for a in h.asks if not a.startswith(NOT_READ)))
        asks += ties if pick is best else []
        if any("made of" in h.statement.more for h in pick[:-1]) and pick[-1].statement.family == "feature":
            asks.append(OF_THE_SUBSTANCE)
        if left or unread:
            asks.append(NOT_READ + ", ".join((*left, *unread)))
        score = min(h.score for h in pick)
        sureness = "sure" if score >= SURE and not asks and pick is best else "likely" if score >= LIKELY else "weak"
        statements = tuple(_unrepeated(h.statement for h in pick))
        result.append(Reading(statements, sureness, score, tuple(used), (*left, *unread), tuple(asks)))
    return result


def _agree(one: Held, other: Held, index: Index) -> bool:
    """Whether two readings can both be so: one says in general, or as a state or an act, what the other says as a mark."""
    a, b, line = one.statement, other.statement, index.vocabulary.form_lineage
    if a.state != b.state:
        return False
    if a.family == b.family == "feature":
        return a.on == b.on and (a.term in line[b.term] or b.term in line[a.term])
    return {a.family, b.family} in ({"feature", "state"}, {"feature", "act"}, {"state", "act"})


def _unrepeated(statements: Iterable[Statement]) -> list[Statement]:
    result: list[Statement] = []
    for s in statements:
        if s not in result:
            result.append(s)
    return result
