"""Recording: journal before view, corrections beside the old answers, hand edits never lost, disks that refuse."""

from __future__ import annotations

import errno
import hashlib
import json
import os
import subprocess
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from diagnose.casefile import journal as j
from diagnose.casefile import recorder as recording
from diagnose.casefile.answers import path_of, split_readings
from diagnose.casefile.photos import changed_photos, photo_entry
from diagnose.casefile.reader import ReadBefore, case_of, parse_case
from diagnose.casefile.recorder import Recorder, look
from diagnose.casefile.replay import State, apply, begun, differences, replay
from diagnose.casefile.writer import render
from diagnose.knowledge.reader import read_knowledge
from diagnose.reading.entry import replace
from diagnose.reading.located import read_text
from diagnose.reading.problems import BadInput, Problems
from tests.support.places import SCENARIOS, mostly_slow

SMALL = Path(__file__).parents[1] / "small" / "knowledge"
START = {
    "case": "Pump 3",
    "seal": {"arrangement": "single"},
    "parts": [
        {"item": "1", "name": "Carbon", "kind": "soft face", "group": "rotating"},
        {"item": "2", "name": "Seat", "kind": "hard face", "touches": ["1"]},
    ],
}


@pytest.fixture(scope="module")
def knowledge():
    return read_knowledge(SMALL)


class Clock:
    """A second later at every look."""

    def __init__(self):
        self.time = datetime(2026, 11, 25, 12, tzinfo=UTC)

    def __call__(self):
        self.time += timedelta(seconds=1)
        return self.time


@pytest.fixture
def case(tmp_path, knowledge):
    path = tmp_path / "pump.yaml"
    with session(path, knowledge) as r:
        r.start(START)
    return path


def session(path, knowledge, who="ann", **more):
    return Recorder(path, knowledge, who, Clock(), **more)


def saw(feature, part="2", **more):
    return {"add": "observations", "entry": {"part": part, "saw": feature, **more}}


def absent(feature, part="2"):
    return {"add": "observations", "entry": {"part": part, "absent": feature}}


def lines_of(path):
    return j.read_journal(j.journal_path(path)).lines


def read(path, knowledge):
    problems = Problems()
    found = parse_case(path.read_bytes(), str(path), knowledge, problems)
    problems.raise_errors()
    return found


# ---- the plain way --------------------------------------------------------------------------------------------


def test_an_answer_is_in_the_journal_and_in_the_case_file(case, knowledge):
    with session(case, knowledge, "bob") as r:
        (line,) = r.accept(saw("heat checks", extent="10 to 2", degree="moderate"))
    assert (line.number, line.who, line.what["said"]) == (2, "bob", "heat checks")
    (seen,) = read(case, knowledge).observations
    assert (seen.feature, seen.part, seen.extent.arcs, seen.degree) == ("radial cracks", "2", ((300, 60),), "moderate")
    assert lines_of(case)[1] == line
    assert not case.with_name("pump.yaml.lock").exists()


def test_the_same_answers_at_the_same_times_give_the_same_bytes(tmp_path, knowledge):
    written = []
    for name in ("a", "b"):
        folder = tmp_path / name
        folder.mkdir()
        with session(folder / "pump.yaml", knowledge) as r:
            r.start(START)
            r.accept(saw("radial cracks"), absent("edge chips"))
        written.append([(folder / f).read_bytes() for f in ("pump.yaml", "pump.yaml.journal")])
    assert written[0] == written[1]


def test_what_is_on_record_already_makes_no_line(case, knowledge):
    with session(case, knowledge) as r:
        assert len(r.accept(saw("radial cracks"))) == 1
        assert r.accept(saw("radial cracks")) == ()
        assert r.accept({"set": ["seal", "arrangement"], "to": "single"}) == ()


