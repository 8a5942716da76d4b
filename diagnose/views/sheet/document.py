"""Paper: its sizes, and a document that needs nothing from outside and runs nothing."""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from importlib import resources

from diagnose.views.drawings.markup import Markup, el

MARGIN = 10.0


@dataclass(frozen=True)
class Paper:
    """Millimetres inside the margins."""

    width: float
    height: float


PAPERS: Mapping[str, Paper] = {"A4": Paper(190.0, 277.0), "Letter": Paper(195.9, 259.4)}
"""ISO 216 A4 is 210 by 297 mm, Letter 8.5 by 11 in; both less a margin of 10 mm all round."""


def document(title: str, pages: Sequence[Markup], style: str, role: str, size: Paper | None = None) -> str:
    """A page of HTML; `style` is what this one adds."""
    given = f"{resources.files('diagnose.views.sheet').joinpath('style.css').read_text('utf-8')}{style}\n"
    if size:
        given += f".page{{width:{size.width:g}mm;height:{size.height:g}mm}}\n"
    policy = f"default-src 'none'; style-src 'sha256-{base64.b64encode(hashlib.sha256(given.encode()).digest()).decode()}'; base-uri 'none'; form-action 'none'"
    head = el(
        "head", el("meta", charset="utf-8"), el("meta", http_equiv="Content-Security-Policy", content=policy),
        el("meta", name="viewport", content="width=device-width, initial-scale=1"), el("link", rel="icon", href="data:,"),
        el("title", title), Markup(f"<style>{given}</style>"),
    )  # fmt: skip
    return f"<!doctype html>\n{el('html', head, el('body', pages, class_=role), lang='en')}\n"
