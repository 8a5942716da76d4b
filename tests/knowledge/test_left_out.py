"""What a seal does not have, what its material cannot show, and what is closed in is not asked for, in the session as in the plan."""

from __future__ import annotations

import pytest

from diagnose.advice.plan import plan
from diagnose.advice.reach import LOST, OPEN, Reach
from diagnose.casefile.format import AT_HAND
from diagnose.casefile.walk import topics
from diagnose.judgement.diagnosis import Diagnosis
from diagnose.views.next_steps import page
from diagnose.views.page import Page
from tests.knowledge.test_arrangements import case_with_every_kind, problems_of, usual_case
from tests.support.commands import diagnose

OPENED = "before separating the faces"
INSIDE = {"face", "secondary seal", "flexible element", "drive part", "retainer", "face holder"}


def marks(knowledge, case, before=""):
    """(part or kind, feature) of all that is looked for, or of that before a stage."""
    stages = knowledge.vocabulary.stages
    last = stages.index(before) if before else len(stages)
    return {(t.part or t.kind, f) for t in topics(case, knowledge) for f in t.features
            if stages.index(t.step.stage) < last}  # fmt: skip


def inside(knowledge, case):
    return {p.item for p in case.parts if INSIDE & set(knowledge.vocabulary.lineage[p.kind])}


def test_nothing_is_looked_for_inside_before_the_seal_is_out_and_all_of_it_then(whole_base):
    """A cartridge is closed by itself, any other seal by gland and chamber; its collar and screws then too."""
    knowledge, seen = whole_base.knowledge, set()
    for arrangement in knowledge.arrangements.usual:
        loose = case_with_every_kind(knowledge, arrangement, seal={"cartridge": "non-cartridge"})
        closed = case_with_every_kind(knowledge, arrangement, seal={"cartridge": "cartridge"})
        early = {item for item, _ in marks(knowledge, closed, OPENED)}
        assert not early & inside(knowledge, closed), arrangement
        of_the_loose = {item for item, _ in marks(knowledge, loose, OPENED)}
        grips = {p.item for p in loose.parts if {"set screw", "collar"} & set(knowledge.vocabulary.lineage[p.kind])}
        assert not of_the_loose & (inside(knowledge, loose) | grips), arrangement
        clips = {"clip left in", "clip scrape", "clip removed too early"}
        every = [
            {m for m in marks(knowledge, case) if m[1] not in {*clips, "setting mark not made"}}
            for case in (loose, closed)
        ]
        assert every[0] == every[1], "what is inside is asked for later, not left out"
        outside = {p.kind for p in closed.parts if p.item in early}
        assert {"gland", "gland bolt", "set screw", "collar"} & {p.kind for p in closed.parts} <= outside
        seen |= {f for item, f in marks(knowledge, loose) if item in inside(knowledge, loose)}
    assert {"not engaged", "cocked seat", "unwound spring", "bellows twisted"} <= seen, "else this tests nothing"


def test_the_plan_reckons_with_what_a_seal_keeps_until_it_is_opened(whole_base):
    for stage, state in ((OPENED, OPEN), ("before washing", LOST)):
        case = usual_case(whole_base.knowledge, "single", stage=stage)
        reach = Reach(Diagnosis(case, whole_base).judgements[0].inference, "seal")
        assert reach.of("drive not engaged").state == state


ON_THE_HARD_FACE, ON_THE_SOFT_FACE, ON_A_RING, ON_THE_SLEEVE = "2", "1", "3", "9"


