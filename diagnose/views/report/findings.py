"""Causes in their order and, for the leading ones, the ledger of findings for and against."""

from __future__ import annotations

from collections.abc import Sequence

from diagnose.inference.engine import finding_id
from diagnose.judgement.judge import Evidence, Judged, Judgement
from diagnose.reading.figures import percent, signed
from diagnose.trail.graph import cause_id
from diagnose.views.drawings import charts
from diagnose.views.explanation import basis, iso_classes
from diagnose.views.report.blocks import Block, Heading, Line, Paragraph, Proof, Soft, Table
from diagnose.views.report.summary import LEAST_TOLD
from diagnose.views.report.told import Told

MOST_RANKED, MOST_OPEN = 8, 6
_HOW = (
    "Each bar is the weight of one finding in decibans, ten times the logarithm of the likelihood ratio: +10 dB makes a "
    "cause ten times as likely, -10 dB a tenth. Solid bars to the right speak for the cause, hatched bars to the left "
    "against it. Findings on one line of evidence count once."
)


def findings(t: Told) -> list[Block]:
    blocks: list[Block] = [Paragraph(_HOW, "small")]
    for x, causes in t.shown:
        blocks += _ranking(t, x)
        for j in causes:
            blocks += _ledger(t, j)
    return blocks


def _ranking(t: Told, x: Judgement) -> list[Block]:
    standing = [j for j in x.causes if j.standing != "ruled out"]
    rows: list[Sequence[Line]] = [
        (Proof(j.cause, cause_id(j.cause, x.position)), j.standing, percent(j.probability), signed(j.prior), signed(j.weight), str(len(j.lines_for)))
        for j in standing[:MOST_RANKED]
    ]  # fmt: skip
    rows.append(("none of these causes", "", percent(x.none_of_these), "", "", ""))
    columns = (
        ("cause", "wide"),
        ("standing", "narrow"),
        ("probability", "number"),
        ("prior, dB", "number"),
        ("weights, dB", "number"),
        ("lines for", "number"),
    )
    blocks: list[Block] = [Heading(f"Causes, {t.seat(x.position)}" if t.several else "Causes"), Table(columns, rows)]
    out = "; ".join(f"{j.cause} ({' '.join(j.because)})" for j in x.causes if j.standing == "ruled out")
    rest = len(standing) - MOST_RANKED
    told = [f"{rest} more are less likely than these." if rest > 0 else "", f"Ruled out: {out}." if out else ""]
    return [*blocks, Paragraph(" ".join(x for x in told if x), "small")] if any(told) else blocks


def _ledger(t: Told, j: Judged) -> list[Block]:
    told = [e for e in j.evidence if e.state != "unrecorded"]
    counted = sorted((e for e in told if not e.through), key=lambda e: (-e.weight, e.finding))
    heavy, light = (
        [e for e in counted if abs(e.weight) >= LEAST_TOLD],
        [e for e in counted if abs(e.weight) < LEAST_TOLD],
    )
    open_ = [e for e in j.evidence if e.state == "unrecorded"]
    open_ = sorted(open_, key=lambda e: (-max(abs(e.if_present), abs(e.if_absent)), e.finding))[:MOST_OPEN]
    most = charts.scale_of(
        [j.prior, *(e.weight for e in heavy), *(w for e in open_ for w in (e.if_present, e.if_absent))]
    )
    rows: list[Sequence[Line]] = [
        ("", charts.weight_axis(most), ""),
        (
            signed(j.prior),
            charts.weight_bar(j.prior, most),
            f"prior: how common it is among failed seals ({_prior_word(t, j)})",
        ),
        *((signed(e.weight), charts.weight_bar(e.weight, most), _evidence(t, e, j)) for e in heavy),
    ]
    if light:
        sum_ = sum(e.weight for e in light)
        rows.append(
            (signed(sum_), "", Soft(f"together, each under {LEAST_TOLD:g} dB: " + "; ".join(map(_state, light))))
        )
    rows.append((signed(j.alone), "", "this cause alone against none of these"))
    columns = (("dB", "number"), ("against | for", "drawing"), ("finding, and what it rests on", "wide"))
    title = f"Ledger: {j.cause}" + (f", {t.seat(j.position)}" if t.several else "")
    blocks: list[Block] = [Heading(title), Table(columns, rows, strong=frozenset((len(rows) - 1,)))]
    through = [e for e in told if e.through]
    if through:
        present = "; ".join(f"{e.finding} (through {e.through})" for e in through if e.state == "present")
        absent = sum(e.state == "absent" for e in through)
        also = f"{absent} looked for and not so" if absent else ""
        blocks.append(
            Paragraph(
                f"Not counted again, on a line of evidence that counts above: {'; and '.join(x for x in (present, also) if x)}.",
                "small",
            )
        )
    if classes := iso_classes(t.knowledge.causes[j.cause]):
        blocks.append(Paragraph(classes + ".", "small"))
    if open_:
        reach: list[Sequence[Line]] = [
            (f"{signed(e.if_present)} / {signed(e.if_absent)}", charts.reach_bar(e.if_absent, e.if_present, most), e.finding) for e in open_
        ]  # fmt: skip
        blocks.append(
            Table(
                (("if so / if not", "number"), ("", "drawing"), ("not on record, and what it would weigh", "wide")),
                reach,
            )
        )
    return blocks


def _evidence(t: Told, e: Evidence, j: Judged) -> Line:
    card = t.knowledge.findings[e.finding]
    row = next(r for r in t.knowledge.causes[j.cause].leaves if r.finding == e.finding)
    return [
        Proof(_state(e), finding_id(e.finding, j.position)), ". ", Soft(basis(t.inference, e.finding, j.position)),
        Soft(f". Left {row.seen} by this cause, seen {card.otherwise} otherwise "), t.cite(*(row.sources or card.sources)),
    ]  # fmt: skip


def _prior_word(t: Told, j: Judged) -> str:
    set_by = t.inference.common[j.position].get(j.cause)
    return (
        f"{set_by.branch.conclusion.state}, for this machine and service"
        if set_by
        else t.knowledge.causes[j.cause].common
    )


def _state(e: Evidence) -> str:
    return e.finding if e.state == "present" else f"not so: {e.finding}"
