"""Terms held against a clause: how well each fits what is said, and why it must be asked back.

What a spelling asks for and the clause does not say counts against it (the term would say more than was said), and so do words
of the clause left unread.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace

from diagnose.phrases.clauses import Clause, value_said
from diagnose.phrases.index import Index, Spelling, Term
from diagnose.phrases.lift import Lifted
from diagnose.phrases.model import Statement
from diagnose.phrases.said_of import (
    LEAKING,
    NO_PART,
    TOLD,
    WRONG_PART,
    Parts,
    behind_a_place,
    elsewhere,
    implied,
    related,
)
from diagnose.phrases.states import states
from diagnose.phrases.told import opposed, qualifiers, told, unread

SURE, WEAK = 0.965, 0.44
"""Sure only where the words say the term in full: of open phrases read at 0.80 to 0.96 one in four said something else."""
CLAIMED, UNREAD, UNKNOWN = 1.1, 0.6, 0.9
GENERAL = 0.95
"""How well a general word fits a point of the machine, of which a state tells more."""
UNUSUAL = 0.97
"""How well a general mark fits a part on which no special one of it can be: what is extruded is rubber."""
OTHER_WORDS, OTHER_VERB, BARE, UNTOLD, GENERALLY = 0.92, 0.7, 0.5, 0.8, 0.5
AS_WELL = 0.9
"""How well a general mark must fit beside a special one to stand before it."""
SAID_IN_FULL = 0.2
"""What may be claimed at most of a term that is said in full: a part that goes without saying."""
MOSTLY = 0.5
"""What may be claimed at most of a denying saying, against what is said of it."""
FIGURE_TELLS = 1.2
"""How much a figure in a unit of the state tells, which left unread would count for less."""
LOOSE = 0.58
"""For one telling word out of a saying, where the saying itself was not said: "went" is not "lasted overnight"."""
FAMILY = {"feature": 1.0, "state": 0.96, "act": 0.94, "reading": 0.97, "setting": 0.82}
MOST_READINGS = 4
ROUNDED = 1e-4
NEAR = 0.6
"""How near to the best another reading must be to be offered beside it."""
NO_HEADS = frozenset({"part", "point", "cue", "degree"})
"""Slots whose words alone say no term, whatever else the word of a spelling means: "hardly" is not "hard"."""
OF_THE_CASE = frozenset({"seal", "machine", "product", "seal chamber"})
"""Kinds a fact or a figure of the whole case may be said of."""
IN_GENERAL = "it is said in general"
ALL_RIGHT, HARMED = ("word", "healthy"), ("wear", "damage")
OF_THE_WHOLE = "it is taken for a fact about the whole case"
WRONG = "the part named does not fit"
ONLY_WHERE = "it may only tell where something is"
SAYS_MORE = "the term may say more than was said"


@dataclass(frozen=True)
class Held:
    """A term held against a clause; `literal`: in the very words of its spelling."""

    statement: Statement
    score: float
    used: frozenset[int]
    asks: tuple[str, ...]
    left: frozenset[int] = frozenset()
    said: int = 1
    literal: bool = False


def hold(clause: Clause, index: Index, subject: str) -> list[Held]:
    """Terms held against a clause, best first, one of each statement."""
    if not clause.content:
        return []
    parts = Parts(clause, index, subject)
    held = [*_states(clause, index, subject), *_all_right(clause, parts)]
    good = _Good()
    for known in held:
        good.add(known)
    found: dict[int, Held] = {}
    for most, rank, number in index.ranks.of(clause, parts, good.least):
        if most < good.least:
            break
        if h := _held(number, clause, parts, good.least):
            found[rank] = h
            good.add(h)
    held += [found[rank] for rank in sorted(found)]
    best: dict[tuple[str, str, str, str], Held] = {}
    for h in sorted(
        held,
        key=lambda h: (
            -h.score,
            not h.literal,
            len(h.asks),
            -h.said,
            -len(h.used),
            h.statement.term not in index.vocabulary.forms,
            h.statement.term,
            h.statement.on,
        ),
    ):
        s = h.statement
        best.setdefault((s.family, s.term, s.on if s.family == "state" else "", s.state + s.more.get("value", "")), h)
    return _no_stronger([h for h in best.values() if h.score >= WEAK], clause, index)[:MOST_READINGS]


def _no_stronger(held: list[Held], clause: Clause, index: Index) -> list[Held]:
    """Readings, best first, with the general mark before a special one of it that no other word tells, where the special one has more
    in its name: "worn" is wear, and may be heavy wear."""
    if clause.cues("denied"):
        return held
    result: list[Held] = []
    for h in held:
        general = next((g for g in held if _says_as_well(g, h, index)), None)
        if general is None or _named_in_full(h.statement.term, clause, index):
            result += [h] if h not in result else []
        else:
            result += [general] if general not in result else []
            result.append(replace(h, asks=(SAYS_MORE, *(a for a in h.asks if a != SAYS_MORE))))
    return result


def _says_as_well(general: Held, special: Held, index: Index) -> bool:
    """Whether one reading says in general, and by no fewer words, what the other says."""
    g, s = general.statement, special.statement
    return (
        g.family == s.family == "feature"
        and g.term != s.term
        and g.state == s.state == "present"
        and g.term in index.vocabulary.form_lineage[s.term]
        and special.used <= general.used
        and general.score >= AS_WELL * special.score
    )


def _named_in_full(term: str, clause: Clause, index: Index) -> bool:
    """Whether a clause has all that the name of a term says, but for the part."""
    asked = next((index.asked[n] for n in index.of_term["feature", term] if index.spellings[n].text == term), ())
    return all(kinds or not clause.senses.keys().isdisjoint(senses) for senses, kinds, _ in asked)


def held_as(number: int, clause: Clause, index: Index) -> Held | None:
    """A clause held against one spelling; None where it does not say it."""
    return _held(number, clause, Parts(clause, index, ""))


def in_general(clause: Clause, index: Index, subject: str) -> list[Held]:
    """The general marks whose word stands in a clause, whatever else it says."""
    parts, found = Parts(clause, index, subject), dict[str, Held]()
    for number in dict.fromkeys(n for sense in clause.senses for n in index.generals.get(sense, ())):
        claim = _claim(number, clause, parts)
        if claim is None or claim.claimed or claim.guesses or claim.fit < NO_PART:
            continue
        term = claim.spelling.term
        of_seal = bool(claim.on) and index.vocabulary.kinds[claim.on].place != "machine"
        if of_seal and not index.vocabulary.fits(claim.on, index.usual_on.get(term.name, ())):
            continue
        more, quiet = qualifiers(clause, claim.used, term)
        left = clause.content - claim.used - quiet
        state, asks = _asks(claim, clause, left, True)
        said, named = Statement("feature", term.name, claim.on, state, more), _said(term.name, clause, index)
        held = Held(said, GENERALLY, frozenset(claim.used), (IN_GENERAL, *asks), left, literal=named)
        found.setdefault(term.name, held)
    return list(found.values())


class _Good:
    """The best score of each term so far, and the least that is still among the best and near to them."""

    def __init__(self) -> None:
        self.scores: dict[tuple[str, str], float] = {}
        self.least = WEAK

    def add(self, held: Held) -> None:
        key = held.statement.family, held.statement.term
        if held.score > self.scores.get(key, 0.0):
            self.scores[key] = held.score
            best = sorted(self.scores.values(), reverse=True)
            self.least = max(WEAK, NEAR * best[0], best[MOST_READINGS - 1] if len(best) >= MOST_READINGS else 0.0)


@dataclass
class _Claim:
    """What of a spelling a clause says: the places used, the words guessed, the weight matched and that only claimed."""

    spelling: Spelling
    on: str
    fit: float
    used: set[int] = field(default_factory=set)
    guesses: dict[str, str] = field(default_factory=dict)
    matched: float = 0.0
    claimed: float = 0.0
    denied: bool = False
    value: tuple[int, Lifted] | None = None

    @property
    def at_most(self) -> float:
        """How well the term fits where nothing is left unread and nothing else counts against it."""
        share = self.matched / (self.matched + CLAIMED * self.claimed) if self.matched else 0.0
        return share * self.fit * FAMILY[self.spelling.term.family]


def _held(number: int, clause: Clause, parts: Parts, least: float = WEAK) -> Held | None:
    index = parts.index
    claim = _claim(number, clause, parts)
    if claim is None or claim.at_most + ROUNDED < least:
        return None
    term = claim.spelling.term
    more, quiet = qualifiers(clause, claim.used, term)
    lifted = {p for p, x in clause.lifted.items() if x.kind in ("extent", "which", "count")}
    said_again = {p for sense in index.alone.get(term.name, ()) for s in clause.senses.get(sense, ()) for p in s.places}
    left = clause.content - claim.used - quiet - lifted - said_again
    if claim.value:
        left -= {p for p, x in clause.lifted.items() if x.kind == "amount"} | clause.bare.keys()
    score = _score(claim, clause, parts, more, left)
    if score < WEAK:
        return None
    literal = _literal(claim.spelling, clause, index)
    state, asks = _asks(claim, clause, left, literal)
    if claim.value:  # a figure stands: "lift nil, 0.02" is a lift of 0.02
        more, state = {"value": claim.value[1].text, **more}, "present"
    on = claim.on if term.family != "setting" else ""
    return Held(
        Statement(term.family, term.name, on, state, more),
        round(score, 4),
        frozenset(claim.used),
        tuple(asks),
        left,
        len(claim.spelling.asked),
        literal and len(index.split(claim.spelling.text)[1]) > 1,
    )


def _literal(spelling: Spelling, clause: Clause, index: Index) -> bool:
    return _said(spelling.text, clause, index)


def _said(text: str, clause: Clause, index: Index) -> bool:
    """Whether a clause has the very words of a text."""
    return f" {' '.join(index.split(text)[1])} " in f" {clause.stems} "


def _claim(number: int, clause: Clause, parts: Parts) -> _Claim | None:
    """How the clause says what the spelling asks for; None where it does not."""
    index, named = parts.index, parts.named
    spelling = index.spellings[number]
    term = spelling.term
    if spelling.denies and len(spelling.asked) == 1 and not _literal(spelling, clause, index):
        return None  # "tight as it should be" says so, "tight" alone may be too tight
    on, fit, on_places = parts.of(term)
    if on in TOLD and (term.family == "act" or (term.general and not term.on)):
        return None
    claim = _Claim(spelling, on, fit)
    headed = False
    for (senses, kinds, denied), weight in zip(index.asked[number], index.asked_weights[number], strict=True):
        spans = [s for sense in senses for s in clause.senses.get(sense, ())]
        if denied:
            if not spans:
                return None
            claim.denied = True
            claim.used |= set(spans[0].places)
            claim.matched += weight
            headed |= clause.content <= clause.partly
            continue
        if spans:
            span = max(spans, key=lambda s: (not s.guessed, len(s.places), -s.first))
            claim.used |= set(span.places)
            claim.matched += weight
            headed |= any(s.sense[0] not in NO_HEADS for s in spans)
            if span.guessed:
                claim.guesses[span.guessed] = clause.tokens[span.first].text
        elif kinds and (near := related(kinds, named, index)):
            claim.used |= near
            claim.matched += weight * 0.9
        elif kinds and len(kinds) == len(senses) and implied(kinds, term.on, on, index):
            claim.claimed += 0.0 if on and fit == 1.0 else 0.15
        else:
            claim.claimed += weight
    if spelling.denies and claim.claimed > MOSTLY * claim.matched:
        return None  # "gas bled down slowly" says that nothing was fast, "gas slowly" does not
    headed |= term.family == "reading" and spelling.stems <= {t.stem for t in clause.tokens}
    if not headed and not _of_parts_alone(claim, clause):
        return None
    if term.family == "reading":
        claim.value = value_said(term.unit, clause)
        if claim.value is None:
            return None
        claim.used.add(claim.value[0])
    if fit == WRONG_PART and named and all(places <= claim.used for places in named.values()):
        claim.fit = min(NO_PART, parts.unnamed(term))
    if term.on or term.family not in ("setting", "reading") or on in OF_THE_CASE:
        claim.used |= on_places
    if term.family == "setting" and claim.used:
        key = index.split(term.name.partition(": ")[0])[1]
        claim.used |= {p for p, t in enumerate(clause.tokens) if t.stem in key}
    return claim


def _of_parts_alone(claim: _Claim, clause: Clause) -> bool:
    """Whether words that only name parts say a term all the same, as they are the very words of its spelling."""
    said = {clause.tokens[p].stem for p in claim.used}
    return not claim.claimed and len(claim.used) > 1 and claim.used <= clause.partly and claim.spelling.stems <= said


def _score(claim: _Claim, clause: Clause, parts: Parts, more: dict[str, str], left: frozenset[int]) -> float:
    """How well the term fits the clause, 0 to 1: what is claimed beyond it and what is left unread count against it."""
    term, index = claim.spelling.term, parts.index
    unread = sum(loss(clause, p, index) for p in left)
    score = (
        claim.matched / (claim.matched + CLAIMED * claim.claimed + UNREAD * unread) * claim.fit * FAMILY[term.family]
    )
    said = {t.stem for t in clause.tokens}
    other = other_words(term)
    score *= other + (1 - other) * (len(claim.spelling.stems & said) / max(1, len(claim.spelling.stems)))
    if claim.spelling.loose and not _literal(claim.spelling, clause, index):
        score *= LOOSE
    if claim.guesses:
        score *= 0.95
    if term.general and claim.on and index.vocabulary.kinds[claim.on].place == "machine":
        score *= GENERAL
    if claim.on and not index.vocabulary.fits(claim.on, index.usual_on.get(term.name, ())):
        score *= UNUSUAL
    own = index.vocabulary.features[term.name].qualifiers if term.family == "feature" else {}
    if elsewhere(term.name, clause) or any(more.get(slot, value) != value for slot, value in own.items()):
        score *= WRONG_PART
    if term.family == "setting" and left:
        score *= WRONG_PART
    leak_said = {("word", "leak"), ("part", "leak")} & clause.senses.keys()
    if term.on == ("leak",) and not leak_said:
        score *= UNTOLD if parts.subject not in LEAKING else NO_PART
    bare = claim.spelling.bare or (term.family == "act" and any(clause.tokens[p].text == term.name for p in claim.used))
    done = claim.spelling.text.endswith("ed") and not claim.denied
    bare = bare or (term.family == "act" and done and not any(_done(clause.tokens[p].text) for p in claim.used))
    if bare and len(claim.spelling.asked) == 1 and not clause.cues("done"):
        score *= BARE
    return score


def other_words(term: Term) -> float:
    """How well other words than those of its spelling fit a term; a verb is said in its own."""
    return OTHER_VERB if term.family == "act" else OTHER_WORDS


def _done(word: str) -> bool:
    """Whether a word can be a verb: "oiled", not "oil"."""
    return word.endswith(("ed", "ing", "t", "n"))


def _asks(claim: _Claim, clause: Clause, left: frozenset[int], literal: bool) -> tuple[str, list[str]]:
    """(present, absent or not looked at; why it must be asked back)."""
    term = claim.spelling.term
    state, why = told(clause, claim.denied, claim.used)
    if claim.spelling.denies:
        state, why = opposed(clause, claim.used, state, why)
    asks = [f"{said!r} is taken for {word!r}" for word, said in sorted(claim.guesses.items())] + why
    asks += [claim.spelling.ask] if claim.spelling.ask else []
    asks += [OF_THE_WHOLE] if term.family == "setting" else []
    if claim.claimed > SAID_IN_FULL or (claim.used <= clause.partly and not literal):
        asks.append(
            SAYS_MORE
        )  # words that name parts say no mark but in its own words: "another product" of a "product set"
    asks += unread(clause, left)
    heads = claim.used - clause.naming
    if heads and all(behind_a_place(clause, p) for p in heads):
        asks.append(ONLY_WHERE)
    if claim.fit == WRONG_PART:
        asks.append(WRONG)
    elif not claim.on and term.family == "feature":
        asks.append("no part is named")
    asks += [
        f"{x.said!r} is taken for a clock position" for x in clause.lifted.values() if x.kind == "extent" and x.guessed
    ]
    if clause.sector and term.family == "feature":
        asks.append(f"{clause.sector[0]!r} is taken for clock positions")
    if claim.value and claim.value[1].guessed:
        asks.append(f"the unit of {claim.value[1].said!r} is a guess")
    return state, asks


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
        said = sum(FIGURE_TELLS if p in clause.lifted else loss(clause, p, index) for p in used)
        score = round(said / (said + UNREAD * sum(loss(clause, p, index) for p in left)) * fit * FAMILY["state"], 4)
        alike = {
            p for s in clause.senses.get(("value", f"{variable}: {value}"), ()) for p in s.places
        }  # "dead, no flow"
        taken = any(set(c.places) <= used | alike for c in clause.senses.get(("cue", "denied"), ()))
        state, why = told(clause, taken, used)
        asks = [
            *guesses,
            *why,
            *unread(clause, left),
        ]
        result.append(
            Held(Statement("state", variable, point, state, more), score, frozenset(used), tuple(asks), frozenset(left))
        )
    return result


def _all_right(clause: Clause, parts: Parts) -> Iterable[Held]:
    """That a part is all right: it is not damaged, nor worn. Weak beside what says so of the part in its own words."""
    spans = [s for s in clause.senses.get(ALL_RIGHT, ()) if not s.guessed]
    kind = next((k for k in parts.named if k not in ("seal", *TOLD)), parts.subject)
    vocabulary = parts.index.vocabulary
    if not spans or kind not in vocabulary.lineage or told(clause)[0] != "present":
        return
    used = frozenset(p for s in (*spans, *clause.slots.get("part", ())) for p in s.places)
    left = clause.content - used
    if not left:
        for n, form in enumerate(HARMED):
            if vocabulary.fits(kind, vocabulary.features[form].on):
                yield Held(Statement("feature", form, kind, "absent"), 0.8 - n / 10, used, (IN_GENERAL,), left)


def loss(clause: Clause, place: int, index: Index) -> float:
    """What an unread word counts: its weight as a sense, a little less where it only names a part."""
    if place not in clause.losses:
        clause.losses[place] = _loss_reckoned(clause, place, index)
    return clause.losses[place]


def _loss_reckoned(clause: Clause, place: int, index: Index) -> float:
    if place in clause.partly:
        return 0.4
    if place in clause.lifted or place in clause.bare:
        return 0.5
    if place in clause.small:
        return 0.2
    if clause.likened(place):
        return 0.3
    senses = [s.sense for s in clause.slots.get("word", ()) if s.first <= place <= s.last]
    return max((index.weights.get(s, UNKNOWN) for s in senses), default=UNKNOWN)
