"""Carries a case file over to the words now in use: only what must change is changed, everything else stays as written."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import yaml

from diagnose.casefile.format import SECTIONS, TRAITS
from diagnose.knowledge.grammar import Moved
from diagnose.knowledge.model import Vocabulary

MapNode, ListNode, TextNode = yaml.MappingNode, yaml.SequenceNode, yaml.ScalarNode


@dataclass(frozen=True)
class Carried:
    """The text as it should be, and each change in a sentence with the line it was on."""

    text: str
    changes: tuple[tuple[int, str], ...]


@dataclass(frozen=True)
class _Edit:
    start: int
    end: int
    new: str


def carried_over(text: str, vocabulary: Vocabulary) -> Carried:
    """The text of a readable case file with old terms written as the observations in their place. Reading the one or the
    other gives the same case."""
    root = yaml.compose(text, yaml.SafeLoader)
    if not isinstance(root, MapNode):
        return Carried(text, ())
    found = list(_old_terms(root, vocabulary))
    if not found:
        return Carried(text, ())
    old = {id(item) for _, _, item, _, _ in found}
    edits = [edit for section in root.value if isinstance(section[1], MapNode) for edit in _without(text, section, old)]
    told = _told(root, vocabulary)
    entries = [f"{{{state}: {moved.saw}, on: {moved.on}}}" for _, _, _, moved, holds in found
               if ((state := "saw" if holds else "absent"), moved.saw) not in told]  # fmt: skip
    if entries:
        edits.append(_with_observations(root, list(dict.fromkeys(entries)), text))
    for edit in sorted(edits, key=lambda e: e.start, reverse=True):
        text = text[: edit.start] + edit.new + text[edit.end :]
    says = [(item.start_mark.line + 1, f"{moved.setting}: {'' if holds else 'not '}{item.value} is written as the observation "
             f"{moved.saw!r}{'' if holds else ', absent'}") for _, _, item, moved, holds in found]  # fmt: skip
    return Carried(text, tuple(sorted(says)))


def _old_terms(root: Any, vocabulary: Vocabulary) -> Iterator[tuple[Any, tuple[Any, Any], Any, Moved, bool]]:
    """(mapping, its entry, the node of the term, what it has become, whether it holds) for each old term of a case."""
    for section, mapping in root.value:
        if section.value not in SECTIONS or not isinstance(mapping, MapNode):
            continue
        for key, value in mapping.value:
            bare = key.value.removeprefix("not ")
            name = vocabulary.find("setting", TRAITS[section.value] if bare in ("is", "is not") else bare)
            holds = not (key.value.startswith("not ") or bare == "is not")
            for item in value.value if isinstance(value, ListNode) else [value]:
                moved = vocabulary.grammar.moved_from(name or "", item.value) if isinstance(item, TextNode) else None
                if moved:
                    yield mapping, (key, value), item, moved, holds


def _told(root: Any, vocabulary: Vocabulary) -> set[tuple[str, str | None]]:
    """(saw or absent, feature) of every observation in the file."""
    entries: list[Any] = next(
        (v.value for k, v in root.value if k.value == "observations" and isinstance(v, ListNode)), []
    )
    return {(k.value, vocabulary.find("feature", v.value)) for e in entries if isinstance(e, MapNode) for k, v in e.value
            if isinstance(v, TextNode)}  # fmt: skip


def _without(text: str, section: tuple[Any, Any], old: set[int]) -> Iterator[_Edit]:
    """Takes old terms out of a section, and with them what they leave empty."""
    left = [(k, v, _left(v, old)) for k, v in section[1].value]
    if all(kept == _items(v) for _, v, kept in left):
        return
    if section[1].flow_style:
        entries = [_entry(text, k, v, kept) for k, v, kept in left if kept]
        yield _Edit(section[1].start_mark.index, section[1].end_mark.index, "{" + ", ".join(entries) + "}")
    elif not any(kept for _, _, kept in left):
        yield _lines(text, section[0].start_mark.index, _end(section[1]))
    else:
        for k, v, kept in left:
            if not kept:
                yield _lines(text, k.start_mark.index, _end(v))
            elif kept != _items(v) and v.flow_style:
                yield _Edit(k.start_mark.index, v.end_mark.index, _entry(text, k, v, kept))
            elif kept != _items(v):
                yield from (_lines(text, x.start_mark.index, x.end_mark.index) for x in v.value if id(x) in old)


def _items(value: Any) -> list[Any]:
    return list(value.value) if isinstance(value, ListNode) else [value]


def _left(value: Any, old: set[int]) -> list[Any]:
    return [x for x in _items(value) if id(x) not in old]


def _entry(text: str, key: Any, value: Any, kept: list[Any]) -> str:
    """An entry as written, or with what is left of its list."""
    if kept == _items(value):
        return text[key.start_mark.index : value.end_mark.index]
    return f"{key.value}: [{', '.join(text[x.start_mark.index : x.end_mark.index] for x in kept)}]"


def _end(node: Any) -> int:
    """Where a node's last word ends; a block's own mark lies behind the blank lines after it."""
    while not isinstance(node, TextNode) and not node.flow_style and node.value:
        node = node.value[-1][1] if isinstance(node, MapNode) else node.value[-1]
    return int(node.end_mark.index)


def _lines(text: str, start: int, end: int) -> _Edit:
    """The whole lines from a place to another; a remark behind them stays."""
    first, stop = text.rfind("\n", 0, start) + 1, text.find("\n", end)
    stop = len(text) if stop < 0 else stop + 1
    remark = text[end:stop].lstrip()
    return _Edit(first, stop, " " * (start - first) + remark if remark.startswith("#") else "")


def _with_observations(root: Any, entries: list[str], text: str) -> _Edit:
    """Puts entries before the first observation, under the key where none follows it, or at the end of the file."""
    at: tuple[Any, Any] = next(((k, v) for k, v in root.value if k.value == "observations"), (None, None))
    key, value = at
    listed = "".join(f"\n  - {e}" for e in entries)
    if value is None:
        end = "" if text.endswith("\n") else "\n"
        return _Edit(len(text), len(text), f"{end}observations:{listed}\n")
    if not isinstance(value, ListNode):
        behind = text.index(":", key.end_mark.index) + 1
        return _Edit(behind, max(behind, value.end_mark.index), listed)
    place = value.start_mark.index
    if value.flow_style:
        return _Edit(place + 1, place + 1, "".join(f"{e}, " for e in entries))
    indent = " " * value.start_mark.column
    return _Edit(place, place, "".join(f"- {e}\n{indent}" for e in entries))
