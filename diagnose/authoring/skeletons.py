"""Skeletons of new cards, each beside a test that fails until the card says something."""

from __future__ import annotations

import re
from collections.abc import Iterable
from pathlib import Path

from diagnose.authoring.cards import SECTIONS
from diagnose.authoring.drafts import capital
from diagnose.authoring.rule_test_files import drafting, redrafted
from diagnose.authoring.rule_test_runner import Workshop
from diagnose.knowledge.model import Card, Knowledge
from diagnose.knowledge.reader import file_stem
from diagnose.reading.problems import BadInput, Problem, Where

LETTERS = {"finding": "F", "cause": "C", "measurement": "M", "caution": "H"}

_HEAD = """\
# yaml-language-server: $schema=../schema/{kind}.json
{kind}: {name}
id: {id}
status: draft                # draft, trial, accepted, retired; drafts run only with --with-drafts
since: "{version}"
reviewed: "{month}"
"""
_BODY = {
    "finding": """\
reads: "{Name}: say here what it means, for {{part}}."   # the sentence of the report
otherwise: rarely            # how often it is seen whatever the cause: {seen}
# line: face heat            # findings of one line are one piece of evidence and count once
when: {{saw: {feature}, on: {kind_of_part}}}   # see DEVELOPERS.md for the forms; diagnose terms WORD finds the words
# absent when: …             # left out: known absent when `when` is known to be false
sources: [common-practice]
""",
    "cause": """\
family: lubrication
means: Say here in one sentence what happened.
chain: [what went wrong first, what followed, leak]
scope: seal                  # seal, or machine: of the machine or support system, one verdict for both seals
common: rarely               # before anything is seen: {common}
# common when:
#   - {{when: {{setting: {{service: hot water}}}}, common: often}}
# needs:                     # without which this cause cannot be
#   - {{condition: {{setting: {{arrangement: single}}}}, because: Say why.}}
leaves:                      # {seen}
  - {{finding: {finding}, seen: usually}}
# look-alikes:
#   - {{cause: NAME, finding: NAME, favours: NAME, told apart by: In one sentence.}}
# confirm: [MEASUREMENT]
then:
  - {{do: Say what to change., field: operation, worked if: What would show that it worked.}}
sources: [common-practice]
""",
    "measurement": """\
tells: [{finding}]
part: {kind_of_part}
how: Say how it is done.
instrument: ""
at: ""
readings: ""
no limit: say why there is none    # or limit: NAME
minutes: 5
stage: {stage}     # last stage at which it can be done
sources: [common-practice]
""",
    "caution": """\
says: Say what can hurt and how to keep safe.
defer: Say whose rules go before this, such as the product's safety data.
when: {{saw: {feature}, on: {kind_of_part}}}   # or always: true
sources: [common-practice]
""",
}
_TESTS = {
    "finding": "- test: {Name} follows from what shows it\n  given: []\n  finds: [{name}]\n",
    "cause": "- test: {Name} leads on its typical findings\n  given: []\n  leads: {name}\n",
    "caution": "- test: {Name} is raised where it should be\n  given: []\n  cautions: [{name}]\n",
}


def new_card(knowledge: Knowledge, folder: Path, kind: str, name: str, month: str) -> list[Path]:
    """Writes the skeleton of a card and its failing test; never over a file. Raises BadInput."""
    if not name or name != " ".join(name.split()) or re.search(r"[:#\[\]{}&*!|>'\"%@`,]", name):
        raise _refuse(f"{name!r} is no name for a card", "plain words with single spaces")
    v = knowledge.vocabulary
    feature = next(f for f in v.features.values() if f.on)
    ids = [
        c.id
        for section in ("findings", "causes", "measurements", "cautions")
        for c in getattr(knowledge, section).values()
    ]
    slots = {
        "kind": kind, "name": name, "Name": capital(name), "month": month, "version": knowledge.version,
        "id": next_id([*ids, *(r.id for r in knowledge.retired.values())], LETTERS[kind]),
        "seen": ", ".join(knowledge.words.seen), "common": ", ".join(knowledge.words.common), "feature": feature.name,
        "kind_of_part": feature.on[0], "finding": next(iter(knowledge.findings), "NAME"), "stage": v.stages[0],
    }  # fmt: skip
    place = folder / SECTIONS[kind]
    files = {place / f"{file_stem(name)}.yaml": (_HEAD + _BODY[kind]).format(**slots)}
    if kind in _TESTS:
        files[place / f"{file_stem(name)}.test.yaml"] = _TESTS[kind].format(**slots)
    _write(files)
    return list(files)


def next_id(ids: Iterable[str], letter: str) -> str:
    """The number after the highest in use, retired ones counted, so that none is ever given twice."""
    numbers = [(int(m.group(1)), len(m.group(1))) for i in ids if (m := re.fullmatch(letter + r"(\d+)", i))]
    highest, width = max((n for n, _ in numbers), default=0), max((w for _, w in numbers), default=3)
    return f"{letter}{highest + 1:0{width}d}"


def new_tests(workshop: Workshop, folder: Path, cards: Iterable[tuple[str, Card]], over: bool = False) -> list[Path]:
    """Writes drafted tests beside the cards, given with their kinds; with `over` also into a test file that is there,
    of which what people wrote stays. Raises BadInput."""
    draft = drafting(workshop)
    files = {}
    for kind, card in cards:
        path = folder / SECTIONS[kind] / f"{file_stem(card.name)}.test.yaml"
        text = path.read_text("utf-8") if over and path.exists() else ""
        stubs = _TESTS[kind].format(name=card.name, Name=capital(card.name))
        files[path] = redrafted(text, draft(kind, card), stubs, str(path))
    _write(files, over)
    return list(files)


def _write(files: dict[Path, str], over: bool = False) -> None:
    there = [p for p in files if p.exists()]
    if there and not over:
        raise _refuse(f"{there[0]} is there already", "another name, or edit that file; new test --over keeps what you wrote")
    for path, text in files.items():
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, "utf-8")


def _refuse(says: str, way_out: str) -> BadInput:
    return BadInput([Problem(Where("new", 0, 0), "new", says, way_out)])
