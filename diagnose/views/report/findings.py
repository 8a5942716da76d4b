"""Causes and mechanisms in their order and, for the leading causes, what groups of findings weigh for and against."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from diagnose.inference.engine import finding_id
from diagnose.judgement.chains import leaders
from diagnose.judgement.judge import Judged, Judgement
from diagnose.judgement.weights import Group
from diagnose.reading.figures import count, percent, signed
from diagnose.trail.graph import cause_id
from diagnose.views.drawings import charts
from diagnose.views.explanation import OVERLAP, basis, left_out_told
from diagnose.views.report.blocks import Block, Heading, Line, Paragraph, Proof, Soft, Table
from diagnose.views.report.summary import LEAST_TOLD
from diagnose.views.report.told import Told

MOST_RANKED, MOST_OPEN = 8, 6
LEAST_SHOWN, LEAST_CARRYING = 0.05, 1.0
"""dB; what is less than the first is written as 0.0, and less than the second carries nothing."""
_HOW = (
    "Decibans are ten times the logarithm of a likelihood ratio: +10 dB makes a cause ten times as likely, -10 dB a tenth. "
    "A row in bold is what all findings of one mechanism are worth together for the cause against none of the causes, the "
    "record with them and without them; beneath it each finding as if it stood alone. Solid bars to the right speak for the "
    "cause, hatched bars to the left against it. "
) + OVERLAP


def findings(t: Told) -> list[Block]:
    """The ranking, and of each leading cause, or of the next best where none leads, what carries it."""
    judged = [x for x, causes in t.shown if causes]
    if not judged:
        return []
    left = [
        Paragraph(f"{t.place(x.position).capitalize()} not weighed: {told}".lstrip().capitalize(), "small")
        for x in judged
        if (told := left_out_told(x))
    ]
    carried = [j for x, causes in t.shown for j in (leaders(x) or causes[:1])]
    return [Paragraph(_HOW, "small"), *_ranking(t, judged), *left] + [
        b for j in carried for b in _ledger(t, j, brief=True)
    ]


def ledgers(t: Told) -> list[Block]:
    """Of each cause that is shown, everything on record, whatever it weighs, and what is not on record yet."""
    return [b for _, causes in t.shown for j in causes for b in (*_ledger(t, j, brief=False), *_beside(t, j))]


def _ranking(t: Told, judged: Sequence[Judgement]) -> list[Block]:
    """Mechanisms and causes of all seals side by side."""
    blocks: list[Block] = []
    out: list[str] = []
    for title, of in (("What happened", "mechanism"), ("Why", "cause")):
        chosen = {x.position: _ranked(x, of) for x in judged}
        names = sorted(dict.fromkeys(j.name for found in chosen.values() for j in found), key=lambda n: min(
            found.index(j) for found in chosen.values() for j in found if j.name == n))  # fmt: skip
        rows: list[Sequence[Line]] = [_row(t, name, [x.of(name) for x in judged]) for name in names]
        if of == "cause":
            rows.append(
                ("none of these causes", *(c for x in judged for c in _cells(t, "", percent(x.none_of_these), "", "")))
            )
        if names:
            columns = [(of, "wide"), *(c for x in judged for c in _columns(t, x.position))]
            blocks += [Heading(title), Table(columns, rows)]
    for x in judged:
        standing = [j for j in x.causes if j.standing != "ruled out"]
        rest = len(standing) - MOST_RANKED
        ruled = "; ".join(
            f"{j.name} ({' '.join(dict.fromkeys(j.because))})" for j in x.causes if j.standing == "ruled out"
        )
        told = [f"{rest} more are less likely than these." if rest > 0 else "", f"Ruled out: {ruled}." if ruled else ""]
        out.append(" ".join(w for w in told if w))
    same = len(set(out)) < 2
    for x, told_out in zip(judged[:1] if same else judged, out, strict=False):
        place = f"{t.place(x.position).capitalize()}: " if t.several and not same else ""
        blocks += [Paragraph(place + told_out, "small")] if told_out else []
    return blocks


def _ranked(x: Judgement, of: str) -> list[Judged]:
    if of == "mechanism":
        return [j for j in x.mechanisms if j.standing not in ("unlikely", "ruled out")][:MOST_RANKED]
    return [j for j in x.causes if j.standing != "ruled out"][:MOST_RANKED]


def _columns(t: Told, position: str) -> tuple[tuple[str, str], ...]:
    if t.several:
        return _cells(t, (position, "narrow"), ("probability", "number"), ("record, dB", "number"))
    return _cells(
        t, ("standing", "narrow"), ("probability", "number"), ("record, dB", "number"), ("findings for", "number")
    )


def _cells(t: Told, *cells: Any) -> tuple[Any, ...]:
    """The cells of one seal; beside another seal there is no room for the last."""
    return cells[:3] if t.several else cells


def _row(t: Told, name: str, judged: Sequence[Judged]) -> Sequence[Line]:
    """One cause or mechanism at every seal."""
    told = (_cells(t, j.standing, percent(j.probability), signed(j.weight), str(len(j.lines_for))) for j in judged)
    return (Proof(name, cause_id(name, judged[0].position)), *(c for cells in told for c in cells))


def _ledger(t: Told, j: Judged, brief: bool) -> list[Block]:
    """What groups of findings weigh; `brief`: only those that carry something, once what others have said is taken off."""
    groups = j.at.weights.groups(j.name)
    shown = [g for g in groups if (abs(g.weight) >= LEAST_CARRYING if brief else _heaviest(g) >= LEAST_SHOWN)]
    most = charts.scale_of([w for g in shown for w in (g.weight, *g.alone.values())])
    rows: list[Sequence[Line]] = [("", charts.weight_axis(most), "")]
    strong, left = set(), sum(len(g.alone) for g in groups)
    for group in shown:
        strong.add(len(rows))
        rows.append((signed(group.weight), charts.weight_bar(group.weight, most), _group_name(group)))
        told = sorted(group.alone, key=lambda f: (-group.alone[f], f))
        marks = [f for f in told if not brief or abs(group.alone[f]) >= LEAST_CARRYING]
        rows += [_mark(t, j, group, f, most) for f in marks]
        left -= len(marks)
    columns = (("dB", "number"), ("against | for", "drawing"), ("finding, and what it rests on", "wide"))
    title = ("What carries " if brief else "Ledger: ") + j.name + (f", {t.place(j.position)}" if t.several else "")
    whole = f"From {percent(j.prior, 1)} before anything was seen ({_prior_word(t, j)}) to {percent(j.probability, 1)}."
    rest = (
        f" What adds less than {LEAST_CARRYING:g} dB ({count(left, 'finding')}) stands in the appendix."
        if brief and left
        else ""
    )
    ledger = [Table(columns, rows, strong=frozenset(strong))] if shown else []
    return [Heading(title), Paragraph(whole + rest), *ledger]


def _heaviest(group: Group) -> float:
    return max(map(abs, (group.weight, *group.alone.values())))


def _beside(t: Told, j: Judged) -> list[Block]:
    """What weighs nothing, the class of the standard, and what is not on record yet."""
    blocks: list[Block] = []
    silent = [_silent(j, g) for g in j.at.weights.groups(j.name) if _heaviest(g) < LEAST_SHOWN]
    if silent:
        blocks.append(Paragraph(f"On record, and nothing either way: {'; '.join(silent)}.", "small"))
    if j.card.class_14224:
        blocks.append(Paragraph(f"ISO 14224: {j.card.class_14224} (known from: {j.card.class_from}).", "small"))
    open_ = [e for e in j.evidence if e.state == "unrecorded"]
    open_ = sorted(open_, key=lambda e: (-max(abs(e.if_present), abs(e.if_absent)), e.finding))[:MOST_OPEN]
    if open_:
        most = charts.scale_of([w for e in open_ for w in (e.if_present, e.if_absent)])
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