@pytest.mark.parametrize(
    ("what", "code"),
    [
        (saw("blistrs"), "unknown-feature"),
        (saw("radial cracks", part="9"), "unknown-item"),
        (saw("radial cracks", extent="25 to 2"), "clock"),
        (saw("hardened"), "wrong-part"),
        ({"set": ["seal", "arrangement"], "to": "triple", "why": "x"}, "unknown-setting"),
        ({"add": "measurements", "entry": {"on": "shaft", "measured": "shaft runout", "readings": ["3 kg"]}}, "unit"),
        ({"add": "parts", "entry": {"item": "1", "kind": "spring"}}, "item-twice"),
        ({"withdraw": "99", "why": "x"}, "record"),
        (saw("radial cracks", note="bell \x07"), "record"),
        (saw("radial cracks", note="half \ud800"), "record"),
    ],
)
def test_what_does_not_fit_is_refused_and_nothing_is_recorded(case, knowledge, what, code):
    before = case.read_bytes(), j.journal_path(case).read_bytes()
    with session(case, knowledge) as r, pytest.raises(BadInput) as error:
        r.accept(absent("edge chips"), what)
    assert [p.code for p in error.value.problems] == [code]
    assert (case.read_bytes(), j.journal_path(case).read_bytes()) == before


# ---- corrections ----------------------------------------------------------------------------------------------


def test_a_correction_says_who_when_and_why_and_the_old_answer_stays(case, knowledge):
    with session(case, knowledge) as r:
        r.accept(absent("radial cracks"))
        with pytest.raises(BadInput, match=r"absent .record 2.*--instead-of 2"):
            r.accept(saw("radial cracks"))
        with pytest.raises(BadInput, match="says why"):
            r.accept({**saw("radial cracks"), "instead of": "2"})
    with session(case, knowledge, "bob") as r:
        r.accept({**saw("radial cracks"), "instead of": "2", "why": "seen under dye"})
    assert [o.state for o in read(case, knowledge).observations] == ["present"]
    old, new = lines_of(case)[1:]
    assert old.what["entry"] == {"part": "2", "absent": "radial cracks"}
    assert (new.who, new.what["instead of"], new.what["why"]) == ("bob", "2", "seen under dye")
    assert new.time and new.before == old.digest


def test_not_looked_at_is_no_answer_to_correct(case, knowledge):
    with session(case, knowledge) as r:
        r.accept({"add": "observations", "entry": {"part": "2", "not looked at": "edge chips"}})
        assert [o.state for o in r.case_now().observations] == ["not looked at"]
        r.accept(absent("edge chips"))
        assert [o.state for o in r.case_now().observations] == ["absent"]


def test_a_setting_is_changed_only_with_a_reason_but_terms_of_a_list_add_up(case, knowledge):
    with session(case, knowledge) as r:
        with pytest.raises(BadInput, match="on record as 'single'"):
            r.accept({"set": ["seal", "arrangement"], "to": "double"})
        r.accept({"set": ["service", "is"], "to": ["hot water"]})
        r.accept({"set": ["service", "is"], "to": ["hot water", "dirty"]})
        with pytest.raises(BadInput, match="--why"):
            r.accept({"set": ["service", "is"], "to": ["solids"]})
        assert {s.term for s in r.case_now().settings} == {"single", "hot water", "solids"}


def test_a_renumbered_part_takes_its_records_along(case, knowledge):
    with session(case, knowledge) as r:
        r.accept(saw("radial cracks", part="1"))
        entry = {**r.state.part_record("1").entry, "item": "15"}
        r.accept({"add": "parts", "entry": entry, "instead of": r.state.part_record("1").id, "why": "drawing"})
        now = r.case_now()
    assert [o.part for o in now.observations] == ["15"]
    assert now.part("2").touches == ("15",)


def test_more_detail_needs_no_reason(case, knowledge):
    with session(case, knowledge) as r:
        record = r.state.part_record("1")
        r.accept({"add": "parts", "entry": {**record.entry, "index": "key"}, "instead of": record.id})
        assert r.case_now().part("1").index == "key"


# ---- view and journal -----------------------------------------------------------------------------------------


