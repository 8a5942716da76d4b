"""Commands for rule authors: diagnose rules …"""

from __future__ import annotations

import re
from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from diagnose.cli.common import DraftsOption, JsonOption, KnowledgeOption, open_case, print_json, refuse, shipped
from diagnose.cli.output import refuse_over_input, write

if TYPE_CHECKING:
    from diagnose.authoring.rule_test_reader import RuleTest
    from diagnose.authoring.rule_test_runner import Outcome, Workshop
    from diagnose.casefile.model import Case
    from diagnose.knowledge.model import Card

app = typer.Typer(
    name="rules", help="For authors of rules: check, test, cover, mutate, compare, look up, teach.",
    no_args_is_help=True, add_completion=False, rich_markup_mode=None,
)  # fmt: skip
TESTED = ("finding", "mechanism", "cause", "caution")
CasesOption = Annotated[
    Path | None,
    typer.Option("--cases", help="A folder of cases; where left out the scenarios beside the rule base.", show_default=False),
]
RuleArgument = Annotated[str, typer.Argument(metavar="RULE", help="A card: its name, id or file name.")]


def _folder(knowledge: Path | None) -> Path:
    return knowledge or shipped("knowledge")


def _workshop(knowledge: Path | None, drafts: bool = False) -> Workshop:
    from diagnose.authoring.rule_test_runner import Workshop
    from diagnose.inference.run import load

    return Workshop(load(_folder(knowledge), drafts))


def _tests(workshop: Workshop, knowledge: Path | None, names: str = "", with_drafted: bool = False) -> list[RuleTest]:
    """The rule tests of the folder, and those drafted from the rules; with a text those of the cards whose name holds
    it, or else those whose own name does. Raises BadInput for mistakes in them."""
    from diagnose.authoring.rule_test_files import drafted
    from diagnose.authoring.rule_test_reader import read_tests
    from diagnose.reading.problems import Problems
    from diagnose.reading.terms import plain

    problems = Problems()
    wanted = plain(names)
    cards = _tested(workshop)
    only = [(kind, card) for kind, card in cards if wanted in plain(card.name)]
    tests = read_tests(_folder(knowledge), workshop.base.knowledge, problems, only if names and only else None)
    problems.raise_errors()
    tests += drafted(workshop, only or cards) if with_drafted else []
    return tests if only else [t for t in tests if wanted in plain(t.name)]


def _tested(workshop: Workshop) -> list[tuple[str, Card]]:
    """The cards that tests are for, with their kinds."""
    from diagnose.authoring.cards import tables

    cards = tables(workshop.base.knowledge)
    return [(kind, card) for kind in TESTED for card in cards[kind].values()]


def _cases(folder: Path | None, knowledge: Path | None, workshop: Workshop) -> list[Case]:
    from diagnose.evaluation.score import cases_in, read_all
    from diagnose.reading.problems import BadInput

    place = folder or _folder(knowledge).resolve().parent / "scenarios"
    if not place.is_dir():
        if folder is None:
            return []
        raise refuse(f"there is no folder {str(place)!r}", "name a folder of case files")
    cases, problems = read_all(cases_in(place), workshop.base)
    if problems:
        raise BadInput(problems)
    return cases


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
    report = examine(_folder(knowledge))
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

    refuse_over_input(junit, [_folder(knowledge)])
    workshop = _workshop(knowledge, with_drafts)
    tests = _tests(workshop, knowledge, names, with_drafted and not accept)
    if names and not tests:
        raise refuse(f"no test has {names!r} in its rule or name",
                     "--drafted runs those drafted from the rules, --with-drafts those of cards that are drafts")  # fmt: skip
    outcomes = run_tests(workshop, tests)
    if accept:
        for path in report.accept_weights(outcomes, workshop.net, _folder(knowledge), workshop.base.knowledge.folder):
            typer.echo(f"changed {path}")
        outcomes = run_tests(workshop, _tests(workshop, knowledge, names, with_drafted))
    result = report.document(outcomes)
    if junit:
        write(junit, report.junit(outcomes).encode(), [_folder(knowledge)])
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

    refuse_over_input(html, [_folder(knowledge)])
    workshop = _workshop(knowledge, with_drafts)
    counted = covered.Coverage(workshop.base.knowledge)
    for outcome in run_tests(workshop, _tests(workshop, knowledge, with_drafted=True)):
        counted.add(outcome.inference)
    for case in _cases(cases, knowledge, workshop):
        counted.add(infer(case, workshop.base))
    result = counted.document()
    if html:
        write(html, page(result).encode(), [_folder(knowledge)])
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

    workshop = _workshop(knowledge, with_drafts)
    chosen = find(workshop.base.knowledge, names, TESTED) if names else []
    trials = [*mutation.trials(_run(workshop, knowledge, chosen)), *mutation.scenario_trials(_cases(cases, knowledge, workshop), workshop)]
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

    outcomes = run_tests(workshop, [*_tests(workshop, knowledge), *drafted(workshop, chosen or _tested(workshop))])
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
    from diagnose.authoring.schema import write

    target = output or _folder(knowledge) / "schema"
    for path in sorted(target.glob("*.json")):
        refuse_over_input(path)
    for path in write(_workshop(knowledge, True).base.knowledge, target):
        typer.echo(str(path))


