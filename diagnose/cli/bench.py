"""Commands at the bench: start, record, note, journal."""

from __future__ import annotations

import getpass
import os
import re
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from diagnose.cli.common import JsonOption, KnowledgeOption, print_json, refuse, shipped
from diagnose.reading.problems import BadInput

if TYPE_CHECKING:
    from diagnose.casefile.recorder import Recorder
    from diagnose.knowledge.model import Knowledge

FileArgument = Annotated[Path, typer.Argument(metavar="FILE", help="The case file; its journal is FILE.journal.")]
ByOption = Annotated[
    str,
    typer.Option("--by", envvar="DIAGNOSE_BY", help="Who says it; your login name if left out.", show_default=False),
]
WhyOption = Annotated[str, typer.Option("--why", help="Why an earlier answer is corrected.", show_default=False)]
PATIENCE = 5.0
"""Seconds that a note waits for another one to be done; scripts make several at once."""


def start(
    file: FileArgument,
    arrangement: Annotated[str, typer.Option("--arrangement", help="single, dual pressurised, dual unpressurised …")],
    name: Annotated[str, typer.Option("--name", help="What the case is called.", show_default=False)] = "",
    by: ByOption = "",
    knowledge: KnowledgeOption = None,
) -> None:
    """Begin a case with the usual parts of an arrangement, to be renumbered and amended."""
    from diagnose.casefile.walk import usual_document
    from diagnose.reading.terms import did_you_mean

    base = _knowledge(knowledge)
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
    with _recorder(file, base, by) as recorder:
        recorder.start(document)
    count = len(document.get("parts", ()))  # type: ignore[arg-type]
    typer.echo(f"{file}: a {term} seal with {count} usual parts. Go on with: diagnose record {file}")


