"""What goes against the record, or cannot be so, is told at once; what was told is not asked again."""

from __future__ import annotations

import pytest

from diagnose.casefile.recorder import Recorder
from diagnose.casefile.walk import usual_document
from diagnose.session.entries import ABSENT, NONE, SEEN, YES, details, entry_of, is_measured, says_what
from diagnose.session.talk import Talk
from tests.session.script import Script, session, to_step

RING = "1 Rotating ring @ "
END = "2 Stationary ring"


def told(script: Script) -> str:
    return " ".join(script.text.split())


def states(case_now, *features: str) -> dict[str, str]:
    return {o.feature: o.state for o in case_now.observations if o.feature in features}


@pytest.mark.parametrize("ended", ["failed", ""])
def test_none_of_what_one_must_be_so_is_not_known(case, knowledge, ended):
    script = Script(
        ("how the seal came out", ended),
        ("Leak @ Seen", "puffs; none"),
        ("History @ Seen", "1-6: no; 7: no"),
        stop_at="Step 2",
    )
    now = session(case, knowledge, script)
    for features in knowledge.arrangements.one_of.values():
        assert set(states(now, *features).values()) == {"not looked at"}, features
    assert states(now, "puffs", "leak alarm", "repeated short life") == {
        "puffs": "present", "leak alarm": "absent", "repeated short life": "absent",
    }  # fmt: skip
    assert (
        "how long the seal lived: one of these must be so and none is named, so all of them stand as not known"
        in told(script)
    )


def test_none_is_a_denial_where_one_is_known_or_the_seal_is_sound(case, knowledge):
    script = Script(
        ("how the seal came out", "sound"), ("Leak @ Seen", "none"), ("History @ Seen", "3; none"), stop_at="Step 2"
    )
    now = session(case, knowledge, script)
    assert set(states(now, *knowledge.arrangements.one_of["where it leaked"]).values()) == {"absent"}
    lived = states(now, *knowledge.arrangements.one_of["how long the seal lived"])
    assert lived.pop("failed within days") == "present" and set(lived.values()) == {"absent"}


def test_what_was_said_of_the_face_stands_on_the_ring_in_hand_and_is_not_asked_again(case, knowledge):
    script = Script(
        *to_step(5), ("part 2 Stationary ring @ Seen", "mud cracks all over the face"), (END + " @ Seen", "hot spots on the face"),
        ("part 2 Stationary ring @ Seen besides", "face has hot spots"), stop_at="Step 8",
    )  # fmt: skip
    now = session(case, knowledge, script)
    seen = {(o.part, o.kind, o.feature) for o in now.observations if o.state == "present"}
    assert {x[:2] for x in seen} == {("2", "stationary hard face")} and (
        "2",
        "stationary hard face",
        "hot spots",
    ) in seen
    last = script.text.partition("Step 7")[2].partition("part 2 Stationary ring\n")[2].partition("Seen")[0]
    assert "radial cracks!" in last and "hot spots" not in last


def test_a_mark_on_a_kind_of_which_there_is_one_part_is_not_asked_of_that_part(case, knowledge):
    with Recorder(case, knowledge, "ann") as r:
        r.accept({"add": "observations", "entry": {"on": "sleeve", "saw": "fretting band"}})
    script = Script(*to_step(5), stop_at="part 12 Gland")
    session(case, knowledge, script)
    assert "pits under the O-ring!" in script.text and "fretting band" not in script.text


def test_what_was_done_is_not_asked_again_as_a_mark_and_not_denied_beside_it(case, knowledge):
    script = Script(("Vent; part 16 Flush line @ Seen", "absent not vented; no vent path"), stop_at="Step 3")
    with Recorder(case, knowledge, "ann") as r:
        (line,) = r.accept({"add": "acts", "entry": {"did": "vent", "to": "chamber", "not": "true"}})
    now = session(case, knowledge, script)
    vent = script.text.partition("Vent; part 16")[2].partition("Seen")[0]
    assert "no vent path" in vent and "not vented!" not in vent
    assert (
        f"not vented: not denied, it is on record as there: by vent chamber (r{line.number}; /fix r{line.number} corrects it)"
        in told(script)
    )
    assert states(now, "not vented", "no vent path") == {"no vent path": "present"}


