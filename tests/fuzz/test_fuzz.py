"""Broken files of every kind: only clean errors, no traceback, no hang. Longer runs: `python -m tests.fuzz.run`."""

from __future__ import annotations

import os
import random
import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from diagnose.casefile.format import MOST_RECORDS
from diagnose.casefile.reader import parse_case
from diagnose.phrases.read import read
from diagnose.reading.located import read_text
from diagnose.reading.problems import Problems
from tests.fuzz.phrases import KINDS, known, wrong
from tests.fuzz.targets import SMALL, TARGETS, check, mutate, seeds, small
from tests.support.shipped import whole_base

pytestmark = pytest.mark.slow


@pytest.mark.parametrize("name", sorted(TARGETS))
def test_mutated_files_are_read_or_refused(name):
    mixer = random.Random(name)
    for _ in range(30 if name in ("knowledge", "verify") else 400):
        check(name, mutate(mixer.choice(seeds()[name]), mixer))


@given(st.sampled_from(sorted(TARGETS)), st.binary(max_size=300))
@settings(max_examples=150, deadline=None)
def test_any_bytes_are_read_or_refused(name, data):
    check(name, data)


@given(st.text(max_size=200))
@settings(max_examples=150, deadline=None)
def test_any_text_is_read_or_refused(text):
    check("case", f"case: {text}".encode("utf-8", "surrogatepass"))


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.__name__)
def test_phrases_of_every_kind_are_read_and_none_is_sure_of_what_shares_no_word_with_it(kind):
    mixer = random.Random(5)
    assert [p for p in (kind(mixer) for _ in range(60)) if wrong(p, read(p, whole_base().knowledge.vocabulary))] == []


def test_a_reading_without_a_word_of_its_phrase_is_told_as_wrong():
    gunked = read("springs gunked up", whole_base().knowledge.vocabulary)
    assert not wrong("springs gunked up", gunked) and "without a word" in wrong("banana", gunked)
    assert len(known()[0]) > 5000


def codes(data: bytes) -> set[str]:
    problems = Problems()
    parse_case(data, "case.yaml", small()[0].knowledge, problems)
    return {p.code for p in problems.errors()}


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("case: &a [x, x]\nabout: *a", "alias"),
        ("case: " + "[" * 100_000, "too-deep"),
        ("case: " + "{a: " * 100_000, "too-deep"),
        ("\n".join(" " * i + "a:" for i in range(1500)), "too-deep"),
        ("- " * 100_000 + "a", "too-deep"),
        ("case: c\nmeasurements: [{on: shaft, measured: shaft runout, reading: .nan mm}]", "unit"),
        ("case: c\nmeasurements: [{on: shaft, measured: shaft runout, reading: 1e999 mm}]", "unit"),
        (f"case: c\nmeasurements: [{{on: shaft, measured: shaft runout, reading: {'9' * 60} mm}}]", "out-of-range"),
        ('case: "\\e[31mred"', "control-character"),
        ('case: c\n"\\x9b31m": x', "control-character"),
        ("case: c\nabout: \x9b31mred", "control-character"),
        ('case: "\\ud800"', "yaml"),
        ("case: c\nobservations: [{on: shaft, saw: bent, photo: ../../etc/passwd}]", "photo"),
        ("case: c\nobservations: [{on: shaft, saw: bent, photo: /etc/passwd}]", "photo"),
        ("case: !!python/object/apply:os.system [true]", "tag"),
        ("case: a\n---\ncase: b", "yaml"),
        ("case: c\nobservations: [" + "{on: shaft, saw: bent}, " * (MOST_RECORDS + 1) + "]", "too-many"),
        ("case: c\nabout: " + "x" * 2_100_000, "file-too-large"),
        ("case: [" + "x, " * 600_000 + "]", "too-many"),
        ("case: [" + "a: b, " * 300_000 + "]", "too-many"),
        ("? \n" * 400_000, "too-many"),
    ],
    ids=lambda x: ascii(x)[:40],
)
def test_traps_are_refused(text, code):
    assert code in codes(text.encode("utf-8", "surrogatepass"))


