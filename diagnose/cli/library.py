"""The commands over a library of closed cases."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from diagnose.cli.common import CaseArgument, JsonOption, KnowledgeOption, print_json, refuse, shipped

if TYPE_CHECKING:
    from diagnose.library.store import Store

app = typer.Typer(name="library", help="What a folder of closed cases tells together.", no_args_is_help=True)
FolderArgument = Annotated[Path, typer.Argument(metavar="DIR", help="The folder of case files, with its subfolders.")]
LibraryOption = Annotated[
    Path, typer.Option("--library", envvar="DIAGNOSE_LIBRARY", help="The folder whose library is meant.")
]
SiteOption = Annotated[
    str, typer.Option("--site", help="Another site's seals, of those that were imported.", show_default=False)
]
SvgOption = Annotated[Path | None, typer.Option("--svg", help="Draw it into this file as well.", show_default=False)]


@app.command()
def sync(
    folder: FolderArgument,
    afresh: Annotated[bool, typer.Option("--afresh", help="Throw the index away and build it anew.")] = False,
    workers: Annotated[int, typer.Option("--workers", help="Processes; 0 for one a core.", min=0, max=256)] = 0,
    scheduler: Annotated[
        str, typer.Option("--scheduler", metavar="ADDRESS", help="A Dask scheduler to hand the work to.")
    ] = "",
    time_limit: Annotated[
        float, typer.Option("--time-limit", metavar="SECONDS", help="Leave a case that computes for longer.", min=0)
    ] = 60.0,
    as_json: JsonOption = False,
    knowledge: KnowledgeOption = None,
) -> None:
    """Bring the index of a folder up to date: read what is new or changed, judge it, drop what is gone."""
    from diagnose.cli.progress import Progress
    from diagnose.library.sync import sync as bring_up_to_date
    from diagnose.views.library import synced
    from diagnose.views.page import Page

    _is_folder(folder)
    if scheduler and find_spec("distributed") is None:
        raise refuse("this needs distributed, which is not installed", "pip install 'diagnose[cluster]'")
    bar: list[Progress] = []
    base = (knowledge or shipped("knowledge")).resolve()
    try:
        done = bring_up_to_date(
            folder, base, workers or os.cpu_count() or 1, lambda n: bar[0].more(n), scheduler, time_limit, afresh,
            lambda many: bar.append(Progress(many)),
        )  # fmt: skip
    finally:
        if bar:
            bar[0].end()
    if as_json:
        print_json(vars(done))
    else:
        typer.echo(synced(vars(done), Page()).text(), nl=False)
    if done.broken:
        raise typer.Exit(1)


@app.command()
def machine(
    tag: Annotated[str, typer.Argument(metavar="TAG", help="The machine's tag, as the cases have it.")],
    library: LibraryOption = Path(),
    site: SiteOption = "",
    as_json: JsonOption = False,
) -> None:
    """A machine's seals in order: lives, causes, what was changed, whether it helped, what came back."""
    from diagnose.library import history as h
    from diagnose.reading.terms import did_you_mean
    from diagnose.views import library as view

    with _store(library, site) as store:
        found = h.history(store, tag, site)
        if not found.seals:
            raise refuse(f"no seal of a machine {tag!r} is in this library", did_you_mean(tag, h.tags(store, site)))
    _show(h.document(found), view.machine, as_json)


