"""Phrases read as terms: what is right at the bench, and what must not change or must change a reading."""

from __future__ import annotations

from pathlib import Path

import msgspec
import pytest
import yaml

from diagnose.phrases.blend import IN_OTHER_WORDS
from diagnose.phrases.lift import time_said
from diagnose.phrases.read import read
from tests.support.shipped import whole_base

ROOT = Path(__file__).parents[2]
VOCABULARY = whole_base().knowledge.vocabulary
BENCH = yaml.load((ROOT / "tests/phrases/bench.yaml").read_text("utf-8"), yaml.BaseLoader)["phrases"]


def terms(said: str, on: str = "") -> set[str]:
    """What the first reading says, "not" before what it denies."""
    found = read(said, VOCABULARY, on)
    return {("not " if s.state == "absent" else "") + s.term for s in found[0].statements} if found else set()


def qualifiers(said: str, on: str = "") -> dict[str, str]:
    return dict(read(said, VOCABULARY, on)[0].statements[0].more)


@pytest.mark.parametrize("row", BENCH, ids=lambda row: row["said"])
def test_a_phrase_of_the_bench_is_read_among_the_first_three(row):
    found = read(row["said"], VOCABULARY, row["on"])
    assert any(s.term in row["means"] for r in found[:3] for s in r.statements), [r.text for r in found]


@pytest.mark.slow
@pytest.mark.slow
def test_no_reading_of_the_bench_phrases_that_is_taken_as_sure_is_wrong():
    sure = [
        (row, found[0])
        for row in BENCH
        if (found := read(row["said"], VOCABULARY, row["on"])) and found[0].sureness == "sure"
    ]
    assert len(sure) >= 25
    assert [r.text for row, r in sure if not any(s.term in row["means"] for s in r.statements)] == []


@pytest.mark.parametrize("said", [
    "chip at 3 o'clock", "chip at 3 o’clock", "chip at 3 oclock", "chip at three o'clock", "chip at 3:00", "chip at 90°",
    "chip at 90 degrees", "3 o'clock chip",
])  # fmt: skip
def test_a_clock_position_is_the_same_however_it_is_written(said):
    assert qualifiers(said, "hard face")["extent"] == "at 3"


@pytest.mark.parametrize("said, runs, made_of", [
    ("mud cracks", "in a network", None), ("mud cracking all over the face", "in a network", None),
    ("mud-cracked face", "in a network", None), ("mud in the cracks", None, "sludge"), ("cracks full of mud", None, "sludge"),
])  # fmt: skip
def test_mud_cracks_are_a_network_as_dried_mud_has_and_mud_in_cracks_is_mud(said, runs, made_of):
    more = qualifiers(said, "soft face")
    assert (more.get("runs"), more.get("made of")) == (runs, made_of)


@pytest.mark.parametrize("one, other", [
    ("hard face grooved", "grooved hard face"),
    ("chipped carbon", "carbon chips"),
    ("hung-up", "hung up"),
    ("blistered carbon", "BLISTERED CARBON"),
    ("o-ring swollen", "swollen O-rings"),
    ("heat discolouration", "heat discoloration"),
    ("polymerised product", "polymerized product"),
    ("springs clogged", "clogged spring"),
    ("sleeve fretted", "fretting on the sleeves"),
])  # fmt: skip
def test_order_number_hyphen_case_and_spelling_do_not_change_a_reading(one, other):
    assert terms(one) == terms(other) != set()


@pytest.mark.parametrize("said, denied", [
    ("carbon blistered", "no blisters on the carbon"),
    ("carbon blistered", "carbon not blistered"),
    ("o-ring swollen", "o-ring swelling: none"),
    ("grooves in the hard face", "hard face without grooves"),
])  # fmt: skip
def test_a_denial_turns_present_into_absent(said, denied):
    assert {"not " + term for term in terms(said)} == terms(denied)
    assert read(denied, VOCABULARY)[0].sureness != "sure"


@pytest.mark.parametrize("said, why", [
    ("carbon blisterd", "is taken for"),
    ("no blisters on the carbon", "denial"),
    ("maybe the o-ring is swollen", "doubt"),
    ("o-ring hard due to heat", "cause"),
])  # fmt: skip
def test_what_must_be_asked_says_why(said, why):
    first = read(said, VOCABULARY)[0]
    assert first.sureness != "sure" and any(why in a for a in first.asks), first


