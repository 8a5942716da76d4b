"""Bad actors: where failures, cost and lost hours gather, and which seals live shorter than the rest."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from diagnose.knowledge.model import Knowledge
from diagnose.library.life import Life, against_the_others, grouped, lives, settings
from diagnose.library.store import Store

MEASURES = {"count": "COUNT(*)", "cost": "SUM(COALESCE(cost, 0))", "hours": "SUM(COALESCE(hours_lost, 0))"}
COLUMNS = {"tag": "tag", "batch": "batch", "cause": "root", "mechanism": "mechanism"}
FALSE_SHARE = 0.05
"""Of the groups named as short-lived, the share that may be so by luck (Benjamini and Hochberg, 1995, from memory)."""


@dataclass(frozen=True)
class Part:
    """A group's failures with its share of the measure, and the share of it and all before it together."""

    name: str
    cases: int
    amount: float
    share: float
    together: float


_CASES = """
SELECT {column} AS name, COUNT(*) AS cases, {measure} AS amount FROM (
  SELECT MIN(tag) AS tag, MIN(batch) AS batch, MAX(cost) AS cost, MAX(hours_lost) AS hours_lost,
    MIN(CASE WHEN confirmed_root <> '' THEN confirmed_root WHEN json_extract(outcomes, '$[#-1].none_of_these') THEN 'none of these'
      WHEN root_standing IN ('established', 'probable') THEN root ELSE 'not known' END) AS root,
    MIN(CASE WHEN confirmed_mechanism <> '' THEN confirmed_mechanism
      WHEN mechanism_standing IN ('established', 'probable') THEN mechanism ELSE 'not known' END) AS mechanism
  FROM seal WHERE site = ? AND removal = 'failed' GROUP BY file
) GROUP BY name ORDER BY amount DESC, name
"""


def pareto(store: Store, by: str, measure: str, site: str = "") -> list[Part]:
    """Failed cases by machine (tag), batch, root cause or mechanism, largest first; a case counts once, whatever its seals.
    A cause is the confirmed one, else what the tool says is at least probable."""
    rows = store.rows(_CASES.format(column=COLUMNS[by], measure=MEASURES[measure]), (site,))
    total = sum(row["amount"] for row in rows) or 1.0
    parts, before = [], 0.0
    for row in rows:
        before += row["amount"]
        parts.append(
            Part(row["name"] or "not recorded", row["cases"], row["amount"], row["amount"] / total, before / total)
        )
    return parts


def by_month(store: Store, knowledge: Knowledge, site: str = "") -> dict[str, dict[str, int]]:
    """Failed seals by the month in which they came out and by the department whose field the first action against the
    cause belongs to."""
    table: dict[str, dict[str, int]] = {}
    for removed, cause in store.db.execute(
        "SELECT removed, COALESCE(NULLIF(confirmed_root, ''), CASE WHEN root_standing IN ('established', 'probable') THEN root END) "
        "FROM seal WHERE site = ? AND removal = 'failed' AND LENGTH(removed) >= 7", (site,)
    ):  # fmt: skip
        card = knowledge.causes.get(cause or "")
        field = card.then[0].field if card and card.then else "not known"
        month = table.setdefault(removed[:7], {})
        month[field] = month.get(field, 0) + 1
    return dict(sorted(table.items()))


@dataclass(frozen=True)
class Short:
    """A group that lives shorter than the others of which the same is on record. Rates in failures per 1,000 h."""

    by: str
    name: str
    failed: int
    rate: float
    rest: float
    p: float


def short_lived(store: Store, site: str = "") -> tuple[list[Short], int]:
    """The groups (machines, batches, terms of settings) that live shorter than the rest by the log-rank test, and how many
    were tried."""
    found = lives(store, site)
    tried: list[Short] = []
    for by in ("tag", "batch", *settings(store)):
        groups = grouped(store, found, by)
        everyone = list({life.id: life for group in groups.values() for life in group}.values())
        failed, hours = _failed(everyone), _hours(everyone)
        for name, p in against_the_others(groups).items():
            if p is not None:
                mine, run = _failed(groups[name]), _hours(groups[name])
                tried.append(Short(by, name, mine, 1000 * mine / run, 1000 * (failed - mine) / (hours - run), p))
    tried.sort(key=lambda s: (s.p, s.by, s.name))
    last = max((i for i, s in enumerate(tried, 1) if s.p <= FALSE_SHARE * i / len(tried)), default=0)
    return [s for s in tried[:last] if s.rate > s.rest], len(tried)


def _failed(group: Sequence[Life]) -> int:
    return sum(life.failed for life in group)


def _hours(group: Sequence[Life]) -> float:
    return sum(life.hours for life in group)


def document(
    by: str,
    measure: str,
    parts: Sequence[Part],
    months: Mapping[str, Mapping[str, int]],
    short: tuple[list[Short], int] | None,
) -> dict[str, Any]:
    """All of it as plain data; `short` None where lives were not asked for."""
    return {
        "by": by, "measure": measure, "parts": [vars(p) for p in parts], "months": {m: dict(f) for m, f in months.items()},
        "short-lived": None if short is None else {"tried": short[1], "groups": [vars(s) for s in short[0]]},
    }  # fmt: skip
