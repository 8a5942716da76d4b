"""What holds of every phrase: sentences of statements read back, other matters read to nothing, bounded work, the same
reading in every process, and nothing sure that shares no word with its phrase."""

from __future__ import annotations

import random
import subprocess
import sys
from pathlib import Path

import pytest

from diagnose.phrases.blend import IN_OTHER_WORDS
from diagnose.phrases.clauses import MOST_CLAUSES, phrase_of
from diagnose.phrases.index import Index, index_of
from diagnose.phrases.model import Statement, rendered
from diagnose.phrases.read import MOST_READINGS, read
from diagnose.phrases.spelling import Speller
from diagnose.phrases.tokens import MOST_SIGNS, MOST_TOKENS, folded, stem
from tests.support.shipped import whole_base

ROOT = Path(__file__).parents[2]
V = whole_base().knowledge.vocabulary
IRRELEVANT = (ROOT / "tests/phrases/irrelevant.txt").read_text("utf-8").splitlines()


def every_statement() -> list[Statement]:
    g = V.grammar
    made = [
        Statement("feature", f.name, (f.on or ("spring",))[0], state)
        for f in V.features.values()
        for state in ("present", "absent", "not looked at")
    ]
    made += [
        Statement("state", x.name, "flush line", state, {"value": w})
        for x in g.variables.values()
        for w in x.words
        for state in ("present", "absent")
    ]
    made += [
        Statement("state", "temperature", point, "present", {"value": "high", "when": "at start"}) for point in g.points
    ]
    made += [Statement("act", act, "pot", state, {"with": "oil"}) for act in g.acts for state in ("present", "absent")]
    made += [Statement("setting", f"{s.name}: {t}") for s in V.settings.values() for t in s.terms]
    made += [Statement("feature", "edge chips", "soft face", "present", {"side": side}) for side in V.sides]
    made += [Statement("feature", "groove", "sleeve", "present", {"degree": d}) for d in V.degrees]
    extents = ("all round", "one sector", "patches", "at 3", "at 3:30", "10 to 2", "at 100°")
    made += [Statement("feature", "groove", "sleeve", "present", {"degree": "light", "extent": e}) for e in extents]
    made += [
        Statement("feature", "deposit", "spring", "present", {q: x}) for q, table in g.qualifiers.items() for x in table
    ]
    made.append(
        Statement("feature", "broken", "spring", "present", {"which": "spring 5", "of": "8", "when": "before washing"})
    )
    made.append(Statement("reading", "shaft runout", "shaft", "present", {"value": "0.12 mm"}))
    return made


def others() -> list[tuple[str, str, str]]:
    """(mark, a kind of part it can be on, a phrase) of what is said in other words."""
    told = V.lexicon.others["features"]
    return [(name, (V.features[name].on or ("spring",))[0], text) for name, said in told.items() for text in said]


def test_what_is_said_in_other_words_is_offered_and_hardly_ever_sure():
    some = random.Random(1).sample(others(), 150)
    read_as = [(name, read(text, V, on)) for name, on, text in some]
    line = V.form_lineage
    right = sum(any(name in line.get(s.term, ()) or s.term in line[name] for r in rs[:3] for s in r.statements)
                for name, rs in read_as)  # fmt: skip
    assert right >= 0.85 * len(some)
    assert sum(rs[0].sureness == "sure" for _, rs in read_as if rs) <= 0.1 * len(some)


def test_what_is_denied_and_said_to_be_otherwise_in_one_breath_is_hardly_ever_read_as_there():
    opposite = [(name, text) for name, said in V.lexicon.others["absent"].items() for text in said]
    opposite += [(name, s.text) for name, said in V.lexicon.terms["absent"].items() for s in said]
    plain = [
        (name, text) for name, text in opposite if not {"no", "not", "little", "out"} & set(f"{name} {text}".split())
    ]
    wrong = []
    for name, text in random.Random(2).sample(plain, 60):
        for phrase in (f"no {name}, {text}", f"{text}, no {name}", f"no {name} {text}"):
            first = read(phrase, V, (V.features[name].on or ("spring",))[0])[:1]
            wrong += [phrase for r in first for s in r.statements if (s.term, s.state) == (name, "present")]
    assert len(wrong) <= 2, wrong


def test_words_of_what_is_said_in_other_words_are_no_guess_at_a_misspelling():
    index = Index(V)
    before = set(index.raw)
    assert index.sayings and index.raw == before
    learnt = {word for _, _, text in others() for word in text.split()} - before
    assert "toaster" in learnt and all(word not in index.speller.guess(f"{word}s") for word in sorted(learnt)[:200])


def test_every_statement_rendered_reads_back_to_itself():
    for s in every_statement():
        found = read(rendered(s), V)
        assert found and found[0].statements == (s,), rendered(s)


def test_several_statements_rendered_read_back_together():
    some = (
        Statement("feature", "edge chips", "soft face", "present", {"side": "outer edge"}),
        Statement("state", "level", "pot", "present", {"value": "falling"}),
    )
    found = read("; ".join(map(rendered, some)), V)
    assert found[0].statements == some and found[0].sureness == "sure"


@pytest.mark.slow
def test_five_hundred_sentences_about_other_matters_read_to_nothing():
    assert len(set(IRRELEVANT)) == 500
    assert [(line, read(line, V)[0].text) for line in IRRELEVANT if read(line, V)] == []


