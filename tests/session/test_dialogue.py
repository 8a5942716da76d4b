"""What is typed at the bench is never lost, never taken for something else, and told back in words."""

from __future__ import annotations

import os
import sys
from pathlib import Path

import pexpect
import pytest

from diagnose.casefile.journal import journal_path, read_journal
from diagnose.casefile.recorder import Recorder
from diagnose.knowledge.cache import open_knowledge
from diagnose.reading.problems import BadInput
from diagnose.session.dialogue import Dialogue
from tests.session.script import NOON, Script, session, to_step

ROOT = Path(__file__).parents[2]
PICTURE = b"\xff\xd8\xff\xe0 light"
RING = "1 Rotating ring @ "
END = "2 Stationary ring"


def numbers(case: Path, holds: str) -> list[str]:
    """Numbers of the journal lines that hold a text."""
    return [str(x.number) for x in read_journal(journal_path(case)).lines if holds in x.text()]


# ---- nothing is left out ----------------------------------------------------------------------------------------


def test_a_topic_left_for_later_is_asked_again_before_its_step_ends_and_when_resumed(case, knowledge):
    script = Script(("fluid", "/skip"), ("fluid", "/skip"), stop_at="Step 2")
    session(case, knowledge, script)
    first, _, second = script.text.partition("left for later")
    assert "\nLeak\n" not in first and "\nLeak\n" in second
    assert script.text.count("fluid: ") == 2 and script.text.index("Before you go on") > script.text.rindex("fluid: ")
    again = Script(("fluid", "liquor"), stop_at="Step 2")
    now = session(case, knowledge, again)
    assert now.texts["service.fluid"] == "liquor" and "Enter to begin" not in again.text.partition("Step 2")[0]


def test_what_is_skipped_before_a_step_ends_is_no_look_that_nobody_made_and_comes_again(case, knowledge):
    script = Script(("Look again", "skip"), ("Look again", "skip"), stop_at="Step 3")
    left = session(case, knowledge, script)
    stage, skipped = left.stage, [o for o in left.observations if o.state == "not looked at"]
    assert not skipped and "asked again at the end" in script.text
    again = Script(stop_at="Step 3")
    now = session(case, knowledge, again)
    assert "Before you go on" in again.text and [o for o in now.observations if o.state == "not looked at"]
    assert now.stage == stage, "what is asked again of an earlier step does not turn the work back"


@pytest.mark.slow
def test_a_topic_left_for_later_in_an_earlier_session_is_asked_when_all_else_is_done(case, knowledge):
    script = Script(
        ("fluid", "/skip"),
        ("fluid", "/skip"),
        ("What else", "s"),
        ("fluid", "oil"),
    )
    now = session(case, knowledge, script)
    assert "Everything is asked but what was left for later" in script.text
    assert now.texts["service.fluid"] == "oil"


def test_a_step_that_is_past_still_asks_for_the_machine_and_its_history(case, knowledge):
    script = Script(
        *to_step(2),
        ("tag", "K-7"),
        ("speed", "1450"),
        ("History @ Seen", "failed within months"),
        stop_at="Step 2",
    )
    now = session(case, knowledge, script)
    assert now.texts["equipment.tag"] == "K-7" and [x.what for x in now.measured] == ["speed"]
    assert [o.feature for o in now.observations if o.state == "present"] == ["failed within months"]
    assert "squeal" not in script.text and "Before you go on" not in script.text
    again = Script(stop_at="Step 2")
    session(case, knowledge, again)
    assert "squeal" not in again.text


def test_the_rest_of_a_line_stays_when_a_photo_cannot_be_read(case, knowledge):
    script = Script(*to_step(7), (RING + "Seen", "blisters: all round, severe, photo no.jpg"), stop_at=END)
    (seen,) = session(case, knowledge, script).observations
    assert (seen.degree, seen.extent.word, seen.photo) == ("severe", "all round", "")


def test_a_photo_from_elsewhere_is_copied_in(case, knowledge, tmp_path_factory):
    phone = tmp_path_factory.mktemp("phone") / "one.jpg"
    phone.write_bytes(PICTURE)
    script = Script(*to_step(7), (RING + "Seen", f"blisters: photo {phone}"), stop_at=END)
    (seen,) = session(case, knowledge, script).observations
    assert seen.photo == "one.jpg" and (case.parent / "one.jpg").read_bytes() == PICTURE


