"""Usual parts and the order of dismantling: checked against the vocabulary, and what is lost is asked in time."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path

import pytest

from diagnose.casefile.cards import cards, separated_by, unmarked
from diagnose.casefile.reader import parse_case
from diagnose.casefile.sheet import sheet
from diagnose.casefile.walk import last_stage, left_out, topics, usual_document
from diagnose.casefile.writer import render
from diagnose.knowledge.reader import build_knowledge
from diagnose.knowledge.teardown import in_view
from diagnose.reading.entry import replace
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
    closed = {(f, "before separating the faces") for f in known}  # what gland and chamber close in is there until then
    early = knowledge.vocabulary.stages[:4]
    for f in known & set(lost):
        stage = knowledge.vocabulary.features[f].lost
        assert (f, stage) in asked or (stage in early and closed & asked & {(f, early[-1])}), f
    assert len(rare) <= 13, sorted(rare)


def case_with_every_kind(knowledge, arrangement, film="liquid", seal=()):
    """Usual parts, and one of every other kind that looks are made on; settings with which no look at such a film is left out."""
    settings, usual = knowledge.vocabulary.settings, knowledge.arrangements.usual[arrangement]
    kinds = [x.on for step in knowledge.arrangements.steps for x in step.looks if not x.always]
    others = [k for k in dict.fromkeys(kinds) if k not in {u.kind for u in usual}]
    document = usual_document("x", arrangement, usual, "")
    position = {"position": document["parts"][0]["position"]} if "position" in document["parts"][0] else {}
    for number, kind in enumerate(others, 100):
        own = position if knowledge.vocabulary.kinds[kind].place == "seal" else {}
        document["parts"].append({"item": str(number), "name": f"Other {kind}", "kind": kind, **own})
    document["seal"] |= {"plan": list(settings["plan"].terms), "film": film} | dict(seal)
    document["service"] = {"is": list(settings["service"].terms)}
    problems = Problems()
    case = parse_case(render(document), "x", knowledge, problems)
    assert problems.found == []
    return case


def asked(case, knowledge, begun):
    """(kind of part, feature, index of the stage at which it is asked) of a session that begins at a stage."""
    stages = knowledge.vocabulary.stages
    for card in cards(case, knowledge, begun=begun):
        at = max(stages.index(card.step.stage), stages.index(begun))
        yield from ((t.kind, c.feature, at) for c in card.choices for t in c.topics)


def gone(case, knowledge, begun):
    """What is asked for after it is gone, at a bench that takes a seal apart from a stage on. What lasts may be asked late where
    the work begins late."""
    stages, features = knowledge.vocabulary.stages, knowledge.vocabulary.features
    out = left_out(case, knowledge)

    def last(f, kind):
        stage = last_stage(knowledge, out, f, kind)
        return stages.index(stage) if stage in stages else len(stages)

    return [(kind, f, stages[at]) for kind, f, at in asked(case, knowledge, begun)
            if last(f, kind) < at and not (features[f].lasting and begun != stages[0])]  # fmt: skip


@pytest.mark.slow
def test_nothing_is_asked_for_after_it_is_gone_in_any_arrangement_wherever_the_work_begins(whole_base):
    knowledge = whole_base.knowledge
    looks = [(x, f) for step in knowledge.arrangements.steps for x in step.looks for f in x.features]
    for arrangement in knowledge.arrangements.usual:
        told = set()
        for film in ("liquid", "gas"):
            case = case_with_every_kind(knowledge, arrangement, film)
            for begun in knowledge.vocabulary.stages:
                assert gone(case, knowledge, begun) == [], (arrangement, film, begun)
            told |= {(kind, f) for kind, f, _ in asked(case, knowledge, knowledge.vocabulary.stages[0])}
        lineage = knowledge.vocabulary.lineage
        never = [f for x, f in looks if not any(x.on in lineage[kind] and f == g for kind, g in told)]
        assert set(never) == ({"setting mark not made"} if arrangement == "dry gas" else set()), (
            "a cartridge needs none"
        )


def test_a_look_that_comes_a_step_too_late_is_found(whole_base):
    """The test above is of no use unless it sees this, for every look that is ever lost."""
    knowledge = whole_base.knowledge
    stages, features = knowledge.vocabulary.stages, knowledge.vocabulary.features
    steps = knowledge.arrangements.steps
    late = [replace(one, looks=before.looks) for before, one in pairwise(steps)]
    one_late = replace(knowledge, arrangements=replace(knowledge.arrangements, steps=tuple(late)))
    cases = [case_with_every_kind(knowledge, "single", film) for film in ("liquid", "gas")]
    found = {f for case in cases for _, f, _ in gone(case, one_late, stages[0])}
    closed = {k for x in knowledge.arrangements.left_out if x.until and not x.given for k in x.on}
    opened, lineage = stages.index("before separating the faces"), knowledge.vocabulary.lineage
    assert found == {f for step in steps[:-1] for x in step.looks for f in x.features if features[f].lost == step.stage
                     and (stages.index(step.stage) >= opened or not closed & set(lineage[x.on]))}  # fmt: skip
    assert len(found) > 100


@pytest.mark.parametrize("begun", [3, 6])
def test_a_sheet_printed_at_a_stage_has_no_box_for_what_was_gone_by_then(whole_base, begun):
    knowledge = whole_base.knowledge
    stages, features = knowledge.vocabulary.stages, knowledge.vocabulary.features
    for arrangement in knowledge.arrangements.usual:
        case = replace(case_with_every_kind(knowledge, arrangement), stage=stages[begun])
        out, kinds = left_out(case, knowledge), {p.item: p.kind for p in case.parts}
        boxes = [b for b in sheet(case, knowledge).boxes().values() if b.what == "feature"]
        last = [last_stage(knowledge, out, b.term, b.kind or kinds[b.part]) for b in boxes]
        assert boxes
        assert all(
            features[b.term].lasting or stage not in stages[:begun] for b, stage in zip(boxes, last, strict=True)
        )


def late_marks(knowledge):
    """(arrangement, item) of every usual part that is in view before a bolt moves, or belongs to the machine, and is asked for its
    mark only later."""
    words, stages = knowledge.vocabulary, knowledge.vocabulary.stages
    bolts = stages.index("before unbolting")
    for arrangement in knowledge.arrangements.usual:
        for part in unmarked(usual_case(knowledge, arrangement), knowledge):
            step = separated_by(knowledge, part.kind)
            at_once = (
                words.kinds[part.kind].place == "machine" or in_view(knowledge.teardown, words, part.kind) <= bolts
            )
            if step is None or (at_once and stages.index(step.stage) > bolts):
                yield arrangement, part.item


def test_what_sits_in_line_is_marked_before_the_bolts_move_in_every_arrangement(whole_base):
    """The gland off its chamber, nobody can say any more how it sat; and the test sees it where a step comes too late."""
    knowledge = whole_base.knowledge
    assert list(late_marks(knowledge)) == []
    steps = knowledge.arrangements.steps
    late = [replace(s, separates=()) if s.stage == "before unbolting" else s for s in steps]
    found = set(late_marks(replace(knowledge, arrangements=replace(knowledge.arrangements, steps=tuple(late)))))
    assert {("single", "12"), ("single", "14"), ("dual pressurised", "15"), ("dry gas", "12")} <= found


def features_of(knowledge, arrangement, film, **sections):
    case = usual_case(knowledge, arrangement, **({"seal": {"film": film}} if film else {}), **sections)
    return {(t.part or t.kind, f) for t in topics(case, knowledge) for f in t.features}, case


@pytest.mark.parametrize(("arrangement", "film"), [("dry gas", ""), ("dual unpressurised", "gas")])
def test_a_gas_seal_is_asked_for_gas_and_not_for_what_only_a_liquid_does(whole_base, arrangement, film):
    knowledge = whole_base.knowledge
    told, case = features_of(knowledge, arrangement, film)
    gas = {"seal gas low", "gas filter loaded", "separation gas low", "oil in the vent"}
    wet = {"puffs", "popping", "not vented", "liquid near its boiling point", "crystals", "comet marks"}
    assert gas <= {f for _, f in told} and not wet & {f for _, f in told}
    (first,) = [t for t in topics(case, knowledge) if t.asks]
    assert not {"vapour pressure", "wetting"} & set(first.asks)
    readings = {r for t in topics(case, knowledge) for r in t.readings}
    assert "leak mass rate" in readings and "leak rate" not in readings
    liquid = {f for _, f in features_of(knowledge, arrangement, "liquid")[0]}
    assert wet <= liquid and not gas & liquid


def test_a_ring_is_asked_only_for_its_own_side_of_the_pair(whole_base):
    told, case = features_of(whole_base.knowledge, "single", "")
    assert ("1", "nose used up") in told and ("2", "nose used up") not in told
    assert {t.part for t in topics(case, whole_base.knowledge) if {"nose width", "nose height"} & set(t.readings)} == {
        "1"
    }


@pytest.mark.parametrize(("machine", "missing"), [
    (["overhung pump", "close-coupled"], {"coupling"}), (["agitator"], {"impeller", "piping", "throat bushing"}),
    (["positive displacement pump", "high speed"], {"impeller"}),
])  # fmt: skip
def test_what_a_machine_has_not_is_not_asked_about(whole_base, machine, missing):
    some = {"coupling", "impeller", "piping", "throat bushing"}
    told, _ = features_of(whole_base.knowledge, "single", "", equipment={"machine": machine})
    assert some - {kind for kind, _ in told} == missing
