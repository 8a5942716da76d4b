"""The page of why-not: what was not concluded, what stands in its way and what would make it so."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from diagnose.reading.figures import listed, percent, signed
from diagnose.views.page import Page
from diagnose.views.reasoning.common import STEP, finding_head, head, option, path, state

MOST = 6
_HOLDS = {True: "+", False: "x", None: "?"}
Doc = dict[str, Any]


def why_not(answer: Doc, case: str, page: Page) -> Page:
    if "finding" in answer:
        finding_head(answer, page)
        if answer["state"] == "present":
            page.say(f'It is concluded: diagnose why {case} "{answer["finding"]}"', indent=STEP)
            return page
        for rule in answer["said_absent_by"]:
            page.heading("A rule says that it is not so")
            _trial(rule, page, STEP)
        page.heading("The nearest rules that would say it  (+ holds, x does not, ? not known)")
        for rule in answer["tried"]:
            _trial(rule, page, STEP)
        if answer["would_be_so"]:
            page.heading("It would be so with")
            _command(answer["would_be_so"], case, page)
        elif answer["tried"]:
            page.heading("No change of this record was found that makes it so; it asks for")
            for p in answer["tried"][0]["premises"]:
                if not p["holds"]:
                    page.say(p["says"], indent=STEP, lead="- ")
        return page
    return _why_not_judged(answer, case, page)


def _why_not_judged(answer: Doc, case: str, page: Page) -> Page:
    head(answer, page)
    instead = answer["instead"]
    if answer["name"] in instead["causes"]:
        page.say(f'It is part of the leading explanation: diagnose why {case} "{answer["name"]}"', indent=STEP)
    elif any(answer["name"] in chain for chain in instead["chains"]):
        page.say(f'It stands in the chain of what leads: diagnose why {case} "{answer["name"]}"', indent=STEP)
    else:
        page.say(explained(instead), indent=STEP, lead="leads in its place: ", hang=4)
    common = f"{answer['common']} among failed seals, " if answer["common"] else ""
    page.say(
        f"{common}{percent(answer['before'], 1)} before anything is seen", indent=STEP, lead="how common: ", hang=4
    )
    if answer["kind"] == "mechanism" and answer["above"]:
        told = [f"{r['name']} ({percent(r['probability'])})" for r in answer["above"][:4]]
        page.say(listed(told), indent=STEP, lead="what could bring it about: ", hang=4)
    for kind, title in (("ruled out", "What rules it out"), ("counts against it", "What counts against it"),
                        ("not on record", "What would speak for it and is not on record")):  # fmt: skip
        reasons = [r for r in answer["reasons"] if r["kind"] == kind]
        if reasons:
            page.heading(title + ("  (+ holds, x does not, ? not known)" if kind != "ruled out" else ""))
        for r in reasons[:MOST]:
            _reason(r, page)
        if len(reasons) > MOST:
            page.say(f"and {len(reasons) - MOST} more that would weigh less", indent=STEP)
    if answer["enough"]:
        then = answer["then"]
        word = (
            "Enough together: it would be"
            if then["standing"] != answer["standing"]
            else "Not enough, even together: still"
        )
        page.heading(f"{word} {then['standing']}, {percent(then['probability'])}, with")
        _command(answer["enough"], case, page)
    return page


def explained(s: Doc) -> str:
    """A set of causes, each with its own probability, then the share of the set: of just these together; or what happened,
    where no cause leads."""
    if not s["causes"]:
        happened = f"; what happened: {path(s['chains'][0])}" if s["chains"] else ""
        return f"none of these causes ({percent(s['share'])}){happened}"
    each = listed([f"{c} ({percent(p)})" for c, p in zip(s["causes"], s["probabilities"], strict=True)])
    return f"{each}; {'these' if len(s['causes']) > 1 else 'alone'}, with no other cause: {percent(s['share'])}"


def _reason(r: Doc, page: Page) -> None:
    if r["kind"] == "ruled out":
        page.say(r["what"], indent=STEP)
    else:
        name = state({"finding": r["what"], "state": r["state"]})
        would = f"{'it' if r['wanted'] == 'present' else 'its absence'} would weigh {signed(r['would_weigh'])}"
        weighs = f"{signed(r['weight'])} dB; {would}" if r["state"] != "unrecorded" else f"{would} dB"
        page.say(f"{name}: {weighs}", indent=STEP)
    for rule in r["rules"]:
        _trial(rule, page, 2 * STEP)
    if r["then"]:
        changes = " ".join(option(c) for c in r["changes"])
        page.say(
            f"{r['then']['standing']}, {percent(r['then']['probability'])}, with {changes}",
            indent=2 * STEP,
            lead="then: ",
        )


def _trial(rule: Doc, page: Page, indent: int) -> None:
    page.say(f"rule {rule['rule_id']} {rule['at']}", indent=indent)
    for p in rule["premises"]:
        on = "; ".join(_told(u) for u in p["on"])
        lack = f" (not known: {p['lack']})" if "lack" in p else ""
        page.say(p["says"] + (f": {on}" if on else "") + lack, indent=indent + STEP, lead=f"{_HOLDS[p['holds']]} ")
        for deeper in p.get("because", ()):
            _trial(deeper, page, indent + 2 * STEP)
    if not rule["on_one_part"]:
        page.say("not on one and the same part", indent=indent + STEP, lead="x ")


def _told(under: Doc) -> str:
    if "finding" in under:
        return f"{under['finding']} is {under['state']}"
    place = f" (case line {under['case_line']})" if under.get("case_line") else ""
    return f"{under['record']}{place}"


def _command(changes: Sequence[Doc], case: str, page: Page) -> None:
    """The command that shows it, one option a line, so that it can be copied."""
    lines = [f"  diagnose what-if {case}", *(f"      {option(c)}" for c in changes)]
    for line in lines[:-1]:
        page.line(line + " \\")
    page.line(lines[-1])
