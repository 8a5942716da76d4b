"""Words, terms and sources that nothing uses or that say too little."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from diagnose.authoring.checks.base import Base, advice, sources_of
from diagnose.knowledge.grammar import Grammar, Slots
from diagnose.knowledge.hazards import unguarded
from diagnose.knowledge.model import Condition, Knowledge
from diagnose.reading.problems import Problem

UNPUBLISHED = ("common practice", "arithmetic", "memory")
CODES = {
    "unused-feature": "No condition reads the feature.",
    "unused-form": "No feature that a condition reads is of the form.",
    "unused-point": "No state or act that a condition asks for is at the point.",
    "unused-act": "No condition asks for the act.",
    "unused-variable": "No condition asks for a state of the variable.",
    "unused-setting": "No condition asks for the setting.",
    "unused-quantity": "No finding or limit uses the quantity.",
    "unused-reading": "No quantity takes the reading in.",
    "unused-kind": "No condition, measurement or term names the kind of part.",
    "unused-source": "Nothing names the source.",
    "undated-source": "A published source has neither year nor edition and no word on why.",
    "judgement-unsaid": "Rows or links without a source of their own stand on a card that does not say it rests on judgement.",
    "caution-not-named": "A step of work that can hurt does not name the caution for it.",
}


def problems(base: Base) -> Iterator[Problem]:
    yield from unused_words(base)
    yield from undated_sources(base.knowledge)
    yield from judgement_unsaid(base)
    yield from unguarded(base.knowledge)


def judgement_unsaid(base: Base) -> Iterator[Problem]:
    """Once a card: what has no source of its own rests on judgement, and the card says so by one of its sources."""
    for card in base.cards:
        said = [r.sources for r in card.leaves] + [x.sources for x in card.brings_about]
        bare = sum(not sources for sources in said)
        if bare and not any(base.knowledge.sources[s].kind in UNPUBLISHED for s in card.sources):
            yield advice(card.where, "judgement-unsaid", f"{bare} of {len(said)} rows and links of {card.name!r} name no source",
                         "a source for each, or one of judgement on the card")  # fmt: skip


def unused_words(base: Base) -> Iterator[Problem]:
    """Terms that neither a card nor a formula names. A kind is used with every kind above or below it."""
    knowledge = base.knowledge
    v, every = knowledge.vocabulary, base.conditions
    kinds = {c.on for c in every} | {m.part for m in knowledge.measurements.values()}
    for family_of in (v.features, v.readings, v.quantities):
        kinds |= {kind for term in family_of.values() for kind in term.on}
    limits = knowledge.limits.values()
    marks = {c.term for c in every if c.form in ("saw", "absent")}
    marks = {name for name in v.features if marks & set(v.form_lineage[name])} | marks
    said = [slots for c in every if (slots := _statement(c))] + [
        n.slots for n in v.named_statements if n.feature.name in marks
    ]
    tables: list[tuple[str, Mapping[str, Any], set[str], str]] = [
        ("feature", {n: f for n, f in v.features.items() if not f.form}, marks, "a finding that reads it"),
        ("form", v.forms, {name for name in v.forms if marks & set(v.special[name])}, "a feature that is of this form"),
        ("point", v.grammar.points, _reached(v.grammar, "at", said), "a finding on it"),
        ("act", v.grammar.acts, _reached(v.grammar, "did", said) | {n for n, act in v.grammar.acts.items() if act.setting}, "a finding on it"),
        ("variable", v.grammar.variables, {slots["variable"] for slots in said if "variable" in slots}, "a finding on it"),
        ("setting", v.settings, {c.term for c in every if "setting" in c.form}, "a condition on it"),
        ("quantity", v.quantities, {c.term for c in every if c.form == "quantity"} | {x.quantity for x in limits},
         "a finding or limit on it"),
        ("reading", v.readings, {t for q in v.quantities.values() for t in (q.name, *q.takes)}, "a quantity that takes it in"),
        ("kind", v.kinds, {k for k in v.kinds if kinds & {*v.lineage[k], *v.under(k)}}, "a condition on it"),
        ("source", knowledge.sources, {*sources_of(knowledge), *_texts(knowledge.tables)}, "name it where it is the source"),
    ]  # fmt: skip
    for family, table, used, way_out in tables:
        for name, term in table.items():
            if name not in used and f'"{name}"' not in base.formulas:
                yield advice(term.where, f"unused-{family}", f"nothing uses the {family} {name!r}",
                              f"{way_out}, or take it out")  # fmt: skip


def _statement(c: Condition) -> dict[str, str]:
    """The parts of a state or an act that a condition asks for."""
    key = {"state": "variable", "act": "did"}.get(c.form.removeprefix("not "))
    return {key: c.term, **dict(c.such)} if key else {}


def _reached(grammar: Grammar, family: str, said: Iterable[Slots]) -> set[str]:
    """The words of a family that statements name, with every word above or below one: a record on it is a record on them. An
    act is done to a point as well."""
    named = {
        word for slots in said for slot, word in slots.items() if slot == family or (family == "at" and slot == "to")
    }
    return {word for word, line in grammar.lineages[family].items() if named & set(line)
            or any(word in grammar.lineages[family].get(other, ()) for other in named)}  # fmt: skip


def undated_sources(knowledge: Knowledge) -> Iterator[Problem]:
    """Published sources with neither year nor edition and no word on why."""
    for key, s in knowledge.sources.items():
        told = s.year or "edition" in f"{s.title} {s.section}" or "year" in s.seen
        if not told and s.kind not in UNPUBLISHED:
            yield advice(s.where, "undated-source", f"the source {key!r} has neither year nor edition",
                          "add year, or say under seen that no year was noted")  # fmt: skip


def _texts(value: Any) -> Iterator[str]:
    if isinstance(value, str):
        yield value
    for inner in value.values() if isinstance(value, Mapping) else value if isinstance(value, list) else ():
        yield from _texts(inner)
