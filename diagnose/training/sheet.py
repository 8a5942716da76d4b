"""A drill printed for a room without computers: cards to fold and turn over in the order of dismantling, and the
teacher's page. One HTML file for A4."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from diagnose.casefile.model import Observation
from diagnose.knowledge.model import Step
from diagnose.training.debrief import act_text, chain_of, look_alikes, text_of
from diagnose.training.hidden import HISTORY, NEVER, Hidden, Trace
from diagnose.training.looking import minutes_of
from diagnose.training.scoring import POINTS, Answer, Truth, mattered, truth_of
from diagnose.training.story import Story
from diagnose.training.talk import job_sheet, title_of
from diagnose.training.ways import planned
from diagnose.views.drawings.markup import text as t

ASK = "Ask about: "
ON_A_PAGE = 6
STYLE = """
@page{size:A4;margin:12mm}
*{box-sizing:border-box}
body{font:10.5pt/1.35 Georgia,serif;color:#111;max-width:186mm;margin:0 auto;padding:0 2mm}
h1{font-size:17pt;margin:0 0 3mm}h2{font-size:12.5pt;margin:5mm 0 2mm}p{margin:0 0 2mm}ul,ol{margin:0 0 2mm;padding-left:6mm}
section{break-after:page}section:last-of-type{break-after:auto}
.card{display:grid;grid-template-columns:1fr 1fr;break-inside:avoid;border:1px solid #444;margin:0 0 3.5mm;min-height:41mm}
.card>div{padding:3mm 4mm}.card>div+div{border-left:1px dashed #888}
.front b{font-size:13pt;display:block;margin:1mm 0}.perishes .front{border-left:5mm solid #111}
.step{font-size:9pt;color:#333}.slip p{border-bottom:1px solid #888;margin:0 0 3mm;padding-top:2mm}.card ul{margin:0}
table{border-collapse:collapse;width:100%}td,th{text-align:left;vertical-align:top;padding:.8mm 2mm;border-bottom:1px solid #ccc}td.n{text-align:right;white-space:nowrap}
.acts{columns:2 18rem;column-gap:8mm;font-size:9pt}.acts li{break-inside:avoid}
@media(max-width:700px){.card{grid-template-columns:1fr}.card>div+div{border-left:0;border-top:1px dashed #888}}
"""


@dataclass(frozen=True)
class Card:
    """What one card asks (`front`, more fully `about`) and what its back says; `perishes`: some of it is lost with the next step."""

    number: int
    step: Step
    front: str
    about: str
    minutes: float
    back: tuple[str, ...]
    traces: tuple[str, ...]
    perishes: bool


def cards(hidden: Hidden) -> list[Card]:
    """The cards in their order: in each step one for every part that it looks at, and one for what lies around the seal."""
    found: list[Card] = []
    told: set[str] = set()
    for step in hidden.knowledge.arrangements.steps:
        for front, about, minutes, traces in _asked(hidden, step):
            here = [x for x in traces if x.id not in told and _last_step(hidden, x) == step.stage]
            told |= {x.id for x in here}
            back = tuple(_back(hidden, x) for x in here) or ("Nothing out of the ordinary.",)
            perishes = step.stage in hidden.words.stages[1:] and not front.startswith(ASK)
            found.append(Card(len(found) + 1, step, front, about, minutes, back, tuple(x.id for x in here), perishes))
    return found


def _last_step(hidden: Hidden, trace: Trace) -> str:
    """The step whose card tells a trace: the last one at which it can be seen; of what stays the last that looks at such a part."""
    stages = [s.stage for s in hidden.knowledge.arrangements.steps]
    if hidden.asked(trace.kind) or trace.kind == HISTORY:
        return stages[0]
    if trace.lost in stages:
        return trace.lost
    named = [
        s.stage for s in hidden.knowledge.arrangements.steps for look in s.looks if hidden.related(trace.kind, look.on)
    ]
    return (named or stages)[-1]


def _asked(hidden: Hidden, step: Step) -> Iterable[tuple[str, str, float, list[Trace]]]:
    lines = hidden.words.lineage
    parts = [p for p in hidden.case.parts if any(not x.always and x.on in lines[p.kind] for x in step.looks)]
    kinds = list(
        dict.fromkeys(x.on for x in step.looks if x.always or not any(x.on in lines[p.kind] for p in hidden.case.parts))
    )
    for p in parts:
        here = [x for x in hidden.traces if x.part == p.item or (not x.part and hidden.related(x.kind, p.kind))]
        yield f"{p.name} ({p.item})", "", minutes_of(hidden, p.kind), here
    asked = [k for k in kinds if hidden.asked(k)]
    for kind in asked:
        yield f"{ASK}{kind}", "", minutes_of(hidden, kind), [x for x in hidden.traces if hidden.related(x.kind, kind)]
    around = [k for k in kinds if k not in asked]
    here = [x for x in hidden.traces if not x.part and not hidden.asked(x.kind) and x.kind != HISTORY]
    if around:
        yield "Around the seal", ", ".join(around), 3 * max(minutes_of(hidden, k) for k in around), here


def _back(hidden: Hidden, trace: Trace) -> str:
    if trace.gone:
        return f"{trace.what}: nobody can say any more ({trace.gone})"
    note = trace.record.note if isinstance(trace.record, Observation) else ""
    return text_of(hidden, trace) + (f" ({note})" if note else "")


def sheet(name: str, hidden: Hidden, story: Story) -> str:
    """The whole file: how to play, the cards, the teacher's page."""
    made = cards(hidden)
    title = story.title or title_of(hidden)
    body = (
        _first_page(title, hidden, story) + "<section>" + "".join(map(_card, made)) + _slips(len(made)) + "</section>"
    )
    body += _teacher(title, hidden, story, made)
    return (
        '<!doctype html>\n<html lang="en"><head><meta charset="utf-8">'
        "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src 'unsafe-inline'\">"
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{t(title)}</title><style>{STYLE}</style></head><body>{body}</body></html>\n"
    )


def _first_page(title: str, hidden: Hidden, story: Story) -> str:
    sheet_lines = "".join(f"<li>{t(line)}</li>" for line in job_sheet(hidden))
    parts = "".join(
        f"<li value={t(p.item)}>{t(p.name)}</li>" if p.item.isdecimal() else f"<li>{t(p.item)} {t(p.name)}</li>"
        for p in hidden.case.parts
    )
    steps = "".join(
        f"<li><b>{t(s.name)}.</b> {t(s.do)} <i>{t(s.ends)}</i></li>" for s in hidden.knowledge.arrangements.steps
    )
    rules = (
        "Lay the cards face down, a row a step. At each step the class says which cards it turns; every card costs its "
        "minutes. When the class goes on to the next step, the cards left in the row whose edge is black are taken away unread: "
        "what they would have told is gone; what stays on a part is told by a later card. People can be asked to the end. At the end everybody writes down what happened, "
        "why, and how sure they are in percent."
    )
    invented = "Invented." if hidden.case.invented and "invented" not in story.says.lower() else ""
    return (
        f"<section><h1>{t(title)}</h1><p>{t(story.says or 'A seal leaked. The machine stands; nothing is touched yet.')} {invented}</p>"
        f"<h2>How it goes</h2><p>{rules}</p><h2>Job sheet</h2><ul>{sheet_lines}</ul><h2>Parts</h2><ol>{parts}</ol>"
        f"<h2>Steps</h2><ol>{steps}</ol></section>"
    )


def _card(card: Card) -> str:
    back = "".join(f"<li>{t(line)}</li>" for line in card.back)
    return (
        f'<div class="card{" perishes" if card.perishes else ""}"><div class="front"><span class="step">{card.number} · {t(card.step.name)}</span>'
        f"<b>{t(card.front)}</b>{f'<p>{t(card.about)}</p>' if card.about else ''}{card.minutes:g} min</div><div><span class=step>{card.number}</span><ul>{back}</ul></div></div>"
    )


def _slips(count: int) -> str:
    """Slips for answers, as many as the last page of cards has room for."""
    line = "<p>What happened:</p><p>Why:</p><p>How sure of each, in percent:</p>"
    slip = f'<div class="card slip"><div><span class=step>Answer</span>{line}</div><div><span class=step>Answer</span>{line}</div></div>'
    return slip * (-count % ON_A_PAGE)


def _teacher(title: str, hidden: Hidden, story: Story, made: list[Card]) -> str:
    truth = truth_of(hidden)
    weighty = mattered(hidden, truth)
    on_card = {x: c.number for c in made for x in c.traces}
    rows = "".join(
        f"<tr><td>{t(w.finding)}</td><td class=n>{w.weight:+.1f} dB</td><td>card {', '.join(map(str, sorted({on_card[x] for x in w.traces if x in on_card}))) or '(not on a card)'}</td></tr>"
        for w in weighty
    )
    plan, ended = planned(hidden)
    acts = "".join(f"<li>{t(act_text(hidden, d.act))} ({d.minutes:g} min)</li>" for d in plan.done)
    hints = "".join(f"<li>{t(h.says)}{t(f' ({h.opens})' if h.opens else '')}</li>" for h in story.hints)
    alike = "".join(
        f"<li>{t(n)} is easily taken for {t(x.other)}. {t(x.told_apart_by)}</li>"
        for n, x in look_alikes(hidden, truth, Answer())
    )
    return (
        f"<section><h1>For the teacher: {t(title)}</h1>{_was(hidden, truth)}"
        + (f"<ul>{alike}</ul>" if alike else "")
        + (f"<h2>Hints</h2><ol>{hints}</ol>" if hints else "")
        + f"<h2>What speaks for it, each alone</h2><table>{rows}</table>"
        + f"<h2>Points</h2><p>Of {sum(POINTS.values())}: {', '.join(f'{n} for {what}' for what, n in POINTS.items())}. Evidence: the part of the dB "
        "above whose cards were turned or are still there. Time: as far as the answer is right, full up to the minutes of the plan, then "
        "in proportion. Confidence: 10 times one less the mean of (p − o)², o being 1 where right, else 0 (Brier score).</p>"
        + f"<h2>What the plan would have done</h2><ol class=acts>{acts}</ol><p>{plan.minutes:g} minutes in all; {t(ended)}.</p></section>"
    )  # fmt: skip


def _was(hidden: Hidden, truth: Truth) -> str:
    chain = " → ".join(map(t, chain_of(truth)))
    also = [n for n in (*truth.roots, *truth.mechanisms) if n not in truth.first]
    told = hidden.case.expected.shows if hidden.case.expected else ""
    stays = sum(x.lost == NEVER for x in hidden.traces)
    return (
        f"<p><b>What happened:</b> {t(truth.first[1])}. <b>Why:</b> {t(truth.first[0])}."
        + (f" Taken as right too: {t(', '.join(dict.fromkeys(also)))}." if also else "")
        + (f" {t(told)}" if told else "")
        + f"</p>{f'<p>Chain: {chain}</p>' if chain else ''}<p>{len(hidden.traces)} traces, of which {stays} stay and the others perish.</p>"
    )
