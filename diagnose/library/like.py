"""The nearest closed cases: those that share the evidence that tells most."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from diagnose.judgement.network import Network, build
from diagnose.knowledge.model import Knowledge
from diagnose.library.seals import Seal
from diagnose.library.store import Store, pairs_of

Told = Mapping[str, tuple[float, float]]
"""What each finding tells, in bits: where it is absent, where it is present."""


@dataclass(frozen=True)
class Near:
    """A closed case and what it has in common with another. `score`: of what the other's evidence tells, the part that is
    shared less the part that is contradicted; `missing`: present there and open here."""

    site: str
    file: str
    seal: Seal
    score: float
    shared: tuple[tuple[str, bool], ...]
    contrary: tuple[tuple[str, bool], ...]
    missing: tuple[str, ...]


def tells(knowledge: Knowledge) -> str:
    """What each finding tells, as JSON for the index."""
    net = build(knowledge)
    return json.dumps({f: [round(x, 6) for x in pair] for f, pair in bits(net).items()}, ensure_ascii=False)


def bits(net: Network) -> dict[str, tuple[float, float]]:
    """How far each finding, recorded absent or present, moves the chances of single root causes (none among them): the
    relative entropy of after to before, in bits (Kullback and Leibler, Annals of Mathematical Statistics 22, 1951)."""
    prior = np.append(net.prior, max(1.0 - net.prior.sum(), float(net.prior.min())))
    prior = prior / prior.sum()
    present = net.read(net.alone)
    result = []
    for chance in (1 - present, present):
        after = chance * prior
        after = after / after.sum(axis=1, keepdims=True)
        result.append((after * np.log2(after / prior)).sum(axis=1))
    return {f: (float(result[0][i]), float(result[1][i])) for f, i in net.row.items()}


def told_in(store: Store) -> Told:
    return pairs_of(store.about("tells") or "{}")


def like(store: Store, findings: Mapping[str, bool], most: int, apart: str = "", site: str = "") -> list[Near]:
    """The nearest confirmed cases to findings (True: present), nearest first; `apart` is a file that is left out."""
    told = told_in(store)
    asked = {f: (p, told[f][p]) for f, p in findings.items() if f in told and told[f][p] > 0}
    total = sum(w for _, w in asked.values())
    if not total:
        return []
    store.db.execute("CREATE TEMP TABLE IF NOT EXISTS asked (finding INTEGER PRIMARY KEY, present INTEGER, bits REAL)")
    store.db.execute("DELETE FROM asked")
    store.db.executemany(
        "INSERT INTO asked SELECT id, ?, ? FROM word WHERE text = ?", [(p, w, f) for f, (p, w) in asked.items()]
    )
    rows = store.rows(_NEAREST, (site, apart, most))
    return [_near(store, row["seal"], findings, told, row["score"] / total) for row in rows]


_NEAREST = """
SELECT finding.seal, SUM(CASE WHEN finding.present = asked.present THEN bits ELSE -bits END) AS score
FROM asked CROSS JOIN finding ON finding.finding = asked.finding
JOIN seal ON seal.id = finding.seal JOIN file ON file.id = seal.file
WHERE seal.confirmed <> '' AND seal.site = ? AND file.name <> ?
GROUP BY finding.seal HAVING score > 0 ORDER BY ROUND(score, 9) DESC, file.name, seal.position LIMIT ?
"""


def _near(store: Store, id: int, findings: Mapping[str, bool], told: Told, score: float) -> Near:
    (site, file, seal), *_ = store.seals("seal.id = ?", (id,))
    there = dict(seal.findings)

    def by_weight(names: Any) -> tuple[Any, ...]:
        return tuple(sorted(names, key=lambda f: (-told.get(f, (0.0, 0.0))[there[f]], f)))

    both = [f for f in there if f in findings]
    shared = by_weight(f for f in both if there[f] == findings[f])
    contrary = by_weight(f for f in both if there[f] != findings[f])
    missing = by_weight(f for f in there if there[f] and f not in findings)
    return Near(
        site, file, seal, score, tuple((f, there[f]) for f in shared), tuple((f, there[f]) for f in contrary), missing
    )


def document(found: list[Near]) -> dict[str, Any]:
    """The nearest cases as plain data."""

    def said(findings: tuple[tuple[str, bool], ...]) -> list[str]:
        return [f if there else f"no {f}" for f, there in findings]

    result = []
    for n in found:
        outcome = n.seal.confirmed
        assert outcome
        result.append({
            "file": n.file, "case": n.seal.case, "position": n.seal.position, "score": round(n.score, 6),
            "roots": list(outcome.roots), "mechanisms": list(outcome.mechanisms), "how": outcome.how,
            "day": outcome.day, "changed": list(outcome.changed), "shared": said(n.shared),
            "different": said(n.contrary), "open here": list(n.missing),
        })  # fmt: skip
    return {"near": result}
