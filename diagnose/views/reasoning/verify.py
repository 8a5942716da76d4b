"""The page of verify: the verdict, then what changed in record, rules and tool, in the order in which it mattered."""

from __future__ import annotations

from typing import Any

from diagnose.reading.figures import count
from diagnose.views.page import Page
from diagnose.views.reasoning.common import STEP

MOST_CARDS, MOST_LINES, MOST_OTHERS = 8, 8, 12
FIRST = ("standing", "findings", "recorded", "settings", "quantities")
"""Of what reads otherwise, this is told first."""
Doc = dict[str, Any]


def verify(answer: Doc, page: Page) -> Page:
    page.title(answer["trail"])
    page.say(answer["says"])
    for fault in answer["faults"][1 : MOST_OTHERS + 1]:
        page.say(fault, indent=STEP, lead="- ", hang=4)
    _more(answer["faults"][1:], MOST_OTHERS, page)
    changes = answer["changes"]
    if changes["record"]:
        page.heading("What changed in the record")
        _listed(changes["record"], page)
    if changes["rules"]:
        _rules(answer, page)
    if changes["tool"]:
        page.heading("The tool then and now")
        _listed(changes["tool"], page)
    if answer["differs"]:
        count = len(answer["differs"])
        page.heading(
            f"In between {count} {'entry reads' if count == 1 else 'entries read'} otherwise; --json has them all"
        )
        told = sorted(answer["differs"], key=lambda d: FIRST.index(d["what"]) if d["what"] in FIRST else len(FIRST))
        _listed([f"{d['what']}: {d['says']}" for d in told], page, 6)
    _foot(answer, page)
    return page


def _rules(answer: Doc, page: Page) -> None:
    rows = answer["changes"]["rules"]
    mattered = [r for r in rows if r["moved"]]
    page.heading(f"What changed in the rules: {count(len(rows), 'file')}; those first that moved the answer most")
    if not answer["rules_of_then"]:
        page.say(f"This trail carries no rules, being of format {answer['format']}: only the names of the files can be told. Name "
                 "the revision or folder it was made with to see the cards: --made-with REVISION", indent=STEP)  # fmt: skip
    for row in mattered[:MOST_CARDS]:
        page.say(f"{row['file']} {_how(row)}: {row['without']}", indent=STEP, hang=4)
        _listed(row["lines"], page, MOST_LINES, 4)
    others = [r for r in rows if r not in mattered[:MOST_CARDS]]
    if others:
        names = "; ".join(f"{r['file']} {_how(r)}" for r in others[:MOST_OTHERS])
        more = f"; and {len(others) - MOST_OTHERS} more" if len(others) > MOST_OTHERS else ""
        lead = "did not move it alone, or less: " if answer["rules_of_then"] else ""
        page.say(f"{names}{more}", indent=STEP, lead=lead, hang=4)


def _how(row: Doc) -> str:
    return "has changed" if row["how"] == "changed" else f"is {row['how']}"


def _listed(lines: list[str], page: Page, most: int = MOST_OTHERS, indent: int = STEP) -> None:
    for line in lines[:most]:
        page.say(line, indent=indent, hang=indent + 2)
    _more(lines, most, page, indent)


def _more(lines: list[str], most: int, page: Page, indent: int = STEP) -> None:
    if len(lines) > most:
        page.say(f"and {len(lines) - most} more; --json has them all", indent=indent)


def _foot(answer: Doc, page: Page) -> None:
    page.line()
    if answer["journal"]:
        page.say(answer["journal"])
    for word, side in (("made with", "made_with"), ("replayed with", "replayed_with")):
        told = answer[side]
        revision = f", revision {told['revision'][:12]}{told['revision'][40:]}" if told["revision"] else ""
        page.line(
            page.dim(f"{word:<13} rule base {told['version']} ({told['digest'][:12]}){revision}, tool {told['tool']}")
        )
    page.line(page.dim(f"{'head':<13} {answer['head']}, case {answer['case_digest'][:12]}"))