@pytest.mark.parametrize(
    ("part", "feature", "setting", "without", "shown_by"),
    [
        (ON_THE_HARD_FACE, "galvanic attack", "hard face", "silicon carbide", "nickel-bound tungsten carbide"),
        (ON_THE_HARD_FACE, "galvanic attack", "hard face", "alumina", "hardened steel"),
        (ON_THE_HARD_FACE, "leached binder", "hard face", "sintered silicon carbide", "cobalt-bound tungsten carbide"),
        (ON_THE_HARD_FACE, "leached binder", "hard face", "sintered silicon carbide", "reaction-bonded silicon carbide"),
        (ON_THE_HARD_FACE, "hard face worn by the carbon", "soft face", "silicon carbide", "carbon"),
        (ON_THE_SOFT_FACE, "blisters", "soft face", "silicon carbide", "resin-filled carbon"),
        (ON_THE_SOFT_FACE, "embedded grit", "soft face", "tungsten carbide", "bronze"),
        (ON_A_RING, "swollen", "elastomer", "PTFE", "jacketed"),
        (ON_A_RING, "hard everywhere", "elastomer", "graphite", "NBR"),
        (ON_A_RING, "cracks across the stretch", "elastomer", "FKM", "CR"),
        (ON_THE_SLEEVE, "smeared screw marks", "held by", "clamp", "set screws"),
        (ON_THE_SLEEVE, "clip scrape", "cartridge", "non-cartridge", "cartridge"),
        ("5", "unequal springs", "springs", "single coil", "multiple"),
        ("fit", "clip left in", "cartridge", "non-cartridge", "cartridge"),
        ("fit", "setting mark not made", "cartridge", "cartridge", "non-cartridge"),
    ],
)  # fmt: skip
def test_a_mark_that_the_recorded_material_or_design_cannot_show_is_not_asked_for(
    whole_base, part, feature, setting, without, shown_by
):
    knowledge = whole_base.knowledge
    asked = {t: (part, feature) in marks(knowledge, usual_case(knowledge, "single", seal={setting: t} if t else {}))
             for t in (without, shown_by, "")}  # fmt: skip
    assert asked == {without: False, shown_by: True, "": True}


def test_the_plan_does_not_look_for_it_either(whole_base):
    for material, there in (("silicon carbide", False), ("nickel-bound tungsten carbide", True)):
        case = usual_case(whole_base.knowledge, "single", seal={"hard face": material}, stage="before washing")
        reach = Reach(Diagnosis(case, whole_base).judgements[0].inference, "seal")
        assert (reach._seen("galvanic attack", "hard face", "").state == OPEN) == there


def test_a_gas_seal_without_set_screws_and_anti_rotation_pin_is_asked_for_no_mark_of_them(whole_base):
    knowledge = whole_base.knowledge
    screws_and_pin = {"smeared screw marks", "unequal bite", "several sets of screw marks", "high spot at the pin"}
    gas = {f for _, f in marks(knowledge, usual_case(knowledge, "dry gas"))}
    assert not screws_and_pin & gas
    assert screws_and_pin <= {f for _, f in marks(knowledge, usual_case(knowledge, "single"))}


def test_a_tandem_of_gas_seals_is_begun_as_gas_seals(tmp_path, whole_base):
    diagnose("start", str(tmp_path / "c.yaml"), "--arrangement", "tandem dry gas")
    assert "film: gas" in (tmp_path / "c.yaml").read_text()
    diagnose("start", str(tmp_path / "d.yaml"), "--arrangement", "tandem")
    assert "film" not in (tmp_path / "d.yaml").read_text()


def test_mistakes_in_what_other_names_say_and_in_what_is_left_out():
    usual = "arrangement: single\ncalled: {one seel: {}}\nparts: []\n"
    assert ("unknown-term", 2) in [p[:2] for p in problems_of(usual=usual)]
    order = "doubt: 2\nleft out:\n  - {on: [fase], until: before washing}\n  - {on: [face], until: before wasching}\nsteps: []\n"
    assert [p[:2] for p in problems_of(order=order)] == [("unknown-kind", 3), ("unknown-word", 4)]


def planned(case, base):
    judgements = Diagnosis(case, base).judgements
    return judgements[0].inference, judgements, plan(judgements)


def test_of_a_seal_without_its_machine_no_work_on_the_machine_is_planned_but_its_sender_is_asked(whole_base):
    knowledge = whole_base.knowledge
    behind, lineage = set(knowledge.arrangements.with_machine), knowledge.vocabulary.lineage
    for at_hand in AT_HAND:
        case = usual_case(knowledge, "single", stage=OPENED, **{"at hand": at_hand})
        steps = planned(case, whole_base)[-1].steps
        on_the_machine = [s.name for s in steps if behind & set(lineage.get(s.part, ()))]
        assert bool(on_the_machine) != case.alone, on_the_machine
        assert {"history"} & {s.part for s in steps}
        text = page(*planned(case, whole_base), None, True, Page()).text()
        assert ("\n  ask the sender\n" in text) == case.alone and ("only the seal is at hand" in text) == case.alone
