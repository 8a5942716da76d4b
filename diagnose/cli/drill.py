"""The command that trains: a seal to be taken apart once."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from diagnose.cli.common import KnowledgeOption, case_path, open_base, open_case, refuse, say, shipped
from diagnose.cli.output import refuse_over_input, write

if TYPE_CHECKING:
    from collections.abc import Callable

    from diagnose.inference.run import RuleBase
    from diagnose.training.hidden import Hidden
    from diagnose.training.story import Story

MOST_SEED = 10**6


def drill(
    case: Annotated[str, typer.Argument(metavar="[CASE]", help="A case file or shipped scenario; where left out you choose.", show_default=False)] = "",
    random: Annotated[bool, typer.Option("--random", help="A seal drawn from the rule base: invented.")] = False,
    level: Annotated[int, typer.Option("--level", help="Of a drawn seal: 1 plain, 2 with damage that misleads, 3 with an old defect too.", min=1, max=3)] = 1,
    seed: Annotated[int | None, typer.Option("--seed", help="The number of a drawn seal, to have the same again.", min=0, show_default=False)] = None,
    gentle: Annotated[bool, typer.Option("--gentle", help="Warn before evidence is lost.")] = False,
    save: Annotated[Path | None, typer.Option("--save", help="Keep your progress in this file of your own.", show_default=False)] = None,
    sheet: Annotated[bool, typer.Option("--sheet", help="Print it for a class instead: cards to turn over, and the teacher's page.")] = False,
    output: Annotated[Path | None, typer.Option("-o", "--output", help="With --sheet: the HTML file to write.", show_default=False)] = None,
    plain: Annotated[bool, typer.Option("--plain", help="Plain prompts, as in a pipe.")] = False,
    knowledge: KnowledgeOption = None,
) -> None:  # fmt: skip
    """Take a failed seal apart on the terminal, in your own words: what perishes is gone, and at the end you are told."""
    from diagnose.session.prompts import asker
    from diagnose.training.talk import Talk
    from diagnose.views.page import Page

    if random and case:
        raise refuse("a drawn seal has no case", "leave out either CASE or --random")
    refuse_over_input(save, [knowledge or shipped("knowledge")])
    base = open_base(knowledge)
    reader = asker(plain)

    def ask(question: str) -> str:
        return "".join(c for c in reader(question, {}) if c.isprintable())

    try:
        name, hidden, story = _drawn(base, level, seed) if random else _chosen(base, case, ask)
        if sheet:
            _print(name, hidden, story, output)
            return
        if save:
            _readable(save)
        talk = Talk(hidden, ask, lambda page: typer.echo(page.text(), nl=False), gentle or story.gentle, story)
        result = talk.play()
    except EOFError:
        typer.echo("")
        return
    if result is not None and save:
        _save(save, name, result, Page())


def _chosen(base: RuleBase, case: str, ask: Callable[[str], str]) -> tuple[str, Hidden, Story]:
    from diagnose.reading.figures import number_of
    from diagnose.training.hidden import Hidden
    from diagnose.training.story import ENDING, Story, read_story
    from diagnose.training.talk import title_of
    from diagnose.views.page import Page

    if not case:
        names = sorted(p.stem for p in shipped("scenarios").glob("*.yaml"))
        titles = [title_of(Hidden(open_case(n, base), base)) for n in names]
        page = Page()
        for n, title in enumerate(titles, 1):
            page.say(title, 2, 6, f"{n:>2}. ")
        typer.echo(page.text(), nl=False)
        while not case:
            number = number_of(ask("Which seal (number)? ").strip())
            case = names[number - 1] if 1 <= number <= len(names) else ""
    path = case_path(case)
    story = path.with_suffix(ENDING)
    found = read_story(story, base.knowledge.vocabulary.stages) if story.is_file() else Story()
    return path.stem, Hidden(open_case(case, base), base), found


def _drawn(base: RuleBase, level: int, seed: int | None) -> tuple[str, Hidden, Story]:
    import secrets

    from diagnose.training.hidden import Hidden
    from diagnose.training.invented import NothingDrawn, drawn, sheets_of
    from diagnose.training.story import Story

    cases = [open_case(p.stem, base) for p in sorted(shipped("scenarios").glob("*.yaml"))]
    number = seed if seed is not None else secrets.randbelow(MOST_SEED)
    try:
        seal = drawn(sheets_of(cases, base), number, level)
    except NothingDrawn:
        raise refuse("no seal can be drawn from this rule base", "name a CASE") from None
    title = f"Drawn seal {number}, level {level}"
    says = (
        "This seal never was: it is drawn from the rule base and invented. The machine stands; nothing is touched yet. "
        f"The same seal again: diagnose drill --random --level {level} --seed {number}"
    )
    return f"drawn {number} level {level}", Hidden(seal, base), Story(title, says)


def _print(name: str, hidden: Hidden, story: Story, output: Path | None) -> None:
    from diagnose.training.sheet import sheet

    if output is None:
        raise refuse("--sheet writes a file", "-o FILE.html")
    write(output, sheet(name, hidden, story).encode())
    say(f"{output}: print it on A4, cut the cards and lay them face down in their order")


def _readable(path: Path) -> None:
    """Raises BadInput where the progress file is something else or cannot be written, before a drill is played for nothing."""
    from diagnose.training.progress import read_progress

    read_progress(path)
    if not os.access(path if path.exists() else path.parent, os.W_OK):
        raise refuse("your progress cannot be written here", "name another file with --save", what=str(path))


def _save(path: Path, name: str, result: object, page: object) -> None:
    import json

    from diagnose.training.debrief import Debrief
    from diagnose.training.progress import entry, progress, read_progress
    from diagnose.views.page import Page

    assert isinstance(result, Debrief) and isinstance(page, Page)
    with path.open("a", encoding="utf-8") as file:
        file.write(json.dumps(entry(name, result), ensure_ascii=False) + "\n")
    typer.echo(progress(read_progress(path), page).text(), nl=False)