def test_a_case_file_behind_its_journal_is_brought_up_to_date(case, knowledge):
    old = case.read_bytes()
    with session(case, knowledge) as r:
        r.accept(saw("radial cracks"))
        r.accept(absent("edge chips"))
    new = case.read_bytes()
    case.write_bytes(old)
    with session(case, knowledge) as r:
        assert "behind its journal" in r.told[0]
    assert case.read_bytes() == new
    case.unlink()
    with session(case, knowledge) as r:
        assert len(r.told) == 1
    assert case.read_bytes() == new


def test_an_edited_case_file_is_refused_until_its_edits_are_adopted(case, knowledge):
    with session(case, knowledge) as r:
        r.accept(saw("radial cracks", extent="10 to 2"), absent("edge chips"))
    edited = case.read_text().replace("10 to 2", "11 to 3").replace("  - {part: 2, absent: edge chips}\n", "")
    edited = edited.replace("arrangement: single", "arrangement: dual pressurised").replace(
        "kind: soft face", "position: inboard, kind: soft face"
    )
    edited += "about: by hand  # a remark\n"
    case.write_text(edited)
    with pytest.raises(BadInput, match=r"edited by hand.*--adopt.*--restore"), session(case, knowledge):
        pass
    assert case.read_text() == edited
    with session(case, knowledge, "eve", edited=True) as r:
        r.adopt("typed at the desk")
        now = r.case_now()
    assert now.positions == ("inboard", "outboard")
    assert (now.about, now.part("1").position) == ("by hand", "inboard")
    assert [(o.feature, o.extent.arcs) for o in now.observations] == [("radial cracks", ((330, 90),))]
    adopted = [x for x in lines_of(case) if x.who == "eve"]
    assert "# a remark" in adopted[0].what["edited"]
    assert all(x.what["why"] == "typed at the desk" for x in adopted[1:])
    assert look(case).view == "same"


def test_edits_that_cannot_be_read_stay_where_they_are(case, knowledge):
    case.write_text(case.read_text().replace("kind: soft face", "kind: soft fase"))
    before = case.read_bytes()
    with session(case, knowledge, edited=True) as r, pytest.raises(BadInput, match="soft face"):
        r.adopt("x")
    assert case.read_bytes() == before
    with session(case, knowledge, edited=True) as r:
        kept = r.restore()
    assert kept.read_bytes() == before
    assert look(case).view == "same"
    case.write_bytes(before)
    with session(case, knowledge, edited=True) as r:
        assert r.restore() != kept


def test_edits_of_an_older_view_are_adopted_on_top_of_what_came_since(case, knowledge):
    old = case.read_text()
    with session(case, knowledge) as r:
        r.accept(absent("edge chips"))
    case.write_text(old.replace("case: Pump 3", "case: Pump 4"))
    with session(case, knowledge, edited=True) as r:
        r.adopt("renamed")
    assert (read(case, knowledge).name, len(read(case, knowledge).observations)) == ("Pump 4", 1)


def test_a_journal_that_lost_its_last_lines_is_told(case, knowledge):
    with session(case, knowledge) as r:
        r.accept(absent("edge chips"))
    path = j.journal_path(case)
    path.write_bytes(path.read_bytes().splitlines(keepends=True)[0])
    with pytest.raises(BadInput, match="ends at line 1, but"), session(case, knowledge):
        pass


def test_a_broken_journal_is_never_written_to(case, knowledge):
    path = j.journal_path(case)
    path.write_bytes(path.read_bytes().replace(b"Pump 3", b"Pump 4"))
    before = path.read_bytes()
    with pytest.raises(BadInput, match="line 1 was changed"), session(case, knowledge):
        pass
    assert path.read_bytes() == before


