"""What is fuzzed: each target takes any bytes and may only return or raise BadInput; anything else is a defect."""

from __future__ import annotations

import copy
import json
import random
import re
from collections.abc import Callable
from datetime import UTC, datetime
from functools import lru_cache
from pathlib import Path
from typing import Any

import msgspec
import yaml

from diagnose.casefile.journal import Line, make_line, parse_journal
from diagnose.casefile.reader import parse_case
from diagnose.casefile.replay import replay
from diagnose.evaluation.verify import Given, verify
from diagnose.inference.rules import compile_rules
from diagnose.inference.run import RuleBase, infer
from diagnose.judgement.judge import judge
from diagnose.judgement.network import Network, build
from diagnose.knowledge.files import contents_of
from diagnose.knowledge.reader import build_knowledge
from diagnose.library.pool import FORM
from diagnose.library.pool import _read as shared_seals
from diagnose.library.seals import Confirmed, Seal, Verdict
from diagnose.page.answers import read_answers, whats_of
from diagnose.reading.located import read_text
from diagnose.reading.problems import BadInput, Problems
from diagnose.trail.custody import Around
from diagnose.trail.document import dump, load, trail

WHEN = datetime(2026, 1, 1, tzinfo=UTC)
SMALL = Path(__file__).parents[1] / "small"


@lru_cache(maxsize=1)
def small() -> tuple[RuleBase, Network, dict[str, bytes]]:
    contents = contents_of(SMALL / "knowledge")
    knowledge = build_knowledge(contents, "knowledge", Problems())
    assert knowledge is not None
    return RuleBase(knowledge, compile_rules(knowledge)), build(knowledge), contents


def read_a_case(data: bytes) -> None:
    """A case that is read without problems must also be judged."""
    base, net, _ = small()
    problems = Problems()
    case = parse_case(data, "case.yaml", base.knowledge, problems)
    for problem in problems.found:
        assert "\x1b" not in str(problem.where) and problem.where.line >= 1
    if case is not None and not problems.errors():
        judge(infer(case, base), net)


def read_a_file(data: bytes) -> None:
    read_text(data, "file.yaml", Problems())


def read_knowledge(data: bytes) -> None:
    """The first byte says which file of the small rule base has the rest as its content."""
    _, _, contents = small()
    names = sorted(contents)
    name = names[(data[0] if data else 0) % len(names)]
    knowledge = build_knowledge(contents | {name: data[1:]}, "knowledge", problems := Problems())
    if knowledge is not None and not problems.errors():
        compile_rules(knowledge)


def read_a_journal(data: bytes) -> None:
    journal = parse_journal(data, "case.journal")
    try:
        replay(journal.lines)
    except ValueError as error:
        assert "replayed" in str(error)


def replay_answers(data: bytes) -> None:
    """Each line of the bytes is an answer, put into a sound chain, so that replaying itself is tried."""
    lines: list[Line] = []
    for raw in data.split(b"\n")[:50]:
        try:
            what = json.loads(raw)
            lines.append(make_line(len(lines) + 1, lines[-1].digest if lines else "", what, "a", WHEN))
        except (ValueError, RecursionError):
            continue
    try:
        replay(lines)
    except ValueError as error:
        assert "replayed" in str(error)


def read_a_shared_file(data: bytes) -> None:
    for seal in shared_seals(data, "seals.jsonl"):
        assert seal.removal


def read_a_tablets_answers(data: bytes) -> None:
    """What answers put on record is replayed as the recorder would, phrases read by the vocabulary of the small rule base."""
    base, _, _ = small()
    try:
        answers = read_answers(data)
    except ValueError as error:
        assert str(error)
        return
    lines = [make_line(1, "", START, "a", WHEN)]
    for answer in answers[:20]:
        try:
            state = replay(lines)
            for what in whats_of(answer, set(), SMALL / "case.yaml", state, base.knowledge.vocabulary, WHEN):
                line = make_line(len(lines) + 1, lines[-1].digest, what, answer.who, WHEN)
                replay([*lines, line])
                lines.append(line)
        except ValueError:
            continue


def read_a_trail(data: bytes) -> None:
    load(data, "trail.json")


def replay_a_trail(data: bytes) -> None:
    base, _, contents = small()
    verify(data, "trail.json", Given(base, "0.0.0", contents))


Target = Callable[[bytes], None]
TARGETS: dict[str, Target] = {
    "case": read_a_case,
    "file": read_a_file,
    "knowledge": read_knowledge,
    "journal": read_a_journal,
    "replay": replay_answers,
    "answers": read_a_tablets_answers,
    "shared": read_a_shared_file,
    "trail": read_a_trail,
    "verify": replay_a_trail,
}