@app.command()
def match(
    rule: RuleArgument, case: Annotated[str, typer.Argument(metavar="CASE", help="A case file, or the name of a shipped scenario.")],
    as_json: JsonOption = False, with_drafts: DraftsOption = False, knowledge: KnowledgeOption = None,
) -> None:  # fmt: skip
    """Hold one rule against one case: each condition true, false or unknown, and on which record."""
    from diagnose.authoring.cards import find
    from diagnose.authoring.matching import conditions_of, match_rule
    from diagnose.inference.run import infer
    from diagnose.views import workshop as view
    from diagnose.views.page import Page

    workshop = _workshop(knowledge, with_drafts)
    found = find(workshop.base.knowledge, rule, TESTED)
    inference = infer(open_case(case, workshop.base), workshop.base)
    result = [
        block for kind, card in found for block in match_rule(inference, f"{kind} {card.name}", conditions_of(card))
    ]
    if not result:
        raise refuse(f"the {found[0][0]} {found[0][1].name!r} has no condition", "name a finding")
    if as_json:
        print_json(result)
    else:
        typer.echo(view.match(result, Page()).text(), nl=False)


@app.command()
def show(rule: RuleArgument, as_json: JsonOption = False, knowledge: KnowledgeOption = None) -> None:
    """Show a card in plain words, with what it uses and who uses it."""
    from diagnose.authoring.cards import document, find
    from diagnose.authoring.rule_test_reader import read_tests
    from diagnose.reading.problems import Problems
    from diagnose.views import workshop as view
    from diagnose.views.page import Page

    workshop = _workshop(knowledge, True)
    found = find(workshop.base.knowledge, rule)
    problems = Problems()
    tests = _test_names(read_tests(_folder(knowledge), workshop.base.knowledge, problems, only=found))
    problems.raise_errors()
    result = [document(workshop.base, kind, card, tests) for kind, card in found]
    if as_json:
        print_json(result)
        return
    for one in result:
        typer.echo(view.card(one, Page()).text())


def _test_names(tests: Iterable[RuleTest]) -> dict[tuple[str, str], list[str]]:
    """The names of tests by the kind and name of their rule, those of one list of fragments once."""
    names: dict[tuple[str, str], list[str]] = {}
    for t in tests:
        name = re.sub(r" \(\d+\)$", "", t.name)
        rows = names.setdefault((t.kind, t.rule), [])
        if name not in rows:
            rows.append(name)
    return names


