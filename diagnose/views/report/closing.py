"""The later pages: history, reasoning graph, gaps and next steps, cautions, sources, and how to verify it all."""

from __future__ import annotations

from collections.abc import Sequence

from diagnose.advice.actions import CHANGE, REPAIR
from diagnose.advice.cautions import ABOVE_ALL
from diagnose.advice.plan import Plan, Step
from diagnose.casefile.format import FAILED
from diagnose.casefile.walk import lost_things
from diagnose.casefile.wording import describe, describe_act, describe_state
from diagnose.judgement.chains import leaders
from diagnose.judgement.judge import Judged
from diagnose.reading.figures import count
from diagnose.trail.graph import cause_id, proof
from diagnose.views import at_odds
from diagnose.views.drawings.markup import Drawing, Markup
from diagnose.views.graph_drawing import UPRIGHT, draw, for_paper
from diagnose.views.library import hours
from diagnose.views.next_steps import BIT, lost_why
from diagnose.views.report.bench import TOLD_IN_HISTORY
from diagnose.views.report.blocks import (
    Block,
    Figure,
    Graph,
    Heading,
    Items,
    Line,
    Paragraph,
    Piece,
    Soft,
    Strong,
    Table,
)
from diagnose.views.report.pictures import timeline
from diagnose.views.report.told import Told
from diagnose.views.stopping import says

MOST_LOST = 10


def history(t: Told) -> list[Block]:
    blocks: list[Block] = [Paragraph(t.case.about)] if t.case.about else []
    blocks += timeline(t.case.events)
    blocks += [
        Paragraph([Strong(f"{k.split('.')[0].capitalize()}: "), v])
        for k, v in t.case.texts.items()
        if k.endswith(".note") and v
    ]
    if went := t.terms("history"):
        blocks.append(Paragraph([Strong("Went through: "), went]))
    blocks += _earlier(t)
    asked = [o for o in t.case.observations if o.kind in TOLD_IN_HISTORY and o.looked_for]
    asked.sort(key=lambda o: (o.state != "present", o.kind, o.feature, o.id))
    if asked:
        blocks.append(Heading("Leak, sounds and what the log says"))
        seen = [describe(o, t.case) + (f" ({o.note})" if o.note else "") for o in asked if o.state == "present"]
        blocks += [Items(seen, role="two")] if seen else []
        absent = [o.feature + (f" ({o.note})" if o.note else "") for o in asked if o.state == "absent"]
        blocks += [Paragraph([Strong("Asked for, and not so: "), "; ".join(absent) + "."], "small")] if absent else []
    return [*blocks, *_statements(t)]


def _earlier(t: Told) -> list[Block]:
    """The seals before this one on the same machine, as the library has them, and what came back."""
    if not t.earlier.get("seals"):
        return []
    rows: list[Sequence[Line]] = []
    for s in t.earlier["seals"]:
        why = "; ".join(x for x in (s["cause"], s["mechanism"]) if x) or "not known"
        sure = f"confirmed by {s['confirmed']}" if s["confirmed"] else "as the tool said, not confirmed"
        told: Line = [why, Soft(f" {sure}")] if s["removal"] == FAILED else "did not fail"
        place = "" if s["position"] == "seal" else s["position"]
        dates = " to ".join(x for x in (s["fitted"], s["removed"]) if x)
        rows.append(
            (dates, place, hours(s["hours"]) if s["hours"] is not None else "", told, "; ".join(s["changed before"]))
        )
    columns = (
        ("fitted to removed", ""),
        ("seal", ""),
        ("lived", "number"),
        ("why it failed", "wide"),
        ("changed before", ""),
    )
    back: list[Line] = [f"{r['name']}: {count(len(r['files']), 'case')}" for r in t.earlier["repeats"]]
    again: list[Block] = [Paragraph([Strong("Came back: "), "; ".join(map(str, back)) + "."])] if back else []
    return [Heading(f"Earlier seals of {t.earlier['machine']} in this library"), Table(columns, rows), *again]


