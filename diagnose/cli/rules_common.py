"""What the commands for rule authors share."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from diagnose.cli.common import refuse, shipped

if TYPE_CHECKING:
    from diagnose.authoring.rule_test_reader import RuleTest
    from diagnose.authoring.rule_test_runner import Workshop
    from diagnose.casefile.model import Case
    from diagnose.knowledge.model import Card

app = typer.Typer(
    name="rules", help="For authors of rules: check, test, cover, mutate, compare, look up, teach.",
    no_args_is_help=True, add_completion=False, rich_markup_mode=None,
)  # fmt: skip
TESTED = ("finding", "mechanism", "cause", "caution")
CasesOption = Annotated[
    Path | None,
    typer.Option(
        "--cases", help="A folder of cases; where left out the scenarios beside the rule base.", show_default=False
    ),
]
RuleArgument = Annotated[str, typer.Argument(metavar="RULE", help="A card: its name, id or file name.")]


def folder_of(knowledge: Path | None) -> Path:
    return knowledge or shipped("knowledge")


def workshop_of(knowledge: Path | None, drafts: bool = False) -> Workshop:
    from diagnose.authoring.rule_test_runner import Workshop
    from diagnose.inference.run import load

    return Workshop(load(folder_of(knowledge), drafts))


def tests_of(workshop: Workshop, knowledge: Path | None, names: str = "", with_drafted: bool = False) -> list[RuleTest]:
    """The rule tests of the folder, and those drafted from the rules; with a text those of the cards whose name holds
    it, or else those whose own name does. Raises BadInput for mistakes in them."""
    from diagnose.authoring.rule_test_files import drafted
    from diagnose.authoring.rule_test_reader import read_tests
    from diagnose.reading.problems import Problems
    from diagnose.reading.terms import plain

    problems = Problems()
    wanted = plain(names)
    cards = tested(workshop)
    only = [(kind, card) for kind, card in cards if wanted in plain(card.name)]
    tests = read_tests(folder_of(knowledge), workshop.base.knowledge, problems, only if names and only else None)
    problems.raise_errors()
    tests += drafted(workshop, only or cards) if with_drafted else []
    return tests if only else [t for t in tests if wanted in plain(t.name)]


def tested(workshop: Workshop) -> list[tuple[str, Card]]:
    """The cards that tests are for, with their kinds."""
    from diagnose.authoring.cards import tables

    cards = tables(workshop.base.knowledge)
    return [(kind, card) for kind in TESTED for card in cards[kind].values()]


def cases_of(folder: Path | None, knowledge: Path | None, workshop: Workshop) -> list[Case]:
    from diagnose.evaluation.score import cases_in, read_all
    from diagnose.reading.problems import BadInput

    place = folder or folder_of(knowledge).resolve().parent / "scenarios"
    if not place.is_dir():
        if folder is None:
            return []
        raise refuse(f"there is no folder {str(place)!r}", "name a folder of case files")
    cases, problems = read_all(cases_in(place), workshop.base)
    if problems:
        raise BadInput(problems)
    return cases
