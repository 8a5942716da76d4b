"""The main answer on a page for the terminal: what happened, why, by which chain, and what to look at next."""

from __future__ import annotations

from collections.abc import Sequence

from diagnose.advice.actions import actions
from diagnose.advice.cautions import called_for
from diagnose.advice.plan import Plan
from diagnose.casefile.wording import describe, describe_reading, describe_statements
from diagnose.inference.facts import holds_at, mark_relations
from diagnose.inference.run import Inference
from diagnose.judgement.chains import NAMED, SURE_ENOUGH, Chain, Link, chains, leaders
from diagnose.judgement.judge import Judged, Judgement, Weighed
from diagnose.judgement.weights import Group
from diagnose.knowledge.model import Caution
from diagnose.quantities.clock import NO_PLACE
from diagnose.quantities.limits import hangs_on_datum
from diagnose.reading.figures import count, listed, percent, signed
from diagnose.views import at_odds, next_steps
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
from diagnose.views.page import Page

MOST_REASONS = 3
"""On each side of the first cause; those after it, and of two seals, get fewer."""
MOST_BESIDE, MOST_HAPPENED, MOST_ODDS = 3, 4, 2
LEAST_MOVED = 0.5
"""dB by which what was not weighed could move an answer, from which it is told."""
OVERLAP = "Groups overlap: what one has said, another need not say again, so they do not add up."


def reads(inference: Inference, finding: str) -> str:
    return inference.base.knowledge.findings[finding].reads


def records_text(inference: Inference, ids: Sequence[str]) -> list[str]:
    """The records behind ids as short lines, in record order."""
    case, vocabulary = inference.case, inference.base.knowledge.vocabulary
    lines = [describe(o, case) for o in case.observations if o.id in ids]
    lines += [describe_reading(x, vocabulary.readings[x.what].unit) for x in case.measured if x.id in ids]
    lines += [f"{s.setting}: {'' if s.holds else 'not '}{s.term}" for s in case.settings if s.id in ids]
    lines += describe_statements(case, ids)
    return lines


def basis(inference: Inference, finding: str, position: str) -> str:
    """What a finding rests on, in one line."""
    return "; ".join(records_text(inference, sorted(inference.leaves_of_finding(finding, position))))


def open_points(inference: Inference, position: str) -> list[str]:
    """What is on record and yet cannot be used, with the reason."""
    case, base = inference.case, inference.base
    relations = [q for q in mark_relations(case, base.knowledge, base.rules) if q.problem and q.position == position]
    points = [f"how {' and '.join(name for name, *_ in q.inputs)} stand to each other on the clock: {q.problem}"
              for q in relations if q.problem != NO_PLACE]  # fmt: skip
    for q in inference.quantities:
        limits = [limit.name for limit in base.knowledge.limits_on.get(q.name, ()) if hangs_on_datum(q, limit)]
        if limits and holds_at(q.position, position):
            points.append(
                f"whether {q.name} keeps the limit {' and '.join(limits)}: {q.datum} says neither g (gauge) nor a (absolute)"
            )
    return points


def cautions(inference: Inference, judgements: Sequence[Judgement]) -> list[Caution]:
    """Those of the case, of its leading causes and mechanisms and of what is advised against them."""
    likely = [j for x in judgements for j in leading(x, False) if j.standing != "unlikely"]
    likely += [j for x in judgements for j in happened(x)]
    named = [name for j in likely for name in j.card.cautions]
    return called_for(inference, [*named, *(name for a in actions(judgements) for name in a.cautions)])


def leading(judgement: Judgement, everything: bool, least: int = 3) -> list[Judged]:
    """The causes worth showing: everything possible or better, and at least a few."""
    if everything:
        return list(judgement.causes)
    good = [j for j in judgement.causes if j.standing in NAMED]
    rest = [j for j in judgement.causes if j.standing == "unlikely"]
    ruled = [j for j in judgement.causes if j.standing == "ruled out" and j.weight > 3]
    return [*good, *rest[: max(0, least - len(good))], *ruled[:3]]


def happened(x: Judgement) -> list[Judged]:
    """The mechanisms probable or better, those that bring others about first; else the one that leads, if possible."""
    sure = [j for j in x.mechanisms if j.standing in SURE_ENOUGH]
    order = x.net.mechanism
    return sorted(sure, key=lambda j: order[j.name]) or [j for j in x.mechanisms[:1] if j.standing in NAMED]


