"""Published tables of symptom and causes: does the symptom alone bring the causes that the table lists?"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from diagnose.casefile.model import lone
from diagnose.casefile.reader import observe
from diagnose.inference.run import RuleBase
from diagnose.judgement.diagnosis import Diagnosis
from diagnose.reading.located import Node, only_keys, read_bytes, read_text
from diagnose.reading.problems import Problems
from diagnose.reading.terms import did_you_mean

FIRST, NEAR = 3, 8
_KEYS = ["id", "table", "source", "saw", "on", "side", "group", "face", "extent", "degree", "causes"]


@dataclass(frozen=True)
class Row:
    """One row of a table. `places`: the rank of each listed cause or mechanism among those of its level that the symptom
    speaks for, 0 where none."""

    id: str
    table: str
    causes: tuple[str, ...]
    places: tuple[int, ...]

    @property
    def among_first(self) -> bool:
        return any(0 < p <= FIRST for p in self.places)

    @property
    def recalled(self) -> float:
        return sum(0 < p <= NEAR for p in self.places) / len(self.places)


def read_rows(path: Path, base: RuleBase, problems: Problems) -> list[Row]:
    """Every row of a table file judged; mistakes are added to `problems`."""
    data = read_bytes(path, str(path), problems)
    node = read_text(data, str(path), problems) if data is not None else None
    rows = []
    both = {**base.knowledge.causes, **base.knowledge.mechanisms}
    listed = node.get("symptoms") if node else None
    for item in listed.each() if listed else []:
        only_keys(item, _KEYS, "a symptom row", problems)
        observed = observe(
            Node({k: v for k, v in item.items() if k in _KEYS[3:-1]}, item.where), base.knowledge, problems
        )
        named = item.get("causes")
        causes = tuple(base.knowledge.present_name(c.text()) for c in named.each()) if named else ()
        for cause in named.each() if named else []:
            if base.knowledge.present_name(cause.text()) not in both:
                way_out = did_you_mean(cause.text(), both)
                problems.add(cause.where, "unknown-cause", f"there is no cause {cause.text()!r}", way_out)
        if not observed or not causes:
            continue
        (judgement,) = Diagnosis(lone(observed[0]), base).judgements
        levels = [[j.name for j in level if j.weight > 0.05] for level in (judgement.causes, judgement.mechanisms)]
        places = tuple(next((x.index(c) + 1 for x in levels if c in x), 0) for c in causes)
        rows.append(Row(_text(item, "id"), _text(item, "table"), causes, places))
    return rows


def _text(node: Node, key: str) -> str:
    value = node.get(key)
    return value.text() if value else ""


def by_table(rows: list[Row]) -> list[dict[str, Any]]:
    """For each table: how many rows have a listed cause among the first three, and the share of listed causes among
    the first eight."""
    result = []
    for table in dict.fromkeys(r.table for r in rows):
        own = [r for r in rows if r.table == table]
        result.append(
            {
                "table": table,
                "rows": len(own),
                "among_first_three": sum(r.among_first for r in own),
                "listed_among_first_eight": sum(r.recalled for r in own) / len(own),
                "not": [r.id for r in own if not r.among_first],
            }
        )
    return result