def check(name: str, data: bytes) -> bool:
    """Runs a target; True where it refused the bytes cleanly. Anything but BadInput passes through."""
    try:
        TARGETS[name](data)
    except BadInput as error:
        assert error.problems and all(p.says for p in error.problems)
        return True
    return False


@lru_cache(maxsize=1)
def seeds() -> dict[str, list[bytes]]:
    base, _, contents = small()
    case = (SMALL / "case.yaml").read_bytes()
    names = sorted(contents)
    whats: list[dict[str, Any]] = [
        START,
        {"add": "observations", "entry": {"part": "1", "saw": "edge chips"}},
        {"set": ["service", "is"], "to": ["hot water"]},
        {"add": "observations", "entry": {"part": "1", "absent": "edge chips"}, "instead of": "2"},
        {"withdraw": "4"},
    ]
    journal, before = b"", ""
    for number, what in enumerate(whats, 1):
        line = make_line(number, before, what, "a", WHEN)
        journal, before = journal + line.text().encode() + b"\n", line.digest
    # the same as JSON, which is YAML too: one value changed leaves the rest sound, so that more is read to its end
    cases = [case, ODD_CASE.encode(), *(json.dumps(yaml.load(c, yaml.BaseLoader)).encode() for c in (case, WHOLE_CASE))]
    answer = {"id": "01234567-89ab-4cde-8f01-23456789abcd", "who": "Kim", "at": "2026-01-01T00:00:00+00:00"}
    answers = [answer | {"whats": whats[1:]}, answer | {"phrase": "edge chips", "about": {"part": "1"}}]
    seal = Seal("seal 1", "", "machine 1", "", "2024-01", "2026-03", "failed", 900.0, None, 4.0, 0.1, (("service", "hot water"),),
                (("dry running", True),), (Verdict("cause", "dry running", "probable", 0.7),),
                (Confirmed(("dry running",), (), False, "", "by test", "2026-03", ()),))  # fmt: skip
    head = {"holds": FORM, "knowledge": "0", "seals": 1}
    return {
        "answers": [json.dumps(answers).encode(), *(json.dumps([a]).encode() for a in answers)],
        "shared": [json.dumps(head).encode() + b"\n" + msgspec.json.encode(seal) + b"\n"],
        "case": cases,
        "file": [case, *contents.values()],
        "knowledge": [bytes([i]) + contents[name] for i, name in enumerate(names)],
        "journal": [journal],
        "replay": [b"\n".join(json.dumps(what).encode() for what in whats)],
        "trail": [dump(trail(case, base, "0.0.0"))],
        "verify": [dump(trail(case, base, "0.0.0")), dump(trail(case, base, "0.0.0", Around(contents=contents)))],
    }


START: dict[str, Any] = {
    "start": {
        "case": "c",
        "seal": {"arrangement": "single"},
        "parts": [{"item": "1", "name": "Seat", "kind": "hard face"}],
    }
}
WHOLE_CASE = """
case: A whole case
seal: {arrangement: dual pressurised}
service: {is: [hot water]}
index: {rotating: key, stationary: top dead centre}
parts:
  - {item: "1", name: Seat, kind: hard face, group: stationary, index: top, seen from: driver end, position: inboard}
  - {item: "2", name: Ring, kind: soft face, group: rotating, position: outboard}
observations:
  - {part: "1", saw: edge chips, extent: [at 4, 300° to 30°], note: a remark}
  - {part: "2", absent: edge chips}
measurements:
  - {on: shaft, measured: shaft runout, reading: 0.02 mm, resolution: 1 µm}
history: {fitted: "2024-01-02", removed: "2026-03-02", removal: failed}
"""
ODD_CASE = """
case: "A \\u202e case"
seal: {arrangement: dual pressurised}
index: {rotating: key, stationary: top dead centre}
parts:
  - {item: 1, name: Seat, kind: hard face, group: stationary, index: top, seen from: driver end, position: inboard}
observations:
  - {part: 1, saw: wash mark, extent: [at 4, 300° to 30°], photo: ../../etc/passwd, note: "tab\\there"}
  - {on: shaft, absent: bent}
measurements:
  - {on: shaft, measured: shaft runout, readings: [0.02 mm, "1e-3 in"], at: [1, 4], resolution: 1 µm}
history: {events: [{date: 2026-03-02, what: started}]}
expected: {one of: [dry running, bent shaft], source: invented, shows: nothing}
"""
NASTY = [
    "&a",
    "*a",
    "<<: *a",
    "!!python/object:os.system",
    "!x",
    "[" * 60,
    "{" * 60,
    "- " * 60,
    "? " * 60,
    "1e999",
    "-inf",
    ".nan",
    "NaN",
    "0" * 400,
    "9" * 400,
    "0x10",
    "1_000",
    "1:30:00",
    "~",
    "null",
    "true",
    "2026-02-30",
    "---",
    "...",
    "\u202e",
    "\u200b",
    "\u0085",
    "\u2028",
    "\ufeff",
    "\x1b[2J",
    "\x9b31m",
    '"\\e[31m"',
    '"\\ud800"',
    '"\\x00"',
    "\r",
    "\t",
    "|",
    ">",
    "%YAML 9.9",
    "#",
    "a" * 5000,
    "é" * 300,
    "../" * 30,
    "/dev/zero",
    "12 mm",
    "12 parsec",
    "-5 mm",
    "1e400 mm",
    "12 ± 1e400 °C",
    "10 to 2",
    "at 99",
    "361° to 5°",
    "inboard",
    "present",
    "",
    ": ",
    "\\",
    '"',
    "'",
    "٣ mm",
    "１２ mm",
    "²",
    "½",
    "mm",
    "1 mm**9999",
    "1 (((((((((m",
    "°C°C",
    "{a: {a: {a: 1}}}",
]
WINDOW = 200
_TOKEN = re.compile(rb"[\w.-]+|\s+|[^\w\s]")


