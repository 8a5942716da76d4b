"""The commands over a library of closed cases."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from diagnose.cli.common import CaseArgument, JsonOption, KnowledgeOption, print_json, refuse, say, shipped

if TYPE_CHECKING:
    from diagnose.knowledge.model import Knowledge
    from diagnose.library.proposals import Proposal
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
            groups = lives.by_cause(found, most) if by == "cause" else lives.grouped(store, found, by)
            if not groups:
                raise refuse(
                    f"no life on record has a {by!r}",
                    f"groups: {', '.join(['cause', 'tag', 'batch', *lives.settings(store)])}",
                )
        else:
            groups = {"all seals": found} if found else {}
    shown = sorted(groups, key=lambda name: (-sum(x.failed for x in groups[name]), name))[:most]
    tested: dict[tuple[str, str], float | None] = {}
    if change:
        (one, before), (other, after) = groups.items()
        tested[one, other] = lives.log_rank(before, after)
    elif by not in ("", "cause"):
        tested = {(name, "the others"): p for name, p in lives.against_the_others(groups).items()}
    groups = {name: groups[name] for name in shown}
    tested = {pair: p for pair, p in tested.items() if pair[0] in shown}
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


@app.command()
def rows(
    worth: Annotated[float, typer.Option("--worth", help="Cases that the word on a card is worth.", min=1, max=10_000)] = 20.0,
    every: Annotated[bool, typer.Option("--all", help="Every row with cases enough, not only contradicted ones.")] = False,
    propose: Annotated[
        Path | None, typer.Option("--propose", metavar="FILE", help="Write proposals for a trainer to decide on.", show_default=False)
    ] = None,
    effect: Annotated[bool, typer.Option("--effect", help="Judge the closed cases by the proposed words too.")] = False,
    library: LibraryOption = Path(), site: SiteOption = "", as_json: JsonOption = False, knowledge: KnowledgeOption = None,
) -> None:  # fmt: skip
    """Hold the site's own counts against the words on the cards: which rows its confirmed cases contradict."""
    from diagnose.cli.bench import knowledge_of
    from diagnose.library import counts as c
    from diagnose.library import proposals as p
    from diagnose.views import library as view

    _needs_scipy()
    base = knowledge_of(knowledge)
    with _store(library, site) as store:
        found = c.counts(store, base, site, worth)
        closed = [library / row[0] for row in store.rows(
            "SELECT DISTINCT name FROM file JOIN seal ON seal.file = file.id WHERE confirmed <> '' AND file.site = '' ORDER BY name"
        )]  # fmt: skip
    result = c.document([x for x in found if every or x.contradicted], worth) | {"counted": len(found)}
    wanted = p.proposed(found, p.read(propose, base) if propose and propose.exists() else ())
    if propose:
        p.write(propose, wanted)
    if effect and wanted:
        result["effect"] = _effect(
            knowledge or shipped("knowledge"), base, [x for x in wanted if not x.accepted], closed
        )
    _show(result, view.rows, as_json)
    if propose and not as_json:
        say(f"{propose}: decide on each, then: diagnose library accept {propose}")


def _effect(folder: Path, base: Knowledge, wanted: list[Proposal], closed: list[Path]) -> dict[str, Any]:
    """What the proposed words would change over the closed cases, as `diagnose rules impact` tells it."""
    from diagnose.evaluation import impact
    from diagnose.knowledge.cache import open_knowledge
    from diagnose.library.proposals import tried

    with tried(folder, base, wanted) as copy:
        cards, changes, _ = impact.compare(folder, copy, closed)
        return impact.document(base, open_knowledge(copy), cards, changes, len(closed))


@app.command()
def accept(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="Proposals, each accepted or not, with who and why.")],
    knowledge: KnowledgeOption = None,
) -> None:
    """Write the words that a trainer accepted into the cards; the others stay as they are."""
    from diagnose.cli.bench import knowledge_of
    from diagnose.library import proposals as p

    base = knowledge_of(knowledge)
    found = p.read(file, base)
    done = p.take_over(knowledge or shipped("knowledge"), base, found)
    for x in done:
        say(f"{x.card}, {x.finding}: {x.word} -> {x.propose} (accepted by {x.by}: {x.why})")
    undecided = sum(not x.accepted for x in found)
    refused = sum(x.accepted == "false" for x in found)
    say(
        f"{len(done)} written, {refused} refused, {undecided} not decided. What it changes: diagnose rules impact HEAD knowledge"
    )


