"""Reads `teardown.yaml`: what people do to a seal as they take it apart, how long it takes, what it ends and what it keeps."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from typing import TYPE_CHECKING

from msgspec import field

from diagnose.reading.entry import NOWHERE, Entry
from diagnose.reading.located import Node, only_keys
from diagnose.reading.problems import Where
from diagnose.reading.terms import did_you_mean

if TYPE_CHECKING:
    from diagnose.knowledge.reader import Reader
    from diagnose.knowledge.vocabulary import Vocabulary

FILE = "teardown.yaml"
SAID = ("look", "ask", "measure")
KEEPS = ("clock", "place", "sight")
YES = {"true": True, "false": False, "": False}
ACT_KEYS = ("also", "means", "of", "minutes", "each", "needs", "ends", "keeps", "frees", "heaps")
KEYS = ("acts", "said", "photograph shows", "in view", "asked", "alike", "reading")


class Handling(Entry, frozen=True):
    """Something done to parts, or to the seal as a whole where `of` is empty and it is not done to `each`. `needs`: the
    stage that must have come; `ends`: the stage after which what it lost is gone. `keeps`: the clock position, which part
    it is (place), or what a photograph shows (sight). `frees`: kinds of which unmarked parts have no clock any more.
    `heaps`: the parts then lie together."""

    name: str
    also: tuple[str, ...] = ()
    means: str = ""
    of: tuple[str, ...] = ()
    minutes: float = 0.0
    each: bool = False
    needs: str = ""
    ends: str = ""
    keeps: tuple[str, ...] = ()
    frees: tuple[str, ...] = ()
    heaps: bool = False
    where: Where = NOWHERE


class Teardown(Entry, frozen=True):
    """`said`: how people say that they look, ask or measure; `shows`: forms that a photograph keeps; `in_view`: the stage from which a kind can be seen whole; `asked`: kinds
    that people are asked about, beside those of `looks.yaml`; `alike`: kinds whose untagged parts nobody can tell apart; `reading`: minutes of a
    plain reading."""

    acts: Mapping[str, Handling] = field(default_factory=dict)
    shows: tuple[str, ...] = ()
    in_view: Mapping[str, str] = field(default_factory=dict)
    asked: tuple[str, ...] = ()
    alike: tuple[str, ...] = ()
    reading: float = 5.0
    said: Mapping[str, tuple[str, ...]] = field(default_factory=dict)


def in_view(teardown: Teardown, words: Vocabulary, kind: str) -> int:
    """The place of the stage from which a kind can be seen whole."""
    table = teardown.in_view
    return next((words.stages.index(table[k]) for k in words.lineage.get(kind, ()) if k in table), 0)


def seen_from(teardown: Teardown, words: Vocabulary, kind: str, last: str) -> int:
    """The place of the stage from which something can be seen whose last stage is given: what must be looked for before
    its part is in view whole is to be seen where it is, on the machine or off it."""
    stages, whole = words.stages, in_view(teardown, words, kind)
    if last not in stages or stages.index(last) >= whole:
        return whole
    off = max((stages.index(a.needs) for a in teardown.acts.values() if a.needs and not a.each), default=0)
    return off if stages.index(last) >= off else 0


def read_teardown(reader: Reader, vocabulary: Vocabulary) -> Teardown:
    """The acts of taking a seal apart; mistakes are added to the reader's problems. The file may be left out."""
    node = reader.nodes.get(FILE)
    if node is None:
        return Teardown()
    only_keys(node, list(KEYS), FILE, reader.problems)
    acts = {name: _handling(reader, name, n, vocabulary) for name, n in (node.get("acts") or _nothing(node)).items()}
    spoken: dict[str, str] = {}
    for act in acts.values():
        for text in (act.name, *act.also):
            if text in spoken:
                reader.say(act.where, "twice", f"{text!r} already says {spoken[text]!r}", "say one of them otherwise")
            spoken[text] = act.name
    in_view = _nothing(node) if node.get("in view") is None else node.get("in view")
    assert in_view is not None
    for kind, stage in in_view.items():
        _known(reader, stage, kind, vocabulary.kinds, "kind")
    said = node.get("said") or _nothing(node)
    only_keys(said, list(SAID), "'said'", reader.problems)
    return Teardown(
        acts, reader.known(node, "photograph shows", vocabulary.features, "feature"),
        {kind: reader.word(in_view, kind, vocabulary.stages, "stage") for kind, _ in in_view.items()},
        reader.known(node, "asked", vocabulary.kinds, "kind"), reader.known(node, "alike", vocabulary.kinds, "kind"),
        _minutes(reader, node, "reading"), {verb: reader.texts(said, verb) for verb, _ in said.items() if verb in SAID},
    )  # fmt: skip


def _handling(reader: Reader, name: str, node: Node, vocabulary: Vocabulary) -> Handling:
    only_keys(node, list(ACT_KEYS), f"the act {name!r}", reader.problems)
    return Handling(
        name, reader.texts(node, "also"), reader.text(node, "means", True),
        reader.known(node, "of", vocabulary.kinds, "kind"), _minutes(reader, node, "minutes"), _yes(reader, node, "each"),
        reader.word(node, "needs", vocabulary.stages, "stage", False),
        reader.word(node, "ends", vocabulary.stages, "stage", False),
        reader.known(node, "keeps", KEEPS, "thing to keep"),
        reader.known(node, "frees", vocabulary.kinds, "kind"), _yes(reader, node, "heaps"), node.where,
    )  # fmt: skip


def _minutes(reader: Reader, node: Node, key: str) -> float:
    minutes = reader.number(node, key)
    if not 0 < minutes < 1e4:
        reader.say((node.get(key) or node).where, "number", f"{key!r} must lie between 0 and 10000 minutes")
    return minutes


def _yes(reader: Reader, node: Node, key: str) -> bool:
    said = reader.text(node, key)
    if said not in YES:
        reader.say((node.get(key) or node).where, "unknown-word", f"{key!r} is true or false, not {said!r}")
    return YES.get(said, False)


def _known(reader: Reader, node: Node, name: str, names: Collection[str], what: str) -> None:
    if name not in names:
        reader.say(node.where, f"unknown-{what}", f"there is no {what} {name!r}", did_you_mean(name, names))


def _nothing(node: Node) -> Node:
    return Node({}, node.where)
