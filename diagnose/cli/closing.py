"""Commands on what stands beside the diagnosis: what was confirmed in the end, and through whose hands the parts went."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from diagnose.cli.bench import ByOption, FileArgument, WhyOption, knowledge_of, recorder_of
from diagnose.cli.common import JsonOption, KnowledgeOption, print_json, refuse
from diagnose.cli.note import PATIENCE

if TYPE_CHECKING:
    from diagnose.casefile.recorder import Recorder

PositionOption = Annotated[str, typer.Option("--position", help="inboard or outboard, in a pair.", show_default=False)]
WhenOption = Annotated[str, typer.Option("--when", help="When: 2026-03-12; today if left out.", show_default=False)]
InsteadOption = Annotated[
    str, typer.Option("--instead-of", help="Number of the record this corrects.", show_default=False)
]
NoteOption = Annotated[str, typer.Option("--note", help="Anything else, in your own words.", show_default=False)]


def close(
    file: FileArgument,
    roots: Annotated[
        list[str] | None, typer.Option("--root", help="Root cause that was confirmed, by name or id.")
    ] = None,
    mechanisms: Annotated[
        list[str] | None, typer.Option("--mechanism", help="Mechanism that was confirmed, by name or id.")
    ] = None,
    none_of_these: Annotated[
        bool, typer.Option("--none-of-these", help="It was none of the root causes that the rule base knows.")
    ] = False,
    said: Annotated[str, typer.Option("--said", help="What it was, in your own words.", show_default=False)] = "",
    how: Annotated[
        str,
        typer.Option("--how", help="laboratory, measurement, strip-down or worked after change.", show_default=False),
    ] = "",
    changed: Annotated[
        list[str] | None, typer.Option("--changed", help="What was changed. Several may be given.")
    ] = None,
    when: WhenOption = "",
    confirmed_by: Annotated[
        str, typer.Option("--confirmed-by", help="Who confirmed it, if not who says it here.", show_default=False)
    ] = "",
    position: PositionOption = "",
    note: NoteOption = "",
    instead_of: InsteadOption = "",
    by: ByOption = "",
    why: WhyOption = "",
    as_json: JsonOption = False,
    knowledge: KnowledgeOption = None,
) -> None:
    """Put on record what was confirmed in the end, by whom, how, when, and what was changed; shows it beside the conclusion."""
    from diagnose.casefile.closing import card_called

    base = knowledge_of(knowledge)
    if not how:
        raise refuse("how it was confirmed is not said", f"--how: {', '.join(base.vocabulary.grammar.confirmed)}")
    with recorder_of(file, base, by, must_exist=True, patience=PATIENCE) as recorder:
        entry: dict[str, Any] = {
            "root": [card_called(r, base.causes, base) or r for r in roots or ()],
            "mechanism": [card_called(x, base.mechanisms, base) or x for x in mechanisms or ()],
            "none of these": "true" if none_of_these else "", "said": said, "position": position,
            "by": confirmed_by or recorder.who, "how": base.vocabulary.find("confirmed", how) or how,
            "when": when or _today(recorder), "changed": list(changed or ()), "note": note,
        }  # fmt: skip
        _put(recorder, "outcomes", entry, instead_of, why, as_json)


def custody(
    file: FileArgument,
    did: Annotated[
        str,
        typer.Option("--did", help="receive, hand over, store, take out, send, open, close up …", show_default=False),
    ] = "",
    parts: Annotated[
        list[str] | None, typer.Option("--part", help="Item number; the whole seal if left out. Several may be given.")
    ] = None,
    from_: Annotated[str, typer.Option("--from", help="Whose hands it comes from.", show_default=False)] = "",
    to: Annotated[str, typer.Option("--to", help="Whose hands it goes to.", show_default=False)] = "",
    where: Annotated[str, typer.Option("--where", help="Where it is, or is put.", show_default=False)] = "",
    bag: Annotated[str, typer.Option("--bag", help="Number of the bag, box or tamper seal.", show_default=False)] = "",
    when: WhenOption = "",
    note: NoteOption = "",
    instead_of: InsteadOption = "",
    by: ByOption = "",
    why: WhyOption = "",
    as_json: JsonOption = False,
    knowledge: KnowledgeOption = None,
) -> None:
    """Put receipt, hand-over or storage of parts on record; without --did show through whose hands every part went."""
    base = knowledge_of(knowledge)
    if not did:
        _show_custody(file, as_json, knowledge)
        return
    with recorder_of(file, base, by, must_exist=True, patience=PATIENCE) as recorder:
        entry: dict[str, Any] = {
            "did": base.vocabulary.find("custody", did) or did, "part": list(parts or ()), "by": recorder.who, "from": from_,
            "to": to, "when": when or _today(recorder), "where": where, "bag": bag, "note": note,
        }  # fmt: skip
        _put(recorder, "custody", entry, instead_of, why, as_json)


def _put(recorder: Recorder, place: str, entry: dict[str, Any], instead_of: str, why: str, as_json: bool) -> None:
    from diagnose.views.journal import clean, sentence

    said = {
        key: value[0] if isinstance(value, list) and len(value) == 1 else value for key, value in entry.items() if value
    }
    what = {
        "add": place,
        "entry": said,
        **({"instead of": instead_of} if instead_of else {}),
        **({"why": why} if why else {}),
    }
    lines = recorder.accept(what)
    if as_json:
        print_json([{"number": x.number, "time": x.time, "who": x.who, "what": x.what} for x in lines])
        return
    for text in (
        [*recorder.told, *(f"{x.number}  {sentence(x.what)}" for x in lines)] if lines else ["already on record"]
    ):
        typer.echo(clean(text))


def _today(recorder: Recorder) -> str:
    return recorder.clock().astimezone().date().isoformat()


def _show_custody(file: Path, as_json: bool, knowledge: Path | None) -> None:
    from diagnose.casefile.reader import read_case
    from diagnose.views import custody as view
    from diagnose.views.page import Page

    case = read_case(file, knowledge_of(knowledge))
    rows = view.rows(case)
    if as_json:
        print_json(rows)
    else:
        typer.echo(view.page(rows, Page()).text(), nl=False)
