"""Reads what no rule reads: through whose hands the parts went, and what was confirmed in the end."""

from __future__ import annotations

from collections.abc import Iterable

from diagnose.casefile import model as m
from diagnose.casefile.fields import FieldReader
from diagnose.casefile.format import CUSTODY, OUTCOME, is_date, is_time
from diagnose.knowledge.model import Knowledge
from diagnose.reading.located import Node, only_keys
from diagnose.reading.terms import plain


def read_custody(reader: FieldReader, node: Node) -> m.Custody | None:
    only_keys(node, CUSTODY, "an act of custody", reader.problems)
    for key in ("did", "by", "when"):
        reader.text(node, key, needed=True)
    parts = tuple(item.text() for item in node.members("part"))
    for item in parts:
        if item not in reader.parts:
            reader.say((node.get("part") or node).where, "unknown-item", f"no part has the item number {item!r}",
                       reader.problems.near(item, reader.parts) or "add it under parts")  # fmt: skip
    when = reader.text(node, "when")
    if when and not is_time(when):
        reader.say((node.get("when") or node).where, "date", f"{when[:40]!r} is no date",
                   "write 2026-03-12, or with the time of day 2026-03-12 14:30")  # fmt: skip
    did = reader.term("custody", node.get("did"), "act of custody")
    texts = {key: reader.text(node, key) for key in ("by", "from", "to", "where", "bag", "note")}
    return m.Custody(did, parts, texts["by"], texts["from"], texts["to"], when, texts["where"], texts["bag"],
                     texts["note"], node.where) if did else None  # fmt: skip


def read_outcome(reader: FieldReader, node: Node) -> m.Outcome:
    only_keys(node, OUTCOME, "an outcome", reader.problems)
    for key in ("by", "how", "when"):
        reader.text(node, key, needed=True)
    knowledge = reader.knowledge
    roots = tuple(_named(reader, node, "root", knowledge.causes, "cause"))
    mechanisms = tuple(_named(reader, node, "mechanism", knowledge.mechanisms, "mechanism"))
    none, said = reader.choice(node, "none of these", ("true", "false"), "answer") == "true", reader.text(node, "said")
    if not (node.get("root") or node.get("mechanism") or none or said):
        way_out = "root: NAME, mechanism: NAME, or none of these: true and in your own words said: TEXT"
        reader.say(node.where, "outcome", "an outcome says what was confirmed", way_out)
    if roots and none:
        reader.say(node.where, "outcome", "a root cause is confirmed, and none of these", "keep the one that is so")
    when, position = reader.text(node, "when"), reader.text(node, "position")
    if when and not is_date(when):
        reader.say((node.get("when") or node).where, "date", f"{when[:40]!r} is no date", "write it like 2026-03-12")
    if position and position not in reader.positions:
        reader.say((node.get("position") or node).where, "position", f"{position!r} is no position of this seal",
                   f"allowed: {', '.join(reader.positions)}")  # fmt: skip
    changed = tuple(item.text() for item in node.members("changed") if item.text())
    return m.Outcome(
        roots, mechanisms, none, said, position or (reader.positions[0] if len(reader.positions) == 1 else ""),
        reader.text(node, "by"), reader.term("confirmed", node.get("how"), "way to confirm an outcome"), when, changed,
        reader.text(node, "note"), node.where,
    )  # fmt: skip


def card_called(word: str, table: Iterable[str], knowledge: Knowledge) -> str | None:
    """The card that a name, a former name or an id means."""
    names = {plain(name): name for name in table}
    ids = {plain(knowledge.card(name).id): name for name in names.values()}
    found = names.get(plain(knowledge.present_name(word))) or names.get(plain(word))
    return found or ids.get(plain(word))


def _named(reader: FieldReader, node: Node, key: str, table: Iterable[str], what: str) -> Iterable[str]:
    for item in node.members(key):
        name = card_called(item.text(), table, reader.knowledge)
        if name:
            yield name
        else:
            way_out = reader.problems.near(item.text(), table)
            reader.say(item.where, f"unknown-{what}", f"there is no {what} {item.text()!r}",
                       f"{way_out}{' or ' if way_out else ''}say it in your own words under said")  # fmt: skip
