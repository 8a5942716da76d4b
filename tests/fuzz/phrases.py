"""Many phrases through their reader: python -m tests.fuzz.phrases 1000000 [SEED]

Half of them are said of a part drawn at random. A traceback, a phrase that takes longer than 0.2 s of processor time, and one that
is taken as sure and shares no word with what it was read as are failures; each kind is printed with the phrase that brought it
about, and the run ends with exit code 1.
"""

from __future__ import annotations

import gc
import random
import signal
import sys
import time
import traceback
from collections import Counter, defaultdict
from collections.abc import Callable
from functools import cache, lru_cache

from diagnose.phrases.clauses import MOST_CLAUSES
from diagnose.phrases.hold import MOST_READINGS
from diagnose.phrases.index import index_of
from diagnose.phrases.model import Reading, Statement, rendered
from diagnose.phrases.read import read
from diagnose.phrases.tokens import folded
from tests.support.shipped import whole_base

LONGEST = 0.2
SIGNS = "abc 0123,.;:!?-_'\"()[]{}<>\\/\t\n°µ'½\u200b\u202e\ue000\x00"
SCRIPTS = ((0x21, 0x7E), (0xA1, 0x17F), (0x370, 0x52F), (0x590, 0x6FF), (0x900, 0xDFF), (0x1E00, 0x206F), (0x2070, 0x23FF),
           (0x3040, 0x30FF), (0x4E00, 0x9FFF), (0xAC00, 0xD7A3), (0xD800, 0xDFFF), (0xE000, 0xE0FF), (0xFF00, 0xFFEF),
           (0x1F300, 0x1FAFF), (0x1D400, 0x1D7FF))  # fmt: skip
JOINS = (
    " ",
    " and ",
    ", ",
    " or ",
    " not ",
    " no ",
    "; ",
    " but ",
    " with ",
    " on the ",
    "/",
    " - ",
    " 3 o'clock ",
    " 0.1 mm ",
    "",
)
MADE_WORSE = (
    "no ",
    "and ",
    "; ",
    "(",
    "-",
    "not not ",
    "1.5 bar ",
    "3 o'clock ",
    "carbon ",
    "or ",
    "of ",
    "!",
    "a",
    "didn't ",
    "'s ",
)


@lru_cache(maxsize=1)
def known() -> tuple[list[str], list[str]]:
    """Every way of saying a term, and single words of them."""
    index = index_of(whole_base().knowledge.vocabulary)
    said = sorted({s.text for s in index.spellings} | {" ".join(run) for run in index.surfaces})
    return said, sorted(index.raw)


def cut_and_joined(mixer: random.Random) -> str:
    said, words = known()
    text = mixer.choice(said)
    for _ in range(mixer.choice((0, 1, 1, 2))):
        text += mixer.choice(JOINS) + mixer.choice(said if mixer.random() < 0.4 else words)
    return text


def misspelt(mixer: random.Random) -> str:
    text = cut_and_joined(mixer)
    for _ in range(mixer.randint(1, 4)):
        at = mixer.randrange(len(text) + 1)
        how = mixer.randrange(4)
        put = mixer.choice(SIGNS) if how < 2 else text[at : at + 2][::-1] if how == 2 else ""
        text = text[:at] + put + text[at + (2 if how == 2 else mixer.randint(0, 2)) :]
    return text


def of_words(mixer: random.Random) -> str:
    return " ".join(mixer.choice(known()[1]) for _ in range(mixer.randint(1, 6)))


def of_letters(mixer: random.Random) -> str:
    return "".join(mixer.choice(" aeiounrstlcdpmgbhfk'-,.1") for _ in range(mixer.randint(1, 60)))


def of_scripts(mixer: random.Random) -> str:
    low, high = mixer.choice(SCRIPTS)
    text = "".join(chr(mixer.randint(low, high)) if mixer.random() < 0.9 else " " for _ in range(mixer.randint(1, 30)))
    return text if mixer.random() < 0.6 else mixer.choice(known()[0]) + mixer.choice((" ", "")) + text


def hostile(mixer: random.Random) -> str:
    piece = mixer.choice(MADE_WORSE) if mixer.random() < 0.5 else mixer.choice(known()[0]) + mixer.choice(JOINS)
    return piece * mixer.choice((3, 10, 40, 300)) + mixer.choice(known()[1])


KINDS: dict[Callable[[random.Random], str], int] = {
    cut_and_joined: 22, misspelt: 28, of_words: 15, of_letters: 15, of_scripts: 17, hostile: 3,
}  # fmt: skip


