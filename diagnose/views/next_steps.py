"""The plan of work and the corrective actions, as JSON, on a page of their own and in the short form of the answer."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import groupby
from typing import Any

from diagnose.advice.actions import CHANGE, REPAIR, Advice
from diagnose.advice.cautions import ABOVE_ALL, called_for
from diagnose.advice.plan import ANY_TIME, LAST, NOW, Gone, Plan, Result, Step
from diagnose.advice.stopping import OPEN, SOUND
from diagnose.casefile.model import Part
from diagnose.casefile.walk import lost_things
from diagnose.casefile.wording import describe
from diagnose.inference.run import Inference
from diagnose.judgement.chains import leaders
from diagnose.judgement.judge import Judgement
from diagnose.knowledge.model import Caution, Knowledge, Limit
from diagnose.reading.figures import listed, percent
from diagnose.views.leading import not_named, nothing_to_explain
from diagnose.views.page import Page
from diagnose.views.stopping import says

MOST_ON_FIRST_SCREEN = 3
MOST_STEPS = 5
"""Of the plan on the page of the answer."""
MOST_IN_FULL = 5
MOST_LOST = 8
BIT = "A bit is what the answer to one even question tells: as likely yes as no."
HEADINGS = {
    NOW: "First, because the next step of dismantling or cleaning destroys it",
    ANY_TIME: "Then",
    LAST: "Last, because it destroys evidence itself",
}


# ---- plain data ------------------------------------------------------------------------------------------------------


def step_json(step: Step, knowledge: Knowledge) -> dict[str, Any]:
    card = knowledge.measurements.get(step.measurement)
    return {
        "measurement": step.measurement or None,
        "look_for": list(step.look.asks) if step.look else [],
        "question": step.look.question if step.look else None,
        "finding": step.finding,
        "findings": list(step.findings),
        "positions": list(step.positions),
        "part": step.part or None,
        "items": list(step.items),
        "minutes": step.minutes,
        "bits": round(step.bits, 6),
        "bits_per_minute": round(step.per_minute, 6),
        "when": step.when,
        "last_stage": step.stage or None,
        "why": why(step, knowledge),
        "parts": list(step.parts),
        "how": how(step, knowledge),
        "instrument": (card.instrument if card else "") or None,
        "at": (card.at if card else "") or None,
        "readings": (card.readings if card else "") or None,
        "limit": limit_json(knowledge.limits[card.limit], knowledge) if card and card.limit else None,
        "no_limit": (card.no_limit if card else "") or None,
        "destroys": [d for d in card.destroys if d != "nothing"] if card else [],
        "destructive": bool(card and card.destructive),
        "cautions": list(card.cautions) if card else [],
        "sources": [knowledge.sources[key].title for key in card.sources] if card else [],
        "cannot_tell": round(step.cannot_tell, 6),
        "results": [result_json(r) for r in step.results],
    }


def result_json(result: Result) -> dict[str, Any]:
    return {
        "finding": result.finding,
        "position": result.position,
        "there": result.there,
        "chance": round(result.chance, 6),
        "leading": {"from": list(result.before), "to": list(result.after)},
        "causes": [{"cause": s.cause, "from": round(s.before, 6), "to": round(s.after, 6)} for s in result.shifts],
    }


def limit_json(limit: Limit, knowledge: Knowledge) -> dict[str, Any]:
    return {
        "limit": limit.name,
        "quantity": limit.quantity,
        "sense": limit.sense,
        "values": [
            {"value": v.written, "source": knowledge.sources[v.source].title, "note": v.note or None}
            for v in limit.values
        ],
    }


def action_json(advice: Advice) -> dict[str, Any]:
    return {
        "do": advice.do,
        "field": advice.field,
        "worked_if": list(advice.worked_if),
        "cautions": list(advice.cautions),
        "kind": advice.kind,
        "for": [{"name": t.name, "position": t.position, "standing": t.standing} for t in advice.tied],
    }


def plan_json(plan: Plan, knowledge: Knowledge) -> dict[str, Any]:
    """What both answers share: the steps, what is lost, and the stopping line."""
    change = plan.stop.change
    return {
        "next": [step_json(s, knowledge) for s in plan.steps],
        "lost": [
            {"finding": g.finding, "position": g.position, "why": g.why, "bits": round(g.bits, 6)} for g in plan.lost
        ],
        "stop": {
            "state": plan.stop.state,
            "says": says(plan.stop),
            "works": plan.stop.works,
            "findings": plan.stop.findings,
            "reckoned": plan.stop.reckoned,
            "work": plan.stop.work or None,
            "stands": list(plan.stop.stands),
            "change": {
                "position": change.position,
                "name": change.name,
                "from": change.before,
                "to": change.after,
                "chance": round(change.chance, 6),
            }
            if change
            else None,
        },
        "for_the_record": [step_json(s, knowledge) for s in plan.record],
    }


def document(
    inference: Inference, judgements: Sequence[Judgement], plan: Plan, budget: float | None
) -> dict[str, Any]:  # fmt: skip
    """The plan as plain data; the schema is diagnose/views/next_steps.schema.json. Minutes and bits."""
    case, knowledge = inference.case, inference.base.knowledge
    return {
        "case": {"name": case.name, "digest": case.digest, "invented": case.invented},
        "knowledge": {"version": knowledge.version, "digest": knowledge.digest},
        "stage": plan.stage or None,
        "budget": budget,
        "minutes": plan.minutes,
        "open_bits": round(plan.open_bits, 6),
        "leading": [
            {"position": x.position, "causes": [{"cause": j.name, "standing": j.standing, "probability": round(j.probability, 6)}
                                                for j in x.causes if j.name in x.explanation.causes]}
            for x in judgements
        ],
        **plan_json(plan, knowledge),
        "cautions": cautions_json(cautions(inference, plan)),
    }  # fmt: skip


def cautions(inference: Inference, plan: Plan) -> list[Caution]:
    """Those of the case and of the work on the plan."""
    cards = [inference.base.knowledge.measurements.get(step.measurement) for step in plan.steps]
    return called_for(inference, [name for card in cards if card for name in card.cautions])


def cautions_json(cautions: Iterable[Caution]) -> list[dict[str, str]]:
    return [{"caution": c.name, "says": c.says, "defer": c.defer} for c in cautions]


# ---- words -----------------------------------------------------------------------------------------------------------


def why(step: Step, knowledge: Knowledge) -> str:
    lead = "tells apart: " if len(step.parts) > 1 else "tells of "
    reasons = [f"{lead}{listed(step.parts)}"] if step.parts else []
    if step.when == NOW:
        reasons.append(f"possible only {step.stage}")
    if step.when == LAST:
        card = knowledge.measurements[step.measurement]
        reasons.append(f"destroys {listed([d for d in card.destroys if d != 'nothing']) or 'evidence'}")
    return "; ".join(reasons)


def how(step: Step, knowledge: Knowledge) -> str:
    if step.measurement:
        return knowledge.measurements[step.measurement].how
    features = knowledge.vocabulary.features
    asks = step.look.asks if step.look else ()
    told = " ".join(dict.fromkeys(features[a].how for a in asks if a in features and features[a].how))
    looked_at = step.look is not None and step.look.way == "look" and bool(step.look.part)
    return told or ("By eye." if looked_at else "Ask, or take it from the data sheet or the log.")


def minutes(value: float) -> str:
    return f"{60 * value:.0f} s" if 0 < value < 1 else f"{round(value, 1):g} min"


def _limit(step: Step, knowledge: Knowledge) -> str:
    card = knowledge.measurements.get(step.measurement)
    if card is None:
        return ""
    if not card.limit:
        return f"none: {card.no_limit}" if card.no_limit else ""
    limit = knowledge.limits[card.limit]
    values = "; ".join(
        f"{v.written} ({knowledge.sources[v.source].title}{', ' + v.note if v.note else ''})" for v in limit.values
    )
    return f"{limit.quantity} {limit.sense} {values}"


# ---- the page of the plan ----------------------------------------------------------------------------------------------


def page(
    inference: Inference,
    judgements: Sequence[Judgement],
    plan: Plan,
    budget: float | None,
    everything: bool,
    page: Page,
) -> Page:
    """What to do now in order, each with how and why, and what comes after it by name; with `everything` all of it in full."""
    case, knowledge = inference.case, inference.base.knowledge
    page.ends(case.name, "invented case" if case.invented else "", bold=True)
    for x in judgements:
        led = [f"{j.name} ({j.standing}, {percent(j.probability)})" for j in leaders(x)]
        which = f"{x.position} seal: " if len(case.positions) > 1 else ""
        page.say(
            f"{which}{' with '.join(led) or nothing_to_explain(inference, x) or not_named(x)}",
            indent=2,
            lead="leading ",
            hang=10,
        )
    alone = "; only the seal is at hand" if case.alone else ""
    page.say(f"{_stage(case.stage, plan.stage)}{alone}", indent=2, lead="stage   ", hang=10)
    within = f" of the {minutes(budget)} given" if budget is not None else ""
    told = sum(s.bits for s in plan.steps)
    work = "1 piece of work" if plan.count == 1 else f"{plan.count} pieces of work"
    if plan.stop.state != SOUND:
        page.say(f"{work}, {minutes(plan.minutes)}{within}; expected to tell {told:.2f} of the "
                 f"{plan.open_bits:.2f} bit by which the ranking is open", indent=2, lead="plan    ", hang=10)  # fmt: skip
    if plan.steps:
        page.say(BIT, indent=10)
    number, full = 0, len(plan.steps) if everything else MOST_IN_FULL
    for when, steps in groupby(plan.steps[:full], key=lambda s: s.when):
        page.heading(HEADINGS[when])
        for hand, same in groupby(steps, key=lambda s: _hand(s, inference)):
            page.line(page.bold(f"  {hand}") if hand else "")
            for step in same:
                number += 1
                _step(number, step, knowledge, everything, page)
    if plan.steps[full:]:
        page.heading("After that")
    for number, step in enumerate(plan.steps[full:], full + 1):
        which = f" [{', '.join(step.positions)}]" if len(inference.case.positions) > 1 else ""
        page.ends(f"  {number}. {step.name}{which}", f"{minutes(step.minutes)}  {step.bits:.2f} bit")
    _end(inference, plan, everything, page)
    called = cautions(inference, plan)
    if everything:
        take_care(called, page)
        return page
    take_care_in_short(called, [c for c in called if c.name in inference.cautions and not c.always], page)
    page.say("")
    page.say(
        "--all adds instruments, limits, what each result would change, all that is lost, and the cautions in full"
    )
    return page


def take_care(cautions: Sequence[Caution], page: Page) -> None:
    """Cautions in full."""
    if cautions:
        page.heading("Take care")
        page.say(ABOVE_ALL, indent=2)
    for c in cautions:
        page.say(f"{c.says} {c.defer}", indent=2, lead=f"! {c.name}: ", hang=4)


def take_care_in_short(cautions: Sequence[Caution], raised: Sequence[Caution], page: Page) -> None:
    """What the record raises in a sentence each; by name what may hold as well, and what holds at every seal and is known."""
    page.heading("Take care")
    page.say(ABOVE_ALL, indent=2)
    by_name: dict[str, list[str]] = {}
    for c in cautions:
        if c in raised:
            page.say(c.says, indent=2, lead=f"! {c.name}: ", hang=4)
        else:
            by_name.setdefault("as at every seal" if c.always else "may hold as well", []).append(c.name)
    for lead, names in sorted(by_name.items(), reverse=True):
        page.say(", ".join(names), indent=2, lead=f"! {lead}: ", hang=4)


def _stage(recorded: str, taken: str) -> str:
    if taken == recorded != "":
        return recorded
    told = f"taken as {taken}, from the parts on record" if taken else "not known, so nothing is taken as lost by it"
    return f"{told}; the case says {recorded}" if recorded else f"{told}; the case can say it: stage: ..."


def _hand(step: Step, inference: Inference) -> str:
    """The part in hand, by name and item number; listed parts also by what their name calls them. What only people and logs can
    still tell is asked of them."""
    knowledge, vocabulary = inference.base.knowledge, inference.base.knowledge.vocabulary
    asked = set(knowledge.looks.asked) & set(vocabulary.lineage.get(step.part, ()))
    if not step.part or (asked and inference.case.stage not in ("", *vocabulary.stages[:1])):
        return "ask the sender" if inference.case.alone else "ask people and logs"

    def meant(p: Part) -> bool:
        words = p.name.split()
        kinds = [vocabulary.find("kind", " ".join(words[i:])) for i in range(len(words))]
        return p.item in step.items or (step.part in kinds and p.position in (*step.positions, "machine", ""))

    several = len(inference.case.positions) > 1
    where = f" [{', '.join(step.positions)}]" if several else ""
    named = [f"{p.name} ({p.item})" for p in inference.case.parts if meant(p)]
    return f"in hand: {', '.join(named) if 0 < len(named) <= 4 else step.part}{where}"


def _step(number: int, step: Step, knowledge: Knowledge, everything: bool, page: Page) -> None:
    page.ends(f"  {number}. {step.name}", f"{minutes(step.minutes)}  {step.bits:.2f} bit", bold=True)
    card = knowledge.measurements.get(step.measurement)
    more = f"; and {len(step.findings) - 4} more" if len(step.findings) > 4 else ""
    rows = [
        ("decides", "; ".join(step.findings[:4]) + more),
        ("how", how(step, knowledge)),
        ("with", "; ".join(x for x in (card.instrument, card.at) if x) if card else ""),
        ("limit", _limit(step, knowledge)),
        ("why", why(step, knowledge)),
    ]
    for lead, text in rows:
        if text and (everything or lead in ("how", "why")):
            page.say(text, indent=5, lead=f"{lead + ':':<9}", hang=14)
    for r in (r for r in step.results if everything and _moved(r)):
        lead = f"{'there' if r.there else 'not there'} (chance {percent(r.chance)})"
        page.say(f"{r.finding}: {_moved(r)}", indent=5, lead=f"{lead}, ", hang=14)
    if everything and step.cannot_tell:
        page.say(
            "the ranking stays as it is", indent=5, lead=f"cannot tell (chance {percent(step.cannot_tell)}): ", hang=14
        )


def _moved(result: Result) -> str:
    """What a result does to the causes; empty where it does hardly anything."""
    shifts = [
        f"{s.cause} {percent(s.before).removesuffix(' %')} to {percent(s.after)}"
        for s in result.shifts
        if percent(s.before) != percent(s.after)
    ]
    if set(result.before) != set(result.after):
        shifts.append(f"then {' with '.join(result.after) or 'none of these causes'} leads")
    return ", ".join(shifts)


def _end(inference: Inference, plan: Plan, everything: bool, page: Page) -> None:
    lost = _lost(inference, plan)
    if lost:
        most = MOST_LOST if everything else MOST_ON_FIRST_SCREEN
        page.heading("Lost")
        for name, reason in lost[:most]:
            page.say(reason, indent=2, lead=f"{name}: ", hang=4)
        if len(lost) > most:
            page.say(f"and {len(lost) - most} more that would have told less", indent=2)
    page.heading("When to stop")
    page.say(says(plan.stop), indent=2)
    if plan.stop.state != OPEN and plan.record:
        page.say(
            "; ".join(f"{s.name} ({minutes(s.minutes)})" for s in plan.record),
            indent=2,
            lead="for the record: ",
            hang=4,
        )


def lost_why(gone: Gone) -> str:
    """Why a finding is lost, without saying its name again."""
    return gone.why.removeprefix(f"{gone.finding}: ")


def _lost(inference: Inference, plan: Plan) -> list[tuple[str, str]]:
    """(what, why) of what is lost: whole seals and parts, single looks as recorded, then findings, most telling first; both
    seals of a pair at once."""
    case, several = inference.case, len(inference.case.positions) > 1
    recorded = [
        (describe(o, case).removeprefix("lost: "), o.note or "on record as lost")
        for o in case.observations
        if o.state == "lost"
    ]
    places: dict[tuple[str, str], list[str]] = {}
    for gone in plan.lost:
        places.setdefault((gone.finding, lost_why(gone)), []).append(gone.position)
    found = [(f"{name} [{', '.join(at)}]" if several else name, why) for (name, why), at in places.items()]
    return list(dict.fromkeys([*lost_things(case), *recorded, *found]))


# ---- the short form on the page of the answer --------------------------------------------------------------------------


def short_steps(inference: Inference, plan: Plan, page: Page) -> None:
    several = len(inference.case.positions) > 1
    page.heading("What to look at next")
    for number, step in enumerate(plan.steps[:MOST_ON_FIRST_SCREEN], 1):
        which = f" [{', '.join(step.positions)}]" if several else ""
        left, right = f"  {number}. {step.name}{which}", f"{minutes(step.minutes)}, {step.bits:.2f} bit"
        for count in range(len(step.parts), 0, -1):
            told = (
                f"{left} Tells of {listed(step.parts[:count])}"
                if left.endswith("?")
                else f"{left}: {listed(step.parts[:count])}?"
            )
            if len(told) + len(right) + 2 <= page.width:
                left = told
                break
        page.ends(left, right)
    if plan.steps:
        page.say(BIT, indent=2)
    if plan.steps and plan.steps[0].when == NOW:
        page.say(f"The first of these can be done only {plan.stage}.", indent=2)
    if not plan.steps or plan.stop.state != OPEN:
        page.say(says(plan.stop), indent=2)
    lost = [name for name, _ in _lost(inference, plan)]
    if lost:
        more = f"; and {len(lost) - 3} more" if len(lost) > 3 else ""
        page.say("; ".join(lost[:3]) + more, indent=2, lead="lost by now: ", hang=4)


def short_actions(
    found: Sequence[Advice], beware: Sequence[Caution], several: bool, everything: bool, page: Page
) -> None:  # fmt: skip
    """What to change, then what to repair, each with those of its cautions that are among `beware`."""
    if not found:
        return
    for kind, title in ((CHANGE, "What to change"), (REPAIR, "What to repair")):
        chosen = [a for a in found if a.kind == kind]
        if not chosen:
            continue
        page.heading(title)
        most = len(chosen) if everything else MOST_ON_FIRST_SCREEN if kind == CHANGE else 1
        for advice in chosen[:most]:
            places = {t.position for t in advice.tied}
            tied = listed(advice.names) + (f" [{', '.join(sorted(places))}]" if several else "")
            worked = f" Worked if: {' '.join(advice.worked_if)}" if advice.worked_if and everything else ""
            care = ", ".join(c.name for c in beware if c.name in advice.cautions)
            care = f" Take care: {care}." if care else ""
            page.say(f"{advice.do} ({tied}){care}{worked}", indent=2, lead=f"{advice.field:<12} ", hang=15)
        if len(chosen) > most:
            page.say(f"and {len(chosen) - most} more with --all", indent=2)
