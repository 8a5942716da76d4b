"""The guided session: in order of dismantling, what is about to be lost first, left and resumed anywhere; and through a
pseudo-terminal, as a person at the bench has it."""

from __future__ import annotations

import hashlib
import os
import re
import subprocess
import sys
from itertools import pairwise
from pathlib import Path

import pytest

from diagnose.casefile.journal import journal_path, read_journal
from diagnose.casefile.reader import read_case
from diagnose.casefile.recorder import Recorder, look
from diagnose.casefile.walk import topics, usual_document
from diagnose.inference.run import infer
from diagnose.judgement.judge import judge
from diagnose.reading.problems import BadInput
from tests.casefile.terminal import Terminal
from tests.session.bench_sessions import SEALS, TRIAL, recorded
from tests.session.newcomer import LOOKS, Newcomer
from tests.session.script import NOON, Script, session, to_step

ROOT = Path(__file__).parents[2]
COMMAND = [sys.executable, "-m", "diagnose"]


# ---- the walk ---------------------------------------------------------------------------------------------------


@pytest.mark.slow
def test_steps_come_in_the_order_of_the_stages_and_fit_in_80_columns(case, knowledge, monkeypatch):
    monkeypatch.setenv("COLUMNS", "80")
    script = Script()
    session(case, knowledge, script)
    assert max(len(line) for t in script.told for line in t.split("\n")) < 80
    broken = [t for t, after in pairwise(script.told) if re.search(r", \d+$", t) and after.startswith("  ")]
    assert not broken, "a number stands on the line of what it numbers"
    begun = [t for t in script.told if t.startswith("Step ")]
    assert begun == [f"Step {i} of 8: {s.name}" for i, s in enumerate(knowledge.arrangements.steps, 1)]
    stages = [s.stage for s in knowledge.arrangements.steps]
    assert stages == sorted(stages, key=knowledge.vocabulary.stages.index)


@pytest.mark.slow
def test_what_is_about_to_be_lost_is_asked_before_its_step_ends_and_never_again(case, knowledge):
    script = Script(*to_step(5))
    now = session(case, knowledge, script)
    text = "\n".join(script.told)
    before, _, after = text.partition("Before you go on: One wipe takes films, grit")
    assert before.count("Step 5 of 8") == 1 and "Step 6 of 8" not in before
    asked_again, _, _ = after.partition("Step 6 of 8")
    assert "grit between the faces" in asked_again and asked_again.count("Look again") == 1
    skipped = {o.feature for o in now.observations if o.part == "1" and o.state == "not looked at"}
    assert {"crystals between the faces", "hung up", "embedded grit"} <= skipped
    assert not any(o.state == "absent" for o in now.observations)


@pytest.mark.slow
def test_absent_lost_and_not_looked_at_are_different_answers(case, knowledge):
    script = Script(
        *to_step(5), ("1 Rotating ring @ Seen", "absent coke on the faces, metallic film; lost product film"),
        ("1 Rotating ring @ Seen", "hang-up"), stop_at="Step 6",
    )  # fmt: skip
    now = session(case, knowledge, script)
    states = {o.feature: o.state for o in now.observations if o.part == "1"}
    assert states["coke on the faces"] == states["metallic film"] == "absent"
    assert (states["product film"], states["hung up"], states["heat tint"]) == ("lost", "present", "not looked at")
    written = case.read_text()
    assert "{part: 1, absent: coke on the faces}" in written and "{part: 1, not looked at: heat tint}" in written


@pytest.mark.slow
def test_all_that_is_open_at_the_end_of_a_step_can_be_looked_at_again_or_be_none_at_once(case, knowledge):
    script = Script(*to_step(5), ("Look again", "2"), ("2 Stationary ring @ Seen", "lost all"), ("Look again", "none"),
                    stop_at="Step 6")  # fmt: skip
    now = session(case, knowledge, script)
    sound = {f.name for f in knowledge.vocabulary.features.values() if f.sound}
    assert {o.state for o in now.observations if o.part == "2" and o.feature not in sound} == {"lost"}
    assert {o.state for o in now.observations if o.part == "1"} == {"absent"}
    assert {o.part for o in now.observations if o.state == "absent"} >= {"1", "3", "5", "9"}
    assert not sound & {o.feature for o in now.observations}


