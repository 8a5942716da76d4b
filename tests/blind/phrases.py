"""How many phrases of blind writers are read rightly. `python -m tests.blind.phrases [open|opened|fourth|fifth|closed|fourth-closed|fifth-closed] [--misses]`

The files of said/ list {phrase, on, means, kind, set, says}: a phrase as said, the part it was said of, what it means in a plain
sentence, whether that is a mark, a state or an act, which writers wrote it, and `says`: what a careful technician would put on
record of it, as alternatives in the form of a case file, given by labellers who had not seen how it is read. `also`, of the closed
sets: what two judges accept beside that, who saw the readings, the labels and what means something else side by side and did not
know which is which (as relevance is judged from a pool: TREC; from memory). Of the closed set only totals are printed, and only when it is named, which is a look that counts.

A reading is right where one of its statements says one of the alternatives, both present or both denied; figures are not
compared, nor where on a part and how much. Phrases for which the labeller found no term are not judged.
"""

from __future__ import annotations

import sys
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import yaml

from diagnose.evaluation.score import wilson
from diagnose.knowledge.cache import open_knowledge
from diagnose.knowledge.model import Vocabulary
from diagnose.phrases.model import Reading, Statement
from diagnose.phrases.read import read

HERE = Path(__file__).parent
KNOWLEDGE = HERE.parents[1] / "knowledge"


@dataclass(frozen=True)
class Told:
    """One phrase judged: whether the first, and any of three readings, is right; None where it is not judged. `accepted`: the
    same, with what the judges accept beside the labels."""

    row: dict[str, Any]
    first: bool | None
    three: bool | None
    accepted: tuple[bool, bool]
    sure: bool
    read: bool


def judged(row: dict[str, Any], v: Vocabulary) -> Told:
    readings = heard(row, v)
    sure = bool(readings) and readings[0].sureness == "sure"
    meant = {claim for says in row["says"] for claim in claims(says, v)}
    if not meant:
        return Told(row, None, None, (False, False), sure, bool(readings))
    also = {claim for says in row.get("also", ()) for claim in claims(says, v)}
    right, wider = (
        [any(_own(s, v) & good for s in r.statements) for r in readings[:3]] for good in (meant, meant | also)
    )
    return Told(row, any(right[:1]), any(right), (any(wider[:1]), any(wider)), sure, bool(readings))


@cache
def picked() -> dict[str, dict[str, str]]:
    """What somebody would pick of the list for the words that say what a phrase was said of."""
    return {row["on"]: row for row in yaml.load((HERE / "said/parts.yaml").read_text("utf-8"), yaml.BaseLoader)}


def heard(row: dict[str, Any], v: Vocabulary) -> tuple[Reading, ...]:
    """The phrase read as of the part that was picked for it; words that say more than a part ("vibration") are said before it."""
    on = row["on"]
    pick = picked().get(on) or {"part": v.find("kind", on), "more": "false"}
    said = row["phrase"] if pick["part"] and pick["more"] == "false" else f"{on} {row['phrase']}"
    return read(said, v, pick["part"])


Claim = tuple[str, str, str, bool]
"""(family, term, value, whether it holds)."""
FIGURE = "FIGURE"


def claims(says: dict[str, str], v: Vocabulary) -> set[Claim]:
    """What an entry of a case file claims."""
    entry = dict(says)
    holds = entry.pop("not", "false") != "true"
    (key, value), *_ = entry.items()
    if key in ("saw", "absent"):
        return {*_same(v, value, (key == "saw") == holds), ("feature", value, "", (key == "saw") == holds)}
    if key == "measured":
        return {("reading", value, "", True)}
    if key == "did":
        return {("act", value, "", holds)}
    if key in v.grammar.variables:
        return {("state", key, value if value in v.grammar.variables[key].words else FIGURE, holds)}
    return {("setting", f"{key}: {value}", "", True)}


def _own(s: Statement, v: Vocabulary) -> set[Claim]:
    """What a statement says, under its own name and as the state or act of which it is the name."""
    holds, value = s.state == "present", s.more.get("value", "")
    if s.family == "state":
        return {("state", s.term, value if value in v.grammar.variables[s.term].words else FIGURE, holds)}
    if s.family == "feature":
        return {("feature", s.term, "", holds), *_same(v, s.term, holds)}
    if s.family == "reading":  # the figure of a state is the reading of that name
        return {("reading", s.term, "", holds)} | {
            ("state", x["variable"], FIGURE, holds) for x in v.readings[s.term].stated
        }
    return {(s.family, s.term, "", holds)}


def _same(v: Vocabulary, feature: str, holds: bool) -> Iterable[Claim]:
    """The states and acts of which a feature is the name."""
    for table, slots in v.features[feature].statements:
        same = holds == (slots.get("not") != "true")
        if table.startswith("act"):
            yield "act", slots["did"], "", same
        else:
            yield "state", slots.get("variable", ""), slots.get("value", ""), same


def line(name: str, told: Iterable[Told]) -> str:
    rows = list(told)
    known = [t for t in rows if t.first is not None]
    n, first, three = len(known), sum(bool(t.first) for t in known), sum(bool(t.three) for t in known)
    wrong = sum(t.sure and not t.first for t in known)
    low, high = wilson(first, n) if n else (0.0, 0.0)
    accepted = [sum(t.accepted[i] for t in known) for i in (0, 1)]
    wider = (
        f" (by labels or both judges {accepted[0]} and {accepted[1]})" if any(t.row.get("also") for t in rows) else ""
    )
    return (
        f"  {name:<6} {len(rows):>4} phrases, {sum(not t.read for t in rows)} read to nothing, {n} judged: first right {first} "
        f"({low:.0%} to {high:.0%}), among three {three}{wider}, sure {sum(t.sure for t in known)} of which wrong {wrong}"
    )


def main(arguments: list[str]) -> None:
    v = open_knowledge(KNOWLEDGE).vocabulary
    for name in [
        a for a in arguments if a in ("open", "opened", "fourth", "fifth", "closed", "fourth-closed", "fifth-closed")
    ] or ["open"]:
        rows = yaml.load((HERE / "said" / f"{name}.yaml").read_text("utf-8"), yaml.BaseLoader)
        told = [judged(row, v) for row in rows]
        print(name)
        for kind in ("mark", "state", "act", ""):
            print(line(kind or "all", [t for t in told if kind in ("", t.row["kind"])]))
        for number in sorted({t.row["set"] for t in told}):
            print(line(f"set {number}", [t for t in told if t.row["set"] == number]))
        if "closed" not in name and "--misses" in arguments:
            for t in told:
                if t.first is False:
                    said = " | ".join(r.text for r in heard(t.row, v)[:3])
                    among = "among three: " if t.three else ""
                    print(
                        f"    {t.row['phrase']} [{t.row['on']}]\n        {among}{said or 'nothing'}\n        for {t.row['says']}"
                    )


if __name__ == "__main__":
    main(sys.argv[1:])