def test_every_photo_in_a_line_is_on_record(case, knowledge):
    for name in ("a.jpg", "b.jpg"):
        (case.parent / name).write_bytes(PICTURE + name.encode())
    script = Script(
        *to_step(7), (RING + "Seen", "blisters: photo a.jpg, severe, photo b.jpg, photo no.jpg"), stop_at=END
    )
    now = session(case, knowledge, script)
    assert [o.photo for o in now.observations] == ["a.jpg"]
    assert [(r.part, r.of, r.photo) for r in now.remarks] == [("1", "blisters", "b.jpg")]


def test_remarks_and_photos_need_no_mark(case, knowledge):
    (case.parent / "whole.jpg").write_bytes(PICTURE)
    script = Script(
        ("fluid", "/note smelt burnt"),
        ("fluid", "/photo whole.jpg"),
        *to_step(7),
        (RING + "Seen", "/note oily"),
        stop_at=END,
    )
    now = session(case, knowledge, script)
    assert [(r.part, r.note, r.photo) for r in now.remarks] == [
        ("", "smelt burnt", ""),
        ("", "", "whole.jpg"),
        ("1", "oily", ""),
    ]


def test_photos_come_from_a_folder_by_newest_by_number_or_by_name(case, knowledge, tmp_path_factory):
    phone = tmp_path_factory.mktemp("phone")
    for age, name in enumerate(("c.jpg", "b.jpg", "a.jpg")):
        (phone / name).write_bytes(PICTURE + name.encode())
        os.utime(phone / name, (1000 - age, 1000 - age))
    script = Script(*to_step(7), (RING + "Seen", "blisters: severe, photo newest"), (RING + "Seen", "/photo"), ("which photo", "2"),
                    (RING + "Seen", "/photo a.jpg"), stop_at=END)  # fmt: skip
    now = session(case, knowledge, script, photos_from=phone)
    assert [o.photo for o in now.observations] == ["c.jpg"]
    assert [(r.part, r.photo) for r in now.remarks] == [("1", "b.jpg"), ("1", "a.jpg")]
    assert (case.parent / "b.jpg").read_bytes() == PICTURE + b"b.jpg"


# ---- nothing is taken for something else --------------------------------------------------------------------------


@pytest.mark.slow
@pytest.mark.parametrize(("question", "typed"), [
    ("Where does the work stand", "no, still running"), ("What is there", "yes but rusty"), ("Look again", "heat checks all over"),
])  # fmt: skip
def test_text_is_never_taken_for_enter(case, knowledge, question, typed):
    script = Script(
        (question, typed), ("Where does the work stand", "1" if question == "Look again" else "5"), stop_at="Step 2"
    )
    session(case, knowledge, script)
    said = script.text.partition(f"{typed!r} is none of the answers here: Enter")
    assert said[1] and question in said[2]


def test_a_bare_number_is_told_in_words_before_and_after_it_is_on_record(case, knowledge):
    script = Script(*to_step(6), ("3 Sliding O-ring @ Seen", "1: all round"), stop_at="Step 7")
    (seen,) = [o for o in session(case, knowledge, script).observations if o.state == "present"]
    assert f"1 is: {seen.feature}" in script.text
    assert (
        f"part 3 Sliding O-ring: saw {seen.feature}, extent all round" in script.text
        and "recorded (" not in script.text
    )


def test_a_number_beyond_the_list_is_told(case, knowledge):
    script = Script(*to_step(7), (RING + "Seen", "99"), stop_at=END)
    assert not session(case, knowledge, script).observations and "there is no 99 here; the list goes to" in script.text


def test_all_and_none_mean_the_same_at_every_list(case, knowledge):
    sound = {f.name for f in knowledge.vocabulary.features.values() if f.sound}
    script = Script(
        *to_step(7),
        (RING + "Seen", "all"),
        (RING + "Seen", "none"),
        ("2 Stationary ring @ Seen", "no"),
        stop_at="3 Sliding",
    )
    now = session(case, knowledge, script)
    assert {(o.part, o.state) for o in now.observations} == {("1", "absent"), ("2", "absent")}
    assert not sound & {o.feature for o in now.observations}
    assert "all of them? Write their numbers" in script.text and "did you mean" not in script.text


