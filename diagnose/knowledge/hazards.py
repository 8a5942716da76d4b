"""Reads `hazards.yaml`, and holds every measurement and action to it: a step that can hurt names its cautions."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator, Mapping
from functools import lru_cache

from diagnose.knowledge import model as m
from diagnose.knowledge.card_reader import CardReader
from diagnose.reading.located import Node, only_keys
from diagnose.reading.problems import Problem, Where

FILE = "hazards.yaml"
_KEYS = ["means", "words", "but not", "stages", "cautions"]


def read_hazards(
    reader: CardReader, vocabulary: m.Vocabulary, cautions: Mapping[str, m.Caution]
) -> dict[str, m.Hazard]:  # fmt: skip
    """The hazards by name; mistakes are added to the reader's problems. The file may be left out."""
    if FILE not in reader.nodes:
        return {}
    result = {}
    section = reader.section(FILE, "hazards")
    given = reader.nodes[FILE].get("hazards")
    if given is None or not given.value:
        reader.say(
            section.where, "missing-key", "the file names no hazard", "hazards: {NAME: {means: ..., words: [...], ...}}"
        )
    for name, node in section.items():
        only_keys(node, _KEYS, f"the hazard {name!r}", reader.problems)
        hazard = m.Hazard(
            name, reader.text(node, "means", True), reader.texts(node, "words"), reader.texts(node, "but not"),
            reader.known(node, "stages", vocabulary.stages, "stage"),
            reader.known(node, "cautions", cautions, "caution"), node.where,
        )  # fmt: skip
        _refuse_idle(reader, node, hazard)
        result[name] = hazard
    return result


def _refuse_idle(reader: CardReader, node: Node, hazard: m.Hazard) -> None:
    if not any(_listed(node, key) for key in ("words", "stages")):
        reader.say(
            node.where, "missing-key", f"nothing tells the hazard {hazard.name!r}", "words: [...] or stages: [...]"
        )
    if not _listed(node, "cautions"):
        reader.say(node.where, "missing-key", f"the hazard {hazard.name!r} asks for no caution", "cautions: [...]")
    for word in (*hazard.words, *hazard.but_not):
        if not re.search(r"\w", word):
            reader.say(node.where, "hazard-word", f"{word!r} has no letter to be known by", "write a word or a phrase")


def _listed(node: Node, key: str) -> list[Node]:
    value = node.get(key)
    return list(value.each()) if value else []


def hazards_of(knowledge: m.Knowledge, text: str, stage: str = "") -> Iterator[tuple[m.Hazard, str]]:
    """The hazards of a step, each with the word or stage that tells it. A stage tells before the text does."""
    words = _spelled(text)
    for hazard in knowledge.hazards.values():
        left = _matcher(hazard.but_not).sub(" / ", words) if hazard.but_not else words
        found = _matcher(hazard.words).search(left) if hazard.words else None
        if stage in hazard.stages:
            yield hazard, stage
        elif found:
            yield hazard, found[0]


def unguarded(knowledge: m.Knowledge) -> Iterator[Problem]:
    """Steps that do not name the cautions which their words or stage ask for, and plain looks that need other cautions
    than those that always stand."""
    for card in knowledge.measurements.values():
        text = f"{card.how} / {card.instrument}"
        yield from _missing(knowledge, f"the measurement {card.name!r}", text, card.stage, card.cautions, card.where)
    for name, action in _actions(knowledge):
        text = f"{action.do} / {action.worked_if}"
        yield from _missing(knowledge, f"this action against {name!r}", text, "", action.cautions, action.where)

    for feature in knowledge.vocabulary.features.values():
        yield from _no_plain_look(knowledge, f"how to see {feature.name!r}", feature.how, feature.where)
    for step in knowledge.arrangements.steps:
        for text in (step.do, *(look.how for look in step.looks)):
            yield from _no_plain_look(knowledge, f"the step {step.name!r}", text, step.where)


def _actions(knowledge: m.Knowledge) -> Iterator[tuple[str, m.Action]]:
    """Every action with the name of its card."""
    for card in (*knowledge.mechanisms.values(), *knowledge.causes.values()):
        for action in card.then:
            yield card.name, action


def _no_plain_look(knowledge: m.Knowledge, what: str, text: str, where: Where) -> Iterator[Problem]:
    for hazard, told_by in hazards_of(knowledge, text):
        needed = [name for name in hazard.cautions if not knowledge.cautions[name].always]
        if needed:
            says = f"{what} is {hazard.name} ({told_by!r}), and a plain look names no cautions: {', '.join(needed)}"
            yield Problem(where, "caution-not-named", says, "a look without it, or a measurement that names them")


def _missing(
    knowledge: m.Knowledge, what: str, text: str, stage: str, named: Collection[str], where: Where
) -> Iterator[Problem]:  # fmt: skip
    for hazard, told_by in hazards_of(knowledge, text, stage):
        lacking = [name for name in hazard.cautions if name not in named]
        if lacking:
            says = f"{what} is {hazard.name} ({told_by!r}) and does not name: {', '.join(lacking)}"
            yield Problem(where, "caution-not-named", says, f"cautions: [{', '.join((*named, *lacking))}]")


def _spelled(text: str) -> str:
    """Small letters, hyphens and single spaces, with nothing else between words."""
    return " ".join(re.sub(r"[^\w/*-]+", " ", text.lower()).split())


@lru_cache(maxsize=256)
def _matcher(phrases: tuple[str, ...]) -> re.Pattern[str]:
    spelled = (re.escape(_spelled(p)).replace(r"\*", r"[\w-]*") for p in phrases)
    return re.compile(rf"(?<![\w-])(?:{'|'.join(spelled)})(?![\w-])")