def page(
    inference: Inference, judgements: Sequence[Judgement], plan: Plan | None, everything: bool, page: Page
) -> Page:
    case, knowledge = inference.case, inference.base.knowledge
    page.ends(case.name, "invented case" if case.invented else "", bold=True)
    odds = at_odds.by_place(inference.at_odds, case, knowledge)
    for place, x in enumerate(judgements):
        _answer(inference, x, judgements[:place], everything, page)
        _at_odds(odds.get(x.position, ()), everything, page)
    if odds.get("") and len(case.positions) > 1:
        page.heading("Both seals and the machine")
    _at_odds(odds.get("", ()), everything, page)
    if plan:
        next_steps.short_steps(inference, plan, page)
    called = cautions(inference, judgements)
    raised = [c for c in called if c.name in inference.cautions and not c.always]
    if everything:
        next_steps.take_care(called, page)
    else:
        next_steps.take_care_in_short(called, raised, page)
    beware = called if everything else raised
    explained = [x for x in judgements if not nothing_to_explain(inference, x)]
    next_steps.short_actions(actions(explained), beware, len(judgements) > 1, everything, page)
    if everything:
        for j in (j for x in judgements for j in (*x.causes, *x.mechanisms) if j.standing in NAMED):
            _ledger(inference, j, page)
    if everything and case.not_understood:
        page.heading("Said, not understood, so it took no part")
        for text in case.not_understood:
            page.say(text, indent=2, hang=2)
    page.line()
    if case.not_understood and not everything:
        page.say(f"{at_odds.not_understood(case)} (--all shows them)")
    if not everything:
        page.line(page.dim("--all adds the ledgers with every record, all causes, cautions and changes"))
    page.line(page.dim(f"rule base {knowledge.version} ({knowledge.digest[:12]}), case {case.digest[:12]}"))
    return page


def _at_odds(told: Sequence[str], everything: bool, page: Page) -> None:
    for text in told if everything else told[:MOST_ODDS]:
        page.say(text, indent=2, lead=f"{'at odds':<12} ", hang=15)
    if len(told) > MOST_ODDS and not everything:
        page.say(f"and {len(told) - MOST_ODDS} more like it (--all)", indent=15)


def _answer(inference: Inference, x: Judgement, earlier: Sequence[Judgement], everything: bool, page: Page) -> None:
    """The conclusion at one position: what happened, why, and by which chain."""
    several = len(inference.case.positions) > 1
    if several:
        page.heading(f"{x.position.capitalize()} seal")
    else:
        page.line()
    none = nothing_to_explain(inference, x)
    if first := none or sound_but(x) or undamaged(inference, x) or not_looked_at(inference, x):
        page.say(first, indent=2)
    if not_looked_at(inference, x) and not leaders(x) and not everything:
        return
    if everything or not none:
        _conclusion(inference, x, earlier, everything, page)
    if x.unexplained:
        page.say("; ".join(x.unexplained), indent=2, lead=f"{'unexplained':<12} ", hang=15)
    if told := left_out_told(x, everything):
        page.say(told, indent=2, lead=f"{'not weighed':<12} ", hang=15)
    points = open_points(inference, x.position)
    for point in points if everything else points[:2]:
        page.say(point, indent=2, lead=f"{'not known':<12} ", hang=15)
    if len(points) > 2 and not everything:
        page.say(f"and {len(points) - 2} more like it (--all)", indent=15)


def _conclusion(inference: Inference, x: Judgement, earlier: Sequence[Judgement], everything: bool, page: Page) -> None:
    """What happened, why, and by which chain."""
    _happened(x, everything, page)
    position, same = told_before(x, earlier)
    if position and not everything:
        page.line(page.bold("  Why"))
        for j in same:
            page.ends(f"    {j.standing:<12} {j.name}, as at the {position} seal", percent(j.probability))
    else:
        _why(inference, x, everything, page)
        for chain in chains(x) if everything else chains(x)[:1]:
            _chain(chain, everything, page)