def test_a_session_left_anywhere_goes_on_where_it_was(case, knowledge):
    script = Script(*to_step(3), stop_at="15 Gland bolts")
    session(case, knowledge, script)
    assert "Left. Everything acknowledged is on disk" in script.told[-1]
    again = Script(stop_at="8 Set screws")
    session(case, knowledge, again)
    text = "\n".join(again.told)
    assert "Step 3 of 8" in text and "15 Gland bolts" in text
    for done in ("Step 2 of 8", "Fit\n", "Piping\n", "Enter to begin"):
        assert done not in text


def test_the_part_that_is_not_there_goes_and_a_renumbered_one_keeps_its_place(case, knowledge):
    script = Script(
        *to_step(3), ("What differs", "none 15"), ("What differs", "part 8 item 15a, tag T-9, index key; part 99 tag T"),
        ("15a Set screws", "loose"), stop_at="Step 4",
    )  # fmt: skip
    now = session(case, knowledge, script)
    assert now.part("15") is None and "15" not in now.part("14").touches
    screws = now.part("15a")
    assert (screws.tag, screws.index) == ("T-9", "key") and "15a" in now.part("9").touches and now.part("8") is None
    assert "no part has the item number 99" in script.text


@pytest.mark.slow
def test_parts_alike_are_asked_about_together_with_exceptions(case, knowledge):
    script = Script(
        *to_step(7), ("parts 4 O-ring @ Seen", "hard: all round, severe; part 10 clean cut: 10; none"), stop_at="Step 8"
    )
    now = session(case, knowledge, script)
    there = {(o.part, o.feature) for o in now.observations if o.state == "present"}
    assert there == {("4", "hard"), ("10", "hard"), ("13", "hard"), ("10", "clean cut")}
    assert {o.part for o in now.observations if (o.feature, o.state) == ("clean cut", "absent")} == {"4", "13"}


@pytest.mark.parametrize(
    ("begin", "answer", "asked"), [("4", "2", True), ("4", "", False), ("7", "", True), ("3", "2", False)]
)
def test_who_has_only_the_seal_says_so_once_it_is_out_and_is_not_asked_about_the_machine(
    case, knowledge, begin, answer, asked
):
    script = Script(("Where does the work stand", begin), ("What is there", answer))
    alone = session(case, knowledge, script).alone
    assert alone == asked and ("at hand: the seal alone" in case.read_text()) == asked
    assert ("what the sender can still tell" in script.text) == asked
    assert ("Shaft; Base" not in script.text and "Bearing" not in script.text) == asked


def test_marks_that_parts_still_lack_are_told_before_they_are_separated(case, knowledge):
    script = Script(
        ("index mark of the rotating", "keyway"), ("index marks seen", "1"), ("Gland bolts @ Marked in line", "12 14"),
        ("Sleeve @ Marked in line", "1 9"), stop_at="Step 5",
    )  # fmt: skip
    now = session(case, knowledge, script)
    assert (now.part("1").index, now.part("1").seen_from, now.part("9").index) == ("keyway", "driver end", "keyway")
    bolted, _, out = script.text.partition("Step 3")[2].partition("Step 4")
    in_line, apart = (text.partition("Without a mark yet")[2] for text in (bolted, out))
    assert (
        "part 12 Gland" in in_line
        and "part 12 Gland" not in apart
        and "Rotating ring" not in in_line.partition("Marked")[0]
    )
    assert "Pencil and ink wash off carbon" in apart and now.part("2").index == "" and now.part("12").index


@pytest.mark.slow
@pytest.mark.parametrize(("begin", "asked"), [("4", True), ("5", False)])
def test_only_parts_that_are_still_together_are_asked_for_their_marks(case, knowledge, begin, asked):
    script = Script(*to_step(int(begin)), stop_at="Step 6")
    session(case, knowledge, script)
    assert ("Without a mark yet" in script.text) == asked
    assert "part 15 Gland bolts" not in script.text.partition("Without a mark yet")[2].partition("Marked")[0]


@pytest.mark.parametrize(("arrangement", "asked"), [("single", False), ("dual pressurised", True)])
def test_a_single_seal_is_not_asked_for_its_barrier_pressure(tmp_path, knowledge, arrangement, asked):
    path = tmp_path / "p.yaml"
    with Recorder(path, knowledge, "ann", lambda: NOON) as r:
        r.start(
            usual_document(
                "P", arrangement, knowledge.arrangements.usual[arrangement], knowledge.arrangements.steps[0].stage
            )
        )
    script = Script(stop_at="Step 2")
    session(path, knowledge, script)
    assert any("barrier pressure" in t for t in script.told) == asked and any(
        "vapour pressure" in t for t in script.told
    )


