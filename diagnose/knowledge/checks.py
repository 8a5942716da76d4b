"""What is wrong with a rule base although every file reads well: things nothing uses, words that contradict each
other, causes that cannot be told apart or could never be established.

An error is a card that cannot do what it says; advice is a card that works while something about it is idle or weak.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from diagnose.knowledge.conditions import walk
from diagnose.knowledge.grammar import Grammar, Slots
from diagnose.knowledge.hazards import unguarded
from diagnose.knowledge.model import Cause, Condition, Knowledge
from diagnose.reading.problems import Problem, Where

PARTED_FROM = 3.0
"""Decibans from which a finding parts two causes."""
UNPUBLISHED = ("common practice", "arithmetic", "memory")


def check(knowledge: Knowledge, formulas: str = "") -> list[Problem]:
    """Every problem, sorted. `formulas` is the text of the quantities' formulas, which name terms in quotes."""
    found = [
        *contradicting_words(knowledge), *look_alikes(knowledge), *alike(knowledge), *never_established(knowledge),
        *confirming_nothing(knowledge), *unused_findings(knowledge), *unused_words(knowledge, formulas),
        *undated_sources(knowledge), *unguarded(knowledge),
    ]  # fmt: skip
    return sorted(set(found))


def _advice(where: Where, code: str, says: str, way_out: str) -> Problem:
    return Problem(where, code, says, way_out, "advice")


def conditions(knowledge: Knowledge) -> Iterator[Condition]:
    """Every condition of every card, those inside others too."""
    for f in knowledge.findings.values():
        yield from (*walk(f.when), *walk(f.absent_when))
    for c in knowledge.causes.values():
        for whole in [n.condition for n in c.needs] + [p.when for p in c.common_when]:
            yield from walk(whole)
    for caution in knowledge.cautions.values():
        yield from walk(caution.when)


def chance(knowledge: Knowledge, cause: Cause) -> dict[str, float]:
    """P(finding | this cause alone) for the findings that its card speaks of."""
    return {r.finding: knowledge.words.seen[r.seen] for r in cause.leaves}


def background(knowledge: Knowledge, finding: str) -> float:
    return knowledge.words.seen[knowledge.findings[finding].otherwise]


def decibans(ratio: float) -> float:
    return 10 * math.log10(ratio)


# ---- words that contradict each other ---------------------------------------------------------------------


def contradicting_words(knowledge: Knowledge) -> Iterator[Problem]:
    words = knowledge.words
    lowest, highest = min(words.seen, key=words.seen.__getitem__), max(words.seen, key=words.seen.__getitem__)
    for cause in knowledge.causes.values():
        for row in cause.leaves:
            p, b = words.seen[row.seen], background(knowledge, row.finding)
            otherwise = knowledge.findings[row.finding].otherwise
            if (row.seen == lowest and p >= b) or (row.seen == highest and p <= b):
                yield Problem(row.where, "words-contradict", f"{row.seen!r} stands beside {otherwise!r} whatever the cause: "
                              f"the row would speak {'for' if p >= b else 'against'} the cause",
                              "another word here, or for the finding")  # fmt: skip
        for prior in cause.common_when:
            if words.common[prior.common] == words.common[cause.common]:
                yield Problem(prior.where, "prior-says-nothing", f"{prior.common!r} is how common {cause.name!r} is anyway",
                              "another word, or leave the entry out")  # fmt: skip
    for finding in knowledge.findings.values():
        if words.seen[finding.otherwise] >= words.seen[highest]:
            yield Problem(finding.where, "words-contradict", f"{finding.name!r} is seen {finding.otherwise!r} whatever the "
                          "cause: its presence says nothing", "a lower word under otherwise")  # fmt: skip


# ---- causes that cannot be told apart ---------------------------------------------------------------------


