"""What is fuzzed: each target takes any bytes and may only return or raise BadInput; anything else is a defect."""

from __future__ import annotations

import json
import random
import re
from collections.abc import Callable
from datetime import UTC, datetime
from functools import lru_cache
from pathlib import Path
from typing import Any

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
        {
            "start": {
                "case": "c",
                "seal": {"arrangement": "single"},
                "parts": [{"item": "1", "name": "Seat", "kind": "hard face"}],
            }
        },
        {"add": "observations", "entry": {"part": "1", "saw": "edge chips"}},
        {"set": ["service", "is"], "to": ["hot water"]},
        {"add": "observations", "entry": {"part": "1", "absent": "edge chips"}, "instead of": "2"},
        {"withdraw": "4"},
    ]
    journal, before = b"", ""
    for number, what in enumerate(whats, 1):
        line = make_line(number, before, what, "a", WHEN)
        journal, before = journal + line.text().encode() + b"\n", line.digest
    return {
        "case": [case, ODD_CASE.encode()],
        "file": [case, *contents.values()],
        "knowledge": [bytes([i]) + contents[name] for i, name in enumerate(names)],
        "journal": [journal],
        "replay": [b"\n".join(json.dumps(what).encode() for what in whats)],
        "trail": [dump(trail(case, base, "0.0.0"))],
        "verify": [dump(trail(case, base, "0.0.0")), dump(trail(case, base, "0.0.0", Around(contents=contents)))],
    }


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
    "mm",
    "1 mm**9999",
    "1 (((((((((m",
    "°C°C",
    "{a: {a: {a: 1}}}",
]
_TOKEN = re.compile(rb"[\w.-]+|\s+|[^\w\s]")


ODD_VALUES: list[Any] = [None, True, -1, 0, 1e308, 10**40, "", "x", "\u202e", [], {}, [[]], {"": None}, ["a"] * 50]


def mutate_json(data: bytes, mixer: random.Random) -> bytes:
    """Sound JSON with one value anywhere in it changed, lost or doubled."""
    whole = [json.loads(data)]
    at: Any = whole
    key: Any = 0
    while isinstance(at[key], (dict, list)) and at[key] and mixer.random() < 0.85:
        at = at[key]
        key = mixer.choice(list(at)) if isinstance(at, dict) else mixer.randrange(len(at))
    how = mixer.random()
    if how < 0.6:
        at[key] = mixer.choice(ODD_VALUES)
    elif how < 0.8 and at is not whole:
        del at[key]
    elif isinstance(at, list):
        at.insert(key, at[key])
    else:
        at[mixer.choice(list(at))] = at[key]
    return json.dumps(whole[0]).encode()


def mutate(data: bytes, mixer: random.Random) -> bytes:
    """The bytes with one to four changes of tokens, lines or single bytes, or of one value where they are JSON."""
    if data[:1] == b"{" and mixer.random() < 0.5:
        lines = data.strip().split(b"\n") if b'{"' in data[:2] else [data]
        at = mixer.randrange(len(lines))
        try:
            lines[at] = mutate_json(lines[at], mixer)
            return b"\n".join(lines) + b"\n"
        except (ValueError, RecursionError):
            pass
    for _ in range(mixer.choice((1, 1, 2, 4))):
        how = mixer.random()
        if how < 0.55:
            tokens = _TOKEN.findall(data) or [b""]
            at = mixer.randrange(len(tokens))
            other = (
                mixer.choice(NASTY).encode("utf-8", "surrogatepass") if mixer.random() < 0.6 else mixer.choice(tokens)
            )
            tokens[at] = other if mixer.random() < 0.7 else tokens[at] + other
            data = b"".join(tokens)
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
