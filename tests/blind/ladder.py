"""The blind cases and what was made of them, stage by stage.

A set is a folder with `cases/NAME.yaml` (text, and what was the matter in the writer's words), `labels.yaml` (NAME to the
names of root causes and mechanisms of the rule base that say the same, and under `beside` the mechanisms that were also
there; given by somebody who saw no answers),
`text.yaml` and `record.yaml` (what readers without the tool made of the text and of the record: NAME to {root: {name:
share}, mechanism: {name: share}}), and `records/NAME.yaml`, the case file that a recorder made from the text alone; `second/NAME.yaml` that of a
second recorder, for some of the cases.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import yaml

from diagnose.casefile.reader import read_case
from diagnose.evaluation.score import NONE, Level
from diagnose.inference.run import RuleBase
from diagnose.judgement.diagnosis import Diagnosis
from diagnose.judgement.judge import Judged, Judgement

KINDS = ("thin", "middling", "rich")
LEVELS = ("root", "mechanism")
STAGES = ("reader of text", "reader of record", "tool")
SURELY = 0.9


@dataclass
class Row:
    """One case: for each (stage, level) what was answered, as a level of a score; `again` by the tool on the second record.
    `held`: of each mechanism that the tool holds above `SURELY`, whether it was there, the main one or beside it."""

    name: str
    kind: str
    expected: Mapping[str, tuple[str, ...]]
    told: dict[tuple[str, str], Level] = field(default_factory=dict)
    again: dict[tuple[str, str], Level] = field(default_factory=dict)
    held: list[bool] = field(default_factory=list)

    def miss(self) -> str:
        parts = [f"{self.name} ({self.kind})"]
        for level in LEVELS:
            tool = self.told.get(("tool", level))
            if tool and not tool.leads:
                parts.append(f"  {level}: {tool.leading} {tool.probability:.2f} instead of {', '.join(tool.expected)} "
                             f"({tool.of_expected:.2f})")  # fmt: skip
        return "\n".join(parts) if len(parts) > 1 else f"{parts[0]}: right"


def ladder(folder: Path, base: RuleBase) -> list[Row]:
    labels = _yaml(folder / "labels.yaml")
    readers = {stage: _yaml(folder / f"{stage.split()[-1]}.yaml") for stage in STAGES[:2]}
    rows = []
    for path in sorted((folder / "cases").glob("*.yaml")):
        name = path.stem
        if name not in labels:
            continue
        expected = {level: tuple(map(base.knowledge.present_name, labels[name].get(level) or NONE)) for level in LEVELS}
        row = Row(name, _yaml(path)["kind"], expected)
        for stage, answers in readers.items():
            for level in named(labels[name]):
                if (answers.get(name) or {}).get(level):
                    row.told[stage, level] = read(answers[name][level], expected[level], base)
        beside = {base.knowledge.present_name(n) for n in labels[name].get("beside") or ()}
        for records, kept in (("records", row.told), ("second", row.again)):
            record = folder / records / f"{name}.yaml"
            if record.is_file():
                judgements = Diagnosis(read_case(record, base.knowledge), base).judgements
                told = judged(judgements, expected, beside)
                kept |= {key: level for key, level in told.items() if key[1] in named(labels[name])}
                if records == "records" and beside:
                    there = {*expected["mechanism"], *beside}
                    row.held = [name in there for name in held(judgements)]
        rows.append(row)
    return rows


def named(label: Mapping[str, list[str]]) -> list[str]:
    """The levels at which a case can be scored: a case for whose mechanism there is no name has no mechanism to find."""
    return [level for level in LEVELS if level == "root" or label.get("mechanism")]


def _yaml(path: Path) -> dict:
    return yaml.safe_load(path.read_text("utf-8")) if path.is_file() else {}


def read(answer: Mapping[str, float], expected: tuple[str, ...], base: RuleBase) -> Level:
    """A reader's shares; a share for none of these is named so."""
    ranked = sorted(((base.knowledge.present_name(n), p) for n, p in answer.items()), key=lambda x: (-x[1], x[0]))
    (top, share), three = ranked[0], [n for n, _ in ranked[:3]]
    good = {*expected}
    return Level(
        expected, top, "", "", share, top in good, top in good, any(n in good for n in three),
        max((p for n, p in ranked if n in good), default=0.0), False, (),
    )  # fmt: skip


def held(judgements: Sequence[Judgement]) -> list[str]:
    """The mechanisms held above `SURELY` at any position."""
    return sorted({j.name for x in judgements for j in x.mechanisms if j.probability >= SURELY})


def judged(
    judgements: Sequence[Judgement], expected: Mapping[str, tuple[str, ...]], beside: set[str]
) -> dict[tuple[str, str], Level]:
    """What the tool told of a record, over all its seal positions, causes and mechanisms as it ranks them. None of the causes
    leads where it is likelier than any, and stands before the first that is less likely."""
    none = min(x.none_of_these for x in judgements)
    levels = {}
    for level, every in (("root", [j for x in judgements for j in x.causes]),
                         ("mechanism", [j for x in judgements for j in x.mechanisms])):  # fmt: skip
        ranked = sorted((j for j in every if j.standing != "ruled out"), key=lambda j: j.rank)
        levels["tool", level] = _level(ranked, expected[level], beside, none if level == "root" else 0.0)
    return levels


def _level(ranked: list[Judged], expected: tuple[str, ...], beside: set[str], none: float) -> Level:
    names: list[tuple[str, float]] = []
    for j in ranked:
        if j.name not in dict(names):
            names.append((j.name, j.probability))
    answers = names
    if none:
        leads = none >= max(p for _, p in names)
        before = 0 if leads else next((i for i, (_, p) in enumerate(names) if p < none), len(names))
        answers = [*names[:before], (NONE[0], none), *names[before:]]
    (top, share), good = answers[0], {*expected}
    wrong = tuple(j.name for j in ranked if j.standing == "established" and j.name not in good | beside)
    first = ranked[0]
    return Level(
        expected, top, first.position, first.standing, share, top in good, top in good,
        any(n in good for n, _ in answers[:3]), max((p for n, p in answers if n in good), default=0.0),
        first.standing == "established", wrong,
    )  # fmt: skip
