"""Commands for rule authors: rules to check, test and compare."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from diagnose.cli.common import DraftsOption, JsonOption, KnowledgeOption, print_json, refuse, say, shipped
from diagnose.cli.output import refuse_over_input, write
from diagnose.cli.rules_common import (
    TESTED,
    CasesOption,
    app,
    cases_of,
    folder_of,
    tested,
    tests_of,
    workshop_of,
)

if TYPE_CHECKING:
    from diagnose.authoring.rule_test_runner import Outcome, Workshop
    from diagnose.knowledge.model import Card


@app.command()
def check(
    form: Annotated[str, typer.Option("--format", help="text, json, sarif or github.")] = "text",
    strict: Annotated[bool, typer.Option("--strict", help="Exit 1 for advice too.")] = False,
    codes: Annotated[bool, typer.Option("--codes", help="List what each code of the checks means.")] = False,
    knowledge: KnowledgeOption = None,
) -> None:
    """Tell everything that is wrong with the rule base, each with its place and the way out."""
    from diagnose.authoring.check import CODES, examine
    from diagnose.reading.terms import did_you_mean
    from diagnose.views.page import Page
    from diagnose.views.problems import FORMATS, render

    if codes:
        page = Page()
        for code, means in sorted(CODES.items()):
            page.say(means, lead=f"{code}: ", hang=4)
        typer.echo(page.text(), nl=False)
        return

    if form not in FORMATS:
        raise refuse(f"there is no format {form!r}", did_you_mean(form, FORMATS) or f"allowed: {', '.join(FORMATS)}")
    report = examine(folder_of(knowledge))
    typer.echo(render(report.problems, report.texts, form), nl=False)
    if report.errors or (strict and report.problems):
        raise typer.Exit(1)


@app.command()
def test(
    names: Annotated[str, typer.Argument(metavar="[TEXT]", help="Only tests whose rule or name holds this.", show_default=False)] = "",
    junit: Annotated[Path | None, typer.Option("--junit", help="Write JUnit XML there.", show_default=False)] = None,
    accept: Annotated[bool, typer.Option("--accept-weights", help="Write changed weights into the test files; read the diff.")] = False,
    with_drafted: Annotated[bool, typer.Option("--drafted", help="Also the tests that can be drafted from the rules.")] = False,
    as_json: JsonOption = False, with_drafts: DraftsOption = False, knowledge: KnowledgeOption = None,
) -> None:  # fmt: skip
    """Run the rule tests: records in, what must follow and what must not."""
    from diagnose.authoring import rule_test_report as report
    from diagnose.authoring.rule_test_runner import run_tests
    from diagnose.views import workshop as view
    from diagnose.views.page import Page

    refuse_over_input(junit, [folder_of(knowledge)])
    workshop = workshop_of(knowledge, with_drafts)
    tests = tests_of(workshop, knowledge, names, with_drafted and not accept)
    if names and not tests:
        raise refuse(f"no test has {names!r} in its rule or name",
                     "--drafted runs those drafted from the rules, --with-drafts those of cards that are drafts")  # fmt: skip
    outcomes = run_tests(workshop, tests)
    if accept:
        for path in report.accept_weights(outcomes, workshop.net, folder_of(knowledge), workshop.base.knowledge.folder):
            say(f"changed {path}")
        outcomes = run_tests(workshop, tests_of(workshop, knowledge, names, with_drafted))
    result = report.document(outcomes)
    if junit:
        write(junit, report.junit(outcomes).encode(), [folder_of(knowledge)])
    if as_json:
        print_json(result)
    else:
        typer.echo(view.tests(result, Page()).text(), nl=False)
    if result["failed"]:
        raise typer.Exit(1)


@app.command()
def coverage(
    cases: CasesOption = None,
    html: Annotated[Path | None, typer.Option("--html", help="Write an HTML page there.", show_default=False)] = None,
    fail_under: Annotated[float, typer.Option("--fail-under", help="Exit 1 below so many percent.", min=0, max=100)] = 0.0,
    as_json: JsonOption = False, with_drafts: DraftsOption = False, knowledge: KnowledgeOption = None,
) -> None:  # fmt: skip
    """Tell which conditions of the rules the tests, drafted ones too, and scenarios make true, and which known false."""
    from diagnose.authoring import coverage as covered
    from diagnose.authoring.rule_test_runner import run_tests
    from diagnose.inference.run import infer
    from diagnose.views import workshop as view
    from diagnose.views.coverage_page import page
    from diagnose.views.page import Page

    refuse_over_input(html, [folder_of(knowledge)])
    workshop = workshop_of(knowledge, with_drafts)
    counted = covered.Coverage(workshop.base.knowledge)
    for outcome in run_tests(workshop, tests_of(workshop, knowledge, with_drafted=True)):
        counted.add(outcome.inference)
    for case in cases_of(cases, knowledge, workshop):
        counted.add(infer(case, workshop.base))
    result = counted.document()
    if html:
        write(html, page(result).encode(), [folder_of(knowledge)])
    if as_json:
        print_json(result)
    else:
        typer.echo(view.coverage(result, Page()).text(), nl=False)
    if not covered.enough(result, fail_under):
        raise typer.Exit(1)


@app.command()
def mutate(
    names: Annotated[str, typer.Argument(metavar="[RULE]", help="Only this card.", show_default=False)] = "",
    cases: CasesOption = None,
    most: Annotated[float, typer.Option("--most", help="Exit 1 where more than so many percent survive.", min=0, max=100)] = 100.0,
    as_json: JsonOption = False, with_drafts: DraftsOption = False, knowledge: KnowledgeOption = None,
) -> None:  # fmt: skip
    """Change the rules in one place at a time and tell which changes no test, drafted ones too, or scenario notices."""
    from diagnose.authoring import mutation
    from diagnose.authoring.cards import find
    from diagnose.views import workshop as view
    from diagnose.views.page import Page

    workshop = workshop_of(knowledge, with_drafts)
    chosen = find(workshop.base.knowledge, names, TESTED) if names else []
    trials = [
        *mutation.trials(_run(workshop, knowledge, chosen)),
        *mutation.scenario_trials(cases_of(cases, knowledge, workshop), workshop),
    ]
    result = mutation.document(mutation.try_all(workshop, trials, {(kind, card.name) for kind, card in chosen}))
    if as_json:
        print_json(result)
    else:
        typer.echo(view.mutation(result, Page()).text(), nl=False)
    if result["survived"] * 100 > most * result["mutants"]:
        raise typer.Exit(1)


def _run(workshop: Workshop, knowledge: Path | None, chosen: list[tuple[str, Card]]) -> list[Outcome]:
    """The outcomes of the rule tests and of those drafted from the chosen cards, or from all."""
    from diagnose.authoring.rule_test_files import drafted
    from diagnose.authoring.rule_test_runner import run_tests

    outcomes = run_tests(workshop, [*tests_of(workshop, knowledge), *drafted(workshop, chosen or tested(workshop))])
    failed = sum(bool(o.failures) for o in outcomes)
    if failed:
        raise refuse(f"{failed} tests fail on the unchanged rules", "diagnose rules test")
    return outcomes


@app.command()
def impact(
    old: Annotated[str, typer.Argument(metavar="OLD", help="A rule base folder or a git revision.")],
    new: Annotated[str, typer.Argument(metavar="NEW", help="A rule base folder or a git revision.")],
    cases: CasesOption = None,
    most: Annotated[int, typer.Option("--most", help="Exit 1 where more cases than this change their answer: the leading cause or its standing.", min=0)] = 10**9,
    inside: Annotated[str, typer.Option("--inside", help="Where the rule base lies in a git revision.")] = "knowledge",
    workers: Annotated[int | None, typer.Option("--workers", help="Processes.", min=1, show_default=False)] = None,
    as_json: JsonOption = False, with_drafts: DraftsOption = False,
) -> None:  # fmt: skip
    """Hold two versions of the rule base against a library of cases: whose answer changes, and through which rule.

    The answer of a case is its leading cause and the standing of that. The version moves by effect: the first number where
    an answer changes, the second where a rule is new or changed, the third for wording.
    """
    from diagnose.evaluation import impact as effect
    from diagnose.evaluation.score import cases_in
    from diagnose.inference.run import load
    from diagnose.reading.problems import BadInput
    from diagnose.views import workshop as view
    from diagnose.views.page import Page

    place = cases or shipped("scenarios")
    if not place.is_dir():
        raise refuse(f"there is no folder {str(place)!r}", "name a folder of case files")
    paths = cases_in(place)
    with effect.versions(old, new, inside=inside) as (before, after):
        cards, changes, problems = effect.compare(before, after, paths, with_drafts, workers)
        sides = load(before, with_drafts).knowledge, load(after, with_drafts).knowledge
        result = effect.document(*sides, cards, changes, len(paths))
    if as_json:
        print_json(result)
    else:
        typer.echo(view.impact(result, Page()).text(), nl=False)
    if problems:
        raise BadInput(problems)
    if result["answers"] > most:
        raise typer.Exit(1)


@app.command()
def schema(
    output: Annotated[Path | None, typer.Option("-o", "--output", help="Folder to write to; where left out, the rule base's own.", show_default=False)] = None,
    knowledge: KnowledgeOption = None,
) -> None:  # fmt: skip
    """Write JSON Schemas of all kinds of file, for completion and hover in editors."""
    from diagnose.authoring.schemas import write

    target = output or folder_of(knowledge) / "schema"
    for path in sorted(target.glob("*.json")):
        refuse_over_input(path)
    for path in write(workshop_of(knowledge, True).base.knowledge, target):
        say(str(path))
