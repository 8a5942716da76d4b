"""The page of what-if: what a record changed in thought changes."""

from __future__ import annotations

from typing import Any

from diagnose.reading.figures import percent
from diagnose.views.page import Page
from diagnose.views.reasoning.common import STEP, path
from diagnose.views.reasoning.why_not import explained

MOST_MOVED = 8
Doc = dict[str, Any]


def what_if(answer: Doc, page: Page) -> Page:
    page.title(f"{answer['case']}, supposing")
    for c in answer["changes"]:
        page.say(f"{c['kind']}: {c['text']}", indent=STEP)
    several = len(answer["explanation"]) > 1
    page.heading("Leading explanation")
    for x in answer["explanation"]:
        where = f"{x['position']} seal: " if several else ""
        for word, side in (("before: ", x["before"]), ("after:  ", x["after"])):
            page.say(f"{where}{explained(side)}", indent=STEP, lead=word)
            for chain in side["chains"]:
                page.say(path(chain), indent=STEP + len(word), hang=4 + len(word))
    for kind, title in (("mechanisms", "What happened, before and after"), ("causes", "Causes, before and after")):
        page.heading(title)
        before, after = answer["before"][kind], answer["after"][kind]
        rows = [
            (str(i + 1), *(_ranked(side[i], several) if i < len(side) else "" for side in (before, after)))
            for i in range(max(len(before), len(after)))
        ]
        page.table(rows, [2, max(20, (page.width - 8) // 2), 0])
    _moved([*answer["mechanisms"], *answer["causes"]], several, page)
    if answer["findings"]:
        page.heading("Findings that changed, and through which rules")
    for r in answer["findings"]:
        where = f" [{r['position']}]" if several else ""
        through = (
            f" ({'; '.join(r['through'])})" if r["through"] else " (told)" if r["state"][1] != "unrecorded" else ""
        )
        page.say(f"{r['finding']}{where}: {r['state'][0]} > {r['state'][1]}{through}", indent=STEP, hang=4)
    if not (answer["causes"] or answer["mechanisms"] or answer["findings"]):
        page.say("Nothing changes: no rule says more or less with it.", indent=STEP)
    return page


def _moved(rows: list[Doc], several: bool, page: Page) -> None:
    rows = sorted(rows, key=lambda r: -abs(r["probability"][0] - r["probability"][1]))
    if rows:
        page.heading("What moved most")
    for r in rows[:MOST_MOVED]:
        where = f" [{r['position']}]" if several else ""
        told = [f"{s}, {percent(p)}" for s, p in zip(r["standing"], r["probability"], strict=True)]
        page.say(f"{r['name']} ({r['kind']}){where}: {told[0]} > {told[1]}", indent=STEP, hang=4)


def _ranked(row: Doc, several: bool) -> str:
    where = f" [{row['position']}]" if several else ""
    chance = "" if row["standing"] == "ruled out" else f", {percent(row['probability'])}"
    return f"{row['text']}{where}: {row['standing']}{chance}"
