"""Commands at the bench: start, record, journal."""

from __future__ import annotations

import getpass
import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from diagnose.cli.common import MOST_BYTES, JsonOption, KnowledgeOption, print_json, refuse, say, shipped
from diagnose.reading.problems import BadInput

if TYPE_CHECKING:
    from diagnose.casefile.journal import Line
    from diagnose.casefile.recorder import Recorder
    from diagnose.knowledge.model import Knowledge

FileArgument = Annotated[Path, typer.Argument(metavar="FILE", help="The case file; its journal is FILE.journal.")]
ByOption = Annotated[
    str,
    typer.Option("--by", envvar="DIAGNOSE_BY", help="Who says it; your login name if left out.", show_default=False),
]
KeepLocation = Annotated[
    bool, typer.Option("--keep-location", help="Leave in photos where they were taken; it is taken out otherwise.")
]
WhyOption = Annotated[str, typer.Option("--why", help="Why an earlier answer is corrected.", show_default=False)]


def start(
    file: FileArgument,
    arrangement: Annotated[str, typer.Option("--arrangement", help="single, dual pressurised, dual unpressurised …")],
    name: Annotated[str, typer.Option("--name", help="What the case is called.", show_default=False)] = "",
    tag: Annotated[
        str, typer.Option("--tag", help="The machine's tag; what came back on it is told.", show_default=False)
    ] = "",
    by: ByOption = "",
    knowledge: KnowledgeOption = None,
) -> None:
    """Begin a case with the usual parts of an arrangement, to be renumbered and amended."""
    from diagnose.casefile.walk import usual_document
    from diagnose.reading.terms import did_you_mean, plain

    base = knowledge_of(knowledge)
    setting = "setting:arrangement"
    term = base.vocabulary.find(setting, arrangement) if setting in base.vocabulary.names else None
    if term is None:
        known = base.vocabulary.settings["arrangement"].terms if "arrangement" in base.vocabulary.settings else {}
        way_out = did_you_mean(arrangement, known) or f"one of: {', '.join(known)}"
        raise refuse(f"{arrangement!r} is no arrangement of the vocabulary", way_out)
    steps = base.arrangements.steps
    document = usual_document(
        name or file.stem.replace("-", " "),
        term,
        base.arrangements.usual.get(term, ()),
        steps[0].stage if steps else "",
    )
    document["seal"] |= base.arrangements.called.get(plain(arrangement), {})  # type: ignore[operator]
    if tag:
        document["equipment"] = {"tag": tag}
    with recorder_of(file, base, by) as recorder:
        recorder.start(document)
    tell_history(file, tag)
    count = len(document.get("parts", ()))  # type: ignore[arg-type]
    say(f"{file}: a {term} seal with {count} usual parts. Go on with: diagnose record {file}")


def record(
    file: FileArgument,
    by: ByOption = "",
    quick: Annotated[
        bool, typer.Option("--quick", help="First the ten looks that tell most, then the answer so far.")
    ] = False,
    photos_from: Annotated[
        Path | None, typer.Option("--photos-from", help="Folder that photos come from: photo newest, /photo.")
    ] = None,
    keep_location: KeepLocation = False,
    plain: Annotated[bool, typer.Option("--plain", help="Plain prompts, as in a pipe.")] = False,
    sheet: Annotated[
        str,
        typer.Option(
            "--sheet",
            metavar="FILE",
            help="Type a filled bench sheet back: lines of BOX: value; - reads what is typed.",
            show_default=False,
        ),
    ] = "",
    knowledge: KnowledgeOption = None,
) -> None:
    """Record a case that `diagnose start` began in a guided session, in the order of dismantling; it can be left and resumed anywhere."""
    from diagnose.session.dialogue import Dialogue
    from diagnose.session.prompts import asker, edits_lines

    base = knowledge_of(knowledge)
    if sheet:
        _take_sheet(file, base, by, sheet)
        return
    with recorder_of(file, base, by, must_exist=True) as recorder:
        if not base.arrangements.steps:
            raise refuse(
                "this rule base has no order of dismantling, so there is nothing to ask for",
                "diagnose note FILE --saw …",
            )
        tell_history(file, recorder.case_now().texts.get("equipment.tag", ""))
        styled = None if edits_lines(plain) else False
        Dialogue(recorder, asker(plain), styled=styled, photos_from=photos_from, keep_location=keep_location).run(quick)