def test_a_general_word_is_not_denied_beside_a_special_one_that_was_seen(case, knowledge):
    script = Script(
        *to_step(7),
        ("parts 4 O-ring @ Seen", "part 4 hard everywhere: all round"),
        ("parts 4 O-ring @ Seen", "absent hard"),
        stop_at="part 5 Springs",
    )
    now = session(case, knowledge, script)
    assert {(o.part, o.state) for o in now.observations if o.feature == "hard"} == {("10", "absent"), ("13", "absent")}
    assert "hard: not denied, it is on record as there: hard everywhere (r" in told(script)


def test_what_a_part_of_the_seal_shows_is_not_asked_of_the_seal_as_a_whole(case, knowledge):
    script = Script(*to_step(5), ("\nAtmosphere side @ Seen", "iron oxide; none"), stop_at="Step 6")
    session(case, knowledge, script)
    whole = script.text.partition("\nSeal: ")[2].partition("Seen")[0]
    assert "scale!" in whole and "iron oxide" not in whole


@pytest.mark.parametrize(
    ("then", "reading", "remark"), [("12", ["46.8 mm"], []), ("", [], ["seal off centre: 46.8"]), ("none", [], [])]
)
def test_a_number_behind_a_look_is_refused_with_what_it_takes_and_is_not_lost(case, knowledge, then, reading, remark):
    card = "Fit; Shaft\n @ "
    script = Script(
        *to_step(3),
        ("kind of machine", "1"),
        (card + "Seen", "4; 3: 46.8"),
        ("46.8 is (its number", then),
        stop_at="Piping",
    )
    now = session(case, knowledge, script)
    assert states(now, "seal off centre", "setting mark not made") == {"setting mark not made": "present"}
    assert [x.readings[0].written for x in now.measured] == reading and [r.note for r in now.remarks] == remark
    assert "seal off centre is looked for, not measured. It takes where and how much (3: 10 to 2, severe" in told(
        script
    )


@pytest.mark.parametrize(("text", "measured"), [
    ("46.8", True), ("4.0", True), ("5.1 5.0 mm", True), ("14", True), ("5 mm", True), ("92 Shore A", True), ("3", False), ("at 3", False),
    ("3:30", False), ("90°", False), ("10 to 2", False), ("severe", False), ("3, severe", False), ("", False), ("25 to 2", False), ("7 all round", False), ("7 light", False),
])  # fmt: skip
def test_numbers_as_they_are_measured_are_no_clock_positions(text, measured):
    assert is_measured(text) == measured


@pytest.mark.parametrize(
    ("typed", "choice"),
    [("light blisterz", "blisters"), ("blistrs, light", "blisters"), ("severe hairlinez across", "")],
)
def test_the_degree_of_a_line_stays_when_a_choice_is_taken(case, knowledge, typed, choice):
    script = Script(*to_step(7), (RING + "Seen", typed), ("number", choice or "1"), stop_at=END)
    (seen,) = session(case, knowledge, script).observations
    assert "did you mean" in script.text and seen.degree == ("severe" if typed.startswith("severe") else "light")


@pytest.mark.parametrize("word", ["x", "yes", "y", "seen", "there", "ok"])
def test_what_counts_as_seen_is_the_same_behind_a_number_and_in_a_box(case, knowledge, word):
    assert word in SEEN and set(YES) <= set(SEEN) and set(NONE) <= set(ABSENT)
    assert not says_what(word, knowledge.vocabulary)
    assert details(f"{word}, light", knowledge.vocabulary).entry == {"degree": "light"}
    script = Script(*to_step(7), (RING + "Seen", f"2: {word}"), stop_at=END)
    (seen,) = session(case, knowledge, script).observations
    assert seen.feature == "hot spots" and "instead of" not in script.text


@pytest.mark.parametrize("word", ["no", "none", "n", "-", "not there", "absent"])
def test_what_counts_as_not_there_is_the_same_behind_a_number_and_in_a_box(word):
    assert word in ABSENT and entry_of(f"2: {word}").state == "absent"


@pytest.mark.parametrize(("answer", "sure"), [("y", True), ("okay", True), ("", False), ("nothing", False)])
def test_every_yes_is_a_yes(case, knowledge, answer, sure):
    with Recorder(case, knowledge, "ann") as r:
        assert Talk(r, lambda *_: answer, lambda _: None).sure("so? ") == sure


