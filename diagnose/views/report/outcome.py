"""What was confirmed in the end beside what was concluded, and through whose hands the parts went."""

from __future__ import annotations

from collections.abc import Sequence

from diagnose.casefile.model import Outcome
from diagnose.casefile.wording import confirmed, describe_custody
from diagnose.judgement.chains import leaders
from diagnose.judgement.judge import Judgement
from diagnose.reading.figures import listed, percent
from diagnose.views.report.blocks import Block, Heading, Items, Line, Strong, Table
from diagnose.views.report.told import Told

COLUMNS = (
    ("concluded", "wide"),
    ("confirmed", "wide"),
    ("it stood", ""),
    ("how, by whom, when", ""),
    ("what was changed", ""),
)


def outcome(t: Told) -> list[Block]:
    """Conclusion and outcome side by side, a row for each outcome at each seal position that it is of."""
    rows: list[Sequence[Line]] = []
    for o in t.case.outcomes:
        for x in t.judgements:
            if o.position in ("", x.position):
                how = ", ".join(b for b in (o.how, o.by, o.when) if b)
                changed = "; ".join(o.changed) + (f" ({o.note})" if o.note else "")
                rows.append((_concluded(t, x), [Strong(confirmed(o))], _stood(o, x), how, changed.strip()))
    return [Table(COLUMNS, rows)] if rows else []


def _concluded(t: Told, x: Judgement) -> str:
    told = listed([f"{j.name} ({j.standing}, {percent(j.probability)})" for j in leaders(x)])
    where = f"{t.place(x.position)}: " if t.place(x.position) else ""
    return f"{where}{told or 'no cause stands out'}"


def _stood(o: Outcome, x: Judgement) -> str:
    """Where what was confirmed stood in the conclusion."""
    if o.none_of_these:
        return f"none of the causes: {percent(x.none_of_these)}"
    order = {j.name: n for n, j in enumerate((*x.causes,), 1)} | {j.name: n for n, j in enumerate(x.mechanisms, 1)}
    named = [x.of(name) for name in (*o.roots, *o.mechanisms)]
    return "; ".join(
        f"{j.name}: ruled out" if j.standing == "ruled out" else f"{j.name}: number {order[j.name]}, {j.standing}, {percent(j.probability)}"
        for j in named
    )  # fmt: skip


def custody(t: Told) -> list[Block]:
    """Acts of custody, for the whole seal and part by part, in the order of time."""
    blocks: list[Block] = []
    for item, name in (("", "The whole seal"), *((p.item, f"{p.name} ({p.item})") for p in t.case.parts)):
        acts = sorted((c for c in t.case.custody if item in (c.parts or ("",))), key=lambda c: c.when)
        if acts:
            blocks += [Heading(name), Items([describe_custody(c) for c in acts])]
    return blocks