def test_two_clauses_are_two_statements_on_the_part_named_once():
    first = read("carbon: chipped at the outer edge; blistered", VOCABULARY)[0]
    assert [(s.on, s.term, s.more.get("side")) for s in first.statements] == [
        ("soft face", "edge chips", "outer edge"), ("soft face", "blister", None),
    ]  # fmt: skip


def test_words_that_are_not_understood_are_told():
    first = read("carbon chipped, quite frobnicated", VOCABULARY)[0]
    assert "frobnicated" in first.unread and first.sureness != "sure"


def test_nothing_is_read_from_nothing():
    assert read("", VOCABULARY) == read("   ...", VOCABULARY) == read("the", VOCABULARY) == ()


@pytest.mark.parametrize("said, on, term, value", [
    ("spring free length 41 vs 45", "spring", "free length", "41 mm"),
    ("runout .02", "shaft", "shaft runout", "0.02 mm"),
])  # fmt: skip
def test_a_number_without_a_unit_is_taken_in_that_of_the_reading_named_and_asked_back(said, on, term, value):
    first = read(said, VOCABULARY, on)[0]
    assert (first.statements[0].term, first.statements[0].more["value"]) == (term, value)
    assert any("unit" in why for why in first.asks) and first.sureness != "sure"


def test_the_number_in_a_name_is_no_figure():
    assert terms("plan 53A") == {"plan: plan 53A"}
    assert "11" not in " ".join(r.text for r in read("plan 11 flow ok", VOCABULARY, "flush line"))


@pytest.mark.parametrize(
    ("said", "term"),
    [
        ("white ceramic", "contact pattern"),
        ("carbon washer / carbon washer / ice", "contact pattern"),
        ("support valve", "tilted"),
        ("barrier liquid", "product in the barrier"),
        ("circular o-ring", "perished"),
        ("hairline from drive slot to OD", "hard"),
        ("flush flow is very small", "hard"),
    ],
)
def test_words_that_only_name_a_part_or_say_how_much_are_no_mark_by_another_meaning(said, term):
    assert term not in {s.term for r in read(said, VOCABULARY) for s in r.statements}


def states(said: str) -> set[str]:
    """Point, variable and value of the states a first reading says."""
    found = read(said, VOCABULARY)
    return (
        {f"{s.on} {s.term} {s.more['value']}" for s in found[0].statements if s.family == "state"} if found else set()
    )


@pytest.mark.parametrize("said, state", [
    ("suction valve fully open", "suction valve valve position wide open"),
    ("pot low", "pot level low"),
    ("discharge steady", "discharge pressure steady"),
    ("orifice clear", "orifice passage free"),
    ("flush 12 l/min", "flush line flow 12 L/min"),
])  # fmt: skip
def test_a_word_that_may_be_a_value_of_several_variables_is_taken_for_what_is_usual_there(said, state):
    assert states(said) == {state}


@pytest.mark.parametrize("said, term", [
    ("no o ring in there", "missing"),
    ("crack starts at the pin notch", "crack at the drive slot"),
    ("slimy muck in the chamber", "sludge"),
    ("odd drop at the gland", "slow uniform leak"),
])  # fmt: skip
def test_a_part_that_only_says_where_leaves_the_term_standing(said, term):
    assert terms(said) == {term}


def test_a_setting_is_not_read_from_what_is_said_of_a_part():
    assert all(s.family != "setting" for s in read("flush line stone cold", VOCABULARY)[0].statements)


@pytest.mark.parametrize("said, meant", [
    ("no leak now", {"not leak"}),
    ("o rings fitted dry", {"not grease"}),
    ("backup ring missing", {"missing"}),
    ("flush valve open", {"valve position"}),
    ("pot pressure dropping", {"pressure"}),
    ("bearing 85 C", {"temperature"}),
])  # fmt: skip
def test_short_notes_are_read_as_they_are_meant(said, meant):
    assert terms(said) == meant


@pytest.mark.parametrize("said, on, meant", [
    ("worn away to nothing", "soft face", {"heavy wear"}),
    ("flush 9 lpm by the bucket", "flush line", {"flow"}),
    ("coupling busted", "coupling", {"broken"}),
    ("mating ring heat chkd", "", {"radial cracks"}),
])  # fmt: skip
def test_idioms_abbreviations_and_figures_beside_other_words_are_read(said, on, meant):
    found = read(said, VOCABULARY, on)
    assert meant <= {s.term for r in found[:3] for s in r.statements if s.state == "present"}, [r.text for r in found]