def note(
    file: FileArgument,
    saw: Annotated[list[str] | None, typer.Option("--saw", help="A feature that is there.")] = None,
    absent: Annotated[list[str] | None, typer.Option("--absent", help="Looked for and not there.")] = None,
    not_looked_at: Annotated[list[str] | None, typer.Option("--not-looked-at", help="Nobody looked.")] = None,
    lost: Annotated[list[str] | None, typer.Option("--lost", help="Can no longer be seen.")] = None,
    part: Annotated[str, typer.Option("--part", help="Item number of the part it is on.")] = "",
    on: Annotated[str, typer.Option("--on", help="Kind of part, where no numbered part is meant.")] = "",
    position: Annotated[str, typer.Option("--position", help="inboard or outboard, in a pair.")] = "",
    extent: Annotated[str, typer.Option("--extent", help="all round, one sector, patches.")] = "",
    from_: Annotated[str, typer.Option("--from", help="Clock position where it begins.")] = "",
    to: Annotated[str, typer.Option("--to", help="Clock position where it ends, clockwise from there.")] = "",
    at: Annotated[str, typer.Option("--at", help="Clock position; with readings one for each: 12, 3, 6, 9.")] = "",
    degree: Annotated[str, typer.Option("--degree", help="light, moderate or severe.")] = "",
    side: Annotated[str, typer.Option("--side", help="Side or edge it is on.")] = "",
    face: Annotated[str, typer.Option("--face", help="nose or wide, where no part says so.")] = "",
    photo: Annotated[str, typer.Option("--photo", help="Photo file beside the case; its digest is kept.")] = "",
    text: Annotated[str, typer.Option("--note", help="Anything else, in your own words.")] = "",
    measured: Annotated[str, typer.Option("--measured", help="What was measured.")] = "",
    readings: Annotated[str, typer.Option("--readings", help='The readings: "25.4 mm; 25.3 mm".')] = "",
    instrument: Annotated[str, typer.Option("--instrument", help="With what it was measured.")] = "",
    resolution: Annotated[str, typer.Option("--resolution", help="Smallest step of the instrument.")] = "",
    temperature: Annotated[str, typer.Option("--temperature", help="Temperature at which it was measured.")] = "",
    settings: Annotated[
        list[str] | None,
        typer.Option("--set", help='A figure, setting or text: "soft face=carbon", "temperature=96 °C".'),
    ] = None,
    event: Annotated[str, typer.Option("--event", help="Something in its history.")] = "",
    date: Annotated[str, typer.Option("--date", help="When the event was.")] = "",
    item: Annotated[str, typer.Option("--add-part", help="Item number of a part to put on the list.")] = "",
    kind: Annotated[str, typer.Option("--kind", help="Kind of that part.")] = "",
    name: Annotated[str, typer.Option("--name", help="Name of that part.")] = "",
    group: Annotated[str, typer.Option("--group", help="rotating or stationary.")] = "",
    carries: Annotated[str, typer.Option("--carries", help="nose or wide: which face of the pair that part is.")] = "",
    index: Annotated[str, typer.Option("--index", help="Mark that part's clock is counted from.")] = "",
    index_at: Annotated[str, typer.Option("--index-at", help="Where that mark stands on its group's clock.")] = "",
    seen_from: Annotated[str, typer.Option("--seen-from", help="driver end or impeller end.")] = "",
    tag: Annotated[str, typer.Option("--tag", help="Tag tied to that part.")] = "",
    touches: Annotated[str, typer.Option("--touches", help="Item numbers of the parts it touches: 2, 3.")] = "",
    lost_part: Annotated[str, typer.Option("--lost-part", help="How that part was lost: nobody can look at it.")] = "",
    stage: Annotated[str, typer.Option("--stage", help="How far the teardown has come.")] = "",
    instead_of: Annotated[str, typer.Option("--instead-of", help="Number of the record this corrects.")] = "",
    withdraw: Annotated[str, typer.Option("--withdraw", help="Number of a record that no longer holds.")] = "",
    sure: Annotated[bool, typer.Option("--sure", help="A reading far off its nominal or its set is so.")] = False,
    by: ByOption = "",
    why: WhyOption = "",
    as_json: JsonOption = False,
    knowledge: KnowledgeOption = None,
) -> None:
    """Put something on record without questions: for scripts, voice front ends and quick hands."""
    from diagnose.casefile.answers import path_of, split_readings
    from diagnose.casefile.photos import photo_entry
    from diagnose.views.journal import clean, sentence

    base = _knowledge(knowledge)
    arc = f"{from_} to {to}" if from_ and to else f"at {at}" if at and not measured else ""
    if bool(from_) != bool(to):
        raise refuse("--from and --to go together", "--at for a single clock position")
    shared = _said({"part": part, "on": on, "position": position, "note": text})
    shared |= photo_entry(file, photo) if photo else {}
    whats: list[dict[str, Any]] = []
    for state, features in (("saw", saw), ("absent", absent), ("not looked at", not_looked_at), ("lost", lost)):
        for feature in features or []:
            mark = _said({"extent": extent or arc, "degree": degree, "side": side, "face": face})
            whats.append({"add": "observations", "entry": {**shared, state: feature, **mark}})
    if measured:
        entry = {**shared, "measured": measured, "readings": split_readings(readings)}
        entry |= {"at": _listed(at)} if at else {}
        entry |= _said({"instrument": instrument, "resolution": resolution, "temperature": temperature})
        whats.append({"add": "measurements", "entry": entry})
    for given, needed, option, partner in ((date, event, "--date", "--event"), (readings, measured, "--readings", "--measured")):
        if given and not needed:
            raise refuse(f"{option} goes with {partner}", f"{partner} says what it is of")
    if event:
        whats.append({"add": "events", "entry": _said({"date": date, "what": event})})
    with _recorder(file, base, by, must_exist=True, patience=PATIENCE) as recorder:
        details = {"kind": kind, "name": name, "group": group, "carries": carries, "index": index,
                   "index at": index_at, "seen from": seen_from, "tag": tag, "touches": _listed(touches), "lost": lost_part}  # fmt: skip
        if item:
            whats.append({"add": "parts", "entry": _said({"item": item, "position": position, **details})})
        elif _said(details):
            whats.append(_amended(recorder, part, details))
        for said in settings or []:
            whats.append(_setting(recorder, whats, said, position, base))
        if stage:
            whats.append({"set": path_of("stage", "", base.vocabulary), "to": stage})
        if withdraw:
            whats.append({"withdraw": withdraw})
        if not whats:
            raise refuse("nothing was said", "--saw, --absent, --measured, --set …: see diagnose note --help")
        if instead_of:
            if len(whats) != 1 or "add" not in whats[0]:
                raise refuse("--instead-of goes with one record", "say what takes its place, one at a time")
            whats[0]["instead of"] = instead_of
        lines = recorder.accept(*({**w, "why": why} if why else w for w in whats), sure=sure)
        told = recorder.told
    if as_json:
        print_json([{"number": x.number, "time": x.time, "who": x.who, "what": x.what} for x in lines])
        return
    for line in [*told, *(f"{x.number}  {sentence(x.what)}" for x in lines)]:
        typer.echo(clean(line))
    if not lines:
        typer.echo("already on record")


def record(
    file: FileArgument,
    by: ByOption = "",
    plain: Annotated[bool, typer.Option("--plain", help="Plain prompts, as in a pipe.")] = False,
    knowledge: KnowledgeOption = None,
) -> None:
    """Record a case in a guided session, in the order of dismantling; it can be left and resumed anywhere."""
    from diagnose.session.dialogue import Dialogue
    from diagnose.session.prompts import asker, edits_lines

    base = _knowledge(knowledge)
    with _recorder(file, base, by, must_exist=True) as recorder:
        Dialogue(recorder, asker(plain), styled=None if edits_lines(plain) else False).run()