def test_what_is_lost_is_not_asked_about(case, knowledge):
    script = Script(
        *to_step(7), ("What differs", "lost 1"), ("how was it lost", "broke up and was swept away"),
        ("2 Stationary ring @ Seen", "/lost scrapped"), stop_at="Everything",
    )  # fmt: skip
    now = session(case, knowledge, script)
    assert now.part("1").lost == "broke up and was swept away" and now.lost == {"seal": "scrapped"}
    told = "\n".join(script.told).partition("Step 1 of 8")[2]
    assert "1 Rotating ring" not in told and "2 Stationary ring" in told and "5 Springs" not in told


def test_a_clock_position_asks_for_the_mark_it_is_counted_from(case, knowledge):
    script = Script(
        *to_step(7), ("1 Rotating ring @ Seen", "heat checks: 10 to 2, severe"),
        ("counted from which mark", "set screw 1"), ("seen from", "driver end"), stop_at="2 Stationary ring",
    )  # fmt: skip
    now = session(case, knowledge, script)
    (seen,) = now.observations
    assert (seen.feature, seen.degree, seen.extent.arcs) == ("radial cracks", "severe", ((300, 60),))
    assert (now.part("1").index, now.part("1").seen_from) == ("set screw 1", "driver end")


def test_details_that_make_no_sense_are_asked_again(case, knowledge):
    script = Script(
        *to_step(7), ("1 Rotating ring @ Seen", "edge chips: 25 to 2"), ("instead of '25 to 2'", "sevre"),
        ("instead of 'sevre'", "severe, outer edge, note by the port"), stop_at="2 Stationary ring",
    )  # fmt: skip
    (seen,) = session(case, knowledge, script).observations
    assert (seen.degree, seen.side, seen.note) == ("severe", "outer edge", "by the port")
    assert any("did you mean severe" in t for t in script.told)


def test_a_photo_is_taken_in_with_its_digest(case, knowledge):
    (case.parent / "carbon.jpg").write_bytes(b"light")
    script = Script(
        *to_step(7), ("1 Rotating ring @ Seen", "blisters: photo carbon.png"),
        ("the photo again", "carbon.jpg"), stop_at="2 Stationary ring",
    )  # fmt: skip
    (seen,) = session(case, knowledge, script).observations
    assert (seen.photo, seen.photo_digest) == ("carbon.jpg", hashlib.sha256(b"light").hexdigest())
    assert any("'carbon.png' cannot be read" in t for t in script.told)


@pytest.mark.slow
def test_another_part_can_be_put_on_the_list_and_a_topic_left_for_later(case, knowledge):
    script = Script(
        *to_step(5), ("1 Rotating ring @ Seen", "/part"), ("item number:", "17"), ("kind of part:", "snap ring"),
        ("2 Stationary ring @ Seen", "/skip"), stop_at="Step 6",
    )  # fmt: skip
    now = session(case, knowledge, script)
    assert now.part("17").kind == "retainer"
    text = "\n".join(script.told)
    first, _, second = text.partition("Before you go on")
    assert (
        "2 Stationary ring" in second and first.count("\npart 2 Stationary ring\n") == 2
    )  # before and after leaving it


@pytest.mark.slow
def test_a_pair_is_walked_through_seal_by_seal(tmp_path, knowledge):
    path = tmp_path / "pair.yaml"
    usual = knowledge.arrangements.usual["dual pressurised"]
    with Recorder(path, knowledge, "ann", lambda: NOON) as r:
        r.start(usual_document("Pair", "dual pressurised", usual, "while running"))
    script = Script(*to_step(5), ("21 Outboard rotating ring @ Seen", "crystals between the faces"), stop_at="Step 6")
    now = session(path, knowledge, script)
    (seen,) = [o for o in now.observations if o.state == "present"]
    assert (seen.position, seen.part) == ("outboard", "21")


@pytest.mark.slow
def test_a_word_that_is_only_near_is_asked_back(case, knowledge):
    script = Script(*to_step(7), ("1 Rotating ring @ Seen", "blistring"), ("number (Enter", "1"),
                    stop_at="2 Stationary ring")  # fmt: skip
    (seen,) = session(case, knowledge, script).observations
    assert seen.feature == "blisters"


