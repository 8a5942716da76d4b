"""The bench sheet of a case: what to look for on paper, in order of dismantling, every box with a number."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace

from diagnose.casefile import walk
from diagnose.casefile.model import Case
from diagnose.casefile.reader import parse_case
from diagnose.casefile.walk import Topic
from diagnose.casefile.writer import render
from diagnose.knowledge.model import Knowledge
from diagnose.reading.problems import Problems

MOST_BESIDE = {"looks": 4, "written": 2}
"""Parts that share their rows: of boxes to tick, of boxes to write in."""
DATA = ("index.rotating", "index.stationary", "equipment.seen from", "equipment.rotation")
"""What clock positions and turning are told by, as a case writes it."""
FIRST = ("service.fluid", "history.removal")
"""What is asked of the case before its figures and settings."""
LONG_NAMES = 34
"""Signs from which a group is named by the kind of its parts."""


@dataclass(frozen=True)
class Box:
    """A place to write in. `what`: feature, reading, figure (of the case) or words (anything else seen); `term` is which.
    `part` is an item number, `kind` a kind of part, for a figure both are empty. `said`: what is on record of it; it keeps its
    number, so that a paper stays good while recording goes on."""

    number: int
    what: str
    term: str
    part: str = ""
    kind: str = ""
    said: str = ""

    def about(self) -> dict[str, str]:
        """The keys by which a record says what it is about."""
        return {"part": self.part} if self.part else {"on": self.kind}


@dataclass(frozen=True)
class Row:
    """One thing to look for or measure, with a box for each part it can be on."""

    term: str
    what: str
    boxes: tuple[Box | None, ...]
    perishes: bool = False


@dataclass(frozen=True)
class Group:
    """Parts that are looked at together. `heads` stand over their boxes: item numbers, or nothing for a kind."""

    title: str
    heads: tuple[str, ...]
    rows: tuple[Row, ...]


@dataclass(frozen=True)
class Stage:
    """A step of dismantling and what its end destroys; own words stand apart from all of them."""

    title: str
    ends: str
    groups: tuple[Group, ...]

    def boxes(self, *whats: str) -> Iterator[Box]:
        """Those of these kinds; of all kinds where none is named."""
        for group in self.groups:
            yield from (box for row in group.rows for box in row.boxes if box and (not whats or box.what in whats))


@dataclass(frozen=True)
class Page:
    """One side of a leaf: that of the machine (no position) or of one seal; `side`: looks, which are ticked, or written,
    what is measured, told or put in own words."""

    position: str
    side: str
    stages: tuple[Stage, ...]

    def boxes(self) -> Iterator[Box]:
        for stage in self.stages:
            yield from stage.boxes()

    def unanswered(self) -> Page:
        """The page without rows of which everything is on record."""
        stages = []
        for stage in self.stages:
            groups = [
                replace(g, rows=tuple(r for r in g.rows if not all(b.said for b in r.boxes if b))) for g in stage.groups
            ]
            if kept := tuple(g for g in groups if g.rows):
                stages.append(replace(stage, groups=kept))
        return replace(self, stages=tuple(stages))


@dataclass(frozen=True)
class Sheet:
    """`code` tells one sheet from another: whose it is, and its numbers as they were printed; `data`: the boxes for what clock
    positions and turning are told by."""

    pages: tuple[Page, ...]
    code: str
    data: tuple[Box, ...] = ()

    def boxes(self) -> dict[int, Box]:
        return {box.number: box for box in (*self.data, *(box for page in self.pages for box in page.boxes()))}


@dataclass
class _Numbers:
    last: int = 0
    told: list[str] = field(default_factory=list)

    def box(self, what: str, term: str, part: str = "", kind: str = "", said: str = "") -> Box:
        self.last += 1
        self.told.append("|".join((what, term, part, kind)))
        return Box(self.last, what, term, part, kind, said)


def sheet(case: Case, knowledge: Knowledge) -> Sheet:
    """Two sides for the machine and what is told, then two for each seal: what can be lost, and what is measured or told. What
    stays on a part for good waits for the bench, and what is gone by the stage of the case is left out."""
    numbers = _Numbers()
    due = [_on_paper(_in_time(t, case, knowledge), knowledge) for t in walk.topics(case, knowledge)]
    due = [t for t in due if t.features or t.readings or t.asks or _is_asked(t, knowledge)]
    begin = next((i for i, t in enumerate(due) if t.asks), None)
    if begin is not None:
        due[begin] = replace(due[begin], asks=(*FIRST, *due[begin].asks))
    data = tuple(numbers.box("figure", term, said=_datum(case, term)) for term in DATA) if due else ()
    pages = []
    for position in (p for p in ("", *case.positions) if p == "" or p not in case.lost):
        mine = [t for t in due if _page(case, t) == position]
        for side, most in MOST_BESIDE.items():
            stages = tuple(_stages(case, knowledge, mine, side, most, numbers))
            if stages:
                pages.append(Page(position, side, stages))
    told = "\n".join([*_whose(case), *numbers.told])
    return Sheet(tuple(pages), hashlib.sha256(told.encode()).hexdigest()[:6], data)


def case_of(arrangement: str, knowledge: Knowledge) -> Case:
    """A seal of which nothing is known but its arrangement."""
    usual = walk.usual_document(
        f"{arrangement} seal", arrangement, knowledge.arrangements.usual.get(arrangement, ()), ""
    )
    problems = Problems()
    case = parse_case(render(usual), arrangement, knowledge, problems)
    problems.raise_errors()
    assert case is not None
    return case


def _whose(case: Case) -> list[str]:
    """What the head of a sheet says it is of; two seals with the same boxes have different sheets."""
    arrangement = next((s.term for s in case.settings if s.setting == "arrangement" and s.holds), "")
    return [case.name, arrangement, case.texts.get("equipment.tag", ""), case.texts.get("seal.serial", "")]


def _stages(
    case: Case, knowledge: Knowledge, topics: Sequence[Topic], side: str, most: int, numbers: _Numbers
) -> Iterator[Stage]:
    """The steps of one side, each part with what is to be ticked or written there; own words for every part at the end."""
    for step in knowledge.arrangements.steps:
        here = [t for t in topics if t.step.stage == step.stage]
        here = [replace(t, readings=(), asks=()) if side == "looks" else replace(t, features=()) for t in here]
        due = [t for t in here if t.features or t.readings or t.asks]
        if due:
            yield Stage(step.name, step.ends, tuple(_group(case, knowledge, g, numbers) for g in _together(due, most)))
    items = [p.item for p in case.parts]
    about = list(dict.fromkeys((t.part, t.kind) for t in topics if not t.asks))
    about.sort(key=lambda a: items.index(a[0]) if a[0] in items else -1)
    if side == "written" and about:
        rows = tuple(Row(_named(case, *a), "words", (numbers.box("words", "", *a),)) for a in about)
        yield Stage("Anything else, in own words", "", (Group("", ("",), rows),))


def _named(case: Case, item: str, kind: str) -> str:
    part = case.part(item)
    return f"{item} {part.name}" if part else kind


def _datum(case: Case, term: str) -> str:
    section, _, name = term.partition(".")
    return case.index.get(name, "") if section == "index" else case.texts.get(term, "")


def _figure(case: Case, key: str) -> str:
    """What the case tells of one of its figures and settings, seal by seal where they differ; "" where it does not."""
    told: dict[str, list[str]] = {}
    for s in case.settings:
        if s.setting == key:
            told.setdefault(s.position, []).append(s.term if s.holds else f"not {s.term}")
    for x in case.measured:
        if x.what == key and not x.part and not x.kind:
            position = x.position if x.position in case.positions and len(case.positions) > 1 else ""
            told.setdefault(position, []).extend(r.written for r in x.readings)
    return "; ".join(f"{position} {', '.join(values)}".strip() for position, values in told.items())


def _on_record(case: Case, knowledge: Knowledge, topic: Topic, what: str, term: str) -> str:
    """What is on record of a look or a reading of a topic; a general word is told by a special one of it."""
    if what == "reading":
        about = (topic.part, "" if topic.part else topic.kind)
        found = [x for x in case.measured if x.what == term and (x.part, "" if x.part else x.kind) == about]
        return ", ".join(r.written for x in found for r in x.readings)
    known = walk.answers(case, topic).get(term)
    if known is None:
        return "yes" if term in walk.said_by_special(case, topic, knowledge.vocabulary) else ""
    return {"present": "yes", "absent": "no", "lost": "lost"}.get(known.state, "")


def _page(case: Case, topic: Topic) -> str:
    part = case.part(topic.part)
    return part.position if part and part.position in case.positions else ""


def _in_time(topic: Topic, case: Case, knowledge: Knowledge) -> Topic:
    """A topic with what can still be seen and measured at the stage of the case."""
    words = knowledge.vocabulary
    if case.stage not in words.stages or words.stages.index(topic.step.stage) >= words.stages.index(case.stage):
        return topic
    return walk.what_stays(topic, words) or replace(topic, features=(), readings=())


def _on_paper(topic: Topic, knowledge: Knowledge) -> Topic:
    """A topic without what stays for good."""
    features = knowledge.vocabulary.features
    return replace(topic, features=tuple(f for f in topic.features if features[f].lost != "never"))


def _is_asked(topic: Topic, knowledge: Knowledge) -> bool:
    return bool(set(knowledge.vocabulary.lineage.get(topic.kind, ())) & set(knowledge.looks.asked))


def _together(due: Sequence[Topic], most: int) -> list[list[Topic]]:
    """Parts of which most is looked for alike share their rows."""
    groups: list[list[Topic]] = []
    for topic in due:
        own = {*topic.features, *topic.readings}
        for group in groups:
            first = {*group[0].features, *group[0].readings}
            alike = topic.part and group[0].part and 2 * len(own & first) >= max(len(own), len(first))
            if alike and len(group) < most:
                group.append(topic)
                break
        else:
            groups.append([topic])
    return groups


def _group(case: Case, knowledge: Knowledge, group: Sequence[Topic], numbers: _Numbers) -> Group:
    first = group[0]
    if first.asks:
        rows = [
            Row(a, "figure", (numbers.box("figure", a, said=_figure(case, a) or _datum(case, a)),)) for a in first.asks
        ]
        return Group("The case", ("",), tuple(rows))
    words, rows = knowledge.vocabulary, []
    features = list(dict.fromkeys(f for t in group for f in t.features))
    features.sort(key=lambda f: not walk.is_lost_after(words, f, first.step))
    readings = list(dict.fromkeys(r for t in group for r in t.readings))
    for what, terms in (("feature", features), ("reading", readings)):
        for term in terms:
            boxes = tuple(
                numbers.box(what, term, t.part, t.kind, _on_record(case, knowledge, t, what, term))
                if term in (*t.features, *t.readings)
                else None
                for t in group
            )
            rows.append(Row(term, what, boxes, what == "feature" and walk.is_lost_after(words, term, first.step)))
    return Group(_title(case, knowledge, group), tuple(t.part for t in group), tuple(rows))


def _title(case: Case, knowledge: Knowledge, group: Sequence[Topic]) -> str:
    """The names of the parts, or where they are many the kind that all of them are."""
    named = "; ".join(dict.fromkeys(p.name if (p := case.part(t.part)) else t.kind.capitalize() for t in group))
    lines = [knowledge.vocabulary.lineage[t.kind] for t in group]
    shared = next((k for k in lines[0] if all(k in line for line in lines)), "")
    return shared[:1].upper() + shared[1:] if shared and len(group) > 1 and len(named) > LONG_NAMES else named