def look_alikes(knowledge: Knowledge) -> Iterator[Problem]:
    for cause in knowledge.causes.values():
        for other in cause.look_alikes:
            if other.cause == cause.name:
                yield Problem(other.where, "look-alike-of-itself", f"{cause.name!r} is named as its own look-alike",
                              "name the other cause")  # fmt: skip
                continue
            against = other.cause if other.favours == cause.name else cause.name
            apart = _apart(knowledge, other.finding, other.favours, against)
            if apart <= 0:
                says = (
                    f"{other.finding!r} does not speak for {other.favours!r} rather than {against!r}: {apart:+.1f} dB"
                )
                yield Problem(other.where, "look-alike-not-parted", says, "another finding, or its rows in both cards")
            elif apart < PARTED_FROM:
                says = f"{other.finding!r} hardly parts {cause.name!r} from {other.cause!r}: {apart:.1f} dB"
                yield _advice(
                    other.where, "look-alike-hardly-parted", says, f"a finding that parts them by {PARTED_FROM:g} dB"
                )


def _apart(knowledge: Knowledge, finding: str, cause: str, rather_than: str) -> float:
    b = background(knowledge, finding)
    p, q = (chance(knowledge, knowledge.causes[c]).get(finding, b) for c in (cause, rather_than))
    return decibans(p / q)


def alike(knowledge: Knowledge) -> Iterator[Problem]:
    """Pairs of causes that no finding parts, present or absent."""
    chances = {name: chance(knowledge, c) for name, c in knowledge.causes.items()}
    base = {f: background(knowledge, f) for f in knowledge.findings}
    for a, b in itertools.combinations(sorted(chances), 2):
        mine, other = chances[a], chances[b]
        for finding in (*mine, *other):
            p, q = mine.get(finding, base[finding]), other.get(finding, base[finding])
            if max(p / q, q / p, (1 - p) / (1 - q), (1 - q) / (1 - p)) >= 2:
                break
        else:
            where = knowledge.causes[b].where
            yield _advice(
                where, "causes-alike", f"no finding parts {b!r} from {a!r}", "a row that only one of them has"
            )


# ---- causes that could never be established -----------------------------------------------------------------


def never_established(knowledge: Knowledge) -> Iterator[Problem]:
    """The most that the words of a card allow: the heaviest finding of each line, all preventing ones absent."""
    words = knowledge.words
    needed = decibans(words.established / (1 - words.established))
    for cause in knowledge.causes.values():
        best: dict[str, float] = {}
        for finding, p in chance(knowledge, cause).items():
            b = background(knowledge, finding)
            weight = max(decibans(p / b), decibans((1 - p) / (1 - b)))
            line = knowledge.findings[finding].line
            best[line] = max(best.get(line, 0.0), weight)
        prior = max(words.common[w] for w in (cause.common, *(p.common for p in cause.common_when)))
        most = decibans(prior / (1 - prior)) + sum(best.values())
        lines = sum(w >= words.line_counts_from for w in best.values())
        if most < needed:
            says = f"all findings of {cause.name!r} together reach {most:+.1f} dB; established takes {needed:+.1f} dB"
            yield _advice(
                cause.where, "never-established", says, "further findings, or a stronger word where the trade has one"
            )
        elif lines < words.lines_needed:
            says = f"{cause.name!r} has {lines} line(s) of evidence that count; established takes {words.lines_needed}"
            yield _advice(cause.where, "never-established", says, "a finding of another line")


def confirming_nothing(knowledge: Knowledge) -> Iterator[Problem]:
    for cause in knowledge.causes.values():
        rows = {r.finding for r in cause.leaves} | {x.finding for x in cause.look_alikes}
        for name in cause.confirm:
            tells = knowledge.measurements[name].tells
            if not rows & set(tells):
                says = f"{name!r} confirms {cause.name!r} but decides none of its findings"
                yield _advice(cause.where, "confirms-nothing", says, f"a row for one of: {', '.join(tells)}")


# ---- things nothing uses ----------------------------------------------------------------------------------


def unused_findings(knowledge: Knowledge) -> Iterator[Problem]:
    used = {c.term for c in conditions(knowledge) if "found" in c.form}
    for cause in knowledge.causes.values():
        used |= {r.finding for r in cause.leaves}
    for finding in knowledge.findings.values():
        if finding.name not in used:
            yield _advice(finding.where, "unused-finding", f"no cause, finding or caution uses {finding.name!r}",
                          "a row on the card of a cause that leaves it")  # fmt: skip