def left_out_told(x: Judgement, whole: bool = True) -> str:
    """How many findings were not weighed and how far they could move what leads; empty where that is hardly at all."""
    leads = [*leaders(x), *happened(x)]
    moved = {j.name: x.unweighed(j.name) for j in leads}
    most = max(moved, key=lambda name: (round(abs(moved[name]), 9), name), default="")
    if not x.left_out or not most or abs(moved[most]) < LEAST_MOVED:
        return ""
    counted = f"{count(len(x.left_out), 'finding')} that tell least"
    if not whole:
        return f"{counted}, {abs(moved[most]):.1f} dB added up (--all says more)"
    return (
        f"{counted}: the record is too long to weigh all at once. Each by itself and added up, they speak {'for' if moved[most] > 0 else 'against'} "
        f"{most} by {abs(moved[most]):.1f} dB (10 dB: odds of ten to one), and less for or against the rest of what leads; the figure of "
        f"{most} is that much less sure."
    )


def _happened(x: Judgement, everything: bool, page: Page) -> None:
    told = happened(x)
    if not told:
        page.say("No mechanism stands out on this record.", indent=2, lead=page.bold("What happened") + "  ", hang=17)
        return
    page.line(page.bold("  What happened"))
    page.say(happened_text(told, 99 if everything else MOST_HAPPENED), indent=4)


def happened_text(told: Sequence[Judged], most: int) -> str:
    """Mechanisms by standing, at most so many with leak paths left to the last; the others are counted."""
    kept = sorted(told, key=lambda j: (NAMED.index(j.standing), j.ends_chain))[:most]
    by_standing = [(word, [j.name for j in told if j.standing == word and j in kept]) for word in NAMED]
    text = "; ".join(f"{word}: {listed(names)}" for word, names in by_standing if names)
    return text + (f"; and {len(told) - most} more" if len(told) > most else "")


def _why(inference: Inference, x: Judgement, everything: bool, page: Page) -> None:
    several = len(inference.case.positions) > 1
    page.line(page.bold("  Why"))
    best = leaders(x)
    if not best:
        page.say(not_named(x), indent=4)
    own = of_their_own(best)
    for place, j in enumerate(own):
        _leader(inference, j, MOST_REASONS if everything else max(0, MOST_REASONS - place - several), page)
    shown = leading(x, everything)
    rest = [j for j in shown if j not in own and j.standing != "ruled out"]
    if not everything and (undamaged(inference, x) or any(j.standing in SURE_ENOUGH for j in own)):
        rest = [j for j in rest if j.standing in NAMED]
    rest.sort(key=lambda j: j not in x.also_told)
    beside = rest if everything else rest[: max(MOST_BESIDE, len(x.also_told))]
    for j in beside:
        same = ", by the same evidence" if j in best else ""
        page.ends(f"    {j.standing:<12} {j.name}{same}", percent(j.probability))
    page.ends(f"    {'':<12} none of these causes{order_told([*own, *beside])}", percent(x.none_of_these))
    if open_ := why_is_open(x):
        page.say(open_, indent=4)
    out = [j for j in shown if j.standing == "ruled out"]
    for j in out if everything else []:
        page.say("; ".join(j.because), indent=4, lead=f"{'ruled out':<12} {j.name}: ", hang=17)
    if out and not everything:
        page.say(", ".join(j.name for j in out), indent=4, lead=f"{'ruled out':<12} ", hang=17)


def order_told(shown: Sequence[Judged]) -> str:
    """Why a cause stands before a likelier one; empty where none does."""
    chances = [j.probability for j in shown]
    return "" if chances == sorted(chances, reverse=True) else "; in order of what the record tells of"


def _leader(inference: Inference, j: Judged, most: int, page: Page) -> None:
    """A cause of the leading explanation with at most so many reasons on each side; its meaning where there is room."""
    both = shared(j, len(inference.case.positions) > 1)
    left = f"    {j.standing.upper():<12} {j.name}{' (both seals)' if both else ''}"
    page.ends(left, percent(j.probability), bold=True)
    if most == MOST_REASONS:
        page.say(f"{j.card.means} {both}", indent=17)
    speaking = [e for e in j.evidence if e.state != "unrecorded" and not e.through]
    sides = (("for", [e for e in speaking if e.weight >= 0.5]), ("against", [e for e in speaking if e.weight <= -0.5]))
    for label, chosen in sides:
        if chosen and most:
            told = "; ".join(f"{_state(e)}{' (on trial)' if _on_trial(e, j) else ''}" for e in chosen[:most])
            more = f"; and {len(chosen) - most} more" if len(chosen) > most else ""
            page.say(told + more, indent=17, lead=f"{label}: ", hang=17)