@app.command()
def life(
    by: Annotated[
        str, typer.Option("--by", help="Groups: cause, tag, batch, or a setting such as service, machine, hard face.")
    ] = "",
    tag: Annotated[str, typer.Option("--machine", help="Only seals of this machine.", show_default=False)] = "",
    change: Annotated[
        str, typer.Option("--change", metavar="DATE", help="Seals fitted before a date against those from it on.")
    ] = "",
    most: Annotated[int, typer.Option("--most", help="Groups shown, those with most failures.", min=1, max=50)] = 8,
    svg: SvgOption = None,
    library: LibraryOption = Path(),
    site: SiteOption = "",
    as_json: JsonOption = False,
) -> None:
    """How long seals live: Kaplan-Meier and Weibull, with seals still running and those pulled sound as censored."""
    from itertools import combinations

    from diagnose.casefile.format import is_date
    from diagnose.cli.output import write
    from diagnose.library import life as lives
    from diagnose.views import library as view
    from diagnose.views.drawings.life import drawing

    _needs_scipy()
    if change and not is_date(change):
        raise refuse(f"{change!r} is no date", "write it like 2026-03-02, 2026-03 or 2026")
    if change and by:
        raise refuse("--change makes groups of its own", "leave out --by")
    with _store(library, site) as store:
        found = lives.lives(store, site, *(("tag = ?", (tag,)) if tag else ()))
        if change:
            groups = lives.parted(found, change)
        elif by:
            groups = lives.grouped(store, found, by)
            if not groups:
                raise refuse(
                    f"no life on record has a {by!r}",
                    f"groups: {', '.join(['cause', 'tag', 'batch', *lives.settings(store)])}",
                )
        else:
            groups = {"all seals": found} if found else {}
    shown = sorted(groups, key=lambda name: (-sum(x.failed for x in groups[name]), name))[:most]
    groups = {name: groups[name] for name in shown}
    pairs = [] if by == "cause" else list(combinations(groups, 2))
    tested = {pair: lives.log_rank(groups[pair[0]], groups[pair[1]]) for pair in pairs}
    result = lives.document(groups, tested)
    if svg:
        write(svg, drawing(result).encode())
    _show(result, view.life, as_json)


@app.command()
def like(
    case: CaseArgument,
    most: Annotated[int, typer.Option("--most", help="How many cases.", min=1, max=100)] = 5,
    position: Annotated[
        str, typer.Option("--position", help="inboard, middle or outboard of several seals.", show_default=False)
    ] = "",
    library: LibraryOption = Path(),
    site: SiteOption = "",
    as_json: JsonOption = False,
    knowledge: KnowledgeOption = None,
) -> None:
    """The closed cases that share most of what this one's evidence tells, and what they turned out to be."""
    from diagnose.cli.common import case_path, open_base, open_case
    from diagnose.judgement.diagnosis import Diagnosis
    from diagnose.library import like as near
    from diagnose.views import library as view

    base = open_base(knowledge)
    record = open_case(case, base)
    if position and position not in record.positions:
        raise refuse(f"{position!r} is no position of this case", f"positions: {', '.join(record.positions)}")
    judgement = Diagnosis(record, base).at(position or record.positions[0])
    with _store(library, site) as store:
        apart = os.path.relpath(case_path(case).resolve(), library.resolve())
        found = near.like(store, judgement.states, most, apart, site)
    _show(near.document(found), view.like, as_json)


def _is_folder(folder: Path) -> None:
    if not folder.is_dir():
        raise refuse(f"there is no folder {str(folder)!r}", "name a folder of case files")


def _needs_scipy() -> None:
    if find_spec("scipy") is None:
        raise refuse("this needs scipy, which is not installed", "pip install 'diagnose[library]'")


@contextmanager
def _store(folder: Path, site: str = "") -> Iterator[Store]:
    from diagnose.library.store import opened
    from diagnose.reading.terms import did_you_mean

    _is_folder(folder)
    with opened(folder) as store:
        sites = [row[0] for row in store.rows("SELECT DISTINCT site FROM file WHERE site <> '' ORDER BY site")]
        if site and site not in sites:
            raise refuse(
                f"no seals of a site {site!r} are in this library",
                did_you_mean(site, sites) or "diagnose library import",
            )
        yield store


def _show(found: dict[str, Any], view: Any, as_json: bool) -> None:
    from diagnose.views.page import Page

    if as_json:
        print_json(found)
    else:
        typer.echo(view(found, Page()).text(), nl=False)
