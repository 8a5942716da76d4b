"""The end of a drill on a page for the terminal."""

from __future__ import annotations

from diagnose.reading.figures import percent
from diagnose.training.bench import CLOCK, GONE, PLACE
from diagnose.training.debrief import Debrief, act_text, chain_of, leaders, look_alikes, sure_of, text_of, until
from diagnose.training.scoring import HINT, NONE, POINTS
from diagnose.views.page import Page

MOST_ACTS = 30


def told(d: Debrief, page: Page) -> Page:
    page.title("What it was")
    _truth(d, page)
    _missed(d, page)
    _lost(d, page)
    _vain(d, page)
    _plan(d, page)
    _sure(d, page)
    _score(d, page)
    page.heading("Next time")
    for sentence in d.differently:
        page.say(sentence, 2)
    return page


def _truth(d: Debrief, page: Page) -> None:
    for level, said, right, first, by_case in (
        ("What happened", d.answer.mechanism, d.score.right[1], d.truth.first[1], d.truth.told[1]),
        ("Why", d.answer.root, d.score.right[0], d.truth.first[0], d.truth.told[0]),
    ):
        by = "" if by_case else " (the case names none; so the tool judges the whole record)"
        yours = f"you said {said}: {'right' if right else 'not so'}" if said else "you gave no answer"
        page.say(f"{level}: {first}{by}; {yours}.", 2, 4)
    also = [n for n in (*d.truth.roots, *d.truth.mechanisms) if n not in d.truth.first]
    if also:
        page.say(
            f"{'Taken as right too' if d.truth.one_of else 'At work or taken as right too'}: {', '.join(dict.fromkeys(also))}.",
            2,
            4,
        )
    chain = chain_of(d.truth)
    if len(chain) > 1:
        page.say("Chain: " + " → ".join(chain), 2, 4)
    for name, x in look_alikes(d.hidden, d.truth, d.answer):
        page.say(f"{name} is easily taken for {x.other}. {x.told_apart_by}", 2, 4)


def _missed(d: Debrief, page: Page) -> None:
    page.heading("There and never seen")
    mattered = {t for w in d.weighty for t in w.traces}
    for t in sorted(d.missed, key=lambda t: t.id not in mattered):
        page.say(f"{text_of(d.hidden, t)}; {until(d.hidden, t)}" + ("  *" if t.id in mattered else ""), 2, 4)
    if not d.missed:
        page.say("Nothing.", 2)
    elif mattered & {t.id for t in d.missed}:
        page.say("* speaks for what it was.", 2)


def _lost(d: Debrief, page: Page) -> None:
    page.heading("Lost, and by what")
    whats = {
        CLOCK: "its clock position, the part was not marked",
        PLACE: "to which part it belongs, parts were mixed up",
    }
    for lost in d.lost:
        page.say(f"{lost.number + 1}. {lost.act}", 2, 5)
        for loss, text in lost.losses:
            why = f"to be had only {loss.stage}" if loss.what == GONE else whats[loss.what]
            page.say(f"{text}: {why}", 5, 7)
    if not d.lost:
        page.say("Nothing.", 2)
    elif d.score.kept < 0.995:
        page.say(f"With it {percent(1 - d.score.kept)} of what speaks for what it was is gone for good.", 2)


def _vain(d: Debrief, page: Page) -> None:
    page.heading("Looked for in vain")
    for number, text, minutes in d.vain:
        page.ends(f"  {number + 1}. {text}", f"{minutes:g} min")
    page.say(f"{sum(m for _, _, m in d.vain):g} minutes that told nothing of it." if d.vain else "Nothing.", 2)


def _plan(d: Debrief, page: Page) -> None:
    page.heading("What the plan would have done")
    for n, done in enumerate(d.plan.done[:MOST_ACTS], 1):
        page.ends(f"  {n}. {act_text(d.hidden, done.act)}", f"{done.minutes:g} min")
    if len(d.plan.done) > MOST_ACTS:
        page.say(f"… and {len(d.plan.done) - MOST_ACTS} more", 2)
    page.say(f"{d.plan.minutes:g} minutes; you took {d.bench.minutes:g}. It stops there: {d.ended}.", 2)


def _sure(d: Debrief, page: Page) -> None:
    page.heading("How sure your own record could make anybody")
    root, mechanism = leaders(d.own)
    for level, j, right in (("what happened", mechanism, d.truth.first[1]), ("why", root, d.truth.first[0])):
        if j is None:
            continue
        text = f"{level}: {j.name}, {percent(j.probability)} ({j.standing})"
        own = sure_of(d.own, right)
        if own and own.name != j.name:
            text += f"; {right}, {percent(own.probability)}"
        page.say(text, 2, 4)
    if NONE in d.truth.roots:
        page.say(f"none of these causes: {percent(d.own.none_of_these)}", 2)


def _score(d: Debrief, page: Page) -> None:
    page.heading("Score")
    s = d.score
    notes = {
        "evidence": f"{'all' if s.kept > 0.9995 else percent(s.kept)} of what speaks for it kept, {percent(s.seen)} on your record",
        "minutes": f"{d.bench.minutes:g}, the plan {d.plan.minutes:g}; counted as far as the answer is right",
        "root cause": "right" if s.right[0] else "not right",
        "mechanism": "right" if s.right[1] else "not right",
        "confidence": f"Brier score {s.brier[0]:.2f} for the cause, {s.brier[1]:.2f} for the mechanism; 0 is best",
    }
    for name, most in POINTS.items():
        page.say(f"{s.points[name]:5.1f} of {most}  {name}: {notes[name]}", 2, 15)
    if s.hints:
        page.say(f"{-HINT * s.hints:5.1f}        {s.hints} hint{'s' * (s.hints > 1)}", 2, 15)
    page.say(f"{s.total:5.1f} of 100", 2)