@pytest.mark.slow
def test_readings_off_their_nominal_are_asked_again(case, knowledge):
    script = Script(
        *to_step(7), ("new free length", "22.0"),
        ("5 Springs @ Seen", "free length: 22.0 2.19 21.9"), ("2.19 mm, but new free length is 22 mm", ""),
        ("5 Springs @ Seen", "free length 22.0 21.9 21.8"), stop_at="6 Drive collar",
    )  # fmt: skip
    now = session(case, knowledge, script)
    (lengths,) = [x for x in now.measured if x.what == "free length"]
    assert [round(r.value * 1000, 1) for r in lengths.readings] == [22.0, 21.9, 21.8]
    assert any("Is that so" in t for t in script.told)


def test_a_pressure_says_whether_it_is_gauge(case, knowledge):
    script = Script(("chamber pressure", "2.4"), ("gauge or absolute", "g"), stop_at="vapour pressure")
    now = session(case, knowledge, script)
    (pressure,) = [x for x in now.measured if x.what == "chamber pressure"]
    assert pressure.readings[0].value == pytest.approx(240000 + 101325)


@pytest.mark.slow
def test_a_record_is_corrected_in_the_session_with_a_reason(case, knowledge):
    script = Script(
        *to_step(7), ("1 Rotating ring @ Seen", "blisters: severe"), ("1 Rotating ring @ Seen", "/log"),
        stop_at="2 Stationary ring",
    )  # fmt: skip
    session(case, knowledge, script)
    number = str(next(x.number for x in read_journal(journal_path(case)).lines if x.what.get("entry", {}).get("saw")))
    again = Script(("1 Rotating ring @ Seen", ""), ("Enter", ""), stop_at="")
    again.answers = [("Seen", f"/fix {number}"), ("now (saw", "absent"), ("why is it", "looked again")]
    again.stop_at = "3 Sliding O-ring"
    now = session(case, knowledge, again, "bob")
    assert [o.state for o in now.observations if o.feature == "blisters"] == ["absent"]
    corrected = [x for x in read_journal(journal_path(case)).lines if x.what.get("why") == "looked again"]
    assert [(x.who, x.what["instead of"]) for x in corrected] == [("bob", number)]


@pytest.mark.slow
@pytest.mark.slow
def test_help_standing_and_unknown_commands_at_any_question(case, knowledge):
    script = Script(
        *to_step(7), *[("1 Rotating ring @ Seen", x) for x in ("?", "=", "/leave", "? 2")], stop_at="2 Stationary ring"
    )
    session(case, knowledge, script)
    text = "\n".join(script.told)
    assert "blisters: Raised shiny spots" in text
    assert (
        "So far:" in text
        and "Next best:" in text
        and "A bit is what the answer to one even question tells" in " ".join(text.split())
    )
    assert "no command '/leave'" in text


def test_every_topic_has_a_name_of_its_own(case, knowledge):
    found = topics(read_case(case, knowledge), knowledge)
    assert len({t.id for t in found}) == len(found) > 60


# ---- through a pseudo-terminal ------------------------------------------------------------------------------------


def terminal(case: Path, *more: str, **how) -> Terminal:
    return Terminal([*COMMAND, "record", str(case), *more], env=dict(os.environ), cwd=str(ROOT), **how)


def until(t: Terminal, end: str, answer: str = "") -> str:
    """Answers everything alike until a question holds the text."""
    while text := t.question():
        if end in text:
            return text
        t.answer(answer)
    raise AssertionError(f"{end!r} was never asked; last: {t.all[-500:]}")


@pytest.mark.slow
def test_a_newcomer_types_the_paper_case_in_and_gets_its_cause(tmp_path, whole_base, whole_network):
    path = tmp_path / "k7.yaml"
    subprocess.run(
        [*COMMAND, "start", path, "--arrangement", "single", "--name", "Liquor pump K-7"], check=True, cwd=ROOT
    )
    t, newcomer, questions = terminal(path, columns=80), Newcomer(), 0
    while text := t.question():
        t.answer(newcomer.answer(text))
        questions += 1
    assert t.ended() == 0
    assert not newcomer.unused and not newcomer.readings and not newcomer.left
    assert questions < 120 and t.sent / questions < 1500, "bytes a question: a slow line must do"
    sheet = (ROOT / "scenarios" / "bench-sheet.txt").read_text()
    expected = re.search(r"^expected leading cause: (.+)$", sheet, re.M).group(1)
    now = read_case(path, whole_base.knowledge)
    (judgement,) = judge(infer(now, whole_base), whole_network)
    assert judgement.causes[0].name == expected
    assert len([o for o in now.observations if o.state == "present"]) == sum(len(v[0]) for v in LOOKS.values())
    assert look(path).view == "same"


