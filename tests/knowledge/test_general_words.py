"""A finding named by a general word is there with every special mark of that word, whatever else was looked at and found sound:
one cut O-ring makes a damaged secondary seal, though the next one is whole. Which word is general says the vocabulary."""

from __future__ import annotations

import pytest

from diagnose.casefile.reader import parse_case
from diagnose.inference.run import infer
from diagnose.reading.problems import Problems
from tests.support.shipped import whole_base

# finding, the general word, the kind of part it is on, how the next part is said to be sound
GENERAL = [
    ("secondary seal damaged", "damage", "O-ring", "{absent: damaged, on: gland O-ring}"),
    ("secondary seal damaged", "damage", "gasket", "{saw: normal wear, on: dynamic O-ring}"),
    ("O-ring torn", "tear", "O-ring", "{absent: torn, on: gland O-ring}"),
    ("O-ring cracked", "crack", "O-ring", "{absent: cracked rubber, on: gland O-ring}"),
    ("edge chips on a face", "chip", "soft face", "{absent: edge chips, on: hard face}"),
    ("ring broken", "broken", "soft face", "{absent: fracture, on: hard face}"),
    ("drive worn", "wear", "drive pin", "{absent: drive worn, on: drive slot}"),
    ("springs corroded", "corroded", "spring", "{absent: corroded springs, on: metal bellows}"),
]


def state(finding: str, *records: str) -> str:
    problems = Problems()
    text = "case: A seal\nseal: {arrangement: single}\nobservations:\n" + "".join(f"  - {r}\n" for r in records)
    case = parse_case(text.encode(), "case.yaml", whole_base().knowledge, problems)
    assert case is not None and not problems.found, [str(p) for p in problems.found]
    deduced = infer(case, whole_base()).findings["seal"].get(finding)
    return deduced.state if deduced else "unknown"


@pytest.mark.slow
@pytest.mark.parametrize("finding, word, kind, sound", GENERAL)
def test_a_special_mark_is_the_general_finding_though_another_part_is_sound(finding, word, kind, sound):
    words = whole_base().knowledge.vocabulary
    special = [f for f in words.special[word] if words.can_be_on(f, kind) and not words.features[f].gone]
    assert len(special) > 1
    assert {f: state(finding, f"{{saw: {f}, on: {kind}}}", sound) for f in special} == dict.fromkeys(special, "present")


def test_a_sound_part_alone_tells_that_none_is_damaged():
    assert state("secondary seal damaged", "{saw: normal wear, on: O-ring}") == "absent"
    assert state("secondary seal damaged", "{saw: full even track, on: soft face}") == "unknown"


@pytest.mark.parametrize("finding, record", [
    ("grit embedded in the soft face", "{saw: embedded, made of: catalyst, on: soft face}"),
    ("wire drawing across a face", "{saw: groove, runs: radial, on: soft face}"),
    ("heat tint near the faces", "{saw: stain, colour: blue, on: retainer}"),
    ("face material attacked", "{saw: soft, on: soft face}"),
    ("rubber bellows turned on the shaft", "{saw: slipped, on: elastomer bellows}"),
    ("single spring unwound", "{saw: slipped, on: single spring}"),
    ("metal bellows broken", "{saw: crack, on: metal bellows}"),
    ("accumulator flat", "{saw: tear, on: accumulator}"),
    ("flush dirty", "{saw: missing, on: strainer}"),
    ("cooler fouled", "{saw: scale, on: cooler}"),
    ("carbon rubbed off onto the hard face", "{saw: deposit, made of: carbon, on: silicon carbide face}"),
    ("clean cut in the O-ring", "{saw: cut, on: O-ring}"),
])  # fmt: skip
def test_a_form_on_a_part_is_the_finding_that_it_means(finding, record):
    assert state(finding, record) == "present"


@pytest.mark.parametrize("finding, record", [
    ("clean cut in the O-ring", "{saw: spiral cuts, on: O-ring}"),
    ("O-ring flat on both sides", "{saw: flat on one side, on: O-ring}"),
    ("heat tint near the faces", "{saw: stain, colour: brown, on: retainer}"),
    ("jet wash at one place", "{saw: wire drawing, extent: one sector, on: soft face}"),
    ("metal corroded", "{saw: arc craters, on: sleeve}"),
    ("face worn by an amount not said", "{saw: heavy wear, on: soft face}"),
    ("register worn", "{saw: scratched O-ring seat, on: gland}"),
    ("accumulator flat", "{saw: scratch, on: accumulator}"),
    ("flush path blocked", "{saw: deposit, on: strainer}"),
    ("springs worn", "{saw: polished, on: spring}"),
])  # fmt: skip
def test_what_is_special_otherwise_is_not_that_finding(finding, record):
    assert state(finding, record) != "present"