def journal(
    file: FileArgument,
    check: Annotated[bool, typer.Option("--check", help="Verify the chain, the case file and the photos.")] = False,
    adopt: Annotated[bool, typer.Option("--adopt", help="Take hand edits of the case file over as new lines.")] = False,
    restore: Annotated[bool, typer.Option("--restore", help="Put the recorded case back; the edits are kept.")] = False,
    by: ByOption = "",
    why: WhyOption = "",
    as_json: JsonOption = False,
    knowledge: KnowledgeOption = None,
) -> None:
    """Show who recorded what and when, with every correction; or verify that nothing was changed since."""
    from diagnose.casefile import journal as j
    from diagnose.views import journal as view
    from diagnose.views.page import Page

    path = j.journal_path(Path(os.path.realpath(file)))
    if not path.exists():
        raise refuse(f"{file} has no journal", "diagnose record and diagnose note keep one")
    if adopt or restore:
        _take_edits(file, adopt, by, why, knowledge)
        return
    if check:
        raise typer.Exit(_check(file, as_json))
    found = j.read_journal(path)
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
    with _recorder(file, _knowledge(knowledge), by, must_exist=True, edited=True) as recorder:
        if adopt:
            for line in recorder.adopt(why):
                typer.echo(clean(f"{line.number}  {sentence(line.what)}"))
        else:
            typer.echo(f"the recorded case is back; the edited file is kept as {recorder.restore().name}")


def _check(file: Path, as_json: bool) -> int:
    """Prints what is wrong and returns the exit code: 0 sound, 1 not."""
    from diagnose.casefile import journal as j
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
    if as_json:
        print_json({"sound": not wrong, "lines": len(found.lines), "digest": found.lines[-1].digest if found.lines else "",
                    "wrong": wrong})  # fmt: skip
    else:
        for line in wrong or [f"{len(found.lines)} lines, every one follows the one before it"]:
            typer.echo(clean(line))
    return 1 if wrong else 0


def _knowledge(folder: Path | None) -> Knowledge:
    from diagnose.knowledge.cache import open_knowledge

    return open_knowledge(folder or shipped("knowledge"))


def _recorder(
    file: Path, knowledge: Knowledge, by: str, must_exist: bool = False, edited: bool = False, patience: float = 0.0
) -> Recorder:
    from diagnose.casefile.journal import journal_path
    from diagnose.casefile.recorder import Recorder

    if must_exist and not file.exists() and not journal_path(Path(os.path.realpath(file))).exists():
        raise refuse(f"there is no case {str(file)!r}", f"diagnose start {file} --arrangement single")
    return Recorder(file, knowledge, by or _login(), edited=edited, patience=patience)


def _login() -> str:
    try:
        return getpass.getuser()
    except (OSError, KeyError):
        return "unknown"


def _said(values: dict[str, Any]) -> dict[str, Any]:
    return {k: v for k, v in values.items() if v}


def _listed(text: str) -> list[str]:
    return [x.strip() for x in text.split(",") if x.strip()]


def _amended(recorder: Recorder, part: str, details: dict[str, Any]) -> dict[str, Any]:
    """More about a part that is on the list already."""
    old = recorder.state.part_record(part)
    if old is None:
        raise refuse(f"no part has the item number {part!r}", "--part ITEM names the part, --add-part ITEM a new one")
    return {"add": "parts", "entry": {**old.entry, **_said(details)}, "instead of": old.id}


def _setting(
    recorder: Recorder, whats: list[dict[str, Any]], said: str, position: str, base: Knowledge
) -> dict[str, Any]:
    """A figure, setting or text from KEY=VALUE; several terms of one setting add up."""
    from diagnose.casefile.answers import path_of

    key, sign, value = (x.strip() for x in said.partition("="))
    if not sign or not key:
        raise refuse(f"{said!r} is no KEY=VALUE", 'for example --set "temperature=96 °C"')
    try:
        path = path_of(key, position, base.vocabulary)
    except ValueError as error:
        raise refuse(str(error), "see: diagnose terms") from error
    if not value:
        return {"set": path, "to": None}
    bare = re.sub(r"^(is )?not ", "", path[-1])
    setting = base.vocabulary.settings.get(bare)
    several = path[-1] in ("is", "is not") or (setting is not None and not setting.single)
    if not several:
        return {"set": path, "to": value}
    old = next((w["to"] for w in reversed(whats) if w.get("set") == path), recorder.state.value(path))
    before = old if isinstance(old, list) else [old] if old else []
    return {"set": path, "to": [*before, *(x for x in _listed(value) if x not in before)]}
