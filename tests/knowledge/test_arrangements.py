"""Usual parts and the order of dismantling: checked against the vocabulary, and what is lost is asked in time."""

from __future__ import annotations

from pathlib import Path

import pytest

from diagnose.casefile.reader import parse_case
from diagnose.casefile.walk import topics, usual_document
from diagnose.casefile.writer import render
from diagnose.knowledge.reader import build_knowledge
from diagnose.reading.problems import Problems

SMALL = Path(__file__).parents[1] / "small" / "knowledge"
CONTENTS = {p.relative_to(SMALL).as_posix(): p.read_bytes() for p in sorted(SMALL.rglob("*.yaml"))}
USUAL = "arrangement: single\nparts:\n  - {item: 1, kind: soft face, name: Carbon}\n"
ORDER = """doubt: 2
nominal: {shaft runout: shaft runout}
steps:
  - step: Look
    stage: before separating
    do: Look.
    ends: Gone.
    ask: [service]
    looks:
      - {on: face, look for: [radial cracks]}
      - {about: shaft, look for: [bent], measure: [shaft runout]}
  - {step: Wash, stage: before washing, do: Wash., ends: Gone.}
"""


def problems_of(usual: str = USUAL, order: str = ORDER) -> list[tuple[str, int, str]]:
    problems = Problems()
    contents = {**CONTENTS, "arrangements/single.yaml": usual.encode(), "arrangements/dismantling.yaml": order.encode()}
    build_knowledge(contents, "small", problems)
    return [(p.code, p.where.line, p.way_out) for p in problems.sorted()]


def test_sound_files_give_no_problem():
    assert problems_of() == []


@pytest.mark.parametrize(
    ("old", "new", "code", "line", "way_out"),
    [
        ("arrangement: single", "arrangement: singel", "unknown-arrangement", 1, "single"),
        ("kind: soft face", "kind: soft fase", "unknown-kind", 3, "soft face"),
        ("name: Carbon}", "name: Carbon, touches: [7]}", "unknown-item", 3, ""),
        ("name: Carbon}", "name: Carbon, group: turning}", "unknown-word", 3, "rotating"),
        ("name: Carbon}", "name: Carbon, weight: 3}", "unknown-key", 3, "allowed"),
        ("parts:\n", "parts:\n  - {item: 1, kind: spring, name: Spring}\n", "item-twice", 3, "renumber"),
        ("arrangement: single", "arrangement: dual pressurised", "position", 3, "inboard"),
    ],
)
def test_mistakes_in_usual_parts(old, new, code, line, way_out):
    found = problems_of(usual=USUAL.replace(old, new))
    assert (code, line) in [f[:2] for f in found]
    assert any(way_out in f[2] for f in found if f[0] == code)


@pytest.mark.parametrize(
    ("old", "new", "code", "line", "way_out"),
    [
        ("[radial cracks]", "[radial craks]", "unknown-feature", 10, "radial cracks"),
        ("[radial cracks]", "[bent]", "wrong-part", 10, "shaft"),
        ("[radial cracks]", "[radial cracks, hardened]", "wrong-part", 10, "O-ring"),
        ("stage: before separating", "stage: before washing", "step-order", 12, "order of the stages"),
        ("stage: before separating", "stage: before seperating", "unknown-word", 5, "before separating"),
        (
            "about: shaft, look for: [bent]",
            "about: leak, look for: [leak when standing]",
            "too-late",
            11,
            "earlier step",
        ),
        ("measure: [shaft runout]", "measure: [runout]", "unknown-reading", 11, "shaft runout"),
        ("ask: [service]", "ask: [servise]", "unknown-setting-or-figure", 8, "service"),
        ("{on: face,", "{on: face, about: face,", "look", 10, "on: KIND"),
        ("nominal: {shaft runout: shaft runout}", "nominal: {shaft runout: bore}", "unknown-reading", 2, ""),
        ("do: Wash., ", "", "missing-key", 12, ""),
        ("doubt: 2", "doubt: twice", "number", 1, ""),
    ],
)
def test_mistakes_in_the_order_of_dismantling(old, new, code, line, way_out):
    found = problems_of(order=ORDER.replace(old, new))
    assert (code, line) in [f[:2] for f in found]
    assert any(way_out in f[2] for f in found if f[0] == code)


def usual_case(knowledge, arrangement, **sections):
    parts = knowledge.arrangements.usual[arrangement]
    problems = Problems()
    document = usual_document("x", arrangement, parts, "")
    document["seal"] |= sections.pop("seal", {})
    case = parse_case(render({**document, **sections}), "x", knowledge, problems)
    assert problems.found == []
    return case


def test_every_arrangement_of_the_vocabulary_has_usual_parts_that_make_a_sound_case(whole_base):
    knowledge = whole_base.knowledge
    assert set(knowledge.arrangements.usual) == set(knowledge.vocabulary.settings["arrangement"].terms)
    for arrangement in knowledge.arrangements.usual:
        case = usual_case(knowledge, arrangement)
        kinds = {above for p in case.parts for above in knowledge.vocabulary.lineage[p.kind]}
        assert {"soft face", "hard face", "O-ring", "spring", "sleeve", "gland"} <= kinds
        assert {p.position for p in case.parts} - {"machine"} == set(case.positions)
        touching = {(p.item, other) for p in case.parts for other in p.touches}
        assert touching == {(b, a) for a, b in touching}, "what touches a part is touched by it"


def test_there_is_a_step_for_every_stage_of_the_vocabulary(whole_base):
    knowledge = whole_base.knowledge
    assert [s.stage for s in knowledge.arrangements.steps] == list(knowledge.vocabulary.stages)


def test_whatever_a_step_destroys_on_a_usual_part_and_findings_use_is_asked_at_that_step(whole_base):
    """A feature that rules look at and that is gone after a stage must be asked on some part, at that very stage."""
    knowledge = whole_base.knowledge
    asked, settings = set(), knowledge.vocabulary.settings
    around = {"seal": {"plan": list(settings["plan"].terms)}, "service": {"is": ["cryogenic"]}}
    for arrangement in knowledge.arrangements.usual:
        for topic in topics(usual_case(knowledge, arrangement, **around), knowledge):
            asked |= {(f, topic.step.stage) for f in topic.features}
    known = {f for f, _ in asked}
    rare = {f for f, x in knowledge.vocabulary.features.items() if x.lost in knowledge.vocabulary.stages} - known
    lost = [f for f, x in knowledge.vocabulary.features.items() if x.lost in knowledge.vocabulary.stages]
    assert all((f, knowledge.vocabulary.features[f].lost) in asked for f in known if f in lost)
    assert len(rare) <= 12, sorted(rare)