def _statements(t: Told) -> list[Block]:
    """How things stood and what was done, in words; what was said and nobody could place."""
    blocks: list[Block] = []
    stood = [(describe_state(s), s.said or s.note) for s in t.case.states]
    done = [(describe_act(a), a.said or a.note) for a in t.case.acts]
    for title, told in (("How things stood", stood), ("What was done", done)):
        if told:
            blocks += [
                Heading(title),
                Items([text + (f" ({said})" if said else "") for text, said in sorted(told)], role="two"),
            ]
    if t.case.not_understood:
        blocks += [Heading("Said, not understood, so it took no part"), Items(list(t.case.not_understood))]
    if t.odds:
        blocks += [Heading("At odds"), Items([at_odds.told(odd, t.case, t.knowledge) for odd in t.odds])]
    return blocks


def reasoning(t: Told) -> list[Block]:
    picture = draw(t.graph)
    causes = [t.graph.nodes[n]["text"] for n in picture.boxes if t.graph.nodes[n]["type"] == "cause"]
    if not causes:
        return []
    says = f"Reasoning graph of {len(picture.boxes)} records, quantities, rules and findings that lead to {', '.join(causes)}"
    caption = (
        "From what was recorded (left) through rules and findings to the causes (right). On screen, choose a box by mouse, or "
        "with Tab and Enter, to light all that it rests on; the arrow keys follow the lines, Escape puts the light out."
    )
    told = [j for x, shown in t.shown for j in leaders(x) or shown[:1]]
    proofs = sorted((_proof(t, j) for j in told), key=lambda f: f.role)
    return [Graph(Drawing(Markup(picture.svg), says), caption, proofs)]


def _proof(t: Told, j: Judged) -> Figure:
    """What one cause rests on, for paper, where nothing can be lit: upright, or across a page of its own."""
    picture = for_paper(proof(t.graph, cause_id(j.name, j.position)))
    title = f"What {j.name}{t.at(j.position)} rests on"
    return Figure(Drawing(Markup(picture.svg), title), Strong(title), role="across" if picture.width > UPRIGHT else "")


def changes(t: Told) -> list[Block]:
    """Every action of the leading explanation: changes, then repairs, each with what it is for."""
    blocks: list[Block] = []
    for kind, title in ((CHANGE, "Changes"), (REPAIR, "Repairs")):
        rows: list[Sequence[Line]] = []
        for a in (a for a in t.advice if a.kind == kind):
            places = {name: [x.position for x in a.tied if x.name == name] for name in a.names}
            causes = "; ".join(name + t.at_each(at) for name, at in places.items())
            care = ", ".join(c.name for c in t.cautions if c.name in a.cautions)
            more = "".join(f" Worked if: {w}" for w in a.worked_if) + (f" Take care: {care}." if care else "")
            rows.append((a.field, [a.do, Soft(more)] if more else a.do, causes, "", ""))
        columns = (("field", "narrow"), ("what to do", "wide"), ("against", ""), ("owner", "fill"), ("due", "fill"))
        blocks += [Heading(title), Table(columns, rows)] if rows else []
    return blocks


def gaps(t: Told) -> list[Block]:
    blocks: list[Block] = []
    if whole := lost_things(t.case):
        blocks += [Heading("Lost as a whole"), Items([f"{what}: {why}" for what, why in whole])]
    for state, title in (("not looked at", "Recorded as not looked at"), ("lost", "Lost before it could be looked at")):
        told = sorted(
            (o for o in t.case.observations if o.state == state),
            key=lambda o: (t.order.get(o.part, -1), o.feature, o.id),
        )
        if told:
            blocks += [
                Heading(title),
                Items([f"{o.feature}, {t.on(o)}" + (f": {o.note}" if o.note else "") for o in told]),
            ]
    recorded = {o.part for o in t.case.observations} | {x.part for x in t.case.measured}
    bare = [f"{p.name} ({p.item})" for p in t.case.parts if p.item not in recorded]
    if bare:
        blocks += [Heading("Parts with nothing on record"), Paragraph(", ".join(bare) + ".")]
    blocks += _planned(t, t.plan)
    first: dict[tuple[str, str], list[str]] = {}
    for _, causes in t.shown:
        for j in causes[:1]:
            if j.card.confirm:
                first.setdefault((j.name, ", ".join(j.card.confirm)), []).append(j.position)
    for (name, confirm), at in first.items():
        blocks.append(Paragraph([Strong(f"To confirm {name}{t.at_each(at)}: "), confirm + "."]))
    return blocks