ODD_VALUES: list[Any] = [None, True, -1, 0, 1e308, 10**40, "", "x", "\u202e", [], {}, [[]], {"": None}, ["a"] * 50]


def mutate_json(data: bytes, mixer: random.Random) -> bytes:
    """Sound JSON with one to three values anywhere in it changed, lost or doubled, or put where another stood."""
    whole = [json.loads(data)]
    for _ in range(mixer.choice((1, 1, 1, 2, 3))):
        at, key = _place(whole, mixer)
        how = mixer.random()
        if how < 0.45:
            at[key] = mixer.choice(ODD_VALUES)
        elif how < 0.65:
            there, where = _place(whole, mixer)
            at[key] = copy.deepcopy(there[where])
        elif how < 0.85 and at is not whole:
            del at[key]
        elif isinstance(at, list):
            at.insert(key, copy.deepcopy(at[key]))
        else:
            at[mixer.choice(list(at))] = copy.deepcopy(at[key])
    return json.dumps(whole[0]).encode()


def _place(whole: list[Any], mixer: random.Random) -> tuple[Any, Any]:
    """A list or object within sound JSON and a key of it."""
    at: Any = whole
    key: Any = 0
    while isinstance(at[key], (dict, list)) and at[key] and mixer.random() < 0.85:
        at = at[key]
        key = mixer.choice(list(at)) if isinstance(at, dict) else mixer.randrange(len(at))
    return at, key


def _token(data: bytes, mixer: random.Random) -> tuple[int, int]:
    """Where a token of the bytes begins and ends; only those near are looked for, as files can be long."""
    start = max(mixer.randrange(len(data) + 1) - WINDOW // 2, 0)
    found = list(_TOKEN.finditer(data, start, start + WINDOW))
    return mixer.choice(found).span() if found else (start, start)


def mutate(data: bytes, mixer: random.Random) -> bytes:
    """The bytes with one to four changes of tokens, lines or single bytes, or of one value where they are JSON."""
    if data[:1] in b"{[" and data[:1] and mixer.random() < 0.7:
        lines = data.strip().split(b"\n")
        at = mixer.randrange(len(lines))
        try:
            lines[at] = mutate_json(lines[at], mixer)
            return b"\n".join(lines) + b"\n"
        except (ValueError, RecursionError):
            pass
    for _ in range(mixer.choice((1, 1, 2, 4))):
        how = mixer.random()
        if how < 0.55:
            low, high = _token(data, mixer)
            if mixer.random() < 0.6:
                other = mixer.choice(NASTY).encode("utf-8", "surrogatepass")
            else:
                other = data[slice(*_token(data, mixer))]
            data = data[: low if mixer.random() < 0.7 else high] + other + data[high:]
        elif how < 0.75:
            lines = data.split(b"\n")
            i, j = mixer.randrange(len(lines)), mixer.randrange(len(lines))
            lines[i : i + 1] = mixer.choice(([], [lines[i]] * mixer.choice((2, 30)), [lines[j]], [b"  " + lines[i]]))
            data = b"\n".join(lines)
        else:
            at = mixer.randrange(len(data) + 1)
            put = bytes(mixer.randrange(256) for _ in range(mixer.choice((0, 1, 3))))
            data = data[:at] + put + data[at + mixer.choice((0, 1, 1, 20)) :]
    return data
