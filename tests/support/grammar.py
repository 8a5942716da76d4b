"""A small rule base on the words that combine: one finding for each way of asking."""

from __future__ import annotations

from diagnose.inference.run import RuleBase, compile_rules
from diagnose.knowledge.reader import build_knowledge
from diagnose.reading.problems import Problems
from tests.support.places import ROOT

CONDITIONS = {
    "any damage": "{saw: damage, on: face}",
    "any crack": "{saw: crack, on: face}",
    "no crack": "{absent: crack, on: face}",
    "radial": "{saw: radial cracks, on: face}",
    "no radial": "{absent: radial cracks, on: face}",
    "blue crack": "{saw: crack, on: face, colour: blue}",
    "wet at the start": "{saw: wet, on: gland, when: at start}",
    "dry at the start": "{absent: wet, on: gland, when: at start}",
    "crystals": "{saw: crystals between the faces, on: face}",
    "sticky": "{saw: sticky residue, on: face}",
    "support hot": "{state: {at: support system, temperature: high}}",
    "flush hot": "{state: {at: flush line, temperature: high}}",
    "flush not hot": "{not state: {at: flush line, temperature: high}}",
    "flush hot running": "{state: {at: flush line, temperature: high, when: running}}",
    "flush over sixty": "{state: {at: flush line, temperature: above 60 °C}}",
    "vented": "{act: {did: vent}}",
    "chamber vented": "{act: {did: vent, to: chamber}}",
    "not vented": "{not act: {did: vent, to: chamber}}",
    "greased": "{act: {did: grease, to: O-ring, with: grease}}",
    "named hot": "{saw: flush hot}",
    "named not vented": "{saw: not vented}",
}


def finding(name: str, condition: str, number: int) -> bytes:
    return (f"finding: {name}\nid: F{900 + number}\nstatus: accepted\nsince: '1.0'\nreviewed: '2026-11'\nreads: That.\n"
            f"otherwise: rarely\nwhen: {condition}\nsources: [common-practice]\n").encode()  # fmt: skip


def grammar_base(conditions: dict[str, str] = CONDITIONS) -> RuleBase:
    """Findings on words that combine, and no causes."""
    names = ("words.yaml", "sources.yaml", "version.yaml")
    contents = {n: (ROOT / "knowledge" / n).read_bytes() for n in names}
    contents |= {f"vocabulary/{p.name}": p.read_bytes() for p in (ROOT / "knowledge" / "vocabulary").glob("*.yaml")}
    contents |= {
        f"findings/{n.replace(' ', '-')}.yaml": finding(n, c, i) for i, (n, c) in enumerate(conditions.items())
    }
    problems = Problems()
    knowledge = build_knowledge(contents, "knowledge", problems)
    assert knowledge is not None and not problems.found, [str(p) for p in problems.found]
    return RuleBase(knowledge, compile_rules(knowledge))
