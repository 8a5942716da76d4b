"""Reads `at-odds.yaml`: what does not go together on record, beside what rules and vocabulary say of it themselves."""

from __future__ import annotations

from diagnose.knowledge import model as m
from diagnose.knowledge.card_reader import CardReader
from diagnose.knowledge.conditions import ConditionReader
from diagnose.reading.located import Node, only_keys
from diagnose.reading.terms import did_you_mean

FILE = "at-odds.yaml"


def read_at_odds(reader: CardReader, conditions: ConditionReader) -> tuple[m.AtOdds, ...]:
    """Mistakes are added to the reader's problems; the file may be left out."""
    node, kinds = reader.nodes.get(FILE), conditions.vocabulary.kinds
    if node is None:
        return ()
    only_keys(node, ["at odds", "counted by"], FILE, reader.problems)

    def read(item: Node) -> m.AtOdds | None:
        only_keys(item, ["when", "beside"], "what is at odds", reader.problems)
        when = conditions.read(item.get("when"))
        if item.get("when") is None:
            reader.say(item.where, "missing-key", "the key 'when' is missing")
        return m.AtOdds(when, reader.known(item, "beside", kinds, "kind"), item.where) if when else None

    return tuple(x for x in reader.each(node, "at odds", read) if x)


def read_counted_by(reader: CardReader, vocabulary: m.Vocabulary) -> dict[str, str]:
    """For a kind of part, the figure of the case that tells how many there are."""
    counted = reader.nodes[FILE].get("counted by") if FILE in reader.nodes else None
    figures = [name for name, reading in vocabulary.readings.items() if reading.section]
    found: dict[str, str] = {}
    for kind, value in counted.items() if counted else ():
        if kind not in vocabulary.kinds:
            reader.say(value.where, "unknown-kind", f"there is no kind {kind!r}", did_you_mean(kind, vocabulary.kinds))
        if counted and (named := reader.known(counted, kind, figures, "figure")):
            found[kind] = named[0]
    return found