@app.command()
def matrix(
    names: Annotated[list[str], typer.Argument(metavar="[NAME…]", help="Only these columns.", show_default=False)] = [],  # noqa: B006
    of: Annotated[str, typer.Option("--of", help="What the columns are: mechanism, with links, or cause.")] = "mechanism",
    csv: Annotated[Path | None, typer.Option("--csv", help="Write the table there.", show_default=False)] = None,
    taken: Annotated[Path | None, typer.Option("--from", help="Take words from such a table into the cards.", show_default=False)] = None,
    dry: Annotated[bool, typer.Option("--dry-run", help="With --from: tell what would change and write nothing.")] = False,
    as_json: JsonOption = False, with_drafts: DraftsOption = False, knowledge: KnowledgeOption = None,
) -> None:  # fmt: skip
    """Show findings and links by mechanism, word by word; write them as a table, and take a changed table back."""
    from diagnose.authoring import matrix as words
    from diagnose.reading.located import read_bytes
    from diagnose.reading.problems import Problems
    from diagnose.reading.terms import did_you_mean
    from diagnose.views import workshop as view
    from diagnose.views.page import Page

    if of not in ("mechanism", "cause"):
        raise refuse(f"{of!r} is neither mechanism nor cause", did_you_mean(of, ("mechanism", "cause")))
    folder, base = _folder(knowledge), _workshop(knowledge, with_drafts).base.knowledge
    words.unknown(names, base.causes if of == "cause" else base.mechanisms, of)
    if taken is None:
        made = words.matrix(base, of, names)
        if csv:
            write(csv, words.table(made).encode(), [folder])
        elif as_json:
            print_json(words.document(made))
        else:
            typer.echo(view.matrix(words.document(made), Page()).text(), nl=False)
        return
    problems = Problems()
    data = read_bytes(taken, str(taken), problems)
    problems.raise_errors()
    assert data is not None
    changes = words.differences(words.matrix(base, of), words.read(data.decode("utf-8", "replace"), str(taken), base, of))
    written = [] if dry else words.apply(folder, base, changes, of)
    for change in changes:
        typer.echo(str(change))
    typer.echo(f"{len(changes)} words {'would change' if dry else 'changed'}" + "".join(f"\n  {path}" for path in written))


@app.command(name="list")
def list_(
    kind: Annotated[str, typer.Option("--kind", help="finding, mechanism, cause, measurement, caution or limit.")] = "",
    status: Annotated[str, typer.Option("--status", help="draft, trial, accepted or retired.")] = "",
    as_json: JsonOption = False, knowledge: KnowledgeOption = None,
) -> None:  # fmt: skip
    """List the cards of the rule base."""
    from diagnose.authoring.cards import SECTIONS, rows
    from diagnose.knowledge.reader import STATUSES
    from diagnose.reading.terms import did_you_mean

    for word, allowed in ((kind, tuple(SECTIONS)), (status, STATUSES)):
        if word and word not in allowed:
            raise refuse(f"{word!r} is none of {', '.join(allowed)}", did_you_mean(word, allowed))
    _listing(rows(_workshop(knowledge, True).base.knowledge, kind, status), as_json)


@app.command()
def search(
    words: Annotated[list[str], typer.Argument(metavar="WORD…", help="All of these, in names, texts or terms.")],
    as_json: JsonOption = False, knowledge: KnowledgeOption = None,
) -> None:  # fmt: skip
    """Find cards by words in their names, texts and conditions."""
    from diagnose.authoring.cards import search as find_all

    _listing(find_all(_workshop(knowledge, True).base.knowledge, " ".join(words)), as_json)


def _listing(result: list[dict[str, str]], as_json: bool) -> None:
    from diagnose.views import workshop as view
    from diagnose.views.page import Page

    if as_json:
        print_json(result)
    else:
        typer.echo(view.listing(result, Page()).text(), nl=False)


@app.command()
def words(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="A folder of case files.")],
    as_json: JsonOption = False,
    knowledge: KnowledgeOption = None,
) -> None:
    """List phrases that were not understood over a folder of cases, to be added to the vocabulary."""
    from diagnose.authoring.spoken import as_rows, not_understood
    from diagnose.knowledge.cache import open_knowledge
    from diagnose.views.page import Page

    if not folder.is_dir():
        raise refuse(f"there is no folder {str(folder)!r}", "name a folder of case files")
    found, wrong = not_understood(folder, open_knowledge(_folder(knowledge)).vocabulary)
    if as_json:
        print_json(as_rows(found))
        return
    page = Page()
    for row in found:
        page.say(f"{row.phrase}  ({', '.join(row.files)})", hang=6, lead=f"{len(row.files):>4}  ")
        for text in row.now:
            page.say(text, indent=6, hang=10, lead="read now as: ")
    for problem in wrong:
        page.say(str(problem))
    typer.echo(page.text() if page.lines else "no phrase was left that was not understood\n", nl=False)