def _chain(chain: Chain, everything: bool, page: Page) -> None:
    """The main path, then what carries each link, and which link nothing on record shows yet."""
    if len(chain.links) < 2:
        return
    page.line(page.bold("  Chain"))
    page.say(" > ".join(chain.main), indent=4, hang=6)
    if chain.branches:
        told = "; ".join(f"{' > '.join(names)} (from {off})" for off, *names in chain.branches)
        page.say(told, indent=4, lead="and ", hang=6)
    for name in chain.main if not everything else chain.by_name:
        link = chain.by_name[name]
        if link.judged.kind == "mechanism":
            page.say(_carried(link, 2 if everything else 1), indent=6, hang=8)


def _carried(link: Link, most: int) -> str:
    if link.shown:
        more = f" and {len(link.shown) - most} more" if len(link.shown) > most else ""
        missing = f"; expected and not there: {link.missing[0].finding}" if link.missing else ""
        return f"{link.name}: shown by {', '.join(m.finding for m in link.shown[:most])}{more}{missing}"
    look = f"; look for {link.open[0].finding}" if link.open else ""
    return f"{link.name}: nothing on record shows it yet{look}"


def _state(e: Weighed) -> str:
    return e.finding if e.state == "present" else f"{e.finding}: looked for, not so"


def _on_trial(e: Weighed, j: Judged) -> bool:
    return "trial" in (j.at.knowledge.findings[e.finding].status, j.card.status)


def _ledger(inference: Inference, j: Judged, page: Page) -> None:
    """Of a cause what whole groups weigh with their marks beneath; of a mechanism its marks."""
    where = f", {j.position} seal" if len(inference.case.positions) > 1 else ""
    page.heading(f"Ledger: {j.name}{where}")
    rows: list[tuple[str, ...]] = [("dB", "alone", "finding, and what it rests on")]
    if j.kind == "cause":
        for group in j.at.weights.groups(j.name):
            rows += _group_rows(inference, j, group)
    else:
        counted = [e for e in j.evidence if e.state != "unrecorded" and not e.through and abs(e.weight) >= 0.5]
        rows += [("", signed(e.weight), _told(inference, e.finding, e.state == "present", j)) for e in counted]
    page.table(rows, [6, 6, 0])
    whole = f"the whole record weighs {signed(j.weight)} dB; from {percent(j.prior, 1)} to {percent(j.probability, 1)}."
    page.say(f"{whole} {OVERLAP if j.kind == 'cause' else ''}", indent=2)
    if j.card.class_14224:
        page.say(f"ISO 14224: {j.card.class_14224} (known from: {j.card.class_from})", indent=2, hang=4)
    open_ = sorted(
        (e for e in j.evidence if e.state == "unrecorded"), key=lambda e: -max(abs(e.if_present), abs(e.if_absent))
    )
    if open_:
        told = "; ".join(f"{e.finding} ({signed(e.if_present)} / {signed(e.if_absent)})" for e in open_[:6])
        more = f"; and {len(open_) - 6} more" if len(open_) > 6 else ""
        page.say(told + more, indent=2, lead="not yet looked at (there / not there): ", hang=4)


def _group_rows(inference: Inference, j: Judged, group: Group) -> list[tuple[str, ...]]:
    named = group.mechanism or "direct signs, and what no mechanism explains"
    note = " (any one of these would do)" if group.any_suffices else ""
    rows: list[tuple[str, ...]] = [(signed(group.weight), "", f"{named}{note}")]
    states = j.at.counted
    for finding, weight in sorted(group.alone.items(), key=lambda x: (-abs(x[1]), x[0])):
        rows.append(("", signed(weight), _told(inference, finding, states[finding], j)))
    return rows


def _told(inference: Inference, finding: str, there: bool, j: Judged) -> str:
    state = "" if there else ", looked for and not there"
    return f"{finding}{state}: {basis(inference, finding, j.position)}"