@pytest.mark.parametrize(
    "said, on", [("plenty of carbon left", "soft face"), ("gone chalky", "mating ring"), ("clean dimple", "set screw")]
)
def test_what_may_mean_less_than_its_term_is_asked_back(said, on):
    assert read(said, VOCABULARY, on)[0].sureness != "sure"


@pytest.mark.parametrize(("said", "value"), [
    ("leak rate 40 mL/day", "40 mL/day"), ("leaks 2 litres a day", "2 L/day"), ("leak rate 3 drops per second", "3 drops/s"),
])  # fmt: skip
def test_a_rate_keeps_the_time_it_was_told_by(said, value):
    assert terms(said) == {"leak rate"} and qualifiers(said)["value"] == value


def test_a_number_in_a_unit_nobody_knows_is_given_no_other():
    said = [s for r in read("leak rate 40 kegs/week", VOCABULARY) for s in r.statements]
    assert said and not [s for s in said if "40" in dict(s.more).get("value", "")]


@pytest.mark.parametrize(("said", "on", "says"), [
    ("fretting under the sliding o-ring, two rings, 0.2 mm deep", "sleeve", {"fretting band"}),
    ("O-ring not hard, it is soft and springy", "O-ring", {"not hard", "soft"}),
])  # fmt: skip
def test_a_phrase_brings_along_nothing_that_it_does_not_say(said, on, says):
    assert terms(said, on) == says
    assert read(said, VOCABULARY, on)[0].unread


@pytest.mark.parametrize("said, on, first, words", [
    ("worn at the OD, nothing at the ID", "hard face", "present", {"nothing", "id"}),
    ("weeping at the gland bolts, not the shaft", "gland", "present", {"not", "shaft"}),
    ("drips from the drain plug not the seal", "seal", "present", {"not", "seal"}),
    ("no chips at the OD", "hard face", "absent", set()),
    ("cracks not on the nose", "soft face", "absent", set()),
])  # fmt: skip
def test_what_something_is_set_against_denies_nothing_before_it_and_is_told_as_unread(said, on, first, words):
    best = read(said, VOCABULARY, on)[0]
    assert best.statements[0].state == first
    assert words - {"not", "nothing"} <= set(best.unread)


@pytest.mark.parametrize("said, on, value", [
    ("water in the bearing oil", "bearing", "wet"), ("oil in the seal gas line", "", "oily"), ("product in our barrier oil", "pot", "product in it"),
])  # fmt: skip
def test_what_is_in_something_is_said_of_it(said, on, value):
    assert any(
        s.term == "cleanliness" and s.more["value"] == value
        for r in read(said, VOCABULARY, on)[:3]
        for s in r.statements
    )


def test_what_is_denied_in_something_is_denied_of_it_and_not_that_anything_is_there():
    (first,) = read("no product in the barrier oil", VOCABULARY)[0].statements
    assert (first.term, first.more, first.state) == ("cleanliness", {"value": "product in it"}, "absent")


@pytest.mark.parametrize("said, on, term", [
    ("all the same height", "spring", "unequal springs"), ("collar stayed put", "collar", "moved along the shaft"),
    ("rotor turns easily", "shaft", "stuck"), ("section still round", "O-ring", "flattened"), ("bone dry at the shaft", "seal", "leak at the shaft exit"),
])  # fmt: skip
def test_what_is_as_it_should_be_says_without_a_denying_word_that_a_mark_is_not_there_and_is_never_sure(said, on, term):
    found = read(said, VOCABULARY, on)
    assert any(s.term == term and s.state == "absent" for r in found[:3] for s in r.statements), [r.text for r in found]
    assert found[0].sureness != "sure"


def test_what_is_as_it_should_be_denied_is_not_so():
    assert "unequal springs" in terms("springs not all the same length", "spring")


@pytest.mark.parametrize(
    "said, on",
    [("no wear to speak of", "O-ring"), ("hardly any chips", "soft face"), ("no cracks at all", "hard face")],
)
def test_no_reading_is_offered_beside_its_opposite(said, on):
    shown = [(s.term, s.more.get("value"), s.state) for r in read(said, VOCABULARY, on) for s in r.statements]
    assert len({(term, value) for term, value, _ in shown}) == len(set(shown))


