"""Page one: what failed and why, how sure, what to change, and the cautions that this record raised."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from diagnose.advice.actions import Advice
from diagnose.advice.cautions import ABOVE_ALL
from diagnose.advice.plan import foremost
from diagnose.casefile.format import FAILED, SOUND
from diagnose.inference.engine import finding_id
from diagnose.judgement.chains import chain, leaders
from diagnose.judgement.judge import Judged, Judgement, Weighed
from diagnose.reading.figures import count, percent
from diagnose.trail.graph import cause_id
from diagnose.views import at_odds
from diagnose.views.drawings import charts
from diagnose.views.explanation import happened, happened_text
from diagnose.views.leading import (
    not_looked_at,
    not_named,
    nothing_to_explain,
    of_their_own,
    shared,
    sound_but,
    told_before,
    undamaged,
    why_is_open,
)
from diagnose.views.next_steps import MOST_STEPS
from diagnose.views.report.blocks import Answer, Form, Leader, Line, Piece, Proof, Soft, Strong, pieces
from diagnose.views.report.told import Told

LEAST_TOLD = 0.5
"""dB; lighter findings are left to the ledger."""
ROOMS = ((5, 4, True), (4, 3, True), (3, 2, True), (3, 2, False), (2, 2, False), (2, 1, False), (1, 1, False))
"""Most reasons and changes told of a cause, and whether its chain is told, from roomy to tight; the first that fits the
page is used."""
MOST_CAUTIONS, MOST_HAPPENED, MOST_ODDS = 3, 6, 3
BRIEF_LINES, PAGE_LINES, DENSE_LINES, WIDE, HALF = 36, 57, 60, 120, 58
"""Lines of print on half of page one, on the page in usual and in smaller type, and characters on a line across the page and
across half of it; on the careful side."""
DENSE_SIZE = 0.9
"""Of smaller type, as the style has it."""
FORM_LINES, FORM_ROOM, MOST_TO_DO = 3, 63, 3
"""Lines of print that the form takes beside those for its actions, up to how many lines in all a page with a form holds, and the
most actions on it."""


def page_one(t: Told) -> tuple[list[Answer], list[Line], list[Line], str, Form | None]:
    """Answers, doubts and cautions, told as fully as one page has room for, the type that it takes, and where there is room the
    form to fill in."""
    named, doubted, care = facts(t), doubts(t), cautions(t)
    for room in ROOMS:
        answers = [_answer(t, x, t.judgements[:i], *room) for i, x in enumerate(t.judgements)]
        lines = _lines(t.case.name, named, answers, [*doubted, *care])
        if lines <= DENSE_LINES:
            break
    to_do = [a.do for a in t.advice][:MOST_TO_DO]
    to_do += [""] * (2 - len(to_do))
    printed = lines * DENSE_SIZE if lines > PAGE_LINES else lines
    filled = printed + FORM_LINES + 2.4 * len(to_do)
    type_ = "dense" if lines > PAGE_LINES else "brief" if filled <= BRIEF_LINES else ""
    return answers, doubted, care, type_, Form(to_do) if filled <= FORM_ROOM else None


def _lines(title: str, named: Sequence[tuple[str, str]], answers: Sequence[Answer], care: Sequence[Line]) -> float:
    """About as many lines as page one takes."""

    def rows(lines: Iterable[Line], wide: int) -> int:
        return sum(-(-_length(x) // wide) for x in lines)

    total = (
        7.0
        + 2 * rows([title], 62)
        + sum(1 + max(rows([v], 30) for _, v in named[i : i + 4]) for i in range(0, len(named), 4))
    )
    for a in answers:
        total += (
            2.5
            + rows(a.also, WIDE)
            + (1.5 if a.also else 0)
            + rows([a.sure], WIDE)
            + rows([a.happened], WIDE)
            + rows([a.first], WIDE)
            + -(-sum(map(_length, a.beside)) // WIDE)
            + rows(a.odds, WIDE)
        )
        for x in a.leaders:
            why = rows(x.why, HALF) + (1.3 + rows(x.against, HALF) if x.against else 0)
            total += (
                2.9
                + rows([x.means], 80)
                + -(-sum(len(c) + 3 for c in x.chain) // WIDE)
                + max(why, rows(x.change, HALF))
            )
    return total + 2 + rows(care, 74)


def _length(line: Line) -> int:
    return sum(len(p if isinstance(p, str) else getattr(p, "text", "")) for p in pieces(line))


def facts(t: Told) -> list[tuple[str, str]]:
    """Machine, seal, service and run in a few words each."""
    texts = t.case.texts

    def listed(*words: str) -> str:
        return ", ".join(w for w in words if w)

    turns, seen = texts.get("equipment.rotation", ""), texts.get("equipment.seen from", "")
    starts = t.figure("starts").removesuffix(" starts")
    first, pressure = t.figure("time to first leak"), t.figure("chamber pressure")
    dates = [e.date for e in t.case.events if e.date]
    rows = [
        ("Machine", listed(texts.get("equipment.tag", ""), texts.get("equipment.description", "") or t.terms("machine"))),
        ("Shaft", listed(t.figure("shaft diameter"), t.figure("speed"), f"{turns} seen from the {seen}" if turns and seen else turns)),
        ("Seal", listed(t.terms("arrangement"), t.terms("design"), t.terms("cartridge"), t.terms("plan"))),
        ("Faces and rubber", listed(" against ".join(x for x in (t.terms("soft face"), t.terms("hard face")) if x), t.terms("elastomer"))),
        ("Service", listed(texts.get("service.fluid", "") or t.terms("service"), t.figure("temperature"),
                           f"{pressure} in the chamber" if pressure else "")),
        ("Run", listed(t.figure("running hours"), f"{starts} starts" if starts else "", f"first leak after {first}" if first else "")),
        ("Dates on record", f"{dates[0]} to {dates[-1]}" if len(dates) > 1 else "".join(dates)),
        ("Recorded until", t.case.stage),
    ]  # fmt: skip
    return [(name, value) for name, value in rows if value]


def asked(t: Told) -> list[tuple[str, str]]:
    """What every report has room for, "" where it is to be filled in by hand."""
    texts = t.case.texts
    return [
        ("Work order", texts.get("equipment.work order", "")), ("Seal serial", texts.get("seal.serial", "")),
        ("Earlier seals", _earlier(t)), ("Checked by, date", ""),
    ]  # fmt: skip


def _earlier(t: Told) -> str:
    """How many seals came before on this machine, and what came back."""
    seals = t.earlier.get("seals", ())
    failed = sum(s["removal"] == FAILED for s in seals)
    back = ", ".join(r["name"] for r in t.earlier.get("repeats", ()))
    return f"{failed} of {len(seals)} failed{f'; came back: {back}' if back else ''}" if seals else ""


def _answer(t: Told, x: Judgement, earlier: Sequence[Judgement], reasons: int, changes: int, chain: bool) -> Answer:
    best, unseen = leaders(x), nothing_to_explain(t.inference, x) or not_looked_at(t.inference, x)
    beside = [j for j in x.causes if j not in best and j.standing != "ruled out"][:3]
    lines: list[Line] = [
        [Strong(j.standing), f" {percent(j.probability)} ", Proof(j.name, cause_id(j.name, x.position))] for j in beside
    ]
    lines.append([f"{percent(x.none_of_these)} ", Soft("none of these causes")])
    position, _ = told_before(x, earlier)
    full = [] if unseen or position else of_their_own(best)[: 1 if t.several else None]
    also = [_brief(t, j, f", as at the {position} seal" if position else "") for j in best if j not in full]
    return Answer(
        t.place(x.position),
        unseen or sound_but(x) or undamaged(t.inference, x),
        "" if unseen else _happened(x),
        [_leader(t, x, j, reasons, changes, chain) for j in full],
        also,
        "" if unseen and not best else _how_sure(t, x, best),
        [] if unseen else lines,
        at_odds_at(t, x.position) if t.several else [],
        t.case.texts.get("history.removal") == SOUND,
    )


def _happened(x: Judgement) -> Line:
    told = happened(x)
    if not told:
        return "No mechanism stands out on this record."
    return happened_text(told, MOST_HAPPENED) + "."


def _brief(t: Told, j: Judged, where: str = "") -> Line:
    told: list[Piece] = [
        Strong(j.standing),
        f" {percent(j.probability)} ",
        Proof(j.name, cause_id(j.name, j.position)),
        where,
    ]
    heaviest = next(
        (e for e in j.evidence if e.state != "unrecorded" and not e.through and e.weight >= LEAST_TOLD), None
    )
    return [*told, ": ", *_reason(t, heaviest, j.position)] if heaviest and not where else told


def _how_sure(t: Told, x: Judgement, best: Sequence[Judged]) -> Line:
    words = t.knowledge.words
    if not best:
        return f"{not_named(x)} {why_is_open(x)}".strip()
    lines = "; ".join(f"{count(len(j.lines_for), 'finding')} for {j.name}" for j in best)
    told = [
        f"on records of their own {lines}. Established needs {percent(words.established)}, "
        f"{words.lines_needed} such findings and nothing decisive against."
    ]
    if x.unexplained:
        more = f"; and {len(x.unexplained) - 3} more" if len(x.unexplained) > 3 else ""
        told.append(f" Left unexplained: {'; '.join(x.unexplained[:3])}{more}.")
    return told


def _leader(t: Told, x: Judgement, j: Judged, reasons: int, changes: int, with_chain: bool) -> Leader:
    words = t.knowledge.words
    speaking = [e for e in j.evidence if e.state != "unrecorded" and not e.through]
    levels = ((words.possible, "possible"), (words.probable, "probable"), (words.established, "established"))
    shown = percent(j.probability)
    change = [action(t, a) for a in t.advice if (j.name, j.position) in {(y.name, y.position) for y in a.tied}][
        :changes
    ]
    return Leader(
        j.name, cause_id(j.name, j.position), j.standing, shown, charts.chance(j.probability, shown, levels),
        f"{j.card.means} {shared(j, t.several)}".rstrip(),
        chain(x, j.name).main if with_chain else (), [_reason(t, e, j.position) for e in speaking if e.weight >= LEAST_TOLD][:reasons],
        [_reason(t, e, j.position) for e in speaking if e.weight <= -LEAST_TOLD][: max(1, reasons - 2)], change,
    )  # fmt: skip


def action(t: Told, a: Advice) -> Line:
    care = ", ".join(c.name for c in t.raised if c.name in a.cautions)
    beware = f" Take care: {care}." if care else ""
    return [a.do, Soft(f" ({a.field}){beware}" + "".join(f" Worked if: {w}" for w in a.worked_if))]


def _reason(t: Told, e: Weighed, position: str) -> list[Piece]:
    return [Proof(t.sentences.of(e.finding, position), finding_id(e.finding, position))]


def at_odds_at(t: Told, position: str) -> list[Line]:
    """What on record of one seal, or "" of the whole, does not go together; the rest of it stands in the history."""
    told = at_odds.by_place(t.odds, t.case, t.knowledge).get(position, [])
    more = [Soft(f"and {len(told) - MOST_ODDS} more, under History")] if len(told) > MOST_ODDS else []
    return [*told[:MOST_ODDS], *more]


def doubts(t: Told) -> list[Line]:
    """What keeps the record as a whole from being taken as it stands."""
    unread = at_odds.not_understood(t.case)
    return [*at_odds_at(t, ""), *([f"{unread}; see History."] if unread else [])]


def cautions(t: Told) -> list[Line]:
    """Those that a rule raised from this record; all of them, with the standing ones, stand further down."""
    chosen = (t.raised or t.cautions)[:MOST_CAUTIONS]
    lines: list[Line] = [[Strong(c.name.capitalize() + ". "), c.says] for c in chosen]
    if chosen:
        left = [c.name for c in t.cautions if c not in chosen]
        more = f"In full under Cautions: {', '.join(left)}. " if left else ""
        lines.append(Soft(f"{more}{ABOVE_ALL}"))
    return lines


def still_open(t: Told) -> list[Line]:
    """What the answer at the terminal names first."""
    steps = foremost(t.plan.steps, MOST_STEPS)[:2]
    return [f"{s.name}{t.at_each(s.positions)} ({s.minutes:g} min)" for s in steps]