def test_an_existing_case_file_gets_a_journal_with_its_first_answer(tmp_path, knowledge):
    path = tmp_path / "old.yaml"
    text = (
        "# by hand\ncase: Old\nparts:\n- {item: 2, kind: hard face}\nobservations:\n- {part: 2, absent: edge chips}\n"
    )
    path.write_text(text)
    with session(path, knowledge) as r:
        pass
    assert path.read_text() == text and not j.journal_path(path).exists()
    with session(path, knowledge) as r:
        (line,) = r.accept(saw("radial cracks"))
        r.accept({"withdraw": "1.2", "why": "never looked"})
    assert line.number == 2
    assert lines_of(path)[0].what["text"] == text
    assert [o.feature for o in read(path, knowledge).observations] == ["radial cracks"]


def test_a_valid_chain_that_says_nonsense_is_refused_cleanly(case, knowledge):
    last = lines_of(case)[-1]
    for what in (
        {},
        {"add": "observations"},
        {"set": [], "to": "x"},
        {"set": "x", "to": 1},
        {"start": {}},
        {"add": "nowhere", "entry": {}},
        {"withdraw": ["2"]},
        {"reached": {}},
        {"add": "parts", "entry": 3},
    ):
        with open(j.journal_path(case), "ab") as file:
            file.truncate(len(last.text().encode()) + 1)
            file.write((j.make_line(2, last.digest, what, "eve", Clock()()).text() + "\n").encode())
        with pytest.raises(BadInput), session(case, knowledge):
            pass


names = st.sampled_from(["1", "2", "1.1", "parts", "observations", "events", "case", "seal", "item", "part", "saw", ""])
anything = st.recursive(
    names | st.none() | st.integers(0, 3),
    lambda v: st.lists(v, max_size=3) | st.dictionaries(names, v, max_size=3),
    max_leaves=6,
)
said = st.one_of(
    st.fixed_dictionaries({"start": anything}),
    st.fixed_dictionaries({"set": anything, "to": anything}),
    st.fixed_dictionaries({"add": anything, "entry": anything}, optional={"instead of": anything}),
    st.fixed_dictionaries({"withdraw": anything}),
    st.fixed_dictionaries({"reached": anything}),
)


@pytest.mark.slow
@given(st.lists(said, max_size=4))
@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_whatever_a_sound_chain_says_opens_or_is_refused(tmp_path, knowledge, whats):
    path = tmp_path / "said.yaml"
    path.unlink(missing_ok=True)
    lines = []
    for number, what in enumerate([{"start": START}, *whats], 1):
        lines.append(j.make_line(number, lines[-1].digest if lines else "", what, "eve", Clock()()))
    j.journal_path(path).write_text("".join(x.text() + "\n" for x in lines))
    try:
        with session(path, knowledge) as r:
            r.accept(absent("edge chips"))
    except BadInput as error:
        assert error.problems
    else:
        assert look(path).view == "same"


# ---- crashes and disks that refuse ------------------------------------------------------------------------------


@pytest.mark.slow
def test_an_answer_cut_off_at_any_byte_is_recognised_and_nothing_before_it_is_lost(case, knowledge):
    with session(case, knowledge) as r:
        r.accept(saw("radial cracks"))
    before, view = j.journal_path(case).read_bytes(), case.read_bytes()
    with session(case, knowledge) as r:
        r.accept(absent("edge chips"))
    after = j.journal_path(case).read_bytes()
    for length in range(len(before) + 1, len(after)):
        j.journal_path(case).write_bytes(after[:length])
        case.write_bytes(view)
        with session(case, knowledge) as r:
            assert "cut off" in r.told[0]
            assert [o.feature for o in r.case_now().observations] == ["radial cracks"]
        found = j.read_journal(j.journal_path(case))
        assert (found.broken, found.tail, len(found.lines)) == (None, b"", 3)
        assert found.lines[2].what["cut off"] == after[len(before) : length].decode()


class Killed(BaseException):
    """Stands for the end of the process at one call of the operating system."""


