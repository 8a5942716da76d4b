"""Commands for rule authors: cards to look up, to write and to teach with."""

from __future__ import annotations

import re
from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from diagnose.cli.common import DraftsOption, JsonOption, KnowledgeOption, open_case, print_json, refuse, say
from diagnose.cli.output import write
from diagnose.cli.rules_common import (
    TESTED,
    RuleArgument,
    app,
    folder_of,
    tests_of,
    workshop_of,
)

if TYPE_CHECKING:
    from diagnose.authoring.rule_test_reader import RuleTest


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

    workshop = workshop_of(knowledge, with_drafts)
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

    workshop = workshop_of(knowledge, True)
    found = find(workshop.base.knowledge, rule)
    problems = Problems()
    tests = _test_names(read_tests(folder_of(knowledge), workshop.base.knowledge, problems, only=found))
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
    names: Annotated[list[str] | None, typer.Argument(metavar="[NAME…]", help="Only these columns.", show_default=False)] = None,
    of: Annotated[str, typer.Option("--of", help="What the columns are: mechanism, with links, or cause.")] = "mechanism",
    csv: Annotated[Path | None, typer.Option("--csv", help="Write the table there.", show_default=False)] = None,
    taken: Annotated[Path | None, typer.Option("--from", help="Take words from such a table into the cards.", show_default=False)] = None,
    dry: Annotated[bool, typer.Option("--dry-run", help="With --from: tell what would change and write nothing.")] = False,
    as_json: JsonOption = False, with_drafts: DraftsOption = False, knowledge: KnowledgeOption = None,
) -> None:  # fmt: skip
    """Show findings and links by mechanism, word by word; write them as a table, and take a changed table back."""
    from diagnose.authoring import matrix as words
    from diagnose.reading.located import bytes_of
    from diagnose.reading.terms import did_you_mean
    from diagnose.views import workshop as view
    from diagnose.views.page import Page

    if of not in ("mechanism", "cause"):
        raise refuse(f"{of!r} is neither mechanism nor cause", did_you_mean(of, ("mechanism", "cause")))
    folder, base = folder_of(knowledge), workshop_of(knowledge, with_drafts).base.knowledge
    wanted = names or []
    words.unknown(wanted, base.causes if of == "cause" else base.mechanisms, of)
    if taken is None:
        made = words.matrix(base, of, wanted)
        if csv:
            write(csv, words.table(made).encode(), [folder])
        elif as_json:
            print_json(words.document(made))
        else:
            typer.echo(view.matrix(words.document(made), Page()).text(), nl=False)
        return
    data = bytes_of(taken)
    changes = words.differences(
        words.matrix(base, of), words.read(data.decode("utf-8", "replace"), str(taken), base, of)
    )
    written = [] if dry else words.apply(folder, base, changes, of)
    for change in changes:
        say(str(change))
    say(f"{len(changes)} words {'would change' if dry else 'changed'}")
    for path in written:
        say(f"  {path}")


@app.command(name="list")
def list_(
    kind: Annotated[str, typer.Option("--kind", help="finding, mechanism, cause, measurement, caution or limit.")] = "",
    status: Annotated[str, typer.Option("--status", help="draft, trial, accepted or retired.")] = "",
    as_json: JsonOption = False, knowledge: KnowledgeOption = None,
) -> None:  # fmt: skip
    """List the cards of the rule base."""
    from diagnose.authoring.cards import SECTIONS, rows
    from diagnose.knowledge.card_reader import STATUSES
    from diagnose.reading.terms import did_you_mean

    for word, allowed in ((kind, tuple(SECTIONS)), (status, STATUSES)):
        if word and word not in allowed:
            raise refuse(f"{word!r} is none of {', '.join(allowed)}", did_you_mean(word, allowed))
    _listing(rows(workshop_of(knowledge, True).base.knowledge, kind, status), as_json)


@app.command()
def search(
    words: Annotated[list[str], typer.Argument(metavar="WORD…", help="All of these, in names, texts or terms.")],
    as_json: JsonOption = False, knowledge: KnowledgeOption = None,
) -> None:  # fmt: skip
    """Find cards by words in their names, texts and conditions."""
    from diagnose.authoring.cards import search as find_all

    _listing(find_all(workshop_of(knowledge, True).base.knowledge, " ".join(words)), as_json)


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
    found, wrong = not_understood(folder, open_knowledge(folder_of(knowledge)).vocabulary)
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
    folder, workshop = folder_of(knowledge), workshop_of(knowledge, True)
    base = workshop.base.knowledge
    if kind == "test":
        written = skeletons.new_tests(workshop, folder, [x for n in names for x in find(base, n, TESTED)], over)
    else:
        written = skeletons.new_card(base, folder, kind, " ".join(names), date.today().isoformat()[:7])
    for path in written:
        say(str(path))
    if kind != "test":
        say(f"Next: {skeletons.FOLLOW[kind]}")
    say(
        f"Then: diagnose rules check; diagnose rules test {'' if kind == 'test' else '--with-drafts '}{' '.join(names)!r}"
    )


@app.command()
def handbook(
    output: Annotated[Path, typer.Option("-o", "--output", help="Folder to write to.")],
    with_drafts: DraftsOption = False, knowledge: KnowledgeOption = None,
) -> None:  # fmt: skip
    """Write the rule base as a handbook of linked pages that opens offline."""
    from diagnose.authoring.cards import document, tables
    from diagnose.views.handbook import pages
    from diagnose.views.handbook_marks import feature_documents, step_documents

    workshop = workshop_of(knowledge, with_drafts)
    base = workshop.base.knowledge
    tests = _test_names(tests_of(workshop, knowledge))
    documents = [
        document(workshop.base, kind, card, tests)
        for kind, table in tables(base).items()
        for _, card in sorted(table.items())
    ] + feature_documents(workshop.base)
    output.mkdir(parents=True, exist_ok=True)
    words = {"seen": base.words.seen, "common": base.words.common}
    made = pages(documents, words, base.version, base.digest, step_documents(workshop.base))
    for name, text in made.items():
        write(output / name, text.encode())
    say(f"{len(made)} files; open {output / 'index.html'}")
