"""The command that plans the work that is left."""

from __future__ import annotations

from typing import Annotated

import typer

from diagnose.cli.common import CaseArgument, JsonOption, KnowledgeOption, open_base, open_case, print_json, refuse

MOST_MINUTES = 10_000


def next(
    case: CaseArgument,
    budget: Annotated[
        str, typer.Option("--budget", metavar="TIME", help="The best work within this time, such as 20min.")
    ] = "",
    position: Annotated[str, typer.Option("--position", help="Only this seal: inboard, outboard or seal.")] = "",
    everything: Annotated[
        bool, typer.Option("--all", help="Also instruments, limits, what each result would change, all that is lost.")
    ] = False,
    as_json: JsonOption = False,
    knowledge: KnowledgeOption = None,
) -> None:
    """Plan what to look at and measure next, before the evidence is gone, and what each result would change."""
    from diagnose.advice.plan import plan
    from diagnose.inference.run import infer
    from diagnose.judgement.judge import judge
    from diagnose.judgement.network import build
    from diagnose.views import next_steps as view
    from diagnose.views.page import Page

    minutes = _minutes(budget) if budget else None
    base = open_base(knowledge)
    record = open_case(case, base)
    if position and position not in record.positions:
        raise refuse(f"this case has no position {position!r}", f"its positions: {', '.join(record.positions)}")
    net = build(base.knowledge)
    inference = infer(record, base)
    judgements = [x for x in judge(inference, net) if position in ("", x.position)]
    planned = plan(judgements, minutes)
    if as_json:
        print_json(view.document(inference, judgements, planned, minutes))
    else:
        typer.echo(view.page(inference, judgements, planned, minutes, everything, Page()).text(), nl=False)


def _minutes(text: str) -> float:
    """Minutes of a time as written. Raises BadInput."""
    from diagnose.reading.units import BadUnit, amount, unit

    way_out = "write a time such as 20, 20min or 1.5h"
    try:
        time = amount(f"{text} min" if text.strip().replace(".", "", 1).isdecimal() else text)
    except BadUnit as error:
        raise refuse(f"--budget: {error}", way_out) from error
    if time.kind != unit("min").kind:
        raise refuse(f"--budget: {text!r} is no time", way_out)
    minutes = time.value / 60
    if not 0 < minutes <= MOST_MINUTES:
        raise refuse(f"--budget: {text!r} is out of the question", f"more than nothing and at most {MOST_MINUTES} min")
    return minutes
