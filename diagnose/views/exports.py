"""What a site's own systems take over: a case in the fields of ISO 14224, and the provenance of a trail as PROV-JSON.

ISO 14224 keeps apart equipment class, failure mode (what is noticed), failure mechanism (what happened), failure cause (why) and
detection method. The standard was not read whole; `from` beside each class says where the card has it from.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable
from typing import Any

from diagnose.casefile.wording import confirmed
from diagnose.judgement.diagnosis import Diagnosis
from diagnose.judgement.judge import Judged
from diagnose.knowledge.model import Knowledge
from diagnose.reading.terms import plain

NAMED = ("established", "probable", "possible")
Doc = dict[str, Any]

# ---- ISO 14224 -------------------------------------------------------------------------------------------------------


def failure_data(diagnosis: Diagnosis, detected: str = "") -> list[Doc]:
    """One row for each seal position: what is concluded, and what was confirmed, each with its class."""
    case, knowledge = diagnosis.case, diagnosis.base.knowledge
    table = knowledge.tables.get("failure-data", {})
    machine = [s.term for s in case.settings if s.setting == "machine" and s.holds]
    classes = [name for name, terms in table.get("equipment classes", {}).items() if {*machine} & {*terms}]
    rows = []
    for x in diagnosis.judgements:
        cause, mechanism = (
            next((j for j in level[:1] if j.standing in NAMED), None) for level in (x.causes, x.mechanisms)
        )
        told = [o for o in case.outcomes if o.position in ("", x.position)]
        leaked = any(o.kind == "leak" and o.state == "present" for o in case.observations)
        modes = table.get("failure mode", {})
        rows.append({
            "case": case.name, "position": x.position, "equipment tag": case.texts.get("equipment.tag", ""),
            "equipment class": "; ".join(classes), "equipment description": "; ".join(machine),
            "maintainable item": table.get("maintainable item", ""), "failure mode": modes.get("leaked" if leaked else "otherwise", ""),
            **_level("failure mechanism", mechanism), **_level("failure cause", cause), "detection method": detected,
            "confirmed": "; ".join(confirmed(o) for o in told), "confirmed how": "; ".join(o.how for o in told),
            **_confirmed("confirmed mechanism class", [n for o in told for n in o.mechanisms], knowledge),
            **_confirmed("confirmed cause class", [n for o in told for n in o.roots], knowledge),
            "date": next((e.date for e in reversed(case.events) if e.date), ""), "running hours": _figure(diagnosis, "running hours"),
            "case file sha256": case.digest, "rule base": f"{knowledge.version} {knowledge.digest[:12]}",
        })  # fmt: skip
    return rows


def detection(word: str, knowledge: Knowledge) -> str | None:
    """A detection method by its name; None where there is none so called."""
    methods = knowledge.tables.get("failure-data", {}).get("detection methods", [])
    return next((m for m in methods if plain(m) == plain(word)), None)


def _level(name: str, j: Judged | None) -> Doc:
    card = j.card if j else None
    return {
        name: j.name if j else "", f"{name} class": card.class_14224 if card else "", f"{name} class from": card.class_from if card else "",
        f"{name} standing": j.standing if j else "", f"{name} probability": round(j.probability, 4) if j else "",
    }  # fmt: skip


def _confirmed(name: str, cards: Iterable[str], knowledge: Knowledge) -> Doc:
    return {name: "; ".join(dict.fromkeys(knowledge.card(c).class_14224 for c in cards))}


def _figure(diagnosis: Diagnosis, name: str) -> str:
    return next((r.written for x in diagnosis.case.measured if x.what == name and not x.part for r in x.readings), "")


def as_csv(rows: list[Doc]) -> str:
    """Rows as CSV (RFC 4180); a text that a spreadsheet would reckon as a formula gets an apostrophe before it."""
    out = io.StringIO()
    table = csv.DictWriter(out, list(rows[0]) if rows else [], lineterminator="\r\n")
    table.writeheader()
    table.writerows(
        {k: f"'{v}" if isinstance(v, str) and v[:1] in "=+-@\t" and v else v for k, v in row.items()} for row in rows
    )
    return out.getvalue()


# ---- PROV-JSON -------------------------------------------------------------------------------------------------------


def provenance(trail: Doc) -> Doc:
    """A trail as PROV-JSON (W3C member submission of 2013-04-24): who recorded what, from what each finding was derived, and by
    what the conclusion was made."""
    out: Doc = {"prefix": {"d": "urn:diagnose:", "sha256": "urn:sha256:"}}
    count = iter(range(1, 10**9))

    def put(kind: str, name: str, **attributes: Any) -> str:
        out.setdefault(kind, {})[name] = {k.replace("__", ":"): v for k, v in attributes.items() if v != ""}
        return name

    def relate(kind: str, **ends: str) -> None:
        out.setdefault(kind, {})[f"_:r{next(count)}"] = {f"prov:{k}": v for k, v in ends.items()}

    case = put("entity", f"sha256:{trail['case']['digest']}", prov__label=f"case file of {trail['case']['name']}")
    rules = put("entity", f"sha256:{trail['knowledge']['digest']}", prov__label=f"rule base {trail['knowledge']['version']}",
                d__revision=trail["knowledge"].get("revision", ""))  # fmt: skip
    tool = put("agent", "d:tool", prov__type={"$": "prov:SoftwareAgent", "type": "prov:QUALIFIED_NAME"},
               prov__label=f"{trail['tool']['name']} {trail['tool']['version']}")  # fmt: skip
    diagnosing = put("activity", "d:diagnosis", prov__label="the case diagnosed by the rule base")
    relate("wasAssociatedWith", activity=diagnosing, agent=tool)
    for used in (case, rules):
        relate("used", activity=diagnosing, entity=used)
    people: dict[str, str] = {}
    for record in (*trail["recorded"], *trail["settings"]):
        entity = put("entity", f"d:{record['id']}", prov__label=record["text"])
        relate("used", activity=diagnosing, entity=entity)
        if by := record.get("by"):
            who = people.setdefault(by["who"], f"d:person{len(people) + 1}")
            put("agent", who, prov__type={"$": "prov:Person", "type": "prov:QUALIFIED_NAME"}, prov__label=by["who"])
            line = put("activity", f"d:line{by['number']}", prov__startTime=by["time"], prov__endTime=by["time"],
                       prov__label=f"line {by['number']} of the journal")  # fmt: skip
            relate("wasGeneratedBy", entity=entity, activity=line)
            relate("wasAssociatedWith", activity=line, agent=who)
    for photo in trail.get("photos", ()):
        if photo["recorded"]:
            put("entity", f"sha256:{photo['recorded']}", prov__label=f"photo {photo['photo']}")
    _derived(trail, put, relate, diagnosing)
    return out


def _derived(trail: Doc, put: Any, relate: Any, diagnosing: str) -> None:
    """Findings from records, and conclusions from the diagnosis."""
    ids = {r["id"]: f"d:{r['id']}" for r in (*trail["recorded"], *trail["settings"])}
    ids |= {f["id"]: f"d:finding{n}" for n, f in enumerate(trail["findings"], 1)}
    for finding in trail["findings"]:
        put("entity", ids[finding["id"]], prov__label=f"{finding['text']}: {finding['state']}")
        relate("wasGeneratedBy", entity=ids[finding["id"]], activity=diagnosing)
    for firing in trail["firings"]:
        target = ids.get(f"f:{firing['rule']}@{firing['position']}")
        supports = {i for p in firing["premises"] for many in p["supports"] for i in many.split("+")}
        for support in sorted(supports & ids.keys()) if target else ():
            relate("wasDerivedFrom", generatedEntity=target, usedEntity=ids[support])
    for number, told in enumerate((s for s in trail["standing"] if s["standing"] in NAMED), 1):
        entity = put("entity", f"d:conclusion{number}", prov__label=f"{told['text']} ({told['type']}): {told['standing']}",
                     d__probability=told["probability"])  # fmt: skip
        relate("wasGeneratedBy", entity=entity, activity=diagnosing)
