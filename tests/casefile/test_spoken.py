"""Whole phrases put on record: taken where they are surely read, shown back where not, never lost."""

from __future__ import annotations

from pathlib import Path

import pytest

from diagnose.casefile.reader import read_case
from diagnose.casefile.spoken import removal_said
from diagnose.casefile.wording import describe
from diagnose.knowledge.cache import open_knowledge
from tests.support.commands import ended

KNOWLEDGE = Path(__file__).parents[2] / "knowledge"


@pytest.fixture
def note(tmp_path, monkeypatch, capsys):
    """Runs diagnose note on a begun single seal; returns (exit code, output, errors)."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("DIAGNOSE_KNOWLEDGE", str(KNOWLEDGE))
    monkeypatch.setenv("DIAGNOSE_BY", "ann")

    assert ended(monkeypatch, capsys, "start", "p.yaml", "--arrangement", "single")[0] == 0
    return lambda *words: ended(monkeypatch, capsys, "note", "p.yaml", *words)


def case():
    return read_case(Path("p.yaml"), open_knowledge(KNOWLEDGE))


@pytest.mark.slow
@pytest.mark.slow
def test_a_phrase_that_is_surely_read_is_recorded_with_the_words_as_said(note):
    code, out, _ = note("--said", "springs gunked up")
    assert code == 0 and "read as: spring: clogged" in out
    (o,) = case().observations
    assert (o.feature, o.kind, o.said) == ("clogged", "multiple springs", "springs gunked up")


def test_a_phrase_that_must_be_asked_is_refused_with_its_readings_and_taken_with_sure(note):
    code, _, err = note("--said", "no blisters on the carbon")
    assert code == 2 and "looked for and not there, blister" in err and "denial" in err and "--sure" in err
    assert case().observations == ()
    assert note("--said", "no blisters on the carbon", "--sure")[0] == 0
    assert [(o.feature, o.state) for o in case().observations] == [("blisters", "absent")]


@pytest.mark.slow
def test_states_and_acts_are_recorded_as_such(note):
    assert note("--said", "quench stone cold", "--said", "seal greased with vaseline", "--sure")[0] == 0
    ((state,), (act,)) = case().states, case().acts
    assert (state.point, state.variable, state.values, state.said) == (
        "quench",
        "temperature",
        ("low",),
        "quench stone cold",
    )
    assert (act.did, act.to, act.using) == ("grease", "seal", "mineral grease")


def test_what_is_not_understood_is_kept_as_said(note):
    code, out, _ = note("--said", "frobnicated the widget")
    assert code == 0 and "not understood, kept as said" in out
    assert note("--said", "wug dax")[0] == 0
    assert case().not_understood == ("frobnicated the widget", "wug dax")


def test_a_word_that_is_no_term_is_read_as_a_phrase_on_its_part(note):
    code, out, _ = note("--part", "2", "--saw", "looks like a record", "--sure")
    assert code == 0 and "concentric grooves" in out
    (o,) = case().observations
    assert (o.feature, o.part, o.said) == ("concentric grooves", "2", "looks like a record")


@pytest.mark.parametrize(
    ("phrase", "came_out"),
    [
        ("seal was sound, taken out on schedule", "sound"),
        ("pulled at the planned overhaul", "sound"),
        ("The seal is still running", "still running"),
        ("sound", ""),
        ("O-ring is sound", ""),
        ("seal was sound, still running", ""),
        ("seal was sound but the springs were broken", ""),
    ],
)
def test_sound_said_of_the_seal_is_how_it_came_out_and_no_noise(phrase, came_out):
    made = [{"set": ["history", "removal"], "to": came_out, "said": phrase}]
    assert removal_said(phrase, {}) == (made if came_out else [])
    assert removal_said(phrase, {"part": "3"}) == []


@pytest.mark.parametrize(
    ("phrase", "known"),
    [("I was told the quench was shut off", " (from hearsay)"), ("apparently the quench was shut off", " (said with doubt)"),
     ("the quench was shut off", "")],
)  # fmt: skip
def test_what_is_not_known_at_first_hand_is_told_as_such(note, phrase, known):
    assert note("--said", phrase, "--sure")[0] == 0
    (o,) = case().observations
    assert describe(o, case()) == f"quench lost on quench{known}"