@pytest.mark.parametrize("call", ["write", "fsync", "replace", "open"])
def test_ending_at_any_call_loses_no_acknowledged_answer(tmp_path, knowledge, monkeypatch, call):
    real, ended = getattr(os, call), 0
    for n in range(1, 12):
        path = tmp_path / f"{call}{n}.yaml"
        with session(path, knowledge) as r:
            r.start(START)
            r.accept(saw("radial cracks"))
        count = 0

        def counted(*args, n=n, **more):
            nonlocal count
            count += 1
            if count == n:
                if call == "write":
                    real(args[0], args[1][: len(args[1]) // 2])
                raise Killed
            return real(*args, **more)

        acknowledged = ["radial cracks"]
        with session(path, knowledge) as r:
            monkeypatch.setattr(os, call, counted)
            try:
                r.accept(absent("edge chips"))
                acknowledged.append("edge chips")
            except Killed:
                ended += 1
            monkeypatch.undo()
        with session(path, knowledge) as r:
            on_record = [o.feature for o in r.case_now().observations]
        assert set(acknowledged) <= set(on_record)
        assert look(path).view == "same"
    assert ended >= 1


def test_a_full_disk_is_told_and_loses_nothing(case, knowledge, monkeypatch):
    """The disk takes half a line and then no more."""
    before = j.journal_path(case).read_bytes()
    real = os.write

    def full(handle, data):
        if len(data) > 10:
            return real(handle, data[: len(data) // 2])
        raise OSError(errno.ENOSPC, "No space left on device")

    with session(case, knowledge) as r:
        monkeypatch.setattr(os, "write", full)
        with pytest.raises(BadInput, match=r"nothing was recorded: no space left.*before is safe"):
            r.accept(saw("radial cracks"))
        monkeypatch.undo()
        assert j.journal_path(case).read_bytes() == before
        r.accept(saw("radial cracks"))
    assert len(lines_of(case)) == 2


def test_a_disk_full_between_journal_and_case_file_keeps_the_answer(case, knowledge, monkeypatch):
    def full(*_):
        raise OSError(errno.ENOSPC, "No space left on device")

    with session(case, knowledge) as r:
        monkeypatch.setattr(recording, "put", full)
        with pytest.raises(BadInput, match=r"the answer is safe in pump.yaml.journal"):
            r.accept(saw("radial cracks"))
        monkeypatch.undo()
    with session(case, knowledge) as r:
        assert [o.feature for o in r.case_now().observations] == ["radial cracks"]


CHILD = """
import resource, signal, sys
from pathlib import Path
from diagnose.casefile.recorder import Recorder
from diagnose.knowledge.reader import read_knowledge
from diagnose.reading.problems import BadInput
case, folder, room = Path(sys.argv[1]), Path(sys.argv[2]), int(sys.argv[3])
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
resource.setrlimit(resource.RLIMIT_FSIZE, (room, room))
with Recorder(case, read_knowledge(folder), "ann") as r:
    for n in range(1000):
        r.accept({"add": "observations", "entry": {"part": "2", "saw": "radial cracks", "note": f"number {n}"}})
        print("acknowledged", n, flush=True)
"""


@pytest.mark.slow
@pytest.mark.slow
@pytest.mark.parametrize("room", [2000, 2037, 2111, 2199])
def test_a_file_that_may_not_grow_loses_nothing_acknowledged(case, knowledge, room):
    """The kernel itself cuts a write short here, through a limit on the size of files."""
    call = [sys.executable, "-c", CHILD, str(case), str(SMALL), str(room)]
    done = subprocess.run(call, capture_output=True, text=True)
    assert "nothing was recorded" in done.stderr
    acknowledged = [f"number {x.split()[1]}" for x in done.stdout.splitlines()]
    found = j.read_journal(j.journal_path(case))
    assert (found.broken, found.tail) == (None, b"")
    kept = [x.what["entry"]["note"] for x in found.lines[1:]]
    assert acknowledged and acknowledged == kept
    assert look(case).view == "same"


def test_a_folder_that_may_not_be_written_is_told(case, knowledge, monkeypatch):
    def refuse(*_, **__):
        raise OSError(errno.EROFS, "Read-only file system")

    monkeypatch.setattr(os, "open", refuse)
    with (
        pytest.raises(BadInput, match=r"nothing was recorded: read-only file system.*check the folder"),
        session(case, knowledge),
    ):
        pass


def test_two_recorders_are_kept_apart(case, knowledge):
    with session(case, knowledge), pytest.raises(BadInput, match=r"ann on .* is recording this case"):
        session(case, knowledge, "bob").__enter__()


def test_two_names_of_one_file_are_one_case(case, knowledge, tmp_path):
    link = tmp_path / "other.yaml"
    link.symlink_to(case)
    with session(link, knowledge) as r:
        r.accept(saw("radial cracks"))
    assert link.is_symlink() and len(lines_of(case)) == 2


# ---- photos, words, paths ---------------------------------------------------------------------------------------


def test_a_photo_is_recorded_with_its_digest_and_missed_when_it_changes(case, knowledge, tmp_path):
    photo = tmp_path / "seat.jpg"
    photo.write_bytes(b"light")
    with session(case, knowledge) as r:
        r.accept(saw("radial cracks", **photo_entry(case, "seat.jpg")))
        state, (seen,) = r.state, r.case_now().observations
    assert (seen.photo, seen.photo_digest) == ("seat.jpg", hashlib.sha256(b"light").hexdigest())
    assert changed_photos(case, state) == []
    photo.write_bytes(b"dark")
    assert "no longer the one" in changed_photos(case, state)[0]
    photo.unlink()
    assert "is gone" in changed_photos(case, state)[0]
    with pytest.raises(BadInput, match="not beside"):
        photo_entry(case, "/etc/hostname")


@pytest.mark.parametrize(
    ("text", "parts"),
    [
        ("25.4 25.3 25,2 mm", ["25.4 mm", "25.3 mm", "25,2 mm"]),
        ("25.4 mm, 25.3 mm", ["25.4 mm", "25.3 mm"]),
        ("25.4; 25.3", ["25.4", "25.3"]),
        ("165 ± 2 °C", ["165 ± 2 °C"]),
        ("1.5 N m 1.6 N m", ["1.5 N m", "1.6 N m"]),
        ("-0.01 0.02 mm", ["-0.01 mm", "0.02 mm"]),
        ("", []),
    ],
)
def test_readings_typed_in_one_go(text, parts):
    assert split_readings(text) == parts


@pytest.mark.parametrize(
    ("key", "path"),
    [
        ("arrangement", ["seal", "arrangement"]),
        ("service", ["service", "is"]),
        ("not service", ["service", "is not"]),
        ("fluid", ["service", "fluid"]),
        ("stage", ["stage"]),
        ("index.rotating", ["index", "rotating"]),
        ("history.note", ["history", "note"]),
    ],
)
def test_where_a_figure_stands(key, path, knowledge):
    assert path_of(key, "", knowledge.vocabulary) == path


@pytest.mark.parametrize(("key", "says"), [("note", "several sections"), ("arangement", "arrangement")])
def test_a_key_that_is_none_is_told_with_its_neighbour(key, says, knowledge):
    with pytest.raises(ValueError, match=says):
        path_of(key, "", knowledge.vocabulary)


# ---- replay as a function ---------------------------------------------------------------------------------------

words = st.sampled_from(["a", "b", "c", "1", "2"])
entries = st.dictionaries(st.sampled_from(["part", "saw", "note"]), words, min_size=1, max_size=3)
documents = st.fixed_dictionaries(
    {"case": words},
    optional={
        "service": st.dictionaries(words, words | st.lists(words, min_size=1, max_size=2), min_size=1, max_size=3),
        "observations": st.lists(entries, min_size=1, max_size=4, unique_by=lambda e: json.dumps(e, sort_keys=True)),
        "parts": st.lists(
            st.fixed_dictionaries({"item": words, "kind": words}), min_size=1, max_size=3, unique_by=lambda p: p["item"]
        ),
        "history": st.fixed_dictionaries(
            {
                "events": st.lists(
                    st.fixed_dictionaries({"what": words}), min_size=1, max_size=2, unique_by=lambda e: e["what"]
                )
            }
        ),
    },
)


@given(documents, documents)
@settings(suppress_health_check=[HealthCheck.too_slow])
def test_the_differences_of_two_cases_turn_one_into_the_other(first, second):
    state, wanted = begun(first), begun(second)
    for number, what in enumerate(differences(state, wanted), 2):
        state = apply(state, number, what)
    assert _unordered(state) == _unordered(wanted)


def _unordered(state: State):
    return state.head, sorted((r.place, json.dumps(dict(r.entry), sort_keys=True)) for r in state.records)


@given(documents)
def test_a_begun_case_renders_as_it_was(document):
    assert render(begun(document).document()) == render(State(begun(document).head, begun(document).records).document())
    assert begun(document).document() == document


def test_replay_is_the_fold_of_its_lines(case, knowledge):
    with session(case, knowledge) as r:
        r.accept(saw("radial cracks"), absent("edge chips"))
        assert replay(r.lines).document() == r.state.document()


# ---- a case that grows ------------------------------------------------------------------------------------------


def test_what_a_session_knows_is_what_the_file_says(case, knowledge):
    """Records are not read from the text again; a part that becomes another changes what its records mean."""
    answers = [
        saw("radial cracks", extent="10 to 2", note='odd: "signs", # and\n{lines}'),
        absent("edge chips"),
        {"add": "parts", "entry": {"item": "3", "name": "Ring", "kind": "O-ring"}},
        saw("hardened", "3"),
        {"set": ["about"], "to": "12"},
        {"add": "remarks", "entry": {"note": "null"}},
        {"add": "parts", "entry": {"item": "7", "name": "Seat", "kind": "soft face", "touches": ["1"]}, "instead of": "1.2", "why": "misread"},
        {"withdraw": "3", "why": "a shadow"},
        {**saw("radial cracks", "7", note="again"), "instead of": "2", "why": "looked again"},
    ]  # fmt: skip
    with session(case, knowledge) as r:
        for what in answers:
            r.accept(what)
            problems = Problems()
            assert r.case_now() == replace_read(parse_case(case.read_bytes(), str(case), knowledge, problems), r)
            assert problems.found == []
        assert {(o.part, o.kind) for o in r.case_now().observations} == {("7", "soft face"), ("3", "O-ring")}


def replace_read(case, recorder):
    return replace(case, digest=recorder.case_now().digest)


@pytest.mark.parametrize("path", mostly_slow(SCENARIOS), ids=lambda p: p.stem)
def test_a_recorded_case_reads_as_its_text_does_also_after_one_more_record(path, whole_base):
    """Against the reader of files, for every shipped scenario: with nothing read before, and with all of it."""
    words, before = whole_base.knowledge, ReadBefore()
    document = read_text(path.read_bytes(), path.name, Problems()).plain()
    state = begun(document)
    more = apply(state, 2, {"add": "remarks", "entry": {"note": "one more"}})
    for known in (state, more, state):
        problems = Problems()
        case = case_of(known.node, "x", "", words, problems, before)
        assert case == replace(parse_case(known.text, "x", words, problems), digest="") and problems.found == []
        assert known.text == render(known.document())


def test_a_session_that_is_opened_again_finds_what_others_did_meanwhile(case, knowledge):
    r = session(case, knowledge)
    with r:
        r.accept(saw("radial cracks"))
    with r:
        r.accept(saw("edge chips"))
    with session(case, knowledge, "sam") as other:
        other.accept(saw("wash mark", "1"))
    with r:
        assert len(r.lines) == 4 and {o.feature for o in r.case_now().observations} >= {"wash mark"}
    os.utime(case, ns=(1, 1))
    case.write_bytes(case.read_bytes().replace(b"Pump 3", b"Pump 4"))
    with pytest.raises(BadInput, match="edited by hand"), r:
        pass
    journal = j.journal_path(case)
    journal.write_bytes(journal.read_bytes().replace(b"radial", b"RADIAL"))
    with pytest.raises(BadInput, match="was changed"), r:
        pass
