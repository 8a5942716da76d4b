"""The same branches and facts run by CLIPS, a general-purpose production system, as an independent check."""

from __future__ import annotations

import clips

from diagnose.inference.engine import finding_id
from diagnose.inference.facts import Fact
from diagnose.inference.rules import Branch, Premise

SLOTS = {
    "seen": "state feature on own part group face extent rank side",
    "setting": "setting term holds",
    "amount": "quantity on own part group face low high word",
    "limit": "quantity on own part group face limit verdict",
    "found": "finding state",
    "state": "at variable value when holds low high",
    "act": "did to with when holds",
    "marks": "pair relation",
}


OPEN = {"low": "-1e99", "high": "1e99"}
"""Ends of a reading that is open or not there: no comparison holds for them."""


def deduce(branches: list[Branch], facts: list[Fact], positions: list[tuple[str, str]]) -> set[tuple[str, str, str]]:
    """(finding, state, position) of everything CLIPS concludes."""
    env = clips.Environment()
    env.build("(deftemplate place (slot position) (slot other))")
    for table, slots in SLOTS.items():
        ends = OPEN if table == "state" else {}
        inner = " ".join(
            f"(slot {s} (default {ends.get(s, '?DERIVE')}))" for s in [*slots.split(), "position", "other", "id"]
        )
        env.build(f"(deftemplate {table} {inner})")
    found = [b for b in branches if b.conclusion.kind == "found"]
    for number, branch in enumerate(found):
        env.build(rule(branch, number, 9000 - number))
    for position, other in positions:
        env.assert_string(f"(place (position {text(position)}) (other {text(other)}))")
    for fact in facts:
        inner = " ".join(
            f"({k} {text(v)})" for k, v in fact.slots if not (fact.table == "state" and k in OPEN and v == "")
        )
        env.assert_string(f"({fact.table} {inner} (id {text(fact.id)}))")
    env.run()
    return {(str(f["finding"]), str(f["state"]), str(f["position"])) for f in env.facts() if f.template.name == "found"}


def text(value: object) -> str:
    if isinstance(value, bool):
        return "TRUE" if value else "FALSE"
    if isinstance(value, (int, float)):
        return repr(float(value))
    return '"' + str(value).replace("\\", "\\\\").replace('"', '\\"') + '"'


def rule(branch: Branch, number: int, salience: int) -> str:
    patterns = " ".join(pattern(p, i) for i, p in enumerate(branch.premises))
    c = branch.conclusion
    identity = text(finding_id(c.name, ""))
    made = f"(assert (found (finding {text(c.name)}) (state {text(c.state)}) (position ?place) (other ?other) (id {identity})))"
    return f"(defrule r{number} (declare (salience {salience})) (place (position ?place) (other ?other)) {patterns} => {made})"


def pattern(p: Premise, number: int) -> str:
    slots = [f"({k} {text(v)})" for k, v in p.equals if not (p.compare and k == p.compare[0])]
    if p.compare:
        slot, sign, value = p.compare
        name = f"?v{number}"
        if isinstance(value, str):
            test = f"(eq {name} {text(value)})" if sign == "==" else f'(and (neq {name} {text(value)}) (neq {name} ""))'
        else:
            test = f"({sign} {name} {text(value)})"
        slots.append(f"({slot} {name}&:{test})")
    if p.at in ("", "other"):
        slots.append(f"({'position' if p.at == '' else 'other'} ?place)")
    elif p.at != "any":
        slots.append(f"(position {text(p.at)})")
    if p.same_part:
        slots.append("(part ?part)")
    inner = f"({p.table} {' '.join(slots)})"
    return f"(not {inner})" if p.negated else inner