@pytest.mark.parametrize(
    "said, on", [("one grain in it", "O-ring"), ("hammered flat", "sleeve"), ("popped bubbles on it", "O-ring")]
)
def test_what_is_told_of_the_whole_stands_behind_what_fits_the_part(said, on):
    assert read(said, VOCABULARY, on)[0].statements[0].on not in ("sound", "history", "leak")


@pytest.mark.parametrize(
    ("said", "on", "term", "made_of"),
    [
        ("swollen by water", "O-ring", "swollen", None),
        ("corroded by condensate", "sleeve", "corroded", None),
        ("hard in steam", "O-ring", "hard", None),
        ("water stain", "soft face", "stain", "water"),
        ("film of oil", "soft face", "film", "oil"),
        ("wet with water", "soft face", "wet", "water"),
    ],
)
def test_what_only_touched_a_mark_is_nothing_that_it_is_made_of(said, on, term, made_of):
    first = read(said, VOCABULARY, on)[0]
    assert [s.term for s in first.statements] == [term] and first.sureness == "sure"
    assert first.statements[0].more.get("made of") == made_of


@pytest.mark.parametrize("said", ["full track", "full contact", "track full and even", "full even track"])
def test_a_full_track_is_read(said):
    first = read(said, VOCABULARY, "stationary hard face")[0]
    assert ([s.term for s in first.statements], first.sureness) == (["full even track"], "sure")


@pytest.mark.parametrize(
    ("said", "time"),
    [
        ("five months", "5 months"),
        ("about half a year", "0.5 years"),
        ("a year and a half", "1.5 years"),
        ("two and a half weeks", "2.5 weeks"),
        ("around 1000000 hours", "1000000 h"),
        ("a few months", ""),
        ("half", ""),
        ("five bar", ""),
    ],
)
def test_a_time_is_read_in_words(said, time):
    assert time_said(said) == time


def stated(said: str, on: str = "") -> list[tuple[str, str, str]]:
    return [(s.on, s.term, s.more["value"]) for s in read(said, VOCABULARY, on)[0].statements if s.family == "state"]


@pytest.mark.parametrize("said, on, state", [
    ("flow up from 4 to 11", "primary vent", ("primary vent", "flow", "rising")),
    ("level down from 80 to 40", "pot", ("pot", "level", "falling")), ("motor amps dropped from 80 to 40", "driver", ("driver", "load", "falling")),
    ("discharge pressure from 3 bar to 1 bar", "", ("discharge", "pressure", "falling")), ("strainer dp from 0.2 to 0.9 bar", "", ("flush strainer", "differential pressure", "rising")),
])  # fmt: skip
def test_two_figures_of_which_one_is_before_and_one_after_say_whether_it_rises(said, on, state):
    assert state in stated(said, on)


@pytest.mark.parametrize("said", ["in 70 out 55", "70 in, 55 out", "in at 70 and out at 55"])
def test_a_figure_that_goes_in_and_one_that_comes_out_are_of_the_two_ends(said):
    assert set(stated(said, "cooler")) == {
        ("cooler in", "temperature", "70 °C"),
        ("cooler out", "temperature", "55 °C"),
    }


def test_an_angle_that_is_gone_over_is_how_far_round_and_no_place():
    assert qualifiers("dull track over 200 degrees", "hard face")["extent"] == "one sector"
    assert qualifiers("dull track at 90 degrees", "hard face")["extent"] == "at 3"


@pytest.mark.parametrize(
    "said, on",
    [
        ("corroded when we opened it", "sleeve"),
        ("cracked or worn", "bearing"),
        ("as well as cracked", "hard face"),
        ("cracked, all in place", "spring"),
    ],
)
def test_a_word_that_says_nothing_is_no_other_word_of_the_same_stem(said, on):
    """ "we" is not "wee", "or" no "O-rings", "well" not "wellied", "in place" not "in places"."""
    for reading in read(said, VOCABULARY, on)[:1]:
        assert not [
            s
            for s in reading.statements
            if "degree" in s.more or s.more.get("extent") == "patches" or s.on in ("O-ring", "sound")
        ]


@pytest.mark.parametrize(
    "said", ["tracing dead on the flush line", "crust on the flush valve", "drips on the discharge valve"]
)
def test_on_a_part_is_where_and_not_that_a_valve_is_open(said):
    assert not any(s.term == "valve position" for r in read(said, VOCABULARY)[:3] for s in r.statements)