def test_lists_with_and_and_with_a_state(case, knowledge):
    script = Script(*to_step(7), (RING + "Seen", "absent 1 3 and 5"), (RING + "Seen", "lost 2; saw blisters; not looked at 7-8"), stop_at=END)  # fmt: skip
    states = [o.state for o in session(case, knowledge, script).observations]
    assert sorted(states) == ["absent", "absent", "absent", "lost", "not looked at", "not looked at", "present"]


def test_a_mark_needs_no_colon_and_no_index_where_it_is_all_round(case, knowledge):
    script = Script(*to_step(7), (RING + "Seen", "blisters all round, severe"), stop_at=END)
    (seen,) = session(case, knowledge, script).observations
    assert (seen.feature, seen.extent.word, seen.degree) == ("blisters", "all round", "severe")
    assert "counted from which mark" not in script.text


def test_choices_take_numbers_beginnings_and_initials(case, knowledge):
    script = Script(
        ("rotation (", "c"),
        ("rotation (", "cw"),
        ("rotation seen from", "de"),
        ("plan", "11"),
        ("balance", "1"),
        stop_at="Leak",
    )
    now = session(case, knowledge, script)
    assert (now.texts["equipment.rotation"], now.texts["equipment.seen from"]) == ("clockwise", "driver end")
    assert {"plan 11", next(iter(knowledge.vocabulary.settings["balance"].terms))} <= {s.term for s in now.settings}
    assert "'c' may be: clockwise, counterclockwise" in script.text


def test_a_pressure_is_asked_at_once_whether_gauge_or_absolute(case, knowledge):
    script = Script(
        ("chamber pressure", "4.5 bar"), ("gauge or absolute", "perhaps"), ("gauge or absolute", "a"), stop_at="Leak"
    )
    (pressure,) = [x for x in session(case, knowledge, script).measured if x.what == "chamber pressure"]
    assert pressure.readings[0].written == "4.5 bar a" and "'perhaps' is none of the answers" in script.text


@pytest.mark.parametrize(
    ("answer", "written"), [("1", "4.5 bar g"), ("2", "4.5 bar a"), ("95 psig", "95 psig"), ("", "4.5 bar")]
)
def test_gauge_or_absolute_is_a_numbered_choice_or_the_pressure_said_as_a_whole(case, knowledge, answer, written):
    script = Script(
        ("chamber pressure", "4.5"), ("gauge or absolute", "7000 h"), ("gauge or absolute", answer), stop_at="Leak"
    )
    (pressure,) = [x for x in session(case, knowledge, script).measured if x.what == "chamber pressure"]
    assert pressure.readings[0].written == written and "'7000 h' is none of the answers" in script.text


def test_none_of_the_rest_does_not_deny_the_general_word_for_what_was_seen(case, knowledge):
    script = Script(*to_step(7), ("parts 4 O-ring @ Seen", "hard everywhere: all round; n"), stop_at="part 5 Springs")
    on = {o.feature: o.state for o in session(case, knowledge, script).observations if o.part == "4"}
    assert on["hard everywhere"] == "present" and on["hard towards the faces"] == "absent" and "hard" not in on


@pytest.mark.parametrize("answer", ["yes", "10-2", "12 to 13", "all round, severe", "?4"])
def test_what_names_nothing_is_told_and_not_kept_as_said(case, knowledge, answer):
    script = Script(*to_step(5), ("part 9 Sleeve @ Seen", answer), stop_at="part 12 Gland")
    now = session(case, knowledge, script)
    told = "4 scratched O-ring seat:" if answer == "?4" else f"{answer.split(', ')[0]!r} does not say what was seen"
    assert not now.not_understood and not any(o.part == "9" and o.state == "present" for o in now.observations)
    assert told in " ".join(script.text.split())


def test_details_need_no_comma_between_them_and_a_remark_no_slash(case, knowledge):
    script = Script(
        *to_step(5), ("part 9 Sleeve @ Seen", "crystals 6 to 10 severe; note sweet smell"), stop_at="part 12 Gland"
    )
    now = session(case, knowledge, script)
    (seen,) = [o for o in now.observations if o.part == "9" and o.state == "present"]
    assert (seen.feature, seen.degree, seen.extent.arcs) == ("crystals", "severe", ((180.0, 300.0),))
    assert [(r.part, r.note) for r in now.remarks] == [("9", "sweet smell")]