def _planned(t: Told, plan: Plan) -> list[Block]:
    blocks: list[Block] = []
    if plan.lost:
        gone: dict[tuple[str, str], list[str]] = {}
        for x in sorted(plan.lost, key=lambda x: (-round(x.bits, 9), x.finding, x.position)):
            gone.setdefault((x.finding, lost_why(x)), []).append(x.position)
        lines: list[Line] = [f"{name}{t.at_each(at)}: {why}" for (name, why), at in list(gone.items())[:MOST_LOST]]
        lines += [Soft(f"{len(gone) - MOST_LOST} more, which would have told less")] if len(gone) > MOST_LOST else []
        blocks += [Heading("Can no longer be decided"), Items(lines, role="two")]
    blocks.append(Heading("What to look at next, in this order"))
    if plan.steps:
        columns = (("", "narrow"), ("work", "wide"), ("decides", ""), ("minutes", "number"), ("tells, bit", "number"))
        blocks.append(Table(columns, [_step(t, i, s) for i, s in enumerate(plan.steps, 1)]))
    return [*blocks, Paragraph(f"{BIT if plan.steps else ''} {says(plan.stop)}".strip(), "small")]


def _step(t: Told, number: int, s: Step) -> Sequence[Line]:
    card = t.knowledge.measurements.get(s.measurement)
    told: list[Piece] = [Strong(s.name), t.at_each(s.positions)]
    if card:
        last = f"; last possible {card.stage}" if card.stage in t.knowledge.vocabulary.stages else ""
        told += [f": {card.how}", Soft(f" {card.instrument}{last}.")]
    if s.when != "any time":
        told.append(Soft(f" Comes {s.when}."))
    return (str(number), told, "; ".join(s.findings[:3]), f"{s.minutes:g}", f"{s.bits:.2f}")


def cautions(t: Told) -> list[Block]:
    lines: list[Line] = []
    for c in t.cautions:
        raised = " Raised by this record." if c.name in t.inference.cautions and not c.always else ""
        lines.append(
            [Strong(f"{c.name.capitalize()}. "), f"{c.says} ", Soft(f"{c.defer}{raised} "), t.cite(*c.sources)]
        )
    return [Paragraph(ABOVE_ALL), Items(lines, role="cautions")] if lines else []


def sources(t: Told) -> list[Block]:
    """Those cited so far, and those of the leading causes, in the order of their numbers, and how far each was seen."""
    for _, causes in t.shown:
        for j in causes:
            t.cite(*j.card.sources)
    told: list[Line] = []
    for key, number in t.numbers.items():
        s = t.knowledge.sources[key]
        told.append(
            [
                Strong(f"{number} "),
                ", ".join(x for x in (s.title, s.year, s.section) if x),
                Soft(f" {s.kind}; {s.seen}"),
            ]
        )
    return [Items(told, role="two sources")] if told else []


def digests(t: Told) -> list[tuple[str, str]]:
    return [("case file", t.case.digest), ("rule base", t.knowledge.digest), ("tool", f"diagnose {t.version}")]


def verification(t: Told, appendix: Sequence[str]) -> list[Block]:
    """By what the report is checked, and what `appendix` holds, by title."""
    rows: list[Sequence[Line]] = [
        ("case file, sha256", t.case.digest), ("rule base, sha256 of all its files", t.knowledge.digest),
        *([("journal of the case", t.journal)] if t.journal else []),
        ("rule base, version", t.knowledge.version), ("tool, version", f"diagnose {t.version}"),
        *((f"photo {path}, sha256", photo.digest) for path, photo in t.photos.items() if photo.digest),
    ]  # fmt: skip
    again = (
        f"The same case file, photos, {'library, ' if t.earlier else ''}rule base and tool give this document byte for byte. To replay the reasoning and have every "
        "step compared: diagnose trail CASE -o TRAIL, then diagnose verify TRAIL. To see on which single record the answer "
        "hangs: diagnose fragile CASE."
    )
    limits = (
        "The probabilities follow from what was recorded and from the weights in the rule base, which are estimates of the trade. "
        "They replace neither the judgement of the person who has the parts in hand nor local codes and licensed practice."
    )
    apart = (
        f"The appendix has what an audit asks for: {'; '.join(x.lower() for x in appendix)}. It is in the HTML report, and printed with "
        "diagnose report CASE --appendix; diagnose trail CASE writes all of it for a program."
    )
    told: list[Block] = [Table((("what", ""), ("value", "wide")), rows), Paragraph(again)]
    return [*told, *([Paragraph(apart)] if appendix else []), Paragraph(limits, "note")]
