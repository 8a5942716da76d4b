"""Commands that answer: explain, meaning, terms, score."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from diagnose.cli.common import (
    CaseArgument,
    DraftsOption,
    JsonOption,
    KnowledgeOption,
    case_path,
    open_base,
    open_case,
    print_json,
    refuse,
)
from diagnose.cli.output import write

if TYPE_CHECKING:
    from diagnose.inference.run import RuleBase


def explain(
    case: CaseArgument,
    as_json: JsonOption = False,
    everything: Annotated[
        bool, typer.Option("--all", help="Ledgers with every record, all causes, cautions and changes.")
    ] = False,
    position: Annotated[str, typer.Option("--position", help="Only this seal: inboard, outboard or seal.")] = "",
    with_drafts: DraftsOption = False,
    knowledge: KnowledgeOption = None,
) -> None:
    """Say what failed and why: ranked causes with what speaks for and against each, and what to look at next."""
    from diagnose.advice.plan import plan
    from diagnose.judgement.diagnosis import Diagnosis
    from diagnose.trail.custody import beside, journal_told
    from diagnose.views import explanation, explanation_data
    from diagnose.views.next_steps import MOST_STEPS
    from diagnose.views.page import Page

    base = open_base(knowledge, with_drafts)
    record = open_case(case, base)
    if position and position not in record.positions:
        raise refuse(f"this case has no position {position!r}", f"its positions: {', '.join(record.positions)}")
    diagnosis = Diagnosis(record, base)
    inference = diagnosis.inference
    judgements = [x for x in diagnosis.judgements if position in ("", x.position)]
    planned = plan(judgements, most=MOST_STEPS)
    journal = beside(case_path(case))
    if as_json:
        told = explanation_data.document(inference, judgements, planned, everything)
        print_json({**told, "journal": journal_told(journal)})
    else:
        page = explanation.page(inference, judgements, planned, everything, Page())
        page.say(journal.says)
        typer.echo(page.text(), nl=False)


def meaning(
    pattern: Annotated[
        str, typer.Argument(metavar="PATTERN", help="A feature or a finding, in the words of the trade.")
    ],
    on: Annotated[str, typer.Option("--on", help="The kind of part it is on.")] = "",
    picture: Annotated[
        Path | None,
        typer.Option("--picture", metavar="FILE", help="Also write a line drawing of it, as SVG.", show_default=False),
    ] = None,
    as_json: JsonOption = False,
    knowledge: KnowledgeOption = None,
) -> None:
    """Say what a pattern means: how to see it, when it is lost, which causes leave it, what tells them apart."""
    from diagnose.views import meaning as view
    from diagnose.views.page import Page

    base = open_base(knowledge)
    answer = view.look_up(base, pattern, on)
    if picture is not None:
        write(picture, _drawn(base, answer))
    if as_json:
        print_json(answer)
    else:
        typer.echo(view.page(answer, Page()).text(), nl=False)


def _drawn(base: RuleBase, answer: dict[str, Any]) -> bytes:
    """The line drawing of what was looked up. Raises BadInput where it cannot be drawn."""
    from diagnose.views.drawings.sketches import sketch, why_not_drawn

    vocabulary, marks = base.knowledge.vocabulary, answer["marks"]
    if len(marks) != 1:
        says = f"{answer['pattern']!r} is not one mark, so there is no drawing of it"
        raise refuse(says, "name one feature: diagnose terms")
    mark = marks[0]
    drawing = sketch(vocabulary, mark["feature"], mark["on"], 640, mark["runs"], mark["side"])
    if drawing is None:
        why = why_not_drawn(vocabulary, mark["feature"], mark["on"]) or "The vocabulary has no sketch of it."
        raise refuse(f"{mark['feature']!r} is not drawn: {why}", "leave --picture out")
    return f"{drawing.svg}\n".encode()


def quantities(case: CaseArgument, as_json: JsonOption = False, knowledge: KnowledgeOption = None) -> None:
    """Print every computed quantity with formula, inputs, unit, limits and source."""
    from diagnose.inference.facts import mark_relations
    from diagnose.quantities.compute import compute
    from diagnose.views import quantities as view
    from diagnose.views.page import Page

    base = open_base(knowledge)
    record = open_case(case, base)
    computed = (*compute(record, base.knowledge), *mark_relations(record, base.knowledge, base.rules))
    if as_json:
        print_json(view.rows(computed, base.knowledge))
    else:
        typer.echo(view.page(computed, base.knowledge, Page()).text(), nl=False)


def terms(
    word: Annotated[
        str,
        typer.Argument(
            metavar="[WORD]", help="Only terms in which a word begins so, or what a phrase says.", show_default=False
        ),
    ] = "",
    as_json: JsonOption = False,
    knowledge: KnowledgeOption = None,
) -> None:
    """List the vocabulary: kinds of part, features, readings, settings, quantities."""
    from diagnose.views import terms as view
    from diagnose.views.page import Page

    base = open_base(knowledge).knowledge
    rows = view.rows(base, word) or view.spoken(base, word)
    if not rows:
        raise refuse(f"no word of the vocabulary begins with {word!r}", view.way_out(base, word))
    if as_json:
        print_json(rows)
    else:
        typer.echo(view.page(rows, Page()).text(), nl=False)


def score(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="A folder of cases with an expected: block.")],
    as_json: JsonOption = False,
    knowledge: KnowledgeOption = None,
) -> None:
    """Score the rule base on cases whose cause is known."""
    from diagnose.cli.progress import Progress
    from diagnose.evaluation.score import cases_in, score_all, symptoms_in
    from diagnose.evaluation.score import score as figures
    from diagnose.reading.problems import BadInput
    from diagnose.views import scoreboard
    from diagnose.views.page import Page

    if not folder.is_dir():
        raise refuse(f"there is no folder {str(folder)!r}", "name a folder of case files")
    base = open_base(knowledge)
    paths = cases_in(folder)
    progress = Progress(len(paths))
    scored, silent, problems = score_all(paths, base, progress.more)
    progress.end()
    tables, more = symptoms_in(folder, base)
    problems += more
    if not scored:
        says = f"no case has an expected: block ({silent} read)" if silent else "there is no case to score"
        problems.append(refuse(says, "expected: {cause: NAME}; diagnose batch judges without", str(folder)).problems[0])
        raise BadInput(problems)
    result = figures(scored) | {"left_out": silent} | ({"symptoms": tables} if tables else {})
    if as_json:
        print_json(result)
    else:
        typer.echo(scoreboard.page(result, Page()).text(), nl=False)
    if problems:
        raise BadInput(problems)
