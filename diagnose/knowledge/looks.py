"""Reads `looks.yaml`: what planning reckons with for plain looks and questions."""

from __future__ import annotations

from collections.abc import Collection

from diagnose.knowledge import model as m
from diagnose.knowledge.card_reader import CardReader
from diagnose.reading.located import Node, only_keys
from diagnose.reading.terms import did_you_mean

FILE = "looks.yaml"
WAYS = ("look", "question", "number", "between limits")


def read_looks(reader: CardReader, vocabulary: m.Vocabulary) -> m.Looks:
    """The figures of planning; mistakes are added to the reader's problems. The file may be left out."""
    node = reader.nodes.get(FILE)
    if node is None:
        return m.Looks()
    only_keys(node, ["minutes", "asked", "cannot tell", "worth", "mechanisms", "reckoned with"], FILE, reader.problems)
    minutes = _numbers(reader, node, "minutes", vocabulary.kinds, "kind", 1e4)
    for name, lineage in vocabulary.lineage.items():
        if not any(kind in minutes for kind in lineage):
            reader.say((node.get("minutes") or node).where, "no-minutes", f"no minutes for a look at {name!r}",
                       f"give them for one of: {', '.join(lineage)}")  # fmt: skip
    cannot_tell = _numbers(reader, node, "cannot tell", WAYS, "way of looking", 1)
    for way in WAYS:
        if way not in cannot_tell:
            reader.say((node.get("cannot tell") or node).where, "missing-key", f"the key {way!r} is missing")
    return m.Looks(
        minutes, reader.known(node, "asked", vocabulary.kinds, "kind"), cannot_tell,
        _number(reader, node, "worth", 10), _number(reader, node, "mechanisms", 1), _number(reader, node, "reckoned with", 1),
    )  # fmt: skip


def _numbers(
    reader: CardReader, node: Node, key: str, names: Collection[str], what: str, below: float
) -> dict[str, float]:
    table = node.get(key) or Node({}, node.where)
    for name, value in table.items():
        if name not in names:
            reader.say(value.where, f"unknown-{what.replace(' ', '-')}", f"there is no {what} {name!r}",
                       did_you_mean(name, names))  # fmt: skip
    return {name: _number(reader, table, name, below) for name, _ in table.items()}


def _number(reader: CardReader, node: Node, key: str, below: float) -> float:
    number = reader.number(node, key)
    if not 0 < number < below:
        reader.say((node.get(key) or node).where, "number", f"{key!r} must lie between 0 and {below:g}")
    return number