@pytest.mark.slow
def test_the_standing_comes_with_enter_which_answers_nothing_else_and_tab_completes(case):
    t = terminal(case)
    until(t, "Where does the work stand")
    t.answer("7")
    until(t, "Step 7 of 8")
    t.answer("=")
    assert "So far:" in t.question()
    t.process.send("blstr\t")
    assert t.shows("blisters")
    t.process.send("\r")
    assert "where and how much" in t.question()
    t.answer("")
    assert "recorded" in (text := t.question()), text
    t.answer("/quit")
    while t.question():
        t.answer("")
    assert t.ended() == 0
    assert "{part: 1, saw: blisters}" in case.read_text()
    assert not case.with_name("k7.yaml.lock").exists()


@pytest.mark.slow
def test_a_terminal_that_can_nothing_gets_plain_questions(case):
    t = terminal(case, term="dumb", columns=80)
    assert "Where does the work stand" in t.question()
    assert "\x1b" not in t.all
    t.answer("")
    t.question()
    t.answer("/quit")
    assert "go on with: diagnose record" in (t.question() or t.all)


@pytest.mark.slow
@pytest.mark.slow
def test_a_pipe_works_like_a_terminal(case):
    said = "\n\nK-7\nquit\n"
    done = subprocess.run([*COMMAND, "record", case], input=said, capture_output=True, text=True, cwd=ROOT)
    assert (done.returncode, done.stderr) == (0, "")
    assert ": equipment: tag = K-7" in done.stdout and "\x1b" not in done.stdout
    assert "tag: K-7" in case.read_text()


@pytest.mark.slow
def test_a_second_recorder_is_told_who_has_the_case(case, knowledge):
    with Recorder(case, knowledge, "ann", lambda: NOON):
        done = subprocess.run([*COMMAND, "record", case], input="", capture_output=True, text=True, cwd=ROOT)
    assert done.returncode == 2
    assert re.search(
        r"ann on \S+ \(process \d+, since 2026-11-25T12:00:00\+00:00\) is recording this case", done.stderr
    )


@pytest.mark.slow
def test_a_case_that_is_not_there_is_told(tmp_path):
    done = subprocess.run([*COMMAND, "record", tmp_path / "no.yaml"], capture_output=True, text=True, cwd=ROOT)
    assert (done.returncode, done.stdout) == (2, "")
    assert "there is no case" in done.stderr and "diagnose start" in done.stderr
    assert list(tmp_path.iterdir()) == []


def test_a_disk_that_refuses_ends_the_session_with_a_clear_word(case, knowledge, monkeypatch):
    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("diagnose.casefile.journal.append", full)
    with pytest.raises(BadInput, match="nothing was recorded: no space left on device"):
        session(case, knowledge, Script(("tag", "K-7")))
    assert not case.with_name("k7.yaml.lock").exists()


@pytest.mark.slow
@pytest.mark.parametrize("name", SEALS)
def test_four_seals_take_at_most_half_of_what_they_took_and_ask_nothing_twice(tmp_path, name):
    count = recorded(SEALS[name], tmp_path / "seal.yaml")
    prompts, keys = TRIAL[name]
    assert len(count.questions) <= prompts / 2 and count.keys <= keys / 2
    assert SEALS[name].arrangement != "single" or len(count.questions) <= 120
    figures = [
        q
        for _, q in count.questions
        if re.match(r"[a-z]", q) and not q.startswith(("where and", "number", "gauge", "counted", "seen"))
    ]
    assert len(figures) == len(set(figures))
    for heading in ("Cooler", "Strainer", "Accumulator", "Quench"):
        assert name == "dual pressurised" or not re.search(rf"^{heading}\b", count.text, re.M)


