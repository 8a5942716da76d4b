"""The chain of a journal: what was written reads back, and no change, loss or move of a line goes unseen."""

from __future__ import annotations

import json
import os
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from diagnose.casefile import journal as j
from diagnose.reading.problems import BadInput

NOON = datetime(2026, 11, 25, 12, tzinfo=UTC)
texts = st.text(st.characters(exclude_categories=["Cs"]), max_size=20)
values = st.recursive(texts | st.none(), lambda v: st.lists(v, max_size=3) | st.dictionaries(texts, v, max_size=3))
whats = st.lists(st.dictionaries(texts, values, max_size=3), min_size=1, max_size=6)


def chain(*said: dict, who: str = "ann") -> list[j.Line]:
    lines: list[j.Line] = []
    for number, what in enumerate(said, 1):
        before = lines[-1].digest if lines else ""
        lines.append(j.make_line(number, before, what, who, NOON + timedelta(seconds=number)))
    return lines


def encoded(lines: list[j.Line]) -> bytes:
    return "".join(line.text() + "\n" for line in lines).encode()


@pytest.mark.slow
@pytest.mark.slow
@given(whats)
def test_what_was_written_reads_back(said):
    lines = chain(*said)
    found = j.parse_journal(encoded(lines), "x.journal")
    assert found == j.Journal(tuple(lines))


@pytest.mark.slow
@given(whats, st.data())
def test_a_changed_byte_is_found_in_its_line(said, data):
    written = bytearray(encoded(chain(*said)))
    place = data.draw(st.integers(0, len(written) - 2))
    old = written[place]
    written[place] = data.draw(st.integers(0, 255).filter(lambda b: b != old))
    found = j.parse_journal(bytes(written), "x.journal")
    line = encoded(chain(*said))[:place].count(b"\n") + 1
    assert found.broken is not None
    assert found.broken.where.line == line
    assert len(found.lines) == line - 1


@pytest.mark.slow
@pytest.mark.slow
@given(whats, st.data())
def test_cutting_anywhere_keeps_the_whole_lines(said, data):
    written = encoded(chain(*said))
    length = data.draw(st.integers(0, len(written)))
    found = j.parse_journal(written[:length], "x.journal")
    assert found.broken is None
    assert len(found.lines) == written[:length].count(b"\n")
    assert encoded(list(found.lines)) + found.tail == written[:length]


@pytest.mark.parametrize(
    ("change", "line"),
    [
        (lambda x: [x[0], *x[2:]], 2),
        (lambda x: [x[1], x[0], *x[2:]], 1),
        (lambda x: [x[0], x[0], *x[1:]], 2),
        (lambda x: [*x[:3], chain(*({"n": str(i)} for i in range(4)), who="eve")[3]], 4),
        (lambda x: [x[0], j.make_line(2, x[0].digest, {"n": "other"}, "ann", NOON), *x[2:]], 3),
    ],
    ids=["removed", "moved", "doubled", "of another chain", "rewritten with a digest of its own"],
)
def test_lines_removed_moved_or_replaced(change, line):
    lines = chain(*({"n": str(i)} for i in range(4)))
    found = j.parse_journal(encoded(change(lines)), "x.journal")
    assert found.broken is not None
    assert (found.broken.where.line, found.broken.code) == (line, "journal-broken")


@pytest.mark.parametrize(
    "raw",
    [
        b"{}",
        b"[]",
        b"null",
        b"\xff\xfe",
        b'{"number":NaN}',
        b"[" * 100_000,
        b'"\\ud800"',
        b"1" * 5000,
        b'{"number":1,"number":1,"time":"","who":"","what":{},"before":"","digest":""}',
    ],
)
def test_what_is_no_journal_line_is_named_and_never_a_traceback(raw):
    found = j.parse_journal(raw + b"\n", "x.journal")
    assert found.broken is not None and found.broken.where.line == 1


def test_a_line_is_the_same_bytes_for_the_same_answer_and_clock():
    assert encoded(chain({"a": "1"})) == encoded(chain({"a": "1"}))
    line = json.loads(chain({"a": "1"})[0].text())
    assert list(line) == ["number", "time", "who", "what", "before", "digest"]
    assert line["time"] == "2026-11-25T12:00:01.000+00:00"


def test_a_second_session_is_told_who_holds_the_case(tmp_path):
    first = j.Lock(tmp_path / "pump.yaml", "ann", NOON)
    first.take()
    with pytest.raises(BadInput) as error:
        j.Lock(tmp_path / "pump.yaml", "bob", NOON).take()
    told = str(error.value)
    assert "ann on" in told and f"process {os.getpid()}" in told and "2026-11-25T12:00:00" in told
    first.free()
    second = j.Lock(tmp_path / "pump.yaml", "bob", NOON)
    second.take()
    assert second.taken_over == ""
    second.free()
    assert not (tmp_path / "pump.yaml.lock").exists()


def test_a_lock_left_by_a_dead_session_is_taken_over_and_told(tmp_path):
    child = os.fork()
    if child == 0:
        j.Lock(tmp_path / "pump.yaml", "ann", NOON).take()
        os._exit(0)
    os.waitpid(child, 0)
    lock = j.Lock(tmp_path / "pump.yaml", "bob", NOON)
    lock.take()
    assert "ann on" in lock.taken_over and f"process {child}" in lock.taken_over
    lock.free()


def test_a_lock_of_another_computer_is_respected(tmp_path):
    path = tmp_path / "pump.yaml.lock"
    path.write_text(json.dumps({"who": "ann", "host": "elsewhere", "pid": 7, "since": "2026-11-25T12:00:00+00:00"}))
    with pytest.raises(BadInput, match=r"ann on elsewhere \(process 7.*remove"):
        j.Lock(tmp_path / "pump.yaml", "bob", NOON).take()
    assert path.exists()


@pytest.mark.parametrize("left", [b"", b"{", b"[1]", b"\xff"])
def test_a_lock_file_torn_in_a_crash_does_not_shut_anybody_out(tmp_path, left):
    (tmp_path / "pump.yaml.lock").write_bytes(left)
    lock = j.Lock(tmp_path / "pump.yaml", "bob", NOON)
    lock.take()
    lock.free()


@pytest.mark.slow
def test_many_sessions_at_once_never_hold_a_case_together(tmp_path):
    """Eight processes take and free one lock 40 times each; each writes its number while it holds it."""
    shared = tmp_path / "shared"
    children = []
    for n in range(8):
        child = os.fork()
        if child == 0:
            os._exit(_hammer(tmp_path / "pump.yaml", shared, str(n)))
        children.append(child)
    assert [os.waitstatus_to_exitcode(os.waitpid(c, 0)[1]) for c in children] == [0] * 8
    assert not shared.exists()


def _hammer(case, shared, me):
    done = 0
    while done < 40:
        lock = j.Lock(case, me, NOON)
        try:
            lock.take()
        except BadInput:
            continue
        try:
            handle = os.open(shared, os.O_CREAT | os.O_EXCL)
        except FileExistsError:
            return 1
        os.close(handle)
        shared.unlink()
        lock.free()
        done += 1
    return 0