# ---- back, and corrections ----------------------------------------------------------------------------------------


def test_back_asks_the_figure_before_again(case, knowledge):
    script = Script(
        ("tag", "K-7"),
        ("fluid", "/back"),
        ("tag of the machine [K-7; withdraw]", "K-8"),
        ("why is it", "misread"),
        stop_at="rotation",
    )
    assert session(case, knowledge, script).texts["equipment.tag"] == "K-8"


def test_what_is_on_record_hides_no_sign_in_the_question_that_shows_it(case, knowledge):
    script = Script(
        ("tag", "K\u202e-7"), ("fluid", "/back"), ("tag of the machine [K -7; withdraw]", "K-8"), stop_at="rotation"
    )
    session(case, knowledge, script)
    assert script.answers == []
    assert "\u202e" not in script.text


def test_back_asks_the_topic_before_again(case, knowledge):
    script = Script(
        ("Leak @ Seen", "puffs"),
        ("Sound @ Seen", "/back"),
        ("Leak @ Seen", "growing leak"),
        ("Sound @ Seen", "squeal"),
        stop_at="History",
    )
    now = session(case, knowledge, script)
    assert {o.feature for o in now.observations if o.state == "present"} == {"puffs", "growing leak", "squeal"}
    assert "on record: present: growing leak, puffs" in script.text


def test_fix_corrects_the_record_of_that_number_machine_data_too(case, knowledge):
    session(case, knowledge, Script(("fluid", "water"), ("speed", "1450"), ("soft face", "carbon"), stop_at="Leak"))
    (fluid,), (speed,), (face,) = numbers(case, '"water"'), numbers(case, "1450"), numbers(case, '"soft face"')
    script = Script(
        ("Seen", f"/fix {fluid}"), ("now (withdraw", "brine"), ("why is it", "name plate"), ("Seen", f"/fix {speed}"), ("now (withdraw", "2900"), ("why is it", "two pole"),
        ("Seen", f"/fix {face}"), ("now (withdraw", "withdraw"), ("why is it", "unknown"), ("Seen", "/fix 999"), stop_at="Sound",
    )  # fmt: skip
    now = session(case, knowledge, script)
    assert now.texts["service.fluid"] == "brine" and [x.readings[0].written for x in now.measured] == ["2900 rpm"]
    assert not [s for s in now.settings if s.setting == "soft face"]
    assert "service fluid is water" in script.text and "there is no record '999'" in script.text


def test_fix_follows_a_corrected_record_and_leaves_all_where_no_reason_is_given(case, knowledge):
    session(case, knowledge, Script(("Leak @ Seen", "puffs"), stop_at="Sound"))
    (first,) = numbers(case, '"puffs"')
    script = Script(
        ("Seen", f"/fix {first}"),
        ("now (saw", "absent"),
        ("why is it", "asked again"),
        ("Seen", f"/fix {first}"),
        ("now (saw", "perhaps"),
        ("now (saw", "lost"),
        stop_at="History",
    )
    now = session(case, knowledge, script)
    assert [o.state for o in now.observations if o.feature == "puffs"] == ["absent"]
    assert f"record r{first} was corrected by" in script.text and "left as it is" in script.text
    assert "'perhaps' is none of the answers" in script.text


def test_leaving_a_correction_does_not_leave_the_topic(case, knowledge):
    session(case, knowledge, Script(("Leak @ Seen", "puffs"), stop_at="Sound"))
    (first,) = numbers(case, '"puffs"')
    script = Script(
        ("Sound @ Seen", f"/fix {first}"), ("now (saw", "/skip"), ("Sound @ Seen", "squeal"), stop_at="History"
    )
    now = session(case, knowledge, script)
    assert {o.feature for o in now.observations if o.state == "present"} == {"puffs", "squeal"}
    assert "left for later" not in script.text