@pytest.mark.parametrize(
    ("answer", "there"),
    [
        ("1 3", {"Coupling", "Throat bushing"}),
        ("", set()),
        ("all", {"Coupling", "Piping", "Throat bushing", "Impeller"}),
    ],
)
def test_where_the_machine_is_not_said_it_is_asked_once_what_it_has(case, knowledge, answer, there):
    script = Script(("this one has", answer), stop_at="Step 8")
    session(case, knowledge, script)
    assert script.text.count("this one has") == 1
    assert {
        k
        for k in ("Coupling", "Piping", "Throat bushing", "Impeller")
        if f"\n{k}: " in script.text or f"\n{k}\n" in script.text
    } == there


def test_where_the_machine_is_said_nobody_is_asked_what_it_has(case, knowledge):
    script = Script(("kind of machine", "1"), stop_at="Step 4")
    session(case, knowledge, script)
    assert "this one has" not in script.text and "\nCoupling: " in script.text


def test_a_pair_s_faces_are_told_apart(tmp_path, knowledge):
    case = tmp_path / "pair.yaml"
    with Recorder(case, knowledge, "ann") as r:
        r.start(usual_document("Pair", "dual pressurised", knowledge.arrangements.usual["dual pressurised"], ""))
    script = Script(("Where does the work stand", "4"), ("What is there", "1"), stop_at="Step 6")
    session(case, knowledge, script)
    headings = [t.split(": ")[0] for t in script.told if "rotating ring" in t and "; part" in t]
    assert headings and not [h for h in headings if "Inboard rotating" in h and "Outboard rotating" in h]


def test_help_for_a_figure_says_what_it_is_in_plain_words(case, knowledge):
    script = Script(("index mark of the rotating", "?"), ("how the seal came out", "? sound"), ("speed", "?"), ("design", "? wedge"),
                    ("Leak @ Seen", "? blisters"), ("Leak @ Seen", "? zorgle"), stop_at="Sound")  # fmt: skip
    session(case, knowledge, script)
    assert (
        "index.rotating" not in script.text
        and "history.removal" not in script.text
        and "equipment.seen" not in script.text
    )
    assert "index mark of the rotating parts:" in script.text and "blisters: Raised shiny spots" in told(script)
    assert "nothing is known here of 'zorgle'" in told(script)


@pytest.mark.parametrize(("which", "on"), [("2", {"2"}), ("all", {"1", "2"}), ("", set())])
def test_own_words_that_fit_either_ring_are_asked_for_their_ring(case, knowledge, which, on):
    script = Script(
        *to_step(4), ("part 1 Rotating ring; part 2 Stationary ring @ Seen", "mud cracks all over the face"), ("numbers (all", which),
        stop_at="Step 5",
    )  # fmt: skip
    now = session(case, knowledge, script)
    assert {o.part for o in now.observations if o.state == "present"} == on
    assert now.not_understood == (() if on else ("mud cracks all over the face",))


def test_own_words_stand_on_the_part_that_can_show_them(case, knowledge):
    script = Script(
        *to_step(4), ("part 2 Stationary ring @ Seen", "part 2 light heat chekcs"), ("number", "1"), stop_at="Step 5"
    )
    (seen,) = [o for o in session(case, knowledge, script).observations if o.state == "present"]
    assert (seen.part, seen.feature, seen.degree) == ("2", "radial cracks", "light")


def test_none_beside_a_mark_denies_no_general_word_of_it_and_loses_nothing(case, knowledge):
    script = Script(*to_step(5), ("part 1 Rotating ring @ Seen", "1; none"), stop_at="part 2 Stationary")
    with Recorder(case, knowledge, "ann") as r:
        r.accept({"set": ["seal", "film"], "to": "gas"})
    now = session(case, knowledge, script)
    on = {o.feature: o.state for o in now.observations if o.part == "1"}
    assert on["grit between the faces"] == "present" and "deposit" not in on and on["wet"] == "absent"


RINGS = "parts 4 O-ring @ Seen"