def test_none_said_twice_is_not_denied():
    assert stated("flush dead, no flow at all", "flush line")[0][2] == "none"
    assert read("flush dead, no flow at all", VOCABULARY, "flush line")[0].statements[0].state == "present"


def test_a_denied_word_stands_before_a_saying_of_which_it_is_only_a_word():
    found = {r.statements[0].term: r.score for r in read("not a scratch on it", VOCABULARY, "sleeve")}
    assert next(iter(found)) == "scratch" and found["scratch"] - found.get("coke", 0.0) > 0.1


@pytest.mark.parametrize(
    "said, on", [("skin came off like an orange", "O-ring"), ("edges nibbled by something", "soft face")]
)
def test_what_only_says_in_general_what_a_better_reading_says_is_not_among_the_first_three(said, on):
    shown = [r.statements[0].term for r in read(said, VOCABULARY, on)[:3]]
    line = VOCABULARY.form_lineage
    assert not [(a, b) for n, b in enumerate(shown) for a in shown[:n] if b in line.get(a, ())]


@pytest.mark.parametrize("said, on, denied, never", [
    ("cooler never fitted", "", "cooler: fit not done", "cooler: fit done"),
    ("strainer was not installed", "", "fit not done", "fit done"),
])  # fmt: skip
def test_a_word_out_of_a_longer_one_that_denies_is_denied(said, on, denied, never):
    told = " | ".join(r.text for r in read(said, VOCABULARY, on))
    assert denied in told and never not in told


def test_what_was_never_there_is_not_lost():
    for said in ("quench never fitted", "quench not installed", "never fitted a quench"):
        first = read(said, VOCABULARY)[0]
        assert all(s.term != "quench lost" for s in first.statements), first.text


@pytest.mark.parametrize("said, on, right, never", [
    ("etched in the track", "soft face", "attacked", "attack outside the track"),
    ("track eaten away, attacked inside the track", "hard face", "attacked", "attack outside the track"),
    ("etched outside the track", "hard face", "attack outside the track", ""),
])  # fmt: skip
def test_a_place_said_is_no_term_of_another_place(said, on, right, never):
    assert right in terms(said, on) and never not in terms(said, on)


@pytest.mark.parametrize("said, on", [
    ("gland nuts were tight", "gland bolt"), ("all screws found tight", "set screw"), ("screws were tight", ""),
])  # fmt: skip
def test_what_was_found_tight_is_not_loose_and_nothing_was_done(said, on):
    first = read(said, VOCABULARY, on)[0].statements[0]
    assert first.term in ("loose", "loose bolts") and first.state == "absent"
    assert all(s.family != "act" for r in read(said, VOCABULARY, on) for s in r.statements)


@pytest.mark.parametrize(
    "said, on", [("ring came out in one piece", "hard face"), ("seat in one piece", ""), ("in one piece", "spring")]
)
def test_what_is_in_one_piece_is_not_broken(said, on):
    first = read(said, VOCABULARY, on)[0].statements[0]
    assert (first.term, first.state) == ("broken", "absent")


def test_nothing_is_done_to_a_leak_and_no_mark_is_on_one():
    for said in ("leak loosened", "leak tightened up", "leak left standing", "noise was drained", "leak is shrunk"):
        found = [s for r in read(said, VOCABULARY) for s in r.statements if s.on in ("leak", "sound", "history", "fit")]
        assert all(VOCABULARY.features[s.term].on for s in found if s.family == "feature"), said
        assert all(s.family != "act" for s in found), said


def test_what_sets_is_the_liquid_where_the_phrase_was_said_of_it():
    for said in ("sets when cold", "sets on cooling", "set solid overnight"):
        assert all(s.on != "elastomer" for r in read(said, VOCABULARY, "product") for s in r.statements), said


@pytest.mark.parametrize("said", ["none of it besides", "nothing besides", "none of these besides that"])
def test_a_denial_of_nothing_says_nothing(said):
    assert read(said, VOCABULARY) == ()


@pytest.mark.parametrize(
    "said, term", [("service solvent", "service: solvent"), ("Hard face tungsten carbide", "hard face: tungsten carbide"),
                   ("history hydrotest", "history: hydrotest"), ("elastomer fkm", "elastomer: FKM")])  # fmt: skip
def test_a_setting_said_by_its_name_and_a_term_is_that_setting_and_is_asked_back(said, term):
    (only,) = read(said, VOCABULARY)
    assert [s.term for s in only.statements] == [term] and only.sureness == "likely" and only.asks


