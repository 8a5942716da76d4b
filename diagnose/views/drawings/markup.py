"""Markup from plain values. Every text is escaped unless it is markup already, so nothing recorded can become markup."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from html import escape
from typing import Any

from diagnose.reading.terms import HIDDEN

_EMPTY = ("img", "meta", "link", "br", "hr")


class Markup(str):
    """Text that is markup and goes out as it is."""


@dataclass(frozen=True)
class Drawing:
    """A picture, and the same in words."""

    svg: Markup
    says: str


def plain(value: object) -> str:
    """The value as text, unseen characters shown as a replacement mark."""
    return HIDDEN.sub("\ufffd", str(value))


def text(value: object) -> Markup:
    """The value as markup: itself if it is markup, escaped if not."""
    return value if isinstance(value, Markup) else Markup(escape(plain(value)))


def join(*children: object) -> Markup:
    return Markup("".join(text(c) for c in _flat(children)))


def el(name: str, /, *children: object, **attributes: object) -> Markup:
    """An element. `class_` is class, `data_x` is data-x; an attribute of None or False is left out, True stands bare."""
    told = "".join(_attribute(k, v) for k, v in attributes.items() if v is not None and v is not False)
    return Markup(f"<{name}{told}>" if name in _EMPTY else f"<{name}{told}>{join(*children)}</{name}>")


def number(value: float) -> str:
    """A coordinate: two decimals at most, the same on every machine."""
    written = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if written == "-0" else written


def _attribute(name: str, value: object) -> str:
    name = name.rstrip("_").replace("_", "-")
    written = number(value) if isinstance(value, float) else plain(value)
    return f" {name}" if value is True else f' {name}="{escape(written)}"'


def _flat(children: Iterable[Any]) -> Iterable[object]:
    for c in children:
        if isinstance(c, (list, tuple)):
            yield from _flat(c)
        elif c is not None and c is not False:
            yield c
