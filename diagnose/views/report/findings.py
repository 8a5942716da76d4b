"""Causes and mechanisms in their order and, for the leading causes, what groups of findings weigh for and against."""

from __future__ import annotations

from collections.abc import Sequence

from diagnose.inference.engine import finding_id
from diagnose.judgement.judge import Judged, Judgement
from diagnose.judgement.weights import Group
from diagnose.reading.figures import percent, signed
from diagnose.trail.graph import cause_id
from diagnose.views.drawings import charts
from diagnose.views.explanation import OVERLAP, basis
from diagnose.views.report.blocks import Block, Heading, Line, Paragraph, Proof, Soft, Table
from diagnose.views.report.summary import LEAST_TOLD
from diagnose.views.report.told import Told

MOST_RANKED, MOST_OPEN = 8, 6
LEAST_SHOWN = 0.05
"""dB; what is less is written as 0.0."""
_HOW = (
    "Decibans are ten times the logarithm of a likelihood ratio: +10 dB makes a cause ten times as likely, -10 dB a tenth. "
    "A row in bold is what all findings of one mechanism are worth together for the cause against none of the causes, the "
    "record with them and without them; beneath it each finding as if it stood alone. Solid bars to the right speak for the "
    "cause, hatched bars to the left against it. "
) + OVERLAP


def findings(t: Told) -> list[Block]:
    blocks: list[Block] = [Paragraph(_HOW, "small")]
    for x, causes in t.shown:
        blocks += _ranking(t, x)
        for j in causes:
            blocks += _ledger(t, j)
    return blocks


def _ranking(t: Told, x: Judgement) -> list[Block]:
    place = f", {t.place(x.position)}" if t.several else ""
    standing = [j for j in x.causes if j.standing != "ruled out"]
    causes = [*map(_row, standing[:MOST_RANKED]), ("none of these causes", "", percent(x.none_of_these), "", "")]
    mechanisms = [_row(j) for j in x.mechanisms if j.standing not in ("unlikely", "ruled out")][:MOST_RANKED]
    columns = (("standing", "narrow"), ("probability", "number"), ("record, dB", "number"), ("findings for", "number"))
    blocks: list[Block] = [Heading(f"What happened{place}"), Table((("mechanism", "wide"), *columns), mechanisms)]
    if not mechanisms:
        blocks = []
    blocks += [Heading(f"Why{place}"), Table((("cause", "wide"), *columns), causes)]
    out = "; ".join(f"{j.name} ({' '.join(j.because)})" for j in x.causes if j.standing == "ruled out")
    rest = len(standing) - MOST_RANKED
    told = [f"{rest} more are less likely than these." if rest > 0 else "", f"Ruled out: {out}." if out else ""]
    return [*blocks, Paragraph(" ".join(x for x in told if x), "small")] if any(told) else blocks


def _row(j: Judged) -> Sequence[Line]:
    lines = str(len(j.lines_for))
    return (Proof(j.name, cause_id(j.name, j.position)), j.standing, percent(j.probability), signed(j.weight), lines)


def _ledger(t: Told, j: Judged) -> list[Block]:
    groups = j.at.weights.groups(j.name)
    open_ = [e for e in j.evidence if e.state == "unrecorded"]
    open_ = sorted(open_, key=lambda e: (-max(abs(e.if_present), abs(e.if_absent)), e.finding))[:MOST_OPEN]
    most = charts.scale_of(
        [w for g in groups for w in (g.weight, *g.alone.values())]
        + [w for e in open_ for w in (e.if_present, e.if_absent)]
    )
    rows: list[Sequence[Line]] = [("", charts.weight_axis(most), "")]
    strong = set()
    telling = [g for g in groups if max(map(abs, (g.weight, *g.alone.values()))) >= LEAST_SHOWN]
    for group in telling:
        strong.add(len(rows))
        rows.append((signed(group.weight), charts.weight_bar(group.weight, most), _group_name(group)))
        rows += [_mark(t, j, group, f, most) for f in sorted(group.alone, key=lambda f: (-group.alone[f], f))]
    columns = (("dB", "number"), ("against | for", "drawing"), ("finding, and what it rests on", "wide"))
    title = f"Ledger: {j.name}" + (f", {t.place(j.position)}" if t.several else "")
    told = f"From {percent(j.prior, 1)} before anything was seen ({_prior_word(t, j)}) to {percent(j.probability, 1)}."
    blocks: list[Block] = [Heading(title), Paragraph(told), Table(columns, rows, strong=frozenset(strong))]
    if silent := [_silent(j, g) for g in groups if g not in telling]:
        blocks.append(Paragraph(f"On record, and nothing either way: {'; '.join(silent)}.", "small"))
    if j.card.class_14224:
        blocks.append(Paragraph(f"ISO 14224: {j.card.class_14224} (known from: {j.card.class_from}).", "small"))
    if open_:
        reach: list[Sequence[Line]] = [
            (f"{signed(e.if_present)} / {signed(e.if_absent)}", charts.reach_bar(e.if_absent, e.if_present, most), e.finding)
            for e in open_
        ]  # fmt: skip
        named = (("if so / if not", "number"), ("", "drawing"), ("not on record, and what it would weigh", "wide"))
        blocks.append(Table(named, reach))
    return blocks


def _group_name(group: Group) -> Line:
    named = group.mechanism or "direct signs, and what no mechanism explains"
    return [named, Soft(" (any one of these would do)")] if group.any_suffices else named


def _silent(j: Judged, group: Group) -> str:
    """A group none of whose findings weighs anything, in a few words."""
    told = ", ".join(f if j.at.counted[f] else f"not so: {f}" for f in sorted(group.alone))
    return f"{group.mechanism} ({told})" if group.mechanism else told


def _mark(t: Told, j: Judged, group: Group, finding: str, most: float) -> Sequence[Line]:
    weight, card = group.alone[finding], t.knowledge.findings[finding]
    state = finding if j.at.counted[finding] else f"not so: {finding}"
    line: Line = [
        Proof(state, finding_id(finding, j.position)), ". ", Soft(basis(t.inference, finding, j.position)), " ",
        t.cite(*card.sources),
    ]  # fmt: skip
    return (signed(weight), charts.weight_bar(weight, most) if abs(weight) >= LEAST_TOLD else "", line)


def _prior_word(t: Told, j: Judged) -> str:
    set_by = t.inference.common[j.position].get(j.name)
    if set_by:
        return f"{set_by.branch.conclusion.state}, for this machine and service"
    return t.knowledge.causes[j.name].common if j.kind == "cause" else "whatever the cause"
