"""The bench sheet of a case: what to look for on paper, in order of dismantling, every box with a number."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace

from diagnose.casefile import walk
from diagnose.casefile.model import Case
from diagnose.casefile.walk import Topic
from diagnose.knowledge.model import Knowledge, Step

MOST_BESIDE = 4
"""Parts that share their rows."""
LONG_NAMES = 34
"""Signs from which a group is named by the kind of its parts."""


@dataclass(frozen=True)
class Box:
    """A place to write in. `what`: feature, reading, figure (of the case) or words (anything else seen); `term` is which.
    `part` is an item number, `kind` a kind of part, for a figure both are empty."""

    number: int
    what: str
    term: str
    part: str = ""
    kind: str = ""

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
    step: Step
    groups: tuple[Group, ...]


@dataclass(frozen=True)
class Page:
    """What goes on one page: that of the machine (no position), or of one seal."""

    position: str
    stages: tuple[Stage, ...]

    def boxes(self) -> Iterator[Box]:
        for stage in self.stages:
            for group in stage.groups:
                yield from (box for row in group.rows for box in row.boxes if box)


@dataclass(frozen=True)
class Sheet:
    """`code` tells one sheet from another, so that numbers are read as they were printed."""

    pages: tuple[Page, ...]
    code: str

    def boxes(self) -> dict[int, Box]:
        return {box.number: box for page in self.pages for box in page.boxes()}


@dataclass
class _Numbers:
    last: int = 0
    told: list[str] = field(default_factory=list)

    def box(self, what: str, term: str, part: str = "", kind: str = "") -> Box:
        self.last += 1
        self.told.append("|".join((what, term, part, kind)))
        return Box(self.last, what, term, part, kind)


def sheet(case: Case, knowledge: Knowledge, alone: bool = False) -> Sheet:
    """A page for the machine and what is told, then one for each seal: what can be lost, with room for what people say. What
    stays on a part for good waits for the bench, and what is gone by the stage of the case is left out. `alone`: the seal is
    in hand without its machine."""
    due, numbers = (
        [_on_paper(_in_time(t, case, knowledge), knowledge) for t in walk.topics(case, knowledge, alone)],
        _Numbers(),
    )
    due = [t for t in due if t.features or t.readings or t.asks or _is_asked(t, knowledge)]
    positions = [p for p in ("", *case.positions) if p == "" or p not in case.lost]
    pages = []
    for position in positions:
        mine = [t for t in due if _page(case, t) == position]
        stages = []
        for step in knowledge.arrangements.steps:
            here = [t for t in mine if t.step.stage == step.stage]
            if here:
                stages.append(Stage(step, tuple(_group(case, knowledge, g, numbers) for g in _together(here))))
        if stages:
            pages.append(Page(position, tuple(stages)))
    return Sheet(tuple(pages), hashlib.sha256("\n".join(numbers.told).encode()).hexdigest()[:6])


def _page(case: Case, topic: Topic) -> str:
    part = case.part(topic.part)
    return part.position if part and part.position in case.positions else ""


def _in_time(topic: Topic, case: Case, knowledge: Knowledge) -> Topic:
    """A topic with what can still be seen at the stage of the case; nobody measures at a step that is past."""
    words = knowledge.vocabulary
    if case.stage not in words.stages or words.stages.index(topic.step.stage) >= words.stages.index(case.stage):
        return topic
    return replace(
        topic, readings=(), features=tuple(f for f in topic.features if not walk.is_lost_after(words, f, topic.step))
    )


def _on_paper(topic: Topic, knowledge: Knowledge) -> Topic:
    """A topic without what stays for good."""
    features = knowledge.vocabulary.features
    return replace(topic, features=tuple(f for f in topic.features if features[f].lost != "never"))


def _is_asked(topic: Topic, knowledge: Knowledge) -> bool:
    return bool(set(knowledge.vocabulary.lineage.get(topic.kind, ())) & set(knowledge.looks.asked))


def _together(due: Sequence[Topic]) -> list[list[Topic]]:
    """Parts of which most is looked for alike share their rows."""
    groups: list[list[Topic]] = []
    for topic in due:
        own = {*topic.features, *topic.readings}
        for group in groups:
            first = {*group[0].features, *group[0].readings}
            alike = topic.part and group[0].part and 2 * len(own & first) >= max(len(own), len(first))
            if alike and len(group) < MOST_BESIDE:
                group.append(topic)
                break
        else:
            groups.append([topic])
    return groups


def _group(case: Case, knowledge: Knowledge, group: Sequence[Topic], numbers: _Numbers) -> Group:
    first = group[0]
    if first.asks:
        rows = [Row(a, "figure", (numbers.box("figure", a),)) for a in first.asks]
        return Group("The case", ("",), tuple(rows))
    words, rows = knowledge.vocabulary, []
    features = list(dict.fromkeys(f for t in group for f in t.features))
    features.sort(key=lambda f: not walk.is_lost_after(words, f, first.step))
    readings = list(dict.fromkeys(r for t in group for r in t.readings))
    for what, terms in (("feature", features), ("reading", readings)):
        for term in terms:
            boxes = tuple(
                numbers.box(what, term, t.part, t.kind) if term in (*t.features, *t.readings) else None for t in group
            )
            rows.append(Row(term, what, boxes, what == "feature" and walk.is_lost_after(words, term, first.step)))
    rows.append(Row("else, in own words", "words", tuple(numbers.box("words", "", t.part, t.kind) for t in group)))
    return Group(_title(case, knowledge, group), tuple(t.part for t in group), tuple(rows))


def _title(case: Case, knowledge: Knowledge, group: Sequence[Topic]) -> str:
    """The names of the parts, or where they are many the kind that all of them are."""
    named = "; ".join(dict.fromkeys(p.name if (p := case.part(t.part)) else t.kind.capitalize() for t in group))
    lines = [knowledge.vocabulary.lineage[t.kind] for t in group]
    shared = next((k for k in lines[0] if all(k in line for line in lines)), "")
    return shared.capitalize() if shared and len(group) > 1 and len(named) > LONG_NAMES else named
