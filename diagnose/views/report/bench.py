"""What lay on the bench: measurements against limits, readings as taken, parts, the record and the photos."""

from __future__ import annotations

from collections.abc import Sequence

from diagnose.casefile.model import Measured, Observation, Part, Remark
from diagnose.casefile.wording import describe, extent_text, index_mark
from diagnose.knowledge.model import Limit
from diagnose.quantities.limits import BETWEEN, INSIDE, OUTSIDE, UNDECIDED, limits_on
from diagnose.quantities.model import Quantity
from diagnose.reading.units import show
from diagnose.views.drawings import charts
from diagnose.views.drawings.dial import clock_over
from diagnose.views.report.blocks import (
    Block,
    Heading,
    Items,
    Line,
    Paragraph,
    Picture,
    Piece,
    Soft,
    Strong,
    Table,
    pieces,
)
from diagnose.views.report.told import Photo, Told, hours, with_ends

_VERDICTS = {
    OUTSIDE: "outside", BETWEEN: "between the values given", UNDECIDED: "not decided: the uncertainty spans a limit", INSIDE: "inside",
}  # fmt: skip
"""In the order in which they are told."""
AT_ODDS = " (rests on a record that is at odds)"
_UNPUBLISHED = ("common practice", "arithmetic")
TOLD_IN_HISTORY = ("history", "leak", "sound")


def measurements(t: Told) -> list[Block]:
    """What lies outside a published limit, or may; what is inside all of them by name; and the figures of the case."""
    judged = [x for x in _judged(t) if _published(t, x[1])]
    odd = [x for x in judged if x[2] != INSIDE]
    blocks: list[Block] = [_limits(t, odd)] if odd else []
    named = {q.id for q, _, _ in odd}
    inside = dict.fromkeys(
        f"{q.name} {t.on(q)} {with_ends(q)}{AT_ODDS if t.is_at_odds(q) else ''}"
        for q, _, _ in judged
        if q.id not in named
    )
    if inside:
        blocks.append(Paragraph([Strong("Inside every published limit: "), "; ".join(inside) + "."], "small"))
    return blocks + _figures(t)


def quantities(t: Told) -> list[Block]:
    """Every quantity against every limit, what could not be worked out and why, and every reading as it was taken."""
    known = sorted(t.inference.quantities, key=lambda q: (t.order.get(q.part, -1), q.name, q.position, q.id))
    judged = _judged(t)
    blocks: list[Block] = []
    published = [x for x in judged if _published(t, x[1])]
    if published:
        blocks += [Heading("Against published limits"), _limits(t, published)]
    usual = [_usual(t, *x) for x in judged if not _published(t, x[1])]
    if usual:
        blocks += [Heading("Against bounds of common practice, which no source publishes"), Items(usual, role="two")]
    held = {q.id for q, _, _ in judged}
    good = [q for q in known if q.id not in held and (q.value is not None or q.word)]
    if good:
        rows: list[Sequence[Line]] = [
            (_named(t, q), with_ends(q), [q.formula, Soft("".join(f"; {n}" for n in q.notes)), " ", t.cite(q.source)])
            for q in good
        ]
        blocks += [
            Heading("Computed, without a published limit"),
            Table((("quantity", ""), ("value", ""), ("formula and remarks", "wide")), rows),
        ]
    bad = [q for q in known if q.value is None and not q.word]
    if bad:
        blocks += [
            Heading("Could not be worked out"),
            Items([f"{q.name}, {t.on(q)}: {q.problem}" for q in bad], role="two"),
        ]
    return blocks + _readings(t)


Against = tuple[Quantity, Limit, str]


def _judged(t: Told) -> list[Against]:
    """Each quantity with each of its limits, those outside first."""
    known = sorted(t.inference.quantities, key=lambda q: (t.order.get(q.part, -1), q.name, q.position, q.id))
    limits = dict(t.knowledge.limits)
    judged = [(q, limit, verdict) for q in known if q.value is not None for limit, verdict in limits_on(q, limits)]
    return sorted(judged, key=lambda x: list(_VERDICTS).index(x[2]))


def _limits(t: Told, judged: Sequence[Against]) -> Table:
    columns = (
        ("quantity", ""),
        ("value", ""),
        ("", "drawing"),
        ("verdict", ""),
        ("limit, with every published value", "wide"),
    )
    told = ("Diamond: the value, with its uncertainty as a thick line. Strokes: published limits. Hatched: beyond all of them; "
            "dotted: between published limits that differ.")  # fmt: skip
    strong = frozenset(i for i, x in enumerate(judged) if x[2] == OUTSIDE)
    return Table(columns, [_against(t, *x) for x in judged], told, strong)