@lru_cache(maxsize=1)
def _surfaces() -> dict[tuple[str, str], set[str]]:
    index = index_of(whole_base().knowledge.vocabulary)
    found: dict[tuple[str, str], set[str]] = defaultdict(set)
    for run, senses in index.surfaces.items():
        for sense in senses:
            found[sense].update(run)
    return found


@cache
def words_of(family: str, term: str, value: str) -> frozenset[str]:
    """The stems of all words by which the vocabulary has a term said; of a spelling that says more than parts, not those."""
    index = index_of(whole_base().knowledge.vocabulary)
    words = {*index.split(term.replace(": ", " "))[1], *index.split(value)[1]}
    senses = {("variable", term), ("value", f"{term}: {value}")} if family == "state" else set()
    for spelling in index.spellings:
        if (spelling.term.family, spelling.term.name) == (family, term):
            of_parts = {s for asked in spelling.asked for s in asked if {slot for slot, _ in asked} == {"part"}}
            senses |= {s for asked in spelling.asked for s in asked if s[0] != "part"}
            words |= spelling.stems - {w for s in of_parts for w in _surfaces()[s]}
    return frozenset(words.union(*(_surfaces().get(sense, {sense[1]}) for sense in senses)))


def shares_a_word(phrase: str, statement: Statement) -> bool:
    """Whether a word of the phrase, or a piece of one written together, is one by which the statement is said."""
    said = folded(phrase)
    stems = {t.stem for t in index_of(whole_base().knowledge.vocabulary).tokens(said)}
    words = words_of(statement.family, statement.term, statement.more.get("value", ""))
    if stems & words:
        return True
    squeezed = "".join(c for c in said if c.isalnum())
    return any(len(w) > 2 and w in squeezed for w in words)


def failure(phrase: str, part: str) -> tuple[str, float]:
    """What is wrong with the reading of a phrase said of a part, "" where nothing is, and the seconds of processor time it took."""
    vocabulary = whole_base().knowledge.vocabulary
    began = time.process_time()
    found = read(phrase, vocabulary, part)
    took = time.process_time() - began
    if took > LONGEST:  # held to be slow only where it is slow again, so that a pause of the collector is not
        began = time.process_time()
        read(phrase, vocabulary, part)
        took = min(took, time.process_time() - began)
        if took > LONGEST:
            return f"took {took:.2f} s", took
    return wrong(phrase, found), took


def wrong(phrase: str, found: tuple[Reading, ...]) -> str:
    if len(found) > MOST_READINGS or any(len(r.statements) > MOST_CLAUSES for r in found):
        return "more readings or statements than are allowed"
    for reading in found:
        if not reading.statements or not 0 <= reading.score <= 1 or reading.sureness not in ("sure", "likely", "weak"):
            return f"no reading: {reading}"
    if found and found[0].sureness == "sure":
        for statement in found[0].statements:
            if not shares_a_word(phrase, statement):
                return f"sure of {rendered(statement)!r} without a word of it"
    return ""


def _late(*_: object) -> None:
    raise TimeoutError("a phrase took too long")


def main(count: int, seed: int) -> int:
    signal.signal(signal.SIGVTALRM, _late)
    mixer = random.Random(seed)
    kinds, shares = list(KINDS), list(KINDS.values())
    done: Counter[str] = Counter()
    failures: dict[str, str] = {}
    failed, slowest, start = 0, 0.0, time.process_time()
    parts = sorted(whole_base().knowledge.vocabulary.kinds)
    failure("worn", parts[0])
    gc.freeze()
    for _ in range(count):
        (kind,) = mixer.choices(kinds, shares)
        phrase, part = kind(mixer), mixer.choice(("", mixer.choice(parts)))
        done[kind.__name__] += 1
        signal.setitimer(signal.ITIMER_VIRTUAL, 5)
        try:
            told, took = failure(phrase, part)
            slowest = max(slowest, took)
        except Exception as error:
            last = traceback.extract_tb(error.__traceback__)[-1]
            told = f"{type(error).__name__} at {last.filename}:{last.lineno}: {error}"[:200]
        finally:
            signal.setitimer(signal.ITIMER_VIRTUAL, 0)
        if told:
            failed += 1
            failures.setdefault(told, f"{part}: {phrase}")
    spent = time.process_time() - start
    print(
        f"{count} phrases, seed {seed}, {spent:.0f} s of processor time: {dict(done)}; slowest {slowest:.3f} s; failed {failed}"
    )
    for told, phrase in list(failures.items())[:40]:
        print(f"FAILED {told}\n  {phrase[:300]!r}")
    return 1 if failures else 0


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1]), int(sys.argv[2]) if len(sys.argv) > 2 else 0))