@app.command()
def new(
    kind: Annotated[str, typer.Argument(metavar="KIND", help="finding, mechanism, cause, measurement, caution, or test for the tests of a card.")],
    names: Annotated[list[str] | None, typer.Argument(metavar="NAME…", help="The name of the new card, or the cards to draft tests for.", show_default=False)] = None,
    over: Annotated[bool, typer.Option("--over", help="With test: into a test file that is there; tests with names of their own stay.")] = False,
    knowledge: KnowledgeOption = None,
) -> None:  # fmt: skip
    """Write the skeleton of a new card beside a failing test, or draft the tests of a card from its rule."""
    from datetime import date

    from diagnose.authoring import skeletons
    from diagnose.authoring.cards import find
    from diagnose.reading.terms import did_you_mean

    kinds = [*skeletons.LETTERS, "test"]
    if kind not in kinds:
        raise refuse(f"there is no kind {kind!r}", did_you_mean(kind, kinds) or f"allowed: {', '.join(kinds)}")
    if not names:
        raise refuse("tests are drafted for a card" if kind == "test" else "a new card needs a name",
                     f"diagnose rules new {kind} NAME")  # fmt: skip
    folder, workshop = _folder(knowledge), _workshop(knowledge, True)
    base = workshop.base.knowledge
    if kind == "test":
        written = skeletons.new_tests(workshop, folder, [x for n in names for x in find(base, n, TESTED)], over)
    else:
        written = skeletons.new_card(base, folder, kind, " ".join(names), date.today().isoformat()[:7])
    for path in written:
        typer.echo(str(path))
    if kind != "test":
        typer.echo(f"Next: {skeletons.FOLLOW[kind]}")
    typer.echo(f"Then: diagnose rules check; diagnose rules test {'' if kind == 'test' else '--with-drafts '}{' '.join(names)!r}")


@app.command()
def handbook(
    output: Annotated[Path, typer.Option("-o", "--output", help="Folder to write to.")],
    with_drafts: DraftsOption = False, knowledge: KnowledgeOption = None,
) -> None:  # fmt: skip
    """Write the rule base as a handbook of linked pages that opens offline."""
    from diagnose.authoring.cards import document, tables
    from diagnose.views.handbook import pages

    workshop = _workshop(knowledge, with_drafts)
    base = workshop.base.knowledge
    tests = _test_names(_tests(workshop, knowledge))
    documents = [
        document(workshop.base, kind, card, tests) for kind, table in tables(base).items() for _, card in sorted(table.items())
    ]
    output.mkdir(parents=True, exist_ok=True)
    words = {"seen": base.words.seen, "common": base.words.common}
    made = pages(documents, words, base.version, base.digest)
    for name, text in made.items():
        write(output / name, text.encode())
    typer.echo(f"{len(made)} files; open {output / 'index.html'}")


@app.command()
def quiz(
    case: Annotated[str, typer.Argument(metavar="[CASE]", help="One case; all of the folder where left out.", show_default=False)] = "",
    cases: CasesOption = None,
    save: Annotated[Path | None, typer.Option("--save", help="Add the answers to this file, as JSON lines.", show_default=False)] = None,
    knowledge: KnowledgeOption = None,
) -> None:  # fmt: skip
    """Show cases piece by piece, ask what to look at next and what the cause is, then show the tool's reasoning beside."""
    import json
    import sys

    from diagnose.training.quiz import document, play
    from diagnose.views.page import Page

    refuse_over_input(save, [_folder(knowledge)])
    workshop = _workshop(knowledge)
    chosen = [open_case(case, workshop.base)] if case else _cases(cases, knowledge, workshop)
    if not chosen:
        raise refuse("there are no cases to show", "--cases DIR")
    over = False

    def ask(question: str) -> str:
        nonlocal over
        typer.echo(question, nl=False)
        line = "" if over else sys.stdin.readline()
        over = over or not line
        if not sys.stdin.isatty():
            typer.echo(line.rstrip("\n"))
        return "".join(c for c in line if c.isprintable()).strip()

    def say(text: str) -> None:
        page = Page()
        page.say(text.strip(), indent=len(text) - len(text.lstrip()))
        typer.echo(page.text(), nl=False)

    right = played = 0
    for one in chosen:
        if over:
            break
        result = play(one, workshop, ask, say)
        played, right = played + 1, right + result.right
        if save:
            with save.open("a", encoding="utf-8") as file:
                file.write(json.dumps(document(result), ensure_ascii=False) + "\n")
        typer.echo("")
    if played > 1:
        typer.echo(f"{right} of {played} right")