def _named(t: Told, q: Quantity) -> Line:
    return [q.name, Soft(f" {t.on(q)}{AT_ODDS if t.is_at_odds(q) else ''}")]


def _published(t: Told, limit: Limit) -> bool:
    return any(t.knowledge.sources[v.source].kind not in _UNPUBLISHED for v in limit.values)


def _verdict(limit: Limit, verdict: str) -> str:
    beyond = "above" if limit.sense == "at most" else "below"
    return beyond if verdict == OUTSIDE else _VERDICTS[verdict]


def _against(t: Told, q: Quantity, limit: Limit, verdict: str) -> Sequence[Line]:
    bar = charts.gauge(q.value or 0.0, q.low, q.high, [v.value for v in limit.values], limit.sense == "at most")
    told = _verdict(limit, verdict)
    return (_named(t, q), with_ends(q), bar, told.upper() if verdict == OUTSIDE else told, _values(t, q, limit))


def _usual(t: Told, q: Quantity, limit: Limit, verdict: str) -> Line:
    told = f" {with_ends(q)}, {_verdict(limit, verdict)}: "
    return [*pieces(_named(t, q)), told, *_values(t, q, limit)]


def _values(t: Told, q: Quantity, limit: Limit) -> list[Piece]:
    """The limit with every value that is given for it."""
    told: list[Piece] = [Soft(f"{limit.name}, ") if limit.name != q.name else "", f"{limit.sense} "]
    for i, v in enumerate(limit.values):
        told += ["; " if i else "", show(v.value, q.unit), Soft(f" {v.note}" if v.note else ""), t.cite(v.source)]
    return told


def _taken(t: Told) -> list[Measured]:
    """What was measured, without the figures of the case."""
    words = t.knowledge.vocabulary.readings
    measured = sorted(t.case.measured, key=lambda x: (t.order.get(x.part, -1), x.what, x.position, x.id))
    return [x for x in measured if not words[x.what].section]


def _written(x: Measured) -> str:
    """The readings, each with its place or name where every one has its own."""
    names, written = [hours(a) for a in x.around] or list(x.labels), [r.written for r in x.readings]
    paired = len(names) == len(written) > 1
    return ", ".join(f"{n}: {w}" for n, w in zip(names, written, strict=True)) if paired else ", ".join(written)


def _readings(t: Told) -> list[Block]:
    words = t.knowledge.vocabulary.readings
    rows: list[Sequence[Line]] = []
    for x in _taken(t):
        step = f"to {show(x.resolution, words[x.what].unit)}" if x.resolution else ""
        warm = f"at {x.temperature.written}" if x.temperature else ""
        rows.append((x.what, t.on(x), _written(x), ", ".join(w for w in (x.instrument, step, warm, x.note) if w)))
    columns = (("reading", ""), ("on", ""), ("values", "wide"), ("instrument and remarks", ""))
    return [Heading("Readings as taken"), Table(columns, rows)] if rows else []


def _figures(t: Told) -> list[Block]:
    words = t.knowledge.vocabulary.readings
    figures = sorted((x for x in t.case.measured if words[x.what].section), key=lambda x: (x.what, x.position, x.id))
    told = "; ".join(
        f"{x.what}{t.at(x.position) if x.position != 'machine' else ''} {x.readings[0].written}" for x in figures
    )
    return [Paragraph([Strong("Figures of the case: "), told + "."], "small")] if told else []


def parts(t: Told) -> list[Block]:
    rows: list[Sequence[Line]] = []
    for p in t.case.parts:
        marks = sum(o.part == p.item and o.state == "present" for o in t.case.observations)
        rows.append(
            (
                p.item,
                p.name,
                p.tag,
                _kind(t, p),
                index_mark(p) or "no index mark of its own",
                ", ".join(p.touches),
                str(marks or ""),
            )
        )
    columns = (
        ("item", "narrow"),
        ("part", ""),
        ("tag", "narrow"),
        ("kind", ""),
        ("index and view", ""),
        ("touches", ""),
        ("marks", "number"),
    )
    return [Table(columns, rows)] if rows else []


def _kind(t: Told, p: Part) -> str:
    carries = {"nose": "carries the nose", "wide": "the wider face"}.get(p.carries, "")
    return ", ".join(x for x in (p.kind, p.group, carries, t.place(p.position)) if x)


