"""What the pages of the reasoning commands share: heads, states, rules with their conditions, records."""

from __future__ import annotations

import math
from typing import Any

from diagnose.reading.figures import percent, signed
from diagnose.views.page import Page

Doc = dict[str, Any]
STEP = 2
KINDS = {"cause": "root cause", "mechanism": "mechanism"}


def odds(ratio: float) -> str:
    """Odds as people say them."""
    if ratio >= 1:
        return f"{_figure(ratio)} to 1"
    return f"1 to {_figure(1 / ratio)}"


def _figure(x: float) -> str:
    if x >= 1e6:
        return f"10^{math.floor(math.log10(x))}"
    return f"{x:,.0f}" if x >= 10 else f"{x:.2g}"


def option(change: Doc) -> str:
    """A change as it is written on the command line."""
    return f'--{change["kind"]} "{change["text"]}"'


def at_seal(position: str) -> str:
    return "" if position == "seal" else f", {position} seal"


def head(answer: Doc, page: Page) -> None:
    """Name and kind on the left, standing and probability on the right."""
    chance = "" if answer["standing"] == "ruled out" else f", {percent(answer['probability'])}"
    name = f"{answer['name']}{at_seal(answer['position'])} ({KINDS[answer['kind']]})"
    page.ends(name, f"{answer['standing']}{chance}", bold=True)


def finding_head(answer: Doc, page: Page) -> None:
    page.ends(f"{answer['finding']}{at_seal(answer['position'])}", answer["state"], bold=True)
    page.say(answer["says"], indent=STEP)


def entry(page: Page, weight: float, text: str, indent: int = 2) -> None:
    page.say(text, lead=f"{'':{indent}}{signed(weight):>6}  ", hang=indent + 8)


def state(e: Doc) -> str:
    return str(e["finding"]) if e["state"] != "absent" else f"{e['finding']}: looked for, not so"


def path(names: list[str]) -> str:
    return " > ".join(names)
