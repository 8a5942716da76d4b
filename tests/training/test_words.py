"""Acts, causes and mechanisms in a trainee's own words."""

from __future__ import annotations

import pytest

from diagnose.training.bench import LOOK, MEASURE, Act, start
from diagnose.training.drill import do
from diagnose.training.heard import Ear, Misheard
from diagnose.training.naming import meant
from diagnose.training.scoring import NONE
from tests.support.places import ROOT
from tests.training.drills import hidden_of


@pytest.fixture(scope="session")
def ear(condensate):
    return Ear(condensate)


@pytest.mark.parametrize(
    ("line", "act"),
    [
        ("Look at the carbon ring", Act(LOOK, ("1",))),
        ("mating ring", Act(LOOK, ("2",))),
        ("inspect part 7", Act(LOOK, ("7",))),
        ("look for blisters on the carbon ring", Act(LOOK, ("1",), (), ("blisters",))),
        ("check the o-rings for hardness", None),
        ("ask about the history", Act(LOOK, (), ("history",))),
        ("ask how it leaked", None),
        ("listen to the sound", Act(LOOK, (), ("sound",))),
        ("take out the O-rings", Act("take out", ("3", "4", "5"))),
        ("undo the gland bolts", Act("unbolt")),
        ("open it up", Act("part the faces")),
        ("look at o-ring 3", Act(LOOK, ("3",))),
        ("please undo the bolts", Act("unbolt")),
        ("take the seal apart", Act("part the faces")),
        ("clean everything", Act("wash")),
        ("put the springs and the gland in a bag", Act("bag", ("6", "9"))),
        ("tag all parts.", Act("tag")),
        ("note which part touches which", Act("note contacts")),
        ("take a photo of the sleeve", Act("photograph", ("7",))),
        ("hold ring o-ring at its clock position", Act("hold", ("3",))),
        ("measure nose height", Act(MEASURE, card="nose height")),
        ("measure the hardness of the O-rings", Act(MEASURE, card="O-ring hardness near and far")),
        ("do the push test", Act(MEASURE, card="push test of the sliding ring")),
        ("look at both faces", Act(LOOK, ("1", "2"))),
        ("look at each O-ring", Act(LOOK, ("3", "4", "5"))),
        ("look at carbon ring and shiny thing", Act(LOOK, ("1",))),
        ("rip it apart", Act("part the faces")),
        ("ask how long it ran", Act(LOOK, (), ("history",))),
        ("what happened?", Act(LOOK, (), ("leak", "sound", "machine", "history", "product"))),
        ("swab the faces before separation", Act(MEASURE, card="face swab before separation")),
        ("ask the operator about the sound", Act(LOOK, (), ("sound",))),
        ("take o-rings out", Act("take out", ("3", "4", "5"))),
        ("pull faces apart", Act("part the faces")),
        ("look between the faces", Act(LOOK, ("1", "2"))),
        ("both faces", Act(LOOK, ("1", "2"))),
    ],
)
def test_lines_are_understood(ear, line, act):
    heard = ear.hear(line)
    if act is None:
        assert isinstance(heard, Act), heard
        return
    assert isinstance(heard, Act), heard
    assert (heard.verb, heard.items, heard.kinds, heard.features, heard.card) == (
        act.verb,
        act.items,
        act.kinds,
        act.features,
        act.card,
    )


@pytest.mark.parametrize(
    "line",
    [
        "",
        "sing a song",
        "wash the banana",
        "measure the moon",
        "open it",
        "check how flat the faces are",
        "smash the gland",
    ],
)
def test_what_is_not_understood_is_told_with_a_way_out(ear, line):
    heard = ear.hear(line)
    assert isinstance(heard, Misheard) and any(x in heard.says for x in ("?", "type", "parts"))