def record(t: Told) -> list[Block]:
    """What was seen and measured, part by part; leak, sounds and history stand with the history."""
    seen, taken = _observed(t, "present"), _taken(t)
    on = {(t.order.get(x.part, -1), t.on(x)) for x in seen} | {(t.order.get(x.part, -1), t.on(x)) for x in taken}
    rows: list[Sequence[Line]] = []
    for place, name in sorted(on):
        marks = [p for o in seen if (t.order.get(o.part, -1), t.on(o)) == (place, name) for p in _mark(o)]
        read = [f"{x.what} {_written(x)}" for x in taken if (t.order.get(x.part, -1), t.on(x)) == (place, name)]
        rows.append((name, marks[1:], "; ".join(read)))
    blocks: list[Block] = [Table((("on", ""), ("seen", "wide"), ("measured", "wide")), rows)] if rows else []
    clean = dict.fromkeys(t.on(o) for o in _observed(t, "absent") if (t.order.get(o.part, -1), t.on(o)) not in on)
    if clean:
        blocks.append(
            Paragraph([Strong("Looked at, and what was looked for was not there: "), "; ".join(clean) + "."], "small")
        )
    remarks = [_remark(t, r) for r in t.case.remarks if r.note]
    if remarks:
        blocks += [Heading("Remarks"), Items(remarks)]
    return blocks


def absent(t: Told) -> list[Block]:
    """What was looked for and was not there, part by part."""
    told = _observed(t, "absent")
    rows: list[Sequence[Line]] = [
        (on, "; ".join(o.feature + (f" ({o.note})" if o.note else "") for o in told if t.on(o) == on))
        for on in dict.fromkeys(map(t.on, told))
    ]
    return [Table((("on", ""), ("looked for and not there", "wide")), rows)] if rows else []


def _observed(t: Told, state: str) -> list[Observation]:
    told = [o for o in t.case.observations if o.kind not in TOLD_IN_HISTORY and o.state == state]
    return sorted(told, key=lambda o: (t.order.get(o.part, -1), t.on(o), o.feature, o.id))


def _remark(t: Told, r: Remark) -> str:
    part, told = t.case.part(r.part), ", ".join(x for x in (r.of, r.note) if x)
    return f"{part.name} ({part.item}): {told}" if part else told


def _mark(o: Observation) -> list[Piece]:
    more = " ".join(x for x in (o.degree, o.side, extent_text(o.extent)) if x)
    told = "; ".join(x for x in (o.note, f"photo {o.photo}" if o.photo else "") if x)
    return ["; ", Strong(o.feature), f" {more}" if more else "", Soft(f" ({told})") if told else ""]


OVER = "The clock fits where the part lies in the middle, seen square on, its index up."


def photos(t: Told) -> list[Block]:
    """Each photo once, with what it shows and its digest; a missing or changed one is said to be so."""
    blocks: list[Block] = []
    records: tuple[Observation | Remark, ...] = (*t.case.observations, *t.case.remarks)
    for path in sorted({x.photo for x in records if x.photo}):
        photo = t.photos.get(path, Photo(None, problem="this photo was not read"))
        on = sorted(
            (o for o in t.case.observations if o.photo == path),
            key=lambda o: (t.order.get(o.part, -1), o.feature, o.id),
        )
        remarks = [r for r in t.case.remarks if r.photo == path]
        told = [describe(o, t.case) + (f" ({o.note})" if o.note else "") for o in on] + [_remark(t, r) for r in remarks]
        about = "; ".join(x for x in told if x) or "as found"
        named: list[Observation | Remark] = [*on, *remarks]
        then = next(
            (x.photo_digest for x in named if x.photo_digest and photo.digest and x.photo_digest != photo.digest), ""
        )
        digest = Soft(f" sha256 {photo.digest}" if photo.digest else "")
        changed = Strong(f" This is not the file that was recorded, whose sha256 was {then}." if then else "")
        if photo.data is None:
            blocks.append(Paragraph([Strong(f"{path}: "), f"{photo.problem}. {about}.", digest, changed], "warning"))
        else:
            arcs = [a for o in on for a in o.extent.arcs]
            over = clock_over(arcs) if arcs else None
            clock = Soft(f" {OVER}") if over else ""
            blocks.append(Picture(photo.data, photo.kind, [Strong(path), f": {about}.", clock, digest, changed], over))
    return blocks
