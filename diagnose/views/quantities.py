"""The computed quantities of a case, each with formula, inputs, limits and source."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from diagnose.knowledge.model import Knowledge, LimitValue
from diagnose.quantities.limits import limits_on
from diagnose.quantities.model import Quantity
from diagnose.reading.units import show, to_unit
from diagnose.views.page import Page


def rows(quantities: Sequence[Quantity], knowledge: Knowledge) -> list[dict[str, Any]]:
    """Plain data for each quantity; values in its own unit, `low` and `high` the ends of its uncertainty."""
    result = []
    for q in quantities:
        number = q.value is not None
        result.append(
            {
                "quantity": q.name,
                "id": q.id,
                "position": q.position,
                "part": q.part,
                "kind": q.kind,
                "group": q.group,
                "value": _round(to_unit(q.value, q.unit)) if q.value is not None else None,
                "low": _round(to_unit(q.low, q.unit)) if number else None,
                "high": _round(to_unit(q.high, q.unit)) if number else None,
                "word": q.word,
                "unit": q.unit,
                "formula": q.formula,
                "inputs": [{"name": n, "value": text, "record": record or None} for n, text, record in q.inputs],
                "limits": [
                    {
                        "limit": limit.name,
                        "sense": limit.sense,
                        "verdict": verdict,
                        "published": [
                            {
                                "value": v.written,
                                "in_unit": _round(to_unit(v.value, q.unit)),
                                "source": v.source,
                                "note": v.note,
                            }
                            for v in limit.values
                        ],
                    }
                    for limit, verdict in limits_on(q, dict(knowledge.limits))
                ],
                "source": q.source,
                "notes": list(q.notes),
                "problem": q.problem,
            }
        )
    return result


def _round(number: float) -> float:
    return float(f"{number:.9g}")


def page(quantities: Sequence[Quantity], knowledge: Knowledge, page: Page) -> Page:
    """Quantities by position, each with what it was computed from and how it stands to its limits."""
    if not quantities:
        page.say("Nothing can be computed from this record: it holds no readings and no figures.")
    for position in dict.fromkeys(q.position for q in quantities):
        page.heading(position.capitalize())
        for q in (q for q in quantities if q.position == position):
            on = f" on {q.kind} {q.part}".rstrip() if q.kind else ""
            page.ends(f"  {q.name}{on}", _value(q), bold=True)
            if q.problem:
                page.say(q.problem, indent=4, lead="not known: ", hang=6)
            elif q.formula != q.source:
                page.say(q.formula, indent=4)
            if q.inputs:
                page.say(", ".join(f"{n} {text}" for n, text, _ in q.inputs), indent=4, lead="from ", hang=6)
            if q.problem:
                continue
            for limit, verdict in limits_on(q, dict(knowledge.limits)):
                told = "; ".join(_published(v, q.unit, knowledge) for v in limit.values)
                page.say(f"{limit.name}, {limit.sense} {told}", indent=4, lead=f"{verdict}: ", hang=6)
            for note in q.notes:
                page.say(note, indent=4, lead="note: ", hang=6)
            page.say(_source(knowledge, q.source), indent=4, lead="source: ", hang=6)
    return page


def _value(q: Quantity) -> str:
    if q.word:
        return q.word
    if q.value is None:
        return "unknown"
    if q.datum:
        return f"{show(q.low, q.unit)} to {show(q.high, q.unit)}"
    text = show(q.value, q.unit)
    half = (q.high - q.low) / 2
    unit_size = abs(to_unit(1.0, q.unit) - to_unit(0.0, q.unit))
    return f"{text} ± {half * unit_size:.2g}" if half > 1e-12 * max(1.0, abs(q.value)) else text


def _published(value: LimitValue, unit: str, knowledge: Knowledge) -> str:
    """A published value in the quantity's unit, and as it was published where that differs."""
    told = show(value.value, unit)
    written = "" if value.written.endswith(unit) else f"published as {value.written}; "
    return f"{told} ({written}{_source(knowledge, value.source)})"


def _source(knowledge: Knowledge, key: str) -> str:
    source = knowledge.sources.get(key)
    if source is None:
        return key
    bits = [source.title, source.year, source.section, "from memory" if source.seen == "from memory" else ""]
    return ", ".join(b for b in bits if b)
