"""The page of verify: whether a trail reproduces."""

from __future__ import annotations

from typing import Any

from diagnose.views.page import Page
from diagnose.views.reasoning.common import STEP

Doc = dict[str, Any]


def verify(answer: Doc, page: Page) -> Page:
    if answer["exact"]:
        page.say(f"{answer['trail']}: reproduces exactly.")
    else:
        page.say(f"{answer['trail']}: differs.")
        for d in answer["differs"][:40]:
            page.say(d["says"], indent=STEP, lead=f"{d['what']}: ", hang=4)
        if len(answer["differs"]) > 40:
            page.say(f"and {len(answer['differs']) - 40} more; --json has them all", indent=STEP)
    page.line(page.dim(f"case {answer['case_digest'][:12]}, rule base {answer['knowledge_digest'][:12]}"))
    return page