def unused_words(knowledge: Knowledge, formulas: str) -> Iterator[Problem]:
    """Terms that neither a card nor a formula names. A kind is used with every kind above or below it."""
    v = knowledge.vocabulary
    every = list(conditions(knowledge))
    kinds = {c.on for c in every} | {m.part for m in knowledge.measurements.values()}
    for family_of in (v.features, v.readings, v.quantities):
        kinds |= {kind for term in family_of.values() for kind in term.on}
    limits = knowledge.limits.values()
    marks = {c.term for c in every if c.form in ("saw", "absent")}
    marks = {name for name in v.features if marks & set(v.form_lineage[name])} | marks
    said = [slots for c in every if (slots := _statement(c))] + [n.slots for n in v.named_statements if n.feature.name in marks]
    tables: list[tuple[str, Mapping[str, Any], set[str], str]] = [
        ("feature", {n: f for n, f in v.features.items() if not f.form}, marks, "a finding that reads it"),
        ("form", v.forms, {name for name in v.forms if marks & set(v.special[name])}, "a feature that is of this form"),
        ("point", v.grammar.points, _reached(v.grammar, "at", said), "a finding on it"),
        ("act", v.grammar.acts, _reached(v.grammar, "did", said) | {n for n, act in v.grammar.acts.items() if act.setting}, "a finding on it"),
        ("variable", v.grammar.variables, {slots["variable"] for slots in said if "variable" in slots}, "a finding on it"),
        ("setting", v.settings, {c.term for c in every if "setting" in c.form}, "a condition on it"),
        ("quantity", v.quantities, {c.term for c in every if c.form == "quantity"} | {x.quantity for x in limits},
         "a finding or limit on it"),
        ("reading", v.readings, set(), "a quantity that takes it in"),
        ("kind", v.kinds, {k for k in v.kinds if kinds & {*v.lineage[k], *v.under(k)}}, "a condition on it"),
        ("source", knowledge.sources, set(_sources(knowledge)), "name it where it is the source"),
    ]  # fmt: skip
    for family, table, used, way_out in tables:
        for name, term in table.items():
            if name not in used and f'"{name}"' not in formulas:
                yield _advice(term.where, f"unused-{family}", f"nothing uses the {family} {name!r}",
                              f"{way_out}, or take it out")  # fmt: skip


def _statement(c: Condition) -> dict[str, str]:
    """The parts of a state or an act that a condition asks for."""
    key = {"state": "variable", "act": "did"}.get(c.form.removeprefix("not "))
    return {key: c.term, **dict(c.such)} if key else {}


def _reached(grammar: Grammar, family: str, said: Iterable[Slots]) -> set[str]:
    """The words of a family that statements name, with every word above or below one: a record on it is a record on them. An
    act is done to a point as well."""
    named = {word for slots in said for slot, word in slots.items() if slot == family or (family == "at" and slot == "to")}
    return {word for word, line in grammar.lineages[family].items() if named & set(line)
            or any(word in grammar.lineages[family].get(other, ()) for other in named)}  # fmt: skip


def undated_sources(knowledge: Knowledge) -> Iterator[Problem]:
    """Published sources with neither year nor edition and no word on why."""
    for key, s in knowledge.sources.items():
        told = s.year or "edition" in f"{s.title} {s.section}" or "year" in s.seen
        if not told and s.kind not in UNPUBLISHED:
            yield _advice(s.where, "undated-source", f"the source {key!r} has neither year nor edition",
                          "add year, or say under seen that no year was noted")  # fmt: skip


def _sources(knowledge: Knowledge) -> Iterable[str]:
    for section in (knowledge.findings, knowledge.causes, knowledge.measurements, knowledge.cautions):
        for card in section.values():
            yield from card.sources
    for cause in knowledge.causes.values():
        for row in cause.leaves:
            yield from row.sources
    for limit in knowledge.limits.values():
        yield from (v.source for v in limit.values)
    yield from _texts(knowledge.tables)


def _texts(value: Any) -> Iterator[str]:
    if isinstance(value, str):
        yield value
    for inner in value.values() if isinstance(value, Mapping) else value if isinstance(value, list) else ():
        yield from _texts(inner)