def hostile(n: int) -> list[str]:
    """Phrases of the vocabulary mutated, random signs, other scripts, long and nested ones; the same every time."""
    dice = random.Random(7)
    words = sorted(w for f in V.features.values() for w in (f.name, *f.also))
    signs = "abc 0123,.;:!?-_'\"()[]{}<>\\/\t\n°µ漢字кириллица العربية🙂\u200b\u202e\ue000\x00not no "
    made = [
        "no " * 300,
        "carbon " * 200,
        "a" * 5000,
        "; ".join(words),
        "and " * 400,
        "1.5 bar " * 200,
        "3 o'clock " * 90,
        "(((" * 200,
        "-" * 900,
    ]
    while len(made) < n:
        text = " ".join(dice.sample(words, dice.randint(1, 4)))
        for _ in range(dice.randint(0, 6)):
            at = dice.randrange(len(text) + 1)
            text = text[:at] + dice.choice(signs) + text[at + dice.randint(0, 2) :]
        made.append(text)
    return made


@pytest.mark.slow
def test_hostile_phrases_are_read_without_error_in_bounded_work_and_never_surely_without_a_common_word():
    index = index_of(V)
    for text in hostile(400):
        parted = phrase_of(text, index)
        assert len(parted.clauses) <= MOST_CLAUSES and sum(len(c.tokens) for c in parted.clauses) <= MOST_TOKENS
        found = read(text, V)
        assert len(found) <= MOST_READINGS
        if found and found[0].sureness == "sure":
            assert found[0].used and all(
                w in text.lower() or w in folded(text) for w in " ".join(found[0].used).split()[:1]
            )


def test_what_lies_beyond_the_bounds_is_unread_and_not_lost():
    text = "carbon blistered " + "x" * MOST_SIGNS + " grooved"
    assert "grooved" in " ".join(read(text, V)[0].unread) and read(text, V)[0].sureness != "sure"


OTHER_WORDS = [("shredded all along the lip", "dynamic O-ring"), ("gummed with goo", "spring")]


@pytest.mark.parametrize("said, on", OTHER_WORDS)
def test_what_is_only_near_is_offered_and_never_sure(said, on):
    found = read(said, V, on)
    near = [r for r in found if IN_OTHER_WORDS in r.asks]
    assert near and all(r.sureness == "weak" for r in near)


@pytest.mark.parametrize("said, on", OTHER_WORDS)
def test_where_no_part_is_known_nothing_is_read_in_other_words_from_words_nobody_knows(said, on):
    assert not any(IN_OTHER_WORDS in r.asks for r in read(f"{said} frobnicated", V))


def test_what_is_denied_is_denied_in_other_words_too():
    states = {
        s.state
        for r in read("not shredded along the lip", V, "dynamic O-ring")
        if IN_OTHER_WORDS in r.asks
        for s in r.statements
    }
    assert states == {"absent"}


@pytest.mark.slow
def test_readings_are_the_same_in_every_process():
    program = (
        "from pathlib import Path; from diagnose.knowledge.cache import open_knowledge; from diagnose.phrases.read import read\n"
        f"v = open_knowledge(Path({str(ROOT / 'knowledge')!r})).vocabulary\n"
        "for p in ('carbon chipped, springs gunked up', 'wide track', 'frayed rims gummed with goo on the spring', 'flush line cold', 'no cracks or chips'): print(read(p, v))"
    )
    said = {
        subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True, cwd=ROOT, env={"PYTHONHASHSEED": seed, "PYTHONPATH": str(ROOT), "DIAGNOSE_CACHE": "off"}).stdout
        for seed in ("0", "1")
    }  # fmt: skip
    assert len(said) == 1 and "edge chips" in said.pop()


def test_a_misspelt_word_is_guessed_one_slip_away_and_a_long_one_two():
    speller = Speller(["spring", "gasket", "vents", "barrier", "alignment", "temperature"])
    guesses = [speller.guess(w) for w in ("spirng", "gaskett", "vent", "gsaekt", "aligmnent", "tempratuer", "spring")]
    assert guesses == [["spring"], ["gasket"], [], [], ["alignment"], ["temperature"], []]


def test_stems_join_inflections_and_spellings_and_keep_other_words_apart():
    assert {stem(w) for w in ("groove", "grooves", "grooved", "grooving")} == {"groov"}
    assert (
        stem("discolouration") == stem("discoloration")
        and stem("polymerised") == stem("polymerized")
        and stem("fibres") == stem("fibers")
    )
    whole = index_of(V).whole
    assert (
        len(
            {
                stem(w, whole)
                for w in ("bear", "bearing", "couple", "coupling", "case", "casing", "face", "facing", "ring")
            }
        )
        == 9
    )


@pytest.mark.slow
def test_explaining_a_case_does_not_load_the_reading_of_phrases():
    program = "import sys; from diagnose.cli import main; sys.argv = ['diagnose', 'explain', 'dry-running']\ntry: main.run()\nexcept SystemExit: pass\nprint('LOADED', [m for m in sys.modules if m.startswith('diagnose.phrases')])"
    done = subprocess.run(
        [sys.executable, "-c", program],
        capture_output=True,
        text=True,
        cwd=ROOT,
        env={"PYTHONPATH": str(ROOT), "PATH": ""},
    )
    assert "LOADED []" in done.stdout, done.stdout[-300:] + done.stderr[-300:]