def test_an_alias_bomb_is_not_unfolded():
    bomb = "a0: &a0 [x, x]\n" + "\n".join(f"a{i}: &a{i} [*a{i - 1}, *a{i - 1}]" for i in range(1, 60))
    problems = Problems()
    read_text(bomb.encode(), "bomb.yaml", problems)
    assert any(p.code == "alias" for p in problems.found)


def test_as_many_records_as_are_allowed_are_read():
    lines = [f"  - {{on: shaft, saw: bent, note: n{i}}}" for i in range(MOST_RECORDS)]
    assert not codes(("case: c\nobservations:\n" + "\n".join(lines)).encode())


# ---- the whole tool, as a user runs it ---------------------------------------------------------------------------


def diagnose(*arguments: str, cwd: Path, **more: object) -> subprocess.CompletedProcess[bytes]:
    environment = {**os.environ, "DIAGNOSE_KNOWLEDGE": str(SMALL / "knowledge"), "DIAGNOSE_CACHE": str(cwd / ".cache")}
    return subprocess.run(
        [sys.executable, "-m", "diagnose", *arguments],
        cwd=cwd,
        env=environment,
        capture_output=True,
        check=False,
        timeout=60,
        **more,
    )


def clean(done: subprocess.CompletedProcess[bytes], *codes: int) -> None:
    assert done.returncode in codes, done.stderr.decode()
    told = done.stdout + done.stderr
    assert b"Traceback" not in told
    assert not any(bad in told.decode() for bad in "\x1b\x9b\u202e\u200b"), told


@pytest.mark.parametrize("command", ["explain", "why", "trail", "report", "batch"])
def test_no_terminal_escape_reaches_the_screen(command, tmp_path):
    note = "note: 'hidden \u202e\u200b\u0085 signs'"
    text = (SMALL / "case.yaml").read_text("utf-8").replace("A small case", "'Small \u202e\u200b case'")
    text = text.replace("saw: hardened", f"saw: hardened, {note}")
    (tmp_path / "cases").mkdir()
    (tmp_path / "cases" / "c\x1b[31m.yaml").write_text(text, "utf-8")
    (tmp_path / "cases" / "bad\x1b[31m.yaml").write_text('case: "\\e[31m"\n\u202e: x', "utf-8")
    sound, bad = "cases/c\x1b[31m.yaml", "cases/bad\x1b[31m.yaml"
    if command == "batch":
        clean(diagnose("batch", "cases", cwd=tmp_path), 1)
        return
    more = ["dry running"] if command == "why" else ["-o", "out.html"] if command in ("trail", "report") else []
    clean(diagnose(command, sound, *more, cwd=tmp_path), 0)
    clean(diagnose(command, bad, *more, cwd=tmp_path), 2)


@pytest.mark.parametrize("nasty", ["\x1b[2J", "\u202e", "\x9b31m", "", "../" * 30, "\udcff"], ids=ascii)
def test_odd_names_on_the_command_line_are_refused(nasty, tmp_path):
    clean(diagnose("explain", "--", nasty, cwd=tmp_path), 2)


def test_odd_files_in_place_of_a_case(tmp_path):
    (tmp_path / "loop").symlink_to("loop")
    (tmp_path / "gone").symlink_to("nowhere")
    (tmp_path / "folder").mkdir()
    os.mkfifo(tmp_path / "pipe")
    for name in ("loop", "gone", "folder", "pipe", "/dev/zero", "/dev/full", "a" * 300, "folder/../gone"):
        clean(diagnose("explain", name, cwd=tmp_path), 2)


def test_a_full_disk_and_a_closed_pipe_are_told_cleanly(tmp_path):
    case = SMALL / "case.yaml"
    with open("/dev/full", "wb") as full:
        done = subprocess.run(
            [sys.executable, "-m", "diagnose", "explain", str(case), "--knowledge", str(SMALL / "knowledge")],
            stdout=full,
            stderr=subprocess.PIPE,
            check=False,
            timeout=60,
        )
    assert done.returncode == 2 and b"Traceback" not in done.stderr and b"No space left" in done.stderr
    clean(diagnose("trail", str(case), "-o", "/dev/full", cwd=tmp_path), 2)
    clean(diagnose("batch", str(tmp_path), "-o", "nowhere/table.csv", cwd=tmp_path), 2)
