"""Proofs on a page: rules with their conditions, and the records, numbers and findings that meet them."""

from __future__ import annotations

from typing import Any

from diagnose.views.page import Page
from diagnose.views.reasoning.common import STEP, state

Doc = dict[str, Any]


def proof(tree: Doc, page: Page, indent: int, case: str) -> None:
    """What is under a finding: a stub, or each rule with its premises."""
    if tree.get("supposed"):
        page.say("told, not deduced", indent=indent)
    elif "stub" in tree:
        page.say(_stub(tree, case), indent=indent)
    for number, rule in enumerate(tree.get("because", ())):
        if number:
            page.say("and also by", indent=indent)
        fired(rule, page, indent, case)
    for rule in tree.get("denied_by", ()):
        page.say("against it, and outweighed by what was seen:", indent=indent)
        fired(rule, page, indent + STEP, case)


def _stub(tree: Doc, case: str) -> str:
    if tree["stub"] == "opened above":
        return f"{tree['finding']}: shown above"
    return f'deeper: diagnose why {case} "{tree["finding"]}"'


def fired(rule: Doc, page: Page, indent: int, case: str) -> None:
    sources = f" [{', '.join(rule['sources'])}]" if rule["sources"] else ""
    page.say(f"rule {rule['rule_id']} {rule['at']}{sources}", indent=indent)
    for p in rule["premises"]:
        _premise(p, page, indent + STEP, case)


def _premise(premise: Doc, page: Page, indent: int, case: str) -> None:
    records = [u for u in premise["on"] if "record" in u]
    others = [u for u in premise["on"] if "record" not in u]
    if len(records) == 1 and not others and not premise["compared"]:
        told = record_text(records[0])
        says = told if records[0]["record"] == premise["says"] else f"{premise['says']}: {told}"
        page.say(says, indent=indent, lead="- ")
        _readings(records[0], page, indent + STEP)
        return
    if len(others) == 1 and not records and others[0].get("finding") == premise["says"].partition(": ")[2]:
        says = f": {others[0]['says']}" if others[0]["state"] == "present" else ""
        page.say(state(others[0]) + says, indent=indent, lead="- ")
        proof(others[0], page, indent + STEP, case)
        return
    page.say("; ".join(premise["compared"]) or premise["says"], indent=indent, lead="- ")
    for under in records:
        if premise["compared"] and under["kind"] == "quantity":
            page.say(_worked_out(under), indent=indent + STEP)
        else:
            page.say(record_text(under), indent=indent + STEP)
        _readings(under, page, indent + STEP)
    for under in others:
        if "through" in under:
            for p in under["premises"]:
                _premise(p, page, indent + STEP, case)
        else:
            says = f": {under['says']}" if under["state"] == "present" else ""
            page.say(state(under) + says, indent=indent + STEP)
            proof(under, page, indent + 2 * STEP, case)


def record_text(record: Doc) -> str:
    if record["kind"] == "quantity":
        return f"{record['record']}, {_worked_out(record)}"
    place = f"case line {record['case_line']}" if record["case_line"] else "supposed"
    by = f", {who(record['by'])}" if record.get("by") else ""
    photo = f", photo {record['photo']}" if record.get("photo") else ""
    with_ = f", {record['instrument']}" if record.get("instrument") else ""
    return f"{record['record']} ({place}{by}{photo}{with_})"


def who(by: Doc) -> str:
    """Who put a record there, when, and by which line of the journal."""
    return f"{by['who']} {by['time'][:16].replace('T', ' ')}, journal {by['number']}"


def _worked_out(quantity: Doc) -> str:
    formula, source = quantity["formula"], quantity["source"]
    return formula if formula == source else f"worked out as {formula} [{source}]"


def _readings(record: Doc, page: Page, indent: int) -> None:
    """The readings behind a quantity, and behind those it was worked out from."""
    for reading in record.get("from", ()):
        page.say(record_text(reading), indent=indent + STEP)
        _readings(reading, page, indent + STEP)
