"""The page of fragile: what the answer hangs on."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from diagnose.judgement.judge import STANDINGS
from diagnose.reading.figures import signed
from diagnose.views.page import Page
from diagnose.views.reasoning.common import STEP

Doc = dict[str, Any]


def fragile(answer: Doc, page: Page) -> Page:
    page.title(f"{answer['case']}: what the answer hangs on")
    several = len(answer["positions"]) > 1
    for x in answer["positions"]:
        if several:
            page.heading(f"{x['position']} seal")
        page.say(_answer_text(x), indent=STEP, lead="now: ")
        if x["told_at"] != x["position"]:
            page.say(f"{x['leads']} has one verdict for the machine, that of the {x['told_at']} seal; here is what hangs on this "
                     "seal's own record.", indent=STEP)  # fmt: skip
        page.heading("One change that changes it")
        _changes_list(x["single"], x, page)
        page.heading("Two changes that change it, where neither does alone")
        _changes_list(x["pairs"], x, page)
        page.say(
            "Pairs are tried among the records that carry most, and those that stand in for each other.", indent=STEP
        )
        what = f"the odds of {x['leads']} lose" if x["leads"] else "the odds of none of these lose"
        page.heading(f"What each record carries: dB that {what} without it")
        rows = [
            (signed(c["weight"]), f"{c['record']} (case line {c['case_line']})")
            for c in x["carries"]
            if abs(c["weight"]) >= 0.05
        ]
        page.table(rows[:12] or [("", "no single record moves it")], [6, 0])
    return page


def _answer_text(x: Doc) -> str:
    now = x["now"]
    told = [f"{c} ({s})" for c, s in zip(now["causes"], now["standings"], strict=True)]
    happened = f"; what happened: {x['leads']} ({now['happened']})" if now["happened"] else ""
    return " and ".join(told) or f"none of these causes{happened}"


def _changes_list(rows: Sequence[Doc], x: Doc, page: Page, most: int = 12) -> None:
    if not rows:
        page.say("none", indent=STEP)
    for r in rows[:most]:
        told = "; and ".join(
            f"{c['record']} (case line {c['case_line']}) {c['kind'] if c['kind'] == 'left out' else 'the other way round'}"
            for c in r["changes"]
        )
        page.say(f"{told}: {_moved(x, r['then'])}", indent=STEP, lead="- ")
    if len(rows) > most:
        page.say(f"and {len(rows) - most} more; --json has them all", indent=STEP)


def _moved(x: Doc, then: Doc) -> str:
    """What a change takes out of the answer, brings into it, and moves in it."""
    now = x["now"]
    was, is_ = (dict(zip(x["causes"], x["standings"], strict=True)) for x in (now, then))
    gone = [c for c in was if c not in is_]
    told = [f"no longer {c}" for c in gone]
    comes = "in its place {}, {}" if gone else "{} joins, {}" if was else "{} leads, {}"
    told += [comes.format(c, s) for c, s in is_.items() if c not in was]
    told += [
        f"{c} only {s}" if STANDINGS.index(s) > STANDINGS.index(was[c]) else f"{c} {s}"
        for c, s in is_.items()
        if was.get(c, s) != s
    ]
    if was and not is_:
        told = ["none of these causes leads"]
    if now["happened"] != then["happened"]:
        told.append(f"{x['leads']} {then['happened']}")
    return "; ".join(told)