@pytest.mark.slow
@pytest.mark.slow
def test_after_the_last_step_there_is_a_menu(case, knowledge):
    (case.parent / "whole.jpg").write_bytes(PICTURE)
    session(case, knowledge, Script(*to_step(8)))
    script = Script(
        ("What else", "mark"), ("on which part", "1"), (RING + "Seen", "blisters: severe"), ("What else", "m"), ("on which part", "glove"),
        ("What else", "l"), ("What else", "note"), ("the remark", "sent to the lab"), ("What else", "p"), ("which photo", "whole.jpg"),
        ("What else", "f"), ("which record", "part 1"), ("change", "tag T-1"), ("What else", "what?"), ("What else", "q"),
    )  # fmt: skip
    now = session(case, knowledge, script)
    assert [(o.part, o.feature, o.degree) for o in now.observations if o.degree] == [("1", "blisters", "severe")]
    assert [(r.note, r.photo) for r in now.remarks] == [("sent to the lab", ""), ("", "whole.jpg")]
    assert now.part("1").tag == "T-1" and "'glove' is no part of this case" in script.text
    assert not script.answers


# ---- changed under the session --------------------------------------------------------------------------------------


@pytest.mark.parametrize("answer", ["y", ""])
def test_a_hand_edit_under_the_session_is_asked_about_and_nothing_is_lost(case, knowledge, answer):
    class Editor(Script):
        def ask(self, question, words):
            if question.startswith("fluid"):
                case.write_text(case.read_text() + "about: my long edit\n")
            return super().ask(question, words)

    script = Editor(("tag", "K-7"), ("fluid", "water"), ("Take the edits over", answer), stop_at="rotation")
    if answer:
        now = session(case, knowledge, script)
        assert (now.about, now.texts["service.fluid"], now.texts["equipment.tag"]) == ("my long edit", "water", "K-7")
    else:
        with pytest.raises(BadInput, match="edited by hand"):
            session(case, knowledge, script)
        assert "my long edit" in case.read_text() and "K-7" in journal_path(case).read_text()
        assert "not on record: service: fluid = water" in script.text


# ---- on the screen --------------------------------------------------------------------------------------------------


@pytest.mark.slow
def test_plain_prompts_send_no_signs_to_a_terminal(case):
    call = ["-m", "diagnose", "record", str(case), "--plain"]
    process = pexpect.spawn(sys.executable, call, env={**os.environ, "TERM": "xterm"}, cwd=str(ROOT), timeout=60)
    process.expect("Where does the work stand")
    process.sendline("/quit")
    process.expect(pexpect.EOF)
    assert b"\x1b" not in process.before and process.wait() == 0


def test_help_fits_80_columns_and_tells_one_word(case, knowledge, monkeypatch):
    monkeypatch.setenv("COLUMNS", "80")
    script = Script(
        ("fluid", "?"),
        *to_step(7),
        (RING + "Seen", "? blisters"),
        (RING + "Seen", "? 2"),
        (RING + "Seen", "/leave"),
        stop_at=END,
    )
    session(case, knowledge, script)
    assert not [line for t in script.told for line in t.split("\n") if len(line) > 79]
    told = script.text.partition(RING[:-3])[2]
    assert "blisters: Raised shiny spots" in told and "\n2 " in told and "no command '/leave'" in told


def test_everything_said_at_a_session_is_styled_only_where_asked(case, knowledge):
    said: list[str] = []

    def ask(question, words):
        if question.startswith("tag"):
            raise EOFError
        return ""

    with Recorder(case, knowledge, "ann", lambda: NOON) as r:
        Dialogue(r, ask, said.append, styled=True).run()
        assert any("\x1b[1m" in x for x in said)
        said.clear()
        Dialogue(r, ask, said.append, styled=False).run()
    assert not any("\x1b" in x for x in said)


# ---- in own words -----------------------------------------------------------------------------------------------


@pytest.mark.slow
def test_a_phrase_in_own_words_is_read_told_back_and_kept_as_said(tmp_path):
    knowledge = open_knowledge(ROOT / "knowledge")
    case = tmp_path / "p.yaml"
    with Recorder(case, knowledge, "ann", lambda: NOON) as r:
        r.start(
            {
                "case": "P",
                "seal": {"arrangement": "single"},
                "parts": [{"item": "1", "name": "Springs", "kind": "spring"}],
            }
        )
    script = Script(("1 Springs @ Seen", "gunked up"), ("1 Springs @ Seen", "wug dax"))
    now = session(case, knowledge, script)
    assert "read as: spring: clogged" in script.text and "it is kept as said" in script.text
    assert [(o.feature, o.part, o.said) for o in now.observations if o.state == "present"] == [
        ("clogged", "1", "gunked up")
    ]
    assert now.not_understood == ("wug dax",)