@pytest.mark.parametrize("said", ["anti-rotation pins", "sleeve gasket", "drive lugs"])
def test_words_that_only_name_a_part_say_no_mark_of_it_by_meaning(said):
    assert all(IN_OTHER_WORDS not in r.asks for r in read(said, VOCABULARY))


@pytest.mark.parametrize(
    "said, on, term", [("no vibration", "machine", "vibration"), ("without any vibration", "", "vibration")]
)
def test_what_is_denied_is_not_offered_again_as_a_state_of_the_same_name(said, on, term):
    found = [s for r in read(said, VOCABULARY, on) for s in r.statements]
    assert (
        found[0].term == term
        and found[0].state == "absent"
        and all(s.family != "state" for s in found if s.term == term)
    )


def test_beside_a_denial_in_full_words_nothing_is_offered_that_says_it_in_part():
    found = read("nuts were tight", VOCABULARY, "gland bolt")
    assert found[0].statements[0].state == "absent"
    assert all(not r.unread and "the term may say more than was said" not in r.asks for r in found)


def test_a_sound_is_not_worn():
    for r in read("sound, no complaints", VOCABULARY):
        assert all((s.on, s.term) not in (("sound", "wear"), ("sound", "damage")) for s in r.statements)


@pytest.mark.parametrize(
    "said, on, extent", [("worn from 10 to 2", "hard face", "10 to 2"), ("deposit from 4 to 7", "sleeve", "4 to 7")]
)
def test_hours_from_and_to_of_a_mark_are_clock_positions_and_are_asked_back(said, on, extent):
    first = read(said, VOCABULARY, on)[0]
    assert first.statements[0].more["extent"] == extent and any("clock" in why for why in first.asks)


def test_figures_from_and_to_of_a_state_are_no_clock_positions():
    assert all(
        "extent" not in s.more
        for r in read("level went from 4 to 7", VOCABULARY, "pot")
        for s in r.statements
        if s.family == "state"
    )


def test_a_denied_name_denies_nothing_before_it():
    first = read("left standing with acid in it, not flushed", VOCABULARY, "product")[0]
    stood = next(s for s in first.statements if s.term == "leave standing")
    assert stood.state == "present" and stood.more["with"] == "acid"


@pytest.mark.parametrize("said, on, there, gone", [
    ("no leak, dry to the touch", "seal", (), ("leak",)),
    ("no grit found swab clean", "face", (), ("grit between the faces",)),
    ("no edge chips edge unbroken", "face", (), ("edge chips",)),
    ("no noise, seal silent as usual", "", (), ("noise",)),
    ("springs not all one length", "spring", ("unequal springs",), ()),
    ("no product in it", "barrier fluid", (), ("cleanliness",)),
    ("not a single gland bolt was tight", "gland bolt", ("loose bolts",), ()),
    ("no red dust at the pins this time", "drive part", (), ("debris",)),
    ("stone cold, not on", "flush line", ("temperature",), ()),
    ("not set yet, still runny", "product", ("state of liquid",), ()),
    ("rust? not a speck", "casing", (), ("iron oxide",)),
    ("topped up? not once all winter", "pot", (), ("top up",)),
    ("no more than the usual wear", "face", ("normal wear",), ()),
])  # fmt: skip
def test_a_denial_is_of_what_it_stands_before_and_of_nothing_else(said, on, there, gone):
    first = read(said, VOCABULARY, on)[0].statements
    assert {s.term for s in first if s.state == "present"} >= {*there}
    assert not {s.term for s in first if s.state == "present"} & {*gone}
    assert {s.term for s in first if s.state == "absent"} >= {*gone}


@pytest.mark.parametrize(
    "said, on, term", [("edge whole", "face", "edge chips"), ("water", "product", "very pure water")]
)
def test_one_word_out_of_a_saying_is_not_likely_to_say_it(said, on, term):
    assert all(
        r.sureness == "weak"
        for r in read(said, VOCABULARY, on)
        for s in r.statements
        if s.term == term and s.state == "present"
    )


def test_where_nothing_can_be_said_a_phrase_is_read_to_nothing():
    bare = msgspec.structs.replace(VOCABULARY, features={}, readings={}, settings={})
    bare = msgspec.structs.replace(bare, grammar=msgspec.structs.replace(bare.grammar, acts={}))
    assert read("face worn flat", bare) == ()