@app.command()
def calibration(
    library: LibraryOption = Path(), site: SiteOption = "", as_json: JsonOption = False
) -> None:  # fmt: skip
    """What the tool said against what was confirmed, by year and by who confirmed; where it was overruled and who was right."""
    from diagnose.library import calibration as c
    from diagnose.views import library as view

    with _store(library, site) as store:
        result = c.document(c.said(store, site))
    _show(result, view.calibration, as_json)


@app.command("bad-actors")
def bad_actors(
    by: Annotated[str, typer.Option("--by", help="tag (the machine), batch, cause or mechanism.")] = "tag",
    measure: Annotated[str, typer.Option("--measure", help="count, cost or hours.")] = "count",
    svg: SvgOption = None,
    library: LibraryOption = Path(), site: SiteOption = "", as_json: JsonOption = False, knowledge: KnowledgeOption = None,
) -> None:  # fmt: skip
    """Where failures, cost and lost hours gather; whose field the causes belong to, by month; which seals live shorter."""
    from diagnose.cli.bench import knowledge_of
    from diagnose.cli.output import write
    from diagnose.library import actors as a
    from diagnose.views import library as view
    from diagnose.views.drawings.pareto import drawing

    for word, table in ((by, a.COLUMNS), (measure, a.MEASURES)):
        if word not in table:
            raise refuse(f"{word!r} is none of {', '.join(table)}", "choose one of them")
    base = knowledge_of(knowledge)
    with _store(library, site) as store:
        short = a.short_lived(store, site) if find_spec("scipy") else None
        result = a.document(by, measure, a.pareto(store, by, measure, site), a.by_month(store, base, site), short)
    if svg:
        write(svg, drawing(result).encode())
    _show(result, view.bad_actors, as_json)


@app.command()
def export(
    output: Annotated[Path, typer.Option("-o", "--output", help="The table to write: .parquet or .jsonl.")],
    library: LibraryOption = Path(), site: SiteOption = "",
) -> None:  # fmt: skip
    """Every seal of the library as a table for analysts, with all that the index holds."""
    from diagnose.cli.output import refuse_over_input
    from diagnose.library.export import FORMS
    from diagnose.library.export import write as write_table
    from diagnose.reading.figures import count

    if output.suffix not in FORMS:
        raise refuse(f"no table of the kind {output.suffix!r} can be written", f"kinds: {', '.join(FORMS)}")
    if output.suffix == ".parquet" and find_spec("pyarrow") is None:
        raise refuse("this needs pyarrow, which is not installed", "pip install 'diagnose[parquet]'")
    refuse_over_input(output)
    with _store(library, site) as store:
        say(f"{count(write_table(store, output, site), 'seal')} in {output}")


@app.command()
def share(
    output: Annotated[Path, typer.Option("-o", "--output", help="The file to give away: .jsonl.")],
    library: LibraryOption = Path(),
) -> None:
    """The site's seals without tags, names, photos or free text, for another site to import."""
    from diagnose.cli.output import refuse_over_input
    from diagnose.library.export import in_place
    from diagnose.library.pool import ENDING, shared

    if output.suffix != ENDING:
        raise refuse(f"seals are shared as {ENDING}, not {output.suffix!r}", f"-o seals{ENDING}")
    refuse_over_input(output)
    with _store(library) as store, in_place(output) as new, new.open("wb") as file:
        file.writelines(shared(store))
    say(
        f"{output}: no tags, names, photos, batches or free text; dates to the month. Read it before it leaves the site."
    )


@app.command("import")
def import_(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="What another site's `diagnose library share` wrote.")],
    site: Annotated[str, typer.Option("--site", help="What that site is called here.")],
    library: LibraryOption = Path(), knowledge: KnowledgeOption = None,
) -> None:  # fmt: skip
    """Take another site's seals in, apart from your own: every command shows them with --site only."""
    import re

    from diagnose.cli.bench import knowledge_of
    from diagnose.library.pool import bring_in
    from diagnose.reading.figures import count

    _is_folder(library)
    if not re.fullmatch(r"[A-Za-z0-9][A-Za-z0-9-]{0,39}", site):
        raise refuse(f"{site!r} cannot name a site", "letters, digits and hyphens")
    if not file.is_file():
        raise refuse(f"there is no file {str(file)!r}", "name what diagnose library share wrote")
    seals, strange = bring_in(library, file, site, knowledge_of(knowledge))
    say(f"{count(seals, 'seal')} of {site} taken in. Bring the index up to date: diagnose library sync {library}")
    if strange:
        say(f"left out, as this rule base has no such words: {', '.join(strange)}")


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