def _take_sheet(file: Path, base: Knowledge, by: str, sheet: str) -> None:
    """Records a filled sheet: a file as a whole, or line by line what is typed; a wrong line is told and the rest goes on."""
    from diagnose.cli.common import tell
    from diagnose.session.filled_sheet import FilledSheet
    from diagnose.views.at_odds import ToldOdds
    from diagnose.views.journal import clean, sentence

    text = "" if sheet == "-" else _text_of(Path(sheet))
    wrong = False

    def told(line: Line) -> None:
        typer.echo(clean(f"{line.number}  {sentence(line.what)}"))

    with recorder_of(file, base, by, must_exist=True) as recorder:
        filled, odds = FilledSheet(recorder, "typed" if sheet == "-" else sheet), ToldOdds(recorder)
        if sheet != "-":
            try:
                lines = filled.take(text.splitlines(), told)
            except BadInput as error:
                tell(error)
                say(
                    f"nothing of {sheet} is on record; mend these lines and give it again: diagnose record {file} --sheet {sheet}"
                )
                raise typer.Exit(2) from error
            for line in filled.move_on():
                told(line)
            say(f"{len(lines)} on record from {sheet}" if lines else "already on record")
            for odd in odds.since():
                say(clean(odd))
            return
        for number, typed in enumerate(sys.stdin, 1):
            try:
                for line in filled.take_one(typed, number):
                    told(line)
                for odd in odds.since():
                    say(clean(odd))
            except BadInput as error:
                wrong = True
                tell(error)
        for line in filled.move_on():
            told(line)
    if wrong:
        raise typer.Exit(2)


def _text_of(path: Path) -> str:
    from diagnose.reading.files import read_file

    try:
        return read_file(path, MOST_BYTES).decode("utf-8-sig")
    except OSError as error:
        raise refuse(f"cannot be read: {error.strerror}", "check the path", what=str(path)) from error
    except UnicodeDecodeError:
        raise refuse("is no text", "a text file with lines such as 12: severe, 10 to 2", what=str(path)) from None


def journal(
    file: FileArgument,
    check: Annotated[bool, typer.Option("--check", help="Verify the chain, the case file and the photos.")] = False,
    adopt: Annotated[bool, typer.Option("--adopt", help="Take hand edits of the case file over as new lines.")] = False,
    head: Annotated[
        str, typer.Option("--head", help="With --check: the head digest as it was written down.", show_default=False)
    ] = "",
    restore: Annotated[bool, typer.Option("--restore", help="Put the recorded case back; the edits are kept.")] = False,
    by: ByOption = "",
    why: WhyOption = "",
    as_json: JsonOption = False,
    knowledge: KnowledgeOption = None,
) -> None:
    """Show who recorded what and when, with every correction; or verify that nothing was changed since."""
    from diagnose.casefile import journal as j
    from diagnose.casefile.replay import replay
    from diagnose.views import journal as view
    from diagnose.views.page import Page

    path = j.journal_path(Path(os.path.realpath(file)))
    if not path.exists():
        raise refuse(f"{file} has no journal", "diagnose record and diagnose note keep one")
    if adopt or restore:
        _take_edits(file, adopt, by, why, knowledge)
        return
    if check:
        raise typer.Exit(_check(file, as_json, head))
    found = j.read_journal(path)
    try:
        replay(found.lines)
    except ValueError as error:
        raise refuse(str(error), "bring back an unbroken copy of the journal", str(path), "journal-broken") from error
    if as_json:
        print_json([{**vars(x)} for x in found.lines])
    else:
        typer.echo(view.page(found.lines, Page()).text(), nl=False)
    if found.broken:
        raise BadInput([found.broken])