@pytest.mark.parametrize(
    ("line", "named"),
    [
        ("measure runout", ["shaft runout at the chamber", "runout with the coupling open"]),
        ("take a swab", ["grit swab of the faces", "face swab before separation"]),
        ("measure how deep the screws bit", ["set screw bite"]),
        ("check how flat the faces are", ["flatness with an optical flat"]),
        ("take a swab of the flush line", ["flush line and valve check"]),
        ("ask who fitted it", ["history", "everything"]),
        ("open the pump", ["unbolt", "part the faces"]),
    ],
)
def test_where_several_things_may_be_meant_they_are_named_and_none_is_done(ear, line, named):
    heard = ear.hear(line)
    assert isinstance(heard, Misheard) and not [n for n in named if n not in heard.says], heard.says


@pytest.mark.parametrize(
    ("line", "instead"), [("wip the sleeve", "wipe the sleeve"), ("chuck the o-rings", "check the o-rings")]
)
def test_a_misspelt_act_is_asked_back_before_it_is_done(ear, line, instead):
    heard = ear.hear(line)
    assert isinstance(heard, Misheard) and heard.instead == instead


def test_what_of_a_line_is_not_known_is_kept_to_be_told(ear):
    assert ear.hear("look at the carbon ring and the shiny thing").unheard == ("shiny thing",)


@pytest.mark.parametrize(
    ("said", "name"),
    [
        ("dry running", "dry running"),
        ("it ran dry", "dry running"),
        ("dry run of the faces", "dry running"),
        ("hang up", "hang-up of the sliding ring"),
        ("o ring hardened by heat", "thermal hardening of an O-ring"),
        ("carbon blistered", "carbon blistering"),
        ("abrasion by grit", "abrasive wear"),
        ("product coked", "coking"),
        ("seat was squint", "stationary ring askew"),
        ("warped", "mechanical distortion of a face"),
    ],
)
def test_mechanisms_are_named_in_own_words(condensate, said, name):
    k = condensate.knowledge
    found = meant(said, {n: m for n, m in k.mechanisms.items() if not m.leak_path}, k).names
    assert name in found[:3]


@pytest.mark.parametrize(
    ("said", "name"),
    [
        ("nobody vented the seal", "gas not vented"),
        ("pump ran without liquid", "pump run without liquid"),
        ("bolts pulled up unevenly", "gland pulled up unevenly or too hard"),
        ("bent shaft", "shaft runout"),
        ("wrong rubber for the product", "rubber unsuited to the liquid"),
        ("none", NONE),
    ],
)
def test_causes_are_named_in_own_words(condensate, said, name):
    assert name in meant(said, condensate.knowledge.causes, condensate.knowledge).names[:4]


def test_a_phrase_that_only_touches_a_name_is_not_taken_for_it(condensate):
    causes, k = condensate.knowledge.causes, condensate.knowledge
    assert meant("bent shaft", causes, k).names and not meant("seat was squint", causes, k).plain
    assert meant("the valve was shut", causes, k).plain
    happened = {n: m for n, m in k.mechanisms.items() if not m.leak_path}
    assert "hang-up of the sliding ring" not in meant("screws pulled up uneven", happened, k).names


def test_nothing_is_made_of_words_that_say_nothing(condensate):
    assert meant("hello there my friend", condensate.knowledge.causes, condensate.knowledge).names == []


def test_what_keeps_a_part_is_not_done_to_what_is_no_part(condensate):
    before = start(condensate)
    after, outcome = do(before, Act("photograph", kinds=("machine",)))
    assert "parts on the list only" in outcome.refused and after == before


def test_the_seal_is_not_the_seal_chamber(whole_base):
    hidden = hidden_of(ROOT / "scenarios" / "shaft-runout-large-record.yaml", whole_base)
    assert any("seal chamber" in p.name.lower() for p in hidden.parts.values())
    heard = Ear(hidden).hear("look at the seal")
    assert heard.kinds == ("seal",) and not heard.items


def test_the_seal_as_a_whole_is_one_look_and_not_all_of_them(ear):
    heard = ear.hear("look at the seal")
    assert heard.kinds == ("seal",) and not heard.items