@pytest.mark.slow
def test_the_quick_pass_asks_ten_looks_then_the_answer_and_can_be_gone_on_from(case, knowledge):
    script = Script(
        *to_step(5),
        ("part 1 Rotating ring @ Seen", "part 1 hung up; none"),
        ("Go on with everything", "y"),
        stop_at="Step 6",
    )
    now = session(case, knowledge, script, quick=True)
    text = script.text
    looks, _, rest = text.partition("So far:")
    assert looks.count(" of 10: ") == 10 and "Look 10 of 10: " in looks and "Next best:" in rest
    stages = [knowledge.vocabulary.stages.index(s) for s in ("before washing", "before relapping")]
    assert looks.index("hung up!") < looks.index("radial cracks!") and stages == sorted(stages)
    again = rest.partition("part 1 Rotating ring")[2].partition("Seen")[0]
    assert "metallic film!" in again and "hung up" not in again and "grit between" not in again
    assert {o.feature for o in now.observations if (o.part, o.state) == ("1", "present")} == {"hung up"}


@pytest.mark.slow
def test_the_quick_pass_can_be_left_with_the_answer_so_far(case, knowledge):
    script = Script(*to_step(7))
    session(case, knowledge, script, quick=True)
    assert "Step 7 of 8" not in script.text and script.text.endswith(f"Left. See: diagnose explain {case.name}")
    assert 5 <= sum(t.startswith("Seen") for t in script.told) <= 10


def test_nothing_more_is_asked_of_figures_where_nothing_more_is_known(case, knowledge):
    script = Script(("tag", "K-7"), ("fluid", "none"), stop_at="Sound")
    now = session(case, knowledge, script)
    assert now.texts == {"equipment.tag": "K-7"} and "rotation (" not in script.text and "\nLeak\n" in script.text
    assert "what is not on record counts as not known" in script.text


def test_a_lost_part_is_said_with_or_without_a_colon_and_wherever_one_is(case, knowledge):
    script = Script(
        *to_step(7), ("What differs", "lost 5 thrown away"), ("What differs", "lost 7, 8 in the bin; lost gland scrapped"),
        ("1 Rotating ring @ Seen", "lost 3 in the bin"), ("1 Rotating ring @ Seen", "/lost part 3 in the bin"),
        ("1 Rotating ring @ Seen", "/lost 4: cut up"), ("1 Rotating ring @ Seen", "99"), stop_at="part 2 Stationary",
    )  # fmt: skip
    now = session(case, knowledge, script)
    assert {p.item: p.lost for p in now.parts if p.lost} == {
        "3": "in the bin", "4": "cut up", "5": "thrown away", "7": "in the bin", "8": "in the bin", "12": "scrapped",
    }  # fmt: skip
    told = " ".join(script.text.split())
    assert not now.lost and "names none of them; a whole part that is gone: /lost part 3: HOW" in told
    after = script.text.partition("there is no 99 here")[2]
    assert after.lstrip().partition("\n")[2].startswith("Seen (none"), "nothing was taken, so nothing is seen besides"


def test_parts_are_named_by_number_or_by_a_name_that_only_one_has(case, knowledge):
    script = Script(*to_step(7), ("What differs", "none flush line"), ("What differs", "lost springs, 8: swept away"),
                    ("What differs", "none ring"), ("What differs", "n"), stop_at="tag of")  # fmt: skip
    now = session(case, knowledge, script)
    assert now.part("16") is None and {p.item for p in now.parts if p.lost == "swept away"} == {"5", "8"}
    assert now.part("1") and "no part has the item number ring" in script.text
    told = " ".join(script.text.split())
    assert (
        "this seal has no Flush line (part 16)" in told
        and "part 5: Springs (multiple springs)" in told
        and "lost swept away" in told
    )


@pytest.mark.parametrize(("answer", "teller"), [("1", "can still be told"), ("2", "the sender can still tell")])
def test_the_quick_pass_says_who_can_still_tell_what_is_past(case, knowledge, answer, teller):
    script = Script(("Where does the work stand", "7"), ("What is there", answer))
    session(case, knowledge, script, quick=True)
    assert f"Ask and listen (past: what {teller})" in script.text and "Clean parts on the bench\n" in script.text


@pytest.mark.parametrize(("there", "state"), [("2", "not looked at"), ("1", "absent")])
def test_what_a_sender_does_not_know_of_is_not_denied(case, knowledge, there, state):
    script = Script(
        ("Where does the work stand", "7"), ("What is there", there), ("History @ Seen", "none"), stop_at="Step 7"
    )
    seen = [o for o in session(case, knowledge, script).observations if o.kind == "history"]
    assert len(seen) > 10 and {o.state for o in seen} <= {state, "not looked at"} and state in {o.state for o in seen}
    assert ("what a sender does not know of is not denied" in script.text) == (there == "2")