def _take_edits(file: Path, adopt: bool, by: str, why: str, knowledge: Path | None) -> None:
    from diagnose.views.journal import clean, sentence

    if adopt and not why:
        raise refuse("adopting edits says why they were made", "--why TEXT")
    with recorder_of(file, knowledge_of(knowledge), by, must_exist=True, edited=True) as recorder:
        if adopt:
            for line in recorder.adopt(why):
                typer.echo(clean(f"{line.number}  {sentence(line.what)}"))
        else:
            say(f"the recorded case is back; the edited file is kept as {recorder.restore().name}")


def _check(file: Path, as_json: bool, head: str) -> int:
    """Prints what is wrong and returns the exit code: 0 sound, 1 not."""
    from diagnose.casefile import journal as j
    from diagnose.casefile.authors import line_of, short
    from diagnose.casefile.photos import changed_photos
    from diagnose.casefile.recorder import edited_problem, look
    from diagnose.views.journal import clean

    case = Path(os.path.realpath(file))
    found = j.read_journal(j.journal_path(case))
    wrong = [str(found.broken)] if found.broken else []
    if found.tail:
        wrong.append(f"{len(found.lines) + 1}: an unfinished answer was cut off; diagnose record sets it aside")
    try:
        opened = None if found.broken else look(case)
    except BadInput as error:
        opened, wrong = None, [*wrong, *map(str, error.problems)]
    if opened:
        if opened.view in ("edited", "ahead"):
            wrong.append(str(edited_problem(case, opened)).replace(":0:0", ""))
        elif opened.view != "same":
            wrong.append(f"{case.name} is {opened.view}; diagnose record brings it up to date")
        wrong += changed_photos(case, opened.state)
    line = line_of(head, found.lines) if head else None
    if head and line is None:
        wrong.append(f"no line has the digest {head}: this is not the journal whose head was written down")
    if as_json:
        print_json(
            {
                "sound": not wrong,
                "lines": len(found.lines),
                "digest": found.lines[-1].digest if found.lines else "",
                "head": short(found.lines[-1].digest) if found.lines else "",
                "wrong": wrong,
            }
        )
    else:
        sound = [f"{len(found.lines)} lines, every one follows the one before it"]
        if line:
            since = len(found.lines) - line.number
            sound.append(f"{head} is line {line.number} of {line.time[:16].replace('T', ' ')}, {since} lines since")
        if found.lines:
            sound.append(f"head {short(found.lines[-1].digest)}; write it with the date into a bound book")
        for text in wrong or sound:
            typer.echo(clean(text))
    return 1 if wrong else 0


def tell_history(file: Path, tag: str) -> None:
    """Tells what came back on the machine, where the case lies in a folder with a library."""
    if not tag:
        return
    from diagnose.library.store import library_of, opened

    folder = library_of(file)
    if folder is None:
        return
    from diagnose.library.history import document, history
    from diagnose.views.library import before
    from diagnose.views.page import Page

    try:
        with opened(folder) as store:
            found = history(store, tag, apart=os.path.relpath(os.path.realpath(file), os.path.realpath(folder)))
    except BadInput as error:
        say(f"what came back on {tag} cannot be told: {error.problems[0].says} ({error.problems[0].way_out})")
        return
    if found.seals:
        typer.echo(before(document(found), Page()).text(), nl=False)


def knowledge_of(folder: Path | None) -> Knowledge:
    from diagnose.knowledge.cache import open_knowledge

    return open_knowledge(folder or shipped("knowledge"))


def recorder_of(
    file: Path, knowledge: Knowledge, by: str, must_exist: bool = False, edited: bool = False, patience: float = 0.0
) -> Recorder:
    from diagnose.casefile.journal import journal_path
    from diagnose.casefile.recorder import Recorder

    if must_exist and not file.exists() and not journal_path(Path(os.path.realpath(file))).exists():
        raise refuse(f"there is no case {str(file)!r}", f"diagnose start {file} --arrangement single")
    who = by or _login()
    try:
        who.encode()
    except UnicodeEncodeError:
        raise refuse(f"{who!r} has signs that are no text", "--by NAME") from None
    return Recorder(file, knowledge, who, edited=edited, patience=patience)


def _login() -> str:
    try:
        return getpass.getuser()
    except (OSError, KeyError):
        return "unknown"
