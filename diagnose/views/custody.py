"""Through whose hands the parts of a case went."""

from __future__ import annotations

from typing import Any

from diagnose.casefile.model import Case, Custody
from diagnose.casefile.wording import describe_custody
from diagnose.views.page import Page


def rows(case: Case) -> list[dict[str, Any]]:
    """Every act of custody, for the whole seal and for each part that has any, in the order of time."""
    parts: list[tuple[str, str]] = [("", "the whole seal"), *((p.item, p.name) for p in case.parts)]
    return [
        {"part": item, "name": name, "acts": [_plain(c) for c in acts]}
        for item, name in parts
        if (acts := sorted((c for c in case.custody if item in (c.parts or ("",))), key=lambda c: c.when))
    ]


def _plain(c: Custody) -> dict[str, str]:
    return {"did": c.did, "when": c.when, "by": c.by, "from": c.given_by, "to": c.to, "where": c.at, "bag": c.bag,
            "note": c.note, "says": describe_custody(c)}  # fmt: skip


def page(told: list[dict[str, Any]], out: Page) -> Page:
    for row in told:
        out.heading(f"{row['name']} ({row['part']})" if row["part"] else row["name"])
        for act in row["acts"]:
            out.say(act["says"], indent=2, hang=4)
    if not told:
        out.say("No act of custody is on record. Put one there with: diagnose custody FILE --did receive --part ITEM "
                "--from WHOM --where PLACE --bag NUMBER")  # fmt: skip
    return out
