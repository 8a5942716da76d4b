"""Skeletons of new cards, each beside a test that fails until the card says something."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from pathlib import Path

from diagnose.authoring.cards import SECTIONS
from diagnose.authoring.drafts import capital
from diagnose.authoring.rule_test_files import drafting, redrafted
from diagnose.authoring.rule_test_runner import Workshop
from diagnose.knowledge.files import file_stem
from diagnose.knowledge.model import CARDS, KNOWN_BY, Card, Knowledge
from diagnose.reading.problems import BadInput, Problem, Where

CODES = {"skeleton-text": "A card that runs still says what its skeleton said."}
LETTERS = {"finding": "F", "mechanism": "C", "cause": "C", "measurement": "M", "caution": "H"}
"""The letter of the ids of each kind; mechanisms and causes share theirs, since cards have moved between the two."""
FOLLOW = {
    "finding": "Say when it holds; then add its row under leaves on the card of the mechanism that leaves it.",
    "mechanism": "Say what it leaves; then add it under brings about on the cards of what brings it about.",
    "cause": "Say what it brings about, its direct signs and what to change.",
    "measurement": "Say how it is done and which findings it decides.",
    "caution": "Say what raises it; then name it on the work that needs it.",
}

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
otherwise: rarely            # how often it is seen whatever happened: {seen}
# known by: look             # told by the conditions where left out: {known_by}
when: {{saw: {feature}, on: {kind_of_part}}}   # see DEVELOPERS.md for the forms; diagnose terms WORD finds the words
# absent when: …             # left out: known absent when `when` is known to be false
sources: [common-practice]
""",
    "mechanism": """\
family: faces
means: Say here in one sentence what happens.
scope: seal                  # seal, or machine: of the machine or support system, one verdict for both seals
otherwise: never             # how often it comes about for a reason outside this rule base: {seen}
brings about:
  - {{mechanism: {mechanism}, seen: sometimes}}
leaves:                      # its marks, each on the one or two mechanisms that leave it
  - {{finding: {finding}, seen: usually}}
# look-alikes:
#   - {{mechanism: NAME, finding: NAME, favours: NAME, told apart by: In one sentence.}}
# confirm: [MEASUREMENT]
then:
  - {{do: Say what to repair., field: maintenance}}
sources: [common-practice]
""",
    "cause": """\
family: lubrication
means: Say here in one sentence what was done or left undone.
scope: seal                  # seal, or machine: of the machine or support system, one verdict for both seals
common: rarely               # before anything is seen: {common}
# common when:
#   - {{when: {{setting: {{service: hot water}}}}, common: often}}
# needs:                     # without which this cause cannot be
#   - {{condition: {{setting: {{arrangement: single}}}}, because: Say why.}}
brings about:                # {seen}
  - {{mechanism: {mechanism}, seen: usually}}
# leaves:                    # direct signs only: what shows the cause itself
#   - {{finding: {finding}, seen: usually}}
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
    "mechanism": "- test: {Name} leads on its typical findings\n  given: []\n  standing: {{{name}: at least probable}}\n",
    "cause": "- test: {Name} leads on its typical findings\n  given: []\n  standing: {{{name}: at least probable}}\n",
    "caution": "- test: {Name} is raised where it should be\n  given: []\n  cautions: [{name}]\n",
}


def _names_a_file(name: str) -> bool:
    return name.isprintable() and any(c.isalnum() for c in file_stem(name))


def new_card(knowledge: Knowledge, folder: Path, kind: str, name: str, month: str) -> list[Path]:
    """Writes the skeleton of a card and its failing test; never over a file. Raises BadInput."""
    if (
        not name
        or name != " ".join(name.split())
        or re.search(r"[:#\[\]{}&*!|>'\"%@`,]", name)
        or not _names_a_file(name)
    ):
        raise _refuse(f"{name!r} is no name for a card", "plain words with single spaces")
    v = knowledge.vocabulary
    feature = next(f for f in v.features.values() if f.on)
    ids = [c.id for section in CARDS for c in getattr(knowledge, section).values()]
    slots = {
        "kind": kind, "name": name, "Name": capital(name), "month": month, "version": knowledge.version,
        "id": next_id([*ids, *(r.id for r in knowledge.retired.values())], LETTERS[kind]),
        "seen": ", ".join(knowledge.words.seen), "common": ", ".join(knowledge.words.common), "feature": feature.name,
        "kind_of_part": feature.on[0], "finding": next(iter(knowledge.findings), "NAME"),
        "mechanism": next(iter(knowledge.mechanisms), "NAME"), "known_by": ", ".join(KNOWN_BY), "stage": v.stages[0],
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
        raise _refuse(
            f"{there[0]} is there already", "another name, or edit that file; new test --over keeps what you wrote"
        )
    for path, text in files.items():
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, "utf-8")


def _refuse(says: str, way_out: str) -> BadInput:
    return BadInput([Problem(Where("new", 0, 0), "new", says, way_out)])


def left_as_written(knowledge: Knowledge) -> Iterator[Problem]:
    """Cards that run and still say what their skeleton said."""
    stubs = {line for body in _BODY.values() for line in re.findall(r"(?:[:\s])([Ss]ay [^{}#.]*)", body)}
    for section in CARDS:
        for card in getattr(knowledge, section).values():
            said = next((text for text in _said(card) if any(stub.strip() in text for stub in stubs)), "")
            if said and card.status != "draft":
                yield Problem(
                    card.where, "skeleton-text", f"{card.name!r} still says {said!r}", "say it, or status: draft"
                )


def _said(card: Card) -> Iterator[str]:
    for key in ("reads", "means", "how", "says", "defer", "no_limit"):
        yield getattr(card, key, "")
    for action in getattr(card, "then", ()):
        yield action.do