@pytest.mark.parametrize(
    ("typed", "feature"), [("not swollen", "swollen"), ("no swelling", "swollen"), ("absent swollen", "swollen"), ("no shrinkage", "shrunk")]
)  # fmt: skip
def test_a_plain_denial_of_one_mark_is_a_denial(case, knowledge, typed, feature):
    script = Script(*to_step(6), (RINGS, typed), stop_at="Step 7")
    now = session(case, knowledge, script)
    assert {(o.part, o.state) for o in now.observations if o.feature == feature and o.part != "3"} == {
        (item, "absent") for item in ("4", "10", "13")
    }
    assert "did you mean" not in script.text and now.not_understood == ()


def test_a_denial_of_more_than_one_thing_is_still_asked(case, knowledge):
    script = Script(*to_step(6), (RINGS, "not swollen and soft"), stop_at="Step 7")
    session(case, knowledge, script)
    assert "that is: " in script.text or "did you mean" in script.text


@pytest.mark.parametrize(
    ("again", "parts", "kept"),
    [("2 except part 10", {"4", "13"}, ()), ("", set(), ("all but the lower one pinched",))],
)
def test_an_exception_that_is_not_clear_is_asked_for_and_not_lost(case, knowledge, again, parts, kept):
    script = Script(*to_step(6), (RINGS, "all but the lower one pinched"), ("again", again), stop_at="Step 7")
    now = session(case, knowledge, script)
    assert {o.part for o in now.observations if o.feature == "pinched" and o.state == "present"} == parts
    assert now.not_understood == kept and "which part is meant by 'the lower one pinched'" in told(script)


def test_what_tells_how_to_correct_is_typed_in_the_session(case, knowledge):
    with Recorder(case, knowledge, "ann") as r:
        r.accept({"set": ["service", "temperature"], "to": "70 °C"}, {"set": ["seal", "springs"], "to": "multiple"},
                 {"add": "observations", "entry": {"part": "3", "saw": "missing"}})  # fmt: skip
    script = Script(
        *to_step(6), ("part 3 Sliding O-ring @ Seen", "product temperature 90 C"), ("number", "1"), ("part 3 Sliding O-ring @ Seen", "20: 90"),
        ("part 3 Sliding O-ring @ Seen", "/fix springs"), ("now (withdraw", "single"), ("why is it", "counted again"), stop_at="parts 4",
    )  # fmt: skip
    now = session(case, knowledge, script)
    assert "to correct it: /fix temperature" in told(script) and "/log shows their numbers" in told(script)
    assert "--" not in script.text and [s.term for s in now.settings if s.setting == "springs"] == ["single coil"]


def test_what_does_not_go_together_is_told_once_with_what_to_type(case, knowledge):
    script = Script(
        ("springs (one of", "1"), ("Leak @ Seen", "25: 12 drops/min; absent leak"), ("Leak @ Seen besides", "puffs"),
        ("Leak @ Seen besides", "/fix springs"), ("now", "2"), ("why is it", "counted"), stop_at="\nSound",
    )  # fmt: skip
    now = session(case, knowledge, script)
    text = told(script)
    assert (
        text.count(
            "does not go with 'part 5 Springs (multiple springs)'. Both stand; to correct: /fix springs or /fix part 5"
        )
        == 1
    )
    (rate,) = [line for line in script.told if "recorded" in line and "leak rate" in line]
    assert (
        text.count(
            "'leak rate on leak: 36 mL/h' does not go with 'looked for, not there: leak'. Both stand; to correct: /fix r"
        )
        == 1
    )
    assert f"/fix {rate.split()[1].rstrip(':')} or /fix r" in text
    assert states(now, "leak", "puffs") == {"leak": "absent", "puffs": "present"} and len(now.measured) == 1


@pytest.mark.parametrize(
    ("typed", "written"), [("about half a year", "0.5 years"), ("five months", "5 months"), ("1,5 years", "1,5 years"), ("4000", "4000 h")]
)  # fmt: skip
def test_a_time_is_taken_in_words_where_one_is_asked(case, knowledge, typed, written):
    script = Script(("running hours", typed), stop_at="\nLeak")
    (hours,) = [x for x in session(case, knowledge, script).measured if x.what == "running hours"]
    assert hours.readings[0].written == written


def test_why_a_figure_is_corrected_is_asked_only_of_one_that_can_stand_there(case, knowledge):
    script = Script(("speed", "1450"), ("Leak @ Seen", "/fix speed"), ("now (withdraw", "5 apples"), stop_at="\nSound")
    session(case, knowledge, script)
    assert "apples" in told(script) and not any("why is it corrected" in t for t in script.told)
