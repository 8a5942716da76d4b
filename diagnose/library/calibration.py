"""What the tool says of closed cases against what was confirmed: how often right, how sure, and who was right where somebody
thought otherwise."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from diagnose.evaluation.score import CLAIM, slope, wilson
from diagnose.library.store import Store, outcomes_of


@dataclass(frozen=True)
class Said:
    """The leading root cause or mechanism of one seal against its outcome, which names at least one of that kind or says
    that it was none of them. `first`: what the first outcome on record named, where a later one stands."""

    file: str
    kind: str
    name: str
    standing: str
    probability: float
    truth: tuple[str, ...]
    first: tuple[str, ...]
    by: str
    how: str
    year: str

    @property
    def right(self) -> bool:
        return self.name in self.truth


def said(store: Store, site: str = "") -> list[Said]:
    """Every seal with an outcome, at each level that the outcome speaks of, by file; seals of a pair of which the same was
    said and confirmed count once."""
    rows = store.rows(
        "SELECT seal.*, file.name AS file_name FROM seal JOIN file ON file.id = seal.file WHERE seal.site = ? AND confirmed <> '' "
        "ORDER BY file.name, position", (site,),
    )  # fmt: skip
    return list({(s.file, s.kind, s.name, s.truth): s for row in rows for s in _levels(row)}.values())


def _levels(row: Any) -> Iterator[Said]:
    outcomes = outcomes_of(row["outcomes"])
    last = outcomes[-1]
    for kind, column, key in (("cause", "root", "roots"), ("mechanism", "mechanism", "mechanisms")):
        truth = getattr(last, key)
        if not truth and not (kind == "cause" and last.none_of_these):
            continue
        first = next((getattr(o, key) for o in outcomes[:-1] if getattr(o, key)), ())
        yield Said(
            row["file_name"], kind, row[column], row[f"{column}_standing"], row[f"{column}_probability"], truth, first,
            last.by, last.how, last.day[:4],
        )  # fmt: skip


def figures(found: Sequence[Said]) -> dict[str, Any]:
    """Shares with their intervals, and calibration of what leads (1 and 1 are perfect)."""
    right = sum(s.right for s in found)
    claims = [s for s in found if s.probability >= CLAIM]
    sure = [s for s in found if s.standing == "established"]
    steep, ratio = slope([(s.probability, float(s.right)) for s in found])
    return {
        "n": len(found), "right": right, "right_interval": wilson(right, len(found)),
        "expected right": sum(s.probability for s in found),
        "claims": len(claims), "claims right": sum(s.right for s in claims),
        "established": len(sure), "established right": sum(s.right for s in sure),
        "slope": steep if steep == steep else None, "observed_to_expected": ratio if ratio == ratio else None,
    }  # fmt: skip


def document(found: Sequence[Said]) -> dict[str, Any]:
    """All of it as plain data: together, by year and by who confirmed; and the cases in which the tool was overruled."""
    levels = {}
    for kind in ("cause", "mechanism"):
        mine = [s for s in found if s.kind == kind]
        levels[kind] = {
            "all": figures(mine),
            "year": {y: figures([s for s in mine if s.year == y]) for y in sorted({s.year for s in mine})},
            "by": {b: figures([s for s in mine if s.by == b]) for b in sorted({s.by for s in mine})},
        }
    return {"levels": levels, "overruled": [_overruled(s) for s in found if _differs(s)]}


def _differs(s: Said) -> bool:
    """Whether somebody put something else on record than the tool said at least possible."""
    return s.standing in ("established", "probable", "possible") and (
        not s.right or bool(s.first and s.name not in s.first)
    )


def _overruled(s: Said) -> dict[str, Any]:
    """Right is who agrees with the last outcome: the tool, where the first one overruled it and the last one does not."""
    right = "the tool" if s.right else "whoever overruled it"
    return {
        "file": s.file, "kind": s.kind, "said": s.name, "standing": s.standing, "probability": s.probability,
        "first": list(s.first), "confirmed": list(s.truth), "how": s.how, "by": s.by, "right": right,
    }  # fmt: skip
