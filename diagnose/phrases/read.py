"""From a phrase to what it says in terms of the vocabulary.

Each clause is held against every term whose spellings share a sense with it: what a spelling asks for and the clause does
not say counts against it (the term would say more than was said), and so do words of the clause left unread.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, replace

from diagnose.knowledge.model import Vocabulary
from diagnose.phrases.clauses import QUALIFYING, Clause, halves, phrase_of
from diagnose.phrases.index import Index, Term, index_of
from diagnose.phrases.lift import Lifted
from diagnose.phrases.model import Reading, Statement
from diagnose.phrases.sentence import statements_of
from diagnose.phrases.states import states
from diagnose.reading.units import BadUnit, unit

SURE, LIKELY, WEAK = 0.80, 0.60, 0.42
CLAIMED, UNREAD, UNKNOWN = 1.1, 0.6, 0.9
NO_PART, ABOVE, WRONG_PART = 0.96, 0.97, 0.5
OTHER_WORDS, OTHER_VERB, BARE, UNTOLD = 0.92, 0.7, 0.5, 0.8
FAMILY = {"feature": 1.0, "state": 0.96, "act": 0.94, "reading": 0.97, "setting": 0.82}
TIE, WORTH, AMONG = 0.03, 0.6, 0.55
MOST_HELD, MOST_READINGS = 80, 4
TOLD = frozenset({"leak", "sound", "history", "fit"})
"""What is told of a seal as a whole, whatever part is named beside."""
LEAKING = frozenset({"", "seal", "leak", "gland", "atmosphere side"})
"""What a leak may be said of without the word."""
DENIED = "it is read as a denial"
_CUES = {"doubted": "it is said with doubt", "meant": "it may be meant, not seen", "earlier": "it may be of another time",
         "heard": "it is hearsay", "blamed": "it names a cause"}  # fmt: skip


@dataclass(frozen=True)
class Held:
    """A term held against a clause."""

    statement: Statement
    score: float
    used: frozenset[int]
    asks: tuple[str, ...]
    left: frozenset[int] = frozenset()
    said: int = 1


def read(phrase: str, vocabulary: Vocabulary, part_kind: str = "") -> tuple[Reading, ...]:
    """What a phrase may say, best first, at most four; none where it is not understood. `part_kind` is the kind of part
    it was said of, as far as known."""
    if written := statements_of(phrase, vocabulary):
        asks = (DENIED,) if any(s.state != "present" for s in written) else ()
        return (Reading(written, "likely" if asks else "sure", 1.0, (phrase,), (), asks),)
    index = index_of(vocabulary)
    parted = phrase_of(phrase, index)
    pieces = _attached(parted.clauses, index)
    unread = list(parted.beyond)
    chosen: list[tuple[Clause, list[Held]]] = []
    subject = part_kind
    for clause in _as_one(pieces, index, subject):
        best = _clause(clause, index, subject)
        for piece, held in best:
            if held and (len(pieces) * len(best) == 1 or held[0].score >= AMONG):
                chosen.append((piece, held))
                subject = _subject(piece, index, held) or subject
            else:
                unread += piece.words(piece.content)
    strange = sum(_strange(c, index) for c in parted.clauses)
    named = bool(part_kind) or any(c.partly or c.senses.keys() & {("point", p) for p in vocabulary.grammar.points} for c in parted.clauses)
    return tuple(r for r in _readings(chosen, tuple(unread), index) if not _beside_the_point(r, strange, named))


def _strange(clause: Clause, index: Index) -> int:
    """How many words of a clause the vocabulary does not know at all."""
    known = {p for s in clause.spans if not s.guessed for p in s.places}
    return sum(t.is_word and n not in known and n not in clause.lifted for n, t in enumerate(clause.tokens))


def _beside_the_point(reading: Reading, strange: int, named: bool) -> bool:
    """Whether a reading rests on fewer words than nobody here knows, or on one of several where no part is named, so that the
    phrase is about something else."""
    alone = len(reading.used) == 1 and len(reading.unread) > 1
    known = len(reading.used) - sum("is taken for" in why for why in reading.asks)
    return strange > known or (strange == known and (not named or reading.score < LIKELY)) or (alone and not named)


def _subject(clause: Clause, index: Index, held: list[Held]) -> str:
    """The part a clause is about, which the next one speaks of too."""
    named = _named(clause)
    return held[0].statement.on if held and held[0].statement.on in named else next(iter(named), "")


def _attached(clauses: list[Clause], index: Index) -> list[Clause]:
    """Clauses with those that only name a part or only qualify joined to the one they belong to; denials carried on."""
    result: list[Clause] = []
    waiting: Clause | None = None
    for clause in clauses:
        if not clause.heads and not (clause.cues("denied") and not clause.content):
            if result and not clause.partly and waiting is None:
                result[-1] = _joined(result[-1], clause)
            else:
                waiting = _joined(waiting, clause) if waiting else clause
            continue
        if not clause.content and clause.cues("denied") and (result or waiting):
            if waiting:
                result.append(waiting)
                waiting = None
            result[-1] = _joined(result[-1], clause)
            continue
        if waiting:
            clause, waiting = _joined(waiting, clause), None
        result.append(clause)
    if waiting:
        if result:
            result[-1] = _joined(result[-1], waiting)
        else:
            result.append(waiting)
    return result


def _as_one(clauses: list[Clause], index: Index, subject: str) -> list[Clause]:
    """The clauses, two of them as one where a single term says both: "drips when stopped, dry when running"."""
    result = list(clauses)
    for n in range(len(result) - 2, -1, -1):
        both = _joined(result[n], result[n + 1])
        whole = hold(both, index, subject)
        if whole and whole[0].score >= SURE and len(whole[0].used & both.heads) == len(both.heads):
            result[n : n + 2] = [both]
    return result


def _joined(a: Clause, b: Clause) -> Clause:
    by = len(a.tokens)
    moved = [replace(s, first=s.first + by, last=s.last + by) for s in b.spans]
    return Clause([*a.tokens, *b.tokens], [*a.spans, *moved], {**a.lifted, **{p + by: x for p, x in b.lifted.items()}}, a.joined)


def _clause(clause: Clause, index: Index, subject: str) -> list[tuple[Clause, list[Held]]]:
    """The clause read as one, or parted at and, or, nor where that reads more of it."""
    whole = hold(clause, index, subject)
    parts = halves(clause)
    if len(parts) < 2 or (whole and whole[0].score >= 0.95):
        return [(clause, whole)]
    parts = _shared(parts)
    read = [(p, hold(p, index, subject)) for p in parts]
    mean = sum(h[0].score if h else 0.0 for _, h in read) / len(read)
    return read if mean > (whole[0].score if whole else 0.0) else [(clause, whole)]


def _shared(parts: list[Clause]) -> list[Clause]:
    """Parts of one clause lend each other what only one of them has: the head, the part, a denial before "or"."""
    headed = [p for p in parts if p.heads]
    if headed and not parts[0].heads:
        parts = [p if p.heads else _joined(p, _without_parts(headed[0])) for p in parts]
    for n, piece in enumerate(parts):
        before = parts[:n]
        if any(b.cues("denied") or b.denied for b in before) and piece.joined in ("or", "nor", "/", "and"):
            piece.denied = not piece.cues("denied")
        if not piece.partly and (lender := next((p for p in [*reversed(before), *parts[n:]] if p.partly), None)):
            parts[n] = _joined(_only_parts(lender), piece)
            parts[n].denied = piece.denied
    return parts


def _without_parts(clause: Clause) -> Clause:
    gone = clause.partly
    first = min((p for p in range(len(clause.tokens)) if p not in gone), default=0)
    last = max((p for p in range(len(clause.tokens)) if p not in gone), default=0)
    return clause.part(first, last + 1)


def _only_parts(clause: Clause) -> Clause:
    return clause.part(min(clause.partly), max(clause.partly) + 1)


def _named(clause: Clause) -> dict[str, frozenset[int]]:
    """The kinds of part a clause names, in the order of the words, those behind a word for a place last."""
    spans = [s for s in clause.spans if s.sense[0] == "part"]
    covered = {s: any(o is not s and o.first <= s.first and s.last <= o.last and len(o.places) > len(s.places) for o in spans)
               for s in spans}  # fmt: skip
    order = sorted(spans, key=lambda s: (covered[s], _behind(clause, s.first), s.first, -len(s.places), s.sense))
    return {s.sense[1]: frozenset(s.places) for s in reversed(order)} and {
        kind: frozenset(p for s in order if s.sense[1] == kind for p in s.places)
        for kind in dict.fromkeys(s.sense[1] for s in order)
    }


def _behind(clause: Clause, place: int) -> bool:
    """Whether a word for a place stands right before."""
    return any(0 < place - p <= 2 for s in clause.cues("place") for p in s.places)


def hold(clause: Clause, index: Index, subject: str) -> list[Held]:
    """Terms held against a clause, best first, one of each statement."""
    if not clause.content:
        return []
    found: dict[int, float] = defaultdict(float)
    for sense in clause.senses:
        weight = index.weights.get(sense)
        if weight is None:
            continue
        for number in index.by_sense[sense]:
            found[number] += weight
    named = _named(clause)
    behind = {kind: _behind(clause, min(places)) for kind, places in named.items()}
    for kind in named:
        for other in (*index.vocabulary.lineage[kind], *index.vocabulary.under(kind)):
            for number in index.by_sense.get(("part", other), ()):
                found[number] += 0.3
    ranked = sorted(found, key=lambda n: (-found[n] / (1.5 + index.totals[n]), n))
    held = [h for n in ranked[: MOST_HELD * 3] if (h := _held(n, clause, named, behind, index, subject))]
    held += _states(clause, index, subject)
    best: dict[tuple[str, str, str, str], Held] = {}
    for h in sorted(held, key=lambda h: (-h.score, len(h.asks), -h.said, -len(h.used), h.statement.term not in index.vocabulary.forms, h.statement.term, h.statement.on)):
        s = h.statement
        best.setdefault((s.family, s.term, s.on, s.state + s.more.get("value", "")), h)
    return [h for h in best.values() if h.score >= WEAK][:MOST_READINGS]


def _held(number: int, clause: Clause, named: dict[str, frozenset[int]], behind: dict[str, bool], index: Index, subject: str) -> Held | None:
    spelling = index.spellings[number]
    term = spelling.term
    used: set[int] = set()
    guesses: dict[str, str] = {}
    matched = claimed = 0.0
    denial_used = headed = False
    on, fit, on_places = _part(term.on, named, behind, subject, index)
    for asked, weight in zip(spelling.asked, index.asked_weights[number], strict=True):
        spans = [s for sense in sorted(asked) for s in clause.senses.get(sense, ())]
        kinds = [kind for slot, kind in asked if slot == "part"]
        if ("cue", "denied") in asked:
            if not spans:
                return None
            denial_used = True
            used |= set(spans[0].places)
            matched += weight
            continue
        if spans:
            span = max(spans, key=lambda s: (not s.guessed, len(s.places), -s.first))
            used |= set(span.places)
            matched += weight
            headed |= any(s.sense[0] not in ("part", "point", "cue") for s in spans)
            if span.guessed:
                guesses[span.guessed] = clause.tokens[span.first].text
        elif kinds and (near := _related(kinds, named, index)):
            used |= near
            matched += weight * 0.9
        elif kinds and len(kinds) == len(asked) and _implied(kinds, term.on, on, index):
            claimed += 0.0 if on and fit == 1.0 else 0.15
        else:
            claimed += weight
    if not headed and (claimed or len(used) < 2 or used - clause.partly):
        return None
    value = _value(term.unit, clause) if term.family == "reading" else None
    if term.family == "reading" and value is None:
        return None
    used |= on_places | ({value[0]} if value else set())
    return _weighed(spelling, clause, index, subject, used, guesses, matched, claimed, denial_used, on, fit, value)


def _weighed(spelling, clause, index, subject, used, guesses, matched, claimed, denial_used, on, fit, value) -> Held | None:  # type: ignore[no-untyped-def]
    term = spelling.term
    more, quiet = _qualifiers(clause, used, term)
    lifted = {p for p, x in clause.lifted.items() if x.kind in ("extent", "which", "count")}
    said_again = {p for sense in index.alone.get(term.name, ()) for s in clause.senses.get(sense, ()) for p in s.places}
    left = clause.content - used - quiet - lifted - said_again
    unread = sum(_loss(clause, p, index) for p in left)
    score = matched / (matched + CLAIMED * claimed + UNREAD * unread) * fit * FAMILY[term.family]
    said = {t.stem for t in clause.tokens}
    other = OTHER_WORDS if term.family != "act" else OTHER_VERB
    score *= other + (1 - other) * (len(spelling.stems & said) / max(1, len(spelling.stems)))
    if guesses:
        score *= 0.95
    own = index.vocabulary.features[term.name].qualifiers if term.family == "feature" else {}
    if any(more.get(slot, value) != value for slot, value in own.items()):
        score *= WRONG_PART
    if term.family == "setting" and left:
        score *= WRONG_PART
    if term.on == ("leak",) and subject not in LEAKING and not {("word", "leak"), ("part", "leak")} & clause.senses.keys():
        score *= UNTOLD
    if spelling.bare and not clause.cues("done"):
        score *= BARE
    if score < WEAK:
        return None
    state, asks = _told(clause, denial_used)
    asks = [f"{said!r} is taken for {word!r}" for word, said in sorted(guesses.items())] + asks
    asks += [spelling.ask] if spelling.ask else []
    asks += ["it is taken for a fact about the whole case"] if term.family == "setting" else []
    if claimed > 0.2:
        asks.append("the term may say more than was said")
    if left:
        asks.append("not every word was read: " + ", ".join(clause.words(frozenset(left))))
    if fit == WRONG_PART:
        asks.append("the part named does not fit")
    elif not on and term.family == "feature":
        asks.append("no part is named")
    asks += [f"{x.said!r} is taken for a clock position" for x in clause.lifted.values() if x.kind == "extent" and x.guessed]
    if value:
        more = {"value": value[1].text, **more}
        asks += [f"the unit of {value[1].said!r} is a guess"] if value[1].guessed else []
    return Held(Statement(term.family, term.name, on if term.family != "setting" else "", state, more), round(score, 4),
                frozenset(used), tuple(asks), frozenset(left), len(spelling.asked))  # fmt: skip


def _told(clause: Clause, denial_used: bool = False) -> tuple[str, list[str]]:
    """(present, absent or not looked at, why it must be asked) by the cues of a clause."""
    asks, state = [], "present"
    if clause.cues("not looked"):
        state = "not looked at"
        asks.append("it is read as not looked at")
    elif not denial_used and (clause.denied or clause.cues("denied") or clause.cues("denied before")):
        if not clause.cues("not denied"):
            state = "absent"
        asks.append(DENIED)
    return state, asks + [why for cue, why in _CUES.items() if clause.cues(cue)]


def _states(clause: Clause, index: Index, subject: str) -> list[Held]:
    result = []
    for point, variable, value, fit, used, guesses in states(clause, index, subject):
        more: dict[str, str] = {"value": value}
        quiet = set()
        for span in clause.spans:
            if span.sense[0] == "when" and not set(span.places) & used:
                more["when"] = span.sense[1]
                quiet |= set(span.places)
        left = clause.content - used - quiet
        said = sum(_loss(clause, p, index) for p in used)
        score = round(said / (said + UNREAD * sum(_loss(clause, p, index) for p in left)) * fit * FAMILY["state"], 4)
        state, told = _told(clause, any(set(c.places) <= used for c in clause.senses.get(("cue", "denied"), ())))
        asks = [*guesses, *told, *(["not every word was read: " + ", ".join(clause.words(frozenset(left)))] if left else [])]
        result.append(Held(Statement("state", variable, point, state, more), score, frozenset(used), tuple(asks), frozenset(left)))
    return result


def _loss(clause: Clause, place: int, index: Index) -> float:
    """What an unread word counts: its weight as a sense, a little less where it only names a part."""
    if place in clause.partly:
        return 0.4
    if place in clause.lifted:
        return 0.5
    if place in clause.small:
        return 0.2
    if clause.likened(place):
        return 0.3
    senses = [s.sense for s in clause.spans if s.first <= place <= s.last and s.sense[0] == "word"]
    return max((index.weights.get(s, UNKNOWN) for s in senses), default=UNKNOWN)


def _part(
    on: tuple[str, ...], named: dict[str, frozenset[int]], behind: dict[str, bool], subject: str, index: Index
) -> tuple[str, float, frozenset[int]]:
    """(kind it is on, how well that fits, places of the words that name it)."""
    v = index.vocabulary

    if on and TOLD.issuperset(on):
        return on[0], 1.0, frozenset(p for kind in ("seal", "machine", *on) for p in named.get(kind, ()))

    def fits(kind: str) -> bool:
        return not on or any(a in v.lineage[kind] or kind in v.lineage[a] for a in on)

    if subject and named and on and fits(subject) and not any(fits(kind) and not behind[kind] for kind in named):
        return subject, NO_PART, next((p for kind, p in named.items() if kind in v.lineage[subject]), frozenset())
    for kind, places in named.items():
        if fits(kind):
            narrower = subject if subject and kind in v.lineage[subject] and fits(subject) else kind
            return narrower, 1.0 if not on or set(on) & set(v.lineage[narrower]) else ABOVE, places
    if named and not on:
        return next(iter(named)), 1.0, next(iter(named.values()))
    if named:
        return on[0], WRONG_PART, frozenset()
    if subject and subject in v.lineage:
        if fits(subject):
            return subject, 1.0 if not on or set(on) & set(v.lineage[subject]) else ABOVE, frozenset()
        return on[0], WRONG_PART, frozenset()
    return (on[0] if len(on) == 1 else "", NO_PART, frozenset())


def _related(kinds: list[str], named: dict[str, frozenset[int]], index: Index) -> frozenset[int]:
    line = index.vocabulary.lineage
    return next((p for kind, p in named.items() for k in kinds if k in line[kind]), frozenset())


def _implied(kinds: Iterable[str], term_on: tuple[str, ...], on: str, index: Index) -> bool:
    line = index.vocabulary.lineage
    return any(k in line.get(o, ()) for k in kinds for o in ((on,) if on else term_on))


def _qualifiers(clause: Clause, used: set[int], term: Term) -> tuple[dict[str, str], set[int]]:
    """Side, degree, extent and the like that the term has not taken up itself, and the places that say them."""
    more: dict[str, str] = {}
    quiet: set[int] = set()
    slots = {"feature": QUALIFYING, "act": ("made of", "when")}.get(term.family, ())
    for slot in slots:
        spans = [s for s in clause.spans if s.sense[0] == slot and not set(s.places) & (used | quiet) and not clause.likened(s.first)]
        if slot == "side" and not spans and term.sides:
            spans = [s for s in clause.spans if s.sense[0] == slot and s.sense[1] in term.sides]
        if spans:
            best = max(spans, key=lambda s: (len(s.places), -s.first))
            more["with" if term.family == "act" and slot == "made of" else slot] = best.sense[1]
            quiet |= {p for s in spans for p in s.places if s.sense == best.sense}
    for lifted in clause.lifted.values():
        if lifted.kind in ("extent", "which", "count") and term.family == "feature":
            which, _, of = lifted.text.partition(" of ") if lifted.kind == "which" else (lifted.text, "", "")
            more |= {lifted.kind: which, **({"of": of} if of else {})}
    return more, quiet


def _value(asked: str, clause: Clause) -> tuple[int, Lifted] | None:
    """The figure of a clause in a unit like the asked one."""
    for place, lifted in clause.lifted.items():
        if lifted.kind in ("amount", "time"):
            try:
                if unit(lifted.unit).kind == unit("" if asked == "1" else asked).kind:
                    return place, lifted
            except BadUnit:
                continue
    return None


def _readings(chosen: list[tuple[Clause, list[Held]]], unread: tuple[str, ...], index: Index) -> Iterable[Reading]:
    """The best of every clause together, then those in which one clause is read otherwise."""
    if not chosen:
        return []
    best = [held[0] for _, held in chosen]
    ties = [f"{held[0].statement.term!r} and {held[1].statement.term!r} fit alike"
            for _, held in chosen if len(held) > 1 and held[0].score - held[1].score < TIE and not _agree(held[0], held[1], index)]  # fmt: skip
    others = sorted(
        ((held[0].score - h.score, n, h) for n, (_, held) in enumerate(chosen) for h in held[1:]),
        key=lambda x: (x[0], x[1], x[2].statement.term),
    )
    others = [x for x in others if x[2].score >= WORTH * best[x[1]].score]
    picks = [best, *([*best[:n], h, *best[n + 1 :]] for _, n, h in others[: MOST_READINGS - 1])]
    result = []
    for pick in picks:
        asks = list(dict.fromkeys([*(a for h in pick for a in h.asks), *(ties if pick is best else ("another reading fits better",))]))
        if unread:
            asks.append("not every word was read: " + ", ".join(unread))
        score = min(h.score for h in pick)
        sureness = "sure" if score >= SURE and not asks else "likely" if score >= LIKELY else "weak"
        used = [w for (clause, _), h in zip(chosen, pick, strict=True) for w in clause.words(h.used)]
        left = [w for (clause, _), h in zip(chosen, pick, strict=True) for w in clause.words(h.left)]
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
